//! Numbers as they are printed in documents: a true minus, powers of ten, uncertainty to two
//! digits.

/// What stands for no number.
const NONE: &str = "–";

/// With so many decimals; a minus, never a hyphen, and none before zero.
///
/// ```
/// use pinhold::report::numbers::fixed;
/// assert_eq!(fixed(-1.25, 1), "−1.2");
/// assert_eq!(fixed(-0.001, 2), "0.00");
/// assert_eq!(fixed(f64::NAN, 2), "–");
/// ```
pub fn fixed(value: f64, decimals: usize) -> String {
    if !value.is_finite() {
        return NONE.to_owned();
    }
    if value.abs() >= 1e12 {
        return scientific(value, 3);
    }
    let text = format!("{value:.decimals$}");
    match text.strip_prefix('-') {
        Some(digits) if digits.chars().all(|c| matches!(c, '0' | '.')) => digits.to_owned(),
        Some(digits) => format!("−{digits}"),
        None => text,
    }
}

/// As [`fixed`], with a plus before what is above zero.
pub fn signed(value: f64, decimals: usize) -> String {
    let text = fixed(value, decimals);
    let is_zero = text.chars().all(|c| matches!(c, '0' | '.'));
    if value > 0.0 && value.is_finite() && !is_zero { format!("+{text}") } else { text }
}

/// With so many digits and a power of ten, in one piece.
///
/// ```
/// use pinhold::report::numbers::scientific;
/// assert_eq!(scientific(-2.5e-5, 2), "−2.5\u{a0}×\u{a0}10⁻⁵");
/// assert_eq!(scientific(0.0, 2), "0");
/// ```
pub fn scientific(value: f64, digits: usize) -> String {
    if !value.is_finite() {
        return NONE.to_owned();
    }
    if value == 0.0 {
        return "0".to_owned();
    }
    let text = format!("{value:.*e}", digits.max(1) - 1);
    let (mantissa, power) = text.split_once('e').unwrap_or((&text, "0"));
    let raised = power.chars().map(|c| match c {
        '-' => '⁻',
        '0' => '⁰',
        '1' => '¹',
        '2' => '²',
        '3' => '³',
        digit => char::from_u32(u32::from('⁰') + digit.to_digit(10).unwrap_or(0)).unwrap_or(digit),
    });
    format!("{}\u{a0}×\u{a0}10{}", mantissa.replace('-', "−"), raised.collect::<String>())
}

/// Decimals at which an uncertainty shows two digits.
pub fn decimals_of(u: f64) -> usize {
    if !u.is_finite() || u <= 0.0 {
        return 4;
    }
    (1.0 - libm::log10(u).floor()).clamp(0.0, 9.0) as usize
}

/// A value and its uncertainty, both to the uncertainty's second digit.
///
/// ```
/// use pinhold::report::numbers::with_u;
/// assert_eq!(with_u(0.250_04, 0.000_15), "0.25004 ± 0.00015");
/// ```
pub fn with_u(value: f64, u: f64) -> String {
    let decimals = decimals_of(u);
    format!("{} ± {}", fixed(value, decimals), fixed(u, decimals))
}
