//! Surveys: one pass over an instrument's pins, and what was known then.

use rusqlite::{Connection, OptionalExtension, Row, TransactionBehavior, params};

use super::codes::{as_signed, as_unsigned, whole};
use super::condition::{
    condition_document, condition_from_text, record_document, record_from_text,
};
use super::error::{Doing, StoreError};
use super::instruments::InstrumentId;
use super::lever::LeverReading;
use super::{Store, corrections, hand, instruments, lever};
use crate::analysis::input::Condition;
use crate::condition::ConditionRecord;
use crate::import::hand::HandReading;
use crate::instrument::FieldPin;

/// Key of a survey in one store.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct SurveyId(pub(super) i64);

/// Where a survey's readings come from.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum SurveySource {
    /// Taken by a lever.
    Lever,
    /// Typed from a wrench and imported.
    Import,
    /// Invented: a demonstration.
    Simulated,
}

impl SurveySource {
    /// The stored word: `lever`, `import` or `simulated`.
    pub const fn word(self) -> &'static str {
        match self {
            SurveySource::Lever => "lever",
            SurveySource::Import => "import",
            SurveySource::Simulated => "simulated",
        }
    }

    fn from_word(word: &str) -> Result<SurveySource, StoreError> {
        [SurveySource::Lever, SurveySource::Import, SurveySource::Simulated]
            .into_iter()
            .find(|source| source.word() == word)
            .ok_or_else(|| StoreError::Corrupt { what: "a survey's source", value: word.into() })
    }
}

/// A survey to be begun.
#[derive(Clone, Debug, PartialEq)]
pub struct NewSurvey {
    /// The caller's name for it, unique in the store; not 0 where a lever is to carry it.
    pub uid: u64,
    /// When it began, ISO 8601.
    pub started: String,
    /// Where its readings come from.
    pub source: SurveySource,
    /// Temperature of the room, hundredths of a degree Celsius, when known.
    pub temperature_centi_celsius: Option<i32>,
    /// Relative humidity of the hour, thousandths, when known.
    pub humidity_permille: Option<u16>,
    /// Free text, untrusted.
    pub notes: String,
    /// What is known beside torque.
    pub condition: Condition,
}

/// A survey as stored.
#[derive(Clone, Debug, PartialEq)]
pub struct Survey {
    /// Its key.
    pub id: SurveyId,
    /// The instrument it was taken of.
    pub instrument: InstrumentId,
    /// The caller's name for it.
    pub uid: u64,
    /// When it began, ISO 8601.
    pub started: String,
    /// Where its readings come from.
    pub source: SurveySource,
    /// Temperature of the room, hundredths of a degree Celsius, when known.
    pub temperature_centi_celsius: Option<i32>,
    /// Relative humidity of the hour, thousandths, when known.
    pub humidity_permille: Option<u16>,
    /// Free text, untrusted.
    pub notes: String,
}

/// All readings of one survey, in the order they were stored.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct SurveyReadings {
    /// Taken by a lever, real or simulated.
    pub lever: Vec<LeverReading>,
    /// Taken by hand.
    pub hand: Vec<HandReading>,
}

const COLUMNS: &str = "id, instrument_id, uid, started, source, temperature_centi_celsius,
     humidity_permille, notes";

impl Store {
    /// Begins a survey of an instrument.
    ///
    /// # Errors
    /// When the identity is taken, or the database fails.
    pub fn begin_survey(
        &mut self,
        instrument: InstrumentId,
        new: &NewSurvey,
    ) -> Result<SurveyId, StoreError> {
        let doing = "begin a survey";
        let transaction = self
            .connection
            .transaction_with_behavior(TransactionBehavior::Immediate)
            .doing(doing)?;
        let id = insert(&transaction, instrument, new)?;
        transaction.commit().doing(doing)?;
        Ok(id)
    }

    /// Stores a survey taken by hand whole: its readings, and the pins' places and sizes as the
    /// file gave them. One transaction: all of it or nothing.
    ///
    /// # Errors
    /// When the survey's identity is taken, or the database fails.
    pub fn import_readings(
        &mut self,
        instrument: InstrumentId,
        new: &NewSurvey,
        pins: &[FieldPin],
        readings: &[HandReading],
    ) -> Result<SurveyId, StoreError> {
        let doing = "import readings";
        let transaction = self
            .connection
            .transaction_with_behavior(TransactionBehavior::Immediate)
            .doing(doing)?;
        instruments::replace_pins(&transaction, instrument, pins)?;
        let survey = insert(&transaction, instrument, new)?;
        hand::insert(&transaction, survey, readings)?;
        transaction.commit().doing(doing)?;
        Ok(survey)
    }

    /// Stores a new instrument and its first survey, taken by hand, in one transaction.
    ///
    /// # Errors
    /// When the name or the survey's identity is taken, or the database fails.
    pub fn import_new_instrument(
        &mut self,
        instrument: &instruments::NewInstrument,
        new: &NewSurvey,
        readings: &[HandReading],
    ) -> Result<SurveyId, StoreError> {
        let doing = "import an instrument";
        let transaction = self
            .connection
            .transaction_with_behavior(TransactionBehavior::Immediate)
            .doing(doing)?;
        let id = instruments::insert(&transaction, instrument)?;
        let survey = insert(&transaction, id, new)?;
        hand::insert(&transaction, survey, readings)?;
        transaction.commit().doing(doing)?;
        Ok(survey)
    }

    /// The survey of an instrument begun last that has a reading, else the one begun last; `None`
    /// when there is none. A plan that was only stored on a lever does not hide what was read.
    ///
    /// # Errors
    /// When the database fails.
    pub fn latest_survey(&self, instrument: InstrumentId) -> Result<Option<Survey>, StoreError> {
        let surveys = self.surveys_of(instrument)?;
        for survey in surveys.iter().rev() {
            if self.has_reading(survey.id)? {
                return Ok(Some(survey.clone()));
            }
        }
        Ok(surveys.into_iter().next_back())
    }

    fn has_reading(&self, survey: SurveyId) -> Result<bool, StoreError> {
        self.connection
            .query_row(
                "SELECT EXISTS (SELECT 1 FROM reading_place WHERE survey_id = ?1)
                     OR EXISTS (SELECT 1 FROM hand_reading WHERE survey_id = ?1)",
                [survey.0],
                |row| row.get(0),
            )
            .doing("look for readings")
    }

    /// All surveys of an instrument, oldest first: by when they began, then as stored.
    ///
    /// # Errors
    /// When the database fails.
    pub fn surveys_of(&self, instrument: InstrumentId) -> Result<Vec<Survey>, StoreError> {
        let doing = "list surveys";
        let sql =
            format!("SELECT {COLUMNS} FROM survey WHERE instrument_id = ?1 ORDER BY started, id");
        let mut statement = self.connection.prepare(&sql).doing(doing)?;
        let rows = statement.query_map([instrument.0], |row| Ok(survey_from(row))).doing(doing)?;
        let mut surveys = Vec::new();
        for row in rows {
            surveys.push(row.doing(doing)??);
        }
        Ok(surveys)
    }

    /// The survey of that identity; `None` when the store has none.
    ///
    /// # Errors
    /// When the database fails.
    pub fn find_survey(&self, uid: u64) -> Result<Option<Survey>, StoreError> {
        let sql = format!("SELECT {COLUMNS} FROM survey WHERE uid = ?1");
        self.connection
            .query_row(&sql, [as_signed(uid)], |row| Ok(survey_from(row)))
            .optional()
            .doing("look for a survey")?
            .transpose()
    }

    /// All readings of a survey.
    ///
    /// # Errors
    /// When the database fails or holds what was never stored.
    pub fn readings_of(&self, survey: SurveyId) -> Result<SurveyReadings, StoreError> {
        Ok(SurveyReadings {
            lever: lever::readings_of(&self.connection, survey)?,
            hand: hand::readings_of(&self.connection, survey)?,
        })
    }

    /// Readings of a survey that were taken under another pin or survey than they stand in now.
    ///
    /// # Errors
    /// When the database fails.
    pub fn corrected_count(&self, survey: SurveyId) -> Result<usize, StoreError> {
        corrections::corrected_count(&self.connection, survey)
    }

    /// What is known beside torque at a survey.
    ///
    /// # Errors
    /// When the database fails or the stored facts are no JSON.
    pub fn condition(&self, survey: SurveyId) -> Result<Condition, StoreError> {
        condition_from_text(&self.condition_text(survey)?)
    }

    /// Everything recorded beside torque at a survey.
    ///
    /// # Errors
    /// When the database fails or the stored facts are no JSON.
    pub fn condition_record(&self, survey: SurveyId) -> Result<ConditionRecord, StoreError> {
        record_from_text(&self.condition_text(survey)?)
    }

    fn condition_text(&self, survey: SurveyId) -> Result<String, StoreError> {
        self.connection
            .query_row("SELECT condition FROM survey WHERE id = ?1", [survey.0], |row| row.get(0))
            .doing("read a survey's condition")
    }

    /// Replaces what is recorded beside torque at a survey.
    ///
    /// # Errors
    /// When the database fails.
    pub fn set_condition_record(
        &mut self,
        survey: SurveyId,
        record: &ConditionRecord,
    ) -> Result<(), StoreError> {
        self.connection
            .execute(
                "UPDATE survey SET condition = ?2 WHERE id = ?1",
                params![survey.0, record_document(record).to_string()],
            )
            .doing("store a survey's condition")?;
        Ok(())
    }
}

/// Inserts a survey within the caller's transaction.
pub(super) fn insert(
    connection: &Connection,
    instrument: InstrumentId,
    new: &NewSurvey,
) -> Result<SurveyId, StoreError> {
    let doing = "begin a survey";
    let taken: bool = connection
        .query_row(
            "SELECT EXISTS (SELECT 1 FROM survey WHERE uid = ?1)",
            [as_signed(new.uid)],
            |row| row.get(0),
        )
        .doing(doing)?;
    if taken {
        return Err(StoreError::SurveyExists { uid: new.uid });
    }
    connection
        .execute(
            "INSERT INTO survey (instrument_id, uid, started, source,
                 temperature_centi_celsius, humidity_permille, notes, condition)
             VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8)",
            params![
                instrument.0,
                as_signed(new.uid),
                new.started,
                new.source.word(),
                new.temperature_centi_celsius,
                new.humidity_permille,
                new.notes,
                condition_document(&new.condition).to_string(),
            ],
        )
        .doing(doing)?;
    Ok(SurveyId(connection.last_insert_rowid()))
}

/// Key of the instrument a survey was taken of.
pub(super) fn instrument_of(
    connection: &Connection,
    survey: SurveyId,
) -> Result<InstrumentId, StoreError> {
    connection
        .query_row("SELECT instrument_id FROM survey WHERE id = ?1", [survey.0], |row| row.get(0))
        .doing("find a survey's instrument")
        .map(InstrumentId)
}

fn survey_from(row: &Row<'_>) -> Result<Survey, StoreError> {
    let doing = "read a survey";
    let text = |index: usize| row.get::<_, String>(index).doing(doing);
    let number = |index: usize| row.get::<_, i64>(index).doing(doing);
    let maybe = |index: usize| row.get::<_, Option<i64>>(index).doing(doing);
    Ok(Survey {
        id: SurveyId(number(0)?),
        instrument: InstrumentId(number(1)?),
        uid: as_unsigned(number(2)?),
        started: text(3)?,
        source: SurveySource::from_word(&text(4)?)?,
        temperature_centi_celsius: maybe(5)?
            .map(|centi| whole(centi, "a temperature"))
            .transpose()?,
        humidity_permille: maybe(6)?.map(|permille| whole(permille, "a humidity")).transpose()?,
        notes: text(7)?,
    })
}
