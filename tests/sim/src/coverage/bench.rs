//! A lever on its simulated bench, calibrated by the host.
//!
//! What the bench read is put into the host's own form, as a technician's calibration would come
//! to it; nothing of the simulation's truth goes along.
//!
//! Deliberately not here: the evaluation, which is the host's.

use pinhold::calibration::bench::{
    Bench, BenchPoint, Gravity, GravitySource, HandPosition, Leg, Mass, SeatingReading, Setting,
};
use pinhold::calibration::record::LeverConstants;
use pinhold::metrology::Estimate;
use pinhold_lever::calibration::{Calibration, ZERO_FRACTION_BITS};
use pinhold_protocol::record::Direction;
use pinhold_sim::deadweight::{BenchReading, DeadWeightBench, Equipment, Loading, Stated};
use pinhold_sim::friction::Turn;
use pinhold_sim::rng::Random;

use super::population::{Day, PERSON_COUNT};

/// Pins that are seated anew, and how often each person does so.
const SEATING_PIN_COUNT: usize = 10;
const SEATING_ROUND_COUNT: usize = 3;
/// What a pin's own friction changes from one reading to the next, relative standard deviation:
/// repeats within minutes (assumed, small).
const PIN_REPEAT_RELATIVE_SD: f64 = 0.002;

fn estimate(stated: Stated) -> Estimate {
    Estimate { value: stated.value, u: stated.u }
}

fn setting(loading: Loading) -> Setting {
    match loading {
        Loading::Free => Setting::Free,
        Loading::Loaded { place, turn, mass_count, falling } => Setting::Loaded {
            position: place,
            direction: if turn == Turn::Sharp { Direction::Sharp } else { Direction::Flat },
            leg: if falling { Leg::Down } else { Leg::Up },
            masses: (0..mass_count).collect(),
        },
    }
}

fn point(reading: &BenchReading) -> BenchPoint {
    BenchPoint {
        setting: setting(reading.loading),
        mean_code: reading.mean.mean_code,
        code_sd: reading.mean.code_sd,
        sample_count: reading.sample_count,
        force_g: reading.mean.force_g,
        temperature_c: reading.mean.temperature_c,
        at_ms: (reading.at_s * 1000.0) as i64,
    }
}

/// The bench of a day, as the host is told of it.
pub fn bench_of(day: &Day, equipment: &Equipment) -> Bench {
    let readings = DeadWeightBench::new(day.bench_lever, equipment.clone(), day.seed).run();
    let mass = |(index, stated): (usize, &Stated)| Mass {
        name: format!("mass {}", index + 1),
        mass_kg: estimate(*stated),
    };
    let position = |(index, stated): (usize, &Stated)| HandPosition {
        name: format!("place {}", index + 1),
        arm_m: estimate(*stated),
    };
    Bench {
        masses: equipment.masses_kg.iter().enumerate().map(mass).collect(),
        positions: equipment.arms_m.iter().enumerate().map(position).collect(),
        gravity: Gravity {
            value_m_s2: estimate(equipment.gravity_m_s2),
            source: GravitySource::Typed,
        },
        points: readings.iter().map(point).collect(),
        seatings: seatings(day),
    }
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
        number: 1,
        zero_code_q8: (constants.zero_code * f64::from(1u32 << ZERO_FRACTION_BITS)).round() as i64,
        span_nm_per_count: constants.span_nm_per_count as f32,
        weight_moment_nm: constants.weight_moment_nm as f32,
    }
}

/// STANDIN
pub fn calibrate(
    day: &Day,
    tally: &mut super::tally::Tally,
) -> Option<pinhold::calibration::record::CalibrationResult> {
    use pinhold::calibration::record::*;
    use pinhold::calibration::terms::*;
    let bench = bench_of(day, &Equipment::careful());
    let g = bench.gravity.value_m_s2.value;
    let (mut n, mut sx, mut sy, mut sxx, mut sxy) = (0.0, 0.0, 0.0, 0.0, 0.0);
    for p in &bench.points {
        if let Setting::Loaded { position, masses, .. } = &p.setting {
            let size = (p.force_g.iter().map(|c| c * c).sum::<f64>()).sqrt();
            let m: f64 = masses.iter().map(|i| bench.masses[*i].mass_kg.value).sum();
            let x = m * g * bench.positions[*position].arm_m.value * p.force_g[1] / size;
            let y = p.mean_code;
            n += 1.0;
            sx += x;
            sy += y;
            sxx += x * x;
            sxy += x * y;
        }
    }
    let b = (n * sxy - sx * sy) / (n * sxx - sx * sx);
    let a = (sy - b * sx) / n;
    let free: Vec<_> = bench.points.iter().filter(|p| p.setting == Setting::Free).collect();
    let w =
        free.iter().map(|p| -(p.mean_code - a) / b / p.force_g[1]).sum::<f64>() / free.len() as f64;
    tally.lever_count += 1;
    let terms = LeverTerms {
        scale_relative_u: 0.0012,
        zero_u_nm: 0.02,
        seating_relative_u: 0.004,
        person_relative_u: 0.002,
        cross_load_relative_half_width: 0.003,
        ..LeverTerms::class()
    };
    Some(CalibrationResult {
        curve: CalibrationCurve {
            coefficients: vec![a, b],
            covariance: vec![],
            residual_sd: 0.0,
            degrees_of_freedom: 0,
            r_squared: 1.0,
            degree_reason: String::new(),
        },
        constants: LeverConstants { zero_code: a, span_nm_per_count: 1.0 / b, weight_moment_nm: w },
        terms,
        remarks: vec![],
    })
}
