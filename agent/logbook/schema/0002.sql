-- Packs are known by name. What happened to a pack follows it from bay to bay.
CREATE TABLE pack (
  id   INTEGER PRIMARY KEY,
  name TEXT    NOT NULL UNIQUE
) STRICT;

-- NULL for events from before there were packs, and where no pack is known.
ALTER TABLE event ADD COLUMN pack_id INTEGER REFERENCES pack (id);
CREATE INDEX event_pack ON event (pack_id, wall_ms) WHERE pack_id IS NOT NULL;

-- What a pack's own memory is, apart from its bay's: newest only.
CREATE TABLE pack_memory (
  pack_id INTEGER PRIMARY KEY REFERENCES pack (id),
  bay_id  INTEGER NOT NULL REFERENCES bay (id), -- where it stood then
  wall_ms INTEGER NOT NULL,
  trusted INTEGER NOT NULL,
  boot_id TEXT    NOT NULL,
  mono_ns INTEGER NOT NULL,
  state   BLOB    NOT NULL
) STRICT;

-- In all that follows: a stamp is four columns (wall clock in milliseconds
-- since 1970 UTC, whether that was trusted, the boot, nanoseconds since it).
-- A row whose end_wall_ms is NULL is still open, and a bay has at most one
-- open row of a kind. A number that is not known is NULL, never 0. origin says
-- who wrote the row: agent, or import.

CREATE TABLE charge (
  id            INTEGER PRIMARY KEY,
  bay_id        INTEGER NOT NULL REFERENCES bay (id),
  pack_id       INTEGER REFERENCES pack (id),
  origin        TEXT    NOT NULL,
  start_wall_ms INTEGER NOT NULL,
  start_trusted INTEGER NOT NULL,
  start_boot_id TEXT    NOT NULL,
  start_mono_ns INTEGER NOT NULL,
  end_wall_ms   INTEGER,
  end_trusted   INTEGER NOT NULL,
  end_boot_id   TEXT    NOT NULL,
  end_mono_ns   INTEGER NOT NULL,
  in_ah         REAL,             -- ampere-hours put in
  gassing_ah    REAL,             -- of them, what split water
  water_ml      REAL,             -- lost by each cell in this charge
  depth         REAL,             -- ampere-hours missing over capacity when it began
  start_c       REAL,             -- electrolyte, °C
  end_c         REAL,
  max_c         REAL,
  low_cover_mm  REAL,             -- lowest cover seen while current flowed
  flow_s        REAL    NOT NULL, -- seconds with current
  bare_s        REAL    NOT NULL, -- of them, with the plates bare
  blind_s       REAL    NOT NULL, -- of them, with the level unknown
  is_full       INTEGER NOT NULL, -- 1: proven full
  evidence      TEXT    NOT NULL, -- what proved it
  ended         TEXT    NOT NULL, -- how it ended
  code          TEXT    NOT NULL, -- the finding that ended it
  notes         TEXT    NOT NULL
) STRICT;
CREATE UNIQUE INDEX charge_open ON charge (bay_id) WHERE end_wall_ms IS NULL;
CREATE INDEX charge_start ON charge (start_wall_ms, id);

-- kind: water (the pack was full, rested and cool), cover-fill, or readings
-- (hydrometer and dip rule without a visit).
CREATE TABLE visit (
  id              INTEGER PRIMARY KEY,
  bay_id          INTEGER NOT NULL REFERENCES bay (id),
  pack_id         INTEGER REFERENCES pack (id),
  origin          TEXT    NOT NULL,
  start_wall_ms   INTEGER NOT NULL,
  start_trusted   INTEGER NOT NULL,
  start_boot_id   TEXT    NOT NULL,
  start_mono_ns   INTEGER NOT NULL,
  end_wall_ms     INTEGER,
  end_trusted     INTEGER NOT NULL,
  end_boot_id     TEXT    NOT NULL,
  end_mono_ns     INTEGER NOT NULL,
  kind            TEXT    NOT NULL,
  opened_by       TEXT    NOT NULL,
  closed_by       TEXT    NOT NULL,
  cautions        TEXT    NOT NULL, -- what was confirmed when it was opened
  water_kind      TEXT    NOT NULL, -- demineralised, distilled, other, or ''
  us_per_cm       REAL,             -- conductivity of the water
  cover_before_mm REAL,             -- by the bay's own probe
  cover_after_mm  REAL,
  total_ml        REAL    NOT NULL,
  notes           TEXT    NOT NULL
) STRICT;
CREATE UNIQUE INDEX visit_open ON visit (bay_id) WHERE end_wall_ms IS NULL;
CREATE INDEX visit_start ON visit (start_wall_ms, id);

-- Only cells at which something was done.
CREATE TABLE visit_cell (
  visit_id       INTEGER NOT NULL REFERENCES visit (id),
  cell           INTEGER NOT NULL, -- 1 is the positive end
  ml             REAL,             -- water given
  dip_before_mm  REAL,             -- dip rule, before any water
  dip_after_mm   REAL,             -- the last reading after it
  gravity        REAL,             -- specific gravity as read
  gravity_c      REAL,             -- electrolyte temperature then
  PRIMARY KEY (visit_id, cell)
) STRICT, WITHOUT ROWID;

CREATE TABLE finding (
  id            INTEGER PRIMARY KEY,
  bay_id        INTEGER NOT NULL REFERENCES bay (id),
  pack_id       INTEGER REFERENCES pack (id),
  origin        TEXT    NOT NULL,
  start_wall_ms INTEGER NOT NULL,
  start_trusted INTEGER NOT NULL,
  start_boot_id TEXT    NOT NULL,
  start_mono_ns INTEGER NOT NULL,
  end_wall_ms   INTEGER,
  end_trusted   INTEGER NOT NULL,
  end_boot_id   TEXT    NOT NULL,
  end_mono_ns   INTEGER NOT NULL,
  code          TEXT    NOT NULL,
  blocks        INTEGER NOT NULL, -- 1: it withholds the charge
  latched       INTEGER NOT NULL, -- 1: a person had to release it
  value         REAL,             -- what it means is the code's own matter
  limit_value   REAL,
  fault         TEXT    NOT NULL, -- of the sensor, where that was the reason
  evidence      TEXT    NOT NULL  -- one sentence, as it was raised
) STRICT;
CREATE UNIQUE INDEX finding_open ON finding (bay_id, code) WHERE end_wall_ms IS NULL;
CREATE INDEX finding_start ON finding (start_wall_ms, id);

-- A pack that is connected and not full, and whose charge is withheld.
CREATE TABLE refusal (
  id            INTEGER PRIMARY KEY,
  bay_id        INTEGER NOT NULL REFERENCES bay (id),
  pack_id       INTEGER REFERENCES pack (id),
  origin        TEXT    NOT NULL,
  start_wall_ms INTEGER NOT NULL,
  start_trusted INTEGER NOT NULL,
  start_boot_id TEXT    NOT NULL,
  start_mono_ns INTEGER NOT NULL,
  end_wall_ms   INTEGER,
  end_trusted   INTEGER NOT NULL,
  end_boot_id   TEXT    NOT NULL,
  end_mono_ns   INTEGER NOT NULL,
  code          TEXT    NOT NULL, -- the first reason
  codes         TEXT    NOT NULL, -- all reasons that there were, joined by spaces
  evidence      TEXT    NOT NULL, -- one sentence on the first
  ended         TEXT    NOT NULL  -- granted, left, full, or restart
) STRICT;
CREATE UNIQUE INDEX refusal_open ON refusal (bay_id) WHERE end_wall_ms IS NULL;
CREATE INDEX refusal_start ON refusal (start_wall_ms, id);

-- Thinned readings: one row for a span of 60 to 3600 s, finer near events.
-- This is what a full disk and old age take first.
CREATE TABLE series (
  id            INTEGER PRIMARY KEY,
  bay_id        INTEGER NOT NULL REFERENCES bay (id),
  pack_id       INTEGER REFERENCES pack (id),
  start_wall_ms INTEGER NOT NULL,
  start_trusted INTEGER NOT NULL,
  start_boot_id TEXT    NOT NULL,
  start_mono_ns INTEGER NOT NULL,
  span_s        REAL    NOT NULL, -- how long it lasted
  ticks         INTEGER NOT NULL, -- how many went into it
  stage         TEXT    NOT NULL, -- at its end
  permit_s      REAL    NOT NULL, -- seconds with the permit granted
  pack_v        REAL,             -- means of what was read, then extremes
  pack_v_min    REAL,
  pack_v_max    REAL,
  current_a     REAL,
  current_a_min REAL,
  current_a_max REAL,
  pack_c        REAL,
  pack_c_max    REAL,
  ambient_c     REAL,
  cover_mm      REAL,
  cover_mm_min  REAL,
  hydrogen_pct_max REAL,
  settled_mm    REAL,             -- at its end, as the next three
  predict_mm    REAL,
  lost_ml       REAL,
  soc           REAL
) STRICT;
CREATE INDEX series_start ON series (start_wall_ms, id);

-- The chain over all closed charges and visits, in the order of closing.
-- hash = SHA-256 of the hash before it and of the row; DEVELOPERS.md has the
-- encoding. v is the version of the encoding.
CREATE TABLE chain (
  no   INTEGER PRIMARY KEY, -- 1, 2, 3, …
  v    INTEGER NOT NULL,
  kind TEXT    NOT NULL,    -- charge or visit
  ref  INTEGER NOT NULL,    -- its id
  hash BLOB    NOT NULL,
  UNIQUE (kind, ref)
) STRICT;

-- Where the chain ends, so that its end cannot be cut off unseen.
CREATE TABLE chain_head (
  id   INTEGER PRIMARY KEY CHECK (id = 1),
  no   INTEGER NOT NULL,
  hash BLOB    NOT NULL
) STRICT;
INSERT INTO chain_head VALUES (1, 0, zeroblob(32));
