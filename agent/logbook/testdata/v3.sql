-- A logbook of schema version 1 as the programs of versions 2 and 3 brought it up to date and wrote on.
PRAGMA application_id = 1650555255;
PRAGMA user_version = 3;
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
INSERT INTO "chain" VALUES(1,1,'charge',1,X'82C6A88AA210D3FCA35E6A17B76BBA0DE45C33654E8CC874B39132F68728F1D7');
INSERT INTO "chain" VALUES(2,1,'visit',1,X'884BA63E2BA735C0D5E76D7B2A77458FF556D6AE10BD8AF5C78801176504D220');
CREATE TABLE chain_head (
  id   INTEGER PRIMARY KEY CHECK (id = 1),
  no   INTEGER NOT NULL,
  hash BLOB    NOT NULL
) STRICT;
INSERT INTO "chain_head" VALUES(1,2,X'884BA63E2BA735C0D5E76D7B2A77458FF556D6AE10BD8AF5C78801176504D220');
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
INSERT INTO "charge" VALUES(1,1,1,'agent',1772344920000,1,'5f0c3b1e',120000000000,1772345520000,1,'5f0c3b1e',720000000000,101.25,20.5,6.9,0.45,24.0,38.5,41.0,7.5,28000.0,0.0,12.0,1,'steady-taper','full','','O''Neil, "Zoë" 张');
INSERT INTO "charge" VALUES(2,1,1,'agent',1772347200000,1,'5f0c3b1e',2400000000000,NULL,0,'',0,101.25,20.5,6.9,0.45,24.0,38.5,41.0,7.5,28000.0,0.0,12.0,1,'steady-taper','full','','O''Neil, "Zoë" 张');
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
INSERT INTO "commissioning" VALUES('walk-2',1,1772344803123,0,'5f0c3b1e',3000000000,1,'{"by":"Zoë \"O''Neil\""}');
INSERT INTO "commissioning" VALUES('walk-1',2,1772344804123,1,'5f0c3b1e',4000000000,0,'{"n":1}');
INSERT INTO "commissioning" VALUES('walk-3',2,1772344805123,0,'5f0c3b1e',5000000000,1,'{"n":2}');
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
INSERT INTO "pack" VALUES(1,'lift-24v');
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
INSERT INTO "visit" VALUES(1,1,1,'agent',1772346000000,1,'5f0c3b1e',1200000000000,1772346600000,1,'5f0c3b1e',1800000000000,'water','O''Neil, "Zoë" 张','ana
b','Confirmed: gloves.','demineralised',2.5,4.0,13.0,310.0,'a
b');
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
INSERT INTO "visit_cell" VALUES(1,1,150.0,3.0,13.0,1.265,31.0);
INSERT INTO "visit_cell" VALUES(1,2,0.0,NULL,NULL,NULL,NULL);
INSERT INTO "visit_cell" VALUES(1,12,160.0,NULL,NULL,1.25,30.0);
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
CREATE TRIGGER commissioning_signed BEFORE UPDATE ON commissioning WHEN OLD.signed
BEGIN SELECT RAISE(ABORT, 'a signed commissioning record is never changed'); END;
CREATE TRIGGER commissioning_kept BEFORE DELETE ON commissioning WHEN OLD.signed
BEGIN SELECT RAISE(ABORT, 'a signed commissioning record is never removed'); END;
COMMIT;