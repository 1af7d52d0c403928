//! How each fault shows in an instrument's pins.
//!
//! A fault sets the running friction of the pins it takes to an absolute level, marks them loose,
//! and lets their strings fall to what they then hold. Shapes follow the trade's reading of
//! patterns (ONE and PRAC); sizes and levels are invented.
//!
//! Deliberately not here: the sound plank under it (see [`super::invent`]).

use super::{Fault, PianoPin, Severity};
use crate::friction::GripParameters;
use crate::rng::Random;

/// Range of running friction of a loose pin, N·m: plain ones are failing or nearly, marginal ones
/// sit between "doubtful" (under 5.6) and "failing" (under 3.4).
fn loose_friction_nm(severity: Severity, random: &mut Random) -> f64 {
    match severity {
        Severity::Plain => random.uniform(1.7, 4.0),
        Severity::Marginal => random.uniform(3.7, 5.3),
    }
}

fn loosen(pin: &mut PianoPin, severity: Severity, random: &mut Random) {
    let friction_nm = loose_friction_nm(severity, random);
    let share_held = random.uniform(0.85, 0.97);
    pin.set_friction(friction_nm.min(pin.friction_nm), share_held);
    pin.loose = true;
}

/// Puts a fault into a sound field. Faults of the whole plank (dry, flat pitch, tight, off the
/// back) are made with the plank and do nothing here.
pub fn inflict(fault: Fault, severity: Severity, pins: &mut [PianoPin], random: &mut Random) {
    match fault {
        Fault::Split => split(severity, pins, random),
        Fault::Flange => flange(severity, pins, random),
        Fault::Scattered => scatter(severity, pins, random),
        Fault::Contaminated => contaminate(severity, pins, random),
        Fault::RespunBass => respin_bass(severity, pins, random),
        Fault::OffBack => unsettle(severity, pins, random),
        Fault::None | Fault::Dry | Fault::FlatPitch | Fault::TightNew => {}
    }
}

/// Indices of the pins of one row in some sections, from bass to treble.
fn row_indices(pins: &[PianoPin], row: u8, sections: core::ops::RangeInclusive<u8>) -> Vec<usize> {
    let chosen = |(index, pin): (usize, &PianoPin)| {
        (pin.row == row && sections.contains(&pin.section)).then_some(index)
    };
    let mut indices: Vec<usize> = pins.iter().enumerate().filter_map(chosen).collect();
    indices.sort_by(|a, b| pins[*a].x_m.total_cmp(&pins[*b].x_m));
    indices
}

/// A run of `count` neighbours out of `indices`, anywhere.
fn run_of(indices: &[usize], count: usize, random: &mut Random) -> Vec<usize> {
    let count = count.min(indices.len());
    let start = random.whole(0, indices.len() - count);
    indices[start..start + count].to_vec()
}

/// A crack along one row inside the field; it may run on under a strut. Some pins in it stay
/// tight, the two at its ends never do.
fn split(severity: Severity, pins: &mut [PianoPin], random: &mut Random) {
    let row = if random.chance(0.7) { 1 } else { 2 };
    let (count, loose_share) = match severity {
        Severity::Plain => (random.whole(14, 24), random.uniform(0.65, 0.80)),
        Severity::Marginal => (random.whole(9, 13), random.uniform(0.60, 0.72)),
    };
    let run = run_of(&row_indices(pins, row, 1..=u8::MAX), count, random);
    let tight_goal = ((1.0 - loose_share) * count as f64).round().max(2.0) as usize;
    let mut tight = vec![false; run.len()];
    let mut tight_count = 0;
    // Bounded: a few draws find room for every tight pin.
    for _ in 0..64 {
        if tight_count == tight_goal.min(run.len().saturating_sub(3)) {
            break;
        }
        let place = random.whole(1, run.len() - 2);
        tight_count += usize::from(!tight[place]);
        tight[place] = true;
    }
    for (index, is_tight) in run.into_iter().zip(tight) {
        if !is_tight {
            loosen(&mut pins[index], severity, random);
        }
    }
}

/// Crushed fibre along the flange: nearly every pin of a stretch of row 0, bass or low tenor.
fn flange(severity: Severity, pins: &mut [PianoPin], random: &mut Random) {
    let count = match severity {
        Severity::Plain => random.whole(9, 16),
        Severity::Marginal => random.whole(7, 9),
    };
    let section = u8::from(random.chance(0.35));
    let mut row = row_indices(pins, 0, section..=section);
    if section > 0 {
        // The low end of the tenor only.
        row.truncate(count + 2);
    }
    for index in run_of(&row, count, random) {
        if random.chance(0.92) {
            loosen(&mut pins[index], severity, random);
        }
    }
}

/// Bad holes here and there, never two together.
fn scatter(severity: Severity, pins: &mut [PianoPin], random: &mut Random) {
    const APART_M: f64 = 0.035;
    let goal = match severity {
        Severity::Plain => random.whole(9, 20),
        Severity::Marginal => random.whole(8, 11),
    };
    let mut taken: Vec<(f64, f64)> = Vec::new();
    // Bounded: many more draws than pins.
    for _ in 0..4000 {
        if taken.len() == goal {
            break;
        }
        let index = random.whole(0, pins.len() - 1);
        let (x_m, y_m) = (pins[index].x_m, pins[index].y_m);
        if taken.iter().all(|other| libm::hypot(other.0 - x_m, other.1 - y_m) > APART_M) {
            taken.push((x_m, y_m));
            loosen(&mut pins[index], severity, random);
        }
    }
}

/// Oil or dope: a patch across the rows, its pins spongy.
fn contaminate(severity: Severity, pins: &mut [PianoPin], random: &mut Random) {
    let goal = match severity {
        Severity::Plain => random.whole(13, 24),
        Severity::Marginal => random.whole(9, 12),
    };
    let treble: Vec<usize> = row_indices(pins, 1, 1..=u8::MAX);
    // Away from both ends, so that the patch has room.
    let margin = goal / 5 + 1;
    let centre = treble[random.whole(margin, treble.len() - 1 - margin)];
    let (x_m, y_m) = (pins[centre].x_m, pins[centre].y_m);
    let width = random.uniform(0.8, 1.2);
    let mut by_distance: Vec<(f64, usize)> = pins
        .iter()
        .enumerate()
        .filter(|(_, pin)| pin.section > 0)
        .map(|(index, pin)| (libm::hypot((pin.x_m - x_m) / width, pin.y_m - y_m), index))
        .collect();
    by_distance.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
    for (_, index) in by_distance.into_iter().take(goal) {
        pins[index].grip = GripParameters::spongy();
        loosen(&mut pins[index], severity, random);
    }
}

/// Bass on large pins already, loose again.
fn respin_bass(severity: Severity, pins: &mut [PianoPin], random: &mut Random) {
    // 4/0, 5/0 and 6/0 by their usual inch sizes (MEM).
    let diameter_um = match severity {
        Severity::Plain => [7518, 7645][random.whole(0, 1)],
        Severity::Marginal => [7391, 7518][random.whole(0, 1)],
    };
    for pin in pins.iter_mut().filter(|pin| pin.section == 0) {
        let before_m = f64::from(pin.diameter_um) * 1e-6 + pin.wire_diameter_m;
        pin.diameter_um = diameter_um;
        let after_m = f64::from(diameter_um) * 1e-6 + pin.wire_diameter_m;
        pin.moment_at_pitch_nm *= after_m / before_m;
        pin.moment_nm *= after_m / before_m;
        if random.chance(0.93) {
            loosen(pin, severity, random);
        }
    }
}

/// Off the back: at most, one section a little erratic.
fn unsettle(severity: Severity, pins: &mut [PianoPin], random: &mut Random) {
    if severity == Severity::Plain {
        return;
    }
    let sections = pins.iter().map(|pin| usize::from(pin.section)).max().unwrap_or(0);
    let section = random.whole(1, sections.max(1));
    for pin in pins.iter_mut().filter(|pin| usize::from(pin.section) == section) {
        let factor = 1.0 + 0.08 * random.normal_within(0.0, 1.0, 2.0);
        let friction_nm = pin.friction_nm * factor;
        pin.set_friction(friction_nm, 0.97);
    }
}
