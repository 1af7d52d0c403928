//! An instrument in a file: a bundle with a checksum for every record, or one JSON document.
//!
//! Both hold the same records ([`crate::store::moving`]); `host/doc/exchange.md` and
//! `host/doc/export.schema.json` describe them. Deliberately not here: what a record means, and
//! storing it (the store).
//!
//! Invariants: files are read a record at a time and never whole, each within
//! [`RECORD_BYTES_MAX`]; what was written reads back the same, and written again it is the same
//! bytes.

pub mod bundle;
pub mod csv;
mod error;
pub mod json;

pub use error::ExchangeError;

use serde_json::{Value, json};

use crate::store::moving::Record;
use crate::store::{InstrumentId, Store};

/// Longest record read, bytes: a verdict's document with its inputs is a tenth of it.
pub const RECORD_BYTES_MAX: u64 = 4_000_000;
/// Most records read from one file: a hundred surveys of every pin are a twentieth of it.
pub const RECORD_COUNT_MAX: u64 = 2_000_000;
/// Version of both formats.
pub const FORMAT_VERSION: u64 = 1;

/// Every record of an instrument as JSON, with or without what is known of its owner; their count.
fn each_entry(
    store: &Store,
    instrument: InstrumentId,
    without_owner: bool,
    take: &mut dyn FnMut(Value) -> Result<(), ExchangeError>,
) -> Result<u64, ExchangeError> {
    let mut count = 0;
    store.each_record(instrument, &mut |record| {
        let Record { kind, row } = if without_owner { ownerless(record) } else { record };
        count += 1;
        take(json!({ "kind": kind, "row": row }))
    })?;
    Ok(count)
}

/// A record without what is known of the instrument's owner.
fn ownerless(mut record: Record) -> Record {
    if record.kind == "instrument" {
        for name in ["owner_reference", "place"] {
            record.row.insert(name.to_owned(), Value::from(""));
        }
    }
    record
}
