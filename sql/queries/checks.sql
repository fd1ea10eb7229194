-- Law 3 and the store's invariants: each block answers rows only where one is broken.

-- Hours hold what their minutes hold, to the joule and the millisecond.
-- slow: reads everything
-- name: check_hours
SELECT 'hour ' || hour || ' differs from its minutes' FROM (
  SELECT hour, mode, known, ms, heat_j, heat_ms{meters|, e_$_j, e_$_ms} FROM energy_hours
  EXCEPT
  SELECT slot / 960, slot % 16, known, sum(coalesce(ms, 60000)), sum(heat_j),
    sum(CASE WHEN heat_j IS NULL THEN 0 ELSE coalesce(heat_ms, 60000) END){meters|,
    sum(e_$_j), sum(CASE WHEN e_$_j IS NULL THEN 0 ELSE coalesce(e_$_ms, 60000) END)}
  FROM energy_minutes GROUP BY slot / 960, slot % 16, known);

-- slow: reads everything
-- name: check_days
SELECT 'day ' || d.date || ' differs from its minutes' FROM days d
WHERE (SELECT coalesce(sum(heat_j), 0){meters| + 3 * coalesce(sum(e_$_j), 0)} + 7 * sum(ms)
    FROM energy_days e WHERE e.start_minute = d.start_minute)
  IS NOT (SELECT coalesce(sum(heat_j), 0){meters| + 3 * coalesce(sum(e_$_j), 0)}
      + 7 * sum(coalesce(ms, 60000))
    FROM energy_minutes WHERE slot >= d.start_minute * 16 AND slot < d.end_minute * 16);

-- Modes fill at most the minute.
-- slow: reads everything
-- name: check_mode_time
SELECT 'minute ' || slot / 16 || ' holds more than 60 s of modes' FROM energy_minutes
GROUP BY slot / 16 HAVING sum(coalesce(ms, 60000)) > 60000;

-- No quantity is known for longer than the minute.
-- slow: reads everything
-- name: check_known_time
SELECT 'minute ' || slot / 16 || ' knows heat for more than 60 s' FROM energy_minutes
GROUP BY slot / 16
HAVING sum(CASE WHEN heat_j IS NULL THEN 0 ELSE coalesce(heat_ms, 60000) END) > 60000;

-- Known times lie within the minute and exist only beside values.
-- slow: reads everything
-- name: check_channel_time
SELECT 'minute ' || minute || ' has a known time without value or beyond the minute'
FROM minutes
WHERE 0{channels| OR (c_$ IS NULL AND c_$_ms IS NOT NULL) OR c_$_ms NOT BETWEEN 1 AND 59999};
