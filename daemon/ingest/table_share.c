/*
 * See table_share.h. Parts end at whole milliseconds: the k-th of n begins at k / n of
 * the interval, rounded down, so that they meet without gap and overlap.
 */
#include "table_share.h"

#include <string.h>

#define ROWS_MOST  4096
#define BYTES_MOST (4 << 20)

struct waiting {
	size_t at, length, head_at, head_length;
};

struct row_share {
	int64_t interval_ms;
	bool before;
	struct record record; /* what the waiting rows have in common */
	struct buffer bytes;  /* of rows and headers */
	struct waiting rows[ROWS_MOST];
	size_t count;
};

struct row_share *row_share_new(int64_t interval_ms, bool covers_before)
{
	struct row_share *s = xcalloc(1, sizeof(*s));
	s->interval_ms = interval_ms;
	s->before = covers_before;
	return s;
}

void row_share_free(struct row_share *s)
{
	if (!s)
		return;
	buffer_release(&s->bytes);
	free(s);
}

int row_share_flush(struct row_share *s, const struct table_sink *sink)
{
	int64_t span = s->record.number[0] ? s->record.number[0] : s->interval_ms;
	int64_t begin = s->record.t_ms - (s->before ? span : 0);
	int64_t count = (int64_t)s->count;
	int failed = 0;
	for (int64_t i = 0; i < count && failed == 0; i++) {
		const struct waiting *w = &s->rows[i];
		struct record row = s->record;
		int64_t from = begin + span * i / count,
			to = begin + span * (i + 1) / count;
		row.t_ms = s->before ? to : from;
		row.number[0] = to - from == s->interval_ms ? 0 : to - from;
		row.payload = (const unsigned char *)s->bytes.data + w->at;
		row.payload_length = w->length;
		row.head = s->bytes.data + w->head_at;
		row.head_length = w->head_length;
		if (to > from) /* else there are more rows than milliseconds */
			failed = sink->row(&row, sink->context);
	}
	s->count = 0;
	buffer_reset(&s->bytes);
	return failed;
}

/* The header as it stands already, where the row before has the same. */
static size_t head_of(struct row_share *s, const struct record *record)
{
	const struct waiting *last = s->count ? &s->rows[s->count - 1] : NULL;
	if (last && last->head_length == record->head_length &&
		memcmp(s->bytes.data + last->head_at, record->head,
			record->head_length) == 0)
		return last->head_at;
	size_t at = s->bytes.length;
	buffer_add(&s->bytes, record->head, record->head_length);
	return at;
}

bool row_share_add(struct row_share *s, const struct record *record,
	const struct table_sink *sink, int *ret_failed)
{
	bool same = s->count > 0 && s->record.t_ms == record->t_ms &&
		    s->record.number[0] == record->number[0];
	*ret_failed = same ? 0 : row_share_flush(s, sink);
	if (s->count == ROWS_MOST || s->bytes.length > BYTES_MOST)
		return false;
	s->record = *record;
	size_t head = head_of(s, record);
	s->rows[s->count++] = (struct waiting){
		s->bytes.length, record->payload_length, head, record->head_length};
	buffer_add(&s->bytes, record->payload, record->payload_length);
	return true;
}
