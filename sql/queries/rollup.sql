-- Closed hours (UTC) and local days: minutes out in order, their sums in. Summing is done by
-- daemon/store/rollup.c in one pass for both; checks.sql sums again by itself.

-- name: minutes_of_span
SELECT minute{channels|, c_$, c_$_ms}{extremes|, c_$_least, c_$_most}
  FROM main.minutes WHERE minute >= :from_minute AND minute < :to_minute ORDER BY minute;

-- name: energy_of_span
SELECT slot, known, ms, heat_j, heat_ms, sensitivity{meters|, e_$_j, e_$_ms}{counting|, s_$_j, b_$_j, b_$_ms}
  FROM main.energy_minutes WHERE slot >= :from_minute * 16 AND slot < :to_minute * 16
  ORDER BY slot;

-- name: energy_hours_drop
DELETE FROM energy_hours WHERE hour >= :from_minute / 60 AND hour < :to_minute / 60;

-- name: energy_hour_add
INSERT INTO energy_hours
  (hour, mode, known, ms, heat_j, heat_ms, sensitivity{meters|, e_$_j, e_$_ms}{counting|, s_$_j, b_$_j, b_$_ms})
  VALUES (?, ?, ?, ?, ?, ?, ?{meters|, ?, ?}{counting|, ?, ?, ?});

-- name: energy_days_drop
DELETE FROM energy_days WHERE start_minute >= :from_minute AND start_minute < :to_minute;

-- name: energy_day_add
INSERT INTO energy_days
  (start_minute, mode, known, ms, heat_j, heat_ms, sensitivity{meters|, e_$_j, e_$_ms}{counting|, s_$_j, b_$_j, b_$_ms})
  VALUES (?, ?, ?, ?, ?, ?, ?{meters|, ?, ?}{counting|, ?, ?, ?});

-- name: hours_drop
DELETE FROM hours WHERE hour >= :from_minute / 60 AND hour < :to_minute / 60;

-- name: hour_add
INSERT INTO hours (hour{channels|, c_$, c_$_ms}{extremes|, c_$_least, c_$_most})
  VALUES (?{channels|, ?, ?}{extremes|, ?, ?});

-- name: days_drop
DELETE FROM days WHERE start_minute >= :from_minute AND start_minute < :to_minute;

-- A day of which nothing but energy is known has a row as well.
-- name: day_add_bare
INSERT INTO days (start_minute, end_minute, date) VALUES (:start_minute, :end_minute, :date)
  ON CONFLICT (start_minute) DO NOTHING;

-- A day without a known minute has no row.
-- name: day_add
INSERT INTO days (start_minute{channels|, c_$, c_$_ms}{extremes|, c_$_least, c_$_most}, end_minute, date)
  VALUES (?{channels|, ?, ?}{extremes|, ?, ?}, ?, ?);
