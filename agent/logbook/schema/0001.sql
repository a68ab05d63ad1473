-- Bays and their counters. last_seq is kept apart from the events, so that
-- numbers go on even when old events have been thinned out.
CREATE TABLE bay (
  id       INTEGER PRIMARY KEY,
  name     TEXT    NOT NULL UNIQUE,
  last_seq INTEGER NOT NULL DEFAULT 0, -- number of the newest event
  sent_seq INTEGER NOT NULL DEFAULT 0  -- events up to here are at the broker
) STRICT;

-- One row for each event. A field that does not belong to its kind is ''.
CREATE TABLE event (
  bay_id     INTEGER NOT NULL REFERENCES bay (id),
  seq        INTEGER NOT NULL,          -- 1, 2, 3, … for each bay
  wall_ms    INTEGER NOT NULL,          -- milliseconds since 1970, UTC
  trusted    INTEGER NOT NULL,          -- 1: the wall clock was set from a source
  boot_id    TEXT    NOT NULL,          -- the boot that mono_ns counts from
  mono_ns    INTEGER NOT NULL,          -- nanoseconds since that boot
  kind       TEXT    NOT NULL,
  stage      TEXT    NOT NULL,
  from_stage TEXT    NOT NULL,
  code       TEXT    NOT NULL,
  person     TEXT    NOT NULL,
  order_id   TEXT    NOT NULL,
  note       TEXT    NOT NULL,
  PRIMARY KEY (bay_id, seq)
) STRICT, WITHOUT ROWID;

-- The core's memory, newest only.
CREATE TABLE memory (
  bay_id  INTEGER PRIMARY KEY REFERENCES bay (id),
  wall_ms INTEGER NOT NULL,
  trusted INTEGER NOT NULL,
  boot_id TEXT    NOT NULL,
  mono_ns INTEGER NOT NULL,
  state   BLOB    NOT NULL
) STRICT;
