//! Trial pins on planks whose true gain follows laws other than the host's prior.
//!
//! A [`Plank`] is a place with loose pins and a hidden [`Law`]: what each hole gains from a larger
//! pin. [`judge`] asks the host for a size before any trial and after some, fits the trial pins it
//! asks for, and holds its advice against the size that truly does. Deliberately not here: bounds;
//! the test states them.
//!
//! Invariant: nothing here knows a parameter of the host's model. Every plank is invented.

pub mod judge;
mod law;

use pinhold::analysis::Profile;
use pinhold::analysis::gain::{Place, Trial};
use pinhold::analysis::input::Estimate;
use pinhold::analysis::stats::median;
use pinhold::analysis::verdict::size::sizes_um;
use pinhold_protocol::record::{Pin, StringPosition};
use pinhold_sim::rng::Random;

pub use law::Law;

/// Diameters fitted now, micrometres: 1/0, 2/0 and 3/0 by label, each as often.
const FITTED_UM: [f64; 3] = [7_010.0, 7_163.0, 7_264.0];
/// String's moment by register, N·m, and wire, micrometres (MEM ranges of tension).
const STRINGS: [(f64, f64); 4] = [(2.2, 1_090.0), (2.7, 890.0), (3.3, 1_120.0), (5.0, 1_300.0)];
/// Standard deviation of a reading, N·m.
const READING_SD_NM: f64 = 0.3;

/// One hole of a place.
#[derive(Clone, Debug)]
struct Hole {
    friction_nm: f64,
    /// How it differs from the others in what it gains: a standard normal number.
    oddity: f64,
}

/// A place with loose pins, and ordinary holes elsewhere.
#[derive(Clone, Debug)]
pub struct Plank {
    /// Its law.
    pub law: Law,
    holes: Vec<Hole>,
    ordinary: Vec<Hole>,
    gains: law::Gains,
    moment_nm: f64,
    wire_um: f64,
    from_um: f64,
    random: Random,
}

impl Plank {
    /// Invents one.
    pub fn drawn(law: Law, seed: u64) -> Plank {
        let mut random = Random::new(seed).fork("trial pins");
        let (moment_nm, wire_um) = STRINGS[random.whole(0, STRINGS.len() - 1)];
        let from_um = FITTED_UM[random.whole(0, FITTED_UM.len() - 1)];
        let middle_nm = random.uniform(1.8, 5.2);
        let count = random.whole(8, 60);
        let gains = law::Gains::drawn(law, from_um, middle_nm, &mut random);
        let mut hole = |middle_nm: f64| {
            let spread = libm::exp(random.normal_within(0.0, 0.18, 2.5));
            Hole { friction_nm: middle_nm * spread, oddity: random.normal_within(0.0, 1.0, 3.0) }
        };
        let holes = (0..count).map(|_| hole(middle_nm)).collect();
        let ordinary = (0..12).map(|_| hole(8.5)).collect();
        Plank { law, holes, ordinary, gains, moment_nm, wire_um, from_um, random }
    }

    /// As the host is told of it: the median of what was read.
    pub fn place(&self) -> Place {
        let mut random = self.random.fork("survey");
        let read: Vec<f64> = self
            .holes
            .iter()
            .map(|hole| hole.friction_nm + random.normal(0.0, READING_SD_NM))
            .collect();
        let u = 1.25 * READING_SD_NM / (read.len() as f64).sqrt();
        let profile = Profile::default();
        Place {
            friction_nm: Estimate { value: median(&read).expect("pins"), u },
            moment_nm: Estimate { value: self.moment_nm, u: 0.0 },
            from_um: self.from_um,
            wire_um: self.wire_um,
            friction_wanted_nm: profile.serviceable_nm.value,
            factor_wanted: profile.doubtful_factor.value,
            sizes_um: sizes_um(self.from_um, profile.largest_pin_um.value, &profile),
            reamed: false,
        }
    }

    /// True median of the place's pins, were they all of this size, N·m.
    pub fn result_nm(&self, to_um: u32) -> f64 {
        let step_mm = (f64::from(to_um) - self.from_um) / 1000.0;
        let after: Vec<f64> = self
            .holes
            .iter()
            .map(|hole| self.gains.after_nm(hole.friction_nm, step_mm, hole.oddity))
            .collect();
        median(&after).expect("pins")
    }

    /// The smallest size that truly does; `None` when none does.
    pub fn right_size(&self) -> Option<u32> {
        let place = self.place();
        let does = |to_um: &u32| self.result_nm(*to_um) >= place.target_nm(f64::from(*to_um)).value;
        place.sizes_um.iter().copied().find(does)
    }

    /// A trial pin in the next bad hole or, `ordinary`, in one elsewhere, read before and after.
    pub fn fit(&self, number: usize, to_um: u32, ordinary: bool) -> Trial {
        let holes = if ordinary { &self.ordinary } else { &self.holes };
        let mut random = self.random.fork_index("trial", number);
        let hole = &holes[number % holes.len()];
        let step_mm = (f64::from(to_um) - self.from_um) / 1000.0;
        let after_nm = if ordinary {
            self.gains.elsewhere_nm(hole.friction_nm, step_mm, hole.oddity)
        } else {
            self.gains.after_nm(hole.friction_nm, step_mm, hole.oddity)
        };
        let mut read = |torque_nm: f64| Estimate {
            value: torque_nm + random.normal(0.0, READING_SD_NM),
            u: READING_SD_NM,
        };
        let (before_nm, after_nm) = (read(hole.friction_nm), read(after_nm));
        let note = 1 + (number % 88) as u8;
        let pin = Pin { note, string: StringPosition::Centre };
        let from_um = self.from_um.round() as u32;
        Trial { pin, from_um, to_um, reamed: false, before_nm, after_nm }
    }
}
