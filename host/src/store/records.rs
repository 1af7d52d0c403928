//! A lever's records of every kind: each on the disk before anybody says so, none twice.
//!
//! A reading whose survey is known goes to the readings; everything else (a loss, a trace, a
//! skipped pin, a reading of no plan or of a foreign one, a record of later firmware) is kept as it
//! came, in the table of records: the inbox, as far as it holds readings. Deliberately not here:
//! giving a reading to a pin (`corrections`).
//!
//! Invariants: under one number stands at most one true record; losses may stand beside it, and the
//! true one counts whichever came last; what came last is known all the same, because the lever's
//! chain value goes on from it. Nothing is changed or deleted.

use pinhold_protocol::content::{Content, Skip, Trace, decode_content};
use pinhold_protocol::lost::{LOST_VERSION, decode_lost};
use pinhold_protocol::record::Reading;
use rusqlite::{Connection, OptionalExtension, TransactionBehavior, params};

use super::Store;
use super::codes::{as_signed, as_unsigned};
use super::error::{Doing, StoreError};
use super::lever::{self, lever_id};
use super::surveys::SurveyId;

/// Number of a record's kind, by its first byte; one without bytes has none.
const KIND_NONE: i64 = -1;

/// Whether row `r` of the table of records is a reading that no survey has, or that was assigned
/// to one and taken back.
pub(super) const IN_INBOX: &str = "kind = 1 AND NOT EXISTS (SELECT 1 FROM reading
     WHERE reading.lever_id = r.lever_id AND reading.epoch = r.epoch
         AND reading.number = r.number AND NOT EXISTS (SELECT 1 FROM correction
             JOIN correction_batch AS batch ON batch.id = correction.batch_id
             JOIN correction_batch AS undone ON undone.id = batch.undoes
             WHERE undone.kind = 'assign' AND correction.id =
                 (SELECT max(id) FROM correction WHERE reading_id = reading.id)))";

/// A record to be kept, its checksum checked by the caller.
#[derive(Clone, Copy, Debug)]
pub struct NewRecord<'a> {
    /// Device identity.
    pub device: u64,
    /// Log epoch.
    pub epoch: u32,
    /// Record number.
    pub number: u32,
    /// Checksum it came with.
    pub checksum: u32,
    /// The record as it came.
    pub bytes: &'a [u8],
    /// What it says; `None` where this version does not understand it.
    pub content: Option<&'a Content>,
    /// When it came, ISO 8601.
    pub received: &'a str,
}

/// What became of a record.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Committed {
    /// Now on the disk.
    New,
    /// Was on the disk; nothing changed.
    AlreadyHave,
    /// It is a loss, and the true record was on the disk: that one counts.
    TrueKept,
}

/// What is held under one number of a log.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Held {
    /// The number.
    pub number: u32,
    /// Checksum of the true record, else of the loss that came last.
    pub checksum: u32,
    /// Chain value the loss brought, when a loss is what came last.
    pub lost_chain: Option<u32>,
}

/// Where a record stands in a lever's log.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct RecordName {
    /// Device identity.
    pub device: u64,
    /// Log epoch.
    pub epoch: u32,
    /// Record number.
    pub number: u32,
}

/// A reading that belongs to no survey of this store yet.
#[derive(Clone, Debug, PartialEq)]
pub struct InboxReading {
    /// Its place in the lever's log.
    pub name: RecordName,
    /// Checksum it came with.
    pub checksum: u32,
    /// When it came, ISO 8601.
    pub received: String,
    /// What it says.
    pub reading: Reading,
}

/// A record that is no reading, with its place.
#[derive(Clone, Debug, PartialEq)]
pub struct Named<T> {
    /// Its place in the lever's log.
    pub name: RecordName,
    /// What it says.
    pub content: T,
}

impl Store {
    /// Stores one record in one durable transaction: under `survey` when it is a reading and that
    /// is given, else as it came. A record the store has already (same device, epoch, number and
    /// checksum) is left as it is.
    ///
    /// A loss is kept beside the true record, and a true record beside a loss; the true one counts.
    ///
    /// # Errors
    /// [`StoreError::RecordConflict`] when that number holds another true record, or a database
    /// failure.
    pub fn keep_record(
        &mut self,
        survey: Option<SurveyId>,
        record: &NewRecord<'_>,
    ) -> Result<Committed, StoreError> {
        let doing = "store a record";
        let transaction = self
            .connection
            .transaction_with_behavior(TransactionBehavior::Immediate)
            .doing(doing)?;
        let lever = lever_id(&transaction, record.device)?;
        let committed = insert(&transaction, lever, survey, record)?;
        transaction.commit().doing(doing)?;
        Ok(committed)
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
        for held in self.held_records(device, epoch, first)? {
            if held.number != floor || floor == u32::MAX {
                break;
            }
            floor += 1;
        }
        Ok(floor)
    }

    /// Records at or above `first` of a device's epoch, by number.
    ///
    /// # Errors
    /// When the database fails.
    pub fn held_records(
        &self,
        device: u64,
        epoch: u32,
        first: u32,
    ) -> Result<Vec<Held>, StoreError> {
        let doing = "list a lever's records";
        let mut statement = self
            .connection
            .prepare(
                "SELECT number, crc32, X'01' AS bytes, 0 AS arrival FROM reading
                     JOIN lever ON lever.id = lever_id
                 WHERE device = ?1 AND epoch = ?2 AND number >= ?3
                 UNION ALL
                 SELECT number, crc32, substr(bytes, 1, 6), r.id FROM lever_record AS r
                     JOIN lever ON lever.id = lever_id
                 WHERE device = ?1 AND epoch = ?2 AND number >= ?3
                 ORDER BY number, arrival",
            )
            .doing(doing)?;
        let rows = statement
            .query_map(params![as_signed(device), epoch, first], |row| {
                let bytes: Vec<u8> = row.get(2)?;
                Ok((row.get(0)?, row.get(1)?, decode_lost(&bytes).ok()))
            })
            .doing(doing)?;
        let mut held: Vec<Held> = Vec::new();
        // Whether the last of them holds a true record.
        let mut is_true = false;
        for row in rows {
            let (number, checksum, lost_chain): (u32, u32, Option<u32>) = row.doing(doing)?;
            match held.last_mut().filter(|last| last.number == number) {
                Some(last) => {
                    last.lost_chain = lost_chain;
                    if lost_chain.is_none() || !is_true {
                        last.checksum = checksum;
                    }
                    is_true |= lost_chain.is_none();
                }
                None => {
                    held.push(Held { number, checksum, lost_chain });
                    is_true = lost_chain.is_none();
                }
            }
        }
        Ok(held)
    }

    /// Readings that no survey of this store has, by lever, epoch and number.
    ///
    /// # Errors
    /// When the database fails or holds what was never stored.
    pub fn inbox(&self) -> Result<Vec<InboxReading>, StoreError> {
        let rows = self.records_where(IN_INBOX, &[])?;
        let mut inbox = Vec::new();
        for row in rows {
            // One that does not decode is of later firmware; it is listed with those.
            if let Ok(Content::Reading(reading)) = decode_content(&row.bytes) {
                inbox.push(InboxReading {
                    name: row.name,
                    checksum: row.checksum,
                    received: row.received,
                    reading,
                });
            }
        }
        Ok(inbox)
    }

    /// Pins of a plan that were passed over, by lever, epoch and number.
    ///
    /// # Errors
    /// When the database fails.
    pub fn skips_of(&self, survey_uid: u64) -> Result<Vec<Named<Skip>>, StoreError> {
        let rows = self.records_where("kind = 3 AND survey_uid = ?1", &[as_signed(survey_uid)])?;
        Ok(decoded(rows, |content| match content {
            Content::Skip(skip) => Some(skip),
            _ => None,
        }))
    }

    /// The trace of a reading; `None` when the lever kept none or it was not fetched.
    ///
    /// # Errors
    /// When the database fails.
    pub fn trace_of(&self, reading: RecordName) -> Result<Option<Trace>, StoreError> {
        let rows = self.records_where(
            "kind = 2 AND device = ?1 AND epoch = ?2 AND reading_number = ?3",
            &[as_signed(reading.device), reading.epoch.into(), reading.number.into()],
        )?;
        let traces = decoded(rows, |content| match content {
            Content::Trace(trace) => Some(trace),
            _ => None,
        });
        Ok(traces.into_iter().next_back().map(|named| named.content))
    }

    /// Numbers of a lever's epoch that hold a loss and no true record, in order.
    ///
    /// # Errors
    /// When the database fails.
    pub fn losses_of(&self, device: u64, epoch: u32) -> Result<Vec<u32>, StoreError> {
        let rows = self.records_where(
            "kind = 0 AND device = ?1 AND epoch = ?2
                 AND NOT EXISTS (SELECT 1 FROM lever_record AS t WHERE t.lever_id = r.lever_id
                     AND t.epoch = r.epoch AND t.number = r.number AND t.kind <> 0)
                 AND NOT EXISTS (SELECT 1 FROM reading WHERE reading.lever_id = r.lever_id
                     AND reading.epoch = r.epoch AND reading.number = r.number)",
            &[as_signed(device), epoch.into()],
        )?;
        Ok(rows.into_iter().map(|row| row.name.number).collect())
    }

    /// Rows of the table of records that meet a condition, by lever, epoch and number.
    fn records_where(&self, condition: &str, values: &[i64]) -> Result<Vec<Kept>, StoreError> {
        let doing = "read a lever's records";
        let sql = format!(
            "SELECT device, epoch, number, crc32, received, bytes
             FROM lever_record AS r JOIN lever ON lever.id = r.lever_id
             WHERE {condition} ORDER BY device, epoch, number, r.id"
        );
        let mut statement = self.connection.prepare(&sql).doing(doing)?;
        let rows = statement
            .query_map(rusqlite::params_from_iter(values), |row| {
                Ok(Kept {
                    name: RecordName {
                        device: as_unsigned(row.get(0)?),
                        epoch: row.get(1)?,
                        number: row.get(2)?,
                    },
                    checksum: row.get(3)?,
                    received: row.get(4)?,
                    bytes: row.get(5)?,
                })
            })
            .doing(doing)?;
        let mut kept: Vec<Kept> = rows.collect::<Result<_, _>>().doing(doing)?;
        // The same record again, after a loss: once is enough.
        kept.dedup_by(|later, earlier| later.name == earlier.name);
        Ok(kept)
    }
}

/// A row of the table of records.
struct Kept {
    name: RecordName,
    checksum: u32,
    received: String,
    bytes: Vec<u8>,
}

fn decoded<T>(rows: Vec<Kept>, pick: impl Fn(Content) -> Option<T>) -> Vec<Named<T>> {
    rows.into_iter()
        .filter_map(|row| {
            let content = decode_content(&row.bytes).ok().and_then(&pick)?;
            Some(Named { name: row.name, content })
        })
        .collect()
}

/// Inserts a record where it belongs, unless it is what came last under its number.
fn insert(
    connection: &Connection,
    lever: i64,
    survey: Option<SurveyId>,
    record: &NewRecord<'_>,
) -> Result<Committed, StoreError> {
    let NewRecord { device, epoch, number, checksum, .. } = *record;
    let stored = true_checksum(connection, lever, epoch, number)?;
    let is_loss = record.bytes.first() == Some(&LOST_VERSION);
    if let Some(stored) = stored
        && !is_loss
        && stored != checksum
    {
        let offered = checksum;
        return Err(StoreError::RecordConflict { device, epoch, number, stored, offered });
    }
    let last = last_checksum(connection, lever, epoch, number)?;
    if last.or(stored) == Some(checksum) {
        return Ok(Committed::AlreadyHave);
    }
    let as_reading = match (survey, record.content, stored) {
        (Some(survey), Some(Content::Reading(reading)), None) => {
            lever::insert(connection, survey, lever, [epoch, number, checksum], reading)?;
            true
        }
        _ => false,
    };
    // Beside a loss the record itself is kept too: it shows which of the two came last.
    if !as_reading || last.is_some() {
        insert_row(connection, lever, record)?;
    }
    Ok(match (is_loss, stored) {
        (_, None) => Committed::New,
        (true, Some(_)) => Committed::TrueKept,
        (false, Some(_)) => Committed::AlreadyHave,
    })
}

/// Appends to the table of records.
fn insert_row(
    connection: &Connection,
    lever: i64,
    record: &NewRecord<'_>,
) -> Result<(), StoreError> {
    let (survey_uid, reading_number) = match record.content {
        Some(Content::Reading(reading)) => (Some(as_signed(reading.survey)), None),
        Some(Content::Skip(skip)) => (Some(as_signed(skip.survey)), None),
        Some(Content::Trace(trace)) => (None, Some(trace.reading)),
        Some(Content::Lost { .. }) | None => (None, None),
    };
    connection
        .execute(
            "INSERT INTO lever_record (lever_id, epoch, number, crc32, kind, survey_uid,
                 reading_number, bytes, received)
             VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9)",
            params![
                lever,
                record.epoch,
                record.number,
                record.checksum,
                record.bytes.first().map_or(KIND_NONE, |kind| i64::from(*kind)),
                survey_uid,
                reading_number,
                record.bytes,
                record.received,
            ],
        )
        .doing("store a record")?;
    Ok(())
}

/// Checksum of what came last under a number into the table of records.
fn last_checksum(
    connection: &Connection,
    lever: i64,
    epoch: u32,
    number: u32,
) -> Result<Option<u32>, StoreError> {
    connection
        .query_row(
            "SELECT crc32 FROM lever_record WHERE lever_id = ?1 AND epoch = ?2 AND number = ?3
             ORDER BY id DESC LIMIT 1",
            params![lever, epoch, number],
            |row| row.get(0),
        )
        .optional()
        .doing("look for a record")
}

/// Checksum of the true record stored under a number.
fn true_checksum(
    connection: &Connection,
    lever: i64,
    epoch: u32,
    number: u32,
) -> Result<Option<u32>, StoreError> {
    connection
        .query_row(
            "SELECT crc32 FROM reading WHERE lever_id = ?1 AND epoch = ?2 AND number = ?3
             UNION
             SELECT crc32 FROM lever_record
             WHERE lever_id = ?1 AND epoch = ?2 AND number = ?3 AND kind <> 0",
            params![lever, epoch, number],
            |row| row.get(0),
        )
        .optional()
        .doing("look for a record")
}
