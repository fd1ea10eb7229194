/*
 * What sealed minutes hold too much or too little of what a register counted, and where
 * that goes.
 *
 * Spans that touch sealed minutes and follow each other are a cluster. What its spans
 * counted less what the minutes hold of them is its balance, apart for each span that
 * reaches out of the seal (it is laid around it, lay_sealed.c) and together for all that
 * lie in it wholly. Readings that come late part spans otherwise than they were parted
 * when the minutes were booked, so either may be off, and one may make up for another.
 *
 * Below nothing, as much would be there twice: it is taken off the cluster's own spans
 * outside of the seal, then off those that follow, then off those before (the other way
 * round, where a span that ends in the seal has less than that holds), none below
 * nothing, within SEALS_REACH_MIN of it or up to the next seal. Above nothing, the
 * register counted in sealed minutes what they don't hold, and these cannot be given
 * more. What is left of either is named as an event and is in no row: rows and what is
 * named add up to what the register counted.
 *
 * A seal that is longer than SEALS_REACH_MIN has two ends that know nothing of each
 * other: at the first one the span that reaches into it, at the last one what lies in its
 * last SEALS_REACH_MIN. Days that are sealed wholly are never derived, so nothing changes
 * between. Of increments messages may be gone of which rows are all that is left: what
 * minutes hold more than wholly sealed spans is true then, and stays.
 */
#include "lay.h"

#include <heatbook/event.h>

#include <math.h>
#include <string.h>

/* Minutes [from, to) that stay as they are; a long run is two of them. */
struct seal {
	int64_t from, to, gone;
	bool begins; /* the beginning of a long one */
	bool near;   /* its end is near */
};

/* A span near seals. */
struct near_span {
	struct settlement q;
	bool sealed;      /* some of its minutes are, … */
	bool looked_at;   /* … near an end of a seal */
	bool left, right; /* its first, its last minute is not */
	int64_t rest_j; /* what is left for others than sealed minutes; may be below 0 */
	int64_t taken_j;
};

struct cluster {
	size_t first, end;    /* of the spans */
	int64_t back_j, on_j; /* to be taken off spans before it, after it */
	int64_t unplaced_j;
	int64_t shared_j;    /* what minutes hold that are of a span outside, too */
	int64_t last_minute; /* that is sealed */
};

struct balancing {
	struct layer *l;
	bool falls, increments;
	struct seal *seals;
	size_t seal_count, seal_room;
	struct near_span *spans;
	size_t span_count, span_room;
	struct cluster *clusters;
	size_t cluster_count, cluster_room;
};

/* ---- what there is ---- */

static void add_seal(struct balancing *b, struct seal seal)
{
	if (seal.from >= seal.to)
		return;
	if (b->seal_count == b->seal_room) {
		b->seal_room = b->seal_room ? 2 * b->seal_room : 8;
		b->seals = xrealloc(b->seals, b->seal_room, sizeof(*b->seals));
	}
	b->seals[b->seal_count++] = seal;
}

static void add_run(struct balancing *b, const struct seal *run)
{
	const struct layer *l = b->l;
	int64_t cut = run->to - SEALS_REACH_MIN;
	bool first = run->from >= l->near_from && run->from <= l->near_to;
	bool last = run->to >= l->near_from && run->to <= l->near_to;
	if (cut <= run->from) {
		add_seal(b, (struct seal){
				    run->from, run->to, run->gone, false, first || last});
		return;
	}
	add_seal(b, (struct seal){run->from, cut, run->gone, true, first});
	add_seal(b, (struct seal){cut, run->to, run->gone, false, last});
}

static int find_seals(struct balancing *b)
{
	struct store *s = b->l->s;
	int64_t from = b->l->near_from - SEALS_REACH_MIN;
	int64_t to = b->l->near_to + SEALS_REACH_MIN;
	for (size_t i = 0; i < b->span_count; i++) {
		struct frame f = frame_of(&b->spans[i].q);
		from = f.first < from ? f.first : from;
		to = f.last >= to ? f.last + 1 : to;
	}
	sqlite3_stmt *days = store_statement_of(s, SQL_SEALED_BETWEEN);
	struct seal run = {0};
	int rc;

	if (!days)
		return s->unprepared;
	bind_int(days, ":from_day", floor_div(from, MIN_PER_DAY) - 1);
	bind_int(days, ":to_day", floor_div(to, MIN_PER_DAY) + 1);
	while ((rc = sqlite3_step(days)) == SQLITE_ROW) {
		int64_t begin = sqlite3_column_int64(days, 0) * MIN_PER_DAY;
		if (begin != run.to) {
			add_run(b, &run);
			run = (struct seal){.from = begin};
		}
		run.to = sqlite3_column_int64(days, 1);
		if (sqlite3_column_int64(days, 2) > run.gone)
			run.gone = sqlite3_column_int64(days, 2);
	}
	add_run(b, &run);
	(void)sqlite3_reset(days);
	return rc == SQLITE_DONE ? 0 : store_failed(s, rc, "sealed days");
}

static const struct seal *seal_over(const struct balancing *b, int64_t minute)
{
	for (size_t i = 0; i < b->seal_count; i++)
		if (minute >= b->seals[i].from && minute < b->seals[i].to)
			return &b->seals[i];
	return NULL;
}

/* How a span lies to the seals. */
static void look(const struct balancing *b, struct near_span *n)
{
	struct frame f = frame_of(&n->q);

	for (size_t i = 0; i < b->seal_count; i++) {
		const struct seal *seal = &b->seals[i];
		if (f.last < seal->from || f.first >= seal->to)
			continue;
		n->sealed = true;
		n->looked_at |= seal->near && (!seal->begins || f.first < seal->from);
	}
	n->left = !seal_over(b, f.first);
	n->right = !seal_over(b, f.last);
}

static int find_spans(struct balancing *b)
{
	struct store *s = b->l->s;
	sqlite3_stmt *rows = store_statement_of(s, SQL_SETTLEMENTS_OVER);
	int64_t from_ms = (b->l->near_from - SEALS_REACH_MIN) * MS_PER_MIN;
	int64_t to_ms = (b->l->near_to + SEALS_REACH_MIN) * MS_PER_MIN;
	struct settlement q;
	int rc;

	if (!rows)
		return s->unprepared;
	bind_int(rows, ":meter", s->meter_bit[b->l->quantity]);
	bind_int(rows, ":from_ms", from_ms);
	while ((rc = sqlite3_step(rows)) == SQLITE_ROW) {
		settlement_read(s, rows, &q);
		if (q.begin_ms >= to_ms)
			break;
		if (q.kind >= SETTLEMENT_RESET || q.begin_ms >= q.end_ms)
			continue;
		if (b->span_count == b->span_room) {
			b->span_room = b->span_room ? 2 * b->span_room : 64;
			b->spans = xrealloc(b->spans, b->span_room, sizeof(*b->spans));
		}
		b->spans[b->span_count++] = (struct near_span){.q = q, .rest_j = q.j};
	}
	(void)sqlite3_reset(rows);
	return rc == SQLITE_DONE || rc == SQLITE_ROW
		       ? 0
		       : store_failed(s, rc, "spans of registers");
}

/* ---- what sealed minutes hold ---- */

/* What the minute in which the last of [first, end) ends holds of them all: all of it but
 * what power said outside of them. Where others begin in it, what the last one brings. */
static int end_holds(
	struct balancing *b, size_t first, size_t end, int64_t minute, int64_t *sum)
{
	const struct seal *seal = seal_over(b, minute);
	struct power power = {0, 0, 0};
	int64_t seen_j = 0;

	if (end < b->span_count &&
		floor_div(b->spans[end].q.begin_ms, MS_PER_MIN) == minute)
		return sealed_last(b->l, &b->spans[end - 1].q, minute, sum);
	for (size_t i = end; i-- > first;) {
		struct frame f = frame_of(&b->spans[i].q);
		if (f.last < minute)
			break;
		seen_j += f.first == minute ? b->spans[i].q.head_j : b->spans[i].q.tail_j;
	}
	int r = sealed_booked(b->l, minute, minute + 1, seal->gone, sum);
	if (r == 0)
		r = power_between(b->l, minute, minute + 1, &power);
	*sum -= power.j - seen_j;
	return r;
}

/* What sealed minutes hold of spans that follow each other without a gap. */
static int chain_holds(struct balancing *b, size_t first, size_t end, int64_t *ret)
{
	const struct settlement whole = {.begin_ms = b->spans[first].q.begin_ms,
		.end_ms = b->spans[end - 1].q.end_ms};
	struct frame f = frame_of(&whole);
	int r = 0;

	*ret = 0;
	for (size_t i = 0; r == 0 && i < b->seal_count; i++) {
		const struct seal *seal = &b->seals[i];
		int64_t from = f.inner > seal->from ? f.inner : seal->from;
		int64_t to = f.inner_end < seal->to ? f.inner_end : seal->to;
		r = sealed_booked(b->l, from, to, seal->gone, ret);
	}
	const struct seal *begins = seal_over(b, f.first);
	if (r == 0 && begins && f.inner > f.first && f.last > f.first)
		r = sealed_first(b->l, &b->spans[first].q, f.first, begins->gone, ret);
	if (r == 0 && seal_over(b, f.last) && f.inner_end <= f.last)
		r = end_holds(b, first, end, f.last, ret);
	return r;
}

static bool is_open(const struct near_span *n)
{
	return n->left || n->right;
}

/* Adds what [first, end) counted more than the minutes hold, beside what was found of
 * those that reach out. */
static int add_chain(struct balancing *b, size_t first, size_t end, int64_t *sum)
{
	int64_t held_j = 0, counted_j = 0;

	if (end == first + 1 && b->spans[first].left && b->spans[first].right)
		return 0;
	for (size_t i = first; i < end; i++) {
		const struct near_span *n = &b->spans[i];
		counted_j += is_open(n) ? n->q.j - n->rest_j : n->q.j;
	}
	int r = chain_holds(b, first, end, &held_j);
	*sum += counted_j - held_j;
	return r;
}

static int add_shared(struct balancing *b, int64_t minute, int64_t *sum)
{
	const struct seal *seal = seal_over(b, minute);
	return seal ? sealed_booked(b->l, minute, minute + 1, seal->gone, sum) : 0;
}

static int weigh_open(struct balancing *b, struct cluster *c)
{
	int r = 0;
	for (size_t i = c->first; r == 0 && i < c->end; i++) {
		struct near_span *n = &b->spans[i];
		struct frame f = frame_of(&n->q);
		if (!is_open(n))
			continue;
		r = sealed_rest(b->l, &n->q, &n->rest_j);
		if (r == 0 && f.inner > f.first)
			r = add_shared(b, f.first, &c->shared_j);
		if (r == 0 && f.inner_end <= f.last)
			r = add_shared(b, f.last, &c->shared_j);
	}
	return r;
}

static int weigh_inner(struct balancing *b, const struct cluster *c, int64_t *ret)
{
	size_t begin = c->first;
	int r = 0;

	*ret = 0;
	for (size_t i = c->first; r == 0 && i < c->end; i++)
		if (i + 1 == c->end ||
			b->spans[i].q.end_ms != b->spans[i + 1].q.begin_ms) {
			r = add_chain(b, begin, i + 1, ret);
			begin = i + 1;
		}
	if (b->increments && *ret < 0)
		*ret = 0;
	return r;
}

/* ---- who makes up for it ---- */

static int64_t take(struct near_span *n, int64_t j)
{
	int64_t left = n->rest_j > 0 ? n->rest_j - n->taken_j : 0;
	int64_t part = left < j ? left : j;
	n->taken_j += part;
	return part;
}

static void take_after(struct balancing *b, struct cluster *c)
{
	for (size_t i = c->end; c->on_j > 0 && i-- > c->first;)
		if (b->spans[i].right)
			c->on_j -= take(&b->spans[i], c->on_j);
	int64_t end_ms = (c->last_minute + 1 + SEALS_REACH_MIN) * MS_PER_MIN;
	for (size_t i = c->end; c->on_j > 0 && i < b->span_count; i++) {
		if (b->spans[i].sealed || b->spans[i].q.begin_ms >= end_ms)
			return;
		c->on_j -= take(&b->spans[i], c->on_j);
	}
}

static void take_before(struct balancing *b, struct cluster *c)
{
	int64_t begin_ms = b->spans[c->first].q.begin_ms;
	for (size_t i = c->first; c->back_j > 0 && i < c->end; i++)
		if (b->spans[i].left)
			c->back_j -= take(&b->spans[i], c->back_j);
	for (size_t i = c->first; c->back_j > 0 && i-- > 0;) {
		if (b->spans[i].sealed ||
			b->spans[i].q.end_ms <= begin_ms - SEALS_REACH_MIN * MS_PER_MIN)
			return;
		c->back_j -= take(&b->spans[i], c->back_j);
	}
}

/* How much of a minute is of which of the spans that it is shared by is not known: so
 * much may be of the one that reaches out. */
static void give(struct balancing *b, struct cluster *c, int64_t j)
{
	for (size_t i = c->end; j > 0 && i-- > c->first;)
		if (is_open(&b->spans[i]) && b->spans[i].rest_j >= 0) {
			b->spans[i].taken_j -= j;
			j = 0;
		}
	c->unplaced_j = j;
}

/* What a cluster has too much comes from where it came in, else from behind it. */
static void share_out(struct balancing *b, struct cluster *c, int64_t inner_j)
{
	int64_t sum = inner_j, back_j = 0;

	for (size_t i = c->first; i < c->end; i++) {
		const struct near_span *n = &b->spans[i];
		if (!is_open(n) || n->rest_j >= 0 || b->falls)
			continue;
		sum += n->rest_j;
		back_j -= n->right ? 0 : n->rest_j;
	}
	if (sum > c->shared_j)
		c->unplaced_j = sum;
	else if (sum >= 0)
		give(b, c, sum);
	if (sum >= 0)
		return;
	c->back_j = back_j < -sum ? back_j : -sum;
	c->on_j = -sum - c->back_j;
}

static int64_t last_sealed_minute(const struct balancing *b, const struct cluster *c)
{
	int64_t ret = INT64_MIN;
	for (size_t i = 0; i < b->seal_count; i++) {
		int64_t last = frame_of(&b->spans[c->end - 1].q).last;
		const struct seal *seal = &b->seals[i];
		if (seal->from > last)
			continue;
		last = last < seal->to ? last : seal->to - 1;
		ret = last > ret ? last : ret;
	}
	return ret;
}

static void add_cluster(struct balancing *b, size_t first, size_t end)
{
	if (b->cluster_count == b->cluster_room) {
		b->cluster_room = b->cluster_room ? 2 * b->cluster_room : 8;
		b->clusters =
			xrealloc(b->clusters, b->cluster_room, sizeof(*b->clusters));
	}
	struct cluster *c = &b->clusters[b->cluster_count++];
	*c = (struct cluster){.first = first, .end = end};
	c->last_minute = last_sealed_minute(b, c);
}

static void find_clusters(struct balancing *b)
{
	for (size_t i = 0, end; i < b->span_count; i = end) {
		end = i + 1;
		if (!b->spans[i].looked_at)
			continue;
		while (end < b->span_count && b->spans[end].looked_at)
			end++;
		add_cluster(b, i, end);
	}
}

static int balance_all(struct balancing *b)
{
	int r = 0;

	find_clusters(b);
	for (size_t k = 0; r == 0 && k < b->cluster_count; k++) {
		struct cluster *c = &b->clusters[k];
		int64_t inner_j = 0;
		r = weigh_open(b, c);
		if (r == 0)
			r = weigh_inner(b, c, &inner_j);
		if (r == 0)
			share_out(b, c, inner_j);
	}
	for (size_t k = 0; r == 0 && k < b->cluster_count; k++)
		take_after(b, &b->clusters[k]);
	for (size_t k = 0; r == 0 && k < b->cluster_count; k++) {
		struct cluster *c = &b->clusters[k];
		c->back_j += c->on_j;
		take_before(b, c);
		c->unplaced_j -= c->back_j;
	}
	return r;
}

/* ---- what comes of it ---- */

static void keep_takings(struct balancing *b)
{
	struct layer *l = b->l;
	l->takings = xcalloc(b->span_count + 1, sizeof(*l->takings));
	for (size_t i = 0; i < b->span_count; i++) {
		const struct near_span *n = &b->spans[i];
		if (n->taken_j != 0)
			l->takings[l->taking_count++] =
				(struct taking){n->q.begin_ms, n->q.end_ms, n->taken_j};
	}
}

static int read_balance(struct layer *l, struct balancing *b)
{
	const struct register_config *r =
		&config_counted(l->s->config, l->quantity)->counting;
	*b = (struct balancing){
		.l = l, .falls = r->falls, .increments = r->kind == REGISTER_INCREMENT};
	int error = find_spans(b);
	if (error == 0)
		error = find_seals(b);
	for (size_t i = 0; i < b->span_count; i++)
		look(b, &b->spans[i]);
	if (error == 0)
		error = balance_all(b);
	if (error == 0)
		keep_takings(b);
	return error;
}

static void release(struct balancing *b)
{
	free(b->seals);
	free(b->spans);
	free(b->clusters);
}

static int name_unplaced(struct balancing *b)
{
	struct layer *l = b->l;
	const struct config *config = l->s->config;
	bool is_meter = l->quantity != COUNTED_HEAT;
	struct event e = {.kind = EVENT_REGISTER_UNPLACED,
		.is_meter = is_meter,
		.subject = (uint16_t)(is_meter ? l->quantity
					       : (size_t)config->plant.heat.registers[0]),
		.before = (double)NAN};
	int r = 0;

	for (size_t i = 0; r == 0 && i < b->seal_count; i++)
		if (b->seals[i].near)
			r = store_event_drop(l->s, &e, b->seals[i].from * MS_PER_MIN,
				b->seals[i].to * MS_PER_MIN);
	for (size_t k = 0; r == 0 && k < b->cluster_count; k++) {
		const struct cluster *c = &b->clusters[k];
		if (c->unplaced_j == 0)
			continue;
		e.t_ms = e.made_ms = c->last_minute * MS_PER_MIN;
		e.after = (double)c->unplaced_j / J_PER_KWH;
		r = store_event_add(l->s, &e);
	}
	return r;
}

int balance_prepare(struct layer *l)
{
	struct balancing b;
	int r = 0;

	if (!l->seals)
		return 0;
	r = read_balance(l, &b);
	if (r == 0)
		r = name_unplaced(&b);
	release(&b);
	return r;
}

void balance_release(struct layer *l)
{
	free(l->takings);
}

int64_t balance_taken(const struct layer *l, const struct settlement *q)
{
	for (size_t i = 0; i < l->taking_count; i++)
		if (l->takings[i].begin_ms == q->begin_ms &&
			l->takings[i].end_ms == q->end_ms)
			return l->takings[i].j;
	return 0;
}

int store_widen_sealed(
	struct store *s, size_t quantity, int64_t *from_minute, int64_t *to_minute)
{
	struct layer l = {.s = s, .quantity = quantity};
	struct balancing b = {0};
	int r = layer_prepare(&l);

	if (r == 0)
		r = sealed_prepare(&l, *from_minute, *to_minute);
	if (r == 0 && l.seals)
		r = read_balance(&l, &b);
	for (size_t i = 0; r == 0 && i < l.taking_count; i++) {
		int64_t from = floor_div(l.takings[i].begin_ms, MS_PER_MIN);
		int64_t to = floor_div(l.takings[i].end_ms - 1, MS_PER_MIN) + 1;
		*from_minute = from < *from_minute ? from : *from_minute;
		*to_minute = to > *to_minute ? to : *to_minute;
	}
	release(&b);
	balance_release(&l);
	sealed_release(&l);
	layer_release(&l);
	return r;
}
