//! Small invented planks for unit tests. No real instrument is meant.
//!
//! Seeds used here are below 1000: they were looked at while the analysis was made.

use pinhold_protocol::record::{Pin, StringPosition};

use super::input::{Estimate, PinReading};
use super::random::Random;
use crate::instrument::scale::StringScale;
use crate::instrument::{FieldPin, Instrument, InstrumentKind, PlateFace};

pub(crate) fn pin(note: u8, letter: char) -> Pin {
    Pin { note, string: StringPosition::from_letter(letter).expect("a string letter") }
}

/// A grand of 227 pins: 10 singles, 17 bichords, 61 trichords, four sections.
pub(crate) fn grand() -> Instrument {
    let mut pins = Vec::new();
    for note in 1..=88u8 {
        let letters: &[char] = match note {
            1..=10 => &['C'],
            11..=27 => &['L', 'R'],
            _ => &['L', 'C', 'R'],
        };
        let section = match note {
            1..=27 => 0,
            28..=49 => 1,
            50..=69 => 2,
            _ => 3,
        };
        for (place, letter) in letters.iter().enumerate() {
            // Single and double strings alternate over the rows, as bass fields do.
            let row = if letters.len() == 3 { place as u8 } else { (note + place as u8 * 2) % 3 };
            pins.push(FieldPin {
                pin: pin(note, *letter),
                section,
                row,
                x_m: f64::from(note) * 0.0135 + f64::from(section) * 0.04 + f64::from(row) * 0.004,
                y_m: f64::from(row) * 0.021,
                flange_distance_m: None,
                diameter_um: Some(7_160),
            });
        }
    }
    Instrument {
        name: "Invented grand".to_owned(),
        kind: InstrumentKind::Grand,
        face: PlateFace::Full,
        first_note: 1,
        last_note: 88,
        pins,
        strings: StringScale::default(),
    }
}

/// String moment by register, N·m.
pub(crate) fn moment_nm(note: u8) -> f64 {
    match note {
        1..=10 => 5.0,
        11..=27 => 3.3,
        28..=40 => 2.3,
        _ => 2.8,
    }
}

/// A two-way reading with the uncertainty of a good lever.
pub(crate) fn reading(note: u8, letter: char, friction_nm: f64, moment_nm: f64) -> PinReading {
    let u = 0.02 * friction_nm + 0.1;
    let factor = friction_nm / moment_nm;
    PinReading {
        sharp_nm: Some(Estimate { value: friction_nm + moment_nm, u }),
        flat_nm: Some(Estimate { value: friction_nm - moment_nm, u }),
        friction_nm: Some(Estimate { value: friction_nm, u }),
        moment_nm: Some(Estimate { value: moment_nm, u }),
        holding_factor: Some(Estimate { value: factor, u: factor * (u / friction_nm).abs() }),
        not_holding: factor < 1.0,
        ..PinReading::without_torques(
            pin(note, letter),
            Estimate { value: moment_nm, u: 0.05 * moment_nm },
        )
    }
}

/// Readings of a whole plank: about `level_nm` with relative scatter `scatter`, each pin's
/// friction then changed by `fault`.
pub(crate) fn plank(
    seed: u64,
    level_nm: f64,
    scatter: f64,
    mut fault: impl FnMut(&FieldPin, f64, &mut Random) -> f64,
) -> (Instrument, Vec<PinReading>) {
    let instrument = grand();
    let mut random = Random::new(seed);
    let section_steps: Vec<f64> = (0..8).map(|_| 0.05 * random.normal()).collect();
    let readings = instrument
        .pins
        .iter()
        .map(|place| {
            let step = section_steps[usize::from(place.section)];
            let sound = level_nm * libm::exp(step + scatter * random.normal());
            let friction = fault(place, sound, &mut random).max(0.3);
            let noisy = friction * (1.0 + 0.02 * random.normal());
            let letter = place.pin.string.letter();
            reading(place.pin.note, letter, noisy, moment_nm(place.pin.note))
        })
        .collect();
    (instrument, readings)
}
