//! Readings taken by hand: in and out of their table.

use pinhold_protocol::record::Pin;
use pinhold_protocol::units::Torque;
use rusqlite::{Connection, Row, params};

use super::codes::{letter, string_from, whole};
use super::error::{Doing, StoreError};
use super::surveys::SurveyId;
use super::verify::SealCheck;
use crate::import::hand::{
    HandReading, HandTorque, LimitSide, kind_from_word, kind_word, state_from_word, state_word,
    unit_word,
};

/// Inserts readings within the caller's transaction.
pub(super) fn insert(
    connection: &Connection,
    survey: SurveyId,
    readings: &[HandReading],
) -> Result<(), StoreError> {
    let doing = "store a reading taken by hand";
    let mut either_way = connection
        .prepare(
            "INSERT INTO hand_torque (reading_id, torque_unm, torque_text, torque_unit)
             VALUES (?1, ?2, ?3, ?4)",
        )
        .doing(doing)?;
    let mut statement = connection
        .prepare(
            "INSERT INTO hand_reading (survey_id, source_line, note, string, kind, limit_side,
                 state, sharp_unm, sharp_text, sharp_unit, flat_unm, flat_text, flat_unit,
                 friction_unm, friction_text, friction_unit, u_unm, cents_milli, pin_um, remark)
             VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, ?13, ?14, ?15, ?16, ?17,
                 ?18, ?19, ?20)",
        )
        .doing(doing)?;
    for reading in readings {
        let unm = |torque: &Option<HandTorque>| {
            torque.as_ref().map(|torque| torque.rounded.micronewton_metres())
        };
        let text = |torque: &Option<HandTorque>| torque.as_ref().map(|torque| torque.text.clone());
        let unit =
            |torque: &Option<HandTorque>| torque.as_ref().map(|torque| unit_word(torque.unit));
        statement
            .execute(params![
                survey.0,
                reading.source_line,
                reading.pin.note,
                letter(reading.pin.string),
                kind_word(reading.kind),
                reading.limit_side.map(side_word),
                state_word(reading.state),
                unm(&reading.sharp),
                text(&reading.sharp),
                unit(&reading.sharp),
                unm(&reading.flat),
                text(&reading.flat),
                unit(&reading.flat),
                unm(&reading.friction),
                text(&reading.friction),
                unit(&reading.friction),
                reading.u.map(Torque::micronewton_metres),
                reading.cents_milli,
                reading.pin_um,
                reading.remark,
            ])
            .doing(doing)?;
        if let Some(torque) = &reading.torque {
            either_way
                .execute(params![
                    connection.last_insert_rowid(),
                    torque.rounded.micronewton_metres(),
                    torque.text,
                    unit_word(torque.unit),
                ])
                .doing(doing)?;
        }
    }
    Ok(())
}

/// All readings taken by hand in a survey, in the order of their lines. One that does not match its
/// seal is left out.
pub(super) fn readings_of(
    connection: &Connection,
    survey: SurveyId,
) -> Result<Vec<HandReading>, StoreError> {
    let doing = "read what was taken by hand";
    let mut statement = connection
        .prepare(
            "SELECT source_line, note, string, kind, limit_side, state, sharp_unm, sharp_text,
                 sharp_unit, flat_unm, flat_text, flat_unit, friction_unm, friction_text,
                 friction_unit, u_unm, cents_milli, pin_um, remark, torque_unm, torque_text,
                 torque_unit, hand_reading.id
             FROM hand_reading LEFT JOIN hand_torque ON reading_id = hand_reading.id
             WHERE survey_id = ?1 ORDER BY hand_reading.id",
        )
        .doing(doing)?;
    let seals = SealCheck::of(connection, "hand_reading")?;
    let mut rows = statement.query([survey.0]).doing(doing)?;
    let mut readings = Vec::new();
    while let Some(row) = rows.next().doing(doing)? {
        if !seals.is_broken(connection, row.get(22).doing(doing)?)? {
            readings.push(reading_from(row)?);
        }
    }
    Ok(readings)
}

fn reading_from(row: &Row<'_>) -> Result<HandReading, StoreError> {
    let doing = "read a reading taken by hand";
    let text = |index: usize| row.get::<_, String>(index).doing(doing);
    let number = |index: usize| row.get::<_, i64>(index).doing(doing);
    let maybe = |index: usize| row.get::<_, Option<i64>>(index).doing(doing);
    let corrupt = |what: &'static str, value: String| StoreError::Corrupt { what, value };
    let (kind, state) = (text(3)?, text(5)?);
    let side: Option<String> = row.get(4).doing(doing)?;
    let unm = |value: i64| whole(value, "a torque").map(Torque::from_micronewton_metres);
    Ok(HandReading {
        source_line: whole(number(0)?, "a source line")?,
        pin: Pin { note: whole(number(1)?, "a note")?, string: string_from(&text(2)?)? },
        kind: kind_from_word(&kind).ok_or_else(|| corrupt("a reading's kind", kind.clone()))?,
        limit_side: side.as_deref().map(side_from_word).transpose()?,
        state: state_from_word(&state).ok_or_else(|| corrupt("a string's state", state.clone()))?,
        sharp: torque_from(row, 6)?,
        flat: torque_from(row, 9)?,
        friction: torque_from(row, 12)?,
        torque: torque_from(row, 19)?,
        u: maybe(15)?.map(unm).transpose()?,
        cents_milli: maybe(16)?.map(|milli| whole(milli, "a pitch")).transpose()?,
        pin_um: maybe(17)?.map(|um| whole(um, "a pin's diameter")).transpose()?,
        remark: text(18)?,
    })
}

/// A torque from its three columns; `None` when it was not given.
fn torque_from(row: &Row<'_>, first: usize) -> Result<Option<HandTorque>, StoreError> {
    let doing = "read a torque taken by hand";
    let Some(unm) = row.get::<_, Option<i64>>(first).doing(doing)? else {
        return Ok(None);
    };
    let text: String = row.get(first + 1).doing(doing)?;
    let unit: String = row.get(first + 2).doing(doing)?;
    let rounded = Torque::from_micronewton_metres(whole(unm, "a torque")?);
    match unit.parse() {
        Ok(unit) => Ok(Some(HandTorque { rounded, text, unit })),
        Err(_) => Err(StoreError::Corrupt { what: "a torque's unit", value: unit }),
    }
}

fn side_word(side: LimitSide) -> &'static str {
    match side {
        LimitSide::Lower => "lower",
        LimitSide::Upper => "upper",
    }
}

fn side_from_word(word: &str) -> Result<LimitSide, StoreError> {
    match word {
        "lower" => Ok(LimitSide::Lower),
        "upper" => Ok(LimitSide::Upper),
        _ => Err(StoreError::Corrupt { what: "a limit's side", value: word.to_string() }),
    }
}
