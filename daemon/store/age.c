/*
 * What is taken off for its age: live chunks, and minutes whose hours and days stay.
 *
 * A UTC day that loses records keeps its rows for good: they are the truth then, as those
 * of a day with a damaged chunk are. Imports have no age: they go by name. What an unsure
 * clock stamped before 2000 has none either.
 *
 * Pages that this frees are used again; the file does not shrink, and stops growing.
 */
#include "database.h"

#include <heatbook/age.h>
#include <heatbook/calendar.h>

#include <errno.h>

struct past {
	int64_t id, first_ms, last_ms, bytes;
};

static int list_past(struct store *s, int64_t before_ms, struct past *list, size_t most,
	size_t *ret_count)
{
	sqlite3_stmt *past = store_statement_of(s, SQL_CHUNKS_PAST);
	size_t count = 0;
	int rc = SQLITE_DONE;

	if (!past)
		return s->unprepared;
	bind_int(past, ":before_ms", before_ms);
	bind_int(past, ":most", (int64_t)most);
	while (count < most && (rc = sqlite3_step(past)) == SQLITE_ROW)
		list[count++] = (struct past){sqlite3_column_int64(past, 0),
			sqlite3_column_int64(past, 1), sqlite3_column_int64(past, 2),
			sqlite3_column_int64(past, 3)};
	(void)sqlite3_reset(past);
	*ret_count = count;
	return rc == SQLITE_DONE || rc == SQLITE_ROW ? 0 : store_failed(s, rc, "ages");
}

static int drop_past(struct store *s, const struct past *p, int64_t until_minute)
{
	sqlite3_stmt *age = store_statement_of(s, SQL_AGE_DAYS);
	bind_int(age, ":first_ms", p->first_ms);
	bind_int(age, ":last_ms", p->last_ms);
	bind_int(age, ":until_minute", until_minute);
	int r = store_run(s, age);
	sqlite3_stmt *drop = store_statement_of(s, SQL_CHUNK_DROP);
	bind_int(drop, ":id", p->id);
	if (r == 0)
		r = store_run(s, drop);
	return r == 0 ? store_add_fact(s, FACT_JOURNAL_BYTES, -p->bytes) : r;
}

static int take_journal(struct store *s, int64_t before_ms, struct aged *ret)
{
	struct past list[AGE_CHUNKS_A_TURN];
	struct aged aged = {0};
	int64_t until_ms = 0;
	size_t count = 0;
	int r = list_past(s, before_ms, list, AGE_CHUNKS_A_TURN, &count);

	if (r == 0 && count == 0)
		return STORE_CLEAN;
	if (r == 0)
		r = store_fact(s, FACT_DERIVED_UNTIL_MS, &until_ms);
	for (size_t i = 0; r == 0 && i < count; i++) {
		r = drop_past(s, &list[i], until_ms / MS_PER_MIN);
		aged.chunks++;
		aged.bytes += list[i].bytes;
		if (list[i].last_ms >= aged.until_ms)
			aged.until_ms = list[i].last_ms + 1;
	}
	if (r == 0)
		*ret = aged;
	return r;
}

static int mark_minutes(struct store *s, int64_t from, int64_t to)
{
	int r = 0;
	for (int64_t day = floor_div(from, MIN_PER_DAY); r == 0 && day * MIN_PER_DAY < to;
		day++) {
		int64_t end = (day + 1) * MIN_PER_DAY;
		sqlite3_stmt *age = store_statement_of(s, SQL_AGE_MINUTES);
		bind_int(age, ":day", day);
		bind_int(age, ":until_minute", end < to ? end : to);
		r = store_run(s, age);
	}
	return r;
}

/* What is worked out of minutes and stays comes first: whoever has time makes it. */
static int wait_for_runs(struct store *s, int64_t from, int64_t to)
{
	sqlite3_stmt *count = store_statement_of(s, SQL_AGE_WAITS);
	int64_t waiting = 0;
	bind_int(count, ":from_minute", from);
	bind_int(count, ":to_minute", to);
	int r = store_scalar(s, count, &waiting);
	return r == 0 && waiting ? STORE_CLEAN : r;
}

/* The first local day that has minutes; only where its sums and its runs are stored. */
static int take_minutes(struct store *s, int64_t before_ms, struct aged *ret)
{
	int64_t until_ms = 0, first = 0;
	int r = store_fact(s, FACT_DERIVED_UNTIL_MS, &until_ms);
	if (r == 0)
		r = store_first_row(s, &first);
	if (r == STORE_NONE)
		return STORE_CLEAN;
	struct date date = calendar_date(first * MS_PER_MIN);
	int64_t end_ms = calendar_day_start(calendar_add(date, 0, 0, 1));
	if (r == 0 && (end_ms > before_ms || end_ms > until_ms))
		return STORE_CLEAN;
	int64_t from = calendar_day_start(date) / MS_PER_MIN, to = end_ms / MS_PER_MIN;
	if (r == 0)
		r = wait_for_runs(s, from, to);
	if (r == 0)
		r = store_minutes_drop(s, from, to);
	if (r == 0)
		r = mark_minutes(s, from, to);
	if (r == 0)
		r = store_bump_version(s);
	if (r == 0)
		*ret = (struct aged){.days = 1, .until_ms = end_ms};
	return r;
}

typedef int taking(struct store *s, int64_t before_ms, struct aged *ret);

static int in_turn(struct store *s, taking *take, int64_t before_ms, struct aged *ret)
{
	int r = store_begin(s);
	if (r == 0)
		r = take(s, before_ms, ret);
	if (r == 0)
		r = store_commit(s);
	if (r != 0)
		store_rollback(s);
	return r;
}

int store_age_journal(struct store *s, int64_t before_ms, struct aged *ret)
{
	return in_turn(s, take_journal, before_ms, ret);
}

int store_age_minutes(struct store *s, int64_t before_ms, struct aged *ret)
{
	return in_turn(s, take_minutes, before_ms, ret);
}

int store_minutes_gone(struct store *s, int64_t from_minute, int64_t to_minute, bool *ret)
{
	int64_t count = 0;
	sqlite3_stmt *any = store_statement_of(s, SQL_AGED_ANY);
	bind_int(any, ":from_day", floor_div(from_minute, MIN_PER_DAY));
	bind_int(any, ":to_day", floor_div(to_minute, MIN_PER_DAY));
	int r = store_scalar(s, any, &count);
	*ret = count > 0;
	return r;
}

int store_minutes_gone_until(struct store *s, int64_t minute, int64_t *ret)
{
	sqlite3_stmt *get = store_statement_of(s, SQL_AGED_MINUTES);
	bind_int(get, ":day", floor_div(minute, MIN_PER_DAY));
	int r = store_scalar(s, get, ret);
	if (r == STORE_NONE)
		*ret = 0;
	return r == STORE_NONE ? 0 : r;
}
