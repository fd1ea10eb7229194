/*
 * Spans of energy registers: which there are. Minutes are written as power says; here
 * follows what registers say.
 *
 * What readings of a time closed replaces whatever readings of that time closed before.
 * Spans of later readings that it overlaps are of an earlier derivation, and are cut to
 * what is left of them: the later days are derived again, since their state differs, but
 * for those that are sealed or lie behind a sealed one. So no two spans of a register
 * ever overlap, and rows are a function of what power said in them and of the spans that
 * lie over them, whatever was booked before.
 */
#include "settle.h"

#include <errno.h>
#include <string.h>

struct spans {
	struct settlement *items;
	size_t count, room;
};

/* Minutes of each quantity that are to be booked anew; empty where to <= from. */
struct ranges {
	int64_t from[COUNTED_MOST], to[COUNTED_MOST];
};

static int quantity_of_bit(const struct store *s, int64_t bit)
{
	for (size_t q = 0; q < COUNTED_MOST; q++)
		if (config_counted(s->config, q) && s->meter_bit[q] == bit)
			return (int)q;
	return -1;
}

void settlement_read(const struct store *s, sqlite3_stmt *row, struct settlement *ret)
{
	int64_t *const fields[] = {&ret->quantity, &ret->end_ms, &ret->begin_ms,
		&ret->kind, &ret->made_ms, &ret->j, &ret->from_j, &ret->to_j, &ret->first,
		&ret->power_j, &ret->power_ms, &ret->head_j, &ret->head_ms, &ret->tail_j,
		&ret->tail_ms};
	for (size_t i = 0; i < ARRAY_LEN(fields); i++)
		*fields[i] = sqlite3_column_int64(row, (int)i);
	ret->quantity = quantity_of_bit(s, ret->quantity);
}

int store_counted_beside(struct store *s, int64_t from_ms, int64_t to_ms,
	struct counted_beside ret[static COUNTED_MOST], size_t *ret_count)
{
	sqlite3_stmt *rows = store_statement_of(s, SQL_SETTLEMENTS_COMPARE);
	size_t count = 0;
	int rc;

	if (!rows)
		return s->unprepared;
	bind_int(rows, ":from_ms", from_ms);
	bind_int(rows, ":to_ms", to_ms);
	while ((rc = sqlite3_step(rows)) == SQLITE_ROW) {
		int quantity = quantity_of_bit(s, sqlite3_column_int64(rows, 0));
		if (quantity < 0)
			continue; /* nothing counts it any more */
		ret[count++] = (struct counted_beside){.quantity = (size_t)quantity,
			.spans = sqlite3_column_int64(rows, 1),
			.register_j = sqlite3_column_int64(rows, 2),
			.power_j = sqlite3_column_int64(rows, 3),
			.begin_ms = sqlite3_column_int64(rows, 4),
			.end_ms = sqlite3_column_int64(rows, 5)};
	}
	(void)sqlite3_reset(rows);
	*ret_count = count;
	return rc == SQLITE_DONE ? 0 : store_failed(s, rc, "spans of registers");
}

static int order(const void *left, const void *right)
{
	const struct settlement *a = left, *b = right;
	const int64_t keys[][2] = {{a->made_ms, b->made_ms}, {a->quantity, b->quantity},
		{a->begin_ms, b->begin_ms}, {a->end_ms, b->end_ms}, {a->kind, b->kind}};
	for (size_t i = 0; i < ARRAY_LEN(keys); i++)
		if (keys[i][0] != keys[i][1])
			return keys[i][0] < keys[i][1] ? -1 : 1;
	return 0;
}

static void spans_add(struct spans *spans, const struct settlement *s)
{
	if (spans->count == spans->room) {
		spans->room = spans->room ? 2 * spans->room : 64;
		spans->items = xrealloc(spans->items, spans->room, sizeof(*spans->items));
	}
	spans->items[spans->count++] = *s;
}

static int load_made(struct store *s, int64_t from_ms, int64_t to_ms, struct spans *spans)
{
	sqlite3_stmt *rows = store_statement_of(s, SQL_SETTLEMENTS_MADE);
	struct settlement settlement;
	int rc;

	if (!rows)
		return s->unprepared;
	bind_int(rows, ":from_ms", from_ms);
	bind_int(rows, ":to_ms", to_ms);
	while ((rc = sqlite3_step(rows)) == SQLITE_ROW) {
		settlement_read(s, rows, &settlement);
		spans_add(spans, &settlement);
	}
	(void)sqlite3_reset(rows);
	/* The order of bits may be another than that of the configuration. */
	if (spans->count)
		qsort(spans->items, spans->count, sizeof(*spans->items), order);
	return rc == SQLITE_DONE ? 0 : store_failed(s, rc, "spans of registers");
}

static void widen(struct ranges *r, int64_t q, int64_t begin_ms, int64_t end_ms)
{
	int64_t from = floor_div(begin_ms, MS_PER_MIN);
	int64_t to = floor_div(end_ms + MS_PER_MIN - 1, MS_PER_MIN);
	if (q < 0)
		return;
	r->from[q] = from < r->from[q] ? from : r->from[q];
	r->to[q] = to > r->to[q] ? to : r->to[q];
}

/* What both lists begin and end with stays as it is. */
static void compare(const struct spans *old, const struct spans *made, size_t *ret_first,
	size_t *ret_old_end, size_t *ret_made_end)
{
	size_t i = 0, n = old->count, k = made->count;
	while (i < n && i < k &&
		memcmp(&old->items[i], &made->items[i], sizeof(*old->items)) == 0)
		i++;
	while (n > i && k > i &&
		memcmp(&old->items[n - 1], &made->items[k - 1], sizeof(*old->items)) ==
			0) {
		n--;
		k--;
	}
	*ret_first = i;
	*ret_old_end = n;
	*ret_made_end = k;
}

static int add_span(struct store *s, const struct settlement *span)
{
	sqlite3_stmt *add = store_statement_of(s, SQL_SETTLEMENT_ADD);
	bind_int(add, ":meter", s->meter_bit[span->quantity]);
	bind_int(add, ":end_ms", span->end_ms);
	bind_int(add, ":begin_ms", span->begin_ms);
	bind_int(add, ":kind", span->kind);
	bind_int(add, ":made_ms", span->made_ms);
	bind_int(add, ":j", span->j);
	bind_int(add, ":from_j", span->from_j);
	bind_int(add, ":to_j", span->to_j);
	bind_int(add, ":first", span->first);
	bind_int(add, ":power_j", span->power_j);
	bind_int(add, ":power_ms", span->power_ms);
	bind_int(add, ":head_j", span->head_j);
	bind_int(add, ":head_ms", span->head_ms);
	bind_int(add, ":tail_j", span->tail_j);
	bind_int(add, ":tail_ms", span->tail_ms);
	return store_run(s, add);
}

static int drop_overtaken(struct store *s, const struct settlement *span, int64_t to_ms,
	struct ranges *ranges, struct spans *dropped)
{
	struct settlement old;
	sqlite3_stmt *drop = store_statement_of(s, SQL_SETTLEMENT_OVERTAKEN);
	int rc;

	if (!drop)
		return s->unprepared;
	bind_int(drop, ":meter", s->meter_bit[span->quantity]);
	bind_int(drop, ":begin_ms", span->begin_ms);
	bind_int(drop, ":end_ms", span->end_ms);
	bind_int(drop, ":kind", span->kind);
	bind_int(drop, ":to_ms", to_ms);
	while ((rc = sqlite3_step(drop)) == SQLITE_ROW) {
		settlement_read(s, drop, &old);
		widen(ranges, span->quantity, old.begin_ms, old.end_ms);
		spans_add(dropped, &old);
	}
	(void)sqlite3_reset(drop);
	return rc == SQLITE_DONE ? 0 : store_failed(s, rc, "spans of registers");
}

/* Where its day is derived again, its reading makes it anew; where it is not (it is
 * sealed, or one before it is, or another mapping made it), this is what stays. */
static int keep_rest(
	struct store *s, const struct settlement *span, struct settlement *old)
{
	bool counts = old->kind < SETTLEMENT_RESET;
	int r = counts ? settlement_cut(s, span, old) : 0;
	return r == 0 && counts && old->begin_ms < old->end_ms ? add_span(s, old) : r;
}

static int overtake(struct store *s, const struct settlement *span, int64_t to_ms,
	struct ranges *ranges)
{
	struct spans dropped = {0};
	int r = drop_overtaken(s, span, to_ms, ranges, &dropped);
	for (size_t i = 0; r == 0 && i < dropped.count; i++)
		r = keep_rest(s, span, &dropped.items[i]);
	free(dropped.items);
	return r;
}

/* A span that reaches back beyond a sealed day begins with what was carried into that one
 * once. Where readings came for a time before it since, their spans stand. */
static int cut_made(struct store *s, struct spans *made, int64_t from_ms)
{
	size_t kept = 0;
	int r = 0;
	for (size_t i = 0; r == 0 && i < made->count; i++) {
		struct settlement span = made->items[i], earlier;
		bool counts = span.kind < SETTLEMENT_RESET;
		bool found = counts && span.begin_ms < from_ms;
		if (found)
			r = settlement_earlier(s, &span, from_ms, &earlier, &found);
		if (r == 0 && found)
			r = settlement_cut(s, &earlier, &span);
		if (!counts || span.begin_ms < span.end_ms)
			made->items[kept++] = span;
	}
	made->count = r == 0 ? kept : made->count;
	return r;
}

/* What follows was carried on from a reading that closed a span then, and closes none
 * now: it begins where the last one ends, with what the register counted between. Where
 * its day is derived again it is made anew, as above. */
static int join_next(
	struct store *s, size_t q, int64_t from_ms, int64_t to_ms, struct ranges *ranges)
{
	struct settlement before, next;
	bool found = false;
	int r = settlement_next(s, q, from_ms, to_ms, &before, &next, &found);

	if (r != 0 || !found || before.kind >= SETTLEMENT_RESET ||
		before.end_ms == next.begin_ms || before.to_j >= next.from_j)
		return r;
	sqlite3_stmt *drop = store_statement_of(s, SQL_SETTLEMENT_DROP);
	bind_int(drop, ":meter", s->meter_bit[q]);
	bind_int(drop, ":end_ms", next.end_ms);
	bind_int(drop, ":begin_ms", next.begin_ms);
	bind_int(drop, ":kind", next.kind);
	r = store_run(s, drop);
	if (r == 0)
		r = settlement_join(s, &before, &next);
	widen(ranges, next.quantity, next.begin_ms, next.end_ms);
	return r == 0 ? add_span(s, &next) : r;
}

/* Increments are counted from wherever they were begun with: two of them tell nothing. */
static int join_all(
	struct store *s, int64_t from_ms, int64_t to_ms, struct ranges *ranges)
{
	int r = 0;
	for (size_t q = 0; r == 0 && q < COUNTED_MOST; q++) {
		const struct counted *c = config_counted(s->config, q);
		if (c && c->counting.kind != REGISTER_INCREMENT)
			r = join_next(s, q, from_ms, to_ms, ranges);
	}
	return r;
}

static int replace(struct store *s, const struct spans *old, const struct spans *made,
	int64_t from_ms, int64_t to_ms, struct ranges *ranges)
{
	size_t first, old_end, made_end;
	int r = 0;

	compare(old, made, &first, &old_end, &made_end);
	for (size_t i = first; i < old_end; i++)
		widen(ranges, old->items[i].quantity, old->items[i].begin_ms,
			old->items[i].end_ms);
	for (size_t i = first; i < made_end; i++)
		widen(ranges, made->items[i].quantity, made->items[i].begin_ms,
			made->items[i].end_ms);
	if (first == old_end && first == made_end)
		return 0;
	sqlite3_stmt *drop = store_statement_of(s, SQL_SETTLEMENTS_DROP);
	bind_int(drop, ":from_ms", from_ms);
	bind_int(drop, ":to_ms", to_ms);
	r = store_run(s, drop);
	for (size_t i = first; r == 0 && i < made_end; i++)
		r = overtake(s, &made->items[i], to_ms, ranges);
	for (size_t i = 0; r == 0 && i < made->count; i++)
		r = add_span(s, &made->items[i]);
	return r == 0 ? join_all(s, from_ms, to_ms, ranges) : r;
}

static bool any_is_laid(const struct config *config)
{
	bool any = false;
	for (size_t q = 0; q < COUNTED_MOST; q++)
		any = any || config_is_laid(config, q);
	return any;
}

/* A difference changes with what is taken off, and where its own register's span is
 * spread, all of the span does. */
static int widen_difference(struct store *s, size_t m, struct ranges *ranges)
{
	size_t less = (size_t)s->config->meters[m].less;
	sqlite3_stmt *reach = store_statement_of(s, SQL_SETTLEMENTS_REACH);

	if (!reach)
		return s->unprepared;
	if (ranges->from[less] < ranges->from[m])
		ranges->from[m] = ranges->from[less];
	if (ranges->to[less] > ranges->to[m])
		ranges->to[m] = ranges->to[less];
	if (!config_counted(s->config, m) || ranges->from[m] >= ranges->to[m])
		return 0;
	bind_int(reach, ":meter", s->meter_bit[m]);
	bind_int(reach, ":from_ms", ranges->from[m] * MS_PER_MIN);
	bind_int(reach, ":to_ms", ranges->to[m] * MS_PER_MIN);
	int rc = sqlite3_step(reach);
	if (rc != SQLITE_ROW)
		return store_failed(s, rc, "spans of registers");
	if (sqlite3_column_type(reach, 0) != SQLITE_NULL)
		widen(ranges, (int64_t)m, sqlite3_column_int64(reach, 0),
			sqlite3_column_int64(reach, 1));
	(void)sqlite3_reset(reach);
	return 0;
}

/* What is taken off comes before what it is taken off. */
static int lay(struct store *s, size_t q, struct ranges *ranges, unsigned *done)
{
	bool difference = q < s->config->meter_count && s->config->meters[q].difference;
	int r = 0;

	if (*done & 1u << q)
		return 0;
	*done |= 1u << q;
	if (difference)
		r = lay(s, (size_t)s->config->meters[q].less, ranges, done);
	if (r == 0 && difference)
		r = widen_difference(s, q, ranges);
	if (r == 0 && config_is_laid(s->config, q))
		r = store_lay(s, q, ranges->from[q], ranges->to[q]);
	return r;
}

/* Asked before and after spans change: what made up for sealed minutes may do so no more.
 */
static int widen_sealed(struct store *s, struct ranges *ranges)
{
	int r = 0;
	for (size_t q = 0; r == 0 && q < COUNTED_MOST; q++)
		if (ranges->from[q] < ranges->to[q] && config_counted(s->config, q))
			r = store_widen_sealed(s, q, &ranges->from[q], &ranges->to[q]);
	return r;
}

int store_settle(struct store *s, struct settlement *made, size_t count, int64_t from_ms,
	int64_t to_ms, int64_t *from_minute, int64_t *to_minute)
{
	struct spans old = {0}, fresh = {.items = made, .count = count};
	struct ranges ranges;
	int64_t from = *from_minute, to = *to_minute;
	unsigned done = 0;

	if (!any_is_laid(s->config))
		return 0;
	for (size_t q = 0; q < COUNTED_MOST; q++) {
		ranges.from[q] = *from_minute;
		ranges.to[q] = *to_minute;
	}
	if (count)
		qsort(made, count, sizeof(*made), order);
	int r = cut_made(s, &fresh, from_ms);
	if (r == 0)
		r = load_made(s, from_ms, to_ms, &old);
	if (r == 0)
		r = widen_sealed(s, &ranges);
	if (r == 0)
		r = replace(s, &old, &fresh, from_ms, to_ms, &ranges);
	if (r == 0)
		r = widen_sealed(s, &ranges);
	for (size_t q = 0; r == 0 && q < COUNTED_MOST; q++) {
		r = lay(s, q, &ranges, &done);
		if (!config_is_laid(s->config, q))
			continue;
		from = ranges.from[q] < from ? ranges.from[q] : from;
		to = ranges.to[q] > to ? ranges.to[q] : to;
	}
	free(old.items);
	if (r != 0)
		return r;
	*from_minute = from;
	*to_minute = to;
	return 0;
}
