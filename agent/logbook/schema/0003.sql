-- One row for each walk through a bay's wiring before it goes to work; see
-- package commission for the body, which is JSON. It is kept from the first
-- step on, and never changed once a person has signed it.
CREATE TABLE commissioning (
  id      TEXT    PRIMARY KEY,
  bay_id  INTEGER NOT NULL REFERENCES bay (id),
  wall_ms INTEGER NOT NULL, -- when it was begun, as for an event
  trusted INTEGER NOT NULL,
  boot_id TEXT    NOT NULL,
  mono_ns INTEGER NOT NULL,
  signed  INTEGER NOT NULL, -- 1: a person put the name under it
  body    TEXT    NOT NULL
) STRICT;

CREATE TRIGGER commissioning_signed BEFORE UPDATE ON commissioning WHEN OLD.signed
BEGIN SELECT RAISE(ABORT, 'a signed commissioning record is never changed'); END;

CREATE TRIGGER commissioning_kept BEFORE DELETE ON commissioning WHEN OLD.signed
BEGIN SELECT RAISE(ABORT, 'a signed commissioning record is never removed'); END;
