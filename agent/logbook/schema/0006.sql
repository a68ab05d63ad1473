-- What a visit knows of a cell. The chain leaves out a column that a chained table
-- has gained while it has its default, so links made before still hold.
ALTER TABLE visit_cell ADD COLUMN how        TEXT    NOT NULL DEFAULT ''; -- measured, to-mark, as-proposed; '' for a reading only, or unknown
ALTER TABLE visit_cell ADD COLUMN drawn_ml   REAL;                        -- electrolyte drawn off
ALTER TABLE visit_cell ADD COLUMN dry_before INTEGER NOT NULL DEFAULT 0;  -- 1: before any water the rod showed the plates
ALTER TABLE visit_cell ADD COLUMN dry_after  INTEGER NOT NULL DEFAULT 0;  -- 1: so did the last look after it
ALTER TABLE visit_cell ADD COLUMN verdict    TEXT    NOT NULL DEFAULT ''; -- what the gravity means
ALTER TABLE visit_cell ADD COLUMN done_by    TEXT    NOT NULL DEFAULT ''; -- who recorded it, one name a line

-- A paper sheet that was typed in after the visit.
ALTER TABLE visit ADD COLUMN late_wall_ms INTEGER;                 -- when it was typed in
ALTER TABLE visit ADD COLUMN late_by      TEXT NOT NULL DEFAULT ''; -- by whom

-- A counter-entry to one value of one cell. The visit keeps what was recorded
-- first, unless applied: then the visit was still open, and has the new value.
CREATE TABLE correction (
  id            INTEGER PRIMARY KEY,
  bay_id        INTEGER NOT NULL REFERENCES bay (id),
  pack_id       INTEGER REFERENCES pack (id),
  of_visit      INTEGER NOT NULL REFERENCES visit (id),
  cell          INTEGER NOT NULL,
  field         TEXT    NOT NULL,
  old_value     REAL,             -- NULL: there was none
  new_value     REAL,             -- NULL: it never happened
  applied       INTEGER NOT NULL,
  reason        TEXT    NOT NULL,
  person        TEXT    NOT NULL,
  start_wall_ms INTEGER NOT NULL, -- when it was corrected, as for an event
  start_trusted INTEGER NOT NULL,
  start_boot_id TEXT    NOT NULL,
  start_mono_ns INTEGER NOT NULL
) STRICT;
CREATE INDEX correction_visit ON correction (of_visit, id);
CREATE INDEX correction_start ON correction (start_wall_ms, id);

CREATE TRIGGER correction_kept BEFORE UPDATE ON correction
BEGIN SELECT RAISE(ABORT, 'a correction is never changed'); END;
CREATE TRIGGER correction_stays BEFORE DELETE ON correction
BEGIN SELECT RAISE(ABORT, 'a correction is never removed'); END;
