/*
 * One growing bucket a UTC day. A bucket is written as a chunk when it reaches
 * CHUNK_BYTES; when all of them together reach HELD_BYTES, the largest is. A record with
 * readings of several days goes to the day of its first and widens that chunk's span.
 */
#include <heatbook/filer.h>

#include "worker.h"

#include <string.h>

#define CHUNK_BYTES (1 << 20)
#define HELD_BYTES  (16 << 20)
#define PACKED_MOST 2 /* at a time, aside */

struct span {
	bool any;
	int64_t from_ms, to_ms;
};

struct bucket {
	int64_t day;
	struct buffer bytes;
	struct row_block block; /* takes the next row */
	int64_t records;
	int64_t first_ms, last_ms; /* of the bytes held */
	struct span held, filed; /* of readings in them; in chunks since filer_spans() */
};

/* A chunk on its way into the store. */
struct parcel {
	struct work work;
	int64_t day;
	struct span held;
	struct chunk_head head;
	struct buffer bytes, packed;
	int result;
};

struct filer {
	struct store *store;
	struct decoder *decoder;
	int64_t import;
	struct bucket *buckets; /* by day, ascending */
	size_t count;
	size_t last; /* the one used last: the usual next */
	size_t held; /* what the buckets' buffers take */
	struct buffer spare;
	struct worker *packer;               /* NULL: packed at once */
	struct parcel *parcels[PACKED_MOST]; /* given to it, the oldest first */
	size_t parcel_count;
	struct readings scratch;
	struct buffer frame;
};

struct filer *filer_new(struct store *store, struct decoder *decoder, int64_t import)
{
	struct filer *f = xcalloc(1, sizeof(*f));
	f->store = store;
	f->decoder = decoder;
	f->import = import;
	return f;
}

void filer_pack_aside(struct filer *f)
{
	if (!f->packer)
		f->packer = worker_new();
}

static void parcel_free(struct parcel *p)
{
	buffer_release(&p->bytes);
	buffer_release(&p->packed);
	free(p);
}

void filer_free(struct filer *f)
{
	if (!f)
		return;
	worker_free(f->packer);
	for (size_t i = 0; i < f->parcel_count; i++)
		parcel_free(f->parcels[i]);
	for (size_t i = 0; i < f->count; i++)
		buffer_release(&f->buckets[i].bytes);
	free(f->buckets);
	readings_release(&f->scratch);
	buffer_release(&f->frame);
	buffer_release(&f->spare);
	free(f);
}

static void widen(int64_t *first, int64_t *last, bool fresh, int64_t from, int64_t to)
{
	if (fresh || from < *first)
		*first = from;
	if (fresh || to > *last)
		*last = to;
}

/* Of a block: how many of its rows make readings. */
static int64_t rows_spans(struct decoder *decoder, const unsigned char *frame,
	const struct record *block, int64_t *ret_first_ms, int64_t *ret_last_ms)
{
	struct row_cursor cursor = table_rows(frame, block);
	struct record row;
	uint32_t place;
	int64_t first, last, made = 0;
	for (bool fresh = true; rows_next(&cursor, &row, &place); fresh = false) {
		made += decoder_row_span(decoder, &row, &first, &last);
		widen(ret_first_ms, ret_last_ms, fresh, first, last);
	}
	return block->unsure ? 0 : made;
}

static int64_t rows_count(const unsigned char *frame, const struct record *block)
{
	struct row_cursor cursor = table_rows(frame, block);
	struct record row;
	uint32_t place;
	int64_t count = 0;
	while (rows_next(&cursor, &row, &place))
		count++;
	return count;
}

struct content chunk_content(
	struct decoder *decoder, const struct buffer *bytes, struct readings *scratch)
{
	const unsigned char *at = (const unsigned char *)bytes->data;
	struct content c = {.left = bytes->length};
	struct record record;
	size_t size;
	for (; (size = record_read(at, c.left, &record)) > 0;
		at += size, c.left -= size) {
		int64_t first, last;
		(void)record_span(decoder, at, scratch, &first, &last);
		widen(&c.first_ms, &c.last_ms, c.records == 0, first, last);
		c.records += record.kind == RECORD_ROW ? rows_count(at, &record) : 1;
	}
	return c;
}

bool record_span(struct decoder *decoder, const unsigned char *frame,
	struct readings *scratch, int64_t *ret_first_ms, int64_t *ret_last_ms)
{
	struct record record;
	(void)record_read(frame, RECORD_MOST, &record); /* a frame is valid by contract */
	*ret_first_ms = *ret_last_ms = record.t_ms;
	bool any;
	if (record.kind == RECORD_ROW)
		return rows_spans(decoder, frame, &record, ret_first_ms, ret_last_ms) > 0;
	if (decoder_is_at_stamp(decoder, &record, &any))
		return any;
	scratch->count = 0;
	decoder_decode(decoder, frame, scratch);
	for (size_t i = 0; i < scratch->count; i++) {
		int64_t t_ms = scratch->items[i].t_ms;
		if (i == 0 || t_ms < *ret_first_ms)
			*ret_first_ms = t_ms;
		if (i == 0 || t_ms > *ret_last_ms)
			*ret_last_ms = t_ms;
	}
	return scratch->count > 0;
}

static size_t find(const struct filer *f, int64_t day)
{
	size_t low = 0, high = f->count;
	while (low < high) {
		size_t middle = (low + high) / 2;
		if (f->buckets[middle].day < day)
			low = middle + 1;
		else
			high = middle;
	}
	return low;
}

static struct bucket *bucket_for(struct filer *f, int64_t day)
{
	if (f->last < f->count && f->buckets[f->last].day == day)
		return &f->buckets[f->last];
	size_t at = find(f, day);
	if (at == f->count || f->buckets[at].day != day) {
		f->buckets = xrealloc(f->buckets, f->count + 1, sizeof(*f->buckets));
		for (size_t i = f->count++; i > at; i--)
			f->buckets[i] = f->buckets[i - 1];
		f->buckets[at] = (struct bucket){.day = day};
	}
	f->last = at;
	return &f->buckets[at];
}

static void span_add(struct span *span, int64_t from_ms, int64_t to_ms)
{
	widen(&span->from_ms, &span->to_ms, !span->any, from_ms, to_ms);
	span->any = true;
}

/* One buffer that was full is kept: a log in order fills one after the other. In random
 * order, wide buffers with little in them would crowd the others out. */
static void put_away(struct filer *f, struct buffer *bytes)
{
	if (f->spare.data || bytes->length < CHUNK_BYTES) {
		buffer_release(bytes);
		return;
	}
	f->spare = *bytes;
	buffer_reset(&f->spare);
	*bytes = (struct buffer){0};
}

static void pack(struct work *work)
{
	struct parcel *p = (struct parcel *)work;
	p->result = store_chunk_pack(p->bytes.data, p->bytes.length, &p->packed);
}

static int put(struct filer *f, struct parcel *p)
{
	int r = p->result;
	if (r == 0)
		r = store_chunk_put(f->store, &p->head, &p->packed);
	if (r == 0 && p->held.any)
		span_add(&bucket_for(f, p->day)->filed, p->held.from_ms, p->held.to_ms);
	put_away(f, &p->bytes);
	parcel_free(p);
	return r;
}

static int put_oldest(struct filer *f)
{
	struct parcel *p = f->parcels[0];
	worker_wait(f->packer, &p->work);
	f->parcel_count--;
	/* NOLINTNEXTLINE(bugprone-sizeof-expression): pointers */
	memmove(f->parcels, f->parcels + 1, f->parcel_count * sizeof(f->parcels[0]));
	return put(f, p);
}

static struct parcel *parcel_of(struct filer *f, struct bucket *b)
{
	struct parcel *p = xcalloc(1, sizeof(*p));
	p->day = b->day;
	p->held = b->held;
	p->head = (struct chunk_head){
		f->import, b->first_ms, b->last_ms, b->records, (int64_t)b->bytes.length};
	p->bytes = b->bytes;
	f->held -= b->bytes.capacity;
	b->bytes = (struct buffer){0};
	b->held.any = false;
	b->records = 0;
	b->block.open = false;
	return p;
}

static int write_chunk(struct filer *f, struct bucket *b)
{
	int r = 0;
	if (b->records == 0)
		return 0;
	if (f->parcel_count == PACKED_MOST)
		r = put_oldest(f);
	if (r != 0)
		return r;
	struct parcel *p = parcel_of(f, b);
	if (!f->packer) {
		pack(&p->work);
		return put(f, p);
	}
	f->parcels[f->parcel_count++] = p;
	worker_give(f->packer, &p->work, pack);
	return 0;
}

static struct bucket *largest(struct filer *f)
{
	struct bucket *best = &f->buckets[0];
	for (size_t i = 1; i < f->count; i++)
		if (f->buckets[i].bytes.length > best->bytes.length)
			best = &f->buckets[i];
	return best;
}

/* The bucket of a record with that span; `any` readings. */
static struct bucket *note(struct filer *f, bool any, int64_t first, int64_t last)
{
	struct bucket *b = bucket_for(f, floor_div(first, MS_PER_DAY));
	widen(&b->first_ms, &b->last_ms, b->records == 0, first, last);
	if (any)
		span_add(&b->held, first, last + 1);
	b->records++;
	if (b->bytes.data || !f->spare.data)
		return b;
	b->bytes = f->spare;
	f->spare = (struct buffer){0};
	f->held += b->bytes.capacity;
	return b;
}

/* Rows of one day share blocks; each has a sign of life or a reading, all at one time. */
static struct bucket *add_row(struct filer *f, const struct record *row)
{
	int64_t first, last;
	bool any = decoder_row_span(f->decoder, row, &first, &last);
	struct bucket *b = note(f, any, first, last);
	size_t before = b->bytes.capacity;
	record_add_row(row, &b->bytes, &b->block);
	f->held += b->bytes.capacity - before;
	return b;
}

static struct bucket *add_message(struct filer *f, const struct record *record)
{
	int64_t first = record->t_ms, last = first;
	bool any;
	if (!decoder_is_at_stamp(f->decoder, record, &any)) {
		buffer_reset(&f->frame);
		record_write(record, &f->frame);
		any = record_span(f->decoder, (const unsigned char *)f->frame.data,
			&f->scratch, &first, &last);
	}
	struct bucket *b = note(f, any, first, last);
	size_t before = b->bytes.capacity;
	record_write(record, &b->bytes);
	f->held += b->bytes.capacity - before;
	b->block.open = false;
	return b;
}

int filer_add(struct filer *f, const struct record *record)
{
	struct bucket *b =
		record->kind == RECORD_ROW ? add_row(f, record) : add_message(f, record);
	if (b->bytes.length >= CHUNK_BYTES)
		return write_chunk(f, b);
	return f->held >= HELD_BYTES ? write_chunk(f, largest(f)) : 0;
}

int filer_flush(struct filer *f)
{
	int r = 0;
	for (size_t i = 0; r == 0 && i < f->count; i++)
		r = write_chunk(f, &f->buckets[i]);
	while (r == 0 && f->parcel_count > 0)
		r = put_oldest(f);
	return r;
}

int filer_spans(struct filer *f, filer_span *visit, void *context)
{
	int r = 0;
	for (size_t i = 0; r == 0 && i < f->count; i++) {
		struct span *filed = &f->buckets[i].filed;
		if (filed->any)
			r = visit(filed->from_ms, filed->to_ms, context);
		filed->any = false;
	}
	return r;
}
