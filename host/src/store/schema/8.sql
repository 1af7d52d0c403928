-- Schema 8: the climate an instrument stood in, and repairs. Neither is ever changed; a mistake is withdrawn.

CREATE TABLE climate_reading (
    id INTEGER PRIMARY KEY,
    instrument_id INTEGER NOT NULL REFERENCES instrument (id),
    entered TEXT NOT NULL,
    -- When the air was read: as given, ISO 8601, and in milliseconds since 1970-01-01 UTC.
    taken TEXT NOT NULL,
    taken_ms INTEGER NOT NULL,
    humidity_permille INTEGER NOT NULL CHECK (humidity_permille BETWEEN 0 AND 1000),
    -- Hundredths of a degree Celsius, when known.
    temperature_centi_celsius INTEGER CHECK (temperature_centi_celsius BETWEEN -4000 AND 6000),
    -- What read it, free text, untrusted.
    source TEXT NOT NULL DEFAULT ''
) STRICT;

CREATE INDEX climate_of_instrument ON climate_reading (instrument_id, taken_ms);

CREATE TABLE climate_withdrawn (
    climate_reading_id INTEGER PRIMARY KEY REFERENCES climate_reading (id),
    made TEXT NOT NULL,
    reason TEXT NOT NULL DEFAULT ''
) STRICT;

CREATE TABLE repair (
    id INTEGER PRIMARY KEY,
    instrument_id INTEGER NOT NULL REFERENCES instrument (id),
    entered TEXT NOT NULL,
    -- When it was done: as given, ISO 8601, and in milliseconds since 1970-01-01 UTC.
    done TEXT NOT NULL,
    done_ms INTEGER NOT NULL,
    what TEXT NOT NULL CHECK (what IN ('larger-pins', 'pins-driven', 'bushings', 'treatment',
        'restrung', 'plank-repair', 'new-plank', 'other')),
    -- Free text, untrusted.
    remark TEXT NOT NULL DEFAULT ''
) STRICT;

CREATE INDEX repair_of_instrument ON repair (instrument_id, done_ms);

-- Pins a repair was of; none stands for all.
CREATE TABLE repair_pin (
    repair_id INTEGER NOT NULL REFERENCES repair (id),
    note INTEGER NOT NULL CHECK (note BETWEEN 1 AND 88),
    string TEXT NOT NULL CHECK (string IN ('L', 'C', 'R', 'D')),
    PRIMARY KEY (repair_id, note, string)
) STRICT, WITHOUT ROWID;

CREATE TABLE repair_withdrawn (
    repair_id INTEGER PRIMARY KEY REFERENCES repair (id),
    made TEXT NOT NULL,
    reason TEXT NOT NULL DEFAULT ''
) STRICT;

CREATE TRIGGER climate_reading_stays BEFORE UPDATE ON climate_reading
BEGIN SELECT RAISE(ABORT, 'a climate reading is never changed'); END;
CREATE TRIGGER climate_reading_kept BEFORE DELETE ON climate_reading
BEGIN SELECT RAISE(ABORT, 'a climate reading is never deleted'); END;
CREATE TRIGGER climate_withdrawn_stays BEFORE UPDATE ON climate_withdrawn
BEGIN SELECT RAISE(ABORT, 'a withdrawal is never changed'); END;
CREATE TRIGGER climate_withdrawn_kept BEFORE DELETE ON climate_withdrawn
BEGIN SELECT RAISE(ABORT, 'a withdrawal is never deleted'); END;
CREATE TRIGGER repair_stays BEFORE UPDATE ON repair
BEGIN SELECT RAISE(ABORT, 'a repair is never changed'); END;
CREATE TRIGGER repair_kept BEFORE DELETE ON repair
BEGIN SELECT RAISE(ABORT, 'a repair is never deleted'); END;
CREATE TRIGGER repair_pin_stays BEFORE UPDATE ON repair_pin
BEGIN SELECT RAISE(ABORT, 'a repair''s pin is never changed'); END;
CREATE TRIGGER repair_pin_kept BEFORE DELETE ON repair_pin
BEGIN SELECT RAISE(ABORT, 'a repair''s pin is never deleted'); END;
CREATE TRIGGER repair_withdrawn_stays BEFORE UPDATE ON repair_withdrawn
BEGIN SELECT RAISE(ABORT, 'a withdrawal is never changed'); END;
CREATE TRIGGER repair_withdrawn_kept BEFORE DELETE ON repair_withdrawn
BEGIN SELECT RAISE(ABORT, 'a withdrawal is never deleted'); END;
