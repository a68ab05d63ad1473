-- Whether a memory is whole, and the newest one.
ALTER TABLE memory ADD COLUMN newest INTEGER NOT NULL DEFAULT 0;   -- number of the bay's newest event when it was saved
ALTER TABLE memory ADD COLUMN crc INTEGER NOT NULL DEFAULT 0;      -- over the row, see format.md
ALTER TABLE memory ADD COLUMN copied INTEGER NOT NULL DEFAULT 0;   -- 1: it came with a backup, and was not saved since
ALTER TABLE pack_memory ADD COLUMN crc INTEGER NOT NULL DEFAULT 0; -- over the row

-- Where this file comes from.
CREATE TABLE origin (
  id     INTEGER PRIMARY KEY CHECK (id = 1),
  mark   INTEGER NOT NULL, -- random; the lockout file that goes with this file has the same; 0: there was none yet
  copied INTEGER NOT NULL, -- 1: a backup that was put in the logbook's place
  again  INTEGER NOT NULL  -- 1: begun where a logbook had been before
) STRICT;
INSERT INTO origin VALUES (1, 0, 0, 0);
