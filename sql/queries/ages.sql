-- What is taken off for its age. See daemon/store/age.c.

-- Live chunks whose readings are all older; those of an unsure clock have no age.
-- name: chunks_past
SELECT s.chunk, s.first_ms, s.last_ms, length(c.data)
  FROM spans s JOIN chunks c ON c.id = s.chunk
  WHERE s.first_ms >= 946684800000 AND s.first_ms < :before_ms AND s.last_ms < :before_ms
    AND s.chunk NOT IN (SELECT id FROM chunks WHERE import IS NOT NULL)
  ORDER BY s.first_ms LIMIT :most;

-- slow: days of one span, each looked up
-- The days of a chunk that hold rows, up to where they reach.
-- name: age_days
INSERT INTO aged (day, until_minute, minutes_until)
  WITH RECURSIVE touched (day) AS (SELECT :first_ms / 86400000
    UNION ALL SELECT day + 1 FROM touched WHERE day < :last_ms / 86400000)
  SELECT day, min(day * 1440 + 1440, :until_minute), 0 FROM touched
  WHERE day * 1440 < :until_minute AND (
    EXISTS (SELECT 1 FROM minutes WHERE minute >= day * 1440 AND minute < day * 1440 + 1440)
    OR EXISTS (SELECT 1 FROM energy_minutes
      WHERE slot >= day * 23040 AND slot < day * 23040 + 23040))
  ON CONFLICT (day) DO UPDATE SET until_minute = max(until_minute, excluded.until_minute);

-- name: age_minutes
INSERT INTO aged (day, until_minute, minutes_until) VALUES (:day, :until_minute, :until_minute)
  ON CONFLICT (day) DO UPDATE SET until_minute = max(until_minute, excluded.until_minute),
    minutes_until = max(minutes_until, excluded.minutes_until);

-- Stored days whose runs are still to be made out of a day's minutes: its own, and the next one's.
-- name: age_waits
SELECT count(*) FROM days WHERE start_minute >= :from_minute AND start_minute <= :to_minute
  AND NOT EXISTS (SELECT 1 FROM run_days r WHERE r.start_minute = days.start_minute);

-- name: first_row
SELECT min(a) FROM (SELECT (SELECT min(minute) FROM main.minutes) AS a
  UNION ALL SELECT (SELECT min(slot) / 16 FROM main.energy_minutes));

-- name: aged_any
SELECT count(*) FROM aged WHERE day >= :from_day AND day <= :to_day AND minutes_until > 0;

-- name: aged_minutes
SELECT minutes_until FROM aged WHERE day = :day;

-- What live chunks of whole days took, and how many of these days there were.
-- name: live_growth
SELECT coalesce(sum(length(c.data)), 0), count(DISTINCT s.first_ms / 86400000)
  FROM spans s JOIN chunks c ON c.id = s.chunk
  WHERE s.first_ms >= :from_ms AND s.first_ms < :to_ms AND c.import IS NULL;

-- slow: one short row a day
-- name: days_stored
SELECT count(*) FROM days;

-- name: free_bytes
SELECT (SELECT freelist_count FROM pragma_freelist_count) * (SELECT page_size FROM pragma_page_size);

-- Imports may have years of chunks before it: which ones are theirs their index tells, without a
-- row of them.
-- name: first_live
SELECT first_ms FROM spans WHERE first_ms >= 946684800000
  AND chunk NOT IN (SELECT id FROM chunks WHERE import IS NOT NULL) ORDER BY first_ms LIMIT 1;
