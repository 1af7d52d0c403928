-- Schema 7: a seal on every row, so that a flipped bit anywhere is found; and a name for each instrument that a store elsewhere knows it by.

-- CRC-64/XZ over a row's columns in their order, and for the rows that are part of it (strokes of a
-- reading, pins of an instrument ...) the sum of theirs added, modulo 2^64, as two's complement.
-- What goes in, byte by byte, and which number stands for which table: host/doc/store.md.
CREATE TABLE seal (
    kind INTEGER NOT NULL,
    row INTEGER NOT NULL,
    crc64 INTEGER NOT NULL,
    PRIMARY KEY (kind, row)
) STRICT, WITHOUT ROWID;

-- 64 bits made of when it was entered and its first name, as two's complement; stays when it is
-- renamed.
ALTER TABLE instrument ADD COLUMN uid INTEGER NOT NULL DEFAULT 0;
UPDATE instrument SET uid = pinhold_seal('identity', created, name);
CREATE UNIQUE INDEX instrument_by_uid ON instrument (uid);
