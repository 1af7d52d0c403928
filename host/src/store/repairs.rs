//! Repairs of instruments: what was done when, to which pins.
//!
//! Invariant: a repair is never changed or deleted; one that was a mistake is withdrawn, and then
//! counts no more.

use pinhold_protocol::record::Pin;
use rusqlite::{TransactionBehavior, params};

use super::Store;
use super::codes::{letter, string_from, whole};
use super::error::{Doing, StoreError};
use super::instruments::InstrumentId;
use super::withdrawn::Withdrawable;

/// What was done.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum RepairKind {
    /// Larger pins.
    LargerPins,
    /// Pins driven deeper.
    PinsDriven,
    /// Bushings or sleeves in the holes.
    Bushings,
    /// The holes treated with something liquid.
    Treatment,
    /// New strings on the old pins' holes.
    Restrung,
    /// The plank repaired.
    PlankRepair,
    /// A new plank.
    NewPlank,
    /// Something else, in the remark.
    Other,
}

impl RepairKind {
    /// All kinds.
    pub const ALL: [RepairKind; 8] = [
        RepairKind::LargerPins,
        RepairKind::PinsDriven,
        RepairKind::Bushings,
        RepairKind::Treatment,
        RepairKind::Restrung,
        RepairKind::PlankRepair,
        RepairKind::NewPlank,
        RepairKind::Other,
    ];

    /// The word stored, typed and shown.
    pub const fn word(self) -> &'static str {
        match self {
            RepairKind::LargerPins => "larger-pins",
            RepairKind::PinsDriven => "pins-driven",
            RepairKind::Bushings => "bushings",
            RepairKind::Treatment => "treatment",
            RepairKind::Restrung => "restrung",
            RepairKind::PlankRepair => "plank-repair",
            RepairKind::NewPlank => "new-plank",
            RepairKind::Other => "other",
        }
    }

    /// Back from [`RepairKind::word`].
    pub fn from_word(word: &str) -> Option<RepairKind> {
        RepairKind::ALL.into_iter().find(|kind| kind.word() == word)
    }
}

/// A repair to be stored.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct NewRepair {
    /// What was done.
    pub what: RepairKind,
    /// When it was done, ISO 8601.
    pub done: String,
    /// The same, milliseconds since 1970-01-01 UTC.
    pub done_ms: i64,
    /// Its pins; none stands for all.
    pub pins: Vec<Pin>,
    /// Free text, untrusted.
    pub remark: String,
}

impl NewRepair {
    /// Whether a pin was among those repaired.
    pub fn is_of(&self, pin: Pin) -> bool {
        self.pins.is_empty() || self.pins.contains(&pin)
    }
}

/// A repair as stored.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct StoredRepair {
    /// Its number.
    pub number: i64,
    /// What was stored.
    pub new: NewRepair,
}

const ENTRIES: Withdrawable = Withdrawable {
    doing: "withdraw a repair",
    table: "repair",
    withdrawn: "repair_withdrawn",
    entry: "repair_id",
};

impl Store {
    /// Stores a repair of an instrument; tells its number.
    ///
    /// # Errors
    /// When a pin is named twice, or the database fails.
    pub fn keep_repair(
        &mut self,
        instrument: InstrumentId,
        entered: &str,
        new: &NewRepair,
    ) -> Result<i64, StoreError> {
        let doing = "store a repair";
        let transaction = self
            .connection
            .transaction_with_behavior(TransactionBehavior::Immediate)
            .doing(doing)?;
        transaction
            .execute(
                "INSERT INTO repair (instrument_id, entered, done, done_ms, what, remark)
                 VALUES (?1, ?2, ?3, ?4, ?5, ?6)",
                params![instrument.0, entered, new.done, new.done_ms, new.what.word(), new.remark,],
            )
            .doing(doing)?;
        let number = transaction.last_insert_rowid();
        for pin in &new.pins {
            transaction
                .execute(
                    "INSERT INTO repair_pin (repair_id, note, string) VALUES (?1, ?2, ?3)",
                    params![number, pin.note, letter(pin.string)],
                )
                .doing(doing)?;
        }
        transaction.commit().doing(doing)?;
        Ok(number)
    }

    /// The repairs of an instrument that count, oldest first.
    ///
    /// # Errors
    /// When the database fails or holds what was never stored.
    pub fn repairs_of(&self, instrument: InstrumentId) -> Result<Vec<StoredRepair>, StoreError> {
        let doing = "list repairs";
        let sql = format!(
            "SELECT id, what, done, done_ms, remark FROM repair
             WHERE instrument_id = ?1 AND {} ORDER BY done_ms, id",
            ENTRIES.counting()
        );
        let mut statement = self.connection.prepare(&sql).doing(doing)?;
        let rows = statement
            .query_map([instrument.0], |row| {
                let text = |index: usize| row.get::<_, String>(index);
                Ok((row.get::<_, i64>(0)?, text(1)?, text(2)?, row.get::<_, i64>(3)?, text(4)?))
            })
            .doing(doing)?;
        let mut repairs = Vec::new();
        for row in rows {
            let (number, word, done, done_ms, remark) = row.doing(doing)?;
            let what = RepairKind::from_word(&word)
                .ok_or(StoreError::Corrupt { what: "a repair", value: word })?;
            let pins = self.repair_pins(number)?;
            let new = NewRepair { what, done, done_ms, pins, remark };
            repairs.push(StoredRepair { number, new });
        }
        Ok(repairs)
    }

    fn repair_pins(&self, number: i64) -> Result<Vec<Pin>, StoreError> {
        let doing = "list a repair's pins";
        let mut statement = self
            .connection
            .prepare_cached(
                "SELECT note, string FROM repair_pin WHERE repair_id = ?1 ORDER BY note, string",
            )
            .doing(doing)?;
        let rows = statement
            .query_map([number], |row| Ok((row.get::<_, i64>(0)?, row.get::<_, String>(1)?)))
            .doing(doing)?;
        let mut pins = Vec::new();
        for row in rows {
            let (note, string) = row.doing(doing)?;
            pins.push(Pin { note: whole(note, "a pin's note")?, string: string_from(&string)? });
        }
        pins.sort_unstable();
        Ok(pins)
    }

    /// Withdraws a repair that was a mistake.
    ///
    /// # Errors
    /// [`StoreError::NoSuchEntry`] when the instrument has none of that number that counts.
    pub fn withdraw_repair(
        &mut self,
        instrument: InstrumentId,
        number: i64,
        made: &str,
        reason: &str,
    ) -> Result<(), StoreError> {
        if ENTRIES.withdraw(&mut self.connection, (instrument, number), (made, reason))? {
            return Ok(());
        }
        Err(StoreError::NoSuchEntry { what: "repair", number })
    }
}
