-- Minute rows: columns, pending rows, writing.

-- name: channel_columns (script)
ALTER TABLE minutes ADD COLUMN c_$ INTEGER;
ALTER TABLE minutes ADD COLUMN c_$_ms INTEGER;
ALTER TABLE hours ADD COLUMN c_$ INTEGER;
ALTER TABLE hours ADD COLUMN c_$_ms INTEGER;
ALTER TABLE days ADD COLUMN c_$ INTEGER;
ALTER TABLE days ADD COLUMN c_$_ms INTEGER;

-- name: extreme_columns (script)
ALTER TABLE minutes ADD COLUMN c_$_least INTEGER;
ALTER TABLE minutes ADD COLUMN c_$_most INTEGER;
ALTER TABLE hours ADD COLUMN c_$_least INTEGER;
ALTER TABLE hours ADD COLUMN c_$_most INTEGER;
ALTER TABLE days ADD COLUMN c_$_least INTEGER;
ALTER TABLE days ADD COLUMN c_$_most INTEGER;

-- name: meter_columns (script)
ALTER TABLE energy_minutes ADD COLUMN e_$_j INTEGER;
ALTER TABLE energy_minutes ADD COLUMN e_$_ms INTEGER;
ALTER TABLE energy_hours ADD COLUMN e_$_j INTEGER;
ALTER TABLE energy_hours ADD COLUMN e_$_ms INTEGER NOT NULL DEFAULT 0;
ALTER TABLE energy_days ADD COLUMN e_$_j INTEGER;
ALTER TABLE energy_days ADD COLUMN e_$_ms INTEGER NOT NULL DEFAULT 0;

-- What a meter before another measured in all, where its rows are the difference.
-- name: difference_columns (script)
ALTER TABLE energy_minutes ADD COLUMN g_$_j INTEGER;
ALTER TABLE energy_minutes ADD COLUMN g_$_ms INTEGER;

-- Rows that the next commit will store, seen by every query through one view. Columns stand by
-- name: an import with a newer configuration may add some beside a running daemon.
-- (NULL has no affinity: with a bare one no query is taken apart into the view's halves.)
-- name: pending (script)
CREATE TEMP TABLE pending_minutes AS SELECT minute{channels|, c_$, c_$_ms}{extremes|, c_$_least, c_$_most} FROM main.minutes WHERE 0;
CREATE TEMP TABLE pending_energy_minutes AS SELECT slot, known, ms, heat_j, heat_ms, sensitivity{meters|, e_$_j, e_$_ms}{differences|, g_$_j, g_$_ms} FROM main.energy_minutes WHERE 0;
CREATE TEMP VIEW all_minutes AS
  SELECT minute{channels|, c_$, c_$_ms}{extremes|, c_$_least, c_$_most} FROM main.minutes UNION ALL
  SELECT minute{channels|, c_$, c_$_ms}{extremes|, c_$_least, c_$_most} FROM temp.pending_minutes;
CREATE TEMP VIEW all_energy_minutes AS
  SELECT slot, known, ms, heat_j, heat_ms, sensitivity{meters|, e_$_j, e_$_ms}{counting|, s_$_j, b_$_j, b_$_ms} FROM main.energy_minutes UNION ALL
  SELECT slot, known, ms, heat_j, heat_ms, sensitivity{meters|, e_$_j, e_$_ms}{counting|, CAST(NULL AS INTEGER), CAST(NULL AS INTEGER), CAST(NULL AS INTEGER)} FROM temp.pending_energy_minutes;

-- name: pending_minute_add
INSERT INTO temp.pending_minutes (minute{channels|, c_$, c_$_ms}{extremes|, c_$_least, c_$_most})
  VALUES (?{channels|, ?, ?}{extremes|, ?, ?});

-- name: pending_energy_add
INSERT INTO temp.pending_energy_minutes
  (slot, known, ms, heat_j, heat_ms, sensitivity{meters|, e_$_j, e_$_ms}{differences|, g_$_j, g_$_ms})
  VALUES (?, ?, ?, ?, ?, ?{meters|, ?, ?}{differences|, ?, ?});

-- name: minute_add
INSERT INTO main.minutes (minute{channels|, c_$, c_$_ms}{extremes|, c_$_least, c_$_most})
  VALUES (?{channels|, ?, ?}{extremes|, ?, ?});

-- name: energy_add
INSERT INTO main.energy_minutes
  (slot, known, ms, heat_j, heat_ms, sensitivity{meters|, e_$_j, e_$_ms}{differences|, g_$_j, g_$_ms})
  VALUES (?, ?, ?, ?, ?, ?{meters|, ?, ?}{differences|, ?, ?});

-- What a derivation day after day made, many rows at once; the tables that are read here are
-- its memory (kept_table.c).
-- slow: a day's rows
-- name: minutes_add_kept
INSERT INTO main.minutes (minute{channels|, c_$, c_$_ms}{extremes|, c_$_least, c_$_most})
  SELECT minute{channels|, c_$, c_$_ms}{extremes|, c_$_least, c_$_most} FROM kept_minutes_made;

-- slow: a day's rows
-- name: energy_add_kept
INSERT INTO main.energy_minutes
    (slot, known, ms, heat_j, heat_ms, sensitivity{meters|, e_$_j, e_$_ms}{differences|, g_$_j, g_$_ms})
  SELECT slot, known, ms, heat_j, heat_ms, sensitivity{meters|, e_$_j, e_$_ms}{differences|, g_$_j, g_$_ms}
  FROM kept_energies_made;

-- Their columns, as they are held.
-- name: kept_minutes_made (script)
CREATE TABLE kept_minutes_made (minute{channels|, c_$, c_$_ms}{extremes|, c_$_least, c_$_most});

-- name: kept_energies_made (script)
CREATE TABLE kept_energies_made
  (slot, known, ms, heat_j, heat_ms, sensitivity{meters|, e_$_j, e_$_ms}{differences|, g_$_j, g_$_ms});

-- Pending minutes are the newest: whatever lies at or after them in the store is of a
-- derivation that was broken off.
-- slow: of the temporary table only
-- name: pending_minutes_make_room
DELETE FROM main.minutes WHERE minute >= (SELECT min(minute) FROM temp.pending_minutes);

-- slow: as above
-- name: pending_energy_make_room
DELETE FROM main.energy_minutes
  WHERE slot >= (SELECT min(slot) / 16 * 16 FROM temp.pending_energy_minutes);

-- slow: all of a handful of pending rows
-- name: pending_minutes_move
INSERT INTO main.minutes (minute{channels|, c_$, c_$_ms}{extremes|, c_$_least, c_$_most})
  SELECT minute{channels|, c_$, c_$_ms}{extremes|, c_$_least, c_$_most} FROM temp.pending_minutes;

-- slow: as above
-- name: pending_energy_move
INSERT INTO main.energy_minutes
    (slot, known, ms, heat_j, heat_ms, sensitivity{meters|, e_$_j, e_$_ms}{differences|, g_$_j, g_$_ms})
  SELECT slot, known, ms, heat_j, heat_ms, sensitivity{meters|, e_$_j, e_$_ms}{differences|, g_$_j, g_$_ms}
  FROM temp.pending_energy_minutes;

-- slow: as above
-- name: pending_minutes_clear
DELETE FROM temp.pending_minutes;

-- slow: as above
-- name: pending_energy_clear
DELETE FROM temp.pending_energy_minutes;

-- name: minutes_drop
DELETE FROM main.minutes WHERE minute >= :from_minute AND minute < :to_minute;

-- name: energy_drop
DELETE FROM main.energy_minutes WHERE slot >= :from_minute * 16 AND slot < :to_minute * 16;

-- name: last_minute
SELECT max(minute) FROM main.minutes;

-- name: first_minute
SELECT min(minute) FROM main.minutes;

-- slow: the ends of six tables
-- name: row_span
SELECT min(first), max(next) FROM (
  SELECT (SELECT min(minute) FROM main.minutes) AS first,
    (SELECT max(minute) + 1 FROM main.minutes) AS next
  UNION ALL SELECT (SELECT min(slot) / 16 FROM main.energy_minutes),
    (SELECT max(slot) / 16 + 1 FROM main.energy_minutes)
  UNION ALL SELECT (SELECT min(hour) * 60 FROM hours), (SELECT max(hour) * 60 + 60 FROM hours)
  UNION ALL SELECT (SELECT min(hour) * 60 FROM energy_hours),
    (SELECT max(hour) * 60 + 60 FROM energy_hours)
  UNION ALL SELECT (SELECT min(start_minute) FROM days),
    (SELECT end_minute FROM days ORDER BY start_minute DESC LIMIT 1)
  UNION ALL SELECT (SELECT min(start_minute) FROM energy_days),
    (SELECT max(start_minute) + 1 FROM energy_days));
