//! Torque in the user's unit, and quantities as they are typed. Inside, everything is SI.
//!
//! A bare "in-lb" or "kg-cm" means the force of a pound or kilogram, as everywhere in the trade.

mod others;
#[cfg(test)]
mod tests;
mod typed;

use std::fmt;
use std::str::FromStr;

pub use others::{
    LengthUnit, MassUnit, TemperatureUnit, parse_length_m, parse_mass_kg, parse_temperature_c,
};
pub use typed::{QuantityError, Typed, TypedUnit, parse_typed, parse_unit, split_plus_minus};

/// Newton-metres in one inch-pound-force (NIST SP 811: 0.1129848; exact from 25.4 mm,
/// 0.45359237 kg and 9.80665 m/s²).
pub const NM_PER_INLBF: f64 = 0.0254 * 0.453_592_37 * 9.806_65;
/// Newton-metres in one kilogram-force centimetre (exact, NIST SP 811).
pub const NM_PER_KGFCM: f64 = 0.098_066_5;

/// The unit torque is shown in.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum TorqueUnit {
    /// N·m.
    #[default]
    NewtonMetre,
    /// in·lbf.
    InchPoundForce,
    /// kgf·cm.
    KilogramForceCentimetre,
}

impl TorqueUnit {
    /// Newton-metres in one of this unit.
    pub const fn newton_metres(self) -> f64 {
        match self {
            TorqueUnit::NewtonMetre => 1.0,
            TorqueUnit::InchPoundForce => NM_PER_INLBF,
            TorqueUnit::KilogramForceCentimetre => NM_PER_KGFCM,
        }
    }

    /// A torque in N·m, expressed in this unit.
    pub fn from_newton_metres(self, torque_nm: f64) -> f64 {
        torque_nm / self.newton_metres()
    }

    /// Digits after the point that suit a hand reading in this unit.
    pub const fn decimals(self) -> usize {
        match self {
            TorqueUnit::NewtonMetre => 1,
            TorqueUnit::InchPoundForce | TorqueUnit::KilogramForceCentimetre => 0,
        }
    }
}

impl fmt::Display for TorqueUnit {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            TorqueUnit::NewtonMetre => "N·m",
            TorqueUnit::InchPoundForce => "in·lbf",
            TorqueUnit::KilogramForceCentimetre => "kgf·cm",
        })
    }
}

impl FromStr for TorqueUnit {
    type Err = QuantityError;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        parse_unit(text)
    }
}

impl TypedUnit for TorqueUnit {
    const WHAT: &'static str = "torque";
    const EXAMPLE: &'static str = "5.9 N·m or 52 in·lb";
    const OFFERED: &'static str = "nm, inlb or kgfcm";
    const SPELLINGS: &'static [(&'static str, TorqueUnit)] = &[
        ("nm", TorqueUnit::NewtonMetre),
        ("newtonmetre", TorqueUnit::NewtonMetre),
        ("newtonmetres", TorqueUnit::NewtonMetre),
        ("newtonmeter", TorqueUnit::NewtonMetre),
        ("newtonmeters", TorqueUnit::NewtonMetre),
        ("inlb", TorqueUnit::InchPoundForce),
        ("inlbs", TorqueUnit::InchPoundForce),
        ("inlbf", TorqueUnit::InchPoundForce),
        ("lbin", TorqueUnit::InchPoundForce),
        ("lbsin", TorqueUnit::InchPoundForce),
        ("lbfin", TorqueUnit::InchPoundForce),
        ("inchpound", TorqueUnit::InchPoundForce),
        ("inchpounds", TorqueUnit::InchPoundForce),
        ("poundinch", TorqueUnit::InchPoundForce),
        ("poundinches", TorqueUnit::InchPoundForce),
        ("kgfcm", TorqueUnit::KilogramForceCentimetre),
        ("kgcm", TorqueUnit::KilogramForceCentimetre),
        ("cmkgf", TorqueUnit::KilogramForceCentimetre),
        ("cmkg", TorqueUnit::KilogramForceCentimetre),
        ("kpcm", TorqueUnit::KilogramForceCentimetre),
    ];
}

/// A torque as typed, N·m. `bare` is the unit of a number without one; without it that is refused.
///
/// # Errors
/// When it is no number or the unit is none of torque.
///
/// ```
/// use pinhold::units::{TorqueUnit, parse_torque};
/// let torque_nm = parse_torque("52 in·lb", None).unwrap();
/// assert!((torque_nm - 5.875_211).abs() < 1e-6);
/// assert_eq!(parse_torque("5.9", Some(TorqueUnit::NewtonMetre)), Ok(5.9));
/// assert!(parse_torque("5,9 N·m", None).is_err());
/// ```
pub fn parse_torque(text: &str, bare: Option<TorqueUnit>) -> Result<f64, QuantityError> {
    let (number, unit) = others::with_unit(text, bare)?;
    Ok(number * unit.newton_metres())
}
