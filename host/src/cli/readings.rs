//! `pinhold readings`: every reading of a survey, as the lever wrote it and as it counts.

use clap::Args;
use pinhold_protocol::content::Trace;
use pinhold_protocol::record::{Pin, SampleCoverage};
use serde_json::{Value, json};

use super::context::{Context, shell_quoted};
use super::correct::{pin_value, readings_word, shown};
use super::exit::{CliError, Exit};
use super::parsers::{name_parser, pin_parser};
use super::teller::reading_line;
use crate::calibration::mark::LeverMark;
use crate::instrument::pin_name;
use crate::lever_reads::Levers;
use crate::report;
use crate::store::{LeverReading, Named, RecordName, Store, Survey};
use crate::text::printable;
use crate::units::TorqueUnit;

/// Widest picture of a trace, columns.
const TRACE_COLUMNS_MAX: usize = 88;
/// Height of a picture of a trace, lines.
const TRACE_LINES: i32 = 9;

/// Arguments of `pinhold readings`.
#[derive(Args, Clone, Debug)]
#[command(after_long_help = "\
The latest survey's readings by a lever, in the order they were taken: record number, the pin each
counts for, what the lever said, whether its raw samples were sent complete, with gaps or not at all
(only complete ones can be replayed bit for bit), and, where it was moved, the pin it was taken
under. Where a pin was read more than once, its last usable reading counts. With --pin the trace is
drawn, where the lever kept one: the course of the torque, for looking at.

Examples:
  pinhold readings parlour
  pinhold readings parlour --pin 40L")]
pub struct ReadingsArguments {
    /// The instrument
    #[arg(value_name = "NAME", value_parser = name_parser)]
    pub name: String,
    /// Only this pin, with its traces
    #[arg(long, value_name = "PIN", value_parser = pin_parser)]
    pub pin: Option<Pin>,
}

/// The word for a coverage, in documents.
fn coverage_word(samples: SampleCoverage) -> &'static str {
    match samples {
        SampleCoverage::None => "none",
        SampleCoverage::WithGaps => "with-gaps",
        SampleCoverage::Complete => "complete",
    }
}

/// The same in a line.
fn coverage_text(samples: SampleCoverage) -> &'static str {
    match samples {
        SampleCoverage::None => "no raw samples",
        SampleCoverage::WithGaps => "raw samples with gaps",
        SampleCoverage::Complete => "raw samples complete",
    }
}

fn name_of(stored: &LeverReading) -> RecordName {
    RecordName { device: stored.device, epoch: stored.epoch, number: stored.number }
}

/// Runs the command.
///
/// # Errors
/// When the instrument has no such reading, or the store fails.
pub fn run(context: &Context, arguments: &ReadingsArguments) -> Result<(), CliError> {
    let store = context.open_store()?;
    let record = store.find_instrument(&arguments.name)?;
    let Some(survey) = store.latest_survey(record.id)? else {
        let name = shell_quoted(&arguments.name);
        let sentence = format!("no pin of {name} has been read yet");
        return Err(CliError::new(Exit::NotThere, sentence));
    };
    let mut readings = store.readings_of(survey.id)?.lever;
    if let Some(pin) = arguments.pin {
        readings.retain(|reading| reading.pin == Some(pin) || reading.reading.pin == pin);
    }
    if readings.is_empty() {
        let sentence = match arguments.pin {
            Some(pin) => format!("the latest survey has no reading of {}", pin_name(pin)),
            None => "the latest survey has no reading by a lever; 'pinhold map' shows those taken \
                     by hand"
                .to_owned(),
        };
        return Err(CliError::new(Exit::NotThere, sentence));
    }
    let mut traces = Vec::new();
    for reading in &readings {
        traces.push(store.trace_of(name_of(reading))?);
    }
    let levers = Levers::behind(&store, &readings)?;
    if context.json {
        return context.print_document(&document(&store, &survey, &readings, &traces, &levers)?);
    }
    let marks: Vec<Vec<LeverMark>> =
        readings.iter().map(|reading| levers.marks(reading, &survey)).collect();
    // Said once where it is the same for all.
    let common = marks.iter().all(|of_one| *of_one == marks[0]);
    let mut text = String::new();
    for ((reading, trace), marks) in readings.iter().zip(&traces).zip(&marks) {
        let marks = if common { &[] } else { marks.as_slice() };
        text.push_str(&line(reading, trace.is_some(), marks, context.unit));
        if let (Some(trace), true) = (trace, arguments.pin.is_some()) {
            text.push_str(&picture(trace, context.unit));
        }
    }
    if common {
        for mark in &marks[0] {
            text.push_str(&format!("! {mark} (every reading above)\n"));
        }
    }
    if arguments.pin.is_none() {
        text.push_str(&beside(&store, &survey, &readings, &arguments.name)?);
    }
    context.print(&text)
}

fn line(stored: &LeverReading, has_trace: bool, marks: &[LeverMark], unit: TorqueUnit) -> String {
    let told = reading_line(&stored.reading, unit);
    let told = told.split_once(": ").map_or(told.as_str(), |(_, rest)| rest);
    let taken = match (stored.pin == Some(stored.reading.pin), stored.reading.pin) {
        (true, _) => String::new(),
        (false, pin) if pin.is_unassigned() => "; taken without a plan".to_owned(),
        (false, pin) => format!("; taken as {}", pin_name(pin)),
    };
    let trace = if has_trace { ", trace kept" } else { "" };
    let doubts: String = marks.iter().map(|mark| format!("; ! {mark}")).collect();
    format!(
        "{:>6}  {:<9}  {told}; {}{trace}{taken}{doubts}\n",
        stored.number,
        shown(stored.pin),
        coverage_text(stored.reading.samples)
    )
}

/// Numbers of lost records in the logs of these readings.
fn losses(store: &Store, readings: &[LeverReading]) -> Result<Vec<RecordName>, CliError> {
    let mut logs: Vec<(u64, u32)> =
        readings.iter().map(|reading| (reading.device, reading.epoch)).collect();
    logs.sort_unstable();
    logs.dedup();
    let mut lost = Vec::new();
    for (device, epoch) in logs {
        for number in store.losses_of(device, epoch)? {
            lost.push(RecordName { device, epoch, number });
        }
    }
    Ok(lost)
}

/// Pins passed over, records lost, readings moved.
fn beside(
    store: &Store,
    survey: &Survey,
    readings: &[LeverReading],
    instrument: &str,
) -> Result<String, CliError> {
    let mut text = String::new();
    for Named { name, content } in store.skips_of(survey.uid)? {
        text.push_str(&format!("{:>6}  {:<9}  passed over\n", name.number, pin_name(content.pin)));
    }
    for name in losses(store, readings)? {
        text.push_str(&format!(
            "{:>6}  {:<9}  LOST on lever {:016x}, or never accepted\n",
            name.number, "?", name.device
        ));
    }
    let moved = store.corrected_count(survey.id)?;
    if moved > 0 {
        text.push_str(&format!(
            "{} of this survey stand under another pin than they were taken under \
             ('pinhold correct {} --list' tells why)\n",
            readings_word(moved),
            shell_quoted(instrument)
        ));
    }
    Ok(text)
}

/// A trace as text: torque upwards, time to the right, zero as a line.
fn picture(trace: &Trace, unit: TorqueUnit) -> String {
    let points = &trace.points;
    let step_nm = trace.torque_step.newton_metres();
    let values: Vec<i32> =
        points.iter().take(TRACE_COLUMNS_MAX).map(|point| i32::from(point.torque)).collect();
    let (low, high) = values.iter().fold((0, 0), |(low, high), v| (low.min(*v), high.max(*v)));
    let span = (high - low).max(1);
    let row_of = |value: i32| (value - low) * (TRACE_LINES - 1) / span;
    let zero = row_of(0);
    let mut text = String::new();
    for row in (0..TRACE_LINES).rev() {
        let label = match row {
            row if row == TRACE_LINES - 1 => Some(high),
            row if row == zero => Some(0),
            0 => Some(low),
            _ => None,
        };
        let label = label
            .map_or(String::new(), |value| crate::report::torque(f64::from(value) * step_nm, unit));
        let columns: String = values
            .iter()
            .map(|value| match (row_of(*value) == row, row == zero) {
                (true, _) => '*',
                (false, true) => '-',
                (false, false) => ' ',
            })
            .collect();
        text.push_str(&format!("{label:>14} |{}\n", columns.trim_end()));
    }
    let duration_ms = u64::from(trace.interval_ms) * points.len() as u64;
    text.push_str(&format!(
        "{:>14}  {} points, {} ms apart, {:.1} s; sharp is up\n",
        "",
        points.len(),
        trace.interval_ms,
        duration_ms as f64 / 1000.0
    ));
    text
}

fn trace_value(trace: &Trace) -> Value {
    let torque_nm = trace.torque_step.newton_metres();
    let angle_rad = trace.angle_step.radians();
    let points: Vec<Value> = trace
        .points
        .iter()
        .map(|point| {
            json!([f64::from(point.torque) * torque_nm, f64::from(point.angle) * angle_rad])
        })
        .collect();
    json!({ "interval_ms": trace.interval_ms, "torque_nm_angle_rad": points })
}

fn document(
    store: &Store,
    survey: &Survey,
    readings: &[LeverReading],
    traces: &[Option<Trace>],
    levers: &Levers,
) -> Result<Value, CliError> {
    let entries: Vec<Value> = readings
        .iter()
        .zip(traces)
        .map(|(stored, trace)| {
            let reading = &stored.reading;
            let nm = |torque: Option<pinhold_protocol::units::Torque>| {
                torque.map(|torque| torque.newton_metres())
            };
            let taken_as = Some(reading.pin).filter(|pin| !pin.is_unassigned());
            json!({
                "lever": format!("{:016x}", stored.device),
                "epoch": stored.epoch,
                "number": stored.number,
                "pin": pin_value(stored.pin),
                "taken_as": pin_value(taken_as),
                "corrected": stored.is_corrected,
                "taken_ms": levers.clock_ms(stored),
                "outcome": format!("{:?}", reading.outcome),
                "flags": reading.flags,
                "friction_nm": nm(reading.friction),
                "string_moment_nm": nm(reading.string_moment),
                "sharp_nm": nm(reading.sharp),
                "flat_nm": nm(reading.flat),
                "calibration": reading.calibration,
                "lever_marks": report::marks::words(&levers.marks(stored, survey)),
                "samples": coverage_word(reading.samples),
                "trace": trace.as_ref().map(trace_value),
            })
        })
        .collect();
    let skipped: Vec<Value> = store
        .skips_of(survey.uid)?
        .into_iter()
        .map(|skip| json!({ "number": skip.name.number, "pin": pin_value(Some(skip.content.pin)) }))
        .collect();
    let lost: Vec<Value> = losses(store, readings)?
        .into_iter()
        .map(|name| {
            json!({
                "lever": format!("{:016x}", name.device),
                "epoch": name.epoch,
                "number": name.number,
            })
        })
        .collect();
    Ok(json!({
        "format": "pinhold.readings",
        "version": 1,
        "survey": survey.uid.to_string(),
        "started": printable(&survey.started),
        "readings": entries,
        "skipped": skipped,
        "lost": lost,
        "corrected_count": store.corrected_count(survey.id)?,
    }))
}

#[cfg(test)]
mod tests {
    use pinhold_protocol::content::TracePoint;
    use pinhold_protocol::units::{Angle, Torque};

    use super::*;

    #[test]
    fn a_trace_is_drawn_between_its_extremes() {
        let mut trace = Trace {
            reading: 1,
            interval_ms: 80,
            torque_step: Torque::from_micronewton_metres(100_000),
            angle_step: Angle::from_microradians(140),
            points: Default::default(),
        };
        for torque in [0, -50, -40, 80, 0] {
            trace.points.push(TracePoint { torque, angle: 0 }).unwrap();
        }
        let drawn = picture(&trace, TorqueUnit::NewtonMetre);
        let lines: Vec<&str> = drawn.lines().collect();
        assert_eq!(lines.len(), 10);
        assert!(lines[0].ends_with("8.0 N·m |   *"), "{drawn}");
        assert!(lines[5].ends_with("0.0 N·m |*---*"), "{drawn}");
        assert!(lines[8].ends_with("-5.0 N·m | **"), "{drawn}");
        assert!(lines[9].contains("5 points, 80 ms apart, 0.4 s"), "{drawn}");
        trace.points.clear();
        assert_eq!(picture(&trace, TorqueUnit::NewtonMetre).lines().count(), 10);
    }
}
