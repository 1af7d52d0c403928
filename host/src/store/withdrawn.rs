//! Withdrawing an entry that was a mistake: it stays in the store and counts no more.
//!
//! One way for every kind of entry that is never changed or deleted. Deliberately not here: which
//! kinds there are, and what is told where there is no such entry.

use rusqlite::{Connection, OptionalExtension, TransactionBehavior, params};

use super::error::{Doing, StoreError};
use super::instruments::InstrumentId;

/// A kind of entry, and where it is said of one that it counts no more.
pub(super) struct Withdrawable {
    /// What withdrawing one is called.
    pub(super) doing: &'static str,
    /// Table of the entries.
    pub(super) table: &'static str,
    /// Table of withdrawals, and its column that names the entry.
    pub(super) withdrawn: &'static str,
    pub(super) entry: &'static str,
}

impl Withdrawable {
    /// The condition, in SQL, under which an entry counts.
    pub(super) fn counting(&self) -> String {
        format!("id NOT IN (SELECT {} FROM {})", self.entry, self.withdrawn)
    }

    /// Withdraws an entry of an instrument; false when it has none of that number that counts.
    pub(super) fn withdraw(
        &self,
        connection: &mut Connection,
        (instrument, number): (InstrumentId, i64),
        (made, reason): (&str, &str),
    ) -> Result<bool, StoreError> {
        let Withdrawable { doing, table, withdrawn, entry } = *self;
        let transaction =
            connection.transaction_with_behavior(TransactionBehavior::Immediate).doing(doing)?;
        let counting = self.counting();
        let sql =
            format!("SELECT 1 FROM {table} WHERE id = ?1 AND instrument_id = ?2 AND {counting}");
        let counts = transaction
            .query_row(&sql, params![number, instrument.0], |_| Ok(()))
            .optional()
            .doing(doing)?
            .is_some();
        if counts {
            let sql =
                format!("INSERT INTO {withdrawn} ({entry}, made, reason) VALUES (?1, ?2, ?3)");
            transaction.execute(&sql, params![number, made, reason]).doing(doing)?;
        }
        transaction.commit().doing(doing)?;
        Ok(counts)
    }
}
