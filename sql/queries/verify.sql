-- Rows as they stand beside rows that are made anew: those of a span are kept in temporary
-- tables, then read together with what stands there after the derivation. Rows come as they
-- are stored, with every column that there is. All of these blocks are prepared when they are
-- used, since their tables exist only then.

-- name: kept_tables (script)
CREATE TEMP TABLE kept_minutes AS SELECT * FROM main.minutes WHERE 0;
CREATE TEMP TABLE kept_energy_minutes AS SELECT * FROM main.energy_minutes WHERE 0;
CREATE TEMP TABLE kept_hours AS SELECT * FROM main.hours WHERE 0;
CREATE TEMP TABLE kept_energy_hours AS SELECT * FROM main.energy_hours WHERE 0;
CREATE TEMP TABLE kept_days AS SELECT * FROM main.days WHERE 0;
CREATE TEMP TABLE kept_energy_days AS SELECT * FROM main.energy_days WHERE 0;
CREATE TEMP TABLE kept_evidence AS SELECT * FROM main.evidence WHERE 0;
CREATE TEMP TABLE kept_run_days AS SELECT * FROM main.run_days WHERE 0;
CREATE TEMP TABLE kept_runs AS SELECT * FROM main.runs WHERE 0;
CREATE TEMP TABLE kept_energy_runs AS SELECT * FROM main.energy_runs WHERE 0;

-- name: kept_clear (script)
DELETE FROM temp.kept_minutes;
DELETE FROM temp.kept_energy_minutes;
DELETE FROM temp.kept_hours;
DELETE FROM temp.kept_energy_hours;
DELETE FROM temp.kept_days;
DELETE FROM temp.kept_energy_days;
DELETE FROM temp.kept_evidence;
DELETE FROM temp.kept_run_days;
DELETE FROM temp.kept_runs;
DELETE FROM temp.kept_energy_runs;

-- name: keep_minutes (script)
INSERT INTO temp.kept_minutes SELECT * FROM main.minutes
  WHERE minute >= :from_minute AND minute < :to_minute;

-- name: compare_minutes (script)
SELECT 0 AS made, * FROM temp.kept_minutes
UNION ALL SELECT 1, * FROM main.minutes
  WHERE minute >= :from_minute AND minute < :to_minute
ORDER BY 2, 1;

-- name: keep_energy_minutes (script)
INSERT INTO temp.kept_energy_minutes SELECT * FROM main.energy_minutes
  WHERE slot >= :from_minute * 16 AND slot < :to_minute * 16;

-- name: compare_energy_minutes (script)
SELECT 0 AS made, * FROM temp.kept_energy_minutes
UNION ALL SELECT 1, * FROM main.energy_minutes
  WHERE slot >= :from_minute * 16 AND slot < :to_minute * 16
ORDER BY 2, 1;

-- name: keep_hours (script)
INSERT INTO temp.kept_hours SELECT * FROM main.hours
  WHERE hour >= :from_minute / 60 AND hour < :to_minute / 60;

-- name: compare_hours (script)
SELECT 0 AS made, * FROM temp.kept_hours
UNION ALL SELECT 1, * FROM main.hours
  WHERE hour >= :from_minute / 60 AND hour < :to_minute / 60
ORDER BY 2, 1;

-- name: keep_energy_hours (script)
INSERT INTO temp.kept_energy_hours SELECT * FROM main.energy_hours
  WHERE hour >= :from_minute / 60 AND hour < :to_minute / 60;

-- name: compare_energy_hours (script)
SELECT 0 AS made, * FROM temp.kept_energy_hours
UNION ALL SELECT 1, * FROM main.energy_hours
  WHERE hour >= :from_minute / 60 AND hour < :to_minute / 60
ORDER BY 2, 3, 4, 1;

-- name: keep_days (script)
INSERT INTO temp.kept_days SELECT * FROM main.days
  WHERE start_minute >= :from_minute AND start_minute < :to_minute;

-- name: compare_days (script)
SELECT 0 AS made, * FROM temp.kept_days
UNION ALL SELECT 1, * FROM main.days
  WHERE start_minute >= :from_minute AND start_minute < :to_minute
ORDER BY 2, 1;

-- name: keep_energy_days (script)
INSERT INTO temp.kept_energy_days SELECT * FROM main.energy_days
  WHERE start_minute >= :from_minute AND start_minute < :to_minute;

-- name: compare_energy_days (script)
SELECT 0 AS made, * FROM temp.kept_energy_days
UNION ALL SELECT 1, * FROM main.energy_days
  WHERE start_minute >= :from_minute AND start_minute < :to_minute
ORDER BY 2, 3, 4, 1;

-- name: keep_evidence (script)
INSERT INTO temp.kept_evidence SELECT * FROM main.evidence
  WHERE start_minute >= :from_minute AND start_minute < :to_minute;

-- Of some of the days that were kept, at a time. Facts of cost and of the weather (kinds 32 and 33)
-- are compared where both are of one digest: they are made by the prices, and the base, of now.
-- name: compare_evidence (script)
WITH alike AS (SELECT a.start_minute * 2 + a.kind - 32 FROM temp.kept_evidence a JOIN main.evidence b
    USING (start_minute, kind, subject, at_minute, minutes)
    WHERE a.start_minute >= :from_minute AND a.start_minute < :to_minute
      AND a.kind IN (32, 33) AND a.subject = '')
SELECT 0 AS made, * FROM temp.kept_evidence
  WHERE start_minute >= :from_minute AND start_minute < :to_minute
    AND (kind < 32 OR start_minute * 2 + kind - 32 IN alike)
UNION ALL SELECT 1, * FROM main.evidence
  WHERE start_minute >= :from_minute AND start_minute < :to_minute
    AND (kind < 32 OR start_minute * 2 + kind - 32 IN alike)
ORDER BY 2, 3, 4, 5, 1;

-- name: keep_run_days (script)
INSERT INTO temp.kept_run_days SELECT * FROM main.run_days
  WHERE start_minute >= :from_minute AND start_minute < :to_minute;

-- name: compare_run_days (script)
SELECT 0 AS made, * FROM temp.kept_run_days
  WHERE start_minute >= :from_minute AND start_minute < :to_minute
UNION ALL SELECT 1, * FROM main.run_days
  WHERE start_minute >= :from_minute AND start_minute < :to_minute
ORDER BY 2, 1;

-- name: keep_runs (script)
INSERT INTO temp.kept_runs SELECT * FROM main.runs WHERE kind IN (0, 1, 2, 3, 4)
  AND start_minute >= :from_minute AND start_minute < :to_minute;

-- name: compare_runs (script)
SELECT 0 AS made, * FROM temp.kept_runs
  WHERE start_minute >= :from_minute AND start_minute < :to_minute
UNION ALL SELECT 1, * FROM main.runs WHERE kind IN (0, 1, 2, 3, 4)
  AND start_minute >= :from_minute AND start_minute < :to_minute
ORDER BY 2, 3, 4, 5, 1;

-- name: keep_energy_runs (script)
INSERT INTO temp.kept_energy_runs SELECT * FROM main.energy_runs WHERE kind IN (0, 1, 2, 3, 4)
  AND start_minute >= :from_minute AND start_minute < :to_minute;

-- name: compare_energy_runs (script)
SELECT 0 AS made, * FROM temp.kept_energy_runs
  WHERE start_minute >= :from_minute AND start_minute < :to_minute
UNION ALL SELECT 1, * FROM main.energy_runs WHERE kind IN (0, 1, 2, 3, 4)
  AND start_minute >= :from_minute AND start_minute < :to_minute
ORDER BY 2, 3, 4, 5, 6, 7, 1;

-- slow: a row a day
-- Days that the mapping in force made, for who derives some of them again.
-- name: days_of_mapping
SELECT day FROM days_made WHERE mapping = :mapping ORDER BY day;

-- slow: a handful of rows
-- name: dirty_about
SELECT count(*) FROM dirty WHERE from_ms < :to_ms AND to_ms > :from_ms;

-- slow: a row a day past its age
-- name: gone_until
SELECT coalesce(max(minutes_until), 0) FROM aged;

-- slow: asked where minutes are gone: spans from there on that are long enough
-- name: span_from_gone
SELECT EXISTS (SELECT 1 FROM settlements
  WHERE begin_ms < :gone_ms AND begin_ms < :to_ms AND end_ms > :from_ms AND kind < 3);

-- slow: one short row a chunk
-- name: chunk_facts
SELECT c.records, length(c.data), s.first_ms, s.last_ms, s.mapping = :mapping
  FROM chunks c LEFT JOIN spans s ON s.chunk = c.id WHERE c.id = :id;

-- slow: one short row a chunk
-- name: chunk_list
SELECT id FROM chunks ORDER BY id;

-- slow: reads everything
-- name: integrity_check
PRAGMA integrity_check;

-- slow: reads everything
-- name: foreign_key_check
PRAGMA foreign_key_check;

-- slow: a handful of rows
-- When the mapping in force took over from another; no row where it is the first.
-- name: mapping_took_over
SELECT since_ms FROM mappings WHERE id = :mapping
  AND EXISTS (SELECT 1 FROM mappings WHERE id < :mapping);
