//! Lever records: each committed durably before anybody says so, none twice.

use pinhold_protocol::record::{Pin, Reading, STROKE_COUNT_MAX, Stroke};
use pinhold_protocol::units::{Angle, DeviceTime, Stiffness, Torque};
use rusqlite::{Connection, OptionalExtension, Row, TransactionBehavior, params};

use super::Store;
use super::codes::{Code, as_signed, as_unsigned, letter, string_from, whole};
use super::error::{Doing, StoreError};
use super::surveys::SurveyId;

/// What became of a record.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Committed {
    /// Now on the disk.
    New,
    /// Was on the disk; nothing changed.
    AlreadyHave,
}

/// A lever's record as stored.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct LeverReading {
    /// Device identity.
    pub device: u64,
    /// Log epoch.
    pub epoch: u32,
    /// Record number within the epoch.
    pub number: u32,
    /// Checksum the record came with.
    pub crc32: u32,
    /// What it says.
    pub reading: Reading,
}

impl Store {
    /// Stores one lever record in one durable transaction. A record the store has already (same
    /// device, epoch, number and checksum) is left as it is.
    ///
    /// # Errors
    /// [`StoreError::RecordConflict`] when that number is stored with other content, or a
    /// database failure.
    pub fn commit_lever_record(
        &mut self,
        survey: SurveyId,
        device: u64,
        epoch: u32,
        number: u32,
        crc32: u32,
        reading: &Reading,
    ) -> Result<Committed, StoreError> {
        let doing = "store a reading";
        let transaction = self
            .connection
            .transaction_with_behavior(TransactionBehavior::Immediate)
            .doing(doing)?;
        let lever = lever_id(&transaction, device)?;
        if let Some(stored) = stored_checksum(&transaction, lever, epoch, number)? {
            return if stored == crc32 {
                Ok(Committed::AlreadyHave)
            } else {
                let offered = crc32;
                Err(StoreError::RecordConflict { device, epoch, number, stored, offered })
            };
        }
        let id = insert_reading(&transaction, survey, lever, [epoch, number, crc32], reading)?;
        insert_strokes(&transaction, id, reading)?;
        transaction.commit().doing(doing)?;
        Ok(Committed::New)
    }

    /// First record number of a device's epoch, from 0, that the store does not have.
    ///
    /// # Errors
    /// When the database fails.
    pub fn committed_floor(&self, device: u64, epoch: u32) -> Result<u32, StoreError> {
        self.committed_floor_from(device, epoch, 0)
    }

    /// First record number at or above `first` that the store does not have: what to pull next
    /// from a lever whose older records another host has taken.
    ///
    /// # Errors
    /// When the database fails.
    pub fn committed_floor_from(
        &self,
        device: u64,
        epoch: u32,
        first: u32,
    ) -> Result<u32, StoreError> {
        let mut floor = first;
        for (number, _) in self.record_checksums(device, epoch, first)? {
            if number != floor || floor == u32::MAX {
                break;
            }
            floor += 1;
        }
        Ok(floor)
    }

    /// Numbers at or above `first` of a device's epoch with their checksums, in order.
    ///
    /// # Errors
    /// When the database fails.
    pub fn record_checksums(
        &self,
        device: u64,
        epoch: u32,
        first: u32,
    ) -> Result<Vec<(u32, u32)>, StoreError> {
        let doing = "list a lever's records";
        let mut statement = self
            .connection
            .prepare(
                "SELECT number, crc32 FROM reading JOIN lever ON lever.id = lever_id
                 WHERE device = ?1 AND epoch = ?2 AND number >= ?3 ORDER BY number",
            )
            .doing(doing)?;
        let rows = statement
            .query_map(params![as_signed(device), epoch, first], |row| {
                Ok((row.get(0)?, row.get(1)?))
            })
            .doing(doing)?;
        rows.collect::<Result<_, _>>().doing(doing)
    }
}

/// Key of a device, entered when it is new.
fn lever_id(connection: &Connection, device: u64) -> Result<i64, StoreError> {
    let doing = "enter a lever";
    let device = as_signed(device);
    connection
        .execute("INSERT INTO lever (device) VALUES (?1) ON CONFLICT DO NOTHING", [device])
        .doing(doing)?;
    connection
        .query_row("SELECT id FROM lever WHERE device = ?1", [device], |row| row.get(0))
        .doing(doing)
}

/// Checksum under which a record number is stored.
fn stored_checksum(
    connection: &Connection,
    lever: i64,
    epoch: u32,
    number: u32,
) -> Result<Option<u32>, StoreError> {
    connection
        .query_row(
            "SELECT crc32 FROM reading WHERE lever_id = ?1 AND epoch = ?2 AND number = ?3",
            params![lever, epoch, number],
            |row| row.get(0),
        )
        .optional()
        .doing("look for a record")
}

/// Inserts all but the strokes; `place` is epoch, number and checksum.
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

/// All lever readings of a survey, in the order they were stored.
pub(super) fn readings_of(
    connection: &Connection,
    survey: SurveyId,
) -> Result<Vec<LeverReading>, StoreError> {
    let doing = "read a survey's readings";
    let mut statement = connection
        .prepare(
            "SELECT reading.id, device, epoch, number, crc32, survey_uid, note, string,
                 started_us, duration_ms, outcome, flags, friction_unm, string_moment_unm,
                 sharp_unm, flat_unm, net_rotation_urad, excursion_flat_urad,
                 excursion_sharp_urad, temperature_centi_celsius, attitude_x_milli_g,
                 attitude_y_milli_g, attitude_z_milli_g, calibration, samples
             FROM reading JOIN lever ON lever.id = lever_id
             WHERE survey_id = ?1 ORDER BY reading.id",
        )
        .doing(doing)?;
    let rows = statement.query_map([survey.0], |row| Ok(reading_from(row))).doing(doing)?;
    let mut readings = Vec::new();
    for row in rows {
        let (id, mut stored) = row.doing(doing)??;
        push_strokes(connection, id, &mut stored.reading)?;
        readings.push(stored);
    }
    Ok(readings)
}

/// One row and its key; strokes are still missing.
fn reading_from(row: &Row<'_>) -> Result<(i64, LeverReading), StoreError> {
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
    let stored = LeverReading {
        device: as_unsigned(column.whole(1)?),
        epoch: column.whole(2)?,
        number: column.whole(3)?,
        crc32: column.whole(4)?,
        reading,
    };
    Ok((column.whole(0)?, stored))
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
