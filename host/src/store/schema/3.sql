-- Schema 3: what a lever's torques rest on: its calibrations, and the quick checks between them; and torques by hand that have no direction. Each stands as it was made; a wrong one is followed by a better one.

CREATE TABLE calibration (
    id INTEGER PRIMARY KEY,
    lever_id INTEGER NOT NULL REFERENCES lever (id),
    -- The number readings name it by, never used twice on one lever.
    number INTEGER NOT NULL CHECK (number > 0),
    -- Milliseconds since 1970-01-01 UTC.
    made_ms INTEGER NOT NULL,
    due_ms INTEGER NOT NULL,
    -- Lowest and highest temperature of the lever on the bench.
    coldest_centi_celsius INTEGER,
    warmest_centi_celsius INTEGER,
    -- Version of the document, which is JSON and holds all of it, the columns above included.
    version INTEGER NOT NULL,
    document TEXT NOT NULL,
    UNIQUE (lever_id, number)
) STRICT;

CREATE TABLE lever_check (
    id INTEGER PRIMARY KEY,
    lever_id INTEGER NOT NULL,
    -- The calibration it was held against.
    calibration_number INTEGER NOT NULL,
    made_ms INTEGER NOT NULL,
    -- The zero, less the one of the calibration.
    zero_unm INTEGER NOT NULL,
    -- What hung there, its standard uncertainty, and what the lever read.
    load_unm INTEGER NOT NULL,
    load_u_unm INTEGER NOT NULL,
    read_unm INTEGER NOT NULL,
    temperature_centi_celsius INTEGER NOT NULL,
    -- 1 when it passed; 0 when it failed or could not tell.
    passed INTEGER NOT NULL CHECK (passed IN (0, 1)),
    version INTEGER NOT NULL,
    document TEXT NOT NULL,
    FOREIGN KEY (lever_id, calibration_number) REFERENCES calibration (lever_id, number)
) STRICT;

CREATE INDEX lever_check_of_lever ON lever_check (lever_id, made_ms, id);

CREATE TRIGGER calibration_stays BEFORE UPDATE ON calibration
BEGIN SELECT RAISE(ABORT, 'a calibration is never changed'); END;
CREATE TRIGGER calibration_kept BEFORE DELETE ON calibration
BEGIN SELECT RAISE(ABORT, 'a calibration is never deleted'); END;
CREATE TRIGGER lever_check_stays BEFORE UPDATE ON lever_check
BEGIN SELECT RAISE(ABORT, 'a check is never changed'); END;
CREATE TRIGGER lever_check_kept BEFORE DELETE ON lever_check
BEGIN SELECT RAISE(ABORT, 'a check is never deleted'); END;

-- A torque taken by hand of which nobody wrote down which way it was taken.
CREATE TABLE hand_torque (
    reading_id INTEGER PRIMARY KEY REFERENCES hand_reading (id),
    torque_unm INTEGER NOT NULL,
    torque_text TEXT NOT NULL,
    torque_unit TEXT NOT NULL
) STRICT;

CREATE TRIGGER hand_torque_stays BEFORE UPDATE ON hand_torque
BEGIN SELECT RAISE(ABORT, 'a reading is never changed'); END;
CREATE TRIGGER hand_torque_kept BEFORE DELETE ON hand_torque
BEGIN SELECT RAISE(ABORT, 'a reading is never deleted'); END;
