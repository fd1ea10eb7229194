/*
 * Every statement of sql/: it prepares once its repeated parts are expanded, its plan
 * reads no whole table unless it says why it may, and the laws in checks.sql answer rows
 * where one is broken and nowhere else.
 *
 * Reference: the plan is that of the SQLite in use (EXPLAIN QUERY PLAN).
 */
#include "stored.h"

static const char plant[] = "[plant]\nzone = Europe/Berlin\n"
			    "[channel room_temperature]\ntopic = a/room\nextremes = yes\n"
			    "[channel valve]\ntopic = a/valve\n"
			    "[channel unit_power]\ntopic = a/unit\nunit = W\n"
			    "[channel heater_power]\ntopic = a/heater\nunit = W\n"
			    "[channel unit_register]\ntopic = a/register\nunit = kWh\n"
			    "[meter unit]\nfeeds = compressor\npower = unit_power\n"
			    "register = unit_register\n"
			    "[meter heater]\nfeeds = immersion\npower = heater_power\n"
			    "[meter supply]\nfeeds = compressor, immersion\n"
			    "register = unit_register\nless = heater\n";

/* Its one channel is also what scripts take for a new name. */
static const char small[] = "[plant]\nzone = UTC\n[channel room_temperature]\ntopic = "
			    "a/room\nextremes = yes\n";

typedef void statement_visit(struct stored *s, const char *name, const char *text,
	const char *slow, bool script);

static void each_statement(struct stored *s, statement_visit *visit)
{
	ck_assert_uint_gt(store_statement_count(), 50);
	for (size_t i = 0; i < store_statement_count(); i++) {
		const char *name, *slow;
		bool script;
		char *text = store_statement(s->store, i, &name, &slow, &script);
		visit(s, name, text, slow, script);
		free(text);
	}
}

static void expect_prepares(struct stored *s, const char *name, const char *text,
	const char *slow, bool script)
{
	sqlite3_stmt *statement = NULL;
	const char *rest = NULL;
	(void)slow;
	ck_assert_msg(!strpbrk(text, "{}$|") || strstr(text, "||"), "%s: %s", name, text);
	/* Without any channel there is none to ask for, nor without a meter that counts.
	 */
	if (script || (s->config->channel_count == 0 && strstr(text, "c_x")) ||
		strstr(text, "e_x_") || strstr(text, "g_x_"))
		return;
	int rc = sqlite3_prepare_v2(store_handle(s->store), text, -1, &statement, &rest);
	ck_assert_msg(rc == SQLITE_OK && statement, "%s: %s", name,
		sqlite3_errmsg(store_handle(s->store)));
	ck_assert_msg(rest[strspn(rest, " \n;")] == '\0',
		"%s: more than one statement: %s", name, rest);
	(void)sqlite3_finalize(statement);
}

TEST(every_statement_prepares)
{
	static const char *const texts[] = {plant, small, "[plant]\nzone = UTC\n"};
	for (size_t i = 0; i < ARRAY_LEN(texts); i++) {
		struct stored *s = stored_new(texts[i]);
		each_statement(s, expect_prepares);
		stored_free(s);
	}
}
END

	static sqlite3 *empty; /* a database that scripts run on */

static void run_script(struct stored *s, const char *name, const char *text,
	const char *slow, bool script)
{
	char *fault = NULL;
	(void)s;
	(void)slow;
	if (script)
		ck_assert_msg(sqlite3_exec(empty, text, NULL, NULL, &fault) == SQLITE_OK,
			"%s: %s", name, fault);
}

/* They stand in the order in which a file is made. */
TEST(every_script_runs_on_an_empty_database)
{
	struct stored *s = stored_new(small);
	ck_assert_int_eq(sqlite3_open(":memory:", &empty), SQLITE_OK);
	each_statement(s, run_script);
	ck_assert_int_eq(sqlite3_close(empty), SQLITE_OK);
	stored_free(s);
}
END

	/* Reading pragmas, one row of constants or what another part answered is no
	   table. */
	static bool
	is_table_scan(const char *detail)
{
	static const char *const harmless[] = {"SCAN CONSTANT ROW", "SCAN pragma_",
		"SCAN (subquery", "SCAN temp.pending_"};
	if (strncmp(detail, "SCAN ", 5) != 0)
		return false;
	for (size_t i = 0; i < ARRAY_LEN(harmless); i++)
		if (strncmp(detail, harmless[i], strlen(harmless[i])) == 0)
			return false;
	return true;
}

static void expect_good_plan(struct stored *s, const char *name, const char *text,
	const char *slow, bool script)
{
	_cleanup_(freep) char *question = xasprintf("EXPLAIN QUERY PLAN %s", text);
	sqlite3_stmt *plan = NULL;
	int rc;

	if (script || strncmp(text, "PRAGMA", 6) == 0)
		return;
	ck_assert_int_eq(
		sqlite3_prepare_v2(store_handle(s->store), question, -1, &plan, NULL),
		SQLITE_OK);
	while ((rc = sqlite3_step(plan)) == SQLITE_ROW) {
		const char *detail = (const char *)sqlite3_column_text(plan, 3);
		ck_assert_msg(slow || !is_table_scan(detail), "%s: %s", name, detail);
	}
	ck_assert_int_eq(rc, SQLITE_DONE);
	(void)sqlite3_finalize(plan);
}

TEST(no_plan_reads_a_whole_table_without_a_reason)
{
	struct stored *s = stored_new(plant);
	each_statement(s, expect_good_plan);
	stored_free(s);
}
END

/* Two days of Berlin from their first minute: heating, hot water at every eighth minute
 * with the heater on, a gap in the second day. */
#define DAY_START INT64_C(29453700) /* 2026-01-01T00:00+01:00 */
#define DAYS_END  (DAY_START + 2 * MIN_PER_DAY)

	static void
	fill(struct stored *s)
{
	ck_assert_int_eq(store_begin(s->store), 0);
	for (int64_t m = DAY_START; m < DAYS_END; m++) {
		struct made made;
		enum mode mode = m % 8 ? MODE_HEATING : MODE_HOT_WATER;
		if (m > DAY_START + 2000 && m < DAY_START + 2200)
			continue;
		made_at(&made, m);
		made_channel(&made, 0, 20, m % 3 ? 60000 : 30000);
		made_channel(&made, 2, 1500, 60000);
		made_heat(&made, mode, 200000 + (double)(m % 7));
		made_meter(&made, mode, 0, 90000);
		if (m % 8 == 0)
			made_meter(&made, mode, 1, 60000);
		ck_assert_int_eq(store_minute_add(s->store, &made.minute), 0);
	}
	ck_assert_int_eq(store_rollup(s->store, DAY_START, DAYS_END, DAYS_END), 0);
	ck_assert_int_eq(
		store_set_fact(s->store, FACT_DERIVED_UNTIL_MS, DAYS_END * MS_PER_MIN),
		0);
	ck_assert_int_eq(store_commit(s->store), 0);
}

static const struct {
	const char *breaking;
	const char *line; /* begins one of the answer's lines */
} broken_laws[] = {
	{"UPDATE energy_hours SET heat_j = heat_j + 1 WHERE hour = 490896 AND mode = 1",
		"hour 490896 differs"},
	{"UPDATE energy_hours SET e_heater_j = 1 WHERE hour = 490896 AND mode = 1",
		"hour 490896 differs"},
	{"UPDATE energy_hours SET ms = ms - 1 WHERE hour = 490897 AND mode = 2",
		"hour 490897 differs"},
	{"UPDATE energy_minutes SET heat_j = heat_j - 1 WHERE slot = 29453760 * 16 + 2",
		"hour 490896 differs"},
	{"UPDATE energy_minutes SET heat_j = heat_j - 1 WHERE slot = 29453760 * 16 + 2",
		"day 2026-01-01 differs"},
	{"DELETE FROM energy_hours WHERE hour = 490896 AND mode = 2",
		"hour 490896 is missing"},
	{"UPDATE energy_days SET e_unit_j = e_unit_j + 1 WHERE start_minute = 29453700 "
	 "AND mode = 1",
		"day 2026-01-01 differs"},
	{"DELETE FROM energy_days WHERE start_minute = 29455140 AND mode = 2",
		"day 2026-01-02 differs"},
	{"DELETE FROM days WHERE start_minute = 29453700",
		"minutes from 29453700 on belong to no day"},
	{"DELETE FROM days WHERE start_minute = 29453700",
		"energy of a day from minute 29453700 has no day"},
	{"UPDATE days SET end_minute = end_minute + 60 WHERE start_minute = 29453700",
		"day 2026-01-01 overlaps the next"},
	{"INSERT INTO energy_minutes (slot, known, ms) VALUES (29453760 * 16 + 7, 5, 1)",
		"minute 29453760 holds more than 60 s"},
	{"UPDATE energy_minutes SET heat_ms = 60001 WHERE slot = 29453760 * 16 + 2",
		"minute 29453760 knows a quantity for more than 60 s"},
	{"UPDATE energy_minutes SET e_heater_ms = 60001 WHERE slot = 29453760 * 16 + 2",
		"minute 29453760 knows a quantity for more than 60 s"},
	{"UPDATE energy_minutes SET known = 4 WHERE slot = 29453760 * 16 + 2",
		"minute 29453760 says wrongly what it knows"},
	{"UPDATE energy_minutes SET known = 23 WHERE slot = 29453760 * 16 + 2",
		NULL}, /* the bit of a meter that is not there is nobody's */
	{"UPDATE energy_minutes SET known = 3 WHERE slot = 29453760 * 16 + 2",
		"minute 29453760 says wrongly what it knows"},
	{"UPDATE energy_minutes SET e_heater_ms = 59999 WHERE slot = 29453760 * 16 + 2",
		"minute 29453760 says wrongly what it knows"},
	{"UPDATE minutes SET c_room_temperature = NULL WHERE minute = 29453760",
		"minute 29453760 has a known time"},
	{"UPDATE minutes SET c_unit_power_ms = 60000 WHERE minute = 29453760",
		"minute 29453760 has a known time"},
	{"UPDATE minutes SET c_unit_power_ms = 0 WHERE minute = 29453760",
		"minute 29453760 has a known time"},
};

static bool has_line(struct buffer *lines, const char *line)
{
	const char *at = strstr(buffer_text(lines), line);
	return at && (at == lines->data || at[-1] == '\n');
}

TEST(laws_are_silent_while_they_hold_and_speak_when_one_is_broken)
{
	struct stored *s = stored_new(plant);
	struct buffer lines = {0};
	size_t count = 0;

	ck_assert_int_eq(store_checks(s->store, &lines, &count), 0);
	ck_assert_msg(count == 0, "empty store: %s", buffer_text(&lines));
	fill(s);
	ck_assert_int_eq(store_checks(s->store, &lines, &count), 0);
	ck_assert_msg(count == 0, "%s", buffer_text(&lines));
	for (size_t i = 0; i < ARRAY_LEN(broken_laws); i++) {
		const char *line = broken_laws[i].line;
		ck_assert_int_eq(store_begin(s->store), 0);
		sql_run(s->store, broken_laws[i].breaking);
		ck_assert_int_eq(sqlite3_changes(store_handle(s->store)), 1);
		buffer_reset(&lines);
		ck_assert_int_eq(store_checks(s->store, &lines, &count), 0);
		if (line)
			ck_assert_msg(count > 0 && has_line(&lines, line), "%s: %s",
				broken_laws[i].breaking, buffer_text(&lines));
		else
			ck_assert_msg(!has_line(&lines, "minute"), "%s: %s",
				broken_laws[i].breaking, buffer_text(&lines));
		store_rollback(s->store);
	}
	buffer_reset(&lines);
	ck_assert_int_eq(store_checks(s->store, &lines, &count), 0);
	ck_assert_uint_eq(count, 0);
	buffer_release(&lines);
	stored_free(s);
}
END

TEST(at_most_twenty_lines_are_told_and_all_are_counted)
{
	struct stored *s = stored_new(plant);
	struct buffer lines = {0};
	size_t count = 0, told = 0;

	fill(s);
	sql_run(s->store, "UPDATE minutes SET c_unit_power_ms = 0 WHERE minute % 4 = 0");
	ck_assert_int_eq(store_checks(s->store, &lines, &count), 0);
	for (size_t i = 0; i < lines.length; i++)
		told += lines.data[i] == '\n';
	ck_assert_uint_eq(told, 20);
	ck_assert_uint_gt(count, 600);
	buffer_release(&lines);
	stored_free(s);
}
END

TESTS(every_statement_prepares, every_script_runs_on_an_empty_database,
	no_plan_reads_a_whole_table_without_a_reason,
	laws_are_silent_while_they_hold_and_speak_when_one_is_broken,
	at_most_twenty_lines_are_told_and_all_are_counted)
