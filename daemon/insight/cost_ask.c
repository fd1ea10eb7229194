/*
 * What a span's electricity cost, from the facts of its days. See cost.h.
 *
 * Sums of energy, facts, and the minutes of days that have none yet are read one after
 * the other, as findings do (look.c): a commit of another process may lie between two
 * reads, and what is told is right again the next time.
 */
#include "keep_days.h"

#include <heatbook/cost.h>

#include <heatbook/calendar.h>
#include <heatbook/figures.h>
#include <heatbook/store.h>

#include <errno.h>
#include <math.h>
#include <string.h>

/* ---- making facts ---- */

static int make(
	struct store *store, int64_t start_min, int64_t end_min, struct cost_facts *ret)
{
	struct cost_day day;
	cost_day_begin(&day, store_config(store), start_min, end_min);
	int r = store_cost_minutes(
		store, start_min, end_min, day.channels, day.values, cost_day_take, &day);
	cost_day_end(&day, ret);
	if (r != 0)
		cost_facts_release(ret);
	return r;
}

struct missing_days {
	const struct config *config;
	struct cost_in_force last;
	struct day_span *items;
	size_t count, room;
};

static void note_missing(
	int64_t start_min, int64_t end_min, uint64_t digest, bool gone, void *context)
{
	struct missing_days *list = context;
	uint64_t wanted =
		cost_digest_after(&list->last, list->config, start_min * MS_PER_MIN);
	if (gone || wanted == 0 || wanted == digest)
		return;
	if (list->count == list->room) {
		list->room = list->room ? 2 * list->room : 64;
		list->items = xrealloc(list->items, list->room, sizeof(*list->items));
	}
	list->items[list->count++] = (struct day_span){start_min, end_min};
}

static int make_and_keep(
	struct store *store, const struct day_span *day, const void *context)
{
	(void)context;
	struct cost_facts facts = {0};
	int r = make(store, day->start_min, day->end_min, &facts);
	if (r == 0)
		r = store_cost_put(store, day->start_min,
			cost_digest(store_config(store), day->start_min * MS_PER_MIN),
			&facts);
	cost_facts_release(&facts);
	return r;
}

int cost_make(struct store *store, int64_t start_min, int64_t end_min)
{
	const struct day_span day = {start_min, end_min};
	if (cost_digest(store_config(store), start_min * MS_PER_MIN) == 0)
		return 0;
	return keep_days(store, &day, 1, make_and_keep, NULL);
}

int cost_catch_up(struct store *store, size_t most, size_t *ret_done)
{
	struct missing_days list = {.config = store_config(store)};
	const struct cost_config *cost = list.config->cost;
	*ret_done = 0;
	if (cost->tariff_count + cost->carbon_count == 0 || most == 0)
		return 0;
	int r = store_cost_days(store, INT64_MIN / MS_PER_MIN, INT64_MAX / MS_PER_MIN,
		note_missing, &list);
	size_t count = most < list.count ? most : list.count;
	if (r == 0 && count > 0)
		r = keep_days(store, list.items + list.count - count, count,
			make_and_keep, NULL);
	*ret_done = r == 0 ? count : 0;
	free(list.items);
	return r;
}

/* ---- asking ---- */

enum day_state { DAY_WANTED, DAY_DONE, DAY_LEFT, DAY_GONE, DAY_WITHOUT };

struct local_day {
	int64_t start_min, end_min;
	uint64_t digest; /* that is wanted; 0: nothing is in force */
	enum day_state state;
	size_t bucket; /* that holds it */
	bool has_rows;
	/* Of the boundary's meters, as bits by meter and side of the day. */
	struct cost_bridge bridges[METERS_MOST];
};

struct price_range {
	double least, most;
};

struct asking {
	struct store *store;
	const struct config *config;
	const struct boundary *boundary;
	int64_t paired_bits;
	const int64_t *edges_ms;
	struct cost_answer *answer;
	struct local_day *days;
	size_t day_count;
	size_t at;     /* of the day that was found last */
	size_t budget; /* of days that may be worked out */
	/* By meter, prices before and behind the days, of what was bridged across. */
	struct price_range before[METERS_MOST], behind[METERS_MOST];
};

/* What a fact of a meter or of heat adds to the heat at the boundary, as a factor. */
static int heat_sign(const struct boundary *b, int meter)
{
	if (meter == COST_HEAT)
		return 1;
	unsigned bit = 1u << meter;
	return (b->heat_plus & bit ? 1 : 0) - (b->heat_less & bit ? 1 : 0);
}

static void add_fact(
	const struct asking *a, struct cost_bucket *bucket, const struct cost_fact *fact)
{
	bool counts = fact->meter != COST_HEAT && a->boundary->meters & 1u << fact->meter;
	int mode = fact->mode;
	if (mode < 0 || mode >= MODE_COUNT)
		return; /* of no row of ours */
	if (fact->meter != COST_HEAT && mode != MODE_COOLING)
		cost_sum_add(&bucket->meters[fact->meter], &fact->sum);
	if (counts)
		cost_sum_add(&bucket->modes[mode], &fact->sum);
	if ((fact->known & a->paired_bits) != a->paired_bits || mode == MODE_COOLING)
		return;
	if (counts)
		cost_sum_add(&bucket->paired[mode], &fact->sum);
	int sign = heat_sign(a->boundary, fact->meter);
	bucket->paired_heat_j[mode] += sign * fact->sum.priced_j;
	bucket->carbon_heat_j[mode] += sign * fact->sum.carbon_j;
}

/* The day's paired heat, had it come from other sources. */
static void add_others(const struct asking *a, const struct cost_bucket *day,
	int64_t start_ms, struct cost_bucket *bucket)
{
	const struct cost_config *cost = a->config->cost;
	struct cost_sum paired = cost_whole(day->paired);
	double heat_j = 0.0, carbon_heat_j = 0.0;
	size_t n = 0;
	for (int m = 0; m < MODE_COUNT; m++) {
		heat_j += day->paired_heat_j[m];
		carbon_heat_j += day->carbon_heat_j[m];
	}
	for (size_t i = 0; i < cost->other_count && n < OTHERS_MOST; i++) {
		if (!other_heat_begins(cost, i))
			continue;
		struct cost_other *other = &bucket->others[n++];
		const struct other_heat_config *o = other_heat_at(cost, i, start_ms);
		if (!o)
			continue;
		double fuel_kwh = heat_j / J_PER_KWH / (o->efficiency_percent / 100.0);
		other->heat_j += heat_j;
		other->cost += fuel_kwh * o->price;
		other->own_cost += paired.cost;
		if (isnan(o->intensity_g))
			continue;
		other->carbon_heat_j += carbon_heat_j;
		other->carbon_g += carbon_heat_j / J_PER_KWH /
				   (o->efficiency_percent / 100.0) * o->intensity_g;
		other->own_carbon_g += paired.carbon_g;
	}
}

static void bucket_add(struct cost_bucket *sum, const struct cost_bucket *part)
{
	for (int m = 0; m < MODE_COUNT; m++) {
		cost_sum_add(&sum->modes[m], &part->modes[m]);
		cost_sum_add(&sum->paired[m], &part->paired[m]);
		sum->paired_heat_j[m] += part->paired_heat_j[m];
		sum->carbon_heat_j[m] += part->carbon_heat_j[m];
	}
	for (size_t m = 0; m < METERS_MOST; m++)
		cost_sum_add(&sum->meters[m], &part->meters[m]);
}

static void add_day(
	struct asking *a, struct local_day *day, const struct cost_facts *facts)
{
	struct cost_bucket *sums = xcalloc(1, sizeof(*sums));
	struct cost_answer *answer = a->answer;
	struct cost_bucket *bucket = &answer->buckets[day->bucket];
	int64_t start_ms = day->start_min * MS_PER_MIN;
	for (size_t i = 0; i < facts->count; i++)
		add_fact(a, sums, &facts->items[i]);
	bucket_add(bucket, sums);
	add_others(a, sums, start_ms, bucket);
	bucket_add(&answer->total, sums);
	add_others(a, sums, start_ms, &answer->total);
	for (size_t m = 0; m < METERS_MOST; m++)
		if (a->boundary->meters & 1u << m)
			day->bridges[m] = facts->bridges[m];
	day->state = DAY_DONE;
	free(sums);
}

static void take_facts(
	int64_t start_min, uint64_t digest, const struct cost_facts *facts, void *context)
{
	struct asking *a = context;
	while (a->at < a->day_count && a->days[a->at].start_min < start_min)
		a->at++;
	if (a->at == a->day_count || a->days[a->at].start_min != start_min)
		return; /* of a day of another zone */
	if (a->days[a->at].digest == digest && a->days[a->at].state == DAY_WANTED)
		add_day(a, &a->days[a->at], facts);
}

static void take_closed(
	int64_t start_min, int64_t end_min, uint64_t digest, bool gone, void *context)
{
	struct asking *a = context;
	(void)end_min;
	(void)digest;
	while (a->at < a->day_count && a->days[a->at].start_min < start_min)
		a->at++;
	if (a->at == a->day_count || a->days[a->at].start_min != start_min)
		return;
	if (gone && a->days[a->at].state == DAY_WANTED)
		a->days[a->at].state = DAY_GONE;
}

/* Those without facts, the last ones first. */
static int make_rest(struct asking *a)
{
	int r = 0;
	for (size_t i = a->day_count; r == 0 && i-- > 0;) {
		struct local_day *day = &a->days[i];
		struct cost_facts facts = {0};
		if (day->state != DAY_WANTED)
			continue;
		if (a->budget == 0) {
			day->state = DAY_LEFT;
			continue;
		}
		a->budget--;
		r = make(a->store, day->start_min, day->end_min, &facts);
		if (r == 0)
			add_day(a, day, &facts);
		cost_facts_release(&facts);
	}
	return r;
}

/* ---- what registers bridged ---- */

/* A day that was not asked for. */
struct other_day {
	int64_t start_min;
	uint64_t digest;
	bool found;
	struct cost_bridge bridges[METERS_MOST];
};

static void take_other(
	int64_t start_min, uint64_t digest, const struct cost_facts *facts, void *context)
{
	struct other_day *day = context;
	if (start_min != day->start_min || digest != day->digest)
		return;
	memcpy(day->bridges, facts->bridges, sizeof(day->bridges));
	day->found = true;
}

/* What was bridged on it, kept or worked out; where neither may be, nothing. */
static int find_other(struct asking *a, int64_t start_ms, struct other_day *ret)
{
	int64_t end_ms =
		calendar_day_start(calendar_add(calendar_date(start_ms), 0, 0, 1));
	int64_t start_min = start_ms / MS_PER_MIN, end_min = end_ms / MS_PER_MIN;
	struct cost_facts facts = {0};
	*ret = (struct other_day){
		.start_min = start_min, .digest = cost_digest(a->config, start_ms)};
	if (ret->digest == 0)
		return 0;
	int r = store_cost_facts(a->store, start_min, end_min, take_other, ret);
	if (r != 0 || ret->found || a->budget == 0)
		return r;
	a->budget--;
	r = make(a->store, start_min, end_min, &facts);
	if (r == 0)
		take_other(start_min, ret->digest, &facts, ret);
	cost_facts_release(&facts);
	return r;
}

/* Does what is bridged on a day reach to the next one, or to the one before? */
static bool reaches(const struct cost_bridge *b, bool next)
{
	return b->j != 0.0 && (next ? b->at_end : b->at_start);
}

static void widen(struct price_range *range, const struct cost_bridge *b)
{
	range->least = fmin(range->least, b->least);
	range->most = fmax(range->most, b->most);
}

#define BEYOND_DAYS_MOST 400

/* Follows what is bridged across an end of the days as far as it goes. */
static int look_beyond(struct asking *a, bool next, struct price_range *ret)
{
	const struct local_day *edge = &a->days[next ? a->day_count - 1 : 0];
	struct date date = calendar_date(edge->start_min * MS_PER_MIN);
	unsigned open = 0;
	int r = 0;
	for (size_t m = 0; m < METERS_MOST; m++) {
		ret[m] = (struct price_range){INFINITY, -INFINITY};
		open |= (unsigned)reaches(&edge->bridges[m], next) << m;
	}
	for (int n = 0; r == 0 && open != 0 && n < BEYOND_DAYS_MOST; n++) {
		struct other_day day;
		date = calendar_add(date, 0, 0, next ? 1 : -1);
		r = find_other(a, calendar_day_start(date), &day);
		for (size_t m = 0; r == 0 && m < METERS_MOST; m++) {
			bool goes_on = open & 1u << m && reaches(&day.bridges[m], !next);
			if (goes_on)
				widen(&ret[m], &day.bridges[m]);
			if (!goes_on || !reaches(&day.bridges[m], next))
				open &= ~(1u << m);
		}
	}
	return r;
}

/* What was bridged over several days cost between the least and the most of all of them:
 * nobody knows on which it was drawn, nor whether on one that was asked for. */
static void bound_chain(struct asking *a, size_t m, size_t first, size_t last)
{
	struct price_range range = {INFINITY, -INFINITY};
	for (size_t i = first; i <= last; i++)
		widen(&range, &a->days[i].bridges[m]);
	const struct price_range *const beyond[] = {first == 0 ? &a->before[m] : NULL,
		last + 1 == a->day_count ? &a->behind[m] : NULL};
	for (size_t i = 0; i < ARRAY_LEN(beyond); i++) {
		range.least =
			beyond[i] ? fmin(range.least, beyond[i]->least) : range.least;
		range.most = beyond[i] ? fmax(range.most, beyond[i]->most) : range.most;
	}
	for (size_t i = first; i <= last; i++) {
		const struct cost_bridge *b = &a->days[i].bridges[m];
		struct cost_bucket *const sums[] = {
			&a->answer->buckets[a->days[i].bucket], &a->answer->total};
		for (size_t s = 0; s < ARRAY_LEN(sums); s++) {
			sums[s]->bridged.j += b->j;
			sums[s]->bridged.cost += b->cost;
			sums[s]->bridged_low += b->j / J_PER_KWH * range.least;
			sums[s]->bridged_high += b->j / J_PER_KWH * range.most;
		}
	}
}

static int bound_bridged(struct asking *a)
{
	int r = look_beyond(a, false, a->before);
	if (r == 0)
		r = look_beyond(a, true, a->behind);
	for (size_t m = 0; m < a->config->meter_count; m++)
		for (size_t i = 0, last; i < a->day_count; i = last + 1) {
			last = i;
			if (a->days[i].bridges[m].j == 0.0)
				continue;
			while (last + 1 < a->day_count &&
				a->days[last].bridges[m].at_end &&
				a->days[last + 1].bridges[m].at_start)
				last++;
			bound_chain(a, m, i, last);
		}
	return r;
}

/* ---- the span ---- */

/* Charges of the days that lie behind us, or are under way. */
static double standing_of(const struct asking *a, const struct local_day *day)
{
	const struct tariff_config *t = tariff_at(a->config, day->start_min * MS_PER_MIN);
	if (!t || !day->has_rows)
		return 0.0;
	int year = calendar_date(day->start_min * MS_PER_MIN).year;
	int64_t begin = calendar_day_start((struct date){year, 1, 1});
	int64_t end = calendar_day_start((struct date){year + 1, 1, 1});
	int64_t days = (end - begin + MS_PER_DAY / 2) / MS_PER_DAY;
	return t->standing_day + t->standing_year / (double)days;
}

static void lay_standing(struct asking *a)
{
	for (size_t i = 0; i < a->day_count; i++) {
		double standing = standing_of(a, &a->days[i]);
		a->answer->buckets[a->days[i].bucket].standing += standing;
		a->answer->total.standing += standing;
	}
}

/* The local days of the span that have rows. */
static int lay_days(struct asking *a)
{
	static const struct duration step = {.days = 1};
	int64_t first_min = 0, end_min = 0, *edges;
	struct cost_in_force last = {0};
	size_t count, bucket = 0;
	int r = store_row_span(a->store, &first_min, &end_min);
	if (r == STORE_NONE)
		return 0;
	if (r != 0)
		return r;
	query_buckets_some(a->edges_ms[0], a->edges_ms[a->answer->energy.count], &step,
		SIZE_MAX / 64, &edges, &count);
	a->days = xcalloc(count + 1, sizeof(*a->days));
	for (size_t i = 0; i < count; i++) {
		struct local_day *day = &a->days[a->day_count++];
		while (a->edges_ms[bucket + 1] <= edges[i])
			bucket++;
		*day = (struct local_day){edges[i] / MS_PER_MIN,
			edges[i + 1] / MS_PER_MIN,
			.digest = cost_digest_after(&last, a->config, edges[i]),
			.bucket = bucket};
		day->has_rows = day->end_min > first_min && day->start_min < end_min;
		day->state = day->digest && day->has_rows ? DAY_WANTED : DAY_WITHOUT;
	}
	free(edges);
	return 0;
}

static void count_days(struct asking *a)
{
	struct cost_answer *answer = a->answer;
	for (size_t i = 0; i < a->day_count; i++) {
		const struct local_day *day = &a->days[i];
		answer->days += day->has_rows;
		answer->days_left += day->state == DAY_LEFT;
		answer->days_gone += day->state == DAY_GONE;
		answer->days_unpriced +=
			day->has_rows &&
			!tariff_at(a->config, day->start_min * MS_PER_MIN);
	}
}

static int ask_days(struct asking *a)
{
	int r = lay_days(a);
	if (r != 0 || a->day_count == 0)
		return r;
	int64_t from_min = a->days[0].start_min;
	int64_t to_min = a->days[a->day_count - 1].end_min;
	r = store_cost_facts(a->store, from_min, to_min, take_facts, a);
	a->at = 0;
	if (r == 0)
		r = store_cost_days(a->store, from_min, to_min, take_closed, a);
	if (r == 0)
		r = make_rest(a);
	if (r == 0)
		r = bound_bridged(a);
	lay_standing(a);
	count_days(a);
	return r;
}

static size_t count_others(const struct cost_config *cost)
{
	size_t count = 0;
	for (size_t i = 0; i < cost->other_count; i++)
		count += other_heat_begins(cost, i);
	return count < OTHERS_MOST ? count : OTHERS_MOST;
}

int cost_ask(struct store *store, const int64_t *edges_ms, size_t count,
	const struct boundary *boundary, size_t budget, struct cost_answer *ret)
{
	struct cost_answer answer = {0};
	struct asking a = {.store = store,
		.config = store_config(store),
		.boundary = boundary,
		.paired_bits = store_known_bits(store, boundary->needs),
		.edges_ms = edges_ms,
		.answer = &answer,
		.budget = budget};
	int r = query_energy(store, edges_ms, count, boundary, &answer.energy);
	if (r != 0)
		return r;
	answer.buckets = xcalloc(count, sizeof(*answer.buckets));
	answer.other_count = count_others(a.config->cost);
	r = ask_days(&a);
	free(a.days);
	if (r == 0)
		*ret = answer;
	else
		cost_answer_release(&answer);
	return r == STORE_DAMAGED ? -EUCLEAN : r > 0 && r != STORE_BUSY ? -EIO : r;
}

void cost_answer_release(struct cost_answer *answer)
{
	if (answer->buckets)
		energy_answer_release(&answer->energy);
	free(answer->buckets);
	*answer = (struct cost_answer){0};
}
