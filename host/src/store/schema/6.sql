-- Schema 6: trial pins, larger pins fitted in a few holes and read before and after. One that was a mistake is withdrawn, not changed.

CREATE TABLE trial_pin (
    id INTEGER PRIMARY KEY,
    instrument_id INTEGER NOT NULL REFERENCES instrument (id),
    note INTEGER NOT NULL CHECK (note BETWEEN 1 AND 88),
    string TEXT NOT NULL CHECK (string IN ('L', 'C', 'R', 'D')),
    entered TEXT NOT NULL,
    -- Day, or day and time, it was fitted.
    fitted TEXT NOT NULL,
    -- Diameters, micrometres; the maker's label beside the larger one, free text, untrusted.
    from_um INTEGER NOT NULL CHECK (from_um BETWEEN 4000 AND 12000),
    to_um INTEGER NOT NULL CHECK (to_um BETWEEN 4000 AND 12000),
    label TEXT NOT NULL DEFAULT '',
    reamed INTEGER NOT NULL CHECK (reamed IN (0, 1)),
    -- Friction, micronewton-metres, with its standard uncertainty, and where it comes from: the
    -- text as typed, or a survey.
    before_unm INTEGER NOT NULL,
    before_u_unm INTEGER NOT NULL CHECK (before_u_unm >= 0),
    before_typed TEXT,
    before_survey_id INTEGER REFERENCES survey (id),
    after_unm INTEGER NOT NULL,
    after_u_unm INTEGER NOT NULL CHECK (after_u_unm >= 0),
    after_typed TEXT,
    after_survey_id INTEGER REFERENCES survey (id),
    remark TEXT NOT NULL DEFAULT '',
    CHECK (to_um > from_um),
    CHECK ((before_typed IS NULL) <> (before_survey_id IS NULL)),
    CHECK ((after_typed IS NULL) <> (after_survey_id IS NULL))
) STRICT;

CREATE INDEX trial_pin_of_instrument ON trial_pin (instrument_id, id);

-- A trial pin that does not count any more.
CREATE TABLE trial_pin_withdrawn (
    trial_pin_id INTEGER PRIMARY KEY REFERENCES trial_pin (id),
    made TEXT NOT NULL,
    reason TEXT NOT NULL DEFAULT ''
) STRICT;

CREATE TRIGGER trial_pin_stays BEFORE UPDATE ON trial_pin
BEGIN SELECT RAISE(ABORT, 'a trial pin is never changed'); END;
CREATE TRIGGER trial_pin_kept BEFORE DELETE ON trial_pin
BEGIN SELECT RAISE(ABORT, 'a trial pin is never deleted'); END;
CREATE TRIGGER trial_pin_withdrawn_stays BEFORE UPDATE ON trial_pin_withdrawn
BEGIN SELECT RAISE(ABORT, 'a withdrawal is never changed'); END;
CREATE TRIGGER trial_pin_withdrawn_kept BEFORE DELETE ON trial_pin_withdrawn
BEGIN SELECT RAISE(ABORT, 'a withdrawal is never deleted'); END;
