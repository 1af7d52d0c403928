//! Torque in the user's unit. Inside, everything is N·m.

use std::fmt;
use std::str::FromStr;

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
    type Err = String;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        match text {
            "nm" => Ok(TorqueUnit::NewtonMetre),
            "inlb" => Ok(TorqueUnit::InchPoundForce),
            "kgfcm" => Ok(TorqueUnit::KilogramForceCentimetre),
            _ => Err(format!("unknown torque unit '{text}'; use nm, inlb or kgfcm")),
        }
    }
}
