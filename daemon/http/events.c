/*
 * /v1/runs, /v1/defrosts, /v1/hot-water, /v1/immersion, /v1/freeze-protection: what the
 * plant did, one row an event, and the same by the outdoor temperature.
 *
 * An event belongs to the span in which it began, and is followed to its end beyond it,
 * so that spans that follow each other name each event once, and as the same. Energies
 * are figures of /v1/energy over the event's time in its modes, at the narrowest boundary
 * that the meters allow unless another is asked for; of an immersion heater its own
 * electricity. A defrost has no quotient: it takes heat to melt ice. Bins of the outdoor
 * temperature are three kelvins wide; an event is in that of the mean over its minutes.
 *
 * The span may be years. Events that are listed are bounded as all values are; without
 * the list (list=no) their statistics alone cost what is read.
 */
#include "events.h"

#include "basis.h"

#include <heatbook/run_ask.h>

#include <math.h>
#include <string.h>

#define DAYS_DEFAULT  7
#define SHORT_MS      (10 * MS_PER_MIN)
#define HABITS_LOOKED 14 /* days at most that are looked at for it, as of findings */

/* What nine tenths of its time were for, defrosts aside. */
static enum work work_of(const struct plant_run *run, const struct energy_sum *modes)
{
	static const struct {
		enum mode mode;
		enum work kind;
	} works[] = {{MODE_HEATING, WORK_HEATING}, {MODE_HOT_WATER, WORK_HOT_WATER},
		{MODE_COOLING, WORK_COOLING}};
	if (run->kind == RUN_IMMERSION)
		return WORK_IMMERSION;
	if (run->kind == RUN_FREEZE_PROTECTION)
		return WORK_FREEZE_PROTECTION;
	int64_t rest_ms = run->ms - modes[MODE_DEFROST].observed_ms;
	if (rest_ms <= 0)
		return WORK_DEFROST;
	for (size_t i = 0; i < ARRAY_LEN(works); i++)
		if (modes[works[i].mode].observed_ms * 10 >= rest_ms * 9)
			return works[i].kind;
	return WORK_MIXED;
}

/* A heating run of less than ten minutes that nothing else ended. */
static bool is_short(const struct plant_run *run, enum work kind)
{
	return run->kind == RUN_COMPRESSOR && kind == WORK_HEATING &&
	       run->ms < SHORT_MS && !run->begin_truncated &&
	       (run->ended == RUN_STOPPED || run->ended == RUN_AT_TARGET);
}

static void group_add(struct group *group, const struct happening *event,
	const struct energy_bucket *sums)
{
	group->count++;
	group->truncated += event->cut != 0;
	group->short_ones += event->is_short;
	group->unplanned +=
		event->habit == HABIT_TOO_OFTEN || event->habit == HABIT_OTHER_TIME;
	group->ms += event->ms;
	group->whole_ms += event->cut ? 0 : event->ms;
	if (event->interval_ms >= 0) {
		group->intervals++;
		group->interval_ms += event->interval_ms;
	}
	group->immersion_j += event->immersion_j;
	group->immersion_spread_j += event->immersion_spread_j;
	for (int m = 0; m < MODE_COUNT; m++)
		energy_sum_add(&group->sums.modes[m], &sums->modes[m]);
	group->sums.modes_seen |= sums->modes_seen;
}

/* The bin of a temperature, put where it belongs by size; the unknown one last. */
static struct group *bin_of(struct events *e, double outdoor_c)
{
	bool known = !isnan(outdoor_c);
	int bin = known ? (int)floor(outdoor_c / (double)EVENT_BIN_K) : INT32_MAX;
	size_t at = 0;
	while (at < e->bin_count && e->bins[at].bin < bin)
		at++;
	if (at < e->bin_count && e->bins[at].bin == bin)
		return &e->bins[at];
	e->bins = xrealloc(e->bins, e->bin_count + 1, sizeof(*e->bins));
	memmove(e->bins + at + 1, e->bins + at, (e->bin_count - at) * sizeof(*e->bins));
	e->bin_count++;
	e->bins[at] = (struct group){.outdoor_known = known, .bin = bin};
	return &e->bins[at];
}

/* An immersion heater's energy, and its share of what it and the heat pump gave the
 * cylinder. */
static void take_immersion(
	const struct events *e, const struct energy_bucket *sums, struct happening *event)
{
	const struct config *config = e->question->config;
	const struct energy_sum *tap = &sums->modes[MODE_HOT_WATER];
	int64_t j = 0, heat_j = tap->heat_j;
	for (size_t m = 0; m < config->meter_count; m++) {
		if (config->meters[m].serves != DEVICE_IMMERSION)
			continue;
		j += tap->meter_j[m];
		event->immersion_spread_j += tap->meter_spread_j[m];
	}
	event->immersion_j = j;
	event->immersion_share =
		heat_j + j > 0 ? (double)j / (double)(heat_j + j) : (double)NAN;
}

static struct happening happening_of(
	struct events *e, const struct plant_run *run, const struct energy_bucket *sums)
{
	struct happening event = {.begin_ms = run->begin_ms,
		.end_ms = run->end_ms,
		.ms = run->ms,
		.kind = work_of(run, sums->modes),
		.by_rule = run->by_rule,
		.cut = run->begin_truncated + 2 * run->end_truncated,
		.ended = run->ended,
		.meter = run->meter,
		.habit = HABIT_UNKNOWN,
		.interval_ms =
			run->interval.since == RUN_SINCE_DEFROST ? run->interval.ms : -1,
		.cylinder_begin_c = run->cylinder_begin_c,
		.cylinder_end_c = run->cylinder_end_c,
		.figures = figures_chosen(sums, e->question)};
	event.is_short = is_short(run, event.kind);
	for (int m = 0; m < RUN_MEANS; m++)
		event.means[m] = run_mean_of(&run->means[m]);
	for (int m = 0; m < MODE_COUNT; m++)
		event.mode_ms[m] = sums->modes[m].observed_ms;
	if (run->kind == RUN_IMMERSION)
		event.habit = immersion_habit(&e->habits, run->meter, run->begin_ms);
	if (run->kind == RUN_HOT_WATER || run->kind == RUN_IMMERSION)
		take_immersion(e, sums, &event);
	return event;
}

static void take_run(const struct plant_run *run, void *context)
{
	struct events *e = context;
	struct energy_bucket sums;
	energy_rows_sum(e->store, &e->question->boundary, &run->rows, &sums);
	struct happening event = happening_of(e, run, &sums);
	group_add(&e->total, &event, &sums);
	if (run_channel(e->question->config, RUN_OUTDOOR) >= 0)
		group_add(bin_of(e, event.means[RUN_OUTDOOR]), &event, &sums);
	if (e->unlisted || e->count == VALUES_MOST)
		return;
	if (e->count == e->room) {
		e->room = e->room ? 2 * e->room : 64;
		e->items = xrealloc(e->items, e->room, sizeof(*e->items));
	}
	e->items[e->count++] = event;
}

static int by_begin(const void *a, const void *b)
{
	const struct happening *x = a, *y = b;
	if (x->begin_ms != y->begin_ms)
		return x->begin_ms < y->begin_ms ? -1 : 1;
	return x->meter - y->meter;
}

static int events_ask(struct store *store, struct events *e)
{
	const struct runs_asked asked = {.kind = e->kind,
		.from_ms = e->span.from_ms,
		.to_ms = e->span.to_ms,
		.visit = take_run,
		.context = e};
	int r = 0;
	e->store = store;
	if (e->kind == RUN_IMMERSION)
		r = immersion_habits_ask(
			store, e->span.from_ms, e->span.to_ms, HABITS_LOOKED, &e->habits);
	if (r == 0)
		r = runs_ask(store, &asked, &e->version, &e->older);
	if (e->count)
		qsort(e->items, e->count, sizeof(*e->items), by_begin);
	return r;
}

static void events_release(struct events *e)
{
	immersion_habits_release(&e->habits);
	free(e->items);
	free(e->bins);
	span_release(&e->span);
}

/* ---- the answer ---- */

static void write_body(
	struct json *json, const struct events *e, const struct sheet *sheet)
{
	const struct config *config = e->question->config;
	struct sheet bins, total;
	events_lay_bins(e, &bins);
	events_lay_total(e, &total);
	json_object(json, NULL);
	span_write(&e->span, config, json);
	json_text(json, "boundary",
		e->question->boundary.name[0] ? e->question->boundary.name : NULL);
	json_integer(json, "version", e->version);
	json_older_days(json, &e->older);
	json_corrections(json, "corrections", config, CORRECTIONS_OF_ACCOUNTS,
		e->span.from_ms, e->span.to_ms);
	json_scaled(
		json, "least_denominator_kwh", kwh_of(LEAST_DENOMINATOR_J), KWH_DECIMALS);
	json_fluid(json, &config->plant);
	json_estimates(json, config, &e->question->boundary, NULL);
	json_integer(json, "count", (int64_t)e->total.count);
	if (!e->unlisted)
		sheet_json(sheet, SHEET_WHOLE, e->span.by_rows, json);
	if (run_channel(config, RUN_OUTDOOR) >= 0)
		sheet_json(&bins, SHEET_OUTDOOR, e->span.by_rows, json);
	json_object(json, "total");
	sheet_json_row(&total, 0, json);
	json_object_end(json);
	json_object(json, "units");
	sheet_json_units(e->unlisted ? &bins : sheet, json);
	json_object_end(json);
	sheet_release(&bins);
	sheet_release(&total);
}

static void refuse_many(const struct events *e, size_t columns, struct reply *reply)
{
	problem(reply, MHD_HTTP_BAD_REQUEST,
		"%zu events of %zu values are more than %d values: ask for a shorter "
		"span, or with list=no for their statistics alone",
		e->total.count, columns, VALUES_MOST);
}

static void answer_events(struct http *http, struct events *e, struct reply *reply)
{
	struct sheet sheet;
	int r = events_ask(http->store, e);
	if (r != 0) {
		problem_query(reply, r);
		return;
	}
	events_lay(e, &sheet);
	if (e->total.count * sheet.count > VALUES_MOST && !e->unlisted)
		refuse_many(e, sheet.count, reply);
	else if (reply->type)
		sheet_csv(&sheet, &reply->form, &reply->body.out);
	else
		write_body(&reply->body, e, &sheet);
	if (!reply->problem) {
		span_keep(&e->span, reply);
		reply->standing.before_minute = INT64_MAX; /* ends lie beyond it */
	}
	sheet_release(&sheet);
}

/* In CSV there is nothing but the list. */
static bool list_read(
	const struct request *request, struct reply *reply, bool *ret_unlisted)
{
	static const char *const allowed[] = {"yes", "no"};
	const char *value = request_value(request, "list");
	bool no = value && strcmp(value, "no") == 0;
	*ret_unlisted = no;
	if (value && !no && strcmp(value, "yes") != 0) {
		problem_with(reply, "list", value, "yes, or no for statistics alone");
		problem_allowed(reply, allowed, 2);
		return false;
	}
	if (no && reply->type) {
		problem_with(reply, "list", value,
			"CSV is the list: ask for JSON, or leave list out");
		return false;
	}
	return true;
}

static void answer_kind(struct http *http, const struct request *request,
	struct reply *reply, enum run_kind kind)
{
	struct question question = {.config = http->config};
	struct events events = {.question = &question, .kind = kind};
	bool own =
		kind == RUN_IMMERSION; /* electricity is the heater's, of no boundary */
	if (form_read(request, reply) &&
		(own || boundary_read(http->config, request, true, reply,
				&question.boundary)) &&
		list_read(request, reply, &events.unlisted) &&
		span_times(request, DAYS_DEFAULT, reply, &events.span))
		answer_events(http, &events, reply);
	events_release(&events);
}

void answer_runs(struct http *http, const struct request *request, struct reply *reply)
{
	answer_kind(http, request, reply, RUN_COMPRESSOR);
}

void answer_defrosts(
	struct http *http, const struct request *request, struct reply *reply)
{
	answer_kind(http, request, reply, RUN_DEFROST);
}

void answer_hot_water(
	struct http *http, const struct request *request, struct reply *reply)
{
	answer_kind(http, request, reply, RUN_HOT_WATER);
}

void answer_immersion(
	struct http *http, const struct request *request, struct reply *reply)
{
	answer_kind(http, request, reply, RUN_IMMERSION);
}

void answer_freeze_protection(
	struct http *http, const struct request *request, struct reply *reply)
{
	answer_kind(http, request, reply, RUN_FREEZE_PROTECTION);
}
