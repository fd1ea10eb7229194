-- What days' minutes say about the state of sensors, meters and plant (evidence.h). Days that
-- were summed before have none yet: the daemon looks at them in its turns.

-- name: schema_008
CREATE TABLE evidence (
  start_minute INTEGER NOT NULL,   -- of the local day, as in days
  kind INTEGER NOT NULL,           -- evidence.h, enum evidence_kind
  subject TEXT NOT NULL,           -- a channel, a meter, a mode or ''
  at_minute INTEGER NOT NULL,      -- when it begins
  minutes INTEGER NOT NULL,
  v0 REAL, v1 REAL, v2 REAL, v3 REAL, v4 REAL, v5 REAL,
  PRIMARY KEY (start_minute, kind, subject, at_minute)
) STRICT, WITHOUT ROWID;
PRAGMA user_version = 8;
