/*
 * Asking for evidence of conditions. See conditions.h.
 *
 * No sums of days are needed, so that ten years are as quick as their rows of evidence.
 * Evidence and what is looked at now are read one after the other, as findings do.
 */
#include <heatbook/conditions.h>

#include <heatbook/calendar.h>
#include <heatbook/insight_days.h>
#include <heatbook/query.h>

struct asking {
	struct conditions *conditions;
	int64_t *edges_ms; /* of days */
	size_t count;
	bool *looked; /* by day */
	size_t at;
};

static void take(struct conditions *c, const struct evidence *item)
{
	efficiency_map_take(&c->map, item);
	if (item->kind != EVIDENCE_STEADY)
		return;
	c->windows = xrealloc(c->windows, c->window_count + 1, sizeof(*c->windows));
	c->windows[c->window_count++] = steady_window_of(item);
}

static void take_evidence(int64_t start_min, const struct evidence *item, void *context)
{
	struct asking *a = context;
	int64_t start_ms = start_min * MS_PER_MIN;
	while (a->at < a->count && a->edges_ms[a->at] < start_ms)
		a->at++;
	if (a->at == a->count || a->edges_ms[a->at] != start_ms)
		return; /* of a day of another zone */
	if (item->kind == EVIDENCE_LOOKED)
		a->looked[a->at] = item->minutes >= EVIDENCE_FORM;
	else if (a->looked[a->at])
		take(a->conditions, item);
}

static int look_now(struct store *store, struct asking *a, size_t day)
{
	struct evidence_list list = {0};
	int r = evidence_look(store, a->edges_ms[day] / MS_PER_MIN,
		a->edges_ms[day + 1] / MS_PER_MIN, &list, &a->looked[day]);
	for (size_t i = 0; r == 0 && i < list.count; i++)
		take(a->conditions, &list.items[i]);
	evidence_release(&list);
	return r;
}

static int ask_days(
	struct store *store, struct asking *a, struct conditions *c, size_t budget)
{
	static const struct duration day = {.days = 1};
	query_buckets_some(c->from_ms, c->to_ms, &day, SIZE_MAX, &a->edges_ms, &a->count);
	a->looked = xcalloc(a->count + 1, sizeof(*a->looked));
	int r = store_evidence(
		store, c->from_ms / MS_PER_MIN, c->to_ms / MS_PER_MIN, take_evidence, a);
	for (size_t i = a->count; r == 0 && i-- > 0 && budget > 0;) {
		if (a->looked[i])
			continue;
		r = look_now(store, a, i);
		budget--;
	}
	c->days = a->count;
	for (size_t i = 0; i < a->count; i++)
		c->days_looked += a->looked[i];
	free(a->edges_ms);
	free(a->looked);
	return r;
}

/* Days that are looked at now come behind those that were. */
static int by_time(const void *left, const void *right)
{
	const struct steady_window *a = left, *b = right;
	return (a->start_min > b->start_min) - (a->start_min < b->start_min);
}

int conditions_ask(struct store *store, int64_t from_ms, int64_t to_ms, size_t budget,
	struct conditions *ret)
{
	struct conditions c = {.from_ms = from_ms, .to_ms = to_ms};
	struct asking a = {.conditions = &c};
	struct boundary boundaries[BOUNDARIES_MOST];
	if (boundary_list(store_config(store), boundaries) > 0)
		c.boundary = boundaries[0];
	int r = insight_span(store, &c.from_ms, &c.to_ms);
	if (r == 0)
		r = store_fact(store, FACT_VERSION, &c.version);
	if (r == 0 && c.from_ms < c.to_ms)
		r = ask_days(store, &a, &c, budget);
	if (r == 0)
		r = store_older_days(store, c.from_ms, c.to_ms, &c.older);
	efficiency_map_sort(&c.map);
	if (c.window_count > 0)
		qsort(c.windows, c.window_count, sizeof(*c.windows), by_time);
	if (r == 0)
		*ret = c;
	else
		conditions_release(&c);
	return r;
}

void conditions_release(struct conditions *conditions)
{
	efficiency_map_release(&conditions->map);
	free(conditions->windows);
	*conditions = (struct conditions){0};
}
