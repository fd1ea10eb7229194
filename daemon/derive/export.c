/*
 * The journal out: committed chunks in the order of filing, then what only the tail has.
 * The tail is read before the store, so that a record which a running daemon commits in
 * between is found in one of the two, and the sequence number tells which.
 *
 * Which chunks there are is read in one snapshot together with that number; each chunk is
 * then read by itself, so that a slow reader of the output holds no snapshot, which would
 * make the daemon's write-ahead log grow. Chunks do not change once they are filed.
 */
#include <heatbook/archive.h>

#include <heatbook/query.h>
#include <heatbook/tail.h>

#include <errno.h>
#include <string.h>

struct waiting {
	struct buffer frames; /* u64 sequence, record */
};

static int keep_frame(const struct record *record, uint64_t sequence, void *context)
{
	struct waiting *w = context;
	buffer_add(&w->frames, &sequence, sizeof(sequence));
	record_write(record, &w->frames);
	return 0;
}

static int write_json(const struct record *record, struct buffer *line, FILE *out)
{
	buffer_reset(line);
	record_write_json(record, line);
	errno = EIO;
	return fwrite(line->data, 1, line->length, out) == line->length ? 0 : -errno;
}

static int write_chunk(const struct buffer *chunk, struct buffer *line, FILE *out)
{
	const unsigned char *at = (const unsigned char *)chunk->data;
	size_t left = chunk->length, size;
	struct record record;
	int r = 0;

	while (r == 0 && (size = record_read(at, left, &record)) > 0) {
		r = write_json(&record, line, out);
		at += size;
		left -= size;
	}
	return r;
}

static int write_waiting(
	const struct waiting *w, uint64_t committed, struct buffer *line, FILE *out)
{
	const unsigned char *at = (const unsigned char *)w->frames.data;
	const unsigned char *end = at + w->frames.length;
	struct record record;
	uint64_t sequence;
	int r = 0;

	while (r == 0 && at < end) {
		memcpy(&sequence, at, sizeof(sequence));
		at += sizeof(sequence);
		at += record_read(at, (size_t)(end - at), &record);
		if (sequence > committed)
			r = write_json(&record, line, out);
	}
	return r;
}

struct contents {
	int64_t *ids; /* of the chunks */
	size_t count;
	size_t damaged;     /* chunks that cannot be read, */
	int64_t damaged_id; /* and one of them */
	int64_t committed;  /* sequence number of their last record of the tail */
};

/* The others are written all the same. */
static int note_damaged(struct contents *contents, int64_t id)
{
	contents->damaged++;
	contents->damaged_id = id;
	return 0;
}

/* Those that were set aside are in no list of chunks. */
static int list_damaged(struct store *store, struct contents *ret)
{
	struct damaged_chunk one = {0};
	size_t written;
	int r = store_damaged(store, &one, 1, &written, &ret->damaged);
	ret->damaged_id = one.id;
	return r;
}

static int list_contents(struct store *store, struct contents *ret)
{
	/* One snapshot: a commit while we list must not show half of itself. */
	int r = store_begin_read(store);
	if (r == 0)
		r = store_fact(store, FACT_COMMITTED_SEQUENCE, &ret->committed);
	if (r == 0)
		r = store_chunks_all(store, &ret->ids, &ret->count);
	if (r == 0)
		r = list_damaged(store, ret);
	store_rollback(store);
	return r;
}

static int write_all(struct store *store, struct contents *contents,
	const struct waiting *w, FILE *out, char why[static 320])
{
	struct buffer chunk = {0}, line = {0};
	int failed = 0; /* to write */
	int r = 0;

	for (size_t i = 0; r == 0 && failed == 0 && i < contents->count; i++) {
		r = store_chunk_load(store, contents->ids[i], &chunk);
		if (r == 0)
			failed = write_chunk(&chunk, &line, out);
		else if (r == -EBADMSG)
			r = note_damaged(contents, contents->ids[i]);
	}
	if (r == 0 && failed == 0)
		failed = write_waiting(w, (uint64_t)contents->committed, &line, out);
	if (r == 0 && failed == 0 && fflush(out) != 0)
		failed = -errno;
	if (failed)
		(void)snprintf(why, 320, "the output could not be written: %s",
			strerror(-failed));
	buffer_release(&chunk);
	buffer_release(&line);
	return r ? r : failed;
}

int export_journal(const struct config *config, FILE *out, char why[static 320])
{
	struct contents contents = {0};
	struct waiting w = {0};
	struct store *store;

	why[0] = '\0';
	int r = tail_peek(config->journal.tail, 0, keep_frame, &w);
	if (r == -ENOENT)
		r = 0; /* no daemon ever ran here: there is no tail */
	if (r != 0)
		(void)snprintf(why, 320, "%s: %s", config->journal.tail, strerror(-r));
	if (r == 0)
		r = store_open(config, STORE_READ, &store, why);
	if (r == 0) {
		r = list_contents(store, &contents);
		if (r == 0)
			r = write_all(store, &contents, &w, out, why);
		if (r != 0 && !why[0])
			(void)snprintf(why, 320, "%s: %.200s", config->store.file,
				store_error(store));
		if (r == 0 && contents.damaged) {
			(void)snprintf(why, 320,
				"%s: %zu damaged chunks of the journal are missing from "
				"the output, chunk %lld is one; `heatbookd verify` says "
				"what is to be done",
				config->store.file, contents.damaged,
				(long long)contents.damaged_id);
			r = -EBADMSG;
		}
		store_close(store);
	}
	free(contents.ids);
	buffer_release(&w.frames);
	return r;
}
