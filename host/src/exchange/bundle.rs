//! The bundle: a line for each record, and before it the checksum of the line.
//!
//! ```text
//! 16 hexadecimal digits, a blank, a JSON object
//! ```
//!
//! The digits are CRC-64/XZ of the line's number (from 1, decimal), a blank and the object's bytes,
//! so that a line changed, lost, doubled or moved is found. The first line names the format, the
//! last says how many records came and the checksum of all bytes before it.

use std::io::{BufRead, Write};

use serde::Deserialize;
use serde_json::json;

use super::{ExchangeError, FORMAT_VERSION, RECORD_BYTES_MAX, RECORD_COUNT_MAX, each_entry};
use crate::store::moving::{Record, Row};
use crate::store::seal::crc64_digest;
use crate::store::{FINDING_COUNT_NAMED, Finding, InstrumentId, Store};

/// The format's name.
pub const FORMAT: &str = "pinhold.bundle";
/// Digits of a checksum and the blank behind.
const LEAD_BYTES: usize = 17;

/// Lines missing or doubled at one place behind which the rest is still read.
const SHIFT_MAX: i64 = 4;

/// What the first line says.
#[derive(Deserialize)]
struct Head {
    format: String,
    version: u64,
}

/// What a record's line says.
#[derive(Deserialize)]
struct Body {
    kind: String,
    row: Row,
}

/// What the last line says.
#[derive(Deserialize)]
struct End {
    record_count: u64,
    crc64: String,
}

/// Writes an instrument, with or without what is known of its owner; the count of records.
///
/// # Errors
/// When the store fails or the file cannot be written.
pub fn write(
    store: &Store,
    instrument: InstrumentId,
    without_owner: bool,
    to: &mut dyn Write,
) -> Result<u64, ExchangeError> {
    let mut writer = Lines { to, number: 0, all: crc64_digest() };
    writer.line(&json!({ "format": FORMAT, "version": FORMAT_VERSION }).to_string())?;
    let count =
        each_entry(store, instrument, without_owner, &mut |entry| writer.line(&entry.to_string()))?;
    let all = format!("{:016x}", writer.all.clone().finalize());
    writer.line(&json!({ "record_count": count, "crc64": all }).to_string())?;
    Ok(count)
}

/// Writes lines and keeps count.
struct Lines<'a> {
    to: &'a mut dyn Write,
    number: u64,
    all: crc::Digest<'static, u64, crc::Table<16>>,
}

impl Lines<'_> {
    fn line(&mut self, text: &str) -> Result<(), ExchangeError> {
        self.number += 1;
        let line = format!("{:016x} {text}\n", line_crc64(self.number, text.as_bytes()));
        self.all.update(line.as_bytes());
        Ok(self.to.write_all(line.as_bytes())?)
    }
}

fn line_crc64(number: u64, text: &[u8]) -> u64 {
    let mut digest = crc64_digest();
    digest.update(format!("{number} ").as_bytes());
    digest.update(text);
    digest.finalize()
}

/// What reading a bundle found.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Report {
    /// Records whose line is whole.
    pub record_count: u64,
    /// What is wrong, the first of it.
    pub findings: Vec<Finding>,
    /// How much in all.
    pub finding_count: u64,
}

impl Report {
    fn find(&mut self, place: String, fault: &str) {
        self.finding_count += 1;
        if self.findings.len() < FINDING_COUNT_NAMED {
            self.findings.push(Finding { place, fault: fault.to_owned() });
        }
    }

    /// The error these findings are; `Ok` where there are none.
    ///
    /// # Errors
    /// [`ExchangeError::Damaged`].
    pub fn sound(self) -> Result<Report, ExchangeError> {
        match self.findings.first() {
            None => Ok(self),
            Some(first) => Err(ExchangeError::Damaged {
                count: self.finding_count,
                first: format!("{} {}", first.place, first.fault),
            }),
        }
    }
}

/// Reads a bundle to its end, a line at a time; `take` is handed each record whose line is whole,
/// with the line's number.
///
/// # Errors
/// When it is no bundle or a newer one, cannot be read, or is larger than any can be, and what
/// `take` says. Damaged lines are findings.
pub fn read(
    from: &mut dyn BufRead,
    take: &mut dyn FnMut(u64, Record) -> Result<(), ExchangeError>,
) -> Result<Report, ExchangeError> {
    let mut found = Report::default();
    let mut all = crc64_digest();
    let mut line = Vec::new();
    let (mut number, mut ended) = (0, false);
    // By how much the lines' own numbers are ahead of those counted: 0 unless lines are missing or
    // doubled, or a line feed was damaged.
    let (mut ahead, mut named_count) = (0, 0);
    loop {
        line.clear();
        let limit = RECORD_BYTES_MAX + LEAD_BYTES as u64 + 1;
        if read_line(from, limit, &mut line)? == 0 {
            break;
        }
        number += 1;
        if line.len() as u64 == limit && line.last() != Some(&b'\n') {
            return Err(ExchangeError::TooLong { line: number });
        }
        let before = all.clone().finalize();
        all.update(&line);
        let Some((text, shift)) = text_of(&line, number, ahead) else {
            if number == 1 && !looks_like_ours(&line) {
                return Err(ExchangeError::Foreign { what: "bundle" });
            }
            found.find(place_of(number, &line), "is damaged: it does not match its checksum");
            continue;
        };
        if shift != ahead && found.finding_count == named_count {
            let fault = "does not follow the line before it: lines are missing, doubled or moved";
            found.find(format!("line {number}"), fault);
        }
        (ahead, named_count) = (shift, found.finding_count);
        if ended {
            found.find(format!("line {number}"), "comes behind the end");
        } else if number == 1 {
            check_head(text)?;
        } else if let Ok(End { record_count, crc64 }) = serde_json::from_slice(text) {
            ended = true;
            // A damaged line changes the checksum of all, and is named already.
            let all_same = crc64 == format!("{before:016x}") && record_count == number - 2;
            if !all_same && found.finding_count == 0 {
                found.find("the bundle".to_owned(), "is not the one that was written");
            }
        } else if let Ok(Body { kind, row }) = serde_json::from_slice(text) {
            found.record_count += 1;
            if found.record_count > RECORD_COUNT_MAX {
                return Err(ExchangeError::TooMany);
            }
            take(number, Record { kind, row })?;
        } else {
            found.find(format!("line {number}"), "holds no record");
        }
    }
    if number == 0 {
        return Err(ExchangeError::Foreign { what: "bundle" });
    }
    if !ended {
        found.find("the bundle".to_owned(), "breaks off: its end is missing");
    }
    Ok(found)
}

/// Reads to the end of a line, of at most so many bytes.
fn read_line(from: &mut dyn BufRead, limit: u64, line: &mut Vec<u8>) -> std::io::Result<usize> {
    std::io::BufRead::read_until(&mut std::io::Read::take(from, limit), b'\n', line)
}

/// Whether a file begins as a bundle does, damaged or not.
pub fn looks_like_ours(start: &[u8]) -> bool {
    let digits = start.iter().take(16).filter(|byte| byte.is_ascii_hexdigit()).count();
    let named = start.windows(FORMAT.len()).any(|window| window == FORMAT.as_bytes());
    // One byte of either may be gone.
    digits >= 15 && (named || start.get(LEAD_BYTES - 1..LEAD_BYTES + 1) == Some(b" {"))
}

fn check_head(text: &[u8]) -> Result<(), ExchangeError> {
    match serde_json::from_slice(text) {
        Ok(Head { format, version }) if format == FORMAT => match version {
            FORMAT_VERSION => Ok(()),
            found => Err(ExchangeError::Newer { found, known: FORMAT_VERSION }),
        },
        _ => Err(ExchangeError::Foreign { what: "bundle" }),
    }
}

/// The object of a line that matches its checksum, and by how much its own number is ahead of the
/// one counted.
fn text_of(line: &[u8], number: u64, ahead: i64) -> Option<(&[u8], i64)> {
    let line = line.strip_suffix(b"\n")?;
    let (lead, text) = line.split_at_checked(LEAD_BYTES)?;
    let fits = |shift: i64| {
        let number = number.checked_add_signed(shift)?;
        let expected = format!("{:016x} ", line_crc64(number, text));
        (lead == expected.as_bytes()).then_some(shift)
    };
    let shift = fits(ahead)
        .or_else(|| (1..=SHIFT_MAX).flat_map(|by| [ahead + by, ahead - by]).find_map(fits))?;
    Some((text, shift))
}

/// A damaged line as far as it still tells what it is.
fn place_of(number: u64, line: &[u8]) -> String {
    let text = line.get(LEAD_BYTES..).unwrap_or_default();
    match serde_json::from_slice::<Body>(text) {
        Ok(Body { kind, row }) => {
            let named = |name: &str| row.get(name).map(ToString::to_string).unwrap_or_default();
            let pin = format!("{}{}", named("note"), named("string").replace('"', ""));
            let of = if pin.is_empty() { String::new() } else { format!(" of pin {pin}") };
            crate::text::printable_short(&format!("line {number} ({kind}{of})"), 80)
        }
        Err(_) => format!("line {number}"),
    }
}
