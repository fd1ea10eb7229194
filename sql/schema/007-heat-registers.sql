-- A register may count heat, too, which is bit 0 of what is known and no meter's.

-- name: schema_007
CREATE TABLE settlements_007 (
  meter INTEGER NOT NULL,          -- meters.bit; 0 = heat
  end_ms INTEGER NOT NULL,
  begin_ms INTEGER NOT NULL,
  kind INTEGER NOT NULL,           -- settlement.h, enum settlement_kind
  made_ms INTEGER NOT NULL,        -- of the reading that closed it
  j INTEGER NOT NULL,              -- what the register counted
  from_j INTEGER NOT NULL,         -- the register at both ends
  to_j INTEGER NOT NULL,
  first INTEGER NOT NULL,          -- 1: begins with the first reading ever, amid a step
  power_j INTEGER NOT NULL,        -- by power, over all of it, and for how long it was known:
  power_ms INTEGER NOT NULL,       -- when that changes, so does every minute's share
  head_j INTEGER NOT NULL,         -- by power, in the first minute from begin_ms on, and for
  head_ms INTEGER NOT NULL,        -- how long it was known there
  tail_j INTEGER NOT NULL,         -- the same of the last minute up to end_ms
  tail_ms INTEGER NOT NULL,
  PRIMARY KEY (meter, end_ms, begin_ms, kind),
  CHECK (begin_ms <= end_ms)
) STRICT, WITHOUT ROWID;
INSERT INTO settlements_007 SELECT meter, end_ms, begin_ms, kind, made_ms, j, from_j, to_j, first,
    power_j, power_ms, head_j, head_ms, tail_j, tail_ms FROM settlements;
DROP TABLE settlements;
ALTER TABLE settlements_007 RENAME TO settlements;
CREATE INDEX settlements_by_reading ON settlements (made_ms);
PRAGMA user_version = 7;
