/*
 * Spans that lie over minutes which stay as they are, since the journal can no longer
 * make them (sealed), or which are gone and live on in their hours.
 *
 * What such minutes hold of a span's quantity is taken off its amount, whatever they were
 * booked by; the rest is laid over the others. So the joules of a span that reaches out
 * of them are all there and none is there twice, as far as it has as many as they hold.
 * Where they hold just what the span as a whole would give them, it is laid as a whole:
 * the same rows then come out as before.
 *
 * What they hold too much or too little is lay_balance.c's.
 *
 * A minute that the span cuts holds of it what the spans beside it do not bring there. Of
 * a meter before another nothing is taken off here: its spans are of the whole, its rows
 * of a difference.
 */
#include "lay.h"

#include <string.h>

#define HOUR_MIN 60

/* Minutes and the spans that lie over their ends; whether any of these are sealed. */
static int reach(struct layer *l, int64_t from, int64_t to)
{
	sqlite3_stmt *get = store_statement_of(l->s, SQL_SEALED_NEAR);

	if (!get)
		return l->s->unprepared;
	bind_int(get, ":meter", l->s->meter_bit[l->quantity]);
	bind_int(get, ":from_ms", from * MS_PER_MIN);
	bind_int(get, ":to_ms", to * MS_PER_MIN);
	int rc = sqlite3_step(get);
	if (rc != SQLITE_ROW)
		return store_failed(l->s, rc, "sealed days");
	l->near_from = floor_div(sqlite3_column_int64(get, 0), MS_PER_MIN);
	l->near_to = floor_div(sqlite3_column_int64(get, 1) - 1, MS_PER_MIN) + 1;
	l->seals = sqlite3_column_int(get, 2) != 0;
	(void)sqlite3_reset(get);
	return 0;
}

int sealed_prepare(struct layer *l, int64_t from_minute, int64_t to_minute)
{
	int r = l->difference ? 0 : reach(l, from_minute, to_minute);
	if (r == 0 && !l->difference)
		r = reach(
			l, l->near_from - SEALS_REACH_MIN, l->near_to + SEALS_REACH_MIN);
	return r;
}

void sealed_release(struct layer *l)
{
	free(l->sealed.parts);
}

/* Of minutes that are gone: their hours', of a cut hour as its minutes say. */
static int sum_gone(struct layer *l, int64_t from, int64_t to, int64_t *sum)
{
	int r = 0;
	while (r == 0 && from < to) {
		int64_t hour = floor_div(from, HOUR_MIN), hour_j = 0;
		int64_t end = (hour + 1) * HOUR_MIN;
		end = end < to ? end : to;
		r = layer_sum(l, BOOKED_HOUR, hour * HOUR_MIN, (hour + 1) * HOUR_MIN,
			&hour_j, 1);
		*sum += settlement_share(hour_j, end - from, HOUR_MIN);
		from = end;
	}
	return r;
}

int sealed_booked(struct layer *l, int64_t from, int64_t to, int64_t gone, int64_t *sum)
{
	int64_t gone_end = gone < from ? from : gone < to ? gone : to;
	int r = sum_gone(l, from, gone_end, sum);
	return r == 0 ? layer_sum(l, BOOKED, gone_end, to, sum, 1) : r;
}

/* What a span laid as a whole brings to its minutes before one. */
static int64_t brought(const struct laying *y, const struct power *power, int64_t minute)
{
	int64_t ms = span_before_ms(y->q, minute * MS_PER_MIN);
	int64_t share = settlement_share(y->j, weigh(y->kind, power, ms), y->whole);
	return y->kind == SETTLEMENT_SPREAD ? share : power->j + share;
}

/* Its joules from a minute on. */
static int rest_from(
	struct layer *l, const struct settlement *q, int64_t minute, int64_t *ret)
{
	struct laying y;
	struct power before = {0, 0, 0};
	int r = lay_whole(l, q, &y);
	if (r == 0)
		r = power_before(l, q, &y.frame, minute, &before);
	if (r == 0)
		*ret = q->j - brought(&y, &before, minute);
	return r;
}

/* The span that ends at an instant, if one does. */
static int find_ending(
	struct layer *l, int64_t end_ms, struct settlement *ret, bool *found)
{
	sqlite3_stmt *get = store_statement_of(l->s, SQL_SETTLEMENT_ENDING);
	if (!get)
		return l->s->unprepared;
	bind_int(get, ":meter", l->s->meter_bit[l->quantity]);
	bind_int(get, ":end_ms", end_ms);
	int rc = sqlite3_step(get);
	*found = rc == SQLITE_ROW;
	if (*found)
		settlement_read(l->s, get, ret);
	(void)sqlite3_reset(get);
	return *found || rc == SQLITE_DONE ? 0
					   : store_failed(l->s, rc, "spans of registers");
}

/* What the minute in which the span begins holds of it: all that is not of the spans
 * before it, or of power outside of any. */
int sealed_first(struct layer *l, const struct settlement *q, int64_t minute,
	int64_t gone, int64_t *sum)
{
	struct settlement p = *q;
	int64_t j = 0, rest_j = 0, power_j = q->head_j, at_ms = minute * MS_PER_MIN;
	struct power power = {0, 0, 0};
	bool found = true;
	int r = sealed_booked(l, minute, minute + 1, gone, &j);

	while (r == 0 && found && p.begin_ms > at_ms) {
		r = find_ending(l, p.begin_ms, &p, &found);
		if (r != 0 || !found)
			break;
		r = rest_from(l, &p, minute, &rest_j);
		j -= rest_j;
		power_j += p.begin_ms >= at_ms ? p.head_j : 0;
	}
	if (r == 0 && !found)
		r = power_between(l, minute, minute + 1, &power);
	if (r == 0)
		*sum += found ? j : j - (power.j - power_j);
	return r;
}

/* What the minute in which it ends holds of it is what it brings there as a whole: it was
 * over when that minute was sealed. */
int sealed_last(struct layer *l, const struct settlement *q, int64_t minute, int64_t *sum)
{
	int64_t j = 0;
	int r = rest_from(l, q, minute, &j);
	*sum += j;
	return r;
}

static int add_part(struct layer *l, const struct settlement *q, const struct frame *f,
	struct sealed_part p, int64_t gone)
{
	struct sealed *s = &l->sealed;
	int64_t inner = p.from > f->inner ? p.from : f->inner;
	int64_t inner_end = p.to < f->inner_end ? p.to : f->inner_end;
	int r = sealed_booked(l, inner, inner_end, gone, &p.j);

	if (r == 0 && p.from == f->first && f->inner > f->first)
		r = sealed_first(l, q, f->first, gone, &p.j);
	if (r == 0 && p.to > f->last && f->inner_end <= f->last && f->last > f->first)
		r = sealed_last(l, q, f->last, &p.j);
	s->gone |= p.from < gone;
	if (s->count > 0 && s->parts[s->count - 1].to == p.from) {
		s->parts[s->count - 1].to = p.to;
		s->parts[s->count - 1].j += p.j;
		return r;
	}
	if (s->count == s->room) {
		s->room = s->room ? 2 * s->room : 8;
		s->parts = xrealloc(s->parts, s->room, sizeof(*s->parts));
	}
	s->parts[s->count++] = p;
	return r;
}

/* The sealed parts of a span, in order. */
static int find_parts(struct layer *l, const struct settlement *q, const struct frame *f)
{
	sqlite3_stmt *days = store_statement_of(l->s, SQL_SEALED_BETWEEN);
	int rc = SQLITE_DONE, r = 0;

	l->sealed.count = 0;
	l->sealed.gone = false;
	if (!days)
		return l->s->unprepared;
	bind_int(days, ":from_day", floor_div(f->first, MIN_PER_DAY));
	bind_int(days, ":to_day", floor_div(f->last, MIN_PER_DAY));
	while (r == 0 && (rc = sqlite3_step(days)) == SQLITE_ROW) {
		int64_t begin = sqlite3_column_int64(days, 0) * MIN_PER_DAY;
		int64_t end = sqlite3_column_int64(days, 1);
		struct sealed_part p = {.from = begin > f->first ? begin : f->first,
			.to = end < f->last + 1 ? end : f->last + 1};
		if (p.from < p.to)
			r = add_part(l, q, f, p, sqlite3_column_int64(days, 2));
	}
	(void)sqlite3_reset(days);
	if (r != 0)
		return r;
	return rc == SQLITE_DONE ? 0 : store_failed(l->s, rc, "sealed days");
}

/* Power and what the whole span would bring, of each part. */
static int weigh_parts(struct layer *l, const struct laying *y, int64_t *ret_fair_j)
{
	const struct settlement *q = y->q;
	int r = 0;

	*ret_fair_j = 0;
	for (size_t i = 0; r == 0 && i < l->sealed.count; i++) {
		struct sealed_part *p = &l->sealed.parts[i];
		struct power begin = {0, 0, 0}, end = {0, 0, 0};
		r = power_before(l, q, &y->frame, p->from, &begin);
		if (r == 0)
			r = power_before(l, q, &y->frame, p->to, &end);
		p->power = (struct power){end.j - begin.j, end.amount_j - begin.amount_j,
			end.ms - begin.ms};
		p->ms = span_before_ms(q, p->to * MS_PER_MIN) -
			span_before_ms(q, p->from * MS_PER_MIN);
		*ret_fair_j += brought(y, &end, p->to) - brought(y, &begin, p->from);
	}
	return r;
}

int sealed_read(struct layer *l, const struct laying *whole, bool is_taken)
{
	struct sealed *s = &l->sealed;
	int64_t fair_j = 0;
	int r = find_parts(l, whole->q, &whole->frame);

	s->j = 0;
	for (size_t i = 0; i < s->count; i++)
		s->j += s->parts[i].j;
	if (r == 0)
		r = weigh_parts(l, whole, &fair_j);
	if (!s->gone && !is_taken && s->j == fair_j)
		s->count = 0; /* as if nothing were sealed */
	return r;
}

int sealed_rest(struct layer *l, const struct settlement *q, int64_t *rest_j)
{
	struct frame f = frame_of(q);
	int r = find_parts(l, q, &f);
	for (size_t i = 0; i < l->sealed.count; i++)
		*rest_j -= l->sealed.parts[i].j;
	return r;
}

static void take_power(struct power *from, const struct power *what)
{
	from->j -= what->j;
	from->amount_j -= what->amount_j;
	from->ms -= what->ms;
}

void sealed_take_off(const struct layer *l, int64_t until, struct weights *w)
{
	for (size_t i = 0; i < l->sealed.count; i++) {
		const struct sealed_part *p = &l->sealed.parts[i];
		take_power(&w->all, &p->power);
		w->span_ms -= p->ms;
		w->j -= p->j;
		if (p->from >= until)
			continue;
		take_power(&w->before, &p->power);
		w->before_ms -= p->ms;
	}
}

/* ---- a span whose beginning another one took ---- */

/* What power said of a span in one of its minutes. */
static int power_in(
	struct layer *l, const struct settlement *q, int64_t minute, struct power *ret)
{
	int64_t first = floor_div(q->begin_ms, MS_PER_MIN);
	int64_t last = floor_div(q->end_ms - 1, MS_PER_MIN);

	*ret = (struct power){0, 0, 0};
	if (minute < first || minute > last)
		return 0;
	if (minute == first && (first == last || q->begin_ms != first * MS_PER_MIN))
		*ret = (struct power){q->head_j, 0, q->head_ms};
	else if (minute == last && q->end_ms != (last + 1) * MS_PER_MIN)
		*ret = (struct power){q->tail_j, 0, q->tail_ms};
	else
		return power_between(l, minute, minute + 1, ret);
	return 0;
}

static int cut(struct layer *l, const struct settlement *first, struct settlement *span)
{
	int64_t from = floor_div(first->end_ms, MS_PER_MIN);
	int64_t last = floor_div(span->end_ms - 1, MS_PER_MIN);
	struct power whole, before, inner = {0, 0, 0};
	int r = power_in(l, span, from, &whole);

	if (r == 0)
		r = power_in(l, first, from, &before);
	if (r == 0)
		r = power_between(l, from + 1, last, &inner);
	if (r != 0)
		return r;
	if (from == last)
		span->tail_j = span->tail_ms = 0;
	span->head_j = whole.j - before.j;
	span->head_ms = whole.ms - before.ms;
	span->power_j = inner.j;
	span->power_ms = span->head_ms + inner.ms + span->tail_ms;
	return 0;
}

int store_span_cut(
	struct store *s, const struct settlement *first, struct settlement *span)
{
	struct layer l = {.s = s, .quantity = (size_t)span->quantity};
	l.difference =
		l.quantity != COUNTED_HEAT && s->config->meters[l.quantity].difference;
	int r = layer_prepare(&l);
	if (r == 0)
		r = cut(&l, first, span);
	layer_release(&l);
	return r;
}
