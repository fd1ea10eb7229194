/*
 * The file: a fresh one, one of a newer schema, one that is none; columns and bits as the
 * configuration changes; facts and transactions; minute rows; and what a reader sees.
 *
 * Reference: store.h's contract.
 */
#include "stored.h"

#include <heatbook/query.h>

#define ROOM "[channel room_temperature]\ntopic = a/room\n"
#define FLOW "[channel flow_temperature]\ntopic = a/flow\n"
#define UNIT                                                                             \
	"[channel unit_power]\ntopic = a/unit\nunit = W\n"                               \
	"[meter unit]\nfeeds = compressor\npower = unit_power\n"
#define HEATER                                                                           \
	"[channel heater_power]\ntopic = a/heater\nunit = W\n"                           \
	"[meter heater]\nfeeds = immersion\npower = heater_power\n"
#define PLANT "[plant]\nzone = Europe/Berlin\n"

#define FIRST INT64_C(29453700) /* 2026-01-01T00:00+01:00 */

static int64_t fact(struct store *store, enum store_fact which)
{
	int64_t value = -1;
	ck_assert_int_eq(store_fact(store, which, &value), 0);
	return value;
}

TEST(a_fresh_store_holds_nothing)
{
	struct stored *s = stored_new(PLANT ROOM);
	int64_t first, last, from, to, day;
	struct buffer buffer = {0};
	struct chunk_ref *refs;
	size_t count = 9;
	bool empty = false;

	ck_assert_int_eq(store_schema(s->store), 10);
	ck_assert_int_eq(
		sql_number(s->store, "PRAGMA user_version"), store_schema(s->store));
	ck_assert_int_eq(fact(s->store, FACT_VERSION), 1);
	ck_assert_int_eq(fact(s->store, FACT_COMMITTED_SEQUENCE), 0);
	ck_assert_int_eq(fact(s->store, FACT_DERIVED_UNTIL_MS), 0);
	ck_assert_int_eq(fact(s->store, FACT_JOURNAL_BYTES), 0);
	ck_assert_int_eq(
		fact(s->store, FACT_ZONE_DIGEST), (int64_t)calendar_zone_digest());
	ck_assert_int_eq(store_minute_span(s->store, &first, &last), STORE_NONE);
	ck_assert_int_eq(store_journal_span(s->store, &first, &last), STORE_NONE);
	ck_assert_int_eq(store_journal_empty(s->store, &empty), 0);
	ck_assert(empty);
	ck_assert_int_eq(store_dirty_next(s->store, &from, &to), STORE_CLEAN);
	ck_assert_int_eq(store_dirty_days(s->store, &day), 0);
	ck_assert_int_eq(day, 0);
	ck_assert_int_eq(
		store_checkpoint_before(s->store, INT64_MAX, &day, &buffer), STORE_NONE);
	ck_assert_int_eq(store_checkpoint_after(s->store, 0, &day, &buffer), STORE_NONE);
	ck_assert_int_eq(store_chunks(s->store, 0, INT64_MAX, &refs, &count), 0);
	ck_assert_uint_eq(count, 0);
	ck_assert_int_gt(store_bytes(s->store), 4096);
	free(refs);
	stored_free(s);
}
END

TEST(a_store_has_the_pragmas_of_a_long_life)
{
	struct stored *s = stored_new(PLANT ROOM);
	sqlite3_stmt *mode = NULL;
	ck_assert_int_eq(sql_number(s->store, "PRAGMA page_size"), 4096);
	ck_assert_int_eq(sql_number(s->store, "PRAGMA synchronous"), 2);
	ck_assert_int_eq(sql_number(s->store, "PRAGMA wal_autocheckpoint"), 250);
	ck_assert_int_eq(sql_number(s->store, "PRAGMA trusted_schema"), 0);
	ck_assert_int_eq(sql_number(s->store, "PRAGMA foreign_keys"), 1);
	ck_assert_int_eq(sqlite3_prepare_v2(store_handle(s->store), "PRAGMA journal_mode",
				 -1, &mode, NULL),
		SQLITE_OK);
	ck_assert_int_eq(sqlite3_step(mode), SQLITE_ROW);
	ck_assert_str_eq((const char *)sqlite3_column_text(mode, 0), "wal");
	ck_assert_int_eq(sqlite3_finalize(mode), SQLITE_OK);
	stored_free(s);
}
END

	static struct buffer
	content(const char *path)
{
	struct buffer bytes = {0};
	char block[4096];
	size_t n;
	FILE *f = fopen(path, "re");
	ck_assert_msg(f != NULL, "%s: %s", path, strerror(errno));
	while ((n = fread(block, 1, sizeof(block), f)) > 0)
		buffer_add(&bytes, block, n);
	ck_assert_int_eq(fclose(f), 0);
	return bytes;
}

/* Opening answers STORE_REFUSED, says each of the words, and leaves the bytes alone. */
static void expect_refused(struct config *config, enum store_mode mode,
	const char *const words[], size_t count)
{
	char why[256] = "";
	struct store *store = NULL;
	struct buffer before = content(config->store.file);

	ck_assert_int_eq(store_open(config, mode, &store, why), STORE_REFUSED);
	ck_assert_ptr_null(store);
	for (size_t i = 0; i < count; i++)
		ck_assert_msg(
			strstr(why, words[i]) != NULL, "'%s' has no '%s'", why, words[i]);
	struct buffer after = content(config->store.file);
	bool same = after.length == before.length &&
		    (before.length == 0 ||
			    memcmp(after.data, before.data, before.length) == 0);
	ck_assert(same);
	buffer_release(&before);
	buffer_release(&after);
}

TEST(a_newer_schema_is_refused_untouched)
{
	static const char *const words[] = {"newer", "99", "not touched"};
	struct stored *s = stored_new(PLANT ROOM);
	sql_run(s->store, "PRAGMA user_version = 99");
	store_close(s->store);
	s->store = NULL;
	expect_refused(s->config, STORE_WRITE, words, ARRAY_LEN(words));
	expect_refused(s->config, STORE_READ, words, ARRAY_LEN(words));
	stored_free(s);
}
END

TEST(what_is_no_database_is_refused_untouched)
{
	static const char *const words[] = {
		"test.db", "not a heatbook store", "name another"};
	struct stored s = {.directory = new_directory()};
	struct buffer junk = {0};

	s.config = configured_in(s.directory, PLANT ROOM);
	for (int i = 0; i < 1000; i++)
		buffer_add_text(&junk, "This is a diary, not a store.\n");
	write_file(s.config->store.file, buffer_text(&junk));
	expect_refused(s.config, STORE_WRITE, words, ARRAY_LEN(words));
	expect_refused(s.config, STORE_READ, words, ARRAY_LEN(words));
	buffer_release(&junk);
	stored_close(&s);
	remove_directory(s.directory);
}
END

TEST(another_programs_database_is_refused_untouched)
{
	static const char *const words[] = {"another program's", "name another file"};
	static const char *const contents[] = {"CREATE TABLE books (title TEXT)",
		"CREATE TABLE books (title TEXT); PRAGMA user_version = 1",
		"CREATE TABLE facts (title TEXT); PRAGMA user_version = 99"};
	for (size_t i = 0; i < ARRAY_LEN(contents); i++) {
		struct stored s = {.directory = new_directory()};
		sqlite3 *db = NULL;
		s.config = configured_in(s.directory, PLANT ROOM);
		ck_assert_int_eq(sqlite3_open(s.config->store.file, &db), SQLITE_OK);
		ck_assert_int_eq(
			sqlite3_exec(db, contents[i], NULL, NULL, NULL), SQLITE_OK);
		ck_assert_int_eq(sqlite3_close(db), SQLITE_OK);
		expect_refused(s.config, STORE_WRITE, words, ARRAY_LEN(words));
		stored_close(&s);
		remove_directory(s.directory);
	}
}
END

TEST(a_missing_directory_is_named)
{
	struct config *config =
		configured(PLANT ROOM "[store]\nfile = /nonexistent/for/sure/test.db\n");
	struct store *store = NULL;
	char why[256] = "";
	ck_assert_int_eq(store_open(config, STORE_WRITE, &store, why), STORE_REFUSED);
	ck_assert_msg(strstr(why, "/nonexistent/for/sure/test.db"), "%s", why);
	ck_assert_int_eq(store_open(config, STORE_READ, &store, why), STORE_REFUSED);
	config_free(config);
}
END

TEST(a_reader_makes_no_file)
{
	struct stored s = {.directory = new_directory()};
	struct store *store = NULL;
	struct stat st;
	char why[256] = "";
	s.config = configured_in(s.directory, PLANT ROOM);
	ck_assert_int_eq(store_open(s.config, STORE_READ, &store, why), STORE_REFUSED);
	ck_assert_int_lt(stat(s.config->store.file, &st), 0);
	stored_close(&s);
	remove_directory(s.directory);
}
END

TEST(a_column_never_changes_its_dimension)
{
	static const struct {
		const char *before, *after;
		const char *words[3];
	} rows[] = {
		{"[channel gauge]\ntopic = a/b\nunit = °C\n",
			"[channel gauge]\ntopic = a/b\nunit = bar\n",
			{"gauge", "bar", "another name"}},
		{"[channel gauge]\ntopic = a/b\nunit = W\n",
			"[channel gauge]\ntopic = a/b\nmap = 0:low, 1:high\n",
			{"gauge", "states", "another name"}},
		{"[channel gauge]\ntopic = a/b\nmap = 0:low, 1:high\n",
			"[channel gauge]\ntopic = a/b\n",
			{"gauge", "plain numbers", "another name"}},
	};
	for (size_t i = 0; i < ARRAY_LEN(rows); i++) {
		_cleanup_(freep) char *before = xasprintf("%s%s", PLANT, rows[i].before);
		_cleanup_(freep) char *after = xasprintf("%s%s", PLANT, rows[i].after);
		struct stored *s = stored_new(before);
		stored_close(s);
		s->config = configured_in(s->directory, after);
		expect_refused(s->config, STORE_WRITE, rows[i].words, 3);
		expect_refused(s->config, STORE_READ, rows[i].words, 3);
		stored_free(s);
	}
}
END

TEST(another_unit_of_the_same_dimension_is_the_same_column)
{
	struct stored *s = stored_new(PLANT "[channel power]\ntopic = a/b\nunit = W\n");
	stored_reopen(
		s, PLANT "[channel power]\ntopic = a/c\nunit = kW\nextremes = yes\n");
	ck_assert_int_eq(
		sql_number(s->store, "SELECT count(c_power_most) FROM hours"), 0);
	stored_free(s);
}
END

	static void
	put_minute(struct store *store, int64_t minute, double room_c, int64_t known_ms)
{
	struct made made;
	made_at(&made, minute);
	made_channel(&made, 0, room_c, known_ms);
	ck_assert_int_eq(store_minute_add(store, &made.minute), 0);
}

TEST(a_new_channels_columns_keep_old_rows)
{
	struct stored *s = stored_new(PLANT ROOM);
	put_minute(s->store, FIRST, 21.234, 60000);
	stored_reopen(s, PLANT FLOW ROOM); /* in another order, too */
	struct made made;
	made_at(&made, FIRST + 1);
	made_channel(&made, 0, 35.5, 60000);
	made_channel(&made, 1, 21.3, 20000);
	ck_assert_int_eq(store_minute_add(s->store, &made.minute), 0);
#define OF(minute, column)                                                               \
	sql_number(s->store, "SELECT " column " FROM minutes WHERE minute = " minute)
	ck_assert_int_eq(OF("29453700", "c_room_temperature"), 2123);
	ck_assert_int_eq(OF("29453700", "c_room_temperature_ms"), SQL_NULL);
	ck_assert_int_eq(OF("29453700", "c_flow_temperature"), SQL_NULL);
	ck_assert_int_eq(OF("29453701", "c_room_temperature"), 2130);
	ck_assert_int_eq(OF("29453701", "c_room_temperature_ms"), 20000);
	ck_assert_int_eq(OF("29453701", "c_flow_temperature"), 3550);
	/* One that is configured no longer keeps its rows as well. */
	stored_reopen(s, PLANT FLOW);
	ck_assert_int_eq(OF("29453701", "c_room_temperature"), 2130);
#undef OF
	stored_free(s);
}
END

	static int64_t
	known_of(struct stored *s, int64_t minute, unsigned known)
{
	struct made made;
	made_at(&made, minute);
	made.modes[MODE_HEATING] = (struct minute_mode){.seen = true, .ms = MS_PER_MIN};
	made.minute.known = known;
	ck_assert_int_eq(store_minute_add(s->store, &made.minute), 0);
	long long slot = minute * 16 + MODE_HEATING;
	_cleanup_(freep) char *sql =
		xasprintf("SELECT known FROM energy_minutes WHERE slot = %lld", slot);
	return sql_number(s->store, sql);
}

TEST(a_meter_keeps_its_bit_wherever_it_stands)
{
	struct stored *s = stored_new(PLANT HEATER);
	ck_assert_int_eq(known_of(s, FIRST, KNOWN_METER(0)), 2);
	stored_reopen(
		s, PLANT UNIT HEATER); /* the unit comes first, its bit is the next */
	ck_assert_int_eq(known_of(s, FIRST + 1, KNOWN_METER(1)), 2);
	ck_assert_int_eq(known_of(s, FIRST + 2, KNOWN_METER(0)), 4);
	ck_assert_int_eq(known_of(s, FIRST + 3, KNOWN_HEAT | KNOWN_METER(0)), 5);
	stored_reopen(s, PLANT UNIT);
	ck_assert_int_eq(known_of(s, FIRST + 4, KNOWN_METER(0)), 4);
	stored_free(s);
}
END

	/* Heat and the heater known, the unit not. */
	static void
	put_half_known(struct store *store)
{
	struct made made;
	made_at(&made, FIRST);
	made_channel(&made, 0, 900, 60000);
	made_heat(&made, MODE_HEATING, 200000);
	made_meter(&made, MODE_HEATING, 1, 1000);
	ck_assert_int_eq(store_minute_add(store, &made.minute), 0);
	made_at(&made, FIRST + 1);
	made_channel(&made, 0, 900, 60000);
	made_heat(&made, MODE_HEATING, 200000);
	made_meter(&made, MODE_HEATING, 0, 50000);
	made_meter(&made, MODE_HEATING, 1, 1000);
	ck_assert_int_eq(store_minute_add(store, &made.minute), 0);
}

TEST(a_reader_pairs_like_the_writer)
{
	struct stored *s = stored_new(PLANT UNIT HEATER);
	const int64_t edges[] = {FIRST * MS_PER_MIN, (FIRST + 2) * MS_PER_MIN};
	static struct energy_answer answer;
	struct boundary boundary;
	struct store *reader = NULL;
	char why[256];

	put_half_known(s->store);
	ck_assert_int_eq(store_open(s->config, STORE_READ, &reader, why), 0);
	ck_assert_int_eq(boundary_find(s->config, "H2", &boundary, why), 0);
	struct store *both[] = {s->store, reader};
	for (size_t i = 0; i < 2; i++) {
		ck_assert_int_eq(query_energy(both[i], edges, 1, &boundary, &answer), 0);
		const struct energy_sum *sum = &answer.total.modes[MODE_HEATING];
		ck_assert_int_eq(sum->heat_j, 400000);
		ck_assert_int_eq(sum->paired_heat_j, 200000);
		ck_assert_int_eq(sum->paired_electricity_j, 50000);
		ck_assert_int_eq(sum->paired_ms, 60000);
		energy_answer_release(&answer);
	}
	store_close(reader);
	stored_free(s);
}
END

TEST(a_reader_that_is_ahead_of_the_store_is_told_so)
{
	static const struct {
		const char *text;
		const char *words[2];
	} rows[] = {{PLANT ROOM FLOW, {"channel flow_temperature", "start the daemon"}},
		{PLANT ROOM "extremes = yes\n",
			{"extremes of channel room_temperature", "start the daemon"}},
		{PLANT ROOM "[meter all]\nfeeds = compressor\npower = unit_power\n"
			    "[channel unit_power]\ntopic = a/b\nunit = W\n",
			{"unit_power", "start the daemon"}}};
	struct stored *s = stored_new(PLANT ROOM);
	for (size_t i = 0; i < ARRAY_LEN(rows); i++) {
		stored_close(s);
		s->config = configured_in(s->directory, rows[i].text);
		expect_refused(s->config, STORE_READ, rows[i].words, 2);
	}
	stored_free(s);
}
END

TEST(a_reader_sees_what_was_committed)
{
	struct stored *s = stored_new(PLANT ROOM);
	struct store *reader = NULL;
	int64_t first = 0, last = 0, version, again;
	char why[256];

	put_minute(s->store, FIRST, 20, 60000);
	ck_assert_int_eq(store_open(s->config, STORE_READ, &reader, why), 0);
	ck_assert_int_eq(store_outside_version(reader, &version), 0);
	ck_assert_int_eq(store_begin(s->store), 0);
	put_minute(s->store, FIRST + 1, 20, 60000);
	ck_assert_int_eq(store_minute_span(reader, &first, &last), 0);
	ck_assert_int_eq(last, FIRST);
	ck_assert_int_eq(store_outside_version(reader, &again), 0);
	ck_assert_int_eq(again, version);
	ck_assert_int_eq(store_commit(s->store), 0);
	ck_assert_int_eq(store_minute_span(reader, &first, &last), 0);
	ck_assert_int_eq(first, FIRST);
	ck_assert_int_eq(last, FIRST + 1);
	ck_assert_int_eq(store_outside_version(reader, &again), 0);
	ck_assert_int_ne(again, version);
	store_close(reader);
	stored_free(s);
}
END

/* A daemon with the former configuration beside an import with the new one. */
TEST(columns_added_by_another_process_stop_no_writer)
{
	struct stored *s = stored_new(PLANT ROOM);
	struct config *newer = configured_in(s->directory, PLANT FLOW ROOM UNIT);
	struct store *other = NULL;
	struct made made;
	char why[256];

	made_at(&made, FIRST);
	made_channel(&made, 0, 21, 60000);
	made_heat(&made, MODE_HEATING, 1000);
	ck_assert_int_eq(store_pending_add(s->store, &made.minute), 0);
	ck_assert_int_eq(store_open(newer, STORE_WRITE, &other, why), 0);
	ck_assert_int_eq(store_begin(s->store), 0);
	ck_assert_int_eq(store_pending_move(s->store), 0);
	ck_assert_int_eq(store_commit(s->store), 0);
	ck_assert_int_eq(
		sql_number(other, "SELECT c_room_temperature FROM minutes"), 2100);
	ck_assert_int_eq(sql_number(other, "SELECT heat_j FROM energy_minutes"), 1000);
	store_close(other);
	config_free(newer);
	stored_free(s);
}
END

TEST(two_writers_take_turns)
{
	struct stored *s = stored_new(PLANT ROOM);
	struct store *other = NULL;
	char why[256];
	ck_assert_int_eq(store_open(s->config, STORE_WRITE, &other, why), 0);
	for (int i = 0; i < 3; i++) {
		struct store *turn = i % 2 ? other : s->store;
		ck_assert_int_eq(store_begin(turn), 0);
		put_minute(turn, FIRST + i, 20, 60000);
		ck_assert_int_eq(store_commit(turn), 0);
	}
	ck_assert_int_eq(store_begin(s->store), 0);
	ck_assert_int_eq(sqlite3_busy_timeout(store_handle(other), 1), SQLITE_OK);
	ck_assert_int_eq(store_begin(other), STORE_BUSY);
	ck_assert_msg(strstr(store_error(other), "locked"), "%s", store_error(other));
	store_rollback(s->store);
	ck_assert_int_eq(store_begin(other), 0);
	store_rollback(other);
	store_rollback(other); /* also when there is none */
	store_close(other);
	stored_free(s);
}
END

TEST(the_thirty_first_meter_is_refused_in_words)
{
	static const char *const words[] = {
		"meter meter_31", "30 meters", "no longer used", "new store"};
	struct stored *s = stored_new(PLANT);
	for (int i = 1; i <= 31; i++) {
		_cleanup_(freep) char *text = xasprintf(PLANT
			"[channel power]\ntopic = a/b\nunit = W\n"
			"[meter meter_%d]\nfeeds = compressor\npower = power\n",
			i);
		if (i <= 30) {
			stored_reopen(s, text);
			continue;
		}
		stored_close(s);
		s->config = configured_in(s->directory, text);
		expect_refused(s->config, STORE_WRITE, words, ARRAY_LEN(words));
	}
	stored_free(s);
}
END

TEST(facts_are_kept_and_the_version_grows)
{
	struct stored *s = stored_new(PLANT ROOM);
	ck_assert_int_eq(store_set_fact(s->store, FACT_COMMITTED_SEQUENCE, INT64_MAX), 0);
	ck_assert_int_eq(store_bump_version(s->store), 0);
	ck_assert_int_eq(store_begin(s->store), 0);
	ck_assert_int_eq(store_bump_version(s->store), 0);
	store_rollback(s->store);
	stored_reopen(s, PLANT ROOM);
	ck_assert_int_eq(fact(s->store, FACT_COMMITTED_SEQUENCE), INT64_MAX);
	ck_assert_int_eq(fact(s->store, FACT_VERSION), 2);
	stored_free(s);
}
END

TEST(pending_minutes_are_seen_by_queries_and_moved_once)
{
	struct stored *s = stored_new(PLANT ROOM);
	const int64_t edges[] = {FIRST * MS_PER_MIN, (FIRST + 2) * MS_PER_MIN};
	const int channel = 0;
	struct series_answer answer;
	struct made made;

	for (int64_t m = 0; m < 2; m++) {
		made_at(&made, FIRST + m);
		made_channel(&made, 0, 20 + (double)m, 60000);
		made_heat(&made, MODE_HEATING, 1000);
		ck_assert_int_eq(store_pending_add(s->store, &made.minute), 0);
	}
	for (int i = 0; i < 2; i++) {
		ck_assert_int_eq(
			query_series(s->store, edges, 1, &channel, 1, &answer), 0);
		ck_assert_double_eq(answer.columns[0].mean[0], 20.5);
		ck_assert_double_eq(answer.columns[0].observed_s[0], 120);
		series_answer_release(&answer);
		ck_assert_int_eq(
			sql_number(s->store, "SELECT count(*) FROM minutes"), 2 * i);
		ck_assert_int_eq(store_begin(s->store), 0);
		ck_assert_int_eq(store_pending_move(s->store), 0);
		ck_assert_int_eq(store_commit(s->store), 0);
	}
	ck_assert_int_eq(store_pending_add(s->store, &made.minute), 0);
	ck_assert_int_eq(store_pending_clear(s->store), 0);
	ck_assert_int_eq(sql_number(s->store, "SELECT count(*) FROM all_minutes"), 2);
	ck_assert_int_eq(
		sql_number(s->store, "SELECT count(*) FROM all_energy_minutes"), 2);
	stored_free(s);
}
END

TEST(dropped_minutes_take_their_energy_along)
{
	struct stored *s = stored_new(PLANT ROOM);
	struct made made;
	for (int64_t m = 0; m < 10; m++) {
		made_at(&made, FIRST + m);
		made_channel(&made, 0, 20, 60000);
		made_heat(&made, MODE_STANDBY, 0);
		ck_assert_int_eq(store_minute_add(s->store, &made.minute), 0);
	}
	ck_assert_int_eq(store_minutes_drop(s->store, FIRST + 3, FIRST + 7), 0);
	ck_assert_int_eq(sql_number(s->store, "SELECT count(*) FROM minutes"), 6);
	ck_assert_int_eq(sql_number(s->store, "SELECT count(*) FROM energy_minutes"), 6);
	ck_assert_int_eq(sql_number(s->store, "SELECT max(slot / 16) FROM energy_minutes "
					      "WHERE slot / 16 < 29453707"),
		FIRST + 2);
	stored_free(s);
}
END

/* A row of nothing is no row; a row of parts keeps their times. */
TEST(what_is_unknown_is_null)
{
	struct stored *s = stored_new(PLANT ROOM UNIT);
	struct made made;
	made_at(&made, FIRST);
	ck_assert_int_eq(store_minute_add(s->store, &made.minute), 0);
	ck_assert_int_eq(sql_number(s->store, "SELECT count(*) FROM minutes"), 0);
	made_channel(&made, 1, -3.5, 1); /* unit_power, W */
	made.modes[MODE_STANDBY] = (struct minute_mode){.seen = true,
		.ms = 1,
		.meter_seen = 1,
		.meter_ms[0] = 1,
		.meter_j[0] = -0.6};
	ck_assert_int_eq(store_minute_add(s->store, &made.minute), 0);
	ck_assert_int_eq(
		sql_number(s->store, "SELECT c_room_temperature FROM minutes"), SQL_NULL);
	ck_assert_int_eq(sql_number(s->store, "SELECT c_unit_power FROM minutes"), -4);
	ck_assert_int_eq(sql_number(s->store, "SELECT c_unit_power_ms FROM minutes"), 1);
	ck_assert_int_eq(sql_number(s->store, "SELECT ms FROM energy_minutes"), 1);
	ck_assert_int_eq(
		sql_number(s->store, "SELECT heat_j FROM energy_minutes"), SQL_NULL);
	ck_assert_int_eq(
		sql_number(s->store, "SELECT heat_ms FROM energy_minutes"), SQL_NULL);
	ck_assert_int_eq(sql_number(s->store, "SELECT e_unit_j FROM energy_minutes"), -1);
	ck_assert_int_eq(sql_number(s->store, "SELECT e_unit_ms FROM energy_minutes"), 1);
	stored_free(s);
}
END

TESTS(a_fresh_store_holds_nothing, a_store_has_the_pragmas_of_a_long_life,
	a_newer_schema_is_refused_untouched, what_is_no_database_is_refused_untouched,
	another_programs_database_is_refused_untouched, a_missing_directory_is_named,
	a_reader_makes_no_file, a_column_never_changes_its_dimension,
	another_unit_of_the_same_dimension_is_the_same_column,
	a_new_channels_columns_keep_old_rows, a_meter_keeps_its_bit_wherever_it_stands,
	a_reader_pairs_like_the_writer, a_reader_that_is_ahead_of_the_store_is_told_so,
	a_reader_sees_what_was_committed, columns_added_by_another_process_stop_no_writer,
	two_writers_take_turns, the_thirty_first_meter_is_refused_in_words, facts_are_kept_and_the_version_grows,
	pending_minutes_are_seen_by_queries_and_moved_once,
	dropped_minutes_take_their_energy_along, what_is_unknown_is_null)
