-- Runs of days, their energies, and which days have them.

-- name: run_meter_columns (script)
ALTER TABLE energy_runs ADD COLUMN e_$_j INTEGER NOT NULL DEFAULT 0;
ALTER TABLE energy_runs ADD COLUMN e_$_ms INTEGER NOT NULL DEFAULT 0;

-- name: run_counting_columns (script)
ALTER TABLE energy_runs ADD COLUMN s_$_j INTEGER NOT NULL DEFAULT 0;
ALTER TABLE energy_runs ADD COLUMN b_$_j INTEGER NOT NULL DEFAULT 0;
ALTER TABLE energy_runs ADD COLUMN b_$_ms INTEGER NOT NULL DEFAULT 0;

-- Days that lean on minutes of [from, to): a day's pieces on the hour before it and on the quarter
-- after it. What leans on minutes that went for their age is all that is left of them.
-- name: run_marks_drop
DELETE FROM run_days
  WHERE start_minute > :from_minute - 2000 AND start_minute < :to_minute + :back
    AND end_minute > :from_minute - :ahead
    AND NOT EXISTS (SELECT 1 FROM aged
      WHERE day = run_days.start_minute / 1440 AND minutes_until > run_days.start_minute);

-- name: runs_drop_unmarked
DELETE FROM runs WHERE kind IN (0, 1, 2, 3, 4)
  AND start_minute > :from_minute - 2000 AND start_minute < :to_minute + :back
  AND NOT EXISTS (SELECT 1 FROM run_days d WHERE d.start_minute = runs.start_minute);

-- name: energy_runs_drop_unmarked
DELETE FROM energy_runs WHERE kind IN (0, 1, 2, 3, 4)
  AND start_minute > :from_minute - 2000 AND start_minute < :to_minute + :back
  AND NOT EXISTS (SELECT 1 FROM run_days d WHERE d.start_minute = energy_runs.start_minute);

-- name: run_mark_drop
DELETE FROM run_days WHERE start_minute = :start_minute;

-- name: runs_drop
DELETE FROM runs WHERE kind IN (0, 1, 2, 3, 4) AND start_minute = :start_minute;

-- name: energy_runs_drop
DELETE FROM energy_runs WHERE kind IN (0, 1, 2, 3, 4) AND start_minute = :start_minute;

-- name: run_mark_add
INSERT INTO run_days (start_minute, end_minute, form, since, since_ms)
  VALUES (:start_minute, :end_minute, :form, :since, :since_ms);

-- name: run_add
INSERT INTO runs (kind, start_minute, meter, begin_ms, end_ms, ms, flags, ended, flow_sum,
    flow_minutes, return_sum, return_minutes, frequency_sum, frequency_minutes, outdoor_sum,
    outdoor_minutes, cylinder_begin, cylinder_end, since, since_ms)
  VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?);

-- name: energy_run_add
INSERT INTO energy_runs
  (kind, start_minute, meter, begin_ms, mode, known, ms, heat_j, heat_ms, sensitivity{meters|, e_$_j, e_$_ms}{counting|, s_$_j, b_$_j, b_$_ms})
  VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?{meters|, ?, ?}{counting|, ?, ?, ?});

-- name: run_marks_of_span
SELECT days.start_minute, r.start_minute IS NOT NULL AND (r.form = :form OR EXISTS (SELECT 1 FROM aged
      WHERE day = days.start_minute / 1440 AND minutes_until > days.start_minute)),
    r.since, r.since_ms
  FROM days LEFT JOIN run_days r ON r.start_minute = days.start_minute
  WHERE days.start_minute >= :from_minute AND days.start_minute < :to_minute
  ORDER BY days.start_minute;

-- name: runs_of_span
SELECT start_minute, meter, begin_ms, end_ms, ms, flags, ended, flow_sum, flow_minutes,
    return_sum, return_minutes, frequency_sum, frequency_minutes, outdoor_sum, outdoor_minutes,
    cylinder_begin, cylinder_end, since, since_ms
  FROM runs WHERE kind = :kind AND start_minute >= :from_minute AND start_minute < :to_minute
  ORDER BY start_minute, meter, begin_ms;

-- As the other sources of energy rows answer them (query.sql), and whose they are.
-- name: energy_from_runs
SELECT start_minute, mode, known, ms, heat_j, heat_ms, sensitivity{meters|, e_$_j, e_$_ms}{counting|, s_$_j, b_$_j, b_$_ms},
    meter, begin_ms
  FROM energy_runs WHERE kind = :kind AND start_minute >= :from_minute
    AND start_minute < :to_minute
  ORDER BY start_minute, meter, begin_ms, mode, known;

-- name: runs_missing
SELECT start_minute, end_minute FROM days
  WHERE start_minute >= :from_minute AND start_minute < :to_minute
    AND end_minute + :ahead <= (SELECT value / 60000 FROM facts WHERE name = 'derived_until_ms')
    AND NOT EXISTS (SELECT 1 FROM run_days r
      WHERE r.start_minute = days.start_minute AND r.form = :form)
    AND NOT EXISTS (SELECT 1 FROM aged
      WHERE day = days.start_minute / 1440 AND minutes_until > days.start_minute)
  ORDER BY start_minute DESC LIMIT :most;

-- name: runs_marked
SELECT start_minute, end_minute FROM run_days
  WHERE start_minute >= :from_minute AND start_minute < :to_minute AND form = :form
    AND NOT EXISTS (SELECT 1 FROM aged
      WHERE day = run_days.start_minute / 1440 AND minutes_until > run_days.start_minute)
  ORDER BY start_minute LIMIT :most;

-- slow: the ends of three tables
-- name: run_span
SELECT min(first), max(next) FROM (
  SELECT (SELECT min(slot) / 16 FROM main.energy_minutes) AS first,
    (SELECT max(slot) / 16 + 1 FROM main.energy_minutes) AS next
  UNION ALL SELECT (SELECT min(slot) / 16 FROM temp.pending_energy_minutes),
    (SELECT max(slot) / 16 + 1 FROM temp.pending_energy_minutes)
  UNION ALL SELECT (SELECT min(start_minute) FROM days),
    (SELECT end_minute FROM days ORDER BY start_minute DESC LIMIT 1));
