/*
 * The thin part between findings and the store: days are looked at, kept, and asked for.
 * What the others of this room do is pure.
 *
 * Sums of days, their evidence, and the minutes of those that were not looked at yet are
 * read one after the other, without a deadline: how many are read is bounded instead. A
 * commit of another process or thread may lie between two reads; what is told then is of
 * both sides of it, and right again the next time. The present day is never looked at for
 * good.
 */
#include "finding.h"

#include "keep_days.h"
#include "look.h"
#include "said.h"

#include <heatbook/age.h>
#include <heatbook/calendar.h>
#include <heatbook/figures.h>
#include <heatbook/insight_days.h>
#include <heatbook/store.h>

#include <errno.h>
#include <string.h>

/* ---- looking ---- */

/* Changes that lie far apart are of a source that reports seldom, or of a value that
 * stays the same: only the journal tells which, by some changes' time. */
#define CHANGES_LOOKED 24

static int said_so(struct store *store, const struct day_minutes *day,
	const struct evidence *slow, bool *ret)
{
	bool often = false;
	int64_t spacing_min = (int64_t)slow->values[0];
	int64_t last_min = day->end_min - CHANGES_LOOKED * spacing_min;
	int64_t from_min = slow->at_min < last_min ? slow->at_min : last_min;
	from_min = from_min > day->start_min ? from_min : day->start_min;
	int64_t to_min = from_min + CHANGES_LOOKED * spacing_min;
	int r = said_often(store, slow->subject, from_min * MS_PER_MIN,
		to_min * MS_PER_MIN, SEEN_SLOW_MIN * MS_PER_MIN, &often);
	*ret = !often;
	return r;
}

static int keep_slow(
	struct store *store, const struct day_minutes *day, struct evidence_list *list)
{
	size_t kept = 0;
	int r = 0;
	for (size_t i = 0; i < list->count; i++) {
		const struct evidence *item = &list->items[i];
		bool stays = true;
		if (r == 0 && item->kind == EVIDENCE_SLOW)
			r = said_so(store, day, item, &stays);
		if (stays)
			list->items[kept++] = *item;
	}
	list->count = kept;
	return r;
}

static int look(struct store *store, int64_t start_min, int64_t end_min,
	struct evidence_list *list)
{
	struct register_day registers[COUNTED_MOST];
	struct day_minutes day;
	int r = store_register_day(store, start_min, end_min, registers);
	if (r == 0)
		r = store_day_minutes(store, start_min, end_min, &day);
	if (r != 0)
		return r;
	evidence_of(&day, registers, list);
	r = keep_slow(store, &day, list);
	day_minutes_release(&day);
	return r;
}

static int look_and_keep(
	struct store *store, const struct day_span *span, const void *context)
{
	(void)context;
	struct evidence_list list = {0};
	int r = look(store, span->start_min, span->end_min, &list);
	if (r == 0)
		r = store_evidence_put(store, span->start_min, &list);
	if (r == 0)
		r = store_outdoor_keep(store, span->start_min, span->end_min);
	evidence_release(&list);
	return r;
}

int evidence_make(struct store *store, int64_t start_min, int64_t end_min)
{
	const struct day_span span = {start_min, end_min};
	return keep_days(store, &span, 1, look_and_keep, NULL);
}

static int not_looked_at(struct store *store, const void *context, struct day_span *ret,
	size_t most, size_t *ret_count)
{
	(void)context;
	return store_evidence_missing(store, INT64_MIN / MS_PER_MIN,
		INT64_MAX / MS_PER_MIN, ret, most, ret_count);
}

int evidence_catch_up(struct store *store, size_t most, size_t *ret_done)
{
	return keep_lacking(store, not_looked_at, look_and_keep, NULL, most, ret_done);
}

/* ---- asking ---- */

static int64_t least(int64_t a, int64_t b)
{
	return a < b ? a : b;
}

/* Modes' own sums: those of figures_sum() leave cooling out. */
static bool is_known(const struct asking *a, const struct energy_bucket *bucket)
{
	for (size_t mode = 0; mode < MODE_COUNT; mode++) {
		const struct energy_sum *sum = &bucket->modes[mode];
		if (sum->heat_ms > 0)
			return true;
		for (size_t m = 0; m < a->config->meter_count; m++)
			if (sum->meter_ms[m] > 0 || sum->meter_j[m] != 0)
				return true;
	}
	return false;
}

static bool serves_heaters_alone(const struct meter_config *meter)
{
	const unsigned heaters = DEVICE_BACKUP_HEATER | DEVICE_IMMERSION;
	return meter->serves && !(meter->serves & ~heaters);
}

static void take_mistaken(const struct asking *a, const struct energy_bucket *bucket,
	struct finding_day *day)
{
	const struct question q = {.config = a->config, .boundary = a->boundary};
	struct evenly evenly = figures_evenly(bucket, MODES_OF_WHOLE, &q);
	day->mistaken_heat_j = evenly.heat_j + bucket->across_known_j[COUNTED_HEAT];
	day->mistaken_electricity_j = evenly.electricity_j;
	for (size_t m = 0; m < a->config->meter_count; m++)
		if (a->boundary.meters & 1u << m)
			day->mistaken_electricity_j += bucket->across_known_j[m];
}

static void take_bucket(const struct energy_bucket *bucket, void *context)
{
	struct asking *a = context;
	struct energy_sum sum = figures_sum(bucket);
	a->days = xrealloc(a->days, a->count + 1, sizeof(*a->days));
	struct finding_day *day = &a->days[a->count++];
	*day = (struct finding_day){0};
	day->start_min = bucket->t_ms / MS_PER_MIN;
	day->end_min = bucket->t_end_ms / MS_PER_MIN;
	day->heat_ms = sum.heat_ms;
	day->paired_heat_j = sum.paired_heat_j;
	day->paired_electricity_j = sum.paired_electricity_j;
	day->paired_ms = sum.paired_ms;
	day->paired_sensitivity_j_per_k = sum.paired_sensitivity_j_per_k;
	for (size_t m = 0; m < a->config->meter_count; m++)
		if (a->boundary.meters & 1u << m &&
			serves_heaters_alone(&a->config->meters[m]))
			day->paired_heaters_j += sum.paired_meter_j[m];
	day->heating_j = bucket->modes[MODE_HEATING].heat_j;
	take_mistaken(a, bucket, day);
	memcpy(day->meter_j, sum.meter_j, sizeof(day->meter_j));
	day->known = is_known(a, bucket);
}

static void take_evidence(int64_t start_min, const struct evidence *item, void *context)
{
	struct asking *a = context;
	while (a->at < a->count && a->days[a->at].start_min < start_min)
		a->at++;
	if (a->at == a->count || a->days[a->at].start_min != start_min)
		return; /* of a day of another zone */
	if (item->kind == EVIDENCE_LOOKED)
		a->days[a->at].looked = true;
	if (item->kind != EVIDENCE_CONDITIONS && item->kind != EVIDENCE_STEADY)
		evidence_add(&a->evidence[a->at], item);
}

#define EVENTS_MOST 100000

static void take_event(const struct event *event, const char *subject, void *context)
{
	struct asking *a = context;
	(void)subject; /* by index, or not configured any more */
	if (a->event_count == EVENTS_MOST)
		return;
	if (a->event_count == a->event_room) {
		a->event_room = a->event_room ? 2 * a->event_room : 64;
		a->events = xrealloc(a->events, a->event_room, sizeof(*a->events));
	}
	a->events[a->event_count++] = *event;
}

/* Of minutes that went for their age nothing can be said any more. */
int evidence_look(struct store *store, int64_t start_min, int64_t end_min,
	struct evidence_list *list, bool *ret_looked)
{
	int64_t gone_until = 0;
	int r = store_minutes_gone_until(store, start_min, &gone_until);
	if (r != 0 || gone_until > start_min)
		return r;
	r = look(store, start_min, end_min, list);
	*ret_looked = r == 0;
	return r;
}

static int look_at_rest_of(struct asking *a, size_t budget)
{
	int64_t until_ms = 0;
	int r = store_fact(a->store, FACT_DERIVED_UNTIL_MS, &until_ms);
	for (size_t i = a->count; r == 0 && i-- > 0 && budget > 0;) {
		struct finding_day *day = &a->days[i];
		if (day->looked || !day->known)
			continue;
		r = evidence_look(a->store, day->start_min,
			least(day->end_min, until_ms / MS_PER_MIN + 1), &a->evidence[i],
			&day->looked);
		budget -= day->looked;
	}
	return r;
}

int asking_read(struct asking *a, size_t budget, int64_t *ret_version)
{
	int r = energy_days(a->store, a->since_ms, a->to_ms, &a->boundary, take_bucket, a,
		ret_version);
	if (r != 0)
		return r;
	a->evidence = xcalloc(a->count + 1, sizeof(*a->evidence));
	r = store_evidence(a->store, a->since_ms / MS_PER_MIN, a->to_ms / MS_PER_MIN,
		take_evidence, a);
	if (r == 0)
		r = look_at_rest_of(a, budget);
	if (r == 0)
		r = store_events(a->store, a->since_ms, a->to_ms, take_event, a);
	for (size_t i = 0; i < a->count; i++) {
		a->days[i].items = a->evidence[i].items;
		a->days[i].count = a->evidence[i].count;
	}
	return r;
}

void asking_release(struct asking *a)
{
	for (size_t i = 0; a->evidence && i < a->count; i++)
		evidence_release(&a->evidence[i]);
	free(a->evidence);
	free(a->events);
	free(a->days);
}

static int ask_all(struct asking *a, size_t budget, struct findings *ret,
	struct finding_input *input)
{
	int r = asking_read(a, budget, &ret->version);
	for (size_t i = 0; i < a->count; i++) {
		int64_t begin_ms = a->days[i].start_min * MS_PER_MIN;
		if (begin_ms < a->from_ms || begin_ms >= a->rows_end_ms)
			continue;
		ret->days++;
		ret->days_looked += a->days[i].looked;
	}
	int64_t from = floor_div(a->from_ms, MS_PER_DAY);
	int64_t to = floor_div(a->to_ms - 1, MS_PER_DAY) + 1;
	if (r == 0)
		r = store_older_days(a->store, a->from_ms, a->to_ms, &input->older);
	ret->older = input->older;
	if (r == 0)
		r = store_sealed_days(a->store, from, to, &input->sealed_days,
			&input->sealed_first, &input->sealed_last);
	return r;
}

static int64_t day_before(int64_t from_ms, int back_days)
{
	return calendar_day_start(calendar_add(calendar_date(from_ms), 0, 0, -back_days));
}

int asking_told_span(struct asking *a, int64_t *ret_first_ms, int64_t *ret_end_ms)
{
	int64_t first = 0, end = 0, first_ms = 0, last_ms = 0;
	int r = store_row_span(a->store, &first, &end);
	bool rows = r == 0;
	if (r != 0 && r != STORE_NONE)
		return r;
	r = store_event_span(a->store, &first_ms, &last_ms);
	if (r != 0 && (r != STORE_NONE || !rows))
		return r;
	bool events = r == 0;
	a->rows_end_ms = rows ? end * MS_PER_MIN : INT64_MIN;
	*ret_first_ms = first * MS_PER_MIN;
	*ret_end_ms = end * MS_PER_MIN;
	if (events && (!rows || first_ms < *ret_first_ms))
		*ret_first_ms = first_ms;
	if (events && (!rows || last_ms >= *ret_end_ms))
		*ret_end_ms = (floor_div(last_ms, MS_PER_MIN) + 1) * MS_PER_MIN;
	return 0;
}

/* Whole local days, no more than there is anything of. */
static int cut_span(struct asking *a, int64_t from_ms, int64_t to_ms, int back_days)
{
	int64_t first_ms = 0, end_ms = 0;
	int r = asking_told_span(a, &first_ms, &end_ms);
	if (r != 0)
		return r;
	a->from_ms = calendar_day_start(
		calendar_date(from_ms > first_ms ? from_ms : first_ms));
	a->to_ms = least(to_ms, end_ms);
	int64_t back_ms = day_before(a->from_ms, back_days);
	int64_t begin_ms = calendar_day_start(calendar_date(first_ms));
	a->since_ms = back_ms > begin_ms ? back_ms : begin_ms;
	a->rows_precede = begin_ms < a->since_ms;
	a->rows_follow = end_ms - a->to_ms > MS_PER_DAY; /* today says little yet */
	return a->from_ms < a->to_ms ? 0 : STORE_NONE;
}

/* Keeps those that touch what was asked for. */
static void keep_asked(const struct asking *a, struct finding_list *list)
{
	size_t count = 0;
	for (size_t i = 0; i < list->count; i++) {
		struct finding *f = &list->items[i];
		if (f->since_ms < a->to_ms && (f->until_ms > a->from_ms || f->lasts))
			list->items[count++] = *f;
		else
			finding_release(f);
	}
	list->count = count;
}

/* Does one propose to correct days, and is older than what was looked at? */
static bool is_older(const struct finding_list *list)
{
	for (size_t i = 0; i < list->count; i++)
		if (list->items[i].began_before && list->items[i].correction)
			return true;
	return false;
}

static int ask_back(struct asking *a, size_t budget, struct findings *ret)
{
	struct finding_input input = {.config = a->config};
	int r = ask_all(a, budget, ret, &input);
	if (r == 0) {
		input.boundary = a->boundary;
		input.days = a->days;
		input.day_count = a->count;
		input.rows_precede = a->rows_precede;
		input.rows_follow = a->rows_follow;
		input.events = a->events;
		input.event_count = a->event_count;
		findings_of(&input, &ret->list);
		keep_asked(a, &ret->list);
		ret->from_ms = a->from_ms;
		ret->to_ms = a->to_ms;
		ret->boundary = a->boundary;
	}
	asking_release(a);
	return r;
}

/* ---- words ---- */

enum { QUOTED_FINDINGS_MOST = 8 };

/* What was said is in the journal: looked for where it began and where it was last. */
static int quote(struct store *store, struct finding *f)
{
	struct said_words words = {0};
	int channel = config_channel(store_config(store), f->subject);
	int64_t first_ms = least(f->since_ms + MS_PER_DAY, f->until_ms);
	int64_t last_ms = f->until_ms - MS_PER_DAY;
	if (channel < 0)
		return 0;
	int r = said_words_of(store, channel, f->since_ms, first_ms, &words);
	if (r == 0 && f->until_ms > first_ms)
		r = said_words_of(store, channel, last_ms > first_ms ? last_ms : first_ms,
			f->until_ms, &words);
	said_words_sort(&words);
	if (r == 0)
		finding_quote(f, &words);
	return r;
}

static int quote_words(struct store *store, struct finding_list *list)
{
	int r = 0;
	for (size_t i = 0, n = 0; r == 0 && i < list->count; i++)
		if (list->items[i].kind == FINDING_STATE_UNKNOWN &&
			n++ < QUOTED_FINDINGS_MOST)
			r = quote(store, &list->items[i]);
	return r;
}

/* A year before the span shows what was usual and where most faults began; a correction
 * of one that is older still is worth a look at all there is. */
static const int back_days[] = {LOOK_BACK_DAYS, 40 * 366};

int findings_ask(struct store *store, int64_t from_ms, int64_t to_ms, size_t budget,
	struct findings *ret)
{
	struct findings findings = {0};
	int r = 0;
	for (size_t i = 0; r == 0 && i < ARRAY_LEN(back_days); i++) {
		struct asking a = {.store = store, .config = store_config(store)};
		char why[256];
		findings_ask_release(&findings);
		findings.from_ms = from_ms;
		findings.to_ms = to_ms;
		if (boundary_find(a.config, NULL, &a.boundary, why) != 0)
			a.boundary = (struct boundary){0};
		r = cut_span(&a, from_ms, to_ms, back_days[i]);
		if (r == 0)
			r = ask_back(&a, budget, &findings);
		if (!is_older(&findings.list))
			break;
	}
	if (r == 0)
		r = quote_words(store, &findings.list);
	if (r != 0 && r != STORE_NONE) {
		findings_release(&findings.list);
		return r;
	}
	*ret = findings;
	return 0;
}

void findings_ask_release(struct findings *findings)
{
	findings_release(&findings->list);
	*findings = (struct findings){0};
}
