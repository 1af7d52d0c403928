//! Weights, arms and gravity as they are typed, with what they may be off.
//!
//! What stands behind ± is the most the value may be off: half the width of a rectangle, as data
//! sheets and rulers have it (JCGM 100, 4.3.7), so that its standard uncertainty is that over √3.

use crate::calibration::bench::{Gravity, GravitySource, HandPosition, Mass};
use crate::calibration::loads::gravity_of_place;
use crate::metrology::Estimate;
use crate::units::split_plus_minus;
use crate::units::{LengthUnit, MassUnit, QuantityError, parse_length_m, parse_mass_kg};

/// What a mass may be off when nothing is said, share (DER): twice the tolerance of the coarsest
/// class of OIML R 111-1 from 100 g up.
const MASS_OFF_SHARE: f64 = 0.001;
/// What an arm may be off when nothing is said, metres (DER): a division of a ruler.
const ARM_OFF_M: f64 = 0.001;
/// What gravity may be off when nothing is said, share (DER): size of gravity anomalies on land.
const GRAVITY_OFF_SHARE: f64 = 1e-4;
/// Gravity on earth, m/s², with room either side.
const GRAVITY_M_S2: std::ops::RangeInclusive<f64> = 9.7..=9.9;

fn rectangular(value: f64, half_width: f64) -> Estimate {
    Estimate { value, u: half_width.abs() / 3.0_f64.sqrt() }
}

fn told(error: &QuantityError) -> String {
    error.to_string()
}

/// A value above zero and what it may be off, less than the value.
fn checked(value: f64, half_width: f64, what: &str) -> Result<Estimate, String> {
    if value <= 0.0 || half_width < 0.0 {
        return Err(format!("{what} and what it may be off are above zero"));
    }
    if half_width >= value {
        return Err(format!("{what} may not be off by as much as its value"));
    }
    Ok(rectangular(value, half_width))
}

/// A mass such as `2 kg ± 1 g`.
///
/// # Errors
/// A sentence saying what is wrong with it.
pub(super) fn mass_parser(text: &str) -> Result<Mass, String> {
    let (value, off) = split_plus_minus(text);
    let value_kg = parse_mass_kg(value, None::<MassUnit>).map_err(|error| told(&error))?;
    let off_kg = match off {
        Some(off) => parse_mass_kg(off, None::<MassUnit>).map_err(|error| told(&error))?,
        None => MASS_OFF_SHARE * value_kg,
    };
    Ok(Mass { name: value.to_owned(), mass_kg: checked(value_kg, off_kg, "a mass")? })
}

/// An arm such as `250 mm ± 0.5 mm`.
///
/// # Errors
/// A sentence saying what is wrong with it.
pub(super) fn arm_parser(text: &str) -> Result<HandPosition, String> {
    let (value, off) = split_plus_minus(text);
    let value_m = parse_length_m(value, None::<LengthUnit>).map_err(|error| told(&error))?;
    let off_m = match off {
        Some(off) => parse_length_m(off, None::<LengthUnit>).map_err(|error| told(&error))?,
        None => ARM_OFF_M,
    };
    Ok(HandPosition { name: value.to_owned(), arm_m: checked(value_m, off_m, "an arm")? })
}

/// Gravity such as `9.8072 ± 0.0001`, m/s².
///
/// # Errors
/// A sentence saying what is wrong with it.
pub(super) fn gravity_parser(text: &str) -> Result<Gravity, String> {
    let number = |text: &str| {
        let plain = text.trim().trim_end_matches("m/s²").trim_end_matches("m/s2").trim();
        let number = plain.parse::<f64>().ok().filter(|number| number.is_finite());
        number.ok_or_else(|| "use metres per second squared, such as 9.8072".to_owned())
    };
    let (value, off) = split_plus_minus(text);
    let value = number(value)?;
    if !GRAVITY_M_S2.contains(&value) {
        return Err("gravity is 9.7 to 9.9 m/s² anywhere people live".to_owned());
    }
    let off = match off {
        Some(off) => number(off)?,
        None => GRAVITY_OFF_SHARE * value,
    };
    let value_m_s2 = checked(value, off, "gravity")?;
    Ok(Gravity { value_m_s2, source: GravitySource::Typed })
}

/// Gravity of a place.
pub(super) fn gravity_at(latitude_deg: f64, height_m: f64) -> Gravity {
    gravity_of_place(latitude_deg, height_m)
}

/// Degrees of latitude, north positive.
pub(super) fn latitude_parser(text: &str) -> Result<f64, String> {
    let latitude = text.trim().parse::<f64>().ok();
    latitude
        .filter(|degrees| (-90.0..=90.0).contains(degrees))
        .ok_or_else(|| "use degrees, north positive, such as 47.4".to_owned())
}

/// Metres above sea level.
pub(super) fn height_parser(text: &str) -> Result<f64, String> {
    let height = text.trim().parse::<f64>().ok();
    height
        .filter(|metres| (-500.0..=9000.0).contains(metres))
        .ok_or_else(|| "use metres above sea level, such as 410".to_owned())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_stands_behind_the_sign_is_half_a_rectangle() {
        let mass = mass_parser("2 kg ± 1 g").unwrap();
        assert_eq!((mass.name.as_str(), mass.mass_kg.value), ("2 kg", 2.0));
        assert!((mass.mass_kg.u - 0.001 / 3.0_f64.sqrt()).abs() < 1e-15);
        let arm = arm_parser("250mm +/- 0.5mm").unwrap();
        assert!((arm.arm_m.value - 0.25).abs() < 1e-15);
        assert!((arm.arm_m.u - 0.000_5 / 3.0_f64.sqrt()).abs() < 1e-15);
        assert!((arm_parser("25 cm").unwrap().arm_m.u - 0.001 / 3.0_f64.sqrt()).abs() < 1e-15);
        let gravity = gravity_parser("9.8072 ± 0.0001").unwrap();
        assert_eq!(gravity.value_m_s2.value, 9.8072);
        assert_eq!(gravity_parser("9.81 m/s²").unwrap().value_m_s2.value, 9.81);
    }

    #[test]
    fn what_makes_no_sense_is_told() {
        for text in ["", "2", "2 mm", "-2 kg", "2 kg ± 3 kg", "2 kg ± -1 g", "2 kg ± 1"] {
            assert!(mass_parser(text).is_err(), "{text}");
        }
        for text in ["250", "250 kg", "0 mm", "250 mm ±", "250 mm ± 0.3 m"] {
            assert!(arm_parser(text).is_err(), "{text}");
        }
        for text in ["", "981", "9.81 ± x", "nan"] {
            assert!(gravity_parser(text).is_err(), "{text}");
        }
        for text in ["91", "x", "nan"] {
            assert!(latitude_parser(text).is_err() && height_parser("1e9").is_err(), "{text}");
        }
    }
}
