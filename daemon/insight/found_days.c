/*
 * Findings by the day: what is read of a store once gives the days after each other, each
 * by the 400 days before its end. See found_days.h.
 */
#include <heatbook/found_days.h>

#include "look.h"

#include <heatbook/calendar.h>
#include <heatbook/query.h>

#include <string.h>

#define BUDGET_MOST 32

_Static_assert(FINDING_KINDS <= 64, "a bit for each kind");

/* What is read together: the days that end in [first, last], and those before them. */
struct found_window {
	struct asking asking;
	int64_t first_min, last_min;
};

void found_days_begin(struct found_days *found)
{
	found->window = NULL;
	for (size_t i = 0; i < FOUND_DAYS_KEPT; i++)
		found->kept[i].end_min = INT64_MIN;
}

/* The day that begins with a local midnight. */
static struct date day_of(int64_t midnight_min)
{
	return calendar_date((midnight_min + MIN_PER_DAY / 2) * MS_PER_MIN);
}

/* The midnight so many days after one. */
static int64_t midnight(int64_t midnight_min, int days)
{
	struct date date = calendar_add(day_of(midnight_min), 0, 0, days);
	return calendar_day_start(date) / MS_PER_MIN;
}

int64_t found_day_told(int64_t minute, int64_t *ret_until)
{
	int64_t start =
		calendar_day_start(calendar_date(minute * MS_PER_MIN)) / MS_PER_MIN;
	bool told = minute >= start + FOUND_TOLD_MIN;
	*ret_until = (told ? midnight(start, 1) : start) + FOUND_TOLD_MIN;
	return told ? start : midnight(start, -1);
}

static struct found_day *place_of(struct found_days *found, int64_t end_min)
{
	int64_t day = floor_div(end_min + MIN_PER_DAY / 2, MIN_PER_DAY);
	return &found->kept[(uint64_t)day % FOUND_DAYS_KEPT];
}

static void window_close(struct found_days *found)
{
	if (!found->window)
		return;
	asking_release(&found->window->asking);
	free(found->window);
	found->window = NULL;
}

void found_days_release(struct found_days *found)
{
	window_close(found);
}

void found_days_revised(struct found_days *found, int64_t minute)
{
	if (found->window && found->window->last_min > minute)
		window_close(found);
	for (size_t i = 0; i < FOUND_DAYS_KEPT; i++)
		if (found->kept[i].end_min > minute)
			found->kept[i].end_min = INT64_MIN;
}

/* ---- one day ---- */

static size_t day_at(const struct asking *a, int64_t minute)
{
	size_t i = 0;
	while (i < a->count && a->days[i].start_min < minute)
		i++;
	return i;
}

/* Those that were certain by then. */
static size_t take_events(
	const struct asking *a, int64_t from_ms, int64_t to_ms, struct event *ret)
{
	size_t count = 0;
	for (size_t i = 0; i < a->event_count; i++) {
		const struct event *e = &a->events[i];
		if (e->t_ms >= from_ms && e->t_ms < to_ms && e->made_ms < to_ms)
			ret[count++] = *e;
	}
	return count;
}

static uint64_t open_of(const struct finding_list *list, int64_t day_ms)
{
	uint64_t open = 0;
	for (size_t i = 0; i < list->count; i++) {
		const struct finding *f = &list->items[i];
		if (finding_has_days(f->kind) && (f->lasts || f->until_ms > day_ms))
			open |= UINT64_C(1) << f->kind;
	}
	return open;
}

/* A day of which no heat and no meter is known says nothing, unless that goes for all. */
static bool is_known(const struct finding_input *in)
{
	bool any = false;
	if (in->day_count == 0)
		return false;
	for (size_t i = 0; i < in->day_count; i++)
		any = any || in->days[i].known;
	const struct finding_day *last = &in->days[in->day_count - 1];
	return last->looked && (last->known || !any);
}

static void find_day(const struct asking *a, struct found_day *ret)
{
	size_t first = day_at(a, midnight(ret->end_min, -LOOK_BACK_DAYS));
	size_t end = day_at(a, ret->end_min);
	struct finding_list list = {0};
	struct finding_input input = {.config = a->config,
		.boundary = a->boundary,
		.days = a->days + first,
		.day_count = end - first,
		.rows_precede = first > 0 || a->rows_precede};
	ret->open = 0;
	ret->known = is_known(&input);
	if (end == first)
		return;
	_cleanup_(freep) struct event *events =
		xcalloc(a->event_count + 1, sizeof(*events));
	input.events = events;
	input.event_count = take_events(a, a->days[first].start_min * MS_PER_MIN,
		ret->end_min * MS_PER_MIN, events);
	findings_of(&input, &list);
	ret->open = open_of(&list, a->days[end - 1].start_min * MS_PER_MIN);
	findings_release(&list);
}

/* ---- days in a row ---- */

/* Before anything is read: who waits for days to be looked at asks each second. */
static int see_looked(struct asking *a, size_t budget)
{
	size_t missing = 0;
	size_t most = budget < BUDGET_MOST ? budget : BUDGET_MOST;
	struct day_span days[BUDGET_MOST + 1];
	int r = store_evidence_missing(a->store, a->since_ms / MS_PER_MIN,
		a->to_ms / MS_PER_MIN, days, most + 1, &missing);
	return r == 0 && missing > most ? FOUND_DAYS_WAIT : r;
}

/* What the days that end in [first, last] need; nothing where nothing is so early. */
static int window_read(struct found_window *w, size_t budget)
{
	struct asking *a = &w->asking;
	int64_t first_ms = 0, end_ms = 0, version = 0;
	char why[256];
	if (boundary_find(a->config, NULL, &a->boundary, why) != 0)
		a->boundary = (struct boundary){0};
	int r = asking_told_span(a, &first_ms, &end_ms);
	if (r != 0)
		return r == STORE_NONE ? 0 : r;
	int64_t back_ms = midnight(w->first_min, -LOOK_BACK_DAYS) * MS_PER_MIN;
	int64_t begin_ms = calendar_day_start(calendar_date(first_ms));
	a->since_ms = back_ms > begin_ms ? back_ms : begin_ms;
	a->rows_precede = begin_ms < a->since_ms;
	a->to_ms = w->last_min * MS_PER_MIN;
	if (a->since_ms >= a->to_ms)
		return 0;
	r = see_looked(a, budget);
	return r == 0 ? asking_read(a, budget, &version) : r;
}

static int window_open(struct found_days *found, struct store *store, int64_t end_min,
	int more, size_t budget)
{
	const struct found_window *open = found->window;
	if (open && end_min >= open->first_min && end_min <= open->last_min)
		return 0;
	window_close(found);
	struct found_window *w = xcalloc(1, sizeof(*w));
	w->asking.store = store;
	w->asking.config = store_config(store);
	w->first_min = more < 0 ? midnight(end_min, more) : end_min;
	w->last_min = more > 0 ? midnight(end_min, more) : end_min;
	found->window = w;
	int r = window_read(w, budget);
	if (r != 0)
		window_close(found);
	return r;
}

int found_days_ask(struct found_days *found, struct store *store, int64_t end_min,
	int more, size_t budget, struct found_day *ret)
{
	struct found_day *place = place_of(found, end_min);
	if (place->end_min != end_min) {
		struct found_day day = {.end_min = end_min};
		int r = window_open(found, store, end_min, more, budget);
		if (r != 0)
			return r;
		find_day(&found->window->asking, &day);
		*place = day;
		if (end_min ==
			(more < 0 ? found->window->first_min : found->window->last_min))
			window_close(found);
	}
	*ret = *place;
	return 0;
}
