-- Schema 2: records of every kind, which reading belongs to which pin, plans, and levers met. What was read stays as it was read: a correction stands beside it.

-- Records that are not, or not yet, readings of a survey: losses, traces, skipped pins, readings of
-- no plan or of a foreign one, and what this version cannot read.
CREATE TABLE lever_record (
    id INTEGER PRIMARY KEY,
    lever_id INTEGER NOT NULL REFERENCES lever (id),
    epoch INTEGER NOT NULL,
    number INTEGER NOT NULL,
    crc32 INTEGER NOT NULL,
    -- First byte of the record; -1 when it has none.
    kind INTEGER NOT NULL,
    -- The plan a reading or a skipped pin names, 64 bits as two's complement.
    survey_uid INTEGER,
    -- The reading a trace belongs to, by its number in the same log.
    reading_number INTEGER,
    bytes BLOB NOT NULL,
    received TEXT NOT NULL
) STRICT;

-- A loss and the true record may both come under one number: not unique, the last one is the
-- lever's last word, the true one is what counts.
CREATE INDEX lever_record_by_number ON lever_record (lever_id, epoch, number, id);
CREATE INDEX lever_record_of_plan ON lever_record (survey_uid, kind);

-- How each lever was when it was last seen.
CREATE TABLE lever_log (
    lever_id INTEGER NOT NULL REFERENCES lever (id),
    epoch INTEGER NOT NULL,
    first_seen TEXT NOT NULL,
    last_seen TEXT NOT NULL,
    -- The two clocks at that moment, to place the lever's times in the calendar.
    calendar_ms INTEGER NOT NULL,
    device_us INTEGER NOT NULL,
    firmware TEXT NOT NULL,
    calibration INTEGER NOT NULL,
    lever_oldest INTEGER NOT NULL,
    lever_next INTEGER NOT NULL,
    lever_floor INTEGER NOT NULL,
    PRIMARY KEY (lever_id, epoch)
) STRICT, WITHOUT ROWID;

-- The pins a survey set out to read, in order.
CREATE TABLE plan (
    survey_id INTEGER PRIMARY KEY REFERENCES survey (id),
    slip_urad INTEGER NOT NULL
) STRICT;

CREATE TABLE plan_pin (
    survey_id INTEGER NOT NULL REFERENCES plan (survey_id),
    position INTEGER NOT NULL,
    note INTEGER NOT NULL CHECK (note BETWEEN 1 AND 88),
    string TEXT NOT NULL CHECK (string IN ('L', 'C', 'R', 'D')),
    PRIMARY KEY (survey_id, position)
) STRICT, WITHOUT ROWID;

-- Readings given to another survey or pin, a batch at a time; the latest entry counts.
CREATE TABLE correction_batch (
    id INTEGER PRIMARY KEY,
    kind TEXT NOT NULL CHECK (kind IN ('assign', 'correct', 'undo')),
    undoes INTEGER REFERENCES correction_batch (id),
    made TEXT NOT NULL,
    reason TEXT NOT NULL,
    CHECK ((kind = 'undo') = (undoes IS NOT NULL)),
    UNIQUE (undoes)
) STRICT;

CREATE TABLE correction (
    id INTEGER PRIMARY KEY,
    batch_id INTEGER NOT NULL REFERENCES correction_batch (id),
    reading_id INTEGER NOT NULL REFERENCES reading (id),
    survey_id INTEGER NOT NULL REFERENCES survey (id),
    -- No pin: set aside, it counts for none.
    note INTEGER CHECK (note BETWEEN 1 AND 88),
    string TEXT CHECK (string IN ('L', 'C', 'R', 'D')),
    CHECK ((note IS NULL) = (string IS NULL)),
    UNIQUE (batch_id, reading_id)
) STRICT;

CREATE INDEX correction_of_reading ON correction (reading_id, id);

-- Where each reading stands now. A reading of no plan has note 0 and stands nowhere.
CREATE VIEW reading_place AS
SELECT reading.id AS reading_id,
    CASE WHEN correction.id IS NULL THEN reading.survey_id ELSE correction.survey_id END
        AS survey_id,
    CASE WHEN correction.id IS NOT NULL THEN correction.note
        WHEN reading.note > 0 THEN reading.note END AS note,
    CASE WHEN correction.id IS NOT NULL THEN correction.string
        WHEN reading.note > 0 THEN reading.string END AS string,
    correction.id IS NOT NULL AS corrected
FROM reading
LEFT JOIN correction ON correction.id =
    (SELECT max(id) FROM correction WHERE reading_id = reading.id);

CREATE TRIGGER lever_record_stays BEFORE UPDATE ON lever_record
BEGIN SELECT RAISE(ABORT, 'a record is never changed'); END;
CREATE TRIGGER lever_record_kept BEFORE DELETE ON lever_record
BEGIN SELECT RAISE(ABORT, 'a record is never deleted'); END;
CREATE TRIGGER correction_batch_stays BEFORE UPDATE ON correction_batch
BEGIN SELECT RAISE(ABORT, 'a correction is never changed'); END;
CREATE TRIGGER correction_batch_kept BEFORE DELETE ON correction_batch
BEGIN SELECT RAISE(ABORT, 'a correction is never deleted'); END;
CREATE TRIGGER correction_stays BEFORE UPDATE ON correction
BEGIN SELECT RAISE(ABORT, 'a correction is never changed'); END;
CREATE TRIGGER correction_kept BEFORE DELETE ON correction
BEGIN SELECT RAISE(ABORT, 'a correction is never deleted'); END;
