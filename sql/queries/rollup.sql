-- Closed hours (UTC) and local days from minutes. Means weigh by known time.

-- name: energy_hours_drop
DELETE FROM energy_hours WHERE hour >= :from_hour AND hour < :to_hour;

-- name: energy_hours_sum
INSERT INTO energy_hours
  (hour, mode, known, ms, heat_j, heat_ms, sensitivity{meters|, e_$_j, e_$_ms})
SELECT slot / 960, slot % 16, known, sum(coalesce(ms, 60000)), sum(heat_j),
    sum(CASE WHEN heat_j IS NULL THEN 0 ELSE coalesce(heat_ms, 60000) END),
    sum(coalesce(sensitivity, 0)){meters|, sum(e_$_j),
    sum(CASE WHEN e_$_j IS NULL THEN 0 ELSE coalesce(e_$_ms, 60000) END)}
  FROM main.energy_minutes WHERE slot >= :from_hour * 960 AND slot < :to_hour * 960
  GROUP BY slot / 960, slot % 16, known;

-- name: energy_days_drop
DELETE FROM energy_days WHERE start_minute >= :from_minute AND start_minute < :to_minute;

-- name: energy_day_sum
INSERT INTO energy_days
  (start_minute, mode, known, ms, heat_j, heat_ms, sensitivity{meters|, e_$_j, e_$_ms})
SELECT :start_minute, slot % 16, known, sum(coalesce(ms, 60000)), sum(heat_j),
    sum(CASE WHEN heat_j IS NULL THEN 0 ELSE coalesce(heat_ms, 60000) END),
    sum(coalesce(sensitivity, 0)){meters|, sum(e_$_j),
    sum(CASE WHEN e_$_j IS NULL THEN 0 ELSE coalesce(e_$_ms, 60000) END)}
  FROM main.energy_minutes WHERE slot >= :start_minute * 16 AND slot < :end_minute * 16
  GROUP BY slot % 16, known;

-- name: hours_drop
DELETE FROM hours WHERE hour >= :from_hour AND hour < :to_hour;

-- name: hour_sum
INSERT INTO hours (hour{numbers|, c_$, c_$_ms}{states|, c_$, c_$_ms}{extremes|, c_$_least, c_$_most})
SELECT minute / 60{numbers|,
    CAST(round(sum(1.0 * c_$ * coalesce(c_$_ms, 60000)) /
      sum(CASE WHEN c_$ IS NOT NULL THEN coalesce(c_$_ms, 60000) END)) AS INTEGER),
    sum(CASE WHEN c_$ IS NOT NULL THEN coalesce(c_$_ms, 60000) END)}{states|,
    (SELECT i.c_$ FROM main.minutes i
      WHERE i.minute >= m.minute / 60 * 60 AND i.minute < m.minute / 60 * 60 + 60
        AND i.c_$ IS NOT NULL
      GROUP BY i.c_$ ORDER BY sum(coalesce(i.c_$_ms, 60000)) DESC, i.c_$ DESC LIMIT 1),
    sum(CASE WHEN c_$ IS NOT NULL THEN coalesce(c_$_ms, 60000) END)}{extremes|,
    min(c_$_least), max(c_$_most)}
  FROM main.minutes m WHERE minute >= :from_hour * 60 AND minute < :to_hour * 60
  GROUP BY minute / 60;

-- name: days_drop
DELETE FROM days WHERE start_minute >= :from_minute AND start_minute < :to_minute;

-- A day without a known minute has no row: one group of all, none of nothing.
-- name: day_sum
INSERT INTO days (start_minute, end_minute, date{numbers|, c_$, c_$_ms}{states|, c_$, c_$_ms}{extremes|, c_$_least, c_$_most})
SELECT :start_minute, :end_minute, :date{numbers|,
    CAST(round(sum(1.0 * c_$ * coalesce(c_$_ms, 60000)) /
      sum(CASE WHEN c_$ IS NOT NULL THEN coalesce(c_$_ms, 60000) END)) AS INTEGER),
    sum(CASE WHEN c_$ IS NOT NULL THEN coalesce(c_$_ms, 60000) END)}{states|,
    (SELECT i.c_$ FROM main.minutes i
      WHERE i.minute >= :start_minute AND i.minute < :end_minute AND i.c_$ IS NOT NULL
      GROUP BY i.c_$ ORDER BY sum(coalesce(i.c_$_ms, 60000)) DESC, i.c_$ DESC LIMIT 1),
    sum(CASE WHEN c_$ IS NOT NULL THEN coalesce(c_$_ms, 60000) END)}{extremes|,
    min(c_$_least), max(c_$_most)}
  FROM main.minutes WHERE minute >= :start_minute AND minute < :end_minute
  GROUP BY NULL;

-- slow: one short row a day, only when the zone's rules changed
-- name: days_list
SELECT start_minute, end_minute FROM days ORDER BY start_minute;
