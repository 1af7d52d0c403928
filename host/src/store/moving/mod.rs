//! An instrument with all that belongs to it as records that name each other by identities every
//! store knows, out of one store (`source`) and into another (`receive`).
//!
//! A record is a row with the rows that are part of it, as a JSON object: column names as in the
//! schema, keys of this one store replaced by what they stand for, nothing for NULL. Deliberately
//! not here: files ([`crate::exchange`]).
//!
//! Invariants: [`KINDS`] is the one list of what moves, in the order it must come; a record holds
//! every column of its row, so that what goes out and comes in again goes out the same.

mod columns;
mod receive;
mod source;

pub use receive::{Received, Receiver};

use serde_json::{Map, Value};

/// A row and what is part of it.
pub type Row = Map<String, Value>;

/// A record on its way.
#[derive(Clone, Debug, PartialEq)]
pub struct Record {
    /// Name of its kind.
    pub kind: String,
    /// What it says.
    pub row: Row,
}

/// What a column of numbers stands for in another store.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Link {
    /// The instrument on its way; nothing is written.
    Instrument,
    /// The survey of an identity, 16 hexadecimal digits.
    Survey,
    /// The lever of a device identity, 16 hexadecimal digits.
    Lever,
    /// The reading of a lever's record: device, epoch and number with dots between.
    Reading,
    /// 64 bits as 16 hexadecimal digits.
    Identity,
    /// Bytes as hexadecimal digits.
    Bytes,
}

/// Columns that are no plain values, wherever they occur.
const LINKS: [(&str, Link); 10] = [
    ("instrument_id", Link::Instrument),
    ("survey_id", Link::Survey),
    ("before_survey_id", Link::Survey),
    ("after_survey_id", Link::Survey),
    ("lever_id", Link::Lever),
    ("reading_id", Link::Reading),
    ("uid", Link::Identity),
    ("survey_uid", Link::Identity),
    ("device", Link::Identity),
    ("bytes", Link::Bytes),
];

/// Rows that are part of another one.
#[derive(Clone, Copy, Debug)]
struct Part {
    /// What they are called in the record.
    name: &'static str,
    table: &'static str,
    /// The column that says what they are part of.
    parent: &'static str,
    /// Columns that put them in order.
    order: &'static str,
}

/// A kind of record.
#[derive(Clone, Copy, Debug)]
struct Kind {
    /// The table its rows stand in, and what it is called.
    table: &'static str,
    /// The key of its rows in one store; not written.
    id: &'static str,
    parts: &'static [Part],
    /// Columns by which two stores know the same one.
    key: &'static [&'static str],
    /// Which rows belong to instrument `?1`: a condition.
    of_instrument: &'static str,
    /// Whether it belongs to levers, and a merge takes all of it whatever the instruments.
    of_levers: bool,
}

const OF_SURVEYS: &str = "survey_id IN (SELECT id FROM survey WHERE instrument_id = ?1)";
const OF_LEVERS: &str = "lever_id IN (SELECT lever_id FROM reading
     WHERE survey_id IN (SELECT id FROM survey WHERE instrument_id = ?1))";

const fn kind(
    table: &'static str,
    parts: &'static [Part],
    key: &'static [&'static str],
    of_instrument: &'static str,
) -> Kind {
    Kind { table, id: "id", parts, key, of_instrument, of_levers: false }
}

/// Everything that moves, what is pointed at before what points at it.
const KINDS: [Kind; 15] = [
    kind(
        "instrument",
        &[Part { name: "pins", table: "pin", parent: "instrument_id", order: "note, string" }],
        &["uid"],
        "id = ?1",
    ),
    kind(
        "string_scale",
        &[Part { name: "rows", table: "string_row", parent: "scale_id", order: "position" }],
        &["instrument_id", "entered", "origin"],
        "instrument_id = ?1",
    ),
    Kind {
        of_levers: true,
        ..kind(
            "lever",
            &[Part { name: "logs", table: "lever_log", parent: "lever_id", order: "epoch" }],
            &["device"],
            "id IN (SELECT lever_id FROM reading
                 WHERE survey_id IN (SELECT id FROM survey WHERE instrument_id = ?1))",
        )
    },
    Kind { of_levers: true, ..kind("calibration", &[], &["lever_id", "number"], OF_LEVERS) },
    Kind {
        of_levers: true,
        ..kind("lever_check", &[], &["lever_id", "calibration_number", "made_ms"], OF_LEVERS)
    },
    kind("survey", &[], &["uid"], "instrument_id = ?1"),
    Kind {
        id: "survey_id",
        ..kind(
            "plan",
            &[Part { name: "pins", table: "plan_pin", parent: "survey_id", order: "position" }],
            &["survey_id"],
            OF_SURVEYS,
        )
    },
    kind(
        "reading",
        &[Part { name: "strokes", table: "stroke", parent: "reading_id", order: "position" }],
        &["lever_id", "epoch", "number"],
        OF_SURVEYS,
    ),
    kind(
        "hand_reading",
        &[Part {
            name: "torques",
            table: "hand_torque",
            parent: "reading_id",
            order: "reading_id",
        }],
        &["survey_id", "note", "string"],
        OF_SURVEYS,
    ),
    Kind {
        of_levers: true,
        ..kind(
            "lever_record",
            &[],
            &["lever_id", "epoch", "number", "crc32", "received"],
            "(survey_uid IN (SELECT uid FROM survey WHERE instrument_id = ?1)
                 OR EXISTS (SELECT 1 FROM reading AS r
                     JOIN survey AS s ON s.id = r.survey_id AND s.instrument_id = ?1
                     WHERE r.lever_id = lever_record.lever_id AND r.epoch = lever_record.epoch
                         AND r.number IN (lever_record.number, lever_record.reading_number)))",
        )
    },
    kind(
        "correction_batch",
        &[Part { name: "entries", table: "correction", parent: "batch_id", order: "id" }],
        &["made", "kind", "reason"],
        "EXISTS (SELECT 1 FROM correction JOIN survey ON survey.id = correction.survey_id
             WHERE batch_id = correction_batch.id AND instrument_id = ?1)",
    ),
    kind("verdict", &[], &["survey_id", "created", "version"], OF_SURVEYS),
    kind(
        "trial_pin",
        &[Part {
            name: "withdrawn",
            table: "trial_pin_withdrawn",
            parent: "trial_pin_id",
            order: "trial_pin_id",
        }],
        &["instrument_id", "note", "string", "entered", "fitted"],
        "instrument_id = ?1",
    ),
    kind(
        "climate_reading",
        &[Part {
            name: "withdrawn",
            table: "climate_withdrawn",
            parent: "climate_reading_id",
            order: "climate_reading_id",
        }],
        &["instrument_id", "taken_ms", "entered"],
        "instrument_id = ?1",
    ),
    kind(
        "repair",
        &[
            Part { name: "pins", table: "repair_pin", parent: "repair_id", order: "note, string" },
            Part {
                name: "withdrawn",
                table: "repair_withdrawn",
                parent: "repair_id",
                order: "repair_id",
            },
        ],
        &["instrument_id", "done_ms", "what", "entered"],
        "instrument_id = ?1",
    ),
];

/// Names of the kinds, in the order their records come.
pub fn kind_names() -> impl Iterator<Item = &'static str> {
    KINDS.iter().map(|kind| kind.table)
}

fn link_of(column: &str) -> Option<Link> {
    LINKS.iter().find(|(name, _)| *name == column).map(|(_, link)| *link)
}

/// What a column is called in a record: without the ending that says it is this store's key.
fn written_name(column: &str) -> &str {
    match link_of(column) {
        Some(Link::Survey | Link::Lever | Link::Reading) => {
            column.strip_suffix("_id").unwrap_or(column)
        }
        _ => column,
    }
}

#[cfg(test)]
mod tests {
    use super::super::seal::SEALED;
    use super::*;

    #[test]
    fn everything_that_is_sealed_moves() {
        let moved: Vec<&str> = KINDS
            .iter()
            .flat_map(|kind| {
                std::iter::once(kind.table).chain(kind.parts.iter().map(|part| part.table))
            })
            .collect();
        for table in SEALED {
            assert!(moved.contains(&table.name), "{}", table.name);
            for (part, _) in table.parts {
                assert!(moved.contains(part), "{part}");
            }
        }
    }
}
