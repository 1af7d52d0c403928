//! String scales of instruments: what was measured of their strings.
//!
//! Deliberately not here: what follows for tension and moment ([`crate::instrument::scale`]).
//!
//! Invariant: a scale is never changed or deleted; the last one entered counts.

use rusqlite::{Connection, OptionalExtension, Row, TransactionBehavior, params};

use super::Store;
use super::codes::{letter, string_from, whole};
use super::error::{Doing, StoreError};
use super::instruments::{self, InstrumentId};
use crate::instrument::FieldPin;
use crate::instrument::scale::{StringRow, StringScale, Winding, WindingMetal};

/// A string scale with when and where it came from.
#[derive(Clone, Debug, PartialEq)]
pub struct StoredScale {
    /// When it was entered, ISO 8601.
    pub entered: String,
    /// Where it came from, such as a file's name. Free text, untrusted.
    pub origin: String,
    /// The scale.
    pub scale: StringScale,
}

impl Store {
    /// Stores an instrument's string scale, and its pins with the sizes that came with it, in one
    /// transaction. An empty scale says that nothing is known of the strings.
    ///
    /// # Errors
    /// When the database fails.
    pub fn keep_string_scale(
        &mut self,
        instrument: InstrumentId,
        new: &StoredScale,
        pins: &[FieldPin],
    ) -> Result<(), StoreError> {
        let doing = "store a string scale";
        let transaction = self
            .connection
            .transaction_with_behavior(TransactionBehavior::Immediate)
            .doing(doing)?;
        instruments::replace_pins(&transaction, instrument, pins)?;
        transaction
            .execute(
                "INSERT INTO string_scale (instrument_id, entered, origin, a4_mhz)
                 VALUES (?1, ?2, ?3, ?4)",
                params![instrument.0, new.entered, new.origin, thousandths(new.scale.a4_hz)],
            )
            .doing(doing)?;
        let scale = transaction.last_insert_rowid();
        for (position, row) in (0_i64..).zip(&new.scale.rows) {
            insert_row(&transaction, scale, position, row)?;
        }
        transaction.commit().doing(doing)
    }

    /// The string scale of an instrument that counts; `None` when none was ever entered.
    ///
    /// # Errors
    /// When the database fails or holds what was never stored.
    pub fn string_scale(
        &self,
        instrument: InstrumentId,
    ) -> Result<Option<StoredScale>, StoreError> {
        latest(&self.connection, instrument)
    }
}

/// The string scale that counts.
pub(super) fn latest(
    connection: &Connection,
    instrument: InstrumentId,
) -> Result<Option<StoredScale>, StoreError> {
    let doing = "read a string scale";
    let found = connection
        .query_row(
            "SELECT id, entered, origin, a4_mhz FROM string_scale
             WHERE instrument_id = ?1 ORDER BY id DESC LIMIT 1",
            [instrument.0],
            |row| {
                Ok((
                    row.get::<_, i64>(0)?,
                    row.get::<_, String>(1)?,
                    row.get::<_, String>(2)?,
                    row.get::<_, i64>(3)?,
                ))
            },
        )
        .optional()
        .doing(doing)?;
    let Some((id, entered, origin, a4_mhz)) = found else { return Ok(None) };
    let mut statement = connection
        .prepare(
            "SELECT note, string, speaking_length_nm, speaking_length_u_nm, wire_nm, wire_u_nm,
                 total_length_nm, wound_mass_ug_m, wound_mass_u_ppm, outer_nm, metal, packing_ppm,
                 packing_u_ppm
             FROM string_row WHERE scale_id = ?1 ORDER BY position",
        )
        .doing(doing)?;
    let found = statement.query_map([id], |row| Ok(row_from(row))).doing(doing)?;
    let mut rows = Vec::new();
    for row in found {
        rows.push(row.doing(doing)??);
    }
    let scale = StringScale { a4_hz: a4_mhz as f64 / 1e3, rows };
    Ok(Some(StoredScale { entered, origin, scale }))
}

fn insert_row(
    connection: &Connection,
    scale: i64,
    position: i64,
    row: &StringRow,
) -> Result<(), StoreError> {
    let (mut mass, mut mass_u) = (None, None);
    let (mut outer, mut metal, mut packing, mut packing_u) = (None, None, None, None);
    match row.winding {
        None => {}
        Some(Winding::Mass { mass_kg_per_m, u_relative }) => {
            mass = Some(billionths(mass_kg_per_m));
            mass_u = u_relative.map(millionths);
        }
        Some(Winding::Cover { outer_m, metal: of, packing: share, u_packing }) => {
            outer = Some(billionths(outer_m));
            metal = Some(of.word());
            packing = share.map(millionths);
            packing_u = u_packing.map(millionths);
        }
    }
    connection
        .execute(
            "INSERT INTO string_row (scale_id, position, note, string, speaking_length_nm,
                 speaking_length_u_nm, wire_nm, wire_u_nm, total_length_nm, wound_mass_ug_m,
                 wound_mass_u_ppm, outer_nm, metal, packing_ppm, packing_u_ppm)
             VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, ?13, ?14, ?15)",
            params![
                scale,
                position,
                row.note,
                row.string.map(letter),
                billionths(row.speaking_length_m),
                row.u_speaking_length_m.map(billionths),
                billionths(row.wire_m),
                row.u_wire_m.map(billionths),
                row.total_length_m.map(billionths),
                mass,
                mass_u,
                outer,
                metal,
                packing,
                packing_u,
            ],
        )
        .doing("store a string")
        .map(|_| ())
}

fn row_from(row: &Row<'_>) -> Result<StringRow, StoreError> {
    let doing = "read a string";
    let number = |index: usize| row.get::<_, i64>(index).doing(doing);
    let maybe = |index: usize| row.get::<_, Option<i64>>(index).doing(doing);
    let text = |index: usize| row.get::<_, Option<String>>(index).doing(doing);
    let packing = (maybe(11)?.map(of_millionths), maybe(12)?.map(of_millionths));
    let winding = match (maybe(7)?, maybe(9)?, text(10)?) {
        (Some(mass), ..) => Some(Winding::Mass {
            mass_kg_per_m: of_billionths(mass),
            u_relative: maybe(8)?.map(of_millionths),
        }),
        (None, Some(outer), Some(word)) => Some(Winding::Cover {
            outer_m: of_billionths(outer),
            metal: WindingMetal::from_word(&word)
                .ok_or(StoreError::Corrupt { what: "a winding's metal", value: word })?,
            packing: packing.0,
            u_packing: packing.1,
        }),
        _ => None,
    };
    Ok(StringRow {
        note: whole(number(0)?, "a string's note")?,
        string: text(1)?.map(|letter| string_from(&letter)).transpose()?,
        speaking_length_m: of_billionths(number(2)?),
        u_speaking_length_m: maybe(3)?.map(of_billionths),
        wire_m: of_billionths(number(4)?),
        u_wire_m: maybe(5)?.map(of_billionths),
        winding,
        total_length_m: maybe(6)?.map(of_billionths),
    })
}

// Values were checked to be a piano string's before; a cast saturates at worst.

fn thousandths(value: f64) -> i64 {
    (value * 1e3).round() as i64
}

fn millionths(value: f64) -> i64 {
    (value * 1e6).round() as i64
}

fn billionths(value: f64) -> i64 {
    (value * 1e9).round() as i64
}

fn of_millionths(value: i64) -> f64 {
    value as f64 / 1e6
}

fn of_billionths(value: i64) -> f64 {
    value as f64 / 1e9
}
