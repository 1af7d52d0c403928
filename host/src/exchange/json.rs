//! The JSON document: `format`, `version`, and every record in one list. Its schema is
//! `host/doc/export.schema.json`.

use std::cell::Cell;
use std::fmt;
use std::io::{Error, ErrorKind, Read, Write};
use std::rc::Rc;

use serde::de::{DeserializeSeed, Error as _, IgnoredAny, MapAccess, SeqAccess, Visitor};
use serde::{Deserialize, Deserializer};

use super::{ExchangeError, FORMAT_VERSION, RECORD_BYTES_MAX, RECORD_COUNT_MAX, each_entry};
use crate::store::moving::{Record, Row};
use crate::store::{InstrumentId, Store};

/// The format's name.
pub const FORMAT: &str = "pinhold.instrument.export";
/// Where its schema stands in the source.
pub const SCHEMA: &str = include_str!("../../doc/export.schema.json");

/// Writes an instrument, with or without what is known of its owner, a record a line; the count of
/// records.
///
/// # Errors
/// When the store fails or the file cannot be written.
pub fn write(
    store: &Store,
    instrument: InstrumentId,
    without_owner: bool,
    to: &mut dyn Write,
) -> Result<u64, ExchangeError> {
    write!(to, "{{\"format\":\"{FORMAT}\",\"version\":{FORMAT_VERSION},\"records\":[")?;
    let mut comma = "";
    let count = each_entry(store, instrument, without_owner, &mut |entry| {
        write!(to, "{comma}\n{entry}")?;
        comma = ",";
        Ok(())
    })?;
    to.write_all(b"\n]}\n")?;
    Ok(count)
}

/// Reads a document to its end, a record at a time.
///
/// # Errors
/// When it is no such document or a newer one, cannot be read, or holds more than any can, and
/// what `take` says.
pub fn read(
    from: &mut dyn Read,
    take: &mut dyn FnMut(Record) -> Result<(), ExchangeError>,
) -> Result<u64, ExchangeError> {
    let allowance = Rc::new(Cell::new(RECORD_BYTES_MAX));
    let limited = Limited { from, allowance: Rc::clone(&allowance) };
    let mut reader = serde_json::Deserializer::from_reader(std::io::BufReader::new(limited));
    let mut refusal = None;
    let mut count = 0;
    let document =
        Document { take, refusal: &mut refusal, allowance: &allowance, count: &mut count };
    let read = document.deserialize(&mut reader).and_then(|()| reader.end());
    match (refusal, read) {
        (Some(refusal), _) => Err(refusal),
        (None, Ok(())) => Ok(count),
        (None, Err(error)) if error.io_error_kind() == Some(ErrorKind::FileTooLarge) => {
            Err(ExchangeError::TooLong { line: error.line() as u64 })
        }
        (None, Err(error)) => {
            Err(ExchangeError::Shape(crate::text::printable_short(&error.to_string(), 200)))
        }
    }
}

/// A reader that gives out no more than the allowance, which is renewed with every record.
struct Limited<'a> {
    from: &'a mut dyn Read,
    allowance: Rc<Cell<u64>>,
}

impl Read for Limited<'_> {
    fn read(&mut self, buffer: &mut [u8]) -> std::io::Result<usize> {
        let left = self.allowance.get();
        if left == 0 {
            return Err(Error::from(ErrorKind::FileTooLarge));
        }
        let most = buffer.len().min(usize::try_from(left).unwrap_or(usize::MAX));
        let count = self.from.read(&mut buffer[..most])?;
        self.allowance.set(left - count as u64);
        Ok(count)
    }
}

/// The document on its way.
struct Document<'a> {
    take: &'a mut dyn FnMut(Record) -> Result<(), ExchangeError>,
    refusal: &'a mut Option<ExchangeError>,
    allowance: &'a Cell<u64>,
    count: &'a mut u64,
}

impl<'de> DeserializeSeed<'de> for Document<'_> {
    type Value = ();

    fn deserialize<D: Deserializer<'de>>(self, from: D) -> Result<(), D::Error> {
        from.deserialize_map(self)
    }
}

impl<'de> Visitor<'de> for Document<'_> {
    type Value = ();

    fn expecting(&self, to: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(to, "an object with format, version and records")
    }

    fn visit_map<A: MapAccess<'de>>(self, mut map: A) -> Result<(), A::Error> {
        let (mut named, mut versioned) = (false, false);
        while let Some(key) = map.next_key::<String>()? {
            match key.as_str() {
                "format" if map.next_value::<String>()? == FORMAT => named = true,
                "format" => {
                    *self.refusal = Some(ExchangeError::Foreign { what: "exported instrument" });
                    return Err(A::Error::custom("another format"));
                }
                "version" => match map.next_value::<u64>()? {
                    FORMAT_VERSION => versioned = true,
                    found => {
                        *self.refusal = Some(ExchangeError::Newer { found, known: FORMAT_VERSION });
                        return Err(A::Error::custom("another version"));
                    }
                },
                "records" => map.next_value_seed(Records {
                    take: &mut *self.take,
                    refusal: &mut *self.refusal,
                    allowance: self.allowance,
                    count: &mut *self.count,
                })?,
                _ => {
                    map.next_value::<IgnoredAny>()?;
                    return Err(A::Error::custom("an unknown key"));
                }
            }
        }
        if named && versioned { Ok(()) } else { Err(A::Error::custom("format or version missing")) }
    }
}

/// The list of records on its way.
struct Records<'a> {
    take: &'a mut dyn FnMut(Record) -> Result<(), ExchangeError>,
    refusal: &'a mut Option<ExchangeError>,
    allowance: &'a Cell<u64>,
    count: &'a mut u64,
}

impl<'de> DeserializeSeed<'de> for Records<'_> {
    type Value = ();

    fn deserialize<D: Deserializer<'de>>(self, from: D) -> Result<(), D::Error> {
        from.deserialize_seq(self)
    }
}

/// A record as it stands in the list.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Entry {
    kind: String,
    row: Row,
}

impl<'de> Visitor<'de> for Records<'_> {
    type Value = ();

    fn expecting(&self, to: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(to, "a list of records")
    }

    fn visit_seq<A: SeqAccess<'de>>(self, mut list: A) -> Result<(), A::Error> {
        while let Some(Entry { kind, row }) = list.next_element()? {
            self.allowance.set(RECORD_BYTES_MAX);
            *self.count += 1;
            let taken = match *self.count > RECORD_COUNT_MAX {
                true => Err(ExchangeError::TooMany),
                false => (self.take)(Record { kind, row }),
            };
            if let Err(refusal) = taken {
                *self.refusal = Some(refusal);
                return Err(A::Error::custom("a record was refused"));
            }
        }
        Ok(())
    }
}
