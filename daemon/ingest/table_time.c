/*
 * The stamp of a row, made absolute: once, here, in the order of the file's lines. See
 * table_form.h.
 *
 * Local times go by the zone; the hour that an autumn repeats is told by the line before
 * (wall_clock.h). Where rows cover half an hour or more, a stamp that is repeated in that
 * hour is its second one: finer tables show it by falling back.
 *
 * Whole days are local days: a stamp at 2026-10-25T00:00 Berlin covers 25 hours. A date
 * without clock means that day, whether stamps are ends or starts. A stamp with an offset
 * of its own is taken for a local one where the zone has that offset then.
 */
#include "table_form.h"

#include <heatbook/record.h>

#include <string.h>

#define CLOCK_LENGTH 8 /* hh:mm:ss */

#define UNIQUE_FROM_MS (30 * MS_PER_MIN)

/* The year of stamps that have none goes on with the months; a line out of order around
 * New Year goes back again. */
static int year_of(struct table_times *t, const struct written_time *w)
{
	if (w->year)
		return w->year;
	if (t->month && t->month - w->month >= 6)
		t->year++;
	else if (t->month && w->month - t->month >= 6 && t->year > t->table->year)
		t->year--;
	t->month = w->month;
	return t->year;
}

/* An instant of a local time that has nothing to do with the line before. */
static int64_t day_edge(struct table_times *t, int64_t local_ms)
{
	int64_t t_ms;
	wall_clock_reset(t->days);
	(void)wall_clock_resolve(t->days, local_ms, false, &t_ms); /* skipped: its end */
	return t_ms;
}

/* Start and end of what a stamp of whole local days covers. */
static void cover_days(struct table_times *t, const struct written_time *w,
	int64_t local_ms, int64_t *ret_ms, int64_t *ret_span_ms)
{
	int64_t interval = t->table->interval_ms;
	bool before = t->table->covers_before;
	if (before && !t->form->pattern.clock)
		local_ms += MS_PER_DAY;
	int64_t stamp = day_edge(t, local_ms);
	if (w->zoned && (w->utc || stamp != *ret_ms))
		return;
	int64_t other = day_edge(t, before ? local_ms - interval : local_ms + interval);
	*ret_ms = stamp;
	*ret_span_ms = before ? stamp - other : other - stamp;
}

/* "hh:mm:ss", from 00:00:00 to 23:59:59. */
static bool plain_clock(const char *text, int64_t *ret_ms)
{
	unsigned d[CLOCK_LENGTH];
	for (size_t i = 0; i < CLOCK_LENGTH; i++)
		d[i] = (unsigned)(unsigned char)text[i] - '0';
	unsigned hour = d[0] * 10 + d[1], minute = d[3] * 10 + d[4],
		 second = d[6] * 10 + d[7];
	if (d[0] > 9 || d[1] > 9 || d[3] > 5 || d[4] > 9 || d[6] > 5 || d[7] > 9 ||
		hour > 23 || text[2] != ':' || text[5] != ':')
		return false;
	*ret_ms = ((hour * 60 + minute) * 60 + second) * INT64_C(1000);
	return true;
}

/* Keeps the day of a time that was read, if the next one may differ in its clock alone.
 */
static void keep_day(struct table_times *t, const char *text, size_t length,
	const struct written_time *w, int64_t local_ms)
{
	struct same_day *day = &t->same_day;
	const char *colon = memchr(text, ':', length);
	int64_t clock_ms;
	day->length = 0;
	if (!w->year || !colon || colon - text < 2 || length >= sizeof(day->text))
		return;
	size_t at = (size_t)(colon - text) - 2, end = at + CLOCK_LENGTH;
	if (end > length || !plain_clock(text + at, &clock_ms) ||
		clock_ms != w->clock_ms || memchr(text + end, 'm', length - end) ||
		memchr(text + end, 'M', length - end))
		return;
	memcpy(day->text, text, length);
	day->length = length;
	day->clock_at = at;
	day->at = *w;
	day->midnight_ms = local_ms - clock_ms;
}

static bool read_same_day(struct table_times *t, const char *text, size_t length,
	struct written_time *ret, int64_t *ret_local_ms)
{
	const struct same_day *day = &t->same_day;
	size_t end = day->clock_at + CLOCK_LENGTH;
	int64_t clock_ms;
	if (length != day->length || length == 0 ||
		memcmp(text, day->text, day->clock_at) != 0 ||
		memcmp(text + end, day->text + end, length - end) != 0 ||
		!plain_clock(text + day->clock_at, &clock_ms))
		return false;
	*ret = day->at;
	ret->clock_ms = clock_ms;
	*ret_local_ms = day->midnight_ms + clock_ms;
	return true;
}

static const char *read_local(struct table_times *t, const char *text, size_t length,
	struct written_time *ret, int64_t *ret_local_ms)
{
	const char *why;
	if (read_same_day(t, text, length, ret, ret_local_ms))
		return NULL;
	if (!time_pattern_read(&t->form->pattern, text, length, ret, &why))
		return why;
	if (!written_time_ms(ret, year_of(t, ret), ret_local_ms))
		return "the month has no such day";
	keep_day(t, text, length, ret, *ret_local_ms);
	return NULL;
}

/* False for one that never was; a midnight that was skipped is the day's begin. */
static bool resolve(struct table_times *t, int64_t local_ms, int64_t *ret_ms)
{
	bool unique = t->table->interval_ms >= UNIQUE_FROM_MS;
	int found = wall_clock_resolve(t->clock, local_ms, unique, ret_ms);
	t->twice += found == WALL_TWICE;
	return found != WALL_SKIPPED || local_ms % MS_PER_DAY == 0;
}

static const char *written_stamp(struct table_times *t, const char *text, size_t length,
	int64_t *ret_ms, int64_t *ret_span_ms)
{
	struct written_time w;
	int64_t local_ms = 0;
	const char *why = read_local(t, text, length, &w, &local_ms);
	if (why)
		return why;
	if (local_ms < STAMP_LEAST_MS - MS_PER_DAY || local_ms > STAMP_END_MS)
		return STAMP_OUTSIDE;
	if (w.zoned)
		*ret_ms = local_ms - w.offset_ms;
	else if (!resolve(t, local_ms, ret_ms))
		return "bears a local time that its zone's clock was set forward over";
	if (t->days)
		cover_days(t, &w, local_ms, ret_ms, ret_span_ms);
	return NULL;
}

static const char *numeric_stamp(
	struct table_times *t, const char *text, size_t length, int64_t *ret_ms)
{
	int64_t ms;
	if (!time_number_read(text, length, t->form->per_second, &ms))
		return "the time is no number";
	if (__builtin_add_overflow(ms, t->table->origin_ms, ret_ms))
		return STAMP_OUTSIDE;
	return NULL;
}

const char *table_stamp(struct table_times *t, const char *text, size_t length,
	int64_t *ret_ms, int64_t *ret_span_ms)
{
	*ret_span_ms = 0;
	const char *why = t->form->numeric
				  ? numeric_stamp(t, text, length, ret_ms)
				  : written_stamp(t, text, length, ret_ms, ret_span_ms);
	if (why)
		return why;
	if (*ret_ms < STAMP_LEAST_MS)
		return STAMP_OUTSIDE;
	if (*ret_ms > t->now_ms + MS_PER_DAY)
		return "bears a time more than a day in the future";
	return NULL;
}
