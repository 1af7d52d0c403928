//! A climate log as a CSV file: `date`, `rh_percent`, and perhaps `temp_c`, `source`.
//!
//! Columns in any order; others are passed over. Fields apart by comma, semicolon or tab, numbers
//! with a point, or a comma where the fields are apart by something else.
//!
//! Invariant: all rows are understood or none is.

use thiserror::Error;

use super::hand::parse_decimal;
use crate::store::NewClimate;
use crate::text::printable_short;

/// Most rows of a file: a reading every ten minutes for nineteen years.
pub const ROW_COUNT_MAX: usize = 1_000_000;
/// Longest word shown in an error, and longest source kept.
const SHOWN_COUNT_MAX: usize = 40;

/// Why a file is no climate log.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
pub enum ClimateError {
    /// No text.
    #[error("it is no text in UTF-8; save it as CSV in UTF-8")]
    NotText,
    /// A column that must be there is not.
    #[error(
        "its first line names no column {name}; a climate log has the columns date, rh_percent and \
         perhaps temp_c and source"
    )]
    NoColumn {
        /// The column.
        name: &'static str,
    },
    /// A line that is no CSV.
    #[error("line {line} is no line of a CSV file; it has more or fewer fields than the first")]
    NotCsv {
        /// Its number.
        line: u64,
    },
    /// A cell that cannot be what its column says.
    #[error("line {line}: {column} '{found}' is not {wanted}")]
    Cell {
        /// The line's number.
        line: u64,
        /// The column.
        column: &'static str,
        /// What stands there.
        found: String,
        /// What could.
        wanted: &'static str,
    },
    /// Nothing under the first line.
    #[error("it holds no reading")]
    Empty,
    /// Too many rows.
    #[error("it has more than {ROW_COUNT_MAX} lines; split it")]
    TooMany,
}

/// Where the columns are.
struct Columns {
    /// Fields are apart by a comma, so that none is in a number.
    comma_divides: bool,
    date: usize,
    humidity: usize,
    temperature: Option<usize>,
    source: Option<usize>,
}

/// The readings of a file.
///
/// # Errors
/// When it is no such file, naming line and column of the first fault.
pub fn parse(bytes: &[u8]) -> Result<Vec<NewClimate>, ClimateError> {
    let text = std::str::from_utf8(bytes).map_err(|_| ClimateError::NotText)?;
    let text = text.trim_start_matches('\u{feff}');
    let first = text.lines().next().unwrap_or_default();
    let delimiter = [b';', b'\t', b','].into_iter().find(|d| first.as_bytes().contains(d));
    let mut reader = csv::ReaderBuilder::new()
        .delimiter(delimiter.unwrap_or(b','))
        .trim(csv::Trim::All)
        .from_reader(text.as_bytes());
    let headers = reader.headers().map_err(|_| ClimateError::NotCsv { line: 1 })?.clone();
    let find = |names: &[&str]| {
        headers.iter().position(|header| names.iter().any(|n| header.eq_ignore_ascii_case(n)))
    };
    let columns = Columns {
        comma_divides: delimiter.is_none_or(|mark| mark == b','),
        date: find(&["date", "time", "taken"]).ok_or(ClimateError::NoColumn { name: "date" })?,
        humidity: find(&["rh_percent", "rh", "humidity"])
            .ok_or(ClimateError::NoColumn { name: "rh_percent" })?,
        temperature: find(&["temp_c", "celsius", "temperature_c"]),
        source: find(&["source"]),
    };
    let mut readings = Vec::new();
    for (index, record) in reader.records().enumerate() {
        if index >= ROW_COUNT_MAX {
            return Err(ClimateError::TooMany);
        }
        let record = record.map_err(|error| ClimateError::NotCsv {
            line: error.position().map_or(index as u64 + 2, csv::Position::line),
        })?;
        let line = record.position().map_or(index as u64 + 2, csv::Position::line);
        readings.push(reading(&columns, &record, line)?);
    }
    if readings.is_empty() { Err(ClimateError::Empty) } else { Ok(readings) }
}

fn reading(
    columns: &Columns,
    record: &csv::StringRecord,
    line: u64,
) -> Result<NewClimate, ClimateError> {
    let cell = |at: usize| record.get(at).unwrap_or_default();
    let fault = |column: &'static str, at: usize, wanted: &'static str| ClimateError::Cell {
        line,
        column,
        found: printable_short(cell(at), SHOWN_COUNT_MAX),
        wanted,
    };
    let date = || {
        fault(
            "date",
            columns.date,
            "a date such as 2026-01-31, or a time such as 2026-01-31T08:00Z",
        )
    };
    let taken_ms = moment_ms(cell(columns.date)).ok_or_else(date)?;
    let number = |at: usize, low: f64, high: f64| {
        let text = cell(at);
        let text = if columns.comma_divides { text.to_owned() } else { text.replace(',', ".") };
        parse_decimal(&text).filter(|value| (low..=high).contains(value))
    };
    let humidity = number(columns.humidity, 0.0, 100.0)
        .ok_or_else(|| fault("rh_percent", columns.humidity, "a number from 0 to 100"))?;
    let temperature = match columns.temperature.filter(|at| !cell(*at).is_empty()) {
        None => None,
        Some(at) => Some(
            number(at, -40.0, 60.0)
                .ok_or_else(|| fault("temp_c", at, "a number from -40 to 60, or nothing"))?,
        ),
    };
    Ok(NewClimate {
        taken: cell(columns.date).to_owned(),
        taken_ms,
        humidity_permille: NewClimate::permille_of(humidity),
        temperature_centi_celsius: temperature.map(NewClimate::centi_of),
        source: columns
            .source
            .map_or_else(String::new, |at| printable_short(cell(at), SHOWN_COUNT_MAX)),
    })
}

/// Milliseconds since 1970 of a day, or of a moment with its zone; without a zone it is taken as
/// UTC.
pub fn moment_ms(text: &str) -> Option<i64> {
    let moment = || text.parse::<jiff::Timestamp>().ok();
    let local = || text.parse::<jiff::civil::DateTime>().ok();
    let zoned = || jiff::tz::Offset::UTC.to_timestamp(local()?).ok();
    moment().or_else(zoned).map(jiff::Timestamp::as_millisecond)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_log_is_read_whatever_its_order_and_marks() {
        let plain = parse(b"date,rh_percent,temp_c,source\n2026-01-31,41.5,20.5,logger\n").unwrap();
        assert_eq!(plain.len(), 1);
        assert_eq!(plain[0].taken_ms, 1_769_817_600_000);
        assert_eq!(plain[0].humidity_permille, 415);
        assert_eq!(plain[0].temperature_centi_celsius, Some(2050));
        let other = "\u{feff}Temp_C;more;RH;Time\n;x;41,5;2026-01-31T00:00:00\n";
        let other = parse(other.as_bytes()).unwrap();
        assert_eq!(other[0].taken_ms, plain[0].taken_ms);
        assert_eq!((other[0].humidity_permille, other[0].temperature_centi_celsius), (415, None));
        assert_eq!(moment_ms("2026-01-31T01:00+01:00"), Some(plain[0].taken_ms));
    }

    #[test]
    fn a_fault_is_named_with_its_line() {
        let fault = |text: &str| parse(text.as_bytes()).unwrap_err().to_string();
        assert!(fault("").contains("no column date"));
        assert!(fault("date\n").contains("no column rh_percent"));
        assert_eq!(fault("date,rh\n"), "it holds no reading");
        let two = "date,rh\n2026-01-31,41\n2026-02-01,141\n";
        assert_eq!(fault(two), "line 3: rh_percent '141' is not a number from 0 to 100");
        assert!(fault("date,rh\nyesterday,41\n").starts_with("line 2: date 'yesterday'"));
        assert!(fault("date,rh,temp_c\n2026-01-31,41,99\n").contains("temp_c '99'"));
        assert!(fault("date,rh\n2026-01-31\n").contains("line 2 is no line"));
        assert!(fault("date,rh\n\u{1b}[2J,4\n").contains("\\u{1b}"));
        assert_eq!(parse(&[0xff, 0xfe]), Err(ClimateError::NotText));
    }
}
