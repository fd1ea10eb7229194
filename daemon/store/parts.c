/*
 * See parts.h. A span with whole days in its middle is days there, hours next to them,
 * minutes at its ends; with inner edges finer than a day, or than an hour, the coarser
 * rows drop out.
 */
#include "parts.h"

#include <heatbook/calendar.h>

static void add(struct parts *parts, enum part_source source, int64_t from, int64_t to)
{
	if (from < to)
		parts->items[parts->count++] = (struct part){source, from, to};
}

/* Local midnight at or after / at or before a minute. */
static int64_t day_from(int64_t minute)
{
	struct date date = calendar_date(minute * MS_PER_MIN);
	int64_t start = calendar_day_start(date) / MS_PER_MIN;
	if (start < minute)
		start = calendar_day_start(calendar_add(date, 0, 0, 1)) / MS_PER_MIN;
	return start;
}

static int64_t day_until(int64_t minute)
{
	return calendar_day_start(calendar_date(minute * MS_PER_MIN)) / MS_PER_MIN;
}

static bool edges_are_days(const int64_t *edges_ms, size_t count)
{
	for (size_t i = 1; i < count; i++)
		if (calendar_day_start(calendar_date(edges_ms[i])) != edges_ms[i])
			return false;
	return true;
}

static bool edges_are_hours(const int64_t *edges_ms, size_t count)
{
	for (size_t i = 1; i < count; i++)
		if (edges_ms[i] % MS_PER_HOUR)
			return false;
	return true;
}

static void split_hours(struct parts *parts, bool hours, int64_t from, int64_t to)
{
	int64_t until = parts->until_minute;
	int64_t first = floor_div(from + 59, 60) * 60;
	int64_t last = floor_div(to < until ? to : until, 60) * 60;

	if (!hours || first >= last) {
		add(parts, PART_MINUTES, from, to);
		return;
	}
	add(parts, PART_MINUTES, from, first);
	add(parts, PART_HOURS, first, last);
	add(parts, PART_MINUTES, last, to);
}

void parts_split(
	const int64_t *edges_ms, size_t count, int64_t until_minute, struct parts *ret)
{
	int64_t from = edges_ms[0] / MS_PER_MIN, to = edges_ms[count] / MS_PER_MIN;
	bool hours = edges_are_hours(edges_ms, count);

	*ret = (struct parts){.until_minute = until_minute};
	if (edges_are_days(edges_ms, count)) {
		int64_t first = day_from(from);
		int64_t last = day_until(to < until_minute ? to : until_minute);
		if (first < last) {
			split_hours(ret, hours, from, first);
			add(ret, PART_DAYS, first, last);
			split_hours(ret, hours, last, to);
			return;
		}
	}
	split_hours(ret, hours, from, to);
}
