/* See late.h. */
#include "late.h"

#include <string.h>

/* The first span that ends after an instant. */
static size_t find(const struct late *late, int64_t t_ms)
{
	size_t low = 0, high = late->count;
	while (low < high) {
		size_t middle = (low + high) / 2;
		if (late->spans[middle].to_ms <= t_ms)
			low = middle + 1;
		else
			high = middle;
	}
	return low;
}

static bool same_day(int64_t a_ms, int64_t b_ms)
{
	return floor_div(a_ms, MS_PER_DAY) == floor_div(b_ms, MS_PER_DAY);
}

static void remove_span(struct late *late, size_t at)
{
	late->count--;
	memmove(late->spans + at, late->spans + at + 1,
		(late->count - at) * sizeof(*late->spans));
}

static void insert_span(struct late *late, size_t at, struct late_span span)
{
	if (late->count == late->room) {
		late->room = late->room ? 2 * late->room : 16;
		late->spans = xrealloc(late->spans, late->room, sizeof(*late->spans));
	}
	memmove(late->spans + at + 1, late->spans + at,
		(late->count - at) * sizeof(*late->spans));
	late->spans[at] = span;
	late->count++;
}

void late_append(struct late *late, int64_t from_ms, int64_t to_ms)
{
	insert_span(late, late->count, (struct late_span){from_ms, to_ms});
}

/* The two with the shortest way between them become one. */
static void join_nearest(struct late *late)
{
	size_t best = 0;
	for (size_t i = 1; i + 1 < late->count; i++)
		if (late->spans[i + 1].from_ms - late->spans[i].to_ms <
			late->spans[best + 1].from_ms - late->spans[best].to_ms)
			best = i;
	late->spans[best].to_ms = late->spans[best + 1].to_ms;
	remove_span(late, best + 1);
}

void late_add(struct late *late, int64_t t_ms)
{
	size_t at = find(late, t_ms);
	if (at < late->count && late->spans[at].from_ms <= t_ms)
		return;
	if (at < late->count && same_day(late->spans[at].from_ms, t_ms)) {
		late->spans[at].from_ms = t_ms;
	} else if (at > 0 && same_day(late->spans[at - 1].to_ms - 1, t_ms)) {
		late->spans[at - 1].to_ms = t_ms + 1;
	} else {
		insert_span(late, at, (struct late_span){t_ms, t_ms + 1});
		if (late->count > LATE_SPANS_MOST)
			join_nearest(late);
	}
}

void late_clear(struct late *late)
{
	late->count = 0;
}

void late_release(struct late *late)
{
	free(late->spans);
	*late = (struct late){0};
}
