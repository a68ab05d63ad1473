-- A logbook as the program of schema version 1 left it: five writes for bay-1,
-- one for bay-2, a memory, and a cursor.
PRAGMA application_id = 1650555255;
PRAGMA user_version = 1;
BEGIN TRANSACTION;
CREATE TABLE bay (
  id       INTEGER PRIMARY KEY,
  name     TEXT    NOT NULL UNIQUE,
  last_seq INTEGER NOT NULL DEFAULT 0, -- number of the newest event
  sent_seq INTEGER NOT NULL DEFAULT 0  -- events up to here are at the broker
) STRICT;
INSERT INTO "bay" VALUES(1,'bay-1',9,4);
INSERT INTO "bay" VALUES(2,'bay-2',3,0);
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
INSERT INTO "event" VALUES(1,1,1772344800123,1,'5f0c3b1e',0,'finding-raised','','','plates-bare','','','Cover is 2 mm below the plate tops.');
INSERT INTO "event" VALUES(1,2,1772344801123,0,'5f0c3b1e',1000000000,'finding-raised','','','plates-bare','','','Cover is 2 mm below the plate tops.');
INSERT INTO "event" VALUES(1,3,1772344801123,0,'5f0c3b1e',1000000000,'stage-changed','charging','waiting','','','','Charging.');
INSERT INTO "event" VALUES(1,4,1772344802123,1,'5f0c3b1e',2000000000,'finding-raised','','','plates-bare','','','Cover is 2 mm below the plate tops.');
INSERT INTO "event" VALUES(1,5,1772344802123,1,'5f0c3b1e',2000000000,'stage-changed','charging','waiting','','','','Charging.');
INSERT INTO "event" VALUES(1,6,1772344802123,1,'5f0c3b1e',2000000000,'order-taken','','','','O''Neil, "Zoë" 张','a
b','Hold; it''s 5 % — ok');
INSERT INTO "event" VALUES(1,7,1772344803123,0,'5f0c3b1e',3000000000,'finding-raised','','','plates-bare','','','Cover is 2 mm below the plate tops.');
INSERT INTO "event" VALUES(1,8,1772344804123,1,'5f0c3b1e',4000000000,'finding-raised','','','plates-bare','','','Cover is 2 mm below the plate tops.');
INSERT INTO "event" VALUES(1,9,1772344804123,1,'5f0c3b1e',4000000000,'stage-changed','charging','waiting','','','','Charging.');
INSERT INTO "event" VALUES(2,1,1772344809123,0,'5f0c3b1e',9000000000,'finding-raised','','','plates-bare','','','Cover is 2 mm below the plate tops.');
INSERT INTO "event" VALUES(2,2,1772344809123,0,'5f0c3b1e',9000000000,'stage-changed','charging','waiting','','','','Charging.');
INSERT INTO "event" VALUES(2,3,1772344809123,0,'5f0c3b1e',9000000000,'order-taken','','','','O''Neil, "Zoë" 张','a
b','Hold; it''s 5 % — ok');
CREATE TABLE memory (
  bay_id  INTEGER PRIMARY KEY REFERENCES bay (id),
  wall_ms INTEGER NOT NULL,
  trusted INTEGER NOT NULL,
  boot_id TEXT    NOT NULL,
  mono_ns INTEGER NOT NULL,
  state   BLOB    NOT NULL
) STRICT;
INSERT INTO "memory" VALUES(1,1772344807123,0,'5f0c3b1e',7000000000,X'7B2276223A312C227061636B223A226C6966742D323476227D');
COMMIT;
