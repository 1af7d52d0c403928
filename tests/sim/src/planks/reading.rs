//! What the host is shown of a plank: which pins, and with what noise.
//!
//! Relative noise of 1–3 % per stroke (a good lever is nearer 1) and one scale error for all
//! readings; the stated uncertainty is the true one. Deliberately not here: strokes.

use pinhold::analysis::input::{Estimate, PinReading, StringState, TorqueKind};
use pinhold_sim::rng::Random;

use super::{Plank, TruePin};

/// Standard uncertainty of the scale, relative, common to all readings of a survey.
const SCALE_RELATIVE_U: f64 = 0.01;

/// Which pins are read.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Shown {
    /// All that can be.
    Full,
    /// Runs of six in each row with as many pins left out between, staggered by row.
    Quick,
    /// Every other pin.
    EveryOther,
    /// All but a third, drawn.
    TwoThirds,
}

impl Shown {
    /// Its word in tables.
    pub const fn word(self) -> &'static str {
        match self {
            Shown::Full => "full",
            Shown::Quick => "quick",
            Shown::EveryOther => "every other",
            Shown::TwoThirds => "two thirds",
        }
    }
}

/// Which pins of the plank are read, in the instrument's order.
pub fn chosen(plank: &Plank, shown: Shown) -> Vec<bool> {
    let pins = &plank.instrument.pins;
    match shown {
        Shown::Full => vec![true; pins.len()],
        Shown::EveryOther => (0..pins.len()).map(|at| at % 2 == 0).collect(),
        Shown::TwoThirds => {
            let mut random = Random::new(plank.seed).fork("shown");
            (0..pins.len()).map(|_| random.unit() >= 1.0 / 3.0).collect()
        }
        Shown::Quick => {
            let mut order: Vec<usize> = (0..pins.len()).collect();
            order.sort_by(|a, b| pins[*a].x_m.total_cmp(&pins[*b].x_m));
            let mut place_in_row = [0usize; 256];
            let mut chosen = vec![false; pins.len()];
            for at in order {
                let row = usize::from(pins[at].row);
                // Five in fifteen, each row begun elsewhere.
                chosen[at] = (place_in_row[row] + 5 * row) % 15 < 5;
                place_in_row[row] += 1;
            }
            chosen
        }
    }
}

/// Readings of the chosen pins.
pub fn readings(plank: &Plank, chosen: &[bool]) -> Vec<PinReading> {
    let root = Random::new(plank.seed).fork("reading").fork(plank.fault.word());
    let mut random = root.fork("lever");
    let relative_u = random.uniform(0.010, 0.030);
    let scale = 1.0 + SCALE_RELATIVE_U * random.normal_within(0.0, 1.0, 2.5);
    let unreadable = if random.chance(0.3) { random.uniform(0.0, 0.04) } else { 0.0 };
    (0..plank.pins.len())
        .filter(|at| chosen[*at])
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
        pin: plank.instrument.pins[at].pin,
        kind: TorqueKind::Running,
        state: StringState::AtPitch,
        sharp_nm: Some(common(sharp, sharp_u)),
        flat_nm: Some(common(flat, flat_u)),
        friction_nm: Some(friction),
        moment_nm: Some(common(0.5 * (sharp - flat), half_u)),
        moment_at_pitch_nm: pull,
        holding_factor: Some(Estimate {
            value: factor,
            u: libm::hypot(friction.u / pull.value, 0.05 * factor),
        }),
        friction_is_lower_limit: false,
        not_holding: flat < 0.0,
        cents_as_found: None,
        remarks: Vec::new(),
        marks: Vec::new(),
        friction_interval_nm: None,
        moment_interval_nm: None,
        holding_interval: None,
        budget: None,
    }
}
