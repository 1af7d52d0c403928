//! Verdicts as they were given: never recomputed, never overwritten.

use rusqlite::{OptionalExtension, params};
use serde_json::Value;

use super::Store;
use super::error::{Doing, StoreError};
use super::surveys::SurveyId;

/// A verdict as it was given.
#[derive(Clone, Debug, PartialEq)]
pub struct StoredVerdict {
    /// When it was given, ISO 8601.
    pub created: String,
    /// The version of pinhold that gave it.
    pub version: String,
    /// Settings that went into it beside the survey.
    pub inputs: Value,
    /// The verdict's document.
    pub document: Value,
}

impl Store {
    /// Stores a verdict beside its survey, in addition to earlier ones.
    ///
    /// # Errors
    /// When the database fails.
    pub fn store_verdict(
        &mut self,
        survey: SurveyId,
        verdict: &StoredVerdict,
    ) -> Result<(), StoreError> {
        self.connection
            .execute(
                "INSERT INTO verdict (survey_id, created, version, inputs, document)
                 VALUES (?1, ?2, ?3, ?4, ?5)",
                params![
                    survey.0,
                    verdict.created,
                    verdict.version,
                    verdict.inputs.to_string(),
                    verdict.document.to_string(),
                ],
            )
            .doing("store a verdict")?;
        Ok(())
    }

    /// The verdict given last on a survey; `None` when there is none.
    ///
    /// # Errors
    /// When the database fails or holds what is no JSON.
    pub fn latest_verdict(&self, survey: SurveyId) -> Result<Option<StoredVerdict>, StoreError> {
        let columns: Option<(String, String, String, String)> = self
            .connection
            .query_row(
                "SELECT created, version, inputs, document FROM verdict
                 WHERE survey_id = ?1 ORDER BY id DESC LIMIT 1",
                [survey.0],
                |row| Ok((row.get(0)?, row.get(1)?, row.get(2)?, row.get(3)?)),
            )
            .optional()
            .doing("read a verdict")?;
        let json = |text: &str| {
            serde_json::from_str(text).map_err(|_| StoreError::Corrupt {
                what: "a verdict",
                value: text.chars().take(80).collect(),
            })
        };
        columns
            .map(|(created, version, inputs, document)| {
                let (inputs, document) = (json(&inputs)?, json(&document)?);
                Ok(StoredVerdict { created, version, inputs, document })
            })
            .transpose()
    }
}
