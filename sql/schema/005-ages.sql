-- Records and minutes have an age up to which they are kept.

-- name: schema_005
CREATE TABLE aged (
  day INTEGER PRIMARY KEY,         -- days since 1970
  until_minute INTEGER NOT NULL,   -- rows before it stay as they are: records that made them are gone
  minutes_until INTEGER NOT NULL   -- minutes before it are gone; their hours and days stay
) STRICT;
PRAGMA user_version = 5;
