//! Plans: the pins a survey set out to read, in order.
//!
//! Deliberately not here: which of them are read; the readings say that.

use pinhold_protocol::record::Pin;
use pinhold_protocol::units::Angle;
use rusqlite::{Connection, OptionalExtension, TransactionBehavior, params};

use super::Store;
use super::codes::{letter, string_from, whole};
use super::error::{Doing, StoreError};
use super::instruments::InstrumentId;
use super::surveys::{self, NewSurvey, SurveyId};

/// The pins of a survey, in order, and the slip asked of each stroke.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct StoredPlan {
    /// Slip asked of each stroke.
    pub slip: Angle,
    /// The pins.
    pub pins: Vec<Pin>,
}

impl Store {
    /// Begins a survey of an instrument together with its plan, in one transaction.
    ///
    /// # Errors
    /// When the identity is taken, or the database fails.
    pub fn begin_planned_survey(
        &mut self,
        instrument: InstrumentId,
        new: &NewSurvey,
        plan: &StoredPlan,
    ) -> Result<SurveyId, StoreError> {
        let doing = "begin a survey";
        let transaction = self
            .connection
            .transaction_with_behavior(TransactionBehavior::Immediate)
            .doing(doing)?;
        let survey = surveys::insert(&transaction, instrument, new)?;
        transaction
            .execute(
                "INSERT INTO plan (survey_id, slip_urad) VALUES (?1, ?2)",
                params![survey.0, plan.slip.microradians()],
            )
            .doing(doing)?;
        for (position, pin) in (0_i64..).zip(&plan.pins) {
            insert_pin(&transaction, survey, position, *pin, doing)?;
        }
        transaction.commit().doing(doing)?;
        Ok(survey)
    }

    /// Appends pins to the plan of a survey, in one transaction.
    ///
    /// # Errors
    /// When the survey was begun without a plan, or the database fails.
    pub fn append_to_plan(&mut self, survey: SurveyId, pins: &[Pin]) -> Result<(), StoreError> {
        let doing = "add pins to a survey's plan";
        let transaction = self
            .connection
            .transaction_with_behavior(TransactionBehavior::Immediate)
            .doing(doing)?;
        let next: i64 = transaction
            .query_row(
                "SELECT coalesce(max(position) + 1, 0) FROM plan_pin WHERE survey_id = ?1",
                [survey.0],
                |row| row.get(0),
            )
            .doing(doing)?;
        for (position, pin) in (next..).zip(pins) {
            insert_pin(&transaction, survey, position, *pin, doing)?;
        }
        transaction.commit().doing(doing)
    }

    /// The plan of a survey; `None` when it was begun without one.
    ///
    /// # Errors
    /// When the database fails or holds what was never stored.
    pub fn plan_of(&self, survey: SurveyId) -> Result<Option<StoredPlan>, StoreError> {
        let doing = "read a survey's plan";
        let slip: Option<i64> = self
            .connection
            .query_row("SELECT slip_urad FROM plan WHERE survey_id = ?1", [survey.0], |row| {
                row.get(0)
            })
            .optional()
            .doing(doing)?;
        let Some(slip) = slip else { return Ok(None) };
        let mut statement = self
            .connection
            .prepare("SELECT note, string FROM plan_pin WHERE survey_id = ?1 ORDER BY position")
            .doing(doing)?;
        let rows = statement
            .query_map([survey.0], |row| Ok((row.get::<_, i64>(0)?, row.get::<_, String>(1)?)))
            .doing(doing)?;
        let mut pins = Vec::new();
        for row in rows {
            let (note, string) = row.doing(doing)?;
            pins.push(Pin { note: whole(note, "a pin's note")?, string: string_from(&string)? });
        }
        let slip = Angle::from_microradians(whole(slip, "a plan's slip")?);
        Ok(Some(StoredPlan { slip, pins }))
    }
}

fn insert_pin(
    connection: &Connection,
    survey: SurveyId,
    position: i64,
    pin: Pin,
    doing: &'static str,
) -> Result<(), StoreError> {
    connection
        .execute(
            "INSERT INTO plan_pin (survey_id, position, note, string) VALUES (?1, ?2, ?3, ?4)",
            params![survey.0, position, pin.note, letter(pin.string)],
        )
        .doing(doing)?;
    Ok(())
}
