//! What the host is shown of a plank: which pins, and with what noise.
//!
//! Relative noise of 1–3 % per stroke (a good lever is nearer 1) and one scale error for all
//! readings; the stated uncertainty is the true one. Deliberately not here: strokes.

use std::collections::BTreeSet;

use pinhold::analysis::Profile;
use pinhold::analysis::input::{Estimate, PinReading};
use pinhold::analysis::sampling::{Asked, CONFIDENCE_DEFAULT, Step, propose, quick};
use pinhold_protocol::record::Pin;
use pinhold_sim::rng::Random;

use super::{Plank, TruePin};

/// Standard uncertainty of the scale, relative, common to all readings of a survey.
const SCALE_RELATIVE_U: f64 = 0.01;
/// More steps than any adaptive survey needs.
const STEP_COUNT_MAX: usize = 120;

/// Which pins are read.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Shown {
    /// All that can be.
    Full,
    /// Those of the host's quick survey.
    Quick,
    /// Those the host's adaptive survey asks for until it stops.
    Adaptive,
    /// All but a third, drawn.
    TwoThirds,
}

impl Shown {
    /// Its word in tables.
    pub const fn word(self) -> &'static str {
        match self {
            Shown::Full => "full",
            Shown::Quick => "quick",
            Shown::Adaptive => "adaptive",
            Shown::TwoThirds => "two thirds",
        }
    }
}

/// The readings of a plank that the host is shown; an adaptive survey is steered by `profile`.
pub fn shown(plank: &Plank, shown: Shown, profile: &Profile) -> Vec<PinReading> {
    let all = every(plank);
    match shown {
        Shown::Full => all,
        Shown::Quick => {
            let asked: BTreeSet<Pin> = quick(&plank.instrument).pins.into_iter().collect();
            all.into_iter().filter(|reading| asked.contains(&reading.pin)).collect()
        }
        Shown::Adaptive => adaptive(plank, &all, profile),
        Shown::TwoThirds => {
            let mut random = Random::new(plank.seed).fork("shown");
            all.into_iter().filter(|_| random.unit() >= 1.0 / 3.0).collect()
        }
    }
}

/// Reads what is asked for until nothing more is.
///
/// # Panics
/// If the survey does not come to an end.
fn adaptive(plank: &Plank, all: &[PinReading], profile: &Profile) -> Vec<PinReading> {
    let (mut read, mut passed_over): (Vec<PinReading>, Vec<Pin>) = (Vec::new(), Vec::new());
    for _ in 0..STEP_COUNT_MAX {
        let step = propose(&Asked {
            instrument: &plank.instrument,
            readings: &read,
            condition: &plank.condition,
            profile,
            confidence: CONFIDENCE_DEFAULT,
            at: read.last().map(|reading| reading.pin),
            passed_over: &passed_over,
            seed: plank.seed,
        });
        let Step::Read(proposal) = step else { return read };
        for pin in proposal.pins {
            match all.iter().find(|reading| reading.pin == pin) {
                Some(reading) => read.push(reading.clone()),
                None => passed_over.push(pin),
            }
        }
    }
    panic!("seed {}: no end after {STEP_COUNT_MAX} steps", plank.seed);
}

/// The reading of every pin that can be read.
fn every(plank: &Plank) -> Vec<PinReading> {
    let root = Random::new(plank.seed).fork("reading").fork(plank.fault.word());
    let mut random = root.fork("lever");
    let relative_u = random.uniform(0.010, 0.030);
    let scale = 1.0 + SCALE_RELATIVE_U * random.normal_within(0.0, 1.0, 2.5);
    let unreadable = if random.chance(0.3) { random.uniform(0.0, 0.04) } else { 0.0 };
    (0..plank.pins.len())
        .filter_map(|at| {
            let mut random = root.fork_index("pin", at);
            // A pin that cannot be reached or did not give a clean stroke.
            if random.chance(unreadable) {
                return None;
            }
            Some(reading(plank, at, relative_u, scale, &mut random))
        })
        .collect()
}

fn reading(
    plank: &Plank,
    at: usize,
    relative_u: f64,
    scale: f64,
    random: &mut Random,
) -> PinReading {
    let TruePin { friction_nm, moment_at_pitch_nm, .. } = plank.pins[at];
    // A string has fallen to what its pin holds.
    let moment_nm = (moment_at_pitch_nm * random.uniform(0.97, 1.0)).min(0.95 * friction_nm);
    let stroke = |torque_nm: f64, random: &mut Random| {
        let own_u = relative_u * torque_nm.abs() + 0.03;
        let value = scale * torque_nm + own_u * random.normal_within(0.0, 1.0, 3.5);
        (value, own_u)
    };
    let (sharp, sharp_u) = stroke(friction_nm + moment_nm, random);
    let (flat, flat_u) = stroke(friction_nm - moment_nm, random);
    let common = |value: f64, own_u: f64| Estimate {
        value,
        u: libm::hypot(own_u, SCALE_RELATIVE_U * value),
    };
    let half_u = 0.5 * libm::hypot(sharp_u, flat_u);
    let friction = common(0.5 * (sharp + flat), half_u);
    let pull = Estimate { value: moment_at_pitch_nm, u: 0.05 * moment_at_pitch_nm };
    let factor = friction.value / pull.value;
    PinReading {
        sharp_nm: Some(common(sharp, sharp_u)),
        flat_nm: Some(common(flat, flat_u)),
        friction_nm: Some(friction),
        moment_nm: Some(common(0.5 * (sharp - flat), half_u)),
        holding_factor: Some(Estimate {
            value: factor,
            u: libm::hypot(friction.u / pull.value, 0.05 * factor),
        }),
        not_holding: flat < 0.0,
        ..PinReading::without_torques(plank.instrument.pins[at].pin, pull)
    }
}
