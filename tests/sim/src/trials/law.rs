//! What a larger pin truly gains: laws the host does not know.
//!
//! Their numbers lie round the one documented gain, 56 N·m per millimetre in a dense plank (ONE),
//! and below it; none is a measurement of a plank.

use std::fmt;

use pinhold_sim::press_fit::{Body, STEEL_PIN, contact_pressure, friction_torque};
use pinhold_sim::rng::Random;

/// A law of gain.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Law {
    /// Soft to dense wood, alike much per millimetre for every size.
    Even,
    /// Cracked where the pins are loose: next to nothing, whatever the size.
    Cracked,
    /// The first tenth of a millimetre gains most.
    Saturating,
    /// So much of what the hole had, not so much more.
    Proportional,
    /// Holes that differ widely.
    Scattered,
    /// Mostly the fresh thread, little for the size.
    FreshThread,
    /// Two elastic bodies, pressed (Lamé).
    Elastic,
    /// Some holes grip as before, the others not at all.
    Patchy,
}

impl Law {
    /// All laws.
    pub const ALL: [Law; 8] = [
        Law::Even,
        Law::Cracked,
        Law::Saturating,
        Law::Proportional,
        Law::Scattered,
        Law::FreshThread,
        Law::Elastic,
        Law::Patchy,
    ];

    /// Whether a larger pin is gripped in every hole.
    pub const fn grips_everywhere(self) -> bool {
        !matches!(self, Law::Cracked | Law::Patchy)
    }
}

impl fmt::Display for Law {
    fn fmt(&self, formatter: &mut fmt::Formatter<'_>) -> fmt::Result {
        formatter.pad(match self {
            Law::Even => "even",
            Law::Cracked => "cracked",
            Law::Saturating => "saturating",
            Law::Proportional => "proportional",
            Law::Scattered => "scattered",
            Law::FreshThread => "fresh thread",
            Law::Elastic => "elastic",
            Law::Patchy => "patchy",
        })
    }
}

/// One plank's numbers.
#[derive(Clone, Debug)]
pub(super) struct Gains {
    law: Law,
    fresh_nm: f64,
    per_mm: f64,
    scatter_nm: f64,
    /// Of the saturating law: where two thirds are gained, mm. Of the proportional: share of what
    /// was there for one size. Of the patchy: oddity from which a hole grips.
    shape: f64,
    elsewhere: f64,
}

impl Gains {
    pub(super) fn drawn(law: Law, from_um: f64, middle_nm: f64, random: &mut Random) -> Gains {
        let (fresh, per_mm, scatter, shape) = match law {
            Law::Even => ((0.3, 2.5), (10.0, 60.0), (0.4, 1.2), (0.0, 0.0)),
            Law::Cracked => ((-0.3, 0.6), (0.0, 2.0), (0.2, 0.7), (0.0, 0.0)),
            Law::Saturating => ((2.0, 6.5), (0.0, 0.0), (0.4, 1.2), (0.05, 0.15)),
            Law::Proportional => ((0.0, 0.5), (0.0, 0.0), (0.3, 0.8), (0.2, 1.3)),
            Law::Scattered => ((0.3, 2.5), (10.0, 55.0), (1.8, 3.2), (0.0, 0.0)),
            Law::FreshThread => ((1.5, 5.0), (2.0, 15.0), (0.4, 1.2), (0.0, 0.0)),
            Law::Elastic => ((0.0, 0.5), (0.0, 0.0), (0.3, 0.9), (150e6, 900e6)),
            Law::Patchy => ((0.5, 2.0), (15.0, 50.0), (0.4, 1.0), (-0.8, 0.8)),
        };
        let mut between = |(low, high): (f64, f64)| random.uniform(low, high);
        let mut gains = Gains {
            law,
            fresh_nm: between(fresh),
            per_mm: between(per_mm),
            scatter_nm: between(scatter),
            shape: between(shape),
            elsewhere: between((0.8, 1.5)),
        };
        if law == Law::Elastic {
            gains.per_mm = elastic_per_mm(from_um, middle_nm, gains.shape);
        }
        gains
    }

    /// Friction of a bad hole with a pin so much larger, N·m.
    pub(super) fn after_nm(&self, friction_nm: f64, step_mm: f64, oddity: f64) -> f64 {
        let own_nm = self.scatter_nm * oddity;
        let gain_nm = match self.law {
            Law::Saturating => self.fresh_nm * (1.0 - libm::exp(-step_mm / self.shape)) + own_nm,
            Law::Proportional => self.fresh_nm + friction_nm * self.shape * step_mm / 0.12 + own_nm,
            Law::Patchy if oddity < self.shape => 0.2 * oddity,
            Law::Patchy => self.fresh_nm + self.per_mm * step_mm + 0.5 * own_nm,
            _ => self.fresh_nm + self.per_mm * step_mm + own_nm,
        };
        (friction_nm + gain_nm).max(0.2)
    }

    /// The same of an ordinary hole elsewhere, where wood grips.
    pub(super) fn elsewhere_nm(&self, friction_nm: f64, step_mm: f64, oddity: f64) -> f64 {
        let gain_nm = match self.law {
            Law::Cracked | Law::Patchy => 1.0 + 35.0 * step_mm + oddity,
            _ => self.after_nm(friction_nm, step_mm, oddity) - friction_nm,
        };
        (friction_nm + self.elsewhere * gain_nm).max(0.2)
    }
}

/// Gain per millimetre of an elastic press fit in a block of this modulus, N·m/mm: 35 mm of pin, a
/// friction of a quarter, a block of 25 mm round it. From the interference that gives the friction
/// found.
fn elastic_per_mm(from_um: f64, middle_nm: f64, modulus_pa: f64) -> f64 {
    let block = Body { far_radius: 0.025, modulus: modulus_pa, poisson: 0.4 };
    let torque_nm = |diameter_um: f64, interference_m: f64| {
        let radius_m = diameter_um * 0.5e-6;
        let pressure_pa = contact_pressure(STEEL_PIN, block, radius_m, interference_m);
        friction_torque(pressure_pa, radius_m, 0.035, 0.25)
    };
    let now_m = middle_nm / torque_nm(from_um, 1.0);
    let (step_um, step_mm) = (100.0, 0.1);
    (torque_nm(from_um + step_um, now_m + 0.5e-6 * step_um) - middle_nm) / step_mm
}
