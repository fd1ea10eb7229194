-- Law 3 and the store's invariants: each block answers rows only where one is broken.

-- Hours hold what their minutes hold, to the joule and the millisecond.
-- slow: reads everything
-- name: check_hours
SELECT 'hour ' || hour || ' differs from its minutes' FROM (
  SELECT hour, mode, known, ms, heat_j, heat_ms{meters|, e_$_j, e_$_ms}{counting|, s_$_j,
    b_$_j, b_$_ms} FROM energy_hours
  EXCEPT
  SELECT slot / 960, slot % 16, known, sum(coalesce(ms, 60000)), sum(heat_j),
    sum(CASE WHEN heat_j IS NULL THEN 0 ELSE coalesce(heat_ms, 60000) END){meters|,
    sum(e_$_j), sum(CASE WHEN e_$_j IS NULL THEN 0 ELSE coalesce(e_$_ms, 60000) END)}{counting|,
    sum(s_$_j), sum(b_$_j), sum(b_$_ms)}
  FROM energy_minutes GROUP BY slot / 960, slot % 16, known)
WHERE NOT EXISTS (SELECT 1 FROM aged WHERE day = hour / 24 AND minutes_until > hour * 60);

-- Every closed hour of minutes has its row.
-- slow: reads everything
-- name: check_hours_missing
SELECT DISTINCT 'hour ' || hour || ' is missing' FROM (
  SELECT slot / 960 AS hour, slot % 16, known FROM energy_minutes
  WHERE slot < (SELECT value / 3600000 * 960 FROM facts WHERE name = 'derived_until_ms')
  EXCEPT SELECT hour, mode, known FROM energy_hours);

-- slow: reads everything
-- name: check_days
SELECT 'day ' || d.date || ' differs from its minutes' FROM days d
WHERE (SELECT coalesce(sum(heat_j), 0){meters| + 3 * coalesce(sum(e_$_j), 0)}{counting|
      + 5 * coalesce(sum(b_$_j), 0)} + 7 * sum(ms)
    FROM energy_days e WHERE e.start_minute = d.start_minute)
  IS NOT (SELECT coalesce(sum(heat_j), 0){meters| + 3 * coalesce(sum(e_$_j), 0)}{counting|
      + 5 * coalesce(sum(b_$_j), 0)}
      + 7 * sum(coalesce(ms, 60000))
    FROM energy_minutes WHERE slot >= d.start_minute * 16 AND slot < d.end_minute * 16)
  AND NOT EXISTS (SELECT 1 FROM aged
    WHERE day = d.start_minute / 1440 AND minutes_until > d.start_minute);

-- Every minute before the last closed day's end belongs to exactly one day.
-- slow: reads everything
-- name: check_days_missing
SELECT 'minutes from ' || min(minute) || ' on belong to no day' FROM minutes m
WHERE minute < (SELECT max(end_minute) FROM days)
  AND coalesce((SELECT end_minute FROM days WHERE start_minute <= m.minute
    ORDER BY start_minute DESC LIMIT 1), 0) <= minute
GROUP BY minute / 1440;

-- slow: one short row a day
-- name: check_days_apart
SELECT 'day ' || date || ' overlaps the next' FROM (
  SELECT date, end_minute, lead(start_minute) OVER (ORDER BY start_minute) AS next FROM days)
WHERE next < end_minute;

-- slow: some short rows a day
-- name: check_days_whole
SELECT DISTINCT 'energy of a day from minute ' || start_minute || ' has no day'
FROM energy_days WHERE start_minute NOT IN (SELECT start_minute FROM days);

-- Modes fill at most the minute.
-- slow: reads everything
-- name: check_mode_time
SELECT 'minute ' || (slot / 16) || ' holds more than 60 s of modes' FROM energy_minutes
GROUP BY slot / 16 HAVING sum(coalesce(ms, 60000)) > 60000;

-- No quantity is known for longer than the minute.
-- slow: reads everything
-- name: check_known_time
SELECT 'minute ' || (slot / 16) || ' knows a quantity for more than 60 s' FROM energy_minutes
GROUP BY slot / 16
HAVING sum(CASE WHEN heat_j IS NULL THEN 0 ELSE coalesce(heat_ms, 60000) END) > 60000{meters|
  OR sum(CASE WHEN e_$_j IS NULL THEN 0 ELSE coalesce(e_$_ms, 60000) END) > 60000};

-- A quantity's bit of `known` is set where it was known for all of the minute.
-- slow: reads everything
-- name: check_known_bits
SELECT 'minute ' || (slot / 16) || ' says wrongly what it knows' FROM energy_minutes
GROUP BY slot / 16
HAVING min(known) <> max(known) OR max(known) & 1 <>
  (sum(CASE WHEN heat_j IS NULL THEN 0 ELSE coalesce(heat_ms, 60000) END) = 60000){meters|
  OR (max(known) >> (SELECT bit FROM meters WHERE name = '$')) & 1 <>
    (sum(CASE WHEN e_$_j IS NULL THEN 0 ELSE coalesce(e_$_ms, 60000) END) = 60000)};

-- Known times lie within the minute and exist only beside values.
-- slow: reads everything
-- name: check_channel_time
SELECT 'minute ' || minute || ' has a known time without value or beyond the minute'
FROM minutes
WHERE 0{channels| OR (c_$ IS NULL AND c_$_ms IS NOT NULL) OR c_$_ms NOT BETWEEN 1 AND 59999};

-- No two spans of a register lie over the same time.
-- slow: reads all spans
-- name: check_settlements
SELECT 'two spans of a register lie over ' || end_ms FROM (
  SELECT end_ms, lead(begin_ms) OVER (PARTITION BY meter ORDER BY end_ms, begin_ms) AS next
  FROM settlements) WHERE next < end_ms;

-- What was spread and bridged is part of the energy, and bridged time is not known.
-- slow: reads everything
-- name: check_bridged
SELECT 'minute ' || (slot / 16) || ' bridges beyond itself' FROM energy_minutes
WHERE 0{counting| OR ((s_$_j IS NOT NULL OR b_$_j IS NOT NULL) AND (@_j IS NULL OR p_$_ms IS NULL))
  OR b_$_ms NOT BETWEEN 0 AND 60000};

-- Runs belong to days that are stored and marked.
-- slow: some short rows a day
-- name: check_runs
SELECT 'runs of a day from minute ' || start_minute || ' belong to no day'
  FROM run_days WHERE start_minute NOT IN (SELECT start_minute FROM days)
UNION ALL SELECT DISTINCT 'runs of a day from minute ' || start_minute || ' are not marked'
  FROM runs WHERE start_minute NOT IN (SELECT start_minute FROM run_days)
UNION ALL SELECT DISTINCT 'energy of a run that began at ' || begin_ms || ' has no run'
  FROM energy_runs e WHERE NOT EXISTS (SELECT 1 FROM runs r WHERE r.kind = e.kind
    AND r.start_minute = e.start_minute AND r.meter = e.meter AND r.begin_ms = e.begin_ms);

-- Defrosts, hot-water runs and freeze protection of a day hold what its modes hold: time and heat.
-- slow: some short rows a day
-- name: check_run_sums
SELECT 'runs of ' || d.date || ' hold other than mode ' || m.mode
FROM run_days r JOIN days d USING (start_minute)
  JOIN (SELECT 1 AS kind, 3 AS mode UNION ALL SELECT 2, 2 UNION ALL SELECT 4, 5) m
WHERE (SELECT coalesce(sum(ms), 0) + 3 * coalesce(sum(heat_j), 0) FROM energy_runs e
    WHERE e.kind = m.kind AND e.start_minute = d.start_minute AND e.mode = m.mode)
  IS NOT (SELECT coalesce(sum(ms), 0) + 3 * coalesce(sum(heat_j), 0) FROM energy_days e
    WHERE e.start_minute = d.start_minute AND e.mode = m.mode AND e.ms > 0);
