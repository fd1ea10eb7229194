-- The store's first schema. Instants are milliseconds UTC (_ms) or whole minutes, hours and
-- days since 1970 UTC; energies are whole joules. The columns of channels and meters are
-- added as the configuration names them (queries/columns.sql).

-- name: schema_001
CREATE TABLE facts (
  name TEXT PRIMARY KEY,           -- see store.h, enum store_fact
  value INTEGER NOT NULL
) STRICT, WITHOUT ROWID;

CREATE TABLE texts (
  name TEXT PRIMARY KEY,           -- 'zone'
  value TEXT NOT NULL
) STRICT, WITHOUT ROWID;

-- What a column holds, so that a name never changes its meaning under stored rows.
CREATE TABLE columns (
  name TEXT PRIMARY KEY,           -- channel
  dimension INTEGER NOT NULL       -- enum dimension; decides the scale of the integers
) STRICT, WITHOUT ROWID;

-- Which bit of energy rows' `known` is which meter's, for ever.
CREATE TABLE meters (
  name TEXT PRIMARY KEY,
  bit INTEGER NOT NULL UNIQUE CHECK (bit BETWEEN 1 AND 30)  -- bit 0 is heat
) STRICT, WITHOUT ROWID;

-- Mappings that made days: the digest of all that decides rows.
CREATE TABLE mappings (
  id INTEGER PRIMARY KEY,
  digest INTEGER NOT NULL UNIQUE,
  since_ms INTEGER NOT NULL
) STRICT;

CREATE TABLE imports (
  id INTEGER PRIMARY KEY,
  name TEXT NOT NULL,              -- the archive's file name
  digest INTEGER NOT NULL UNIQUE,  -- of its content and form: the same archive counts once
  added_ms INTEGER NOT NULL,
  complete INTEGER NOT NULL DEFAULT 0 CHECK (complete IN (0, 1)),
  records INTEGER NOT NULL DEFAULT 0,
  rejected INTEGER NOT NULL DEFAULT 0
) STRICT;

-- The journal: raw records in their binary form, compressed. A rowid table, since a blob in a
-- table without one doubles its size.
CREATE TABLE chunks (
  id INTEGER PRIMARY KEY,
  import INTEGER REFERENCES imports (id),  -- NULL: live
  first_ms INTEGER NOT NULL,       -- least and greatest reading time under `mapping`;
  last_ms INTEGER NOT NULL,        -- the stamp where a record has no reading
  mapping INTEGER NOT NULL REFERENCES mappings (id),
  records INTEGER NOT NULL CHECK (records > 0),
  bytes INTEGER NOT NULL CHECK (bytes > 0),  -- before compression
  data BLOB NOT NULL,              -- zstd
  CHECK (first_ms <= last_ms)
) STRICT;
CREATE INDEX chunks_by_time ON chunks (first_ms, last_ms);
CREATE INDEX chunks_by_import ON chunks (import);

-- State carried into each UTC day that was derived.
CREATE TABLE checkpoints (
  day INTEGER PRIMARY KEY,         -- days since 1970
  open_ms INTEGER NOT NULL,        -- earliest start of anything open (registers, lines)
  state BLOB NOT NULL
) STRICT;

-- Which mapping made a UTC day's minutes.
CREATE TABLE days_made (
  day INTEGER PRIMARY KEY,
  mapping INTEGER NOT NULL REFERENCES mappings (id)
) STRICT;

-- Spans whose minutes are still to be derived (again).
CREATE TABLE dirty (
  from_ms INTEGER NOT NULL,
  to_ms INTEGER NOT NULL,
  CHECK (from_ms < to_ms)
) STRICT;

-- Means of the channels over each minute: integers scaled by dimension, NULL = unknown. The
-- known time c_…_ms is NULL where it is the whole minute.
CREATE TABLE minutes (
  minute INTEGER PRIMARY KEY
) STRICT;

-- One row a minute and mode. A time of NULL is the whole minute (60,000 ms) where its value
-- is known.
CREATE TABLE energy_minutes (
  slot INTEGER PRIMARY KEY,        -- minute * 16 + mode
  known INTEGER NOT NULL,          -- bit 0 heat, others see meters.bit: known all the minute
  ms INTEGER,                      -- time in the mode
  heat_j INTEGER,                  -- net, signed
  heat_ms INTEGER,
  sensitivity INTEGER              -- J/K: change of heat by a kelvin of the difference
) STRICT;

-- Sums of closed hours (UTC) and local days, told apart by what was known, so that the pairs
-- of any boundary can be summed from them.
CREATE TABLE energy_hours (
  hour INTEGER NOT NULL,
  mode INTEGER NOT NULL,
  known INTEGER NOT NULL,
  ms INTEGER NOT NULL,
  heat_j INTEGER,
  heat_ms INTEGER NOT NULL,
  sensitivity INTEGER NOT NULL,
  PRIMARY KEY (hour, mode, known)
) STRICT, WITHOUT ROWID;

CREATE TABLE energy_days (
  start_minute INTEGER NOT NULL,   -- local midnight, or the day's first minute
  mode INTEGER NOT NULL,
  known INTEGER NOT NULL,
  ms INTEGER NOT NULL,
  heat_j INTEGER,
  heat_ms INTEGER NOT NULL,
  sensitivity INTEGER NOT NULL,
  PRIMARY KEY (start_minute, mode, known)
) STRICT, WITHOUT ROWID;

CREATE TABLE hours (
  hour INTEGER PRIMARY KEY         -- hours since 1970; columns of channels as in minutes
) STRICT;

-- Closed local days of the plant's zone.
CREATE TABLE days (
  start_minute INTEGER PRIMARY KEY,
  end_minute INTEGER NOT NULL,
  date TEXT NOT NULL,              -- 2026-01-31
  CHECK (start_minute < end_minute)
) STRICT;

INSERT INTO facts (name, value) VALUES ('version', 1), ('committed_sequence', 0),
  ('derived_until_ms', 0), ('zone_digest', 0), ('journal_bytes', 0);
PRAGMA user_version = 1;
