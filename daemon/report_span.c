/*
 * Spans of the report, all of whole local days: dates (--from, --to), so far back from
 * the end of a day (--last, ISO 8601 durations as /v1/energy takes them), and days,
 * weeks, months, years and seasons of the calendar (--of): by the reduced forms of
 * ISO 8601-1, 4.3 (2026, 2026-01, 2026-W05, 2026-01-31), or by the word for the one that
 * is not over.
 */
#include "report_span.h"

#include <heatbook/calendar.h>
#include <heatbook/http.h>

#include <string.h>

enum whole { WHOLE_DAY, WHOLE_WEEK, WHOLE_MONTH, WHOLE_YEAR, WHOLE_SEASON, WHOLE_COUNT };
enum { YEAR_LEAST = 1970, YEAR_MOST = 2099 }; /* as /v1/energy takes them */

/* Of the unit's span that holds a day: its first day, and the day after its last. */
static void unit_span(enum whole unit, struct date date, struct month_day season,
	struct date *ret_first, struct date *ret_after)
{
	struct date first = date;
	int years = 0, months = 0, days = 0;
	switch (unit) {
	case WHOLE_WEEK:
		first = calendar_add(date, 0, 0, 1 - calendar_weekday(date));
		days = 7;
		break;
	case WHOLE_MONTH:
		first.day = 1;
		months = 1;
		break;
	case WHOLE_YEAR:
		first.month = first.day = 1;
		years = 1;
		break;
	case WHOLE_SEASON:
		first = calendar_season(date, season);
		years = 1;
		break;
	case WHOLE_DAY:
	case WHOLE_COUNT:
		days = 1;
	}
	*ret_first = first;
	*ret_after = calendar_add(first, years, months, days);
}

/* Is it just so: a digit for each d, and else the very letter? */
static bool has_shape(const char *text, const char *shape)
{
	for (; *shape; text++, shape++)
		if (*shape == 'd' ? *text < '0' || *text > '9' : *text != *shape)
			return false;
	return *text == '\0';
}

static int number(const char *digits, size_t count)
{
	int value = 0;
	for (size_t i = 0; i < count; i++)
		value = 10 * value + (digits[i] - '0');
	return value;
}

static bool same_date(struct date a, struct date b)
{
	return a.year == b.year && a.month == b.month && a.day == b.day;
}

/* The Monday of an ISO 8601 week: the first one holds the 4th of January, and its
 * Thursday lies in its year. */
static bool week_date(int year, int week, struct date *ret)
{
	struct date fourth = {year, 1, 4};
	struct date monday =
		calendar_add(fourth, 0, 0, 1 - calendar_weekday(fourth) + 7 * (week - 1));
	*ret = monday;
	return week >= 1 && calendar_add(monday, 0, 0, 3).year == year;
}

/* A name's unit and a day in its span; WHOLE_COUNT where it names none. */
static enum whole unit_named(
	const char *name, struct date today, struct month_day season, struct date *ret)
{
	static const char *const words[WHOLE_COUNT] = {
		"day", "week", "month", "year", "season"};
	enum whole unit = WHOLE_COUNT;
	*ret = today;
	for (int u = 0; u < WHOLE_COUNT; u++)
		if (strcmp(name, words[u]) == 0)
			return (enum whole)u;
	bool of_season = has_shape(name, "season-dddd");
	const char *year = of_season ? name + strlen("season-") : name;
	if (of_season || has_shape(name, "dddd")) {
		unit = of_season ? WHOLE_SEASON : WHOLE_YEAR;
		*ret = (struct date){number(year, 4), 1, 1};
		if (of_season)
			*ret = (struct date){ret->year, season.month, season.day};
	} else if (has_shape(name, "dddd-dd")) {
		unit = WHOLE_MONTH;
		*ret = (struct date){number(name, 4), number(name + 5, 2), 1};
	} else if (has_shape(name, "dddd-dd-dd")) {
		unit = WHOLE_DAY;
		*ret = (struct date){
			number(name, 4), number(name + 5, 2), number(name + 8, 2)};
	} else if (has_shape(name, "dddd-Wdd") &&
		   week_date(number(name, 4), number(name + 6, 2), ret)) {
		return WHOLE_WEEK;
	}
	/* 2026-02-30 is no date. */
	return unit != WHOLE_COUNT && same_date(calendar_add(*ret, 0, 0, 0), *ret)
		       ? unit
		       : WHOLE_COUNT;
}

static bool of_read(const struct verb_call *call, struct date today, int64_t *ret_from_ms,
	int64_t *ret_to_ms, char why[static 256])
{
	struct month_day season = call->config->plant.season_start;
	struct date date, first, after;
	enum whole unit = unit_named(call->of, today, season, &date);
	bool beside = call->from || call->to || call->last;
	if (beside)
		(void)snprintf(why, 256,
			"--of names a whole span: leave out --from, --to and --last");
	else if (unit == WHOLE_COUNT || date.year < YEAR_LEAST || date.year > YEAR_MOST)
		(void)snprintf(why, 256,
			"--of %.40s: must be day, week, month, season or year, or one of "
			"these by its name, such as 2026-01-31, 2026-W05, 2026-01, 2026, "
			"season-2025",
			call->of);
	else {
		unit_span(unit, date, season, &first, &after);
		*ret_from_ms = calendar_day_start(first);
		*ret_to_ms = calendar_day_start(after);
		return true;
	}
	return false;
}

static bool last_read(const struct verb_call *call, int64_t to_ms, int64_t *ret_from_ms,
	char why[static 256])
{
	if (call->from)
		(void)snprintf(why, 256,
			"--last and --from are two beginnings of one span: give one of "
			"them");
	else if (strchr(call->last, 'T') ||
		 !http_last_parse(call->last, to_ms, ret_from_ms))
		(void)snprintf(why, 256,
			"--last %.40s: must be whole days as an ISO 8601 duration, such "
			"as P7D, P1M, P1Y",
			call->last);
	else
		return true;
	return false;
}

bool report_span(const struct verb_call *call, int64_t now_ms, int64_t *ret_from_ms,
	int64_t *ret_to_ms, char why[static 256])
{
	struct date today = calendar_date(now_ms);
	int64_t to_ms = calendar_day_start(calendar_add(today, 0, 0, call->from ? 1 : 0));
	if (call->of)
		return of_read(call, today, ret_from_ms, ret_to_ms, why);
	bool dates = !call->to || verb_date(call->to, 1, &to_ms);
	int64_t from_ms = calendar_day_start(calendar_date(to_ms - 1));
	dates = dates && (!call->from || verb_date(call->from, 0, &from_ms));
	if (!dates)
		(void)snprintf(why, 256,
			"report takes --from and --to, local dates like 2026-01-31");
	if (!dates || (call->last && !last_read(call, to_ms, &from_ms, why)))
		return false;
	*ret_from_ms = from_ms;
	*ret_to_ms = to_ms;
	if (from_ms < to_ms)
		return true;
	(void)snprintf(why, 256, "--from must not lie after --to, nor after today");
	return false;
}
