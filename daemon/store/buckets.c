/*
 * Spans into buckets. Exact steps are aligned to 1970 UTC, calendar steps to the plant's
 * zone; the first and last bucket are cut at the span's ends, so that a span is always
 * wholly and only covered.
 */
#include <heatbook/query.h>

#include <assert.h>
#include <string.h>

/* First instant of the calendar bucket that holds `t_ms`, as a date. */
static struct date bucket_date(const struct duration *step, int64_t t_ms)
{
	struct date date = calendar_date(t_ms);

	if (step->days == 7)
		return calendar_add(date, 0, 0, 1 - calendar_weekday(date));
	if (step->months || step->years)
		date.day = 1;
	if (step->years)
		date.month = 1;
	return date;
}

static int64_t next_edge(const struct duration *step, int64_t t_ms)
{
	if (step->exact_ms)
		return (floor_div(t_ms, step->exact_ms) + 1) * step->exact_ms;
	struct date date = bucket_date(step, t_ms);
	int64_t next = t_ms;
	/* A date that the zone skipped has no instants: go on to the next. */
	while (next <= t_ms) {
		date = calendar_add(date, step->years, step->months, step->days);
		next = calendar_day_start(date);
	}
	return next;
}

void query_buckets_some(int64_t from_ms, int64_t to_ms, const struct duration *step,
	size_t most, int64_t **ret_edges_ms, size_t *ret_count)
{
	assert(from_ms < to_ms);
	size_t room = 64, count = 0;
	int64_t *edges = xmalloc(room * sizeof(*edges));

	edges[0] = from_ms;
	while (edges[count] < to_ms && count < most) {
		if (count + 2 > room)
			edges = xrealloc(edges, room *= 2, sizeof(*edges));
		int64_t next = next_edge(step, edges[count]);
		edges[++count] = next < to_ms ? next : to_ms;
	}
	*ret_edges_ms = edges;
	*ret_count = count;
}

int query_buckets(int64_t from_ms, int64_t to_ms, const struct duration *step,
	size_t most, int64_t **ret_edges_ms, size_t *ret_count)
{
	int64_t *edges;
	size_t count;

	query_buckets_some(from_ms, to_ms, step, most, &edges, &count);
	if (edges[count] < to_ms) {
		free(edges);
		return QUERY_TOO_MANY;
	}
	*ret_edges_ms = edges;
	*ret_count = count;
	return 0;
}
