-- Schema 4: string scales, each as it was entered; the last one of an instrument counts, and an empty one says that nothing is known again.

CREATE TABLE string_scale (
    id INTEGER PRIMARY KEY,
    instrument_id INTEGER NOT NULL REFERENCES instrument (id),
    entered TEXT NOT NULL,
    -- Where it came from, such as a file's name. Free text, untrusted.
    origin TEXT NOT NULL,
    -- Target pitch of A4, thousandths of a hertz.
    a4_mhz INTEGER NOT NULL CHECK (a4_mhz BETWEEN 300000 AND 600000)
) STRICT;

CREATE INDEX string_scale_of_instrument ON string_scale (instrument_id, id);

CREATE TABLE string_row (
    scale_id INTEGER NOT NULL REFERENCES string_scale (id),
    position INTEGER NOT NULL,
    note INTEGER NOT NULL CHECK (note BETWEEN 1 AND 88),
    -- NULL for all strings of the note.
    string TEXT CHECK (string IN ('L', 'C', 'R', 'D')),
    speaking_length_nm INTEGER NOT NULL CHECK (speaking_length_nm > 0),
    speaking_length_u_nm INTEGER,
    wire_nm INTEGER NOT NULL CHECK (wire_nm > 0),
    wire_u_nm INTEGER,
    total_length_nm INTEGER,
    -- A winding, by its mass per length, core included, micrograms per metre ...
    wound_mass_ug_m INTEGER CHECK (wound_mass_ug_m > 0),
    wound_mass_u_ppm INTEGER,
    -- ... or by its diameter and metal.
    outer_nm INTEGER CHECK (outer_nm > wire_nm),
    metal TEXT CHECK (metal IN ('copper', 'iron')),
    packing_ppm INTEGER,
    packing_u_ppm INTEGER,
    CHECK ((outer_nm IS NULL) = (metal IS NULL)),
    CHECK (outer_nm IS NULL OR wound_mass_ug_m IS NULL),
    PRIMARY KEY (scale_id, position)
) STRICT, WITHOUT ROWID;

CREATE TRIGGER string_scale_stays BEFORE UPDATE ON string_scale
BEGIN SELECT RAISE(ABORT, 'a string scale is never changed'); END;
CREATE TRIGGER string_scale_kept BEFORE DELETE ON string_scale
BEGIN SELECT RAISE(ABORT, 'a string scale is never deleted'); END;
CREATE TRIGGER string_row_stays BEFORE UPDATE ON string_row
BEGIN SELECT RAISE(ABORT, 'a string scale is never changed'); END;
CREATE TRIGGER string_row_kept BEFORE DELETE ON string_row
BEGIN SELECT RAISE(ABORT, 'a string scale is never deleted'); END;
