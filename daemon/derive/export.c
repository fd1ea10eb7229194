/*
 * The journal out: committed chunks in the order of filing, then what only the tail has.
 * The tail is read before the store, so that a record which a running daemon commits in
 * between is found in one of the two, and the sequence number tells which.
 *
 * The chunks are copied in one snapshot together with that number, packed as they are, to
 * a temporary file, and unpacked from there: a slow reader of the output then holds no
 * snapshot, which would make the daemon's write-ahead log grow.
 */
#include <heatbook/archive.h>

#include <heatbook/filer.h>
#include <heatbook/query.h>
#include <heatbook/tail.h>

#include <errno.h>
#include <string.h>

/* Lines on their way out, and which of them. */
struct writer {
	FILE *out;
	struct buffer line;
	bool whole; /* else of [from, to) only */
	int64_t from_ms, to_ms;
	struct decoder *decoder;
	struct readings scratch;
	struct buffer frame;
};

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

static bool is_wanted(struct writer *w, const struct record *record)
{
	int64_t first_ms, last_ms;
	if (w->whole)
		return true;
	buffer_reset(&w->frame);
	record_write(record, &w->frame); /* a row alone, not all of its block */
	(void)record_span(w->decoder, (const unsigned char *)w->frame.data, &w->scratch,
		&first_ms, &last_ms);
	return first_ms < w->to_ms && last_ms >= w->from_ms;
}

static int write_json(struct writer *w, const struct record *record)
{
	if (!is_wanted(w, record))
		return 0;
	buffer_reset(&w->line);
	record_write_json(record, &w->line);
	errno = EIO;
	return fwrite(w->line.data, 1, w->line.length, w->out) == w->line.length ? 0
										 : -errno;
}

static int write_rows(
	struct writer *w, const unsigned char *frame, const struct record *block)
{
	struct row_cursor cursor = table_rows(frame, block);
	struct record row;
	uint32_t place;
	int r = 0;
	while (r == 0 && rows_next(&cursor, &row, &place))
		r = write_json(w, &row);
	return r == 0 && cursor.broken ? -EBADMSG : r;
}

static int write_chunk(const struct buffer *chunk, struct writer *writer)
{
	const unsigned char *at = (const unsigned char *)chunk->data;
	size_t left = chunk->length, size;
	struct record record;
	int r = 0;

	while (r == 0 && (size = record_read(at, left, &record)) > 0) {
		r = record.kind == RECORD_ROW ? write_rows(writer, at, &record)
					      : write_json(writer, &record);
		at += size;
		left -= size;
	}
	return r;
}

static int write_waiting(
	const struct waiting *w, uint64_t committed, struct writer *writer)
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
			r = write_json(writer, &record);
	}
	return r;
}

/* What the store holds at one moment. */
struct contents {
	FILE *spool; /* chunks one after the other, packed */
	size_t *lengths;
	size_t count;
	int64_t *ids;
	size_t damaged;     /* chunks that cannot be read, */
	int64_t damaged_id; /* and one of them */
	int64_t committed;  /* sequence number of their last record of the tail */
};

static void contents_release(struct contents *c)
{
	if (c->spool)
		(void)fclose(c->spool); /* it is gone with that */
	free(c->lengths);
	free(c->ids);
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

static int copy_chunks(struct store *store, struct contents *c, char why[static 320])
{
	struct buffer chunk = {0};
	int r = 0;

	c->lengths = xcalloc(c->count, sizeof(*c->lengths));
	for (size_t i = 0; r == 0 && i < c->count; i++) {
		r = store_chunk_copy(store, c->ids[i], &chunk);
		if (r != 0)
			break;
		c->lengths[i] = chunk.length;
		errno = EIO;
		if (fwrite(chunk.data, 1, chunk.length, c->spool) != chunk.length)
			r = -errno;
	}
	if (r == 0 && fflush(c->spool) != 0)
		r = -errno;
	if (r < 0 && !store_error(store)[0])
		(void)snprintf(why, 320, "the journal could not be copied to %s: %s",
			P_tmpdir, strerror(-r));
	buffer_release(&chunk);
	return r;
}

static int take_contents(struct store *store, const struct writer *w, struct contents *c,
	char why[static 320])
{
	c->spool = tmpfile();
	if (!c->spool) {
		(void)snprintf(why, 320, "no temporary file: %s", strerror(errno));
		return -EIO;
	}
	int r = store_begin_read(store);
	if (r == 0)
		r = store_fact(store, FACT_COMMITTED_SEQUENCE, &c->committed);
	if (r == 0)
		r = w->whole ? store_chunks_all(store, &c->ids, &c->count)
			     : store_chunks_about(
				       store, w->from_ms, w->to_ms, &c->ids, &c->count);
	if (r == 0)
		r = list_damaged(store, c);
	if (r == 0)
		r = copy_chunks(store, c, why);
	store_rollback(store);
	return r;
}

/* A damaged one is told of; the others are written all the same. */
static int write_chunks(struct contents *c, struct writer *writer)
{
	struct buffer copy = {0}, records = {0};
	int r = 0;

	rewind(c->spool);
	for (size_t i = 0; r == 0 && i < c->count; i++) {
		buffer_reset(&copy);
		buffer_reserve(&copy, c->lengths[i]);
		errno = EIO;
		copy.length = fread(copy.data, 1, c->lengths[i], c->spool);
		if (copy.length != c->lengths[i]) {
			r = -errno;
		} else if (store_chunk_open(&copy, &records) == 0) {
			r = write_chunk(&records, writer);
		} else {
			c->damaged++;
			c->damaged_id = c->ids[i];
		}
	}
	buffer_release(&copy);
	buffer_release(&records);
	return r;
}

static int write_all(struct contents *contents, const struct waiting *w,
	struct writer *writer, char why[static 320])
{
	int r = write_chunks(contents, writer);
	if (r == 0)
		r = write_waiting(w, (uint64_t)contents->committed, writer);
	if (r == 0 && fflush(writer->out) != 0)
		r = -errno;
	if (r != 0)
		(void)snprintf(
			why, 320, "the output could not be written: %s", strerror(-r));
	return r;
}

static int say_damaged(
	const struct config *config, const struct contents *c, char why[static 320])
{
	if (c->damaged == 0)
		return 0;
	(void)snprintf(why, 320,
		"%s: %zu damaged chunks of the journal are missing from the output, "
		"chunk "
		"%lld is one; `heatbookd verify` says what is to be done",
		config->store.file, c->damaged, (long long)c->damaged_id);
	return -EBADMSG;
}

static int export(
	const struct config *config, struct writer *writer, char why[static 320])
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
		r = take_contents(store, writer, &contents, why);
		if (r != 0 && !why[0])
			(void)snprintf(why, 320, "%s: %.200s", config->store.file,
				store_error(store));
		store_close(store);
	}
	if (r == 0)
		r = write_all(&contents, &w, writer, why);
	if (r == 0)
		r = say_damaged(config, &contents, why);
	contents_release(&contents);
	buffer_release(&w.frames);
	buffer_release(&writer->line);
	return r;
}

int export_journal(const struct config *config, FILE *out, char why[static 320])
{
	struct writer writer = {.out = out, .whole = true};
	return export(config, &writer, why);
}

int export_journal_span(const struct config *config, int64_t from_ms, int64_t to_ms,
	FILE *out, char why[static 320])
{
	struct writer writer = {.out = out, .from_ms = from_ms, .to_ms = to_ms};
	writer.decoder = decoder_new(config);
	int r = export(config, &writer, why);
	readings_release(&writer.scratch);
	buffer_release(&writer.frame);
	decoder_free(writer.decoder);
	return r;
}
