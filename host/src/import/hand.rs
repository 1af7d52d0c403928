//! A reading taken by hand with any torque wrench, as it was typed.
//!
//! Deliberately not here: what it says about the pin (the analysis).

use pinhold_protocol::record::Pin;
use pinhold_protocol::units::Torque;

use crate::analysis::input::{StringState, TorqueKind};
use crate::units::TorqueUnit;

/// A torque as typed: the text, its unit, and the whole micronewton-metres it comes to.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct HandTorque {
    /// Nearest whole micronewton-metre.
    pub rounded: Torque,
    /// The number as typed, a plain decimal with a point.
    pub text: String,
    /// The unit it was typed in.
    pub unit: TorqueUnit,
}

impl HandTorque {
    /// From a plain decimal number and its unit; `None` when it is no finite number, or beyond
    /// ±2147 N·m.
    ///
    /// ```
    /// use pinhold::import::hand::HandTorque;
    /// use pinhold::units::TorqueUnit;
    /// let torque = HandTorque::parse("-50", TorqueUnit::InchPoundForce).unwrap();
    /// assert_eq!(torque.rounded.micronewton_metres(), -5_649_241);
    /// ```
    pub fn parse(text: &str, unit: TorqueUnit) -> Option<HandTorque> {
        let torque_nm = parse_decimal(text)? * unit.newton_metres();
        let rounded = Torque::from_newton_metres(torque_nm)?;
        Some(HandTorque { rounded, text: text.to_string(), unit })
    }

    /// One unit of the last digit typed, N·m: "52" in·lbf is told to a whole in·lbf.
    pub fn last_digit_nm(&self) -> f64 {
        let (number, exponent) = self.text.split_once(['e', 'E']).unwrap_or((&self.text, "0"));
        let decimals = number.split_once('.').map_or(0, |(_, after)| after.len());
        let decimals = i32::try_from(decimals).unwrap_or(i32::MAX);
        let power = exponent.parse::<i32>().unwrap_or(0).saturating_sub(decimals);
        let digit_nm = libm::pow(10.0, f64::from(power)) * self.unit.newton_metres();
        // No number that was typed is told more coarsely than itself.
        digit_nm.min(self.newton_metres().abs().max(self.unit.newton_metres()))
    }

    /// Newton-metres at the full precision typed.
    pub fn newton_metres(&self) -> f64 {
        match parse_decimal(&self.text) {
            Some(value) => value * self.unit.newton_metres(),
            None => self.rounded.newton_metres(),
        }
    }
}

/// A plain decimal number: sign, digits, point, exponent; `None` for words such as `inf` and
/// `nan` and for what overflows.
pub fn parse_decimal(text: &str) -> Option<f64> {
    let plain = |c: char| c.is_ascii_digit() || matches!(c, '+' | '-' | '.' | 'e' | 'E');
    if !text.chars().all(plain) {
        return None;
    }
    text.parse().ok().filter(|value: &f64| value.is_finite())
}

/// Which side of the friction a limit is on.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum LimitSide {
    /// The pin did not move at this torque: it holds at least that.
    Lower,
    /// The pin moved at this torque: it holds at most that.
    Upper,
}

/// One pin's row of a file.
#[derive(Clone, Debug, PartialEq)]
pub struct HandReading {
    /// The pin.
    pub pin: Pin,
    /// Line of the file it came from, from 1.
    pub source_line: u32,
    /// What kind of number the torques are.
    pub kind: TorqueKind,
    /// Side of a limit; `None` for the other kinds.
    pub limit_side: Option<LimitSide>,
    /// State of the string.
    pub state: StringState,
    /// Sharp torque, as the wrench reads.
    pub sharp: Option<HandTorque>,
    /// Flat torque, as the wrench reads; negative when the string drove the pin.
    pub flat: Option<HandTorque>,
    /// Friction, where the technician gave it.
    pub friction: Option<HandTorque>,
    /// A torque as the wrench reads, of which nobody wrote down which way it was taken.
    pub torque: Option<HandTorque>,
    /// Standard uncertainty of each torque, when stated.
    pub u: Option<Torque>,
    /// Pitch as found, thousandths of a cent from target.
    pub cents_milli: Option<i32>,
    /// Pin diameter, µm.
    pub pin_um: Option<u32>,
    /// Free text, untrusted.
    pub remark: String,
}

impl HandReading {
    /// Pitch as found, cents from target.
    pub fn cents(&self) -> Option<f64> {
        self.cents_milli.map(|milli| f64::from(milli) / 1000.0)
    }
}

/// The word of a kind in files: `running`, `peak` or `limit`.
pub fn kind_word(kind: TorqueKind) -> &'static str {
    match kind {
        TorqueKind::Running => "running",
        TorqueKind::Peak => "peak",
        TorqueKind::Limit => "limit",
    }
}

/// Back from [`kind_word`].
pub fn kind_from_word(word: &str) -> Option<TorqueKind> {
    [TorqueKind::Running, TorqueKind::Peak, TorqueKind::Limit]
        .into_iter()
        .find(|kind| kind_word(*kind) == word)
}

/// The word of a string's state in files: `pitch`, `slack` or `unstrung`.
pub fn state_word(state: StringState) -> &'static str {
    match state {
        StringState::AtPitch => "pitch",
        StringState::Slack => "slack",
        StringState::Unstrung => "unstrung",
    }
}

/// Back from [`state_word`].
pub fn state_from_word(word: &str) -> Option<StringState> {
    [StringState::AtPitch, StringState::Slack, StringState::Unstrung]
        .into_iter()
        .find(|state| state_word(*state) == word)
}

/// The word of a unit in column names and options: `nm`, `inlb` or `kgfcm`.
pub fn unit_word(unit: TorqueUnit) -> &'static str {
    match unit {
        TorqueUnit::NewtonMetre => "nm",
        TorqueUnit::InchPoundForce => "inlb",
        TorqueUnit::KilogramForceCentimetre => "kgfcm",
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_typed_number_keeps_its_precision() {
        let torque = HandTorque::parse("9.3", TorqueUnit::NewtonMetre).unwrap();
        assert_eq!(torque.newton_metres().to_bits(), 9.3_f64.to_bits());
        let inch = HandTorque::parse("73", TorqueUnit::InchPoundForce).unwrap();
        assert_eq!(inch.newton_metres(), 73.0 * TorqueUnit::InchPoundForce.newton_metres());
    }

    #[test]
    fn what_is_no_finite_number_is_refused() {
        for text in ["", "-", "nan", "inf", "-inf", "infinity", "1e999", "9,5", "0x10", "١", "1e9"]
        {
            assert_eq!(HandTorque::parse(text, TorqueUnit::NewtonMetre), None, "{text}");
        }
    }

    #[test]
    fn words_come_back() {
        for kind in [TorqueKind::Running, TorqueKind::Peak, TorqueKind::Limit] {
            assert_eq!(kind_from_word(kind_word(kind)), Some(kind));
        }
        for state in [StringState::AtPitch, StringState::Slack, StringState::Unstrung] {
            assert_eq!(state_from_word(state_word(state)), Some(state));
        }
        for unit in [
            TorqueUnit::NewtonMetre,
            TorqueUnit::InchPoundForce,
            TorqueUnit::KilogramForceCentimetre,
        ] {
            assert_eq!(unit_word(unit).parse(), Ok(unit));
        }
    }
}
