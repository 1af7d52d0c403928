//! What a row is called when something is wrong with it: instrument, survey and pin, as far as the
//! rows around it still tell.
//!
//! Deliberately not here: what is wrong.

use rusqlite::Connection;

use crate::text::printable;

/// SQL that names a row of each table by its key; what is missing on the way shows as `?`.
const NAMES: [(&str, &str); 16] = [
    (
        "instrument",
        "SELECT 'instrument ''' || name || ''' or one of its pins' FROM instrument WHERE id = ?1",
    ),
    ("lever", "SELECT printf('lever %016x or its log', device) FROM lever WHERE id = ?1"),
    (
        "survey",
        "SELECT 'the survey of ' || s.started || ' of instrument ''' || coalesce(i.name, '?')
             || '''' FROM survey AS s LEFT JOIN instrument AS i ON i.id = s.instrument_id
         WHERE s.id = ?1",
    ),
    (
        "reading",
        "SELECT 'the reading of pin ' || r.note || r.string || ' in the survey of '
             || coalesce(s.started, '?') || ' of instrument ''' || coalesce(i.name, '?')
             || printf(''' (record %d of lever %016x, epoch %d)', r.number, l.device, r.epoch)
         FROM reading AS r LEFT JOIN survey AS s ON s.id = r.survey_id
             LEFT JOIN instrument AS i ON i.id = s.instrument_id
             LEFT JOIN lever AS l ON l.id = r.lever_id WHERE r.id = ?1",
    ),
    (
        "hand_reading",
        "SELECT 'the reading by hand of pin ' || r.note || r.string || ' in the survey of '
             || coalesce(s.started, '?') || ' of instrument ''' || coalesce(i.name, '?') || ''''
         FROM hand_reading AS r LEFT JOIN survey AS s ON s.id = r.survey_id
             LEFT JOIN instrument AS i ON i.id = s.instrument_id WHERE r.id = ?1",
    ),
    (
        "verdict",
        "SELECT 'the verdict of ' || v.created || ' on the survey of ' || coalesce(s.started, '?')
             || ' of instrument ''' || coalesce(i.name, '?') || ''''
         FROM verdict AS v LEFT JOIN survey AS s ON s.id = v.survey_id
             LEFT JOIN instrument AS i ON i.id = s.instrument_id WHERE v.id = ?1",
    ),
    (
        "lever_record",
        "SELECT printf('record %d of lever %016x, epoch %d', r.number, l.device, r.epoch)
         FROM lever_record AS r LEFT JOIN lever AS l ON l.id = r.lever_id WHERE r.id = ?1",
    ),
    (
        "plan",
        "SELECT 'the plan of the survey of ' || coalesce(s.started, '?') || ' of instrument '''
             || coalesce(i.name, '?') || ''''
         FROM plan AS p LEFT JOIN survey AS s ON s.id = p.survey_id
             LEFT JOIN instrument AS i ON i.id = s.instrument_id WHERE p.survey_id = ?1",
    ),
    (
        "correction_batch",
        "SELECT 'correction ' || id || ' of ' || made FROM correction_batch WHERE id = ?1",
    ),
    (
        "correction",
        "SELECT 'the entry of correction ' || c.batch_id || ' for pin ' || coalesce(r.note, '?')
             || coalesce(r.string, '?') || ' in the survey of ' || coalesce(s.started, '?')
             || ' of instrument ''' || coalesce(i.name, '?') || ''''
         FROM correction AS c LEFT JOIN reading AS r ON r.id = c.reading_id
             LEFT JOIN survey AS s ON s.id = c.survey_id
             LEFT JOIN instrument AS i ON i.id = s.instrument_id WHERE c.id = ?1",
    ),
    (
        "calibration",
        "SELECT printf('calibration %d of lever %016x', c.number, l.device)
         FROM calibration AS c LEFT JOIN lever AS l ON l.id = c.lever_id WHERE c.id = ?1",
    ),
    (
        "lever_check",
        "SELECT printf('a check of lever %016x against calibration %d', l.device,
             c.calibration_number)
         FROM lever_check AS c LEFT JOIN lever AS l ON l.id = c.lever_id WHERE c.id = ?1",
    ),
    (
        "string_scale",
        "SELECT 'the string scale of ' || c.entered || ' of instrument ''' || coalesce(i.name, '?')
             || ''''
         FROM string_scale AS c LEFT JOIN instrument AS i ON i.id = c.instrument_id
         WHERE c.id = ?1",
    ),
    (
        "trial_pin",
        "SELECT 'trial pin ' || t.id || ' (' || t.note || t.string || ') of instrument '''
             || coalesce(i.name, '?') || ''''
         FROM trial_pin AS t LEFT JOIN instrument AS i ON i.id = t.instrument_id
         WHERE t.id = ?1",
    ),
    (
        "climate_reading",
        "SELECT 'climate reading ' || c.id || ' of instrument ''' || coalesce(i.name, '?') || ''''
         FROM climate_reading AS c LEFT JOIN instrument AS i ON i.id = c.instrument_id
         WHERE c.id = ?1",
    ),
    (
        "repair",
        "SELECT 'repair ' || r.id || ' of instrument ''' || coalesce(i.name, '?') || ''''
         FROM repair AS r LEFT JOIN instrument AS i ON i.id = r.instrument_id WHERE r.id = ?1",
    ),
];

/// What a row is called, printable; its table and number where nothing better is to be had.
pub(super) fn place_name(connection: &Connection, table: &str, key: i64) -> String {
    let sql = NAMES.iter().find(|(name, _)| *name == table).map(|(_, sql)| *sql);
    sql.and_then(|sql| connection.query_row(sql, [key], |row| row.get::<_, String>(0)).ok())
        .map_or_else(|| format!("row {key} of table {table}"), |name| printable(&name))
}

#[cfg(test)]
mod tests {
    use super::super::migrate;
    use super::super::seal::SEALED;
    use super::*;

    #[test]
    fn every_sealed_table_has_a_name_that_its_schema_can_answer() {
        let connection = migrate::in_memory().unwrap();
        for table in SEALED {
            let (_, sql) = NAMES.iter().find(|(name, _)| *name == table.name).expect(table.name);
            assert!(connection.prepare(sql).is_ok(), "{}", table.name);
        }
        assert_eq!(place_name(&connection, "survey", 7), "row 7 of table survey");
    }
}
