//! Instruments and their pins.

use pinhold_protocol::record::Pin;
use rusqlite::{Connection, OptionalExtension, Row, TransactionBehavior, params};

use super::codes::{letter, string_from, whole};
use super::error::{Doing, StoreError};
use super::surveys::SurveyId;
use super::{Store, strings, surveys};
use crate::instrument::scale::StringScale;
use crate::instrument::{FieldPin, Instrument, InstrumentKind, PlateFace};
use crate::text::nearest;

/// Names offered when one was not found.
const NEAREST_COUNT_MAX: usize = 3;

/// Key of an instrument in one store.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct InstrumentId(pub(super) i64);

/// What the technician wrote about an instrument. Free text, untrusted, empty when not given.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct InstrumentFacts {
    /// Serial number.
    pub serial: String,
    /// Maker, as written on it.
    pub maker_text: String,
    /// The technician's reference for its owner.
    pub owner_reference: String,
    /// Where it stands.
    pub place: String,
}

/// An instrument to be stored.
#[derive(Clone, Debug, PartialEq)]
pub struct NewInstrument {
    /// Name, kind, compass and pins.
    pub instrument: Instrument,
    /// What was written about it.
    pub facts: InstrumentFacts,
    /// When it was entered, ISO 8601.
    pub created: String,
}

/// An instrument as stored.
#[derive(Clone, Debug, PartialEq)]
pub struct InstrumentRecord {
    /// Its key.
    pub id: InstrumentId,
    /// Name, kind, compass and pins.
    pub instrument: Instrument,
    /// What was written about it.
    pub facts: InstrumentFacts,
    /// When it was entered, ISO 8601.
    pub created: String,
    /// Surveys taken of it.
    pub survey_count: u32,
}

impl Store {
    /// Stores a new instrument with its pins.
    ///
    /// # Errors
    /// When the name is taken, or the database fails.
    pub fn create_instrument(&mut self, new: &NewInstrument) -> Result<InstrumentId, StoreError> {
        self.create_laid_out(new, "")
    }

    /// Stores a new instrument with its pins and the layout description they come from.
    ///
    /// # Errors
    /// When the name is taken, or the database fails.
    pub fn create_laid_out(
        &mut self,
        new: &NewInstrument,
        layout: &str,
    ) -> Result<InstrumentId, StoreError> {
        let doing = "store an instrument";
        let transaction = self
            .connection
            .transaction_with_behavior(TransactionBehavior::Immediate)
            .doing(doing)?;
        let id = insert(&transaction, new)?;
        set_layout(&transaction, id, layout)?;
        transaction.commit().doing(doing)?;
        Ok(id)
    }

    /// The layout description an instrument's pins come from; empty when they come from elsewhere.
    /// Pins corrected one by one are not in it.
    ///
    /// # Errors
    /// When the database fails.
    pub fn layout_of(&self, id: InstrumentId) -> Result<String, StoreError> {
        self.connection
            .query_row("SELECT layout FROM instrument WHERE id = ?1", [id.0], |row| row.get(0))
            .doing("read a layout")
    }

    /// Lays an instrument out anew: `record`'s pins and the description they come from.
    ///
    /// # Errors
    /// When the database fails.
    pub fn lay_out_anew(
        &mut self,
        record: &InstrumentRecord,
        layout: &str,
    ) -> Result<(), StoreError> {
        let doing = "lay an instrument out";
        let transaction = self
            .connection
            .transaction_with_behavior(TransactionBehavior::Immediate)
            .doing(doing)?;
        edit(&transaction, record)?;
        set_layout(&transaction, record.id, layout)?;
        transaction.commit().doing(doing)
    }

    /// Replaces an instrument's name, kind, face, facts and pins by those of `record`.
    ///
    /// # Errors
    /// When the new name is another instrument's, or the database fails.
    pub fn edit_instrument(&mut self, record: &InstrumentRecord) -> Result<(), StoreError> {
        let doing = "edit an instrument";
        let transaction = self
            .connection
            .transaction_with_behavior(TransactionBehavior::Immediate)
            .doing(doing)?;
        edit(&transaction, record)?;
        transaction.commit().doing(doing)
    }

    /// Erases what is known of an instrument's owner: reference and place, and with `notes` the
    /// notes to its surveys. What stood there is overwritten in the file and in its log.
    ///
    /// # Errors
    /// [`StoreError::InUse`] when another process has the store open: the old text may then still
    /// be in the file, do it again; or when the database fails.
    pub fn erase_owner(&mut self, id: InstrumentId, notes: bool) -> Result<(), StoreError> {
        let doing = "erase an owner";
        self.connection.execute_batch("PRAGMA secure_delete = ON").doing(doing)?;
        let transaction = self
            .connection
            .transaction_with_behavior(TransactionBehavior::Immediate)
            .doing(doing)?;
        let sql = "UPDATE instrument SET owner_reference = '', place = '' WHERE id = ?1";
        transaction.execute(sql, [id.0]).doing(doing)?;
        if notes {
            let sql = "UPDATE survey SET notes = '' WHERE instrument_id = ?1";
            transaction.execute(sql, [id.0]).doing(doing)?;
        }
        transaction.commit().doing(doing)?;
        // Old pages, and then the log they went through: emptied, it holds nothing old either.
        self.connection.flush_prepared_statement_cache();
        let in_use = || StoreError::InUse { path: self.path.clone() };
        match self.connection.execute_batch("VACUUM") {
            Err(error) if error.sqlite_error_code() == Some(rusqlite::ErrorCode::DatabaseBusy) => {
                return Err(in_use());
            }
            other => other.doing(doing)?,
        }
        let sql = "PRAGMA wal_checkpoint(TRUNCATE)";
        let busy: i64 = self.connection.query_row(sql, [], |row| row.get(0)).doing(doing)?;
        if busy == 0 { Ok(()) } else { Err(in_use()) }
    }

    /// The instrument of that name.
    ///
    /// # Errors
    /// [`StoreError::NoSuchInstrument`] with the names nearest to it, or a database failure.
    pub fn find_instrument(&self, name: &str) -> Result<InstrumentRecord, StoreError> {
        match id_of(&self.connection, name)? {
            Some(id) => self.instrument(id),
            None => Err(StoreError::NoSuchInstrument {
                name: name.to_string(),
                nearest: nearest(name, &self.instrument_names()?, NEAREST_COUNT_MAX),
            }),
        }
    }

    /// All instruments, by name.
    ///
    /// # Errors
    /// When the database fails.
    pub fn list_instruments(&self) -> Result<Vec<InstrumentRecord>, StoreError> {
        let names = self.instrument_names()?;
        names.iter().map(|name| self.find_instrument(name)).collect()
    }

    /// The instrument of a key.
    ///
    /// # Errors
    /// When the database fails.
    pub fn instrument(&self, id: InstrumentId) -> Result<InstrumentRecord, StoreError> {
        let doing = "read an instrument";
        let mut record = self
            .connection
            .query_row(
                "SELECT id, name, kind, first_note, last_note, serial, maker_text,
                     owner_reference, place, created,
                     (SELECT count(*) FROM survey WHERE instrument_id = instrument.id), face
                 FROM instrument WHERE id = ?1",
                [id.0],
                |row| Ok(record_from(row)),
            )
            .doing(doing)??;
        record.instrument.pins = pins_of(&self.connection, id)?;
        let scale = strings::latest(&self.connection, id)?;
        record.instrument.strings = scale.map(|stored| stored.scale).unwrap_or_default();
        Ok(record)
    }

    fn instrument_names(&self) -> Result<Vec<String>, StoreError> {
        let doing = "list its instruments";
        let mut statement =
            self.connection.prepare("SELECT name FROM instrument ORDER BY name").doing(doing)?;
        let names = statement.query_map([], |row| row.get(0)).doing(doing)?;
        names.collect::<Result<_, _>>().doing(doing)
    }

    /// The instrument a survey was taken of.
    ///
    /// # Errors
    /// When the database fails.
    pub fn instrument_of(&self, survey: SurveyId) -> Result<InstrumentRecord, StoreError> {
        let id = surveys::instrument_of(&self.connection, survey)?;
        self.instrument(id)
    }
}

/// Replaces what is known of an instrument within the caller's transaction.
fn edit(connection: &Connection, record: &InstrumentRecord) -> Result<(), StoreError> {
    let (instrument, facts) = (&record.instrument, &record.facts);
    if id_of(connection, &instrument.name)?.is_some_and(|id| id != record.id) {
        return Err(StoreError::InstrumentExists { name: instrument.name.clone() });
    }
    connection
        .execute(
            "UPDATE instrument SET name = ?2, kind = ?3, first_note = ?4, last_note = ?5,
                 serial = ?6, maker_text = ?7, owner_reference = ?8, place = ?9, face = ?10
             WHERE id = ?1",
            params![
                record.id.0,
                instrument.name,
                instrument.kind.word(),
                instrument.first_note,
                instrument.last_note,
                facts.serial,
                facts.maker_text,
                facts.owner_reference,
                facts.place,
                instrument.face.word(),
            ],
        )
        .doing("edit an instrument")?;
    replace_pins(connection, record.id, &instrument.pins)
}

/// Keeps the description an instrument's pins come from.
fn set_layout(connection: &Connection, id: InstrumentId, layout: &str) -> Result<(), StoreError> {
    connection
        .execute("UPDATE instrument SET layout = ?2 WHERE id = ?1", params![id.0, layout])
        .doing("store a layout")
        .map(|_| ())
}

/// Inserts an instrument and its pins within the caller's transaction.
pub(super) fn insert(
    connection: &Connection,
    new: &NewInstrument,
) -> Result<InstrumentId, StoreError> {
    let (instrument, facts) = (&new.instrument, &new.facts);
    if id_of(connection, &instrument.name)?.is_some() {
        return Err(StoreError::InstrumentExists { name: instrument.name.clone() });
    }
    connection
        .execute(
            "INSERT INTO instrument (name, kind, first_note, last_note, serial, maker_text,
                 owner_reference, place, created, face, uid)
             VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11)",
            params![
                instrument.name,
                instrument.kind.word(),
                instrument.first_note,
                instrument.last_note,
                facts.serial,
                facts.maker_text,
                facts.owner_reference,
                facts.place,
                new.created,
                instrument.face.word(),
                free_uid(connection, &new.created, &instrument.name)?,
            ],
        )
        .doing("store an instrument")?;
    let id = InstrumentId(connection.last_insert_rowid());
    replace_pins(connection, id, &instrument.pins)?;
    Ok(id)
}

/// The name other stores know a new instrument by: of when it was entered and what it was called
/// then. Taken only where one was renamed and its name given again within the same moment.
fn free_uid(connection: &Connection, created: &str, name: &str) -> Result<i64, StoreError> {
    connection
        .query_row(
            "WITH RECURSIVE offered (uid) AS (SELECT pinhold_seal('identity', ?1, ?2)
                 UNION ALL SELECT pinhold_plus(uid, 1) FROM offered)
             SELECT uid FROM offered
             WHERE NOT EXISTS (SELECT 1 FROM instrument WHERE instrument.uid = offered.uid)
             LIMIT 1",
            [created, name],
            |row| row.get(0),
        )
        .doing("name an instrument")
}

/// Puts these pins in the place of those an instrument had.
pub(super) fn replace_pins(
    connection: &Connection,
    id: InstrumentId,
    pins: &[FieldPin],
) -> Result<(), StoreError> {
    let doing = "store an instrument's pins";
    connection.execute("DELETE FROM pin WHERE instrument_id = ?1", [id.0]).doing(doing)?;
    let mut statement = connection
        .prepare(
            "INSERT INTO pin (instrument_id, note, string, section, row, x_um, y_um, flange_um,
                 diameter_um)
             VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9)",
        )
        .doing(doing)?;
    for field in pins {
        statement
            .execute(params![
                id.0,
                field.pin.note,
                letter(field.pin.string),
                field.section,
                field.row,
                micrometres(field.x_m),
                micrometres(field.y_m),
                field.flange_distance_m.map(micrometres),
                field.diameter_um,
            ])
            .doing(doing)?;
    }
    Ok(())
}

/// Pins of an instrument, in order of note, then string from the bass side.
fn pins_of(connection: &Connection, id: InstrumentId) -> Result<Vec<FieldPin>, StoreError> {
    let doing = "read an instrument's pins";
    let mut statement = connection
        .prepare(
            "SELECT note, string, section, row, x_um, y_um, flange_um, diameter_um
             FROM pin WHERE instrument_id = ?1",
        )
        .doing(doing)?;
    let rows = statement.query_map([id.0], |row| Ok(pin_from(row))).doing(doing)?;
    let mut pins = Vec::new();
    for row in rows {
        pins.push(row.doing(doing)??);
    }
    pins.sort_by_key(|field| field.pin);
    Ok(pins)
}

fn pin_from(row: &Row<'_>) -> Result<FieldPin, StoreError> {
    let doing = "read a pin";
    let number = |index: usize| row.get::<_, i64>(index).doing(doing);
    let maybe = |index: usize| row.get::<_, Option<i64>>(index).doing(doing);
    let string: String = row.get(1).doing(doing)?;
    Ok(FieldPin {
        pin: Pin { note: whole(number(0)?, "a pin's note")?, string: string_from(&string)? },
        section: whole(number(2)?, "a pin's section")?,
        row: whole(number(3)?, "a pin's row")?,
        x_m: metres(number(4)?),
        y_m: metres(number(5)?),
        flange_distance_m: maybe(6)?.map(metres),
        diameter_um: maybe(7)?.map(|um| whole(um, "a pin's diameter")).transpose()?,
    })
}

fn record_from(row: &Row<'_>) -> Result<InstrumentRecord, StoreError> {
    let doing = "read an instrument";
    let text = |index: usize| row.get::<_, String>(index).doing(doing);
    let number = |index: usize| row.get::<_, i64>(index).doing(doing);
    let (kind, face) = (text(2)?, text(11)?);
    Ok(InstrumentRecord {
        id: InstrumentId(number(0)?),
        instrument: Instrument {
            name: text(1)?,
            kind: InstrumentKind::from_word(&kind)
                .ok_or(StoreError::Corrupt { what: "an instrument's kind", value: kind })?,
            face: PlateFace::from_word(&face)
                .ok_or(StoreError::Corrupt { what: "an instrument's plate", value: face })?,
            first_note: whole(number(3)?, "a lowest note")?,
            last_note: whole(number(4)?, "a highest note")?,
            pins: Vec::new(),
            strings: StringScale::default(),
        },
        facts: InstrumentFacts {
            serial: text(5)?,
            maker_text: text(6)?,
            owner_reference: text(7)?,
            place: text(8)?,
        },
        created: text(9)?,
        survey_count: whole(number(10)?, "a survey count")?,
    })
}

/// Key of the instrument of that name.
fn id_of(connection: &Connection, name: &str) -> Result<Option<InstrumentId>, StoreError> {
    connection
        .query_row("SELECT id FROM instrument WHERE name = ?1", [name], |row| row.get(0))
        .optional()
        .doing("look for an instrument")
        .map(|id| id.map(InstrumentId))
}

fn micrometres(metres: f64) -> i64 {
    // Positions were checked to lie within a few metres; a cast saturates at worst.
    (metres * 1e6).round() as i64
}

fn metres(micrometres: i64) -> f64 {
    micrometres as f64 / 1e6
}
