-- Schema 5: how far the plate covers the plank, and the description a field was laid out from.

ALTER TABLE instrument ADD COLUMN face TEXT NOT NULL DEFAULT 'full'
    CHECK (face IN ('full', 'three-quarter', 'open'));

-- Layout description, TOML text; empty where the pins come from elsewhere. Corrections of single
-- pins stand in the table of pins alone.
ALTER TABLE instrument ADD COLUMN layout TEXT NOT NULL DEFAULT '';
