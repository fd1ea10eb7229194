-- Opening, facts and the journal. A block is one statement unless it says `script`. Where a
-- block repeats for each channel or meter, {channels|…$…} stands for its text with $ replaced
-- by each name; kinds: channels, numbers, states, extremes, meters,
-- counting (meters with a register).

-- name: pragmas (script)
PRAGMA page_size = 4096;
PRAGMA journal_mode = WAL;
PRAGMA synchronous = FULL;
PRAGMA wal_autocheckpoint = 250;
PRAGMA journal_size_limit = 4194304;
PRAGMA mmap_size = 0;
PRAGMA temp_store = MEMORY;
PRAGMA trusted_schema = OFF;
PRAGMA foreign_keys = ON;

-- Who writes much at once writes pages that change again and again less often to their place,
-- and waits for the disk only there and at its end.
-- name: in_bulk (script)
PRAGMA wal_autocheckpoint = 2000;
PRAGMA synchronous = NORMAL;

-- The copy that a backup makes: nothing reads it before it is whole, and then it is to be one
-- file that needs no other beside it.
-- name: copy_begin (script)
PRAGMA locking_mode = EXCLUSIVE;
PRAGMA journal_mode = OFF;
PRAGMA synchronous = OFF;

-- name: copy_end (script)
PRAGMA journal_mode = DELETE;

-- name: begin
BEGIN IMMEDIATE;

-- name: begin_read
BEGIN;

-- name: commit
COMMIT;

-- name: rollback
ROLLBACK;

-- name: user_version
PRAGMA user_version;

-- slow: some dozen rows of the schema
-- name: table_counts
SELECT count(*), coalesce(sum(name IN ('facts', 'chunks')), 0) FROM main.sqlite_schema;

-- name: quick_check
PRAGMA quick_check;

-- A damaged file is only read from now on, and its write-ahead log stays beside it.
-- name: give_up (script)
PRAGMA query_only = ON;
PRAGMA wal_autocheckpoint = 0;

-- Temporary tables may be made beside a damaged file.
-- name: read_on (script)
PRAGMA query_only = OFF;

-- name: data_version
PRAGMA data_version;

-- name: page_bytes
SELECT (SELECT page_count FROM pragma_page_count) * (SELECT page_size FROM pragma_page_size);

-- name: fact_get
SELECT value FROM facts WHERE name = :name;

-- name: fact_set
INSERT INTO facts (name, value) VALUES (:name, :value)
  ON CONFLICT (name) DO UPDATE SET value = excluded.value;

-- name: column_get
SELECT dimension FROM columns WHERE name = :name;

-- name: column_add
INSERT INTO columns (name, dimension) VALUES (:name, :dimension);

-- name: column_exists
SELECT 1 FROM pragma_table_info(:table) WHERE name = :column;

-- name: meter_bit
SELECT bit FROM meters WHERE name = :name;

-- slow: at most 30 rows
-- name: meter_count
SELECT count(*) FROM meters;

-- name: meter_add
INSERT INTO meters (name, bit)
  VALUES (:name, (SELECT coalesce(max(bit), 0) + 1 FROM meters)) RETURNING bit;

-- name: mapping_id
SELECT id FROM mappings WHERE digest = :digest;

-- slow: days are looked through only while a foreign key is violated
-- name: mapping_add
INSERT INTO mappings (digest, since_ms) VALUES (:digest, :since_ms) RETURNING id;

-- name: chunk_add
INSERT INTO chunks (import, first_ms, last_ms, mapping, records, bytes, data)
  VALUES (:import, :first_ms, :last_ms, :mapping, :records, :bytes, :data) RETURNING id;

-- name: span_add
INSERT INTO spans (chunk, first_ms, last_ms, mapping)
  VALUES (:chunk, :first_ms, :last_ms, :mapping);

-- Chunks that may hold readings of a span. A chunk's span is at most some days wide, but no
-- bound on it is relied upon.
-- name: chunks_of_span
SELECT chunk, first_ms, last_ms FROM spans
  WHERE first_ms < :to_ms AND last_ms >= :from_ms AND damaged_ms IS NULL
  ORDER BY first_ms, chunk;

-- name: chunk_get
SELECT bytes, data FROM chunks WHERE id = :id;

-- slow: one short row a chunk, for whoever reads them all
-- name: chunk_ids
SELECT chunk FROM spans WHERE damaged_ms IS NULL ORDER BY chunk;

-- slow: one short row a chunk, for an export of a span
-- name: chunks_about
SELECT chunk FROM spans WHERE damaged_ms IS NULL
  AND (first_ms < :to_ms AND last_ms >= :from_ms OR mapping <> :mapping) ORDER BY chunk;

-- slow: one short row a chunk, once after a start
-- name: chunks_other_mapping
SELECT chunk FROM spans WHERE mapping <> :mapping AND damaged_ms IS NULL
  ORDER BY chunk LIMIT 200;

-- name: chunk_respan
UPDATE spans SET first_ms = :first_ms, last_ms = :last_ms, mapping = :mapping
  WHERE chunk = :id;

-- slow: one short row a live chunk, once a day; those of imports are told by their index
-- name: chunks_to_join
SELECT s.chunk, s.first_ms, s.last_ms, c.records, c.bytes, length(c.data)
  FROM spans s JOIN chunks c ON c.id = s.chunk
  WHERE s.chunk NOT IN (SELECT id FROM chunks WHERE import IS NOT NULL)
    AND s.mapping = :mapping AND bytes < :small AND damaged_ms IS NULL
    AND s.first_ms / 86400000 = (SELECT s.first_ms / 86400000
      FROM spans s JOIN chunks c ON c.id = s.chunk
      WHERE s.chunk NOT IN (SELECT id FROM chunks WHERE import IS NOT NULL)
        AND s.mapping = :mapping AND bytes < :small
        AND damaged_ms IS NULL AND s.first_ms >= :from_ms AND s.first_ms < :before_ms
      GROUP BY s.first_ms / 86400000 HAVING count(*) > 1
      ORDER BY s.first_ms / 86400000 LIMIT 1)
  ORDER BY s.first_ms, s.chunk;

-- name: chunk_join
UPDATE chunks SET records = :records, bytes = :bytes, data = :data WHERE id = :id;

-- name: chunk_drop
DELETE FROM chunks WHERE id = :id;

-- name: chunk_first
SELECT min(first_ms) FROM spans;

-- What stands before 2000 is unsure, of a clock that was not set (record.h), and makes no row.
-- slow: one short row a chunk, for rebuilds of everything
-- name: chunk_span
SELECT min(first_ms), max(last_ms) FROM spans WHERE first_ms >= 946684800000;

-- name: chunk_damaged
UPDATE spans SET damaged_ms = :now_ms WHERE chunk = :id AND damaged_ms IS NULL;

-- slow: days of one span, each looked up
-- The days of a damaged chunk that hold rows, up to where they reach.
-- name: seal_days
INSERT OR IGNORE INTO sealed (day, chunk, until_minute)
  WITH RECURSIVE span (first, last) AS (
    SELECT first_ms / 86400000, last_ms / 86400000 FROM spans WHERE chunk = :id),
  touched (day) AS (SELECT first FROM span
    UNION ALL SELECT day + 1 FROM touched, span WHERE day < last)
  SELECT day, :id, min(day * 1440 + 1440, :until_minute) FROM touched
  WHERE day * 1440 < :until_minute AND (
    EXISTS (SELECT 1 FROM minutes WHERE minute >= day * 1440 AND minute < day * 1440 + 1440)
    OR EXISTS (SELECT 1 FROM energy_minutes
      WHERE slot >= day * 23040 AND slot < day * 23040 + 23040));

-- name: sealed_until
SELECT max(until_minute) FROM (SELECT until_minute FROM sealed WHERE day = :day
  UNION ALL SELECT until_minute FROM aged WHERE day = :day);

-- name: unseal
DELETE FROM sealed WHERE day >= :from_day AND day < :to_day;

-- slow: a row a day that is sealed or past its age
-- name: sealed_between
SELECT day, max(until_minute), max(gone) FROM (
    SELECT day, until_minute, 0 AS gone FROM sealed WHERE day >= :from_day AND day <= :to_day
    UNION ALL SELECT day, until_minute, minutes_until FROM aged
      WHERE day >= :from_day AND day <= :to_day)
  GROUP BY day ORDER BY day;

-- How far [from, to) reaches with the spans of the register that lie over its ends, and whether a
-- day that is sealed or past its age overlaps that.
-- slow: the one row of bounds, which it makes itself
-- name: sealed_near
WITH near AS MATERIALIZED (SELECT
    min(:from_ms, coalesce((SELECT begin_ms FROM settlements
      WHERE meter = :meter AND end_ms > :from_ms AND kind < 3 AND begin_ms < end_ms
      ORDER BY end_ms LIMIT 1), :from_ms)) AS first,
    max(:to_ms, coalesce((SELECT CASE WHEN begin_ms < :to_ms THEN end_ms END FROM settlements
      WHERE meter = :meter AND end_ms > :to_ms AND kind < 3 AND begin_ms < end_ms
      ORDER BY end_ms LIMIT 1), :to_ms)) AS last)
SELECT first, last,
    EXISTS (SELECT 1 FROM sealed WHERE day >= first / 86400000 AND day <= (last - 1) / 86400000)
    OR EXISTS (SELECT 1 FROM aged WHERE day >= first / 86400000 AND day <= (last - 1) / 86400000)
  FROM near;

-- slow: a row a damaged chunk and day, where there are any, and a day past its age
-- name: sealed_days
SELECT count(DISTINCT day), min(day), max(day) FROM (
    SELECT day FROM sealed UNION ALL SELECT day FROM aged)
  WHERE day >= :from_day AND day < :to_day;

-- slow: a row a damaged chunk
-- name: damaged_chunks
SELECT s.chunk, s.first_ms, s.last_ms, s.damaged_ms, c.records, i.name,
    (SELECT count(*) FROM sealed WHERE sealed.chunk = s.chunk)
  FROM spans s JOIN chunks c ON c.id = s.chunk LEFT JOIN imports i ON i.id = c.import
  WHERE s.damaged_ms IS NOT NULL ORDER BY s.chunk LIMIT :most;

-- slow: as above
-- name: damaged_count
SELECT count(*) FROM spans WHERE damaged_ms IS NOT NULL;

-- name: fact_add
UPDATE facts SET value = value + :value WHERE name = :name;

-- name: import_extent
SELECT sum(length(data)), coalesce(min(s.first_ms) FILTER (WHERE s.first_ms >= 946684800000), 0),
  max(s.last_ms) + 1 FROM chunks c JOIN spans s ON s.chunk = c.id WHERE c.import = :import;

-- One that lost a chunk is no longer complete: its archive may be filed again.
-- name: import_find
SELECT id, complete AND NOT EXISTS (SELECT 1 FROM spans s JOIN chunks c ON c.id = s.chunk
    WHERE s.damaged_ms IS NOT NULL AND c.import = imports.id)
  FROM imports WHERE digest = :digest;

-- name: import_add
INSERT INTO imports (name, digest, added_ms) VALUES (:name, :digest, :added_ms) RETURNING id;

-- name: import_done
UPDATE imports SET complete = 1, records = :records, rejected = :rejected WHERE id = :id;

-- name: import_clear
DELETE FROM chunks WHERE import = :import;

-- A row a UTC day that its records touch, under the mapping that it was filed with and the one
-- in force; as dirty_readings. What stands before 2000 makes no row (see chunk_span).
-- slow: a row a UTC day of the import
-- name: import_dirty
INSERT INTO dirty (from_ms, to_ms)
  SELECT CASE WHEN t.first_ms % 86400000 >= :lag_ms OR EXISTS (SELECT 1 FROM energy_minutes
        WHERE slot >= (t.first_ms / 86400000 * 86400000 - :lag_ms) / 60000 * 16
          AND slot < t.first_ms / 86400000 * 1440 * 16)
      OR EXISTS (SELECT 1 FROM minutes
        WHERE minute >= (t.first_ms / 86400000 * 86400000 - :lag_ms) / 60000
          AND minute < t.first_ms / 86400000 * 1440)
      THEN t.first_ms - :lag_ms ELSE t.first_ms / 86400000 * 86400000 END, t.last_ms
  FROM (SELECT min(max(min(c.first_ms, s.first_ms), 946684800000)) AS first_ms,
        max(max(c.last_ms, s.last_ms)) + 1 AS last_ms
      FROM chunks c JOIN spans s ON s.chunk = c.id
      WHERE c.import = :import AND max(c.last_ms, s.last_ms) >= 946684800000
      GROUP BY s.first_ms / 86400000) t;

-- name: import_remove
DELETE FROM imports WHERE id = :id;

-- slow: a row an import
-- name: import_named
SELECT id FROM imports WHERE name = :name ORDER BY id;

-- slow: a short row a chunk of imports
-- name: import_list
SELECT i.name, i.added_ms, i.complete, i.rejected,
    EXISTS (SELECT 1 FROM spans d JOIN chunks e ON e.id = d.chunk
      WHERE d.damaged_ms IS NOT NULL AND e.import = i.id),
    coalesce(sum(c.records), 0), coalesce(sum(length(c.data)), 0),
    min(s.first_ms) FILTER (WHERE s.first_ms >= 946684800000), max(s.last_ms)
  FROM imports i LEFT JOIN chunks c ON c.import = i.id LEFT JOIN spans s ON s.chunk = c.id
  GROUP BY i.id ORDER BY i.id;

-- slow: a handful of rows, each consumed as soon as it is derived
-- name: dirty_next
SELECT min(from_ms), max(to_ms) FROM dirty
  WHERE from_ms < (SELECT (min(from_ms) / 86400000 + 1) * 86400000 FROM dirty);

-- slow: as above
-- name: dirty_count
WITH days (first, beyond) AS (
    SELECT from_ms / 86400000, (min(to_ms, :now_ms) + 86399999) / 86400000
    FROM dirty WHERE from_ms < :now_ms),
  steps (first, beyond, reached) AS (
    SELECT first, beyond, max(beyond) OVER (ORDER BY first, beyond
      ROWS BETWEEN UNBOUNDED PRECEDING AND 1 PRECEDING) FROM days)
SELECT coalesce(sum(max(beyond - max(first, coalesce(reached, first)), 0)), 0) FROM steps;

-- name: dirty_add
INSERT INTO dirty (from_ms, to_ms) VALUES (:from_ms, :to_ms);

-- Rows reach so far ahead for what confirms their mode. The day before is dirty only where it
-- has such rows.
-- name: dirty_readings
INSERT INTO dirty (from_ms, to_ms)
  SELECT CASE WHEN :from_ms % 86400000 >= :lag_ms OR EXISTS (SELECT 1 FROM energy_minutes
        WHERE slot >= (:from_ms / 86400000 * 86400000 - :lag_ms) / 60000 * 16
          AND slot < :from_ms / 86400000 * 1440 * 16)
      OR EXISTS (SELECT 1 FROM minutes
        WHERE minute >= (:from_ms / 86400000 * 86400000 - :lag_ms) / 60000
          AND minute < :from_ms / 86400000 * 1440)
      THEN :from_ms - :lag_ms ELSE :from_ms / 86400000 * 86400000 END, :to_ms;

-- slow: as above
-- name: dirty_drop
DELETE FROM dirty WHERE to_ms <= :until_ms;

-- slow: as above
-- name: dirty_trim
UPDATE dirty SET from_ms = :until_ms WHERE from_ms < :until_ms AND to_ms > :until_ms;

-- name: checkpoint_put
INSERT INTO checkpoints (day, open_ms, state) VALUES (:day, :open_ms, :state)
  ON CONFLICT (day) DO UPDATE SET open_ms = excluded.open_ms, state = excluded.state;

-- name: checkpoint_before
SELECT day, state FROM checkpoints WHERE day <= :day ORDER BY day DESC LIMIT 1;

-- name: checkpoint_after
SELECT day, state FROM checkpoints WHERE day > :day ORDER BY day LIMIT 1;

-- name: checkpoint_drop
DELETE FROM checkpoints WHERE day = :day;

-- name: state_codes
SELECT code, name FROM states WHERE channel = :channel ORDER BY code;

-- name: state_add
INSERT INTO states (channel, code, name)
  VALUES (:channel, (SELECT coalesce(max(code), -1) + 1 FROM states WHERE channel = :channel),
    :name);

-- Rows before :from_minute, if there are any, are still another mapping's.
-- name: day_made_put
INSERT INTO days_made (day, mapping) VALUES (:day, :mapping)
  ON CONFLICT (day) DO UPDATE SET mapping = excluded.mapping
  WHERE mapping <> excluded.mapping AND NOT EXISTS (SELECT 1 FROM minutes
    WHERE minute >= :day * 1440 AND minute < :from_minute)
  AND NOT EXISTS (SELECT 1 FROM energy_minutes
    WHERE slot >= :day * 23040 AND slot < :from_minute * 16);

-- name: day_made_get
SELECT mapping FROM days_made WHERE day = :day;

-- name: days_of_other_mappings
SELECT count(*), coalesce(sum(stays), 0), min(iif(stays, NULL, day)), max(iif(stays, NULL, day))
  FROM (SELECT day, EXISTS (SELECT 1 FROM sealed WHERE sealed.day = days_made.day)
      OR EXISTS (SELECT 1 FROM aged WHERE aged.day = days_made.day) AS stays
    FROM days_made WHERE mapping <> :mapping AND day >= :from_day AND day < :to_day);
