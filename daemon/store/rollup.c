/*
 * Hours and days, summed from minutes in the transaction that changes these: nothing
 * dirty is ever left behind. Open ones are not stored; whoever asks sums them from
 * minutes.
 *
 * Local days are summed from minutes, not from hours: in zones at :30 and :45 no hour
 * ends at midnight.
 */
#include "database.h"

#include <heatbook/calendar.h>

static int hour_range(struct store *s, enum sql_id id, int64_t from, int64_t to)
{
	sqlite3_stmt *statement = store_statement_of(s, id);
	bind_int(statement, ":from_hour", from);
	bind_int(statement, ":to_hour", to);
	return store_run(s, statement);
}

static int hours(
	struct store *s, int64_t from_minute, int64_t to_minute, int64_t until_minute)
{
	int64_t from = floor_div(from_minute, 60);
	int64_t to = floor_div(to_minute + 59, 60);
	int64_t closed = floor_div(until_minute, 60);
	if (to > closed)
		to = closed;
	if (from >= to)
		return 0;
	int r = hour_range(s, SQL_ENERGY_HOURS_DROP, from, to);
	if (r == 0)
		r = hour_range(s, SQL_ENERGY_HOURS_SUM, from, to);
	if (r == 0)
		r = hour_range(s, SQL_HOURS_DROP, from, to);
	return r == 0 ? hour_range(s, SQL_HOUR_SUM, from, to) : r;
}

static int day(
	struct store *s, enum sql_id id, struct date date, int64_t start, int64_t end)
{
	char text[16];
	sqlite3_stmt *statement = store_statement_of(s, id);

	calendar_date_text(date, text);
	bind_int(statement, ":start_minute", start);
	bind_int(statement, ":end_minute", end);
	if (id == SQL_DAY_SUM)
		bind_text(statement, ":date", text);
	return store_run(s, statement);
}

static int day_range(struct store *s, enum sql_id id, int64_t from, int64_t to)
{
	sqlite3_stmt *statement = store_statement_of(s, id);
	bind_int(statement, ":from_minute", from);
	bind_int(statement, ":to_minute", to);
	return store_run(s, statement);
}

static int days(
	struct store *s, int64_t from_minute, int64_t to_minute, int64_t until_minute)
{
	struct date date = calendar_date(from_minute * MS_PER_MIN);
	int64_t start = calendar_day_start(date) / MS_PER_MIN;
	int r = 0;

	while (r == 0 && start < to_minute) {
		struct date next = calendar_add(date, 0, 0, 1);
		int64_t end = calendar_day_start(next) / MS_PER_MIN;
		if (end > until_minute)
			break;
		/* From `start` on, so that rows of a day whose bounds moved go as well.
		 */
		r = day_range(s, SQL_DAYS_DROP, start, end);
		if (r == 0)
			r = day_range(s, SQL_ENERGY_DAYS_DROP, start, end);
		if (r == 0 && start < end)
			r = day(s, SQL_DAY_SUM, date, start, end);
		if (r == 0 && start < end)
			r = day(s, SQL_ENERGY_DAY_SUM, date, start, end);
		date = next;
		start = end;
	}
	return r;
}

int store_rollup(
	struct store *s, int64_t from_minute, int64_t to_minute, int64_t until_minute)
{
	int r = hours(s, from_minute, to_minute, until_minute);
	return r != 0 ? r : days(s, from_minute, to_minute, until_minute);
}
