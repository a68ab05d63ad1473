-- Signed commissioning records are chained as charges and visits are, which
-- takes a number that stays: the text that named them is the walk's own name.
-- A record that was signed under an earlier schema is chained as it was found
-- by this step: what was changed before cannot be seen, and late says so.
DROP TRIGGER commissioning_signed;
DROP TRIGGER commissioning_kept;
ALTER TABLE commissioning RENAME TO commissioning_3;
CREATE TABLE commissioning (
  id      INTEGER PRIMARY KEY,
  bay_id  INTEGER NOT NULL REFERENCES bay (id),
  walk    TEXT    NOT NULL UNIQUE, -- its name
  wall_ms INTEGER NOT NULL,        -- when it was begun, as for an event
  trusted INTEGER NOT NULL,
  boot_id TEXT    NOT NULL,
  mono_ns INTEGER NOT NULL,
  signed  INTEGER NOT NULL,        -- 1: a person put the name under it
  late    INTEGER NOT NULL,        -- 1: signed before these records were chained
  body    TEXT    NOT NULL
) STRICT;
INSERT INTO commissioning (bay_id, walk, wall_ms, trusted, boot_id, mono_ns, signed, late, body)
  SELECT bay_id, id, wall_ms, trusted, boot_id, mono_ns, signed, signed, body FROM commissioning_3 ORDER BY rowid;
DROP TABLE commissioning_3;

CREATE TRIGGER commissioning_signed BEFORE UPDATE ON commissioning WHEN OLD.signed
BEGIN SELECT RAISE(ABORT, 'a signed commissioning record is never changed'); END;

CREATE TRIGGER commissioning_kept BEFORE DELETE ON commissioning WHEN OLD.signed
BEGIN SELECT RAISE(ABORT, 'a signed commissioning record is never removed'); END;
