//! Readings of a lever: in and out of their tables.
//!
//! Deliberately not here: whether a record is taken at all (`records`), and the pin it is given
//! to afterwards (`corrections`).

use std::collections::BTreeMap;

use pinhold_protocol::record::{Pin, Reading, STROKE_COUNT_MAX, Stroke};
use pinhold_protocol::units::{Angle, DeviceTime, Stiffness, Torque};
use rusqlite::{Connection, Row, params};

use super::codes::{Code, as_signed, as_unsigned, letter, string_from, whole};
use super::error::{Doing, StoreError};
use super::surveys::SurveyId;
use super::verify::SealCheck;

/// Key of a reading in one store.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct ReadingId(pub(super) i64);

/// A lever's reading as stored, and the pin it counts for.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct LeverReading {
    /// Its key.
    pub id: ReadingId,
    /// Device identity.
    pub device: u64,
    /// Log epoch.
    pub epoch: u32,
    /// Record number within the epoch.
    pub number: u32,
    /// Checksum the record came with.
    pub crc32: u32,
    /// What it says, as the lever wrote it.
    pub reading: Reading,
    /// The pin it counts for now; `None` when it counts for none.
    pub pin: Option<Pin>,
    /// Survey or pin were given to it by a correction.
    pub is_corrected: bool,
}

impl LeverReading {
    /// The reading with the pin it counts for in the place of the one it was taken under; `None`
    /// when it counts for none.
    pub fn counted(&self) -> Option<Reading> {
        let mut reading = self.reading.clone();
        reading.pin = self.pin?;
        Some(reading)
    }
}

/// Key of a device, entered when it is new.
pub(super) fn lever_id(connection: &Connection, device: u64) -> Result<i64, StoreError> {
    let doing = "enter a lever";
    let device = as_signed(device);
    connection
        .execute("INSERT INTO lever (device) VALUES (?1) ON CONFLICT DO NOTHING", [device])
        .doing(doing)?;
    connection
        .query_row("SELECT id FROM lever WHERE device = ?1", [device], |row| row.get(0))
        .doing(doing)
}

/// Inserts a reading whole within the caller's transaction; `place` is epoch, number and checksum.
pub(super) fn insert(
    connection: &Connection,
    survey: SurveyId,
    lever: i64,
    place: [u32; 3],
    reading: &Reading,
) -> Result<ReadingId, StoreError> {
    let id = insert_reading(connection, survey, lever, place, reading)?;
    insert_strokes(connection, id, reading)?;
    Ok(ReadingId(id))
}

/// Inserts all but the strokes.
fn insert_reading(
    connection: &Connection,
    survey: SurveyId,
    lever: i64,
    place: [u32; 3],
    reading: &Reading,
) -> Result<i64, StoreError> {
    let unm = |torque: Option<Torque>| torque.map(Torque::micronewton_metres);
    connection
        .execute(
            "INSERT INTO reading (survey_id, lever_id, epoch, number, crc32, survey_uid, note,
                 string, started_us, duration_ms, outcome, flags, friction_unm,
                 string_moment_unm, sharp_unm, flat_unm, net_rotation_urad, excursion_flat_urad,
                 excursion_sharp_urad, temperature_centi_celsius, attitude_x_milli_g,
                 attitude_y_milli_g, attitude_z_milli_g, calibration, samples)
             VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, ?13, ?14, ?15, ?16, ?17,
                 ?18, ?19, ?20, ?21, ?22, ?23, ?24, ?25)",
            params![
                survey.0,
                lever,
                place[0],
                place[1],
                place[2],
                as_signed(reading.survey),
                reading.pin.note,
                letter(reading.pin.string),
                as_signed(reading.started.microseconds()),
                reading.duration_ms,
                reading.outcome.code(),
                reading.flags,
                unm(reading.friction),
                unm(reading.string_moment),
                unm(reading.sharp),
                unm(reading.flat),
                reading.net_rotation.microradians(),
                reading.excursion_flat.microradians(),
                reading.excursion_sharp.microradians(),
                reading.temperature_centi_celsius,
                reading.attitude_milli_g[0],
                reading.attitude_milli_g[1],
                reading.attitude_milli_g[2],
                reading.calibration,
                reading.samples.code(),
            ],
        )
        .doing("store a reading")?;
    Ok(connection.last_insert_rowid())
}

fn insert_strokes(connection: &Connection, id: i64, reading: &Reading) -> Result<(), StoreError> {
    let doing = "store a stroke";
    let mut statement = connection
        .prepare(
            "INSERT INTO stroke (reading_id, position, direction, breakaway_unm, running_unm,
                 running_scatter_unm, running_slope_unm_per_rad, running_angle_urad,
                 ramp_stiffness_unm_per_rad, slip_urad, peak_unm, knee, stick_slip_permille,
                 rest_before_ms, duration_ms, slip_ms, sample_count, flags)
             VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, ?13, ?14, ?15, ?16, ?17,
                 ?18)",
        )
        .doing(doing)?;
    for (position, stroke) in (0_i64..).zip(&reading.strokes) {
        statement
            .execute(params![
                id,
                position,
                stroke.direction.code(),
                stroke.breakaway.map(Torque::micronewton_metres),
                stroke.running.map(Torque::micronewton_metres),
                stroke.running_scatter.micronewton_metres(),
                stroke.running_slope_micronewton_metres_per_radian,
                stroke.running_angle.microradians(),
                stroke.ramp_stiffness.map(Stiffness::micronewton_metres_per_radian),
                stroke.slip.microradians(),
                stroke.peak.micronewton_metres(),
                stroke.knee.code(),
                stroke.stick_slip_permille,
                stroke.rest_before_ms,
                stroke.duration_ms,
                stroke.slip_ms,
                stroke.sample_count,
                stroke.flags,
            ])
            .doing(doing)?;
    }
    Ok(())
}

/// Columns of a reading, as [`reading_from`] takes them before where it stands.
const COLUMNS: &str = "reading.id, device, epoch, number, crc32, survey_uid, reading.note,
     reading.string, started_us, duration_ms, outcome, flags, friction_unm, string_moment_unm,
     sharp_unm, flat_unm, net_rotation_urad, excursion_flat_urad, excursion_sharp_urad,
     temperature_centi_celsius, attitude_x_milli_g, attitude_y_milli_g, attitude_z_milli_g,
     calibration, samples";

/// The reading of a key, as the lever wrote it.
pub(super) fn reading_at(connection: &Connection, id: i64) -> Result<LeverReading, StoreError> {
    let doing = "read a reading";
    let sql = format!(
        "SELECT {COLUMNS}, NULL, NULL, 0
         FROM reading JOIN lever ON lever.id = lever_id WHERE reading.id = ?1"
    );
    let mut statement = connection.prepare_cached(&sql).doing(doing)?;
    let mut stored = statement.query_row([id], |row| Ok(reading_from(row))).doing(doing)??;
    push_strokes(connection, id, &mut stored.reading)?;
    Ok(stored)
}

/// Hands every reading of the store to `each`, with its key, as the lever wrote it; an error where
/// it holds what no lever writes.
pub(super) fn each_reading(
    connection: &Connection,
    each: &mut dyn FnMut(i64, Result<LeverReading, StoreError>),
) -> Result<(), StoreError> {
    let doing = "read every reading";
    let sql = format!(
        "SELECT {COLUMNS}, NULL, NULL, 0
         FROM reading NOT INDEXED LEFT JOIN lever ON lever.id = lever_id ORDER BY reading.id"
    );
    let mut statement = connection.prepare(&sql).doing(doing)?;
    let mut rows = statement.query([]).doing(doing)?;
    while let Some(row) = rows.next().doing(doing)? {
        let id: i64 = row.get(0).doing(doing)?;
        let whole = reading_from(row).and_then(|mut stored| {
            push_strokes(connection, id, &mut stored.reading)?;
            Ok(stored)
        });
        each(id, whole);
    }
    Ok(())
}

/// All lever readings that stand in a survey now, in the order they came; those of one log in the
/// order of their numbers, whenever they came. One that does not match its seal is left out.
pub(super) fn readings_of(
    connection: &Connection,
    survey: SurveyId,
) -> Result<Vec<LeverReading>, StoreError> {
    let doing = "read a survey's readings";
    let seals = SealCheck::of(connection, "reading")?;
    let sql = format!(
        "SELECT {COLUMNS}, place.note, place.string, place.corrected
         FROM reading JOIN lever ON lever.id = lever_id
             JOIN reading_place AS place ON place.reading_id = reading.id
         WHERE place.survey_id = ?1 ORDER BY reading.id"
    );
    let mut statement = connection.prepare(&sql).doing(doing)?;
    let mut rows = statement.query([survey.0]).doing(doing)?;
    let mut readings = Vec::new();
    while let Some(row) = rows.next().doing(doing)? {
        if seals.is_broken(connection, row.get(0).doing(doing)?)? {
            continue;
        }
        let mut stored = reading_from(row)?;
        push_strokes(connection, stored.id.0, &mut stored.reading)?;
        readings.push(stored);
    }
    order_by_number(&mut readings);
    Ok(readings)
}

/// Puts the readings of each log in the order of their numbers, on the places they hold together:
/// a record that was lost and came after all may have come late.
fn order_by_number(readings: &mut [LeverReading]) {
    let mut places: BTreeMap<(u64, u32), Vec<usize>> = BTreeMap::new();
    for (place, reading) in readings.iter().enumerate() {
        places.entry((reading.device, reading.epoch)).or_default().push(place);
    }
    for places in places.into_values() {
        let mut of_log: Vec<LeverReading> =
            places.iter().map(|place| readings[*place].clone()).collect();
        of_log.sort_by_key(|reading| reading.number);
        for (place, reading) in places.into_iter().zip(of_log) {
            readings[place] = reading;
        }
    }
}

/// One row; strokes are still missing.
fn reading_from(row: &Row<'_>) -> Result<LeverReading, StoreError> {
    let column = Column(row);
    let string: String = row.get(7).doing("read a reading")?;
    let reading = Reading {
        survey: as_unsigned(column.whole(5)?),
        pin: Pin { note: column.whole(6)?, string: string_from(&string)? },
        started: DeviceTime::from_microseconds(as_unsigned(column.whole(8)?)),
        duration_ms: column.whole(9)?,
        outcome: Code::from_code(column.whole(10)?)?,
        flags: column.whole(11)?,
        friction: column.torque(12)?,
        string_moment: column.torque(13)?,
        sharp: column.torque(14)?,
        flat: column.torque(15)?,
        net_rotation: column.angle(16)?,
        excursion_flat: column.angle(17)?,
        excursion_sharp: column.angle(18)?,
        temperature_centi_celsius: column.whole(19)?,
        attitude_milli_g: [column.whole(20)?, column.whole(21)?, column.whole(22)?],
        calibration: column.whole(23)?,
        samples: Code::from_code(column.whole(24)?)?,
        strokes: Default::default(),
    };
    let string: Option<String> = row.get(26).doing("read a reading")?;
    let pin = match (column.maybe(25)?, string) {
        (Some(note), Some(string)) => Some(Pin { note, string: string_from(&string)? }),
        _ => None,
    };
    Ok(LeverReading {
        id: ReadingId(column.whole(0)?),
        device: as_unsigned(column.whole(1)?),
        epoch: column.whole(2)?,
        number: column.whole(3)?,
        crc32: column.whole(4)?,
        reading,
        pin,
        is_corrected: column.whole::<i64>(27)? != 0,
    })
}

/// Appends the stored strokes of a reading to it.
fn push_strokes(connection: &Connection, id: i64, reading: &mut Reading) -> Result<(), StoreError> {
    let doing = "read a reading's strokes";
    let mut statement = connection
        .prepare_cached(
            "SELECT direction, breakaway_unm, running_unm, running_scatter_unm,
                 running_slope_unm_per_rad, running_angle_urad, ramp_stiffness_unm_per_rad,
                 slip_urad, peak_unm, knee, stick_slip_permille, rest_before_ms, duration_ms,
                 slip_ms, sample_count, flags
             FROM stroke WHERE reading_id = ?1 ORDER BY position",
        )
        .doing(doing)?;
    let rows = statement.query_map([id], |row| Ok(stroke_from(row))).doing(doing)?;
    for row in rows {
        reading.strokes.push(row.doing(doing)??).map_err(|_| StoreError::Corrupt {
            what: "a reading's stroke count",
            value: format!("more than {STROKE_COUNT_MAX}"),
        })?;
    }
    Ok(())
}

fn stroke_from(row: &Row<'_>) -> Result<Stroke, StoreError> {
    let column = Column(row);
    Ok(Stroke {
        direction: Code::from_code(column.whole(0)?)?,
        breakaway: column.torque(1)?,
        running: column.torque(2)?,
        running_scatter: Torque::from_micronewton_metres(column.whole(3)?),
        running_slope_micronewton_metres_per_radian: column.whole(4)?,
        running_angle: column.angle(5)?,
        ramp_stiffness: column.maybe(6)?.map(Stiffness::from_micronewton_metres_per_radian),
        slip: column.angle(7)?,
        peak: Torque::from_micronewton_metres(column.whole(8)?),
        knee: Code::from_code(column.whole(9)?)?,
        stick_slip_permille: column.whole(10)?,
        rest_before_ms: column.whole(11)?,
        duration_ms: column.whole(12)?,
        slip_ms: column.whole(13)?,
        sample_count: column.whole(14)?,
        flags: column.whole(15)?,
    })
}

/// The columns of a row, by position.
struct Column<'a>(&'a Row<'a>);

impl Column<'_> {
    fn whole<T: TryFrom<i64>>(&self, index: usize) -> Result<T, StoreError> {
        whole(self.0.get(index).doing("read a stored number")?, "a stored number")
    }

    fn maybe<T: TryFrom<i64>>(&self, index: usize) -> Result<Option<T>, StoreError> {
        let value: Option<i64> = self.0.get(index).doing("read a stored number")?;
        value.map(|value| whole(value, "a stored number")).transpose()
    }

    fn torque(&self, index: usize) -> Result<Option<Torque>, StoreError> {
        Ok(self.maybe(index)?.map(Torque::from_micronewton_metres))
    }

    fn angle(&self, index: usize) -> Result<Angle, StoreError> {
        self.whole(index).map(Angle::from_microradians)
    }
}
