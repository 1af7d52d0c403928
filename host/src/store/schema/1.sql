-- Schema 1. Whole numbers with the unit in the column's name: torque in micronewton-metres
-- (_unm), angles in microradians (_urad), lengths in micrometres (_um). Free text is untrusted.

CREATE TABLE instrument (
    id INTEGER PRIMARY KEY,
    name TEXT NOT NULL UNIQUE CHECK (length(name) > 0),
    kind TEXT NOT NULL CHECK (kind IN ('grand', 'upright')),
    first_note INTEGER NOT NULL CHECK (first_note BETWEEN 1 AND 88),
    last_note INTEGER NOT NULL CHECK (last_note BETWEEN first_note AND 88),
    serial TEXT NOT NULL DEFAULT '',
    maker_text TEXT NOT NULL DEFAULT '',
    owner_reference TEXT NOT NULL DEFAULT '',
    place TEXT NOT NULL DEFAULT '',
    created TEXT NOT NULL
) STRICT;

CREATE TABLE pin (
    instrument_id INTEGER NOT NULL REFERENCES instrument (id),
    note INTEGER NOT NULL CHECK (note BETWEEN 1 AND 88),
    string TEXT NOT NULL CHECK (string IN ('L', 'C', 'R', 'D')),
    section INTEGER NOT NULL CHECK (section BETWEEN 0 AND 255),
    row INTEGER NOT NULL CHECK (row BETWEEN 0 AND 255),
    x_um INTEGER NOT NULL,
    y_um INTEGER NOT NULL,
    flange_um INTEGER,
    diameter_um INTEGER CHECK (diameter_um BETWEEN 1 AND 100000),
    PRIMARY KEY (instrument_id, note, string)
) STRICT, WITHOUT ROWID;

CREATE TABLE lever (
    id INTEGER PRIMARY KEY,
    -- 64-bit device identity, as two's complement.
    device INTEGER NOT NULL UNIQUE
) STRICT;

CREATE TABLE survey (
    id INTEGER PRIMARY KEY,
    instrument_id INTEGER NOT NULL REFERENCES instrument (id),
    -- The caller's name for it, 64 bits as two's complement.
    uid INTEGER NOT NULL UNIQUE,
    started TEXT NOT NULL,
    source TEXT NOT NULL CHECK (source IN ('lever', 'import', 'simulated')),
    temperature_centi_celsius INTEGER,
    humidity_permille INTEGER CHECK (humidity_permille BETWEEN 0 AND 1000),
    notes TEXT NOT NULL DEFAULT '',
    condition TEXT NOT NULL DEFAULT '{}'
) STRICT;

CREATE INDEX survey_of_instrument ON survey (instrument_id, id);

CREATE TABLE reading (
    id INTEGER PRIMARY KEY,
    survey_id INTEGER NOT NULL REFERENCES survey (id),
    lever_id INTEGER NOT NULL REFERENCES lever (id),
    epoch INTEGER NOT NULL,
    number INTEGER NOT NULL,
    crc32 INTEGER NOT NULL,
    survey_uid INTEGER NOT NULL,
    note INTEGER NOT NULL,
    string TEXT NOT NULL CHECK (string IN ('L', 'C', 'R', 'D')),
    started_us INTEGER NOT NULL,
    duration_ms INTEGER NOT NULL,
    outcome INTEGER NOT NULL,
    flags INTEGER NOT NULL,
    friction_unm INTEGER,
    string_moment_unm INTEGER,
    sharp_unm INTEGER,
    flat_unm INTEGER,
    net_rotation_urad INTEGER NOT NULL,
    excursion_flat_urad INTEGER NOT NULL,
    excursion_sharp_urad INTEGER NOT NULL,
    temperature_centi_celsius INTEGER NOT NULL,
    attitude_x_milli_g INTEGER NOT NULL,
    attitude_y_milli_g INTEGER NOT NULL,
    attitude_z_milli_g INTEGER NOT NULL,
    calibration INTEGER NOT NULL,
    samples INTEGER NOT NULL,
    UNIQUE (lever_id, epoch, number)
) STRICT;

CREATE INDEX reading_of_survey ON reading (survey_id, id);

CREATE TABLE stroke (
    reading_id INTEGER NOT NULL REFERENCES reading (id),
    position INTEGER NOT NULL,
    direction INTEGER NOT NULL,
    breakaway_unm INTEGER,
    running_unm INTEGER,
    running_scatter_unm INTEGER NOT NULL,
    running_slope_unm_per_rad INTEGER NOT NULL,
    running_angle_urad INTEGER NOT NULL,
    ramp_stiffness_unm_per_rad INTEGER,
    slip_urad INTEGER NOT NULL,
    peak_unm INTEGER NOT NULL,
    knee INTEGER NOT NULL,
    stick_slip_permille INTEGER NOT NULL,
    rest_before_ms INTEGER NOT NULL,
    duration_ms INTEGER NOT NULL,
    slip_ms INTEGER NOT NULL,
    sample_count INTEGER NOT NULL,
    flags INTEGER NOT NULL,
    PRIMARY KEY (reading_id, position)
) STRICT, WITHOUT ROWID;

CREATE TABLE hand_reading (
    id INTEGER PRIMARY KEY,
    survey_id INTEGER NOT NULL REFERENCES survey (id),
    source_line INTEGER NOT NULL,
    note INTEGER NOT NULL,
    string TEXT NOT NULL CHECK (string IN ('L', 'C', 'R', 'D')),
    kind TEXT NOT NULL CHECK (kind IN ('running', 'peak', 'limit')),
    limit_side TEXT CHECK (limit_side IN ('lower', 'upper')),
    state TEXT NOT NULL CHECK (state IN ('pitch', 'slack', 'unstrung')),
    sharp_unm INTEGER, sharp_text TEXT, sharp_unit TEXT,
    flat_unm INTEGER, flat_text TEXT, flat_unit TEXT,
    friction_unm INTEGER, friction_text TEXT, friction_unit TEXT,
    u_unm INTEGER,
    cents_milli INTEGER,
    pin_um INTEGER,
    remark TEXT NOT NULL DEFAULT '',
    UNIQUE (survey_id, note, string)
) STRICT;

CREATE TABLE verdict (
    id INTEGER PRIMARY KEY,
    survey_id INTEGER NOT NULL REFERENCES survey (id),
    created TEXT NOT NULL,
    version TEXT NOT NULL,
    inputs TEXT NOT NULL,
    document TEXT NOT NULL
) STRICT;

-- What was read stays as it was read.
CREATE TRIGGER reading_stays BEFORE UPDATE ON reading
BEGIN SELECT RAISE(ABORT, 'a reading is never changed'); END;
CREATE TRIGGER reading_kept BEFORE DELETE ON reading
BEGIN SELECT RAISE(ABORT, 'a reading is never deleted'); END;
CREATE TRIGGER stroke_stays BEFORE UPDATE ON stroke
BEGIN SELECT RAISE(ABORT, 'a stroke is never changed'); END;
CREATE TRIGGER stroke_kept BEFORE DELETE ON stroke
BEGIN SELECT RAISE(ABORT, 'a stroke is never deleted'); END;
CREATE TRIGGER hand_reading_stays BEFORE UPDATE ON hand_reading
BEGIN SELECT RAISE(ABORT, 'a reading is never changed'); END;
CREATE TRIGGER hand_reading_kept BEFORE DELETE ON hand_reading
BEGIN SELECT RAISE(ABORT, 'a reading is never deleted'); END;
