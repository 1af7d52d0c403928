//! Seals: a checksum beside every row, made as it is written, so that `verify` finds whatever
//! changes afterwards.
//!
//! A seal is CRC-64/XZ over a row's columns: whatever changes in one column of a row, a burst of at
//! most 64 bits, is found for certain, anything else but for one chance in 2^64. Rows that are part
//! of another one (a reading's strokes) are added to its seal, which costs one entry a reading and
//! not three. It finds rot, not forgery. Triggers of the connection write the seals, so that no
//! statement can forget one and the file itself needs no function of ours to be read.
//!
//! Deliberately not here: what a broken seal is called (`verify`).
//!
//! Invariants: [`SEALED`] is the one list of what is sealed; its numbers are never used twice;
//! every table but the seals themselves is in it.

use std::fmt::Write as _;
use std::panic::{RefUnwindSafe, UnwindSafe};

use crc::{CRC_64_XZ, Crc, Table as Tables};
use rusqlite::Connection;
use rusqlite::functions::{Aggregate, Context, FunctionFlags};
use rusqlite::types::ValueRef;

use super::error::{Doing, StoreError};

/// Sixteen tables: a row is a hundred bytes or two, and a store has millions.
static CRC64: Crc<u64, Tables<16>> = Crc::<u64, Tables<16>>::new(&CRC_64_XZ);

/// A table whose rows carry a seal.
#[derive(Clone, Copy, Debug)]
pub(super) struct Sealed {
    /// Its number in the table of seals.
    pub(super) kind: i64,
    /// The table.
    pub(super) name: &'static str,
    /// The whole number its rows are known by.
    pub(super) key: &'static str,
    /// Schema that brought the table, where that is one that sealed already; else the first that
    /// sealed.
    pub(super) since: i64,
    /// Tables whose rows are part of its rows, with the column that says of which.
    pub(super) parts: &'static [(&'static str, &'static str)],
}

const fn sealed(
    kind: i64,
    name: &'static str,
    parts: &'static [(&'static str, &'static str)],
) -> Sealed {
    Sealed { kind, name, key: "id", since: 7, parts }
}

/// Everything that is sealed. Append-only: a number, once released, stays with its table.
pub(super) const SEALED: [Sealed; 16] = [
    sealed(1, "instrument", &[("pin", "instrument_id")]),
    sealed(2, "lever", &[("lever_log", "lever_id")]),
    sealed(3, "survey", &[]),
    sealed(4, "reading", &[("stroke", "reading_id")]),
    sealed(5, "hand_reading", &[("hand_torque", "reading_id")]),
    sealed(6, "verdict", &[]),
    sealed(7, "lever_record", &[]),
    Sealed { key: "survey_id", ..sealed(8, "plan", &[("plan_pin", "survey_id")]) },
    sealed(9, "correction_batch", &[]),
    sealed(10, "correction", &[]),
    sealed(11, "calibration", &[]),
    sealed(12, "lever_check", &[]),
    sealed(13, "string_scale", &[("string_row", "scale_id")]),
    sealed(14, "trial_pin", &[("trial_pin_withdrawn", "trial_pin_id")]),
    Sealed {
        since: 8,
        ..sealed(15, "climate_reading", &[("climate_withdrawn", "climate_reading_id")])
    },
    Sealed {
        since: 8,
        ..sealed(16, "repair", &[("repair_pin", "repair_id"), ("repair_withdrawn", "repair_id")])
    },
];

/// Running CRC-64/XZ.
pub(crate) fn crc64_digest() -> crc::Digest<'static, u64, Tables<16>> {
    CRC64.digest()
}

/// Makes the functions that seals are made with known to a connection.
pub(super) fn register(connection: &Connection) -> Result<(), StoreError> {
    let doing = "make its seals";
    let flags = FunctionFlags::SQLITE_UTF8
        | FunctionFlags::SQLITE_DETERMINISTIC
        | FunctionFlags::SQLITE_INNOCUOUS;
    connection.create_scalar_function("pinhold_seal", -1, flags, of_arguments).doing(doing)?;
    connection
        .create_scalar_function("pinhold_plus", 2, flags, |context| {
            Ok(context.get::<i64>(0)?.wrapping_add(context.get(1)?))
        })
        .doing(doing)?;
    connection
        .create_scalar_function("pinhold_less", 2, flags, |context| {
            Ok(context.get::<i64>(0)?.wrapping_sub(context.get(1)?))
        })
        .doing(doing)?;
    connection.create_aggregate_function("pinhold_total", 1, flags, Total).doing(doing)
}

/// Has the connection seal whatever it writes from now on.
pub(super) fn keep_sealed(connection: &Connection) -> Result<(), StoreError> {
    let mut sql = String::from("PRAGMA temp_store = MEMORY;\n");
    for table in &SEALED {
        root_triggers(&mut sql, table, &columns_of(connection, table.name)?);
        for (part, parent) in table.parts {
            part_triggers(&mut sql, table, (part, parent), &columns_of(connection, part)?);
        }
    }
    connection.execute_batch(&sql).doing("make its seals")
}

/// Seals every row of a table as it is now.
pub(super) fn seal_all(connection: &Connection, table: &Sealed) -> Result<(), StoreError> {
    let doing = "seal its rows";
    let Sealed { kind, name, key, .. } = table;
    connection.execute("DELETE FROM seal WHERE kind = ?1", [kind]).doing(doing)?;
    let value = seal_sql(connection, table)?;
    let sql = format!("INSERT INTO seal SELECT {kind}, {key}, {value} FROM {name}");
    connection.execute(&sql, []).doing(doing)?;
    Ok(())
}

/// The seal that a row of the table, and what is part of it, should carry: an SQL expression.
pub(super) fn seal_sql(connection: &Connection, table: &Sealed) -> Result<String, StoreError> {
    let Sealed { name, key, .. } = table;
    let mut sql = call(name, name, &columns_of(connection, name)?);
    for (part, parent) in table.parts {
        let own = call(part, part, &columns_of(connection, part)?);
        sql = format!(
            "pinhold_plus({sql}, (SELECT pinhold_total({own}) FROM {part} \
             WHERE {part}.{parent} = {name}.{key}))"
        );
    }
    Ok(sql)
}

/// The columns of a table, in their order.
pub(super) fn columns_of(connection: &Connection, table: &str) -> Result<Vec<String>, StoreError> {
    let doing = "list a table's columns";
    let mut statement = connection
        .prepare_cached("SELECT name FROM pragma_table_info(?1) ORDER BY cid")
        .doing(doing)?;
    let names = statement.query_map([table], |row| row.get(0)).doing(doing)?;
    names.collect::<Result<_, _>>().doing(doing)
}

/// The seal of one row alone; `row` is what its columns are qualified with.
fn call(table: &str, row: &str, columns: &[String]) -> String {
    let mut sql = format!("pinhold_seal('{table}'");
    for column in columns {
        // Writing to a string cannot fail.
        let _ = write!(sql, ", {row}.{column}");
    }
    sql.push(')');
    sql
}

fn root_triggers(sql: &mut String, table: &Sealed, columns: &[String]) {
    let Sealed { kind, name, key, .. } = table;
    let (new, old) = (call(name, "NEW", columns), call(name, "OLD", columns));
    let _ = write!(
        sql,
        "CREATE TEMP TRIGGER seal_{name}_new AFTER INSERT ON main.{name} BEGIN
             INSERT INTO seal VALUES ({kind}, NEW.{key}, {new}); END;
         CREATE TEMP TRIGGER seal_{name}_old AFTER DELETE ON main.{name} BEGIN
             DELETE FROM seal WHERE kind = {kind} AND row = OLD.{key}; END;
         CREATE TEMP TRIGGER seal_{name}_changed AFTER UPDATE ON main.{name} BEGIN
             UPDATE seal SET crc64 = pinhold_plus(pinhold_less(crc64, {old}), {new})
                 WHERE kind = {kind} AND row = OLD.{key}; END;\n"
    );
}

fn part_triggers(sql: &mut String, table: &Sealed, part: (&str, &str), columns: &[String]) {
    let kind = table.kind;
    let (name, parent) = part;
    let (new, old) = (call(name, "NEW", columns), call(name, "OLD", columns));
    let _ = write!(
        sql,
        "CREATE TEMP TRIGGER seal_{name}_new AFTER INSERT ON main.{name} BEGIN
             UPDATE seal SET crc64 = pinhold_plus(crc64, {new})
                 WHERE kind = {kind} AND row = NEW.{parent}; END;
         CREATE TEMP TRIGGER seal_{name}_old AFTER DELETE ON main.{name} BEGIN
             UPDATE seal SET crc64 = pinhold_less(crc64, {old})
                 WHERE kind = {kind} AND row = OLD.{parent}; END;
         CREATE TEMP TRIGGER seal_{name}_changed AFTER UPDATE ON main.{name} BEGIN
             UPDATE seal SET crc64 = pinhold_plus(pinhold_less(crc64, {old}), {new})
                 WHERE kind = {kind} AND row = OLD.{parent}; END;\n"
    );
}

/// The seal of a table's name and the values behind it.
fn of_arguments(context: &mut Context<'_>) -> Result<i64, rusqlite::Error> {
    let mut digest = CRC64.digest();
    for index in 0..context.len() {
        add(&mut digest, context.get_raw(index));
    }
    Ok(digest.finalize().cast_signed())
}

/// One value: a byte for its type, then its bytes, before those of a text or blob their count.
fn add(digest: &mut crc::Digest<'static, u64, Tables<16>>, value: ValueRef<'_>) {
    let mut long = |tag: u8, bytes: &[u8]| {
        digest.update(&[tag]);
        digest.update(&(bytes.len() as u64).to_le_bytes());
        digest.update(bytes);
    };
    match value {
        ValueRef::Null => digest.update(&[0]),
        ValueRef::Integer(whole) => {
            digest.update(&[1]);
            digest.update(&whole.to_le_bytes());
        }
        ValueRef::Real(real) => {
            digest.update(&[2]);
            digest.update(&real.to_bits().to_le_bytes());
        }
        ValueRef::Text(text) => long(3, text),
        ValueRef::Blob(blob) => long(4, blob),
    }
}

/// Sum of seals, modulo 2^64; 0 of none.
struct Total;

impl RefUnwindSafe for Total {}
impl UnwindSafe for Total {}

impl Aggregate<i64, i64> for Total {
    fn init(&self, _: &mut Context<'_>) -> Result<i64, rusqlite::Error> {
        Ok(0)
    }

    fn step(&self, context: &mut Context<'_>, sum: &mut i64) -> Result<(), rusqlite::Error> {
        *sum = sum.wrapping_add(context.get(0)?);
        Ok(())
    }

    fn finalize(&self, _: &mut Context<'_>, sum: Option<i64>) -> Result<i64, rusqlite::Error> {
        Ok(sum.unwrap_or(0))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn crc64(bytes: &[u8]) -> u64 {
        CRC64.checksum(bytes)
    }

    /// Check value of the catalogue of parametrised CRC algorithms (G. Cook).
    #[test]
    fn the_checksum_is_the_published_one() {
        assert_eq!(crc64(b"123456789"), 0x995d_c9bb_df19_39fa);
    }

    #[test]
    fn no_two_values_seal_alike() {
        let connection = Connection::open_in_memory().unwrap();
        register(&connection).unwrap();
        let mut seen = std::collections::BTreeSet::new();
        for values in ["NULL", "0", "0.0", "''", "X''", "'0'", "X'30'", "1", "0, 0", "'', ''"] {
            let sql = format!("SELECT pinhold_seal('t', {values})");
            let seal: i64 = connection.query_row(&sql, [], |row| row.get(0)).unwrap();
            assert!(seen.insert(seal), "{values}");
        }
    }

    /// Every single byte, to every other value: what the choice of a CRC rests on.
    #[test]
    fn a_changed_byte_always_changes_a_seal() {
        let bytes = b"reading\x01\x02\x03 of 49L".to_vec();
        let seal = crc64(&bytes);
        for place in 0..bytes.len() {
            for flip in 1..=255 {
                let mut changed = bytes.clone();
                changed[place] ^= flip;
                assert_ne!(crc64(&changed), seal);
            }
        }
    }

    #[test]
    fn numbers_are_distinct_and_no_table_is_left_out() {
        let folder = tempfile::tempdir().unwrap();
        let store = super::super::Store::open(folder.path()).unwrap();
        let mut named: Vec<&str> = vec!["seal"];
        for (place, table) in SEALED.iter().enumerate() {
            assert_eq!(table.kind, place as i64 + 1);
            named.push(table.name);
            named.extend(table.parts.iter().map(|(part, _)| *part));
        }
        named.sort_unstable();
        let sql = "SELECT name FROM sqlite_master WHERE type = 'table' ORDER BY name";
        let mut statement = store.connection.prepare(sql).unwrap();
        let stored: Vec<String> =
            statement.query_map([], |row| row.get(0)).unwrap().map(Result::unwrap).collect();
        assert_eq!(stored, named);
    }
}
