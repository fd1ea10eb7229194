/*
 * Local dates, days and their first instants. See calendar.h.
 *
 * A day starts at the first instant whose local time is at or past its midnight. Next to
 * a change of offset that instant is one of three: midnight by the old offset, if that is
 * before the change; midnight by the new one, if that is after it; else the change
 * itself, for then the clock jumped over midnight (or over the whole date, and the next
 * day starts there too). A midnight that occurs twice starts the day at its first
 * occurrence.
 *
 * Offsets with seconds ended in 1972; such a day starts at the next whole minute.
 *
 * A clock set back across midnight from some way into the new day (St John's before 2011,
 * from 00:01) repeats the old date inside the new day: calendar_date() then names the old
 * date.
 */
#include <heatbook/calendar.h>

#include "zone.h"

#include <time.h>

static struct date date_of(const struct tm *tm)
{
	return (struct date){tm->tm_year + 1900, tm->tm_mon + 1, tm->tm_mday};
}

struct date calendar_date(int64_t t_ms)
{
	struct tm tm = {0};
	time_t t = (time_t)floor_div(t_ms, 1000);
	(void)localtime_r(
		&t, &tm); /* no int64_t of milliseconds reaches a year beyond int */
	return date_of(&tm);
}

int64_t calendar_day_start(struct date date)
{
	int64_t midnight_s = day_number(date.year, date.month, date.day) * S_PER_DAY;
	struct zone_change c = zone_change_near(midnight_s);
	int64_t start_s = midnight_s - c.before_s;
	if (c.any && start_s >= c.at_s) {
		int64_t later_s = midnight_s - c.after_s;
		start_s = later_s > c.at_s ? later_s : c.at_s;
	}
	return -floor_div(-start_s, 60) * MS_PER_MIN;
}

struct date calendar_add(struct date date, int years, int months, int days)
{
	struct tm tm = {0};
	time_t t = (time_t)(S_PER_DAY * day_number((int64_t)date.year + years,
						(int64_t)date.month + months,
						(int64_t)date.day + days));
	(void)gmtime_r(&t, &tm); /* fails only for years beyond int */
	return date_of(&tm);
}

struct date calendar_season(struct date date, struct month_day start)
{
	bool before = date.month < start.month ||
		      (date.month == start.month && date.day < start.day);
	return (struct date){date.year - before, start.month, start.day};
}

int calendar_weekday(struct date date)
{
	/* Day 0, 1970-01-01, was a Thursday. */
	int64_t since_monday = day_number(date.year, date.month, date.day) + 3;
	return (int)(since_monday - floor_div(since_monday, 7) * 7) + 1;
}

void calendar_date_text(struct date date, char text[static 16])
{
	(void)snprintf(text, 16, "%04d-%02d-%02d", date.year, date.month, date.day);
}
