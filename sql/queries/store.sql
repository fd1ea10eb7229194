-- Opening, facts and the journal. A block is one statement unless it says `script`. Where a
-- block repeats for each channel or meter, {channels|…$…} stands for its text with $ replaced
-- by each name; kinds: channels, numbers, states, extremes, meters.

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

-- name: data_version
PRAGMA data_version;

-- name: page_bytes
SELECT (SELECT page_count FROM pragma_page_count) * (SELECT page_size FROM pragma_page_size);

-- name: fact_get
SELECT value FROM facts WHERE name = :name;

-- name: fact_set
INSERT INTO facts (name, value) VALUES (:name, :value)
  ON CONFLICT (name) DO UPDATE SET value = excluded.value;

-- name: text_get
SELECT value FROM texts WHERE name = :name;

-- name: text_set
INSERT INTO texts (name, value) VALUES (:name, :value)
  ON CONFLICT (name) DO UPDATE SET value = excluded.value;

-- name: column_get
SELECT dimension FROM columns WHERE name = :name;

-- name: column_add
INSERT INTO columns (name, dimension) VALUES (:name, :dimension);

-- name: column_exists
SELECT 1 FROM pragma_table_info(:table) WHERE name = :column;

-- name: meter_bit
SELECT bit FROM meters WHERE name = :name;

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
  VALUES (:import, :first_ms, :last_ms, :mapping, :records, :bytes, :data);

-- Chunks that may hold readings of a span. A chunk's span is at most some days wide, but no
-- bound on it is relied upon.
-- name: chunks_of_span
SELECT id, first_ms, last_ms FROM chunks
  WHERE first_ms < :to_ms AND last_ms >= :from_ms ORDER BY first_ms, id;

-- name: chunk_get
SELECT bytes, data FROM chunks WHERE id = :id;

-- slow: one short row a chunk, for whoever reads them all
-- name: chunk_ids
SELECT id FROM chunks ORDER BY id;

-- slow: one short row a chunk, once after a start
-- name: chunks_other_mapping
SELECT id FROM chunks WHERE mapping <> :mapping ORDER BY id LIMIT 200;

-- name: chunk_respan
UPDATE chunks SET first_ms = :first_ms, last_ms = :last_ms, mapping = :mapping WHERE id = :id;

-- slow: one short row a chunk, once a day
-- name: chunks_to_join
SELECT id, first_ms, last_ms, records, bytes, length(data) FROM chunks
  WHERE import IS NULL AND mapping = :mapping AND bytes < :small
    AND first_ms / 86400000 = (SELECT first_ms / 86400000 FROM chunks
      WHERE import IS NULL AND mapping = :mapping AND bytes < :small
        AND first_ms >= :from_ms AND first_ms < :before_ms
      GROUP BY first_ms / 86400000 HAVING count(*) > 1
      ORDER BY first_ms / 86400000 LIMIT 1)
  ORDER BY first_ms, id;

-- name: chunk_join
UPDATE chunks SET first_ms = :first_ms, last_ms = :last_ms, records = :records,
  bytes = :bytes, data = :data WHERE id = :id;

-- name: chunk_drop
DELETE FROM chunks WHERE id = :id;

-- name: chunk_first
SELECT min(first_ms) FROM chunks;

-- What stands before 2000 is unsure, of a clock that was not set (record.h), and makes no row.
-- slow: one short row a chunk, for rebuilds of everything
-- name: chunk_span
SELECT min(first_ms), max(last_ms) FROM chunks WHERE first_ms >= 946684800000;

-- name: fact_add
UPDATE facts SET value = value + :value WHERE name = :name;

-- name: import_extent
SELECT sum(length(data)), coalesce(min(first_ms) FILTER (WHERE first_ms >= 946684800000), 0),
  max(last_ms) + 1 FROM chunks WHERE import = :import;

-- name: import_find
SELECT id, complete FROM imports WHERE digest = :digest;

-- name: import_add
INSERT INTO imports (name, digest, added_ms) VALUES (:name, :digest, :added_ms) RETURNING id;

-- name: import_done
UPDATE imports SET complete = 1, records = :records, rejected = :rejected WHERE id = :id;

-- name: import_clear
DELETE FROM chunks WHERE import = :import;

-- slow: a handful of rows, each consumed as soon as it is derived
-- name: dirty_next
SELECT min(from_ms), max(to_ms) FROM dirty
  WHERE from_ms < (SELECT (min(from_ms) / 86400000 + 1) * 86400000 FROM dirty);

-- slow: as above
-- name: dirty_count
SELECT coalesce(sum((min(to_ms, :now_ms) + 86399999) / 86400000 - from_ms / 86400000), 0)
  FROM dirty WHERE from_ms < :now_ms;

-- name: dirty_add
INSERT INTO dirty (from_ms, to_ms) VALUES (:from_ms, :to_ms);

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

-- name: day_made_put
INSERT INTO days_made (day, mapping) VALUES (:day, :mapping)
  ON CONFLICT (day) DO UPDATE SET mapping = excluded.mapping;

-- name: day_made_get
SELECT mapping FROM days_made WHERE day = :day;

-- slow: one row a day that another mapping made
-- name: days_of_other_mappings
SELECT count(*) FROM days_made WHERE mapping <> :mapping;
