//! The simulated lever's calibration: an invented bench with dead weights, evaluated as any other.
//!
//! Deliberately not here: the evaluation, and the bench's physics (`pinhold_sim::deadweight`). What
//! the bench read is put into the host's form as a technician's would come to it; nothing of the
//! simulation's truth goes along.

use pinhold_protocol::record::Direction;
use pinhold_sim::deadweight::{BenchReading, DeadWeightBench, Equipment, Loading, Stated};
use pinhold_sim::friction::Turn;
use pinhold_sim::sensors::LeverModel;

use crate::bench::BenchError;
use crate::calibration::bench::{
    Bench, BenchPoint, Gravity, GravitySource, HandPosition, Leg, Mass, Setting,
};
use crate::calibration::record::{CALIBRATION_VERSION, CalibrationRecord};
use crate::calibration::{Choices, evaluate};
use crate::cli::context::Context;
use crate::cli::exit::{CliError, Exit};
use crate::metrology::Estimate;
use crate::store::Store;

/// How long an invented calibration holds, milliseconds: a year.
const VALID_MS: i64 = 365 * 24 * 3600 * 1000;

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

/// Points of a simulated bench that was begun at `began_ms`.
fn points(readings: &[BenchReading], began_ms: i64) -> Vec<BenchPoint> {
    let point = |reading: &BenchReading| BenchPoint {
        setting: setting(reading.loading),
        mean_code: reading.mean.mean_code,
        code_sd: reading.mean.code_sd,
        sample_count: reading.sample_count,
        force_g: reading.mean.force_g,
        temperature_c: reading.mean.temperature_c,
        at_ms: began_ms + (reading.at_s * 1000.0) as i64,
    };
    readings.iter().map(point).collect()
}

/// What a simulated lever says on a simulated bench, as the host is told of it; without seatings.
pub fn bench_of(lever: LeverModel, equipment: &Equipment, seed: u64, began_ms: i64) -> Bench {
    let readings = DeadWeightBench::new(lever, equipment.clone(), seed).run();
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
        points: points(&readings, began_ms),
        seatings: Vec::new(),
    }
}

/// The calibration of the demo's lever: the one an earlier demo made while it holds, else a new
/// one, kept before the lever may name it.
pub(super) fn calibration_of(
    store: &mut Store,
    context: &Context,
    device: u64,
    lever: LeverModel,
    seed: u64,
) -> Result<CalibrationRecord, CliError> {
    let made_ms = context.now_ms();
    if let Some(kept) = store.latest_calibration(device)?
        && (kept.made_ms..kept.due_ms).contains(&made_ms)
    {
        return Ok(kept);
    }
    let number = store.next_calibration_number(device)?;
    let bench = bench_of(lever, &Equipment::careful(), seed, made_ms);
    let result = evaluate(&bench, &Choices { number, insist: false }).map_err(|error| {
        CliError::new(Exit::Refused, format!("the invented bench makes no calibration ({error})"))
    })?;
    let record = CalibrationRecord {
        version: CALIBRATION_VERSION,
        program: env!("CARGO_PKG_VERSION").to_owned(),
        lever: device,
        number,
        made_ms,
        due_ms: made_ms + VALID_MS,
        people: vec!["invented".to_owned()],
        place: "invented".to_owned(),
        relative_humidity: None,
        room_temperature_c: None,
        remark: "made by the demo".to_owned(),
        simulated: true,
        bench,
        result,
    };
    store.keep_calibration(&record)?;
    Ok(record)
}

/// The constants as the simulated lever is given them.
pub(super) fn sent(
    record: &CalibrationRecord,
) -> Result<pinhold_protocol::message::StoreCalibration, BenchError> {
    crate::bench::on_the_wire(&record.result.constants, record.number)
}
