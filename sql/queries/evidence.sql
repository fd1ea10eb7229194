-- Evidence of days, and the minutes that it is made of.

-- name: evidence_drop
DELETE FROM evidence WHERE start_minute >= :from_minute AND start_minute < :to_minute;

-- Facts of cost stay: they hang on the day's rows and prices alone.
-- name: evidence_drop_looked
DELETE FROM evidence
  WHERE start_minute >= :from_minute AND start_minute < :to_minute AND kind <> 32;

-- name: evidence_add
INSERT INTO evidence (start_minute, kind, subject, at_minute, minutes, v0, v1, v2, v3, v4, v5)
  VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)
  ON CONFLICT (start_minute, kind, subject, at_minute) DO UPDATE SET
    minutes = excluded.minutes, v0 = excluded.v0, v1 = excluded.v1, v2 = excluded.v2,
    v3 = excluded.v3, v4 = excluded.v4, v5 = excluded.v5;

-- name: evidence_of_span
SELECT start_minute, kind, subject, at_minute, minutes, v0, v1, v2, v3, v4, v5
  FROM evidence
  WHERE start_minute >= :from_minute AND start_minute < :to_minute AND kind < 32
  ORDER BY start_minute, kind, subject, at_minute;

-- Of one kind, and that days were looked at.
-- name: evidence_of_kind
SELECT start_minute, kind, subject, at_minute, minutes, v0, v1, v2, v3, v4, v5
  FROM evidence WHERE start_minute >= :from_minute AND start_minute < :to_minute
    AND kind IN (0, :kind)
  ORDER BY start_minute, kind, subject, at_minute;

-- Closed days that were not looked at, or in an earlier form only; the last ones first. Of days
-- whose minutes went for their age what was said stays: there is nothing to look at any more.
-- name: evidence_missing
SELECT start_minute, end_minute FROM days
  WHERE start_minute >= :from_minute AND start_minute < :to_minute
    AND NOT EXISTS (SELECT 1 FROM evidence e WHERE e.start_minute = days.start_minute
      AND e.kind = 0 AND e.minutes >= :form)
    AND NOT EXISTS (SELECT 1 FROM aged
      WHERE day = days.start_minute / 1440 AND minutes_until > days.start_minute)
  ORDER BY start_minute DESC LIMIT :most;

-- name: evidence_looked
SELECT start_minute, end_minute FROM days
  WHERE start_minute >= :from_minute AND start_minute < :to_minute
    AND EXISTS (SELECT 1 FROM evidence e WHERE e.start_minute = days.start_minute
      AND e.kind = 0 AND e.minutes = :form)
    AND NOT EXISTS (SELECT 1 FROM aged
      WHERE day = days.start_minute / 1440 AND minutes_until > days.start_minute)
  ORDER BY start_minute LIMIT :most;

-- Values of minutes that were known for so long at least: the other half of the columns stays here.
-- name: day_channels
SELECT minute{channels|, CASE WHEN c_$_ms < :least_ms THEN NULL ELSE c_$ END} FROM all_minutes
  WHERE minute >= :from_minute AND minute < :to_minute ORDER BY minute;

-- What a meter, or a heat meter, says of minutes that power knew for all of their time, by its
-- register, and what power had said of them; and how many of them the register changed. Behind the
-- end of the last span there is power alone, which agrees with itself. Of heat only what was given:
-- what a defrost draws many registers do not count.
-- name: settle_day
SELECT count(p_$_ms), coalesce(sum(@_j), 0),
    coalesce(sum(CASE WHEN p_$_ms IS NULL THEN @_j ELSE p_$_j END), 0)
  FROM main.energy_minutes
  WHERE slot >= :from_minute * 16 AND slot < :to_minute * 16 AND s_$_j IS NULL AND b_$_j IS NULL
    AND CASE WHEN p_$_ms IS NULL THEN @_j ELSE p_$_j END >= :least_j
    AND slot < (SELECT coalesce(max(end_ms), 0) FROM settlements
      WHERE meter = :meter AND kind < 3) / 60000 * 16
    AND coalesce(p_$_ms, @_ms, ms, 60000) = coalesce(ms, 60000);

-- Closed days whose outdoor temperature is kept (kind 33) under a digest.
-- name: outdoor_of_span
SELECT d.start_minute, d.end_minute, v0, v1, v2, v3, v4
  FROM days d CROSS JOIN evidence e ON e.start_minute = d.start_minute AND e.kind = 33
    AND e.subject = '' AND e.at_minute = d.start_minute AND e.minutes = :digest
  WHERE d.start_minute >= :from_minute AND d.start_minute < :to_minute
  ORDER BY d.start_minute;
