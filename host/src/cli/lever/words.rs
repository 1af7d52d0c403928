//! Sentences and documents the lever's commands share.

use pinhold_protocol::error::Fault;
use serde_json::{Value, json};

use crate::cli::exit::CliError;
use crate::store::{InboxReading, KnownLog, Store};
use crate::survey::Fetched;
use crate::text::printable;

/// A fault of the self-test: what is wrong, and what to do.
pub(in crate::cli) fn fault(fault: Fault) -> (&'static str, &'static str) {
    match fault {
        Fault::ConverterSilent => (
            "the torque converter gives no samples",
            "switch the lever off and on; if it stays, its board needs repair",
        ),
        Fault::ConverterStuck => (
            "the torque converter gives the same number over and over",
            "switch the lever off and on; if it stays, its board needs repair",
        ),
        Fault::ConverterSaturated => (
            "the torque converter stands at the end of its range",
            "take the lever off the pin; if it stays, the torque cell or its wiring is damaged",
        ),
        Fault::BridgeOpen => (
            "the torque cell is not connected",
            "check the cable between head and board; never measure like this",
        ),
        Fault::MotionSilent => (
            "the motion sensor gives no values",
            "switch the lever off and on; if it stays, its board needs repair",
        ),
        Fault::MotionImplausible => (
            "the motion sensor shows what a lever at rest cannot",
            "lay the lever down still and switch it off and on; if it stays, the sensor is damaged",
        ),
        Fault::ZeroOffLimits => (
            "the zero is far from where it was calibrated",
            "take the zero anew, still and off the pin; if it stays, the cell was overloaded: \
             have it calibrated before use",
        ),
        Fault::FlashFailing => (
            "the log's memory fails to write or erase",
            "run 'pinhold lever fetch' now, then have the board repaired; do not work alone with \
             it",
        ),
        Fault::FlashNewer => (
            "the log was written by later firmware, which this firmware must not touch",
            "update the lever's firmware to at least what it had before",
        ),
        Fault::FlashSmall => (
            "the log's memory is too small",
            "this board cannot work alone; use it with a computer",
        ),
        Fault::BatteryLow => {
            ("the battery is too low to begin a pin", "plug the lever in and charge it")
        }
        Fault::PeriodOff => (
            "a sensor does not run at the speed it is set to",
            "switch the lever off and on; if it stays, its readings' times cannot be trusted",
        ),
    }
}

/// The faults of a health's bits, and the bits nobody knows.
pub(in crate::cli) fn faults_of(bits: u32) -> (Vec<Fault>, u32) {
    let found: Vec<Fault> =
        Fault::ALL.into_iter().filter(|fault| bits & fault.bit() != 0).collect();
    let known = Fault::ALL.iter().fold(0, |known, fault| known | fault.bit());
    (found, bits & !known)
}

/// `1 noun` or `n nouns`.
pub(in crate::cli) fn counted(count: u32, noun: &str) -> String {
    if count == 1 { format!("1 {noun}") } else { format!("{count} {noun}s") }
}

/// Numbers in ranges, such as `3, 7 to 9`.
pub(in crate::cli) fn ranges(numbers: &[u32]) -> String {
    let mut ranges: Vec<(u32, u32)> = Vec::new();
    for number in numbers {
        match ranges.last_mut() {
            Some((_, last)) if last.checked_add(1) == Some(*number) => *last = *number,
            _ => ranges.push((*number, *number)),
        }
    }
    let shown = ranges.iter().map(|(first, last)| {
        if first == last { first.to_string() } else { format!("{first} to {last}") }
    });
    shown.collect::<Vec<_>>().join(", ")
}

/// What was fetched, a line per kind; empty when nothing was.
///
/// # Errors
/// When the store fails.
pub(in crate::cli) fn fetched_text(store: &Store, fetched: &Fetched) -> Result<String, CliError> {
    let mut lines = Vec::new();
    for (survey, count) in &fetched.filed {
        let record = store.instrument_of(*survey)?;
        lines.push(format!(
            "{} to {}",
            counted(*count, "reading"),
            printable(&record.instrument.name)
        ));
    }
    let mut count_line = |count: u32, noun: &str, rest: &str| {
        if count > 0 {
            lines.push(format!("{} {rest}", counted(count, noun)));
        }
    };
    count_line(fetched.unassigned_count, "reading", "of no plan, in the inbox");
    count_line(
        fetched.foreign_count,
        "reading",
        "of a plan this store does not know, in the inbox",
    );
    count_line(fetched.skip_count, "pin", "passed over");
    count_line(fetched.trace_count, "trace", "for looking at");
    count_line(
        fetched.lost_but_held_count,
        "record",
        "lost on the lever since, but on this disk: nothing is missing",
    );
    count_line(
        fetched.unknown_count,
        "record",
        "of a kind this version does not know, kept as it came: update pinhold to read it",
    );
    if !fetched.lost.is_empty() {
        lines.push(format!(
            "LOST on the lever, or never accepted: record {}; read those pins again",
            ranges(&fetched.lost)
        ));
    }
    for (first, last) in &fetched.missing {
        lines.push(format!(
            "records {first} to {last} were fetched by another computer and are no longer on the \
             lever"
        ));
    }
    Ok(lines.into_iter().map(|line| format!("  {line}\n")).collect())
}

/// The same as a document.
///
/// # Errors
/// When the store fails.
pub(in crate::cli) fn fetched_value(store: &Store, fetched: &Fetched) -> Result<Value, CliError> {
    let mut filed = Vec::new();
    for (survey, count) in &fetched.filed {
        let name = store.instrument_of(*survey)?.instrument.name;
        filed.push(json!({ "instrument": name, "readings": count }));
    }
    let missing: Vec<Value> = fetched
        .missing
        .iter()
        .map(|(first, last)| json!({ "first": first, "last": last }))
        .collect();
    Ok(json!({
        "records": fetched.record_count(),
        "filed": filed,
        "unassigned": fetched.unassigned_count,
        "foreign": fetched.foreign_count,
        "skipped_pins": fetched.skip_count,
        "traces": fetched.trace_count,
        "lost": fetched.lost,
        "lost_but_held": fetched.lost_but_held_count,
        "unknown": fetched.unknown_count,
        "elsewhere": missing,
    }))
}

/// When a reading was taken, by its lever's clock as the host's calendar saw it; `None` when the
/// lever was never met.
pub(in crate::cli) fn taken_at(logs: &[KnownLog], reading: &InboxReading) -> Option<String> {
    let name = reading.name;
    let log = logs.iter().find(|log| (log.device, log.epoch) == (name.device, name.epoch))?;
    let ms = log.calendar_of(reading.reading.started.microseconds());
    jiff::Timestamp::from_millisecond(ms).ok().map(|time| format!("{time:.0}"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_fault_has_its_sentence_and_unknown_bits_are_told() {
        let mut sentences: Vec<&str> = Fault::ALL.iter().map(|found| fault(*found).0).collect();
        sentences.sort_unstable();
        sentences.dedup();
        assert_eq!(sentences.len(), Fault::ALL.len());
        let bits = Fault::BridgeOpen.bit() | Fault::PeriodOff.bit() | 1 << 30;
        assert_eq!(faults_of(bits), (vec![Fault::BridgeOpen, Fault::PeriodOff], 1 << 30));
        assert_eq!(faults_of(0), (vec![], 0));
    }

    #[test]
    fn numbers_are_told_in_ranges() {
        assert_eq!(ranges(&[]), "");
        assert_eq!(ranges(&[3]), "3");
        assert_eq!(ranges(&[3, 7, 8, 9, u32::MAX]), "3, 7 to 9, 4294967295");
    }
}
