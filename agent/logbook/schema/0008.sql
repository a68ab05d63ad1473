-- Which record the numbers of events belong to: a reader outside must not take the
-- numbers of one for those of another.
CREATE TABLE epoch (
  n  INTEGER PRIMARY KEY, -- 1, 2, 3, …: the last one is the present
  id TEXT NOT NULL UNIQUE -- random
) STRICT;
INSERT INTO epoch VALUES (1, lower(hex(randomblob(8))));
ALTER TABLE event ADD COLUMN epoch INTEGER NOT NULL DEFAULT 1; -- n of an epoch
ALTER TABLE origin ADD COLUMN renew INTEGER NOT NULL DEFAULT 0; -- 1: a backup, in which the next epoch begins when it is opened as a logbook
