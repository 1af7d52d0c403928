//! Files of a calibration: a bench written by hand, pins seated anew, and the one that remembers
//! where an unfinished calibration stands.
//!
//! A bench as CSV has the columns `arm, direction, leg, masses, code` (any order, any case) and may
//! have `sd, samples, along, across, pin, temperature, minute`:
//!
//! ```text
//! arm,direction,leg,masses,code,minute
//! free,sharp,,,-84023,0
//! 1,sharp,up,,120,1
//! 1,sharp,up,1,350410,2
//! 1,sharp,up,1+2,701022,3
//! ```
//!
//! `arm` is the number of an --arm, from 1, or `free` off the square; `direction` sharp or flat;
//! `leg` up or down; `masses` numbers of the --masses, from 1, joined by +, empty for no load;
//! `along`, `across`, `pin` the specific force in standard gravities, level when left out. A bench
//! as JSON is what `--json` prints under `bench`. Deliberately not here: what is made of them.

use std::fs::{self, File};
use std::io::{ErrorKind, Read, Write};
use std::path::{Path, PathBuf};

use pinhold_protocol::record::Direction;

use crate::calibration::bench::{Bench, BenchPoint, Leg, SeatingReading, Setting};
use crate::calibration::procedure::{Procedure, Setup};
use crate::calibration::seating_set::SeatingSet;
use crate::cli::exit::{CliError, Exit};
use crate::text::{printable, printable_short};

/// Largest file read, bytes.
const FILE_BYTES_MAX: u64 = 4 * 1024 * 1024;
/// Rows read at most.
const ROW_COUNT_MAX: usize = 2_000;
/// Codes behind a mean when the file does not say.
const SAMPLE_COUNT: u32 = 1_000;
/// Temperature when the file does not say, °C.
const TEMPERATURE_C: f64 = 20.0;
/// Minutes between rows when the file does not say.
const ROW_MIN: f64 = 1.0;

pub(in crate::cli::lever) fn refused(path: &Path, what: &str) -> CliError {
    CliError::new(Exit::Refused, format!("{}: {what}", printable(&path.to_string_lossy())))
}

/// The text of a file, if it is one.
pub(in crate::cli::lever) fn text_of(path: &Path) -> Result<String, CliError> {
    let shown = printable(&path.to_string_lossy());
    let failed = |source: std::io::Error| match source.kind() {
        ErrorKind::NotFound => CliError::new(Exit::NotThere, format!("there is no file {shown}")),
        _ => CliError::new(Exit::InputOutput, format!("{shown} cannot be read ({source})")),
    };
    let mut bytes = Vec::new();
    let file = File::open(path).map_err(failed)?;
    file.take(FILE_BYTES_MAX + 1).read_to_end(&mut bytes).map_err(failed)?;
    if bytes.len() as u64 > FILE_BYTES_MAX {
        return Err(refused(path, "larger than any bench"));
    }
    let text = String::from_utf8(bytes)
        .map_err(|_| refused(path, "not UTF-8 text; save it as CSV or JSON in UTF-8"))?;
    Ok(text.trim_start_matches('\u{feff}').to_owned())
}

/// A table with its header's columns found by name.
struct Table {
    path: PathBuf,
    header: Vec<String>,
    rows: Vec<(u64, Vec<String>)>,
}

impl Table {
    fn read(path: &Path, needed: &[&str], known: &[&str]) -> Result<Table, CliError> {
        let text = text_of(path)?;
        let mut reader = csv::ReaderBuilder::new()
            .trim(csv::Trim::All)
            .comment(Some(b'#'))
            .from_reader(text.as_bytes());
        let bad = |error: csv::Error| {
            let line = error.position().map_or(1, csv::Position::line);
            refused(path, &format!("line {line} has not as many columns as the header"))
        };
        let header: Vec<String> =
            reader.headers().map_err(bad)?.iter().map(str::to_lowercase).collect();
        if let Some(missing) = needed.iter().find(|name| !header.iter().any(|have| have == *name)) {
            let all = needed.join(",");
            return Err(refused(path, &format!("no column '{missing}'; the header is {all}")));
        }
        let unknown = |have: &&String| !known.contains(&have.as_str());
        if let Some(odd) = header.iter().find(unknown) {
            let odd = printable_short(odd, 40);
            let all = known.join(", ");
            return Err(refused(path, &format!("unknown column '{odd}'; known are {all}")));
        }
        let mut rows = Vec::new();
        for record in reader.records() {
            let record = record.map_err(bad)?;
            let line = record.position().map_or(0, csv::Position::line);
            rows.push((line, record.iter().map(str::to_owned).collect()));
            if rows.len() > ROW_COUNT_MAX {
                return Err(refused(path, &format!("more than {ROW_COUNT_MAX} rows")));
            }
        }
        Ok(Table { path: path.to_owned(), header, rows })
    }

    fn cell<'a>(&self, row: &'a (u64, Vec<String>), name: &str) -> &'a str {
        let at = self.header.iter().position(|have| have == name);
        at.and_then(|at| row.1.get(at)).map_or("", String::as_str)
    }

    fn wrong(&self, row: &(u64, Vec<String>), name: &str, wanted: &str) -> CliError {
        let cell = printable_short(self.cell(row, name), 40);
        refused(&self.path, &format!("line {}: {name} is '{cell}'; use {wanted}", row.0))
    }

    fn number(&self, row: &(u64, Vec<String>), name: &str) -> Result<f64, CliError> {
        let number = self.cell(row, name).parse::<f64>().ok().filter(|number| number.is_finite());
        number.ok_or_else(|| self.wrong(row, name, "a number with a decimal point"))
    }

    fn number_or(&self, row: &(u64, Vec<String>), name: &str, other: f64) -> Result<f64, CliError> {
        if self.cell(row, name).is_empty() { Ok(other) } else { self.number(row, name) }
    }

    /// A number from 1 to `count_max`, as an index.
    fn index(&self, row: &(u64, Vec<String>), name: &str, count: usize) -> Result<usize, CliError> {
        self.index_of(row, name, self.cell(row, name), count)
    }

    fn index_of(
        &self,
        row: &(u64, Vec<String>),
        name: &str,
        text: &str,
        count: usize,
    ) -> Result<usize, CliError> {
        let number = text.trim().parse::<usize>().ok();
        number
            .filter(|number| (1..=count).contains(number))
            .map(|number| number - 1)
            .ok_or_else(|| self.wrong(row, name, &format!("numbers from 1 to {count}")))
    }
}

/// A bench from a file: JSON holds all of it, CSV its points on `setup`.
pub(super) fn bench(path: &Path, setup: Option<Setup>) -> Result<Bench, CliError> {
    if path.extension().is_some_and(|extension| extension.eq_ignore_ascii_case("json")) {
        let text = text_of(path)?;
        let document: serde_json::Value = serde_json::from_str(&text)
            .map_err(|error| refused(path, &format!("no JSON ({error})")))?;
        // A whole record, an unfinished calibration, or the bench alone.
        if document.get("taken").is_some() {
            let procedure: Procedure = serde_json::from_value(document)
                .map_err(|error| refused(path, &format!("no unfinished calibration ({error})")))?;
            procedure.check().map_err(|error| refused(path, &error.to_string()))?;
            return Ok(procedure.bench());
        }
        let bench = document.get("bench").cloned().unwrap_or(document);
        return serde_json::from_value(bench)
            .map_err(|error| refused(path, &format!("no bench ({error})")));
    }
    let Some(setup) = setup else {
        let sentence = "a bench as CSV needs --masses, --arm (twice or more) and --gravity, or \
                        --latitude with --height";
        return Err(CliError::new(Exit::Usage, sentence));
    };
    let needed = ["arm", "direction", "leg", "masses", "code"];
    let known = [
        "arm",
        "direction",
        "leg",
        "masses",
        "code",
        "sd",
        "samples",
        "along",
        "across",
        "pin",
        "temperature",
        "minute",
    ];
    let table = Table::read(path, &needed, &known)?;
    let mut points = Vec::new();
    for (at, row) in table.rows.iter().enumerate() {
        points.push(bench_point(&table, row, at, &setup)?);
    }
    let Setup { masses, positions, gravity } = setup;
    Ok(Bench { masses, positions, gravity, points, seatings: Vec::new() })
}

fn bench_point(
    table: &Table,
    row: &(u64, Vec<String>),
    at: usize,
    setup: &Setup,
) -> Result<BenchPoint, CliError> {
    let direction = match table.cell(row, "direction").to_lowercase().as_str() {
        "sharp" => Direction::Sharp,
        "flat" => Direction::Flat,
        _ => return Err(table.wrong(row, "direction", "sharp or flat")),
    };
    let setting = if table.cell(row, "arm").eq_ignore_ascii_case("free") {
        Setting::Free
    } else {
        let leg = match table.cell(row, "leg").to_lowercase().as_str() {
            "up" => Leg::Up,
            "down" => Leg::Down,
            _ => return Err(table.wrong(row, "leg", "up or down")),
        };
        let cell = table.cell(row, "masses");
        let parts = cell.split('+').filter(|part| !part.trim().is_empty());
        let masses: Result<Vec<usize>, CliError> =
            parts.map(|part| table.index_of(row, "masses", part, setup.masses.len())).collect();
        let position = table.index(row, "arm", setup.positions.len())?;
        Setting::Loaded { position, direction, leg, masses: masses? }
    };
    let level = if direction == Direction::Sharp { 1.0 } else { -1.0 };
    let samples = table.number_or(row, "samples", f64::from(SAMPLE_COUNT))?;
    let minute = table.number_or(row, "minute", at as f64 * ROW_MIN)?;
    Ok(BenchPoint {
        setting,
        mean_code: table.number(row, "code")?,
        code_sd: table.number_or(row, "sd", 0.0)?,
        sample_count: samples.clamp(0.0, f64::from(u32::MAX)) as u32,
        force_g: [
            table.number_or(row, "along", 0.0)?,
            table.number_or(row, "across", level)?,
            table.number_or(row, "pin", 0.0)?,
        ],
        temperature_c: table.number_or(row, "temperature", TEMPERATURE_C)?,
        at_ms: (minute * 60_000.0).clamp(-9e15, 9e15) as i64,
    })
}

/// Pins seated anew: `pin, person, round, friction` and `moment`, counted from 1, N·m.
pub(in crate::cli::lever) fn seatings(path: &Path) -> Result<Vec<SeatingReading>, CliError> {
    let needed = ["pin", "person", "round", "friction"];
    let known = ["pin", "person", "round", "friction", "moment"];
    let table = Table::read(path, &needed, &known)?;
    let mut readings: Vec<SeatingReading> = Vec::new();
    for row in &table.rows {
        let reading = SeatingReading {
            pin: table.index(row, "pin", ROW_COUNT_MAX)?,
            person: table.index(row, "person", 20)?,
            round: table.index(row, "round", 100)?,
            friction_nm: table.number(row, "friction")?,
            moment_nm: table.number_or(row, "moment", 0.0)?,
        };
        if reading.friction_nm <= 0.0 {
            return Err(table.wrong(row, "friction", "a torque above zero, N·m"));
        }
        let same = |other: &SeatingReading| {
            (other.pin, other.person, other.round) == (reading.pin, reading.person, reading.round)
        };
        if readings.iter().any(same) {
            return Err(table.wrong(row, "round", "each pin, person and round once"));
        }
        readings.push(reading);
    }
    Ok(readings)
}

/// Refuses seatings that say they are of another lever than the one known, or simulated where that
/// is not; how many of how many there are where they are not complete. A table typed by hand says
/// none of it.
pub(super) fn look_at_seatings(
    path: &Path,
    lever: Option<u64>,
    simulated: bool,
) -> Result<Option<(usize, usize)>, CliError> {
    let Ok(set) = SeatingSet::head_of(&text_of(path)?) else { return Ok(None) };
    if set.simulated_seed.is_some() && !simulated && lever.is_some() {
        return Err(refused(path, "these seatings are simulated, the lever is not"));
    }
    if let Some(lever) = lever.filter(|lever| *lever != set.lever) {
        let what = format!("these seatings are of lever {:016x}, not {lever:016x}", set.lever);
        return Err(refused(path, &what));
    }
    let (done, all) = (seatings(path)?.len(), set.wanted_count());
    Ok((done < all).then_some((done, all)))
}

/// Where an unfinished calibration of a lever is written down.
pub(super) fn progress_path(data: &Path, lever: u64) -> PathBuf {
    data.join(format!("calibration-{lever:016x}.json"))
}

/// An unfinished calibration; `None` when there is none.
pub(super) fn progress(path: &Path) -> Result<Option<Procedure>, CliError> {
    if !path.exists() {
        return Ok(None);
    }
    let procedure: Procedure = serde_json::from_str(&text_of(path)?).map_err(|error| {
        let what = format!("no unfinished calibration ({error}); begin anew with --anew");
        refused(path, &what)
    })?;
    procedure.check().map_err(|error| refused(path, &format!("{error}; begin with --anew")))?;
    Ok(Some(procedure))
}

/// Writes where a calibration stands: whole or not at all, on the disk when this returns.
pub(super) fn remember(path: &Path, procedure: &Procedure) -> Result<(), CliError> {
    let bytes = serde_json::to_vec(procedure)
        .map_err(|error| CliError::new(Exit::Bug, format!("a procedure is no JSON ({error})")))?;
    replace(path, &bytes)
}

/// Writes a file whole or not at all, on the disk when this returns.
pub(in crate::cli::lever) fn replace(path: &Path, bytes: &[u8]) -> Result<(), CliError> {
    let unwritable = |source: std::io::Error| CliError::unwritable(path, &source);
    let mut beside = path.as_os_str().to_owned();
    beside.push(".new");
    let beside = PathBuf::from(beside);
    let mut file = File::create(&beside).map_err(unwritable)?;
    file.write_all(bytes).and_then(|()| file.sync_all()).map_err(unwritable)?;
    fs::rename(&beside, path).map_err(unwritable)
}

/// Takes the file away once its calibration is kept.
pub(super) fn forget(path: &Path) -> Result<(), CliError> {
    match fs::remove_file(path) {
        Err(source) if source.kind() != ErrorKind::NotFound => {
            Err(CliError::unwritable(path, &source))
        }
        _ => Ok(()),
    }
}
