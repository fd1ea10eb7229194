/*
 * Habits of a span's days out of the evidence that the store keeps. See habit.h.
 */
#include <heatbook/calendar.h>
#include <heatbook/evidence.h>
#include <heatbook/habit.h>
#include <heatbook/insight_days.h>
#include <heatbook/run_rows.h>
#include <heatbook/store.h>

#define BACK_DAYS 400 /* as findings look back */

struct asking {
	const struct config *config;
	struct immersion_habits *habits;
	bool *looked, *there; /* days that were looked at, of which there are rows */
	int64_t end_min;      /* of the last day */
	size_t at;            /* the day whose evidence comes */
};

static void add_day(struct immersion_habits *habits, int64_t start_min)
{
	habits->start_min = xrealloc(
		habits->start_min, habits->count + 1, sizeof(*habits->start_min));
	habits->start_min[habits->count++] = start_min;
}

/* Local days of the span and of so many before it, as far as there are rows. */
static int list_days(
	struct store *store, struct asking *a, int64_t from_ms, int64_t to_ms)
{
	int64_t first_min = 0, last_min = 0;
	int r = store_row_span(store, &first_min, &last_min);
	if (r != 0)
		return r;
	struct date date = calendar_add(calendar_date(from_ms), 0, 0, -BACK_DAYS);
	if (calendar_day_start(date) < first_min * MS_PER_MIN)
		date = calendar_date(first_min * MS_PER_MIN);
	if (to_ms > (last_min + 1) * MS_PER_MIN)
		to_ms = (last_min + 1) * MS_PER_MIN;
	int64_t start_ms = calendar_day_start(date);
	while (start_ms < to_ms) {
		add_day(a->habits, start_ms / MS_PER_MIN);
		date = calendar_add(date, 0, 0, 1);
		start_ms = calendar_day_start(date);
	}
	a->end_min = start_ms / MS_PER_MIN;
	return 0;
}

static void take(struct asking *a, const struct evidence *item)
{
	if (item->kind == EVIDENCE_LOOKED)
		a->looked[a->at] = true;
	if (item->kind == EVIDENCE_IMMERSION &&
		a->config->meters[item->subject].serves == DEVICE_IMMERSION)
		heater_uses_add(&a->habits->heaters[item->subject], a->at,
			a->habits->start_min[a->at], item);
}

static void take_kept(int64_t start_min, const struct evidence *item, void *context)
{
	struct asking *a = context;
	const struct immersion_habits *habits = a->habits;
	while (a->at < habits->count && habits->start_min[a->at] < start_min)
		a->at++;
	if (a->at < habits->count && habits->start_min[a->at] == start_min)
		take(a, item);
}

static void take_stored(const struct run_mark *mark, void *context)
{
	struct asking *a = context;
	const struct immersion_habits *habits = a->habits;
	while (a->at < habits->count && habits->start_min[a->at] < mark->start_min)
		a->at++;
	if (a->at < habits->count && habits->start_min[a->at] == mark->start_min)
		a->there[a->at] = true;
}

/* Closed days with rows are stored; those that are open may have some. */
static int find_rows(struct store *store, struct asking *a, int64_t *ret_until_min)
{
	const struct immersion_habits *habits = a->habits;
	int64_t until_ms = 0;
	a->at = 0;
	int r = store_run_marks(
		store, habits->start_min[0], a->end_min, 0, take_stored, a);
	if (r == 0)
		r = store_fact(store, FACT_DERIVED_UNTIL_MS, &until_ms);
	*ret_until_min = until_ms / MS_PER_MIN + 1;
	for (size_t i = 0; i < habits->count; i++) {
		int64_t end_min =
			i + 1 < habits->count ? habits->start_min[i + 1] : a->end_min;
		if (end_min >= *ret_until_min && habits->start_min[i] < *ret_until_min)
			a->there[i] = true;
	}
	return r;
}

static int look_at_rest(struct store *store, struct asking *a, size_t budget)
{
	const struct immersion_habits *habits = a->habits;
	int64_t until_min = 0;
	int r = find_rows(store, a, &until_min);
	for (size_t i = habits->count; r == 0 && i-- > 0 && budget > 0;) {
		struct evidence_list list = {0};
		bool looked = false;
		if (a->looked[i] || !a->there[i])
			continue;
		int64_t end_min =
			i + 1 < habits->count ? habits->start_min[i + 1] : a->end_min;
		end_min = end_min < until_min ? end_min : until_min;
		r = evidence_look(store, habits->start_min[i], end_min, &list, &looked);
		a->at = i;
		for (size_t e = 0; r == 0 && looked && e < list.count; e++)
			take(a, &list.items[e]);
		evidence_release(&list);
		budget--;
	}
	return r;
}

/* What no finding could tell is not called usual: days that nobody looked at, and those
 * with too few before them. */
static void leave_unknown(const bool *looked, size_t count, struct heater_uses *uses)
{
	size_t before = 0, at = 0;
	for (size_t day = 0; day < count; day++) {
		for (; at < uses->count && uses->items[at].day == day; at++)
			if (!looked[day] || (uses->habits[at] == HABIT_USUAL &&
						    before < HABIT_HISTORY_DAYS))
				uses->habits[at] = HABIT_UNKNOWN;
		before += looked[day];
	}
}

static int judge(struct store *store, struct asking *a, size_t budget)
{
	struct immersion_habits *habits = a->habits;
	bool any = false;
	for (size_t m = 0; m < habits->meters; m++)
		any |= a->config->meters[m].serves == DEVICE_IMMERSION;
	if (!any)
		return 0;
	int r = store_evidence_of(store, EVIDENCE_IMMERSION, habits->start_min[0],
		a->end_min, take_kept, a);
	if (r == 0)
		r = look_at_rest(store, a, budget);
	for (size_t m = 0; r == 0 && m < habits->meters; m++) {
		habits_judge(a->looked, &habits->heaters[m]);
		leave_unknown(a->looked, habits->count, &habits->heaters[m]);
	}
	return r;
}

int immersion_habits_ask(struct store *store, int64_t from_ms, int64_t to_ms,
	size_t budget, struct immersion_habits *ret)
{
	struct asking a = {.config = store_config(store), .habits = ret};
	*ret = (struct immersion_habits){.meters = a.config->meter_count};
	ret->heaters = xcalloc(ret->meters + 1, sizeof(*ret->heaters));
	int r = list_days(store, &a, from_ms, to_ms);
	a.looked = xcalloc(2 * ret->count + 1, sizeof(*a.looked));
	a.there = a.looked + ret->count;
	if (r == 0 && ret->count)
		r = judge(store, &a, budget);
	free(a.looked);
	if (r != 0)
		immersion_habits_release(ret);
	return r == STORE_NONE ? 0 : r;
}
