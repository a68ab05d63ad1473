-- A logbook of schema version 1 as the program of version 2 brought it up to date.
PRAGMA application_id = 1650555255;
PRAGMA user_version = 2;
BEGIN TRANSACTION;
CREATE TABLE bay (
  id       INTEGER PRIMARY KEY,
  name     TEXT    NOT NULL UNIQUE,
  last_seq INTEGER NOT NULL DEFAULT 0, -- number of the newest event
  sent_seq INTEGER NOT NULL DEFAULT 0  -- events up to here are at the broker
) STRICT;
INSERT INTO "bay" VALUES(1,'bay-1',9,4);
INSERT INTO "bay" VALUES(2,'bay-2',3,0);
CREATE TABLE chain (
  no   INTEGER PRIMARY KEY, -- 1, 2, 3, …
  v    INTEGER NOT NULL,
  kind TEXT    NOT NULL,    -- charge or visit
  ref  INTEGER NOT NULL,    -- its id
  hash BLOB    NOT NULL,
  UNIQUE (kind, ref)
) STRICT;
CREATE TABLE chain_head (
  id   INTEGER PRIMARY KEY CHECK (id = 1),
  no   INTEGER NOT NULL,
  hash BLOB    NOT NULL
) STRICT;
INSERT INTO "chain_head" VALUES(1,0,X'0000000000000000000000000000000000000000000000000000000000000000');
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
  note       TEXT    NOT NULL, pack_id INTEGER REFERENCES pack (id),
  PRIMARY KEY (bay_id, seq)
) STRICT, WITHOUT ROWID;
INSERT INTO "event" VALUES(1,1,1772344800123,1,'5f0c3b1e',0,'finding-raised','','','plates-bare','','','Cover is 2 mm below the plate tops.',NULL);
INSERT INTO "event" VALUES(1,2,1772344801123,0,'5f0c3b1e',1000000000,'finding-raised','','','plates-bare','','','Cover is 2 mm below the plate tops.',NULL);
INSERT INTO "event" VALUES(1,3,1772344801123,0,'5f0c3b1e',1000000000,'stage-changed','charging','waiting','','','','Charging.',NULL);
INSERT INTO "event" VALUES(1,4,1772344802123,1,'5f0c3b1e',2000000000,'finding-raised','','','plates-bare','','','Cover is 2 mm below the plate tops.',NULL);
INSERT INTO "event" VALUES(1,5,1772344802123,1,'5f0c3b1e',2000000000,'stage-changed','charging','waiting','','','','Charging.',NULL);
INSERT INTO "event" VALUES(1,6,1772344802123,1,'5f0c3b1e',2000000000,'order-taken','','','','O''Neil, "Zoë" 张','a
b','Hold; it''s 5 % — ok',NULL);
INSERT INTO "event" VALUES(1,7,1772344803123,0,'5f0c3b1e',3000000000,'finding-raised','','','plates-bare','','','Cover is 2 mm below the plate tops.',NULL);
INSERT INTO "event" VALUES(1,8,1772344804123,1,'5f0c3b1e',4000000000,'finding-raised','','','plates-bare','','','Cover is 2 mm below the plate tops.',NULL);
INSERT INTO "event" VALUES(1,9,1772344804123,1,'5f0c3b1e',4000000000,'stage-changed','charging','waiting','','','','Charging.',NULL);
INSERT INTO "event" VALUES(2,1,1772344809123,0,'5f0c3b1e',9000000000,'finding-raised','','','plates-bare','','','Cover is 2 mm below the plate tops.',NULL);
INSERT INTO "event" VALUES(2,2,1772344809123,0,'5f0c3b1e',9000000000,'stage-changed','charging','waiting','','','','Charging.',NULL);
INSERT INTO "event" VALUES(2,3,1772344809123,0,'5f0c3b1e',9000000000,'order-taken','','','','O''Neil, "Zoë" 张','a
b','Hold; it''s 5 % — ok',NULL);
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
CREATE TABLE memory (
  bay_id  INTEGER PRIMARY KEY REFERENCES bay (id),
  wall_ms INTEGER NOT NULL,
  trusted INTEGER NOT NULL,
  boot_id TEXT    NOT NULL,
  mono_ns INTEGER NOT NULL,
  state   BLOB    NOT NULL
) STRICT;
INSERT INTO "memory" VALUES(1,1772344807123,0,'5f0c3b1e',7000000000,X'7B2276223A312C227061636B223A226C6966742D323476227D');
CREATE TABLE pack (
  id   INTEGER PRIMARY KEY,
  name TEXT    NOT NULL UNIQUE
) STRICT;
CREATE TABLE pack_memory (
  pack_id INTEGER PRIMARY KEY REFERENCES pack (id),
  bay_id  INTEGER NOT NULL REFERENCES bay (id), -- where it stood then
  wall_ms INTEGER NOT NULL,
  trusted INTEGER NOT NULL,
  boot_id TEXT    NOT NULL,
  mono_ns INTEGER NOT NULL,
  state   BLOB    NOT NULL
) STRICT;
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
CREATE INDEX event_pack ON event (pack_id, wall_ms) WHERE pack_id IS NOT NULL;
CREATE UNIQUE INDEX charge_open ON charge (bay_id) WHERE end_wall_ms IS NULL;
CREATE INDEX charge_start ON charge (start_wall_ms, id);
CREATE UNIQUE INDEX visit_open ON visit (bay_id) WHERE end_wall_ms IS NULL;
CREATE INDEX visit_start ON visit (start_wall_ms, id);
CREATE UNIQUE INDEX finding_open ON finding (bay_id, code) WHERE end_wall_ms IS NULL;
CREATE INDEX finding_start ON finding (start_wall_ms, id);
CREATE UNIQUE INDEX refusal_open ON refusal (bay_id) WHERE end_wall_ms IS NULL;
CREATE INDEX refusal_start ON refusal (start_wall_ms, id);
CREATE INDEX series_start ON series (start_wall_ms, id);
COMMIT;