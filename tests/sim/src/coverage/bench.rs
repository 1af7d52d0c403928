//! A lever on its simulated bench, calibrated by the host.
//!
//! What the bench read is put into the host's own form, as a technician's calibration would come
//! to it; nothing of the simulation's truth goes along.
//!
//! Deliberately not here: the evaluation, which is the host's.

use pinhold::calibration::bench::{Bench, SeatingReading};
use pinhold::calibration::evaluate::{Choices, evaluate};
use pinhold::calibration::record::{CalibrationResult, LeverConstants};
use pinhold::cli::demo;
use pinhold_lever::calibration::{Calibration, ZERO_FRACTION_BITS};
use pinhold_sim::deadweight::Equipment;
use pinhold_sim::rng::Random;

use super::population::{Day, PERSON_COUNT};
use super::tally::Tally;

/// Every lever's first.
const CALIBRATION_NUMBER: u32 = 1;
/// Pins that are seated anew, and how often each person does so.
const SEATING_PIN_COUNT: usize = 10;
const SEATING_ROUND_COUNT: usize = 3;
/// What a pin's own friction changes from one reading to the next, relative standard deviation:
/// repeats within minutes (assumed, small).
const PIN_REPEAT_RELATIVE_SD: f64 = 0.002;

/// The bench of a day, as the host is told of it.
pub fn bench_of(day: &Day, equipment: &Equipment) -> Bench {
    let bench = demo::bench_of(day.bench_lever, equipment, day.seed, 0);
    Bench { seatings: seatings(day), ..bench }
}

/// Ten pins, three times each, by both people: each reading with its seating and its person.
fn seatings(day: &Day) -> Vec<SeatingReading> {
    let mut random = Random::new(day.seed).fork("seatings");
    let mut readings = Vec::new();
    for pin in 0..SEATING_PIN_COUNT {
        let friction_nm = random.uniform(6.0, 14.0);
        let moment_nm = random.uniform(2.2, 3.3);
        for person in 0..PERSON_COUNT {
            for round in 0..SEATING_ROUND_COUNT {
                let seated = day.lever.cell.seating_relative_sd * random.standard_normal();
                let factor = 1.0 + seated + day.people[person];
                let mut of_pin = |nm: f64| {
                    nm * factor * (1.0 + PIN_REPEAT_RELATIVE_SD * random.standard_normal())
                };
                readings.push(SeatingReading {
                    pin,
                    person,
                    round,
                    friction_nm: of_pin(friction_nm),
                    moment_nm: of_pin(moment_nm),
                });
            }
        }
    }
    readings
}

/// What is stored on the lever.
pub fn on_the_lever(constants: &LeverConstants) -> Calibration {
    Calibration {
        number: CALIBRATION_NUMBER,
        zero_code_q8: (constants.zero_code * f64::from(1u32 << ZERO_FRACTION_BITS)).round() as i64,
        span_nm_per_count: constants.span_nm_per_count as f32,
        weight_moment_nm: constants.weight_moment_nm as f32,
    }
}

/// The host's calibration of the day's lever with this equipment; `None`, and a note in the tally,
/// when the host finds the bench wrong.
pub fn calibrate(day: &Day, equipment: &Equipment, tally: &mut Tally) -> Option<CalibrationResult> {
    let choices = Choices { number: CALIBRATION_NUMBER, insist: false };
    match evaluate(&bench_of(day, equipment), &choices) {
        Ok(result) => {
            tally.lever_count += 1;
            Some(result)
        }
        Err(error) => {
            tally.refused.push((day.seed, error.to_string()));
            None
        }
    }
}
