-- From here on a chunk's data begin with a byte that says their form (daemon/store/chunk.c);
-- chunks of schema 1 are told by their lack of it.
--
-- Live chunks, one each commit, leave the index by import: no import's query looks for them,
-- and the index's page would be written again each time.

-- name: schema_002
DROP INDEX chunks_by_import;
CREATE INDEX chunks_by_import ON chunks (import) WHERE import IS NOT NULL;
PRAGMA user_version = 2;
