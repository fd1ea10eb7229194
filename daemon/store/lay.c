/*
 * Spans of a register laid over the minutes of what it counts, a UTC day at a time.
 *
 * A minute's share of a span is that of its weight: the amount of what power said in it
 * (shaped), its time (spread), or its time in which power said nothing (bridged, of what
 * power did not see). A shaped minute is what power said, and its share of what power and
 * register differ by: of power that is nowhere negative that is j * S_k / sum of S, and a
 * defrost amid heating does not blow it up. Shares are differences of cumulative ones,
 * rounded down: they are whole joules and add up to the span's amount, whatever part of
 * it is booked when.
 *
 * A minute may lie in several spans and in part in none: what power said outside of all
 * of them stays. Among the modes a minute's joules go as power went, spread ones as the
 * time went; bridged ones to no mode, since nobody saw when they flowed. Immersion energy
 * always goes to hot water. A spread span makes its time known, a bridged one does not.
 *
 * Weights are taken from what power said, which every row can tell: booking again gives
 * the same rows. Rows of sealed days are left alone (lay_sealed.c, lay_balance.c). Of a
 * meter before another, power and spans are of the whole; what is taken off is
 * lay_difference.c's.
 */
#include "lay.h"

#include <heatbook/event.h>

#include <math.h>
#include <string.h>

/* ---- weights ---- */

int power_between(struct layer *l, int64_t from, int64_t to, struct power *sum)
{
	int64_t sums[] = {sum->j, sum->amount_j, sum->ms};
	int r = layer_sum(l, POWER, from, to, sums, ARRAY_LEN(sums));
	*sum = (struct power){sums[0], sums[1], sums[2]};
	return r;
}

struct frame frame_of(const struct settlement *q)
{
	struct frame f = {.first = floor_div(q->begin_ms, MS_PER_MIN),
		.last = floor_div(q->end_ms - 1, MS_PER_MIN)};
	bool cut_first = q->begin_ms != f.first * MS_PER_MIN;
	bool cut_last = q->end_ms != (f.last + 1) * MS_PER_MIN;
	if (f.first == f.last && (cut_first || cut_last))
		cut_first = cut_last = true;
	f.inner = f.first + cut_first;
	f.inner_end = f.last + 1 - cut_last;
	return f;
}

static bool is_carried(const struct layer *l, const struct settlement *q)
{
	const struct carried *c = &l->carried;
	return c->any && c->begin_ms == q->begin_ms && c->end_ms == q->end_ms &&
	       c->kind == q->kind;
}

/* Sums up to `until`, from where that was done in the block before. */
static int carry(
	struct layer *l, const struct settlement *q, const struct frame *f, int64_t until)
{
	struct carried *c = &l->carried;
	int64_t end = until < f->inner_end ? until : f->inner_end;
	int r = 0;
	if (!is_carried(l, q)) {
		*c = (struct carried){.begin_ms = q->begin_ms,
			.end_ms = q->end_ms,
			.kind = q->kind,
			.until = f->inner};
		r = power_between(l, f->inner, f->inner_end, &c->all);
		c->any = r == 0;
	}
	if (r != 0 || end <= c->until)
		return r;
	r = power_between(l, c->until, end, &c->before);
	c->until = end;
	return r;
}

/* Of all its minutes before `until`, given that of the whole ones. */
static struct power with_ends(const struct settlement *q, const struct frame *f,
	int64_t until, struct power sum)
{
	if (f->inner > f->first && until > f->first) {
		sum.j += q->head_j;
		sum.amount_j += llabs(q->head_j);
		sum.ms += q->head_ms;
	}
	if (f->inner_end <= f->last && f->last > f->first && until > f->last) {
		sum.j += q->tail_j;
		sum.amount_j += llabs(q->tail_j);
		sum.ms += q->tail_ms;
	}
	return sum;
}

int power_before(struct layer *l, const struct settlement *q, const struct frame *f,
	int64_t minute, struct power *ret)
{
	int64_t end = minute < f->inner_end ? minute : f->inner_end;
	struct power sum = {0, 0, 0};
	int r = power_between(l, f->inner, end, &sum);
	*ret = with_ends(q, f, minute, sum);
	return r;
}

static struct power power_of(const struct settlement *q, const struct frame *f,
	const struct minute_rows *rows, int64_t minute)
{
	struct power sum = {0, 0, 0};
	if (minute >= f->inner && minute < f->inner_end) {
		for (size_t i = 0; i < MODE_COUNT; i++) {
			sum.j += rows->slots[i].shape_j;
			sum.amount_j += llabs(rows->slots[i].shape_j);
			sum.ms += rows->slots[i].shape_ms;
		}
		return sum;
	}
	if (minute == f->first)
		return (struct power){q->head_j, llabs(q->head_j), q->head_ms};
	return (struct power){q->tail_j, llabs(q->tail_j), q->tail_ms};
}

/* The part of [begin, end) that lies before an instant, or in a minute. */
int64_t span_before_ms(const struct settlement *q, int64_t t_ms)
{
	int64_t end = t_ms < q->end_ms ? t_ms : q->end_ms;
	return end > q->begin_ms ? end - q->begin_ms : 0;
}

int64_t weigh(enum settlement_kind kind, const struct power *power, int64_t span_ms)
{
	if (kind == SETTLEMENT_SHAPED)
		return power->amount_j;
	return kind == SETTLEMENT_SPREAD ? span_ms : span_ms - power->ms;
}

/* What can't be laid as it should (power said 0 where the register moved; power saw more
 * than the register, or all the time) is laid in another way, and every joule is. */
static enum settlement_kind kind_of(const struct settlement *q, const struct weights *w)
{
	enum settlement_kind kind = (enum settlement_kind)q->kind;
	if (kind == SETTLEMENT_BRIDGED && (w->j < w->all.j || w->all.ms >= w->span_ms))
		kind = SETTLEMENT_SHAPED;
	if (kind == SETTLEMENT_SHAPED && w->all.amount_j == 0)
		kind = SETTLEMENT_SPREAD;
	return kind;
}

/* Where power knows nothing of the whole, its minutes need not mirror what is behind. */
static int take_off(struct layer *l, const struct power *all, struct laying *y)
{
	bool even = y->kind == SETTLEMENT_SPREAD ||
		    (y->kind == SETTLEMENT_BRIDGED && all->ms == 0);
	struct carried *c = &l->carried;
	int r = 0;
	if (!l->difference || !even)
		return 0;
	if (!c->behind_known)
		r = difference_between(
			l, y->q->begin_ms, y->q->end_ms, &c->behind_j, &c->net);
	c->behind_known = r == 0;
	y->net = c->net;
	if (y->net)
		y->j -= c->behind_j;
	return r;
}

static struct laying by_weights(
	const struct settlement *q, const struct frame *f, const struct weights *w)
{
	enum settlement_kind kind = kind_of(q, w);
	return (struct laying){.q = q,
		.frame = *f,
		.kind = kind,
		.j = kind == SETTLEMENT_SPREAD ? w->j : w->j - w->all.j,
		.whole = weigh(kind, &w->all, w->span_ms),
		.weight = weigh(kind, &w->before, w->before_ms)};
}

int lay_whole(struct layer *l, const struct settlement *q, struct laying *ret)
{
	struct frame f = frame_of(q);
	struct weights w = {.j = q->j, .span_ms = q->end_ms - q->begin_ms};
	int r = power_before(l, q, &f, f.last + 1, &w.all);
	if (r == 0)
		*ret = by_weights(q, &f, &w);
	return r;
}

static bool may_fall(const struct layer *l)
{
	return config_counted(l->s->config, l->quantity)->counting.falls;
}

/* What sealed minutes hold of a span comes off it, and what it makes up for. */
static int heed_seals(struct layer *l, const struct settlement *q, const struct frame *f,
	bool is_new, struct weights *w)
{
	const struct laying whole = by_weights(q, f, w);
	int64_t taken_j = balance_taken(l, q);
	int r = is_new ? sealed_read(l, &whole, taken_j != 0) : 0;
	if (r != 0)
		return r;
	sealed_take_off(l, l->from, w);
	w->j -= taken_j;
	if (w->j < 0 && !may_fall(l))
		w->j = 0;
	return 0;
}

static int begin_laying(
	struct layer *l, const struct settlement *q, int64_t from, struct laying *ret)
{
	struct frame f = frame_of(q);
	bool is_new = !is_carried(l, q);
	int r = carry(l, q, &f, from);
	if (r != 0)
		return r;
	struct weights w = {.j = q->j,
		.all = with_ends(q, &f, f.last + 1, l->carried.all),
		.before = with_ends(q, &f, from, l->carried.before),
		.span_ms = q->end_ms - q->begin_ms,
		.before_ms = span_before_ms(q, from * MS_PER_MIN)};
	if (l->seals)
		r = heed_seals(l, q, &f, is_new, &w);
	if (r != 0)
		return r;
	*ret = by_weights(q, &f, &w);
	return take_off(l, &w.all, ret);
}

/* ---- a span into the block ---- */

static void bring_part(struct laying *y, struct minute_rows *rows,
	const struct power *power, int64_t part_ms, int64_t j)
{
	if (y->kind == SETTLEMENT_SHAPED) {
		rows->shaped_j += power->j + j;
	} else if (y->kind == SETTLEMENT_SPREAD) {
		rows->spread_j += j;
		rows->spread_ms += part_ms;
		rows->seen_ms += power->ms;
	} else {
		rows->shaped_j += power->j;
		rows->bridged_j += j;
		rows->is_bridged = true;
		rows->bridged_ms += part_ms - power->ms;
	}
}

static void bring(struct laying *y, struct minute_rows *rows, int64_t minute)
{
	struct power power = power_of(y->q, &y->frame, rows, minute);
	int64_t begin_ms = span_before_ms(y->q, minute * MS_PER_MIN);
	int64_t part_ms = span_before_ms(y->q, (minute + 1) * MS_PER_MIN) - begin_ms;
	int64_t at_ms = y->q->begin_ms + begin_ms - minute * MS_PER_MIN;
	int64_t before = settlement_share(y->j, y->weight, y->whole);
	y->weight += weigh(y->kind, &power, part_ms);
	int64_t j = settlement_share(y->j, y->weight, y->whole) - before;

	rows->touched = true;
	rows->covered_ms += part_ms;
	rows->power_j += power.j;
	if (y->net)
		rows->net_behind_j +=
			difference_part(&rows->behind, at_ms, at_ms + part_ms);
	bring_part(y, rows, &power, part_ms, j);
}

static int lay_span(struct layer *l, const struct settlement *q)
{
	struct laying y;
	int r = begin_laying(l, q, l->from, &y);
	if (r != 0)
		return r;
	int64_t from = y.frame.first > l->from ? y.frame.first : l->from;
	int64_t to = y.frame.last + 1 < l->to ? y.frame.last + 1 : l->to;
	for (int64_t minute = from; minute < to; minute++)
		bring(&y, &l->minutes[minute - l->from], minute);
	l->any = true;
	return 0;
}

static int lay_spans(struct layer *l)
{
	if (!config_counted(l->s->config, l->quantity))
		return 0; /* a difference by what is behind alone */
	sqlite3_stmt *rows = store_statement_of(l->s, SQL_SETTLEMENTS_OVER);
	struct settlement q;
	int rc = SQLITE_DONE, r = 0;

	if (!rows)
		return l->s->unprepared;
	bind_int(rows, ":meter", l->s->meter_bit[l->quantity]);
	bind_int(rows, ":from_ms", l->from * MS_PER_MIN);
	while (r == 0 && (rc = sqlite3_step(rows)) == SQLITE_ROW) {
		settlement_read(l->s, rows, &q);
		if (q.begin_ms >= l->to * MS_PER_MIN)
			break; /* and so do all that follow */
		if (q.kind < SETTLEMENT_RESET && q.begin_ms < q.end_ms)
			r = lay_span(l, &q);
	}
	(void)sqlite3_reset(rows);
	if (r != 0)
		return r;
	return rc == SQLITE_DONE || rc == SQLITE_ROW
		       ? 0
		       : store_failed(l->s, rc, "spans of registers");
}

/* ---- a minute's rows ---- */

/* Parts of `j` by weights; none: all to one place. */
void lay_divide(int64_t j, const int64_t weights[MODE_COUNT], size_t home,
	int64_t ret[MODE_COUNT])
{
	int64_t whole = 0, at = 0;
	for (size_t i = 0; i < MODE_COUNT; i++) {
		ret[i] = 0;
		whole += weights[i];
	}
	if (whole == 0) {
		ret[home] = j;
		return;
	}
	for (size_t i = 0; i < MODE_COUNT; i++) {
		int64_t before = settlement_share(j, at, whole);
		at += weights[i];
		ret[i] = settlement_share(j, at, whole) - before;
	}
}

/* As power went, and what differs from it by the amounts of power. */
void lay_divide_by_power(int64_t j, const int64_t power_j[MODE_COUNT], size_t home,
	int64_t ret[MODE_COUNT])
{
	int64_t amounts[MODE_COUNT], left = j;
	for (size_t i = 0; i < MODE_COUNT; i++) {
		amounts[i] = llabs(power_j[i]);
		left -= power_j[i];
	}
	lay_divide(left, amounts, home, ret);
	for (size_t i = 0; i < MODE_COUNT; i++)
		ret[i] += power_j[i];
}

/* The minute's time by mode; what no row speaks of is unassigned. */
void lay_time_weights(const struct minute_rows *rows, int64_t ret[MODE_COUNT])
{
	int64_t left = MS_PER_MIN;
	for (size_t i = 0; i < MODE_COUNT; i++) {
		ret[i] = rows->slots[i].exists ? rows->slots[i].ms : 0;
		left -= ret[i];
	}
	ret[MODE_UNASSIGNED] += left > 0 ? left : 0;
}

static void shape_of(
	const struct minute_rows *rows, struct power *ret_all, int64_t ret_j[MODE_COUNT])
{
	*ret_all = (struct power){0, 0, 0};
	for (size_t i = 0; i < MODE_COUNT; i++) {
		ret_j[i] = rows->slots[i].shape_j;
		ret_all->j += rows->slots[i].shape_j;
		ret_all->ms += rows->slots[i].shape_ms;
	}
}

/* What the rows shall say. */
static void book(const struct layer *l, const struct minute_rows *rows,
	struct part_row ret[MODE_COUNT])
{
	int64_t by_time[MODE_COUNT], by_power[MODE_COUNT], shaped[MODE_COUNT];
	int64_t spread[MODE_COUNT], ms[MODE_COUNT];
	struct power all;

	lay_time_weights(rows, by_time);
	shape_of(rows, &all, by_power);
	bool whole = rows->covered_ms == MS_PER_MIN;
	lay_divide_by_power(rows->shaped_j + (whole ? 0 : all.j - rows->power_j),
		by_power, l->home, shaped);
	lay_divide(rows->spread_j, by_time, l->home, spread);
	if (l->immersion) {
		memset(spread, 0, sizeof(spread));
		spread[l->home] = rows->spread_j;
	}
	int64_t known_ms = all.ms - rows->seen_ms + rows->spread_ms;
	lay_divide(known_ms < MS_PER_MIN ? known_ms : MS_PER_MIN, by_time,
		MODE_UNASSIGNED, ms);
	for (size_t i = 0; i < MODE_COUNT; i++) {
		const struct part_row *p = &rows->slots[i].now;
		struct part_row *o = &ret[i];
		bool spreads = rows->spread_ms > 0 && (ms[i] > 0 || spread[i] != 0);
		bool bridges = rows->is_bridged && i == (size_t)l->home;
		*o = (struct part_row){.power_seen = p->power_seen,
			.power_j = p->power_j,
			.power_ms = p->power_ms,
			.seen = p->power_seen || spreads || bridges || shaped[i] != 0,
			.j = shaped[i] + spread[i] + (bridges ? rows->bridged_j : 0),
			.ms = rows->spread_ms > 0 ? ms[i] : p->power_ms,
			.is_spread = spreads,
			.spread_j = spread[i],
			.is_bridged = bridges,
			.bridged_j = bridges ? rows->bridged_j : 0,
			.bridged_ms = bridges ? rows->bridged_ms : 0};
		o->changed = spreads || bridges || o->seen != o->power_seen ||
			     o->j != o->power_j || o->ms != o->power_ms;
	}
}

/* Without any span: what power said. */
static void unbook(const struct minute_rows *rows, struct part_row ret[MODE_COUNT])
{
	for (size_t i = 0; i < MODE_COUNT; i++) {
		const struct part_row *p = &rows->slots[i].now;
		ret[i] = (struct part_row){.seen = p->power_seen,
			.j = p->power_j,
			.ms = p->power_ms,
			.power_seen = p->power_seen,
			.power_j = p->power_j,
			.power_ms = p->power_ms};
	}
}

/* What a meter before another reads in all. */
static int64_t whole_of(const struct minute_rows *rows, struct power *ret_shape)
{
	int64_t by_power[MODE_COUNT];
	shape_of(rows, ret_shape, by_power);
	int64_t outside_j =
		rows->covered_ms == MS_PER_MIN ? 0 : ret_shape->j - rows->power_j;
	return rows->shaped_j + outside_j + rows->spread_j + rows->bridged_j;
}

/* The same less what is behind. */
static bool book_difference(const struct layer *l, const struct minute_rows *rows,
	struct part_row ret[MODE_COUNT])
{
	struct power all;
	int64_t j = whole_of(rows, &all);
	int64_t ms = all.ms - rows->seen_ms + rows->spread_ms;
	return difference_book(l, rows, j, ms < MS_PER_MIN ? ms : MS_PER_MIN, ret);
}

static int write_minute(struct layer *l, int64_t minute)
{
	const struct minute_rows *rows = &l->minutes[minute - l->from];
	struct part_row out[MODE_COUNT];

	if (l->difference) {
		if (!book_difference(l, rows, out))
			unbook(rows, out);
	} else if (rows->touched)
		book(l, rows, out);
	else
		unbook(rows, out);
	return layer_write_minute(l, minute, out);
}

static int lay_block(struct layer *l)
{
	int r = layer_read(l);
	if (r == 0 && l->difference)
		r = difference_read(l);
	if (r == 0)
		r = lay_spans(l);
	if (r != 0 || !l->any)
		return r;
	for (int64_t minute = l->from; r == 0 && minute < l->to; minute++)
		r = write_minute(l, minute);
	return r;
}

/* A difference is not laid around sealed minutes. What spans would bring to them beyond
 * what they hold is in no row; where what is behind is not known, that is the whole. */
static int64_t missing_in(const struct layer *l)
{
	struct part_row out[MODE_COUNT];
	struct power all;
	int64_t j = 0;
	for (int64_t minute = l->from; minute < l->to; minute++) {
		const struct minute_rows *rows = &l->minutes[minute - l->from];
		if (!rows->touched)
			continue;
		bool told = book_difference(l, rows, out);
		if (!told)
			j += whole_of(rows, &all) - rows->behind.j;
		for (size_t i = 0; i < MODE_COUNT; i++)
			j += (told ? out[i].j : 0) - rows->slots[i].now.j;
	}
	return j;
}

/* Of a day's sealed minutes the first that is not gone. */
static int kept_from(struct layer *l, int64_t day, int64_t *ret)
{
	sqlite3_stmt *days = store_statement_of(l->s, SQL_SEALED_BETWEEN);
	if (!days)
		return l->s->unprepared;
	bind_int(days, ":from_day", day);
	bind_int(days, ":to_day", day);
	int rc = sqlite3_step(days);
	int64_t gone = rc == SQLITE_ROW ? sqlite3_column_int64(days, 2) : 0;
	*ret = gone > day * MIN_PER_DAY ? gone : day * MIN_PER_DAY;
	(void)sqlite3_reset(days);
	return rc == SQLITE_ROW || rc == SQLITE_DONE
		       ? 0
		       : store_failed(l->s, rc, "sealed days");
}

static int name_missing(struct layer *l, int64_t day, int64_t to)
{
	struct event e = {.kind = EVENT_REGISTER_UNPLACED,
		.is_meter = true,
		.subject = (uint16_t)l->quantity,
		.t_ms = (to - 1) * MS_PER_MIN,
		.made_ms = (to - 1) * MS_PER_MIN,
		.before = (double)NAN};
	int r = kept_from(l, day, &l->from);

	l->to = to;
	if (r != 0 || l->from >= to)
		return r;
	r = layer_read(l);
	if (r == 0)
		r = difference_read(l);
	if (r == 0)
		r = lay_spans(l);
	if (r == 0)
		r = store_event_drop(l->s, &e, day * MS_PER_DAY, (day + 1) * MS_PER_DAY);
	int64_t j = r == 0 ? missing_in(l) : 0;
	e.after = (double)j / J_PER_KWH;
	return r == 0 && j != 0 ? store_event_add(l->s, &e) : r;
}

static int lay_blocks(struct layer *l, int64_t at, int64_t to_minute)
{
	int r = 0;
	while (r == 0 && at < to_minute) {
		int64_t day = floor_div(at, MIN_PER_DAY), sealed = 0;
		int64_t end = (day + 1) * MIN_PER_DAY;
		r = store_sealed_until(l->s, day, &sealed);
		if (r == 0 && l->difference && sealed > day * MIN_PER_DAY)
			r = name_missing(l, day, sealed < end ? sealed : end);
		l->from = sealed > at ? sealed : at;
		l->to = end < to_minute ? end : to_minute;
		if (r == 0 && l->from < l->to)
			r = lay_block(l);
		at = l->to;
	}
	return r;
}

int store_lay(struct store *s, size_t quantity, int64_t from_minute, int64_t to_minute)
{
	const struct meter_config *meter =
		quantity == COUNTED_HEAT ? NULL : &s->config->meters[quantity];
	struct layer l = {.s = s,
		.quantity = quantity,
		.difference = meter && meter->difference,
		.immersion = meter && meter->serves == DEVICE_IMMERSION};
	int r = 0;

	if (from_minute >= to_minute)
		return 0;
	kept_forget(s->kept_energies);
	l.home = l.immersion ? MODE_HOT_WATER : MODE_UNASSIGNED;
	l.minutes = xcalloc((size_t)MIN_PER_DAY, sizeof(*l.minutes));
	r = layer_prepare(&l);
	if (r == 0)
		r = sealed_prepare(&l, from_minute, to_minute);
	if (r == 0)
		r = balance_prepare(&l);
	if (r == 0 && l.difference)
		r = difference_prepare(&l);
	if (r == 0)
		r = lay_blocks(&l, from_minute, to_minute);
	difference_release(&l);
	balance_release(&l);
	sealed_release(&l);
	layer_release(&l);
	free(l.minutes);
	return r;
}
