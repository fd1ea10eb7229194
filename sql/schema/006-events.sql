-- What the engine tells of instruments, beside the rows of minutes.

-- name: schema_006
CREATE TABLE events (
  made_ms INTEGER NOT NULL,        -- of the reading that made it certain
  is_meter INTEGER NOT NULL,       -- what the subject names: 1 a meter, 0 a channel
  subject TEXT NOT NULL,
  kind INTEGER NOT NULL,           -- event.h, enum event_kind
  t_ms INTEGER NOT NULL,           -- when it happened
  before REAL,                     -- in the kind's own unit; NULL = none
  after REAL,
  PRIMARY KEY (made_ms, is_meter, subject, kind, t_ms)
) STRICT, WITHOUT ROWID;
CREATE INDEX events_by_time ON events (t_ms);
PRAGMA user_version = 6;
