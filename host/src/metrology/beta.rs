//! The incomplete beta function, both tails at once, from which Student's and Fisher's laws follow.
//!
//! Continued fraction 26.5.8 of Abramowitz and Stegun, *Handbook of Mathematical Functions*
//! (1964), evaluated forwards after Lentz; the beta function of large arguments by Stirling's
//! series (6.1.41 there), where differences of `lgamma` would cancel.
//!
//! Invariant: bounded loops, `libm` only, so the same bits on every machine.

use std::f64::consts::PI;

/// Terms of the continued fraction at most; the largest arguments in use need about √(a + b).
const TERM_COUNT_MAX: u32 = 50_000;

/// From here on Stirling's series of [`stirling_rest`] is exact to double precision.
const STIRLING_FROM: f64 = 10.0;

/// What Stirling's formula leaves of ln Γ(x), x ≥ [`STIRLING_FROM`].
fn stirling_rest(x: f64) -> f64 {
    let inverse_square = 1.0 / (x * x);
    let coefficients = [
        1.0 / 12.0,
        -1.0 / 360.0,
        1.0 / 1260.0,
        -1.0 / 1680.0,
        1.0 / 1188.0,
        -691.0 / 360_360.0,
        1.0 / 156.0,
        -3617.0 / 122_400.0,
    ];
    coefficients.iter().rev().fold(0.0, |sum, c| sum * inverse_square + c) / x
}

/// Logarithm of the beta function, both arguments above zero.
pub(super) fn log_beta(a: f64, b: f64) -> f64 {
    let (small, large) = if a < b { (a, b) } else { (b, a) };
    if large < STIRLING_FROM {
        return libm::lgamma(a) + libm::lgamma(b) - libm::lgamma(a + b);
    }
    let sum = small + large;
    let share = small / sum;
    let rest = stirling_rest(large) - stirling_rest(sum);
    if small < STIRLING_FROM {
        return libm::lgamma(small) + rest + small - small * libm::log(sum)
            + (large - 0.5) * libm::log1p(-share);
    }
    0.5 * libm::log(2.0 * PI) - 0.5 * libm::log(large)
        + rest
        + stirling_rest(small)
        + (small - 0.5) * libm::log(share)
        + large * libm::log1p(-share)
}

/// Two probabilities that add up to 1, each to full relative precision where it is small.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Tails {
    /// Below.
    pub(super) lower: f64,
    /// Above.
    pub(super) upper: f64,
}

impl Tails {
    /// No probability at all.
    pub(super) const NAN: Tails = Tails { lower: f64::NAN, upper: f64::NAN };

    /// The same seen from the other side.
    pub(super) fn swapped(self) -> Tails {
        Tails { lower: self.upper, upper: self.lower }
    }
}

/// Incomplete beta ratio I_x(a, b) as `lower`, with x and 1 − x given apart so that neither loses
/// digits; a and b above zero.
pub(super) fn beta_tails(a: f64, b: f64, x: f64, one_less_x: f64) -> Tails {
    if x <= 0.0 {
        return Tails { lower: 0.0, upper: 1.0 };
    }
    if one_less_x <= 0.0 {
        return Tails { lower: 1.0, upper: 0.0 };
    }
    if x > (a + 1.0) / (a + b + 2.0) {
        return beta_tails_direct(b, a, one_less_x, x).swapped();
    }
    beta_tails_direct(a, b, x, one_less_x)
}

fn beta_tails_direct(a: f64, b: f64, x: f64, one_less_x: f64) -> Tails {
    // The larger of the two from the smaller: large exponents would amplify its rounding.
    let log = |own: f64, other: f64| if own > 0.5 { libm::log1p(-other) } else { libm::log(own) };
    let log_front = a * log(x, one_less_x) + b * log(one_less_x, x) - log_beta(a, b);
    let lower = libm::exp(log_front) * continued_fraction(a, b, x) / a;
    Tails { lower, upper: 1.0 - lower }
}

fn continued_fraction(a: f64, b: f64, x: f64) -> f64 {
    let away_from_zero = |value: f64| if value.abs() < 1e-300 { 1e-300 } else { value };
    let mut c = 1.0;
    let mut d = 1.0 / away_from_zero(1.0 - (a + b) * x / (a + 1.0));
    let mut result = d;
    for term in 1..=TERM_COUNT_MAX {
        let m = f64::from(term);
        let even = m * (b - m) * x / ((a + 2.0 * m - 1.0) * (a + 2.0 * m));
        d = 1.0 / away_from_zero(1.0 + even * d);
        c = away_from_zero(1.0 + even / c);
        result *= c * d;
        let odd = -(a + m) * (a + b + m) * x / ((a + 2.0 * m) * (a + 2.0 * m + 1.0));
        d = 1.0 / away_from_zero(1.0 + odd * d);
        c = away_from_zero(1.0 + odd / c);
        result *= c * d;
        if (c * d - 1.0).abs() < f64::EPSILON {
            break;
        }
    }
    result
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_beta_function_is_the_same_by_both_ways() {
        // B(1/2, n) falls by n / (n + 1/2) from n to n + 1; so from small n up past the border.
        let mut log = libm::log(2.0);
        for n in 1..40 {
            let n = f64::from(n);
            assert!((log_beta(0.5, n) - log).abs() < 1e-14 * (1.0 + log.abs()) * n, "{n}");
            log += libm::log(n / (n + 0.5));
        }
        // B(20, 30) = 19!·29!/49!, B(12, 3) = 2 / (12·13·14).
        let log_factorial = |n: u32| (2..=n).fold(0.0, |sum, k| sum + libm::log(f64::from(k)));
        let want = log_factorial(19) + log_factorial(29) - log_factorial(49);
        assert!((log_beta(20.0, 30.0) - want).abs() < 1e-12);
        assert!((log_beta(12.0, 3.0) - libm::log(2.0 / 2184.0)).abs() < 1e-14);
    }

    #[test]
    fn closed_forms() {
        // I_x(1, b) = 1 − (1 − x)^b, I_x(a, 1) = x^a.
        for x in [1e-9, 0.1, 0.5, 0.9, 0.999] {
            for power in [0.5, 1.0, 7.0, 2000.0] {
                let tails = beta_tails(1.0, power, x, 1.0 - x);
                let upper = libm::exp(power * libm::log1p(-x));
                assert!((tails.upper - upper).abs() < 1e-13, "{x} {power}");
                let tails = beta_tails(power, 1.0, x, 1.0 - x);
                assert!((tails.lower - libm::pow(x, power)).abs() < 1e-13, "{x} {power}");
            }
        }
    }
}
