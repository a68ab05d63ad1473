-- Other names for columns and coded values. A sentence (evidence, notes, note)
-- and a commissioning record stay as they were written. The program does what
-- SQL cannot: it makes the chain again, which covers names and values, and
-- renames the keys in the memories, which have sums.
ALTER TABLE charge RENAME COLUMN low_cover_mm TO low_level_mm;
ALTER TABLE visit RENAME COLUMN cover_before_mm TO level_before_mm;
ALTER TABLE visit RENAME COLUMN cover_after_mm TO level_after_mm;
ALTER TABLE visit_cell RENAME COLUMN dip_before_mm TO rod_before_mm;
ALTER TABLE visit_cell RENAME COLUMN dip_after_mm TO rod_after_mm;
ALTER TABLE series RENAME COLUMN cover_mm TO level_mm;
ALTER TABLE series RENAME COLUMN cover_mm_min TO level_mm_min;

UPDATE visit SET kind = 'cover-plates' WHERE kind = 'cover-fill';
UPDATE charge SET ended = 'blocked' WHERE ended = 'withheld';
UPDATE charge SET code = 'level-unknown' WHERE code = 'cover-unknown';
UPDATE finding SET code = 'level-unknown' WHERE code = 'cover-unknown';
UPDATE refusal SET code = 'level-unknown' WHERE code = 'cover-unknown';
UPDATE refusal SET codes = trim(replace(' ' || codes || ' ', ' cover-unknown ', ' level-unknown '))
  WHERE ' ' || codes || ' ' LIKE '% cover-unknown %';
UPDATE event SET code = 'level-unknown' WHERE code = 'cover-unknown';
UPDATE event SET kind = 'permit-blocked' WHERE kind = 'permit-withheld';
UPDATE event SET stage = 'checking' WHERE stage = 'settling';
UPDATE event SET from_stage = 'checking' WHERE from_stage = 'settling';
UPDATE series SET stage = 'checking' WHERE stage = 'settling';

-- What happened is kept in codes and numbers and worded by whoever shows it, in the
-- reader's language. What older programs kept as a sentence (event.note,
-- finding.evidence, refusal.evidence) is shown as it was written.
ALTER TABLE event ADD COLUMN detail TEXT NOT NULL DEFAULT '';      -- JSON; '' for nothing
ALTER TABLE finding ADD COLUMN reason TEXT NOT NULL DEFAULT '';    -- '' for the usual one
ALTER TABLE refusal ADD COLUMN reason TEXT NOT NULL DEFAULT '';    -- of the first code, as in finding
ALTER TABLE refusal ADD COLUMN value REAL;
ALTER TABLE refusal ADD COLUMN limit_value REAL;
ALTER TABLE refusal ADD COLUMN fault TEXT NOT NULL DEFAULT '';

-- What the chain was before a step that made it again.
CREATE TABLE rechained (
  schema INTEGER PRIMARY KEY, -- the step
  links  INTEGER NOT NULL,    -- how many held
  head   BLOB    NOT NULL,    -- hash of the last of them
  broken TEXT    NOT NULL     -- where it was broken already, '' where it was not
) STRICT;
