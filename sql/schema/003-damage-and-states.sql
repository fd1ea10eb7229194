-- Damage has a place, days can be sealed, and states have codes for ever.

-- name: schema_003
-- Where a chunk's readings lie under the mapping in force, and whether it can be read: apart
-- from the chunk, whose own row is never written again. Its columns of the same names keep
-- what held when it was filed.
CREATE TABLE spans (
  chunk INTEGER PRIMARY KEY REFERENCES chunks (id) ON DELETE CASCADE,
  first_ms INTEGER NOT NULL,
  last_ms INTEGER NOT NULL,
  mapping INTEGER NOT NULL REFERENCES mappings (id),
  damaged_ms INTEGER,              -- when its content was found damaged; NULL: sound
  CHECK (first_ms <= last_ms)
) STRICT;
INSERT INTO spans (chunk, first_ms, last_ms, mapping)
  SELECT id, first_ms, last_ms, mapping FROM chunks;
CREATE INDEX spans_by_time ON spans (first_ms, last_ms);
CREATE INDEX spans_damaged ON spans (chunk) WHERE damaged_ms IS NOT NULL;
DROP INDEX chunks_by_time;

-- UTC days whose journal lost a chunk after they were derived: their minutes up to that one
-- are the truth and are not derived again.
CREATE TABLE sealed (
  day INTEGER NOT NULL,            -- days since 1970
  chunk INTEGER NOT NULL REFERENCES chunks (id) ON DELETE CASCADE,
  until_minute INTEGER NOT NULL,
  PRIMARY KEY (day, chunk)
) STRICT, WITHOUT ROWID;
CREATE INDEX sealed_by_chunk ON sealed (chunk);

-- What the codes in a plain channel's columns mean, for ever. States of roles have the fixed
-- codes of their role; -1 is a word that no map named.
CREATE TABLE states (
  channel TEXT NOT NULL,
  code INTEGER NOT NULL CHECK (code >= 0),
  name TEXT NOT NULL,
  PRIMARY KEY (channel, code),
  UNIQUE (channel, name)
) STRICT, WITHOUT ROWID;

DROP TABLE texts;

INSERT INTO facts (name, value) VALUES ('open', 0);
PRAGMA user_version = 3;
