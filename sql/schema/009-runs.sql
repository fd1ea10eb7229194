-- What the plant did for a while (runs.h), by local days: each day's pieces, their energies as
-- energy_days holds those of days, and a mark that they are the day's. Columns of meters are added
-- as the configuration names them. Days that were summed before have none yet: the daemon makes
-- them in its turns.

-- name: schema_009
CREATE TABLE run_days (
  start_minute INTEGER PRIMARY KEY,  -- of the local day, as in days
  end_minute INTEGER NOT NULL,
  form INTEGER NOT NULL,             -- what they were made by
  since INTEGER NOT NULL,            -- runs.h, enum run_since: the compressor's time at its end
  since_ms INTEGER NOT NULL
) STRICT;

CREATE TABLE runs (
  kind INTEGER NOT NULL,             -- runs.h, enum run_kind
  start_minute INTEGER NOT NULL,     -- of its day
  meter INTEGER NOT NULL,            -- meters.bit of an immersion heater's; 0: of none
  begin_ms INTEGER NOT NULL,
  end_ms INTEGER NOT NULL,
  ms INTEGER NOT NULL,               -- in its modes
  flags INTEGER NOT NULL,            -- by rule 1, begin truncated 2, end truncated 4,
                                     -- came over from the day before 8, goes on the day after 16
  ended INTEGER NOT NULL,            -- runs.h, enum run_end
  flow_sum REAL NOT NULL,            -- over minutes in which it was known, and how many
  flow_minutes INTEGER NOT NULL,
  return_sum REAL NOT NULL,
  return_minutes INTEGER NOT NULL,
  frequency_sum REAL NOT NULL,
  frequency_minutes INTEGER NOT NULL,
  outdoor_sum REAL NOT NULL,
  outdoor_minutes INTEGER NOT NULL,
  cylinder_begin REAL,
  cylinder_end REAL,
  since INTEGER NOT NULL,            -- of a defrost, as in run_days
  since_ms INTEGER NOT NULL,
  PRIMARY KEY (kind, start_minute, meter, begin_ms)
) STRICT, WITHOUT ROWID;

CREATE TABLE energy_runs (
  kind INTEGER NOT NULL,
  start_minute INTEGER NOT NULL,
  meter INTEGER NOT NULL,
  begin_ms INTEGER NOT NULL,
  mode INTEGER NOT NULL,
  known INTEGER NOT NULL,
  ms INTEGER NOT NULL,
  heat_j INTEGER NOT NULL,
  heat_ms INTEGER NOT NULL,
  sensitivity INTEGER NOT NULL,
  PRIMARY KEY (kind, start_minute, meter, begin_ms, mode, known)
) STRICT, WITHOUT ROWID;

-- Which days were looked at: that is asked of all of them, and their rows are many.
CREATE INDEX evidence_looked ON evidence (start_minute, minutes) WHERE kind = 0;
PRAGMA user_version = 9;
