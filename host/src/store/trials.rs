//! Trial pins of instruments: what was fitted where, and read before and after.
//!
//! Deliberately not here: what follows for the gain ([`crate::analysis::gain`]).
//!
//! Invariant: a trial pin is never changed or deleted; one that was a mistake is withdrawn, and
//! then counts no more.

use pinhold_protocol::record::Pin;
use rusqlite::{Row, params};

use super::Store;
use super::codes::{letter, string_from, whole};
use super::error::{Doing, StoreError};
use super::instruments::InstrumentId;
use super::surveys::SurveyId;
use super::withdrawn::Withdrawable;
use crate::analysis::gain::Trial;
use crate::analysis::input::Estimate;

/// Largest friction that is stored, N·m: far beyond any pin.
const FRICTION_NM_MAX: f64 = 1_000.0;

const ENTRIES: Withdrawable = Withdrawable {
    doing: "withdraw a trial pin",
    table: "trial_pin",
    withdrawn: "trial_pin_withdrawn",
    entry: "trial_pin_id",
};

/// Key of a trial pin in one store.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct TrialId(i64);

impl TrialId {
    /// From its number, as shown.
    pub const fn of_number(number: i64) -> TrialId {
        TrialId(number)
    }

    /// Its number, as shown.
    pub const fn number(self) -> i64 {
        self.0
    }
}

/// Where a trial pin's friction comes from.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum TrialSource {
    /// Typed; the text as typed, untrusted.
    Typed(String),
    /// The pin's reading of a survey.
    Survey(SurveyId),
}

impl TrialSource {
    fn columns(&self) -> (Option<&str>, Option<i64>) {
        match self {
            TrialSource::Typed(text) => (Some(text), None),
            TrialSource::Survey(survey) => (None, Some(survey.0)),
        }
    }

    fn of_columns(typed: Option<String>, survey: Option<i64>) -> Result<TrialSource, StoreError> {
        match (typed, survey) {
            (Some(text), None) => Ok(TrialSource::Typed(text)),
            (None, Some(id)) => Ok(TrialSource::Survey(SurveyId(id))),
            (typed, _) => Err(StoreError::Corrupt {
                what: "where a trial pin's friction comes from",
                value: typed.unwrap_or_default(),
            }),
        }
    }
}

/// A trial pin to be stored.
#[derive(Clone, Debug, PartialEq)]
pub struct NewTrial {
    /// What was fitted and read.
    pub trial: Trial,
    /// When it was entered, ISO 8601.
    pub entered: String,
    /// Day, or day and time, it was fitted, ISO 8601.
    pub fitted: String,
    /// The maker's label of the larger size. Free text, untrusted.
    pub label: String,
    /// Where the friction before comes from.
    pub before: TrialSource,
    /// Where the friction after comes from.
    pub after: TrialSource,
    /// Free text, untrusted.
    pub remark: String,
}

/// A trial pin as stored.
#[derive(Clone, Debug, PartialEq)]
pub struct StoredTrial {
    /// Its key.
    pub id: TrialId,
    /// What was stored.
    pub new: NewTrial,
    /// When and why it was withdrawn; `None` while it counts.
    pub withdrawn: Option<(String, String)>,
}

impl Store {
    /// Stores a trial pin of an instrument.
    ///
    /// # Errors
    /// [`StoreError::NotStorable`] for a friction that is no number or beyond any pin, and when
    /// the database fails.
    pub fn keep_trial(
        &mut self,
        instrument: InstrumentId,
        new: &NewTrial,
    ) -> Result<TrialId, StoreError> {
        let trial = &new.trial;
        let (before_typed, before_survey) = new.before.columns();
        let (after_typed, after_survey) = new.after.columns();
        self.connection
            .execute(
                "INSERT INTO trial_pin (instrument_id, note, string, entered, fitted, from_um,
                     to_um, label, reamed, before_unm, before_u_unm, before_typed,
                     before_survey_id, after_unm, after_u_unm, after_typed, after_survey_id,
                     remark)
                 VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, ?13, ?14, ?15, ?16,
                     ?17, ?18)",
                params![
                    instrument.0,
                    trial.pin.note,
                    letter(trial.pin.string),
                    new.entered,
                    new.fitted,
                    trial.from_um,
                    trial.to_um,
                    new.label,
                    trial.reamed,
                    micro(trial.before_nm.value)?,
                    micro(trial.before_nm.u)?,
                    before_typed,
                    before_survey,
                    micro(trial.after_nm.value)?,
                    micro(trial.after_nm.u)?,
                    after_typed,
                    after_survey,
                    new.remark,
                ],
            )
            .doing("store a trial pin")?;
        Ok(TrialId(self.connection.last_insert_rowid()))
    }

    /// Withdraws a trial pin of an instrument: it stays in the store and counts no more.
    ///
    /// # Errors
    /// [`StoreError::NoSuchTrial`] when the instrument has no such trial pin that counts, and when
    /// the database fails.
    pub fn withdraw_trial(
        &mut self,
        instrument: InstrumentId,
        id: TrialId,
        made: &str,
        reason: &str,
    ) -> Result<(), StoreError> {
        if ENTRIES.withdraw(&mut self.connection, (instrument, id.0), (made, reason))? {
            return Ok(());
        }
        Err(StoreError::NoSuchTrial { number: id.0 })
    }

    /// Every trial pin of an instrument in the order entered, withdrawn ones too.
    ///
    /// # Errors
    /// When the database fails or holds what was never stored.
    pub fn trials_of(&self, instrument: InstrumentId) -> Result<Vec<StoredTrial>, StoreError> {
        let doing = "list trial pins";
        let mut statement = self
            .connection
            .prepare(
                "SELECT id, note, string, entered, fitted, from_um, to_um, label, reamed,
                     before_unm, before_u_unm, before_typed, before_survey_id, after_unm,
                     after_u_unm, after_typed, after_survey_id, remark, made, reason
                 FROM trial_pin LEFT JOIN trial_pin_withdrawn ON trial_pin_id = id
                 WHERE instrument_id = ?1 ORDER BY id",
            )
            .doing(doing)?;
        let found = statement.query_map([instrument.0], |row| Ok(trial_from(row))).doing(doing)?;
        let mut trials = Vec::new();
        for row in found {
            trials.push(row.doing(doing)??);
        }
        Ok(trials)
    }

    /// The trial pins of an instrument that count.
    ///
    /// # Errors
    /// As [`Store::trials_of`].
    pub fn counting_trials(&self, instrument: InstrumentId) -> Result<Vec<Trial>, StoreError> {
        let all = self.trials_of(instrument)?.into_iter();
        Ok(all.filter(|stored| stored.withdrawn.is_none()).map(|stored| stored.new.trial).collect())
    }
}

fn trial_from(row: &Row<'_>) -> Result<StoredTrial, StoreError> {
    let doing = "read a trial pin";
    let number = |index: usize| row.get::<_, i64>(index).doing(doing);
    let text = |index: usize| row.get::<_, String>(index).doing(doing);
    let maybe = |index: usize| row.get::<_, Option<String>>(index).doing(doing);
    let survey = |index: usize| row.get::<_, Option<i64>>(index).doing(doing);
    let friction = |index: usize| {
        Ok(Estimate { value: number(index)? as f64 / 1e6, u: number(index + 1)? as f64 / 1e6 })
    };
    let withdrawn = maybe(18)?.zip(maybe(19)?);
    let trial = Trial {
        pin: Pin { note: whole(number(1)?, "a pin's note")?, string: string_from(&text(2)?)? },
        from_um: whole(number(5)?, "a trial pin's diameter")?,
        to_um: whole(number(6)?, "a trial pin's diameter")?,
        reamed: number(8)? != 0,
        before_nm: friction(9)?,
        after_nm: friction(13)?,
    };
    let new = NewTrial {
        trial,
        entered: text(3)?,
        fitted: text(4)?,
        label: text(7)?,
        before: TrialSource::of_columns(maybe(11)?, survey(12)?)?,
        after: TrialSource::of_columns(maybe(15)?, survey(16)?)?,
        remark: text(17)?,
    };
    Ok(StoredTrial { id: TrialId(number(0)?), new, withdrawn })
}

/// Whole micronewton-metres.
fn micro(torque_nm: f64) -> Result<i64, StoreError> {
    if torque_nm.abs() <= FRICTION_NM_MAX {
        Ok((torque_nm * 1e6).round() as i64)
    } else {
        Err(StoreError::NotStorable { what: "a trial pin", why: "a friction of its readings" })
    }
}
