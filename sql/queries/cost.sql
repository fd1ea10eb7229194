-- Facts of what days cost: rows of kind 32 in the table of evidence (daemon/store/cost.c).

-- name: cost_drop
DELETE FROM evidence WHERE start_minute = :start_minute AND kind = 32;

-- name: cost_of_span
SELECT start_minute, subject, at_minute, minutes, v0, v1, v2, v3, v4, v5
  FROM evidence WHERE start_minute >= :from_minute AND start_minute < :to_minute AND kind = 32
  ORDER BY start_minute, subject, at_minute;

-- Closed days, by which digest each has facts, and whether its minutes went for their age. The
-- table would be taken by its key, which has more columns, but a page a day.
-- name: cost_days
SELECT d.start_minute, d.end_minute, coalesce(e.minutes, 0),
    EXISTS (SELECT 1 FROM aged
      WHERE day = d.start_minute / 1440 AND minutes_until > d.start_minute)
  FROM days d LEFT JOIN evidence e INDEXED BY evidence_priced
    ON e.start_minute = d.start_minute AND e.kind = 32 AND e.subject = ''
  WHERE d.start_minute >= :from_minute AND d.start_minute < :to_minute
  ORDER BY d.start_minute;
