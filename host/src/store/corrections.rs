//! Readings given to another pin or survey, or set aside: a batch at a time, never over the
//! original.
//!
//! A reading stands where its latest entry says, else where it was taken. An undo is a batch of its
//! own that puts the readings of another back to where they stood before that one. Deliberately
//! not here: which reading goes where (`crate::correct`).
//!
//! Invariants: what the lever wrote is never changed; batches are never changed or deleted;
//! undoing goes backwards, so that what is put back is what stood before.

use pinhold_protocol::content::{Content, decode_content};
use pinhold_protocol::record::Pin;
use rusqlite::{Connection, OptionalExtension, TransactionBehavior, params};

use super::Store;
use super::codes::{as_unsigned, letter, string_from, whole};
use super::error::{Doing, StoreError};
use super::lever::{self, ReadingId, lever_id};
use super::records::{IN_INBOX, RecordName};
use super::surveys::SurveyId;

/// Key of a batch in one store.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct BatchId(i64);

impl BatchId {
    /// Its number, as shown.
    pub fn number(self) -> i64 {
        self.0
    }
}

/// What a batch is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum BatchKind {
    /// Readings out of the inbox.
    Assign,
    /// Readings to other pins.
    Correct,
    /// Another batch taken back.
    Undo(BatchId),
}

/// Where a reading is to stand.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Move {
    /// The reading.
    pub reading: ReadingId,
    /// Its pin; `None` sets it aside.
    pub pin: Option<Pin>,
}

/// When and why a batch is made.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Cause<'a> {
    /// When, ISO 8601.
    pub made: &'a str,
    /// Why, free text.
    pub reason: &'a str,
}

/// One entry of a batch, as shown.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Moved {
    /// The reading's place in its lever's log.
    pub name: RecordName,
    /// Pin it was taken under; `None` for a reading of no plan.
    pub taken_as: Option<Pin>,
    /// Pin it stood under before.
    pub before: Option<Pin>,
    /// Pin it was given.
    pub after: Option<Pin>,
}

/// A batch as stored.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Batch {
    /// Its key.
    pub id: BatchId,
    /// What it is.
    pub kind: BatchKind,
    /// When it was made, ISO 8601.
    pub made: String,
    /// Why, free text.
    pub reason: String,
    /// The batch that took it back.
    pub undone_by: Option<BatchId>,
    /// Its entries, by reading.
    pub entries: Vec<Moved>,
}

impl Store {
    /// Gives readings of a survey to other pins, in one transaction.
    ///
    /// # Errors
    /// When the database fails.
    pub fn correct(
        &mut self,
        survey: SurveyId,
        moves: &[Move],
        cause: Cause<'_>,
    ) -> Result<BatchId, StoreError> {
        let doing = "store a correction";
        let transaction = self
            .connection
            .transaction_with_behavior(TransactionBehavior::Immediate)
            .doing(doing)?;
        let batch = insert_batch(&transaction, BatchKind::Correct, cause)?;
        for to in moves {
            insert_entry(&transaction, batch, survey, *to)?;
        }
        transaction.commit().doing(doing)?;
        Ok(batch)
    }

    /// Takes readings out of the inbox into a survey, in one transaction; a reading without a pin
    /// given keeps the one it was taken under.
    ///
    /// # Errors
    /// [`StoreError::NotInInbox`] for one that is not there (nothing is changed), or a database
    /// failure.
    pub fn assign(
        &mut self,
        survey: SurveyId,
        readings: &[(RecordName, Option<Pin>)],
        cause: Cause<'_>,
    ) -> Result<BatchId, StoreError> {
        let doing = "assign readings";
        let transaction = self
            .connection
            .transaction_with_behavior(TransactionBehavior::Immediate)
            .doing(doing)?;
        let batch = insert_batch(&transaction, BatchKind::Assign, cause)?;
        for (name, pin) in readings {
            let (reading, taken_as) = take_out(&transaction, survey, *name)?;
            let pin = pin.or(taken_as);
            insert_entry(&transaction, batch, survey, Move { reading, pin })?;
        }
        transaction.commit().doing(doing)?;
        Ok(batch)
    }

    /// Takes back the last batch of a survey that is not taken back yet.
    ///
    /// Readings assigned out of the inbox are in the inbox again.
    ///
    /// # Errors
    /// [`StoreError::NothingToUndo`] when there is none, or a database failure.
    pub fn undo_correction(
        &mut self,
        survey: SurveyId,
        cause: Cause<'_>,
    ) -> Result<BatchId, StoreError> {
        let doing = "undo a correction";
        let transaction = self
            .connection
            .transaction_with_behavior(TransactionBehavior::Immediate)
            .doing(doing)?;
        let last: Option<i64> = transaction
            .query_row(
                "SELECT max(batch.id) FROM correction_batch AS batch
                 JOIN correction ON correction.batch_id = batch.id
                 WHERE correction.survey_id = ?1 AND batch.kind <> 'undo' AND NOT EXISTS
                     (SELECT 1 FROM correction_batch AS other WHERE other.undoes = batch.id)",
                [survey.0],
                |row| row.get(0),
            )
            .doing(doing)?;
        let undone = BatchId(last.ok_or(StoreError::NothingToUndo)?);
        let batch = insert_batch(&transaction, BatchKind::Undo(undone), cause)?;
        for (reading, before) in stood_before(&transaction, undone)? {
            insert_entry(&transaction, batch, survey, Move { reading, pin: before })?;
        }
        transaction.commit().doing(doing)?;
        Ok(batch)
    }

    /// All batches of a survey, oldest first.
    ///
    /// # Errors
    /// When the database fails or holds what was never stored.
    pub fn corrections_of(&self, survey: SurveyId) -> Result<Vec<Batch>, StoreError> {
        let doing = "list corrections";
        let mut statement = self
            .connection
            .prepare(
                "SELECT batch.id, batch.kind, batch.undoes, batch.made, batch.reason,
                     (SELECT id FROM correction_batch AS other WHERE other.undoes = batch.id)
                 FROM correction_batch AS batch WHERE EXISTS (SELECT 1 FROM correction
                     WHERE batch_id = batch.id AND survey_id = ?1) ORDER BY batch.id",
            )
            .doing(doing)?;
        let rows = statement
            .query_map([survey.0], |row| {
                let undoes: Option<i64> = row.get(2)?;
                let kind = match (row.get::<_, String>(1)?.as_str(), undoes) {
                    (_, Some(undone)) => BatchKind::Undo(BatchId(undone)),
                    ("assign", None) => BatchKind::Assign,
                    _ => BatchKind::Correct,
                };
                Ok(Batch {
                    id: BatchId(row.get(0)?),
                    kind,
                    made: row.get(3)?,
                    reason: row.get(4)?,
                    undone_by: row.get::<_, Option<i64>>(5)?.map(BatchId),
                    entries: Vec::new(),
                })
            })
            .doing(doing)?;
        let mut batches: Vec<Batch> = rows.collect::<Result<_, _>>().doing(doing)?;
        for batch in &mut batches {
            batch.entries = entries_of(&self.connection, batch.id)?;
        }
        Ok(batches)
    }
}

fn insert_batch(
    connection: &Connection,
    kind: BatchKind,
    cause: Cause<'_>,
) -> Result<BatchId, StoreError> {
    let (word, undoes) = match kind {
        BatchKind::Assign => ("assign", None),
        BatchKind::Correct => ("correct", None),
        BatchKind::Undo(undone) => ("undo", Some(undone.0)),
    };
    connection
        .execute(
            "INSERT INTO correction_batch (kind, undoes, made, reason) VALUES (?1, ?2, ?3, ?4)",
            params![word, undoes, cause.made, cause.reason],
        )
        .doing("store a correction")?;
    Ok(BatchId(connection.last_insert_rowid()))
}

fn insert_entry(
    connection: &Connection,
    batch: BatchId,
    survey: SurveyId,
    to: Move,
) -> Result<(), StoreError> {
    connection
        .execute(
            "INSERT INTO correction (batch_id, reading_id, survey_id, note, string)
             VALUES (?1, ?2, ?3, ?4, ?5)",
            params![
                batch.0,
                to.reading.0,
                survey.0,
                to.pin.map(|pin| pin.note),
                to.pin.map(|pin| letter(pin.string)),
            ],
        )
        .doing("store a correction")?;
    Ok(())
}

/// Makes an inbox record a reading of a survey; its key and the pin it was taken under. One that
/// was assigned and taken back is a reading already.
fn take_out(
    connection: &Connection,
    survey: SurveyId,
    name: RecordName,
) -> Result<(ReadingId, Option<Pin>), StoreError> {
    let doing = "assign a reading";
    let RecordName { device, epoch, number } = name;
    let lever = lever_id(connection, device)?;
    let sql = format!(
        "SELECT crc32, bytes, (SELECT id FROM reading WHERE reading.lever_id = r.lever_id
                 AND reading.epoch = r.epoch AND reading.number = r.number)
         FROM lever_record AS r
         WHERE lever_id = ?1 AND epoch = ?2 AND number = ?3 AND {IN_INBOX}"
    );
    let found: Option<(u32, Vec<u8>, Option<i64>)> = connection
        .query_row(&sql, params![lever, epoch, number], |row| {
            Ok((row.get(0)?, row.get(1)?, row.get(2)?))
        })
        .optional()
        .doing(doing)?;
    let not_there = StoreError::NotInInbox { device, number };
    let Some((checksum, bytes, known)) = found else { return Err(not_there) };
    let Ok(Content::Reading(reading)) = decode_content(&bytes) else { return Err(not_there) };
    let id = match known {
        Some(id) => ReadingId(id),
        None => lever::insert(connection, survey, lever, [epoch, number, checksum], &reading)?,
    };
    Ok((id, (!reading.pin.is_unassigned()).then_some(reading.pin)))
}

/// The readings of a batch and where each stood just before it.
fn stood_before(
    connection: &Connection,
    batch: BatchId,
) -> Result<Vec<(ReadingId, Option<Pin>)>, StoreError> {
    let doing = "read a correction";
    let mut statement = connection
        .prepare(
            "SELECT entry.reading_id, before.id IS NULL, before.note, before.string,
                 reading.note, reading.string, batch.kind = 'assign'
             FROM correction AS entry
                 JOIN correction_batch AS batch ON batch.id = entry.batch_id
                 JOIN reading ON reading.id = entry.reading_id
                 LEFT JOIN correction AS before ON before.id = (SELECT max(id) FROM correction
                     WHERE reading_id = entry.reading_id AND id < entry.id)
             WHERE entry.batch_id = ?1 ORDER BY entry.id",
        )
        .doing(doing)?;
    let rows = statement
        .query_map([batch.0], |row| {
            let first: bool = row.get(1)?;
            let (note, string) = if first { (4, 5) } else { (2, 3) };
            // Out of the inbox means that it stood nowhere, whatever pin it was taken under.
            let nowhere = first && row.get(6)?;
            let note = row.get::<_, Option<i64>>(note)?.filter(|_| !nowhere);
            Ok((ReadingId(row.get(0)?), note, row.get::<_, Option<String>>(string)?))
        })
        .doing(doing)?;
    let mut stood = Vec::new();
    for row in rows {
        let (reading, note, string) = row.doing(doing)?;
        stood.push((reading, pin_from(note, string.as_deref())?));
    }
    Ok(stood)
}

fn entries_of(connection: &Connection, batch: BatchId) -> Result<Vec<Moved>, StoreError> {
    let doing = "read a correction";
    let before = stood_before(connection, batch)?;
    let mut statement = connection
        .prepare(
            "SELECT device, epoch, number, reading.note, reading.string, correction.note,
                 correction.string
             FROM correction JOIN reading ON reading.id = reading_id
                 JOIN lever ON lever.id = lever_id
             WHERE batch_id = ?1 ORDER BY correction.id",
        )
        .doing(doing)?;
    let rows = statement
        .query_map([batch.0], |row| {
            let name = RecordName {
                device: as_unsigned(row.get(0)?),
                epoch: row.get(1)?,
                number: row.get(2)?,
            };
            let taken: (Option<i64>, Option<String>) = (row.get(3)?, row.get(4)?);
            let after: (Option<i64>, Option<String>) = (row.get(5)?, row.get(6)?);
            Ok((name, taken, after))
        })
        .doing(doing)?;
    let mut entries = Vec::new();
    for (row, (_, before)) in rows.zip(before) {
        let (name, taken, after) = row.doing(doing)?;
        entries.push(Moved {
            name,
            taken_as: pin_from(taken.0, taken.1.as_deref())?,
            before,
            after: pin_from(after.0, after.1.as_deref())?,
        });
    }
    Ok(entries)
}

/// A stored pin; none without a note, and none for note 0, which stands for "not said".
fn pin_from(note: Option<i64>, string: Option<&str>) -> Result<Option<Pin>, StoreError> {
    match (note, string) {
        (Some(note), Some(string)) if note > 0 => {
            Ok(Some(Pin { note: whole(note, "a pin's note")?, string: string_from(string)? }))
        }
        _ => Ok(None),
    }
}

/// Readings of a survey whose pin or survey is not the one they were taken under.
///
/// # Errors
/// When the database fails.
pub(super) fn corrected_count(
    connection: &Connection,
    survey: SurveyId,
) -> Result<usize, StoreError> {
    let uid: i64 = connection
        .query_row("SELECT uid FROM survey WHERE id = ?1", [survey.0], |row| row.get(0))
        .doing("read a survey")?;
    let count: i64 = connection
        .query_row(
            "SELECT count(*) FROM reading_place AS place
             JOIN reading ON reading.id = place.reading_id
             WHERE place.survey_id = ?1 AND (reading.survey_uid <> ?2
                 OR place.note IS NOT reading.note OR place.string IS NOT reading.string)",
            params![survey.0, uid],
            |row| row.get(0),
        )
        .doing("count corrections")?;
    whole(count, "a count")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn note_0_is_no_pin() {
        assert_eq!(pin_from(Some(0), Some("C")).unwrap(), None);
        assert_eq!(pin_from(None, None).unwrap(), None);
        assert!(pin_from(Some(40), Some("L")).unwrap().is_some());
        assert!(pin_from(Some(40), Some("Q")).is_err());
    }
}
