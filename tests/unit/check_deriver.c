/*
 * Journal into rows, a day a step: what is derived, how far late data reach, what is left
 * alone, and who may derive.
 *
 * Reference: deriver.h's contract. That all doors give the same rows is a property of its
 * own (tests/property).
 */
#include "filed.h"

#include <heatbook/calendar.h>
#include <heatbook/query.h>

/* A value holds until the next one, for ever; another for 15 min. */
#define PLANT                                                                            \
	"[plant]\nzone = UTC\n"                                                          \
	"[source a]\ntopics = a/#\nsilent_after = none\n"                                \
	"[channel outdoor_temperature]\ntopic = a/outdoor\nstale_after = none\n"         \
	"[source b]\ntopics = b/#\n"                                                     \
	"[channel room_temperature]\ntopic = b/room\n"

#define AT(day, seconds)    ((DAY + (day)) * MS_PER_DAY + (seconds)*1000)
#define MINUTE(day, minute) ((DAY + (day)) * MIN_PER_DAY + (minute))

static int64_t minutes_of(struct filed *f, int64_t day)
{
	_cleanup_(freep) char *sql = xasprintf(
		"SELECT count(*) FROM minutes WHERE minute >= %lld AND minute < %lld",
		(long long)MINUTE(day, 0), (long long)MINUTE(day + 1, 0));
	return sql_number(f->store, sql);
}

static int64_t value_at(struct filed *f, const char *column, int64_t minute)
{
	_cleanup_(freep) char *sql = xasprintf(
		"SELECT %s FROM minutes WHERE minute = %lld", column, (long long)minute);
	return sql_number(f->store, sql);
}

static int64_t outdoor_at(struct filed *f, int64_t minute)
{
	return value_at(f, "c_outdoor_temperature", minute);
}

/* A row that no derivation would write. */
static void mark(struct filed *f, int64_t minute)
{
	_cleanup_(freep) char *sql = xasprintf(
		"UPDATE minutes SET c_outdoor_temperature = -9999 WHERE minute = %lld",
		(long long)minute);
	sql_run(f->store, sql);
	ck_assert_int_eq(sqlite3_changes(store_handle(f->store)), 1);
}

static bool marked(struct filed *f, int64_t minute)
{
	return outdoor_at(f, minute) == -9999;
}

static void expect_laws(struct filed *f)
{
	struct buffer lines = {0};
	size_t count = 0;
	ck_assert_int_eq(store_checks(f->store, &lines, &count), 0);
	ck_assert_msg(count == 0, "%s", buffer_text(&lines));
	buffer_release(&lines);
}

TEST(a_day_is_derived_whole)
{
	struct filed f = filed_new(PLANT);
	file_message(&f, AT(0, 3600), "b/room", "20");
	file_message(&f, AT(0, 3630), "b/room", "22");
	ck_assert_int_eq(derive_until(&f, MINUTE(2, 0)), 1);
	ck_assert_int_eq(deriver_day(f.deriver), DAY);
	ck_assert_uint_eq(deriver_readings(f.deriver), 4); /* two signs of life */
	ck_assert_int_eq(minutes_of(&f, 0), 11); /* its source is silent after 10 min */
	ck_assert_int_eq(value_at(&f, "c_room_temperature", MINUTE(0, 60)), 2100);
	ck_assert_int_eq(value_at(&f, "c_room_temperature", MINUTE(0, 69)), 2200);
	ck_assert_int_eq(value_at(&f, "c_room_temperature_ms", MINUTE(0, 70)), 30000);
	ck_assert_int_eq(sql_number(f.store, "SELECT count(*) FROM days"), 1);
	expect_laws(&f);
	filed_free(&f);
}
END

TEST(what_holds_runs_into_the_following_days)
{
	struct filed f = filed_new(PLANT);
	file_message(&f, AT(0, 43200), "a/outdoor", "5");
	ck_assert_int_eq(derive_until(&f, MINUTE(3, 30)), 4);
	ck_assert_int_eq(minutes_of(&f, 0), 720);
	ck_assert_int_eq(minutes_of(&f, 2), 1440);
	ck_assert_int_eq(minutes_of(&f, 3), 30); /* never past what may be derived */
	ck_assert_int_eq(outdoor_at(&f, MINUTE(3, 29)), 500);
	filed_free(&f);
}
END

TEST(a_hold_across_midnight_ends_at_its_limit)
{
	struct filed f = filed_new(PLANT);
	file_message(&f, AT(0, 86400 - 300), "b/room", "20");
	ck_assert_int_eq(derive_until(&f, MINUTE(9, 0)), 2);
	ck_assert_int_eq(minutes_of(&f, 0), 5);
	ck_assert_int_eq(minutes_of(&f, 1), 5);
	ck_assert_int_eq(minutes_of(&f, 2), 0);
	filed_free(&f);
}
END

TEST(quiet_days_are_passed_over)
{
	struct filed f = filed_new(PLANT);
	file_message(&f, AT(0, 100), "b/room", "20");
	file_message(&f, AT(3000, 100), "b/room", "21");
	ck_assert_int_eq(derive_until(&f, MINUTE(4000, 0)), 2);
	ck_assert_int_eq(deriver_day(f.deriver), DAY + 3000);
	ck_assert_int_eq(minutes_of(&f, 3000), 11);
	filed_free(&f);
}
END

TEST(nothing_dirty_before_the_end_is_clean)
{
	struct filed f = filed_new(PLANT);
	int64_t from, to;
	ck_assert_int_eq(deriver_step(f.deriver, MINUTE(9, 0)), DERIVER_CLEAN);
	file_message(&f, AT(1, 100), "b/room", "20");
	ck_assert_int_eq(deriver_step(f.deriver, MINUTE(1, 1)), DERIVER_CLEAN);
	ck_assert_int_eq(store_dirty_next(f.store, &from, &to), 0); /* it waits */
	ck_assert_int_eq(derive_until(&f, MINUTE(1, 3)), 1);
	ck_assert_int_eq(minutes_of(&f, 1), 2);
	filed_free(&f);
}
END

TEST(deriving_again_changes_no_row)
{
	struct filed f = filed_new(PLANT);
	for (int64_t i = 0; i < 20; i++)
		file_message(&f, AT(0, 7000 * i), i % 3 ? "a/outdoor" : "b/room",
			i % 2 ? "7.25" : "-3.5");
	(void)derive_until(&f, MINUTE(2, 0));
	sql_run(f.store, "CREATE TEMP TABLE before AS SELECT * FROM minutes");
	ck_assert_int_eq(store_dirty_add(f.store, AT(0, 0), AT(2, 0)), 0);
	(void)derive_until(&f, MINUTE(2, 0));
	ck_assert_int_gt(sql_number(f.store, "SELECT count(*) FROM minutes"), 1000);
	ck_assert_int_eq(
		sql_number(f.store, "SELECT count(*) FROM (SELECT * FROM minutes "
				    "EXCEPT SELECT * FROM temp.before)"),
		0);
	ck_assert_int_eq(sql_number(f.store, "SELECT count(*) FROM (SELECT * FROM "
					     "temp.before EXCEPT SELECT * FROM minutes)"),
		0);
	expect_laws(&f);
	filed_free(&f);
}
END

	/* A value at 06:00 of each of six days. */
	static struct filed
	six_days(void)
{
	struct filed f = filed_new(PLANT);
	for (int64_t day = 0; day < 6; day++)
		file_message(&f, AT(day, 21600), "a/outdoor", day % 2 ? "5" : "4");
	ck_assert_int_eq(derive_until(&f, MINUTE(6, 0)), 6);
	return f;
}

TEST(late_data_reach_until_the_state_is_the_stored_one)
{
	struct filed f = six_days();
	for (int64_t day = 0; day < 6; day++) {
		mark(&f, MINUTE(day, 400));
		mark(&f, MINUTE(day, 1200));
	}
	file_message(&f, AT(1, 72000), "a/outdoor", "9"); /* holds until 06:00 of day 2 */
	ck_assert_int_eq(derive_until(&f, MINUTE(6, 0)), 2);
	ck_assert(marked(&f, MINUTE(0, 400)) && marked(&f, MINUTE(0, 1200)));
	ck_assert(marked(&f, MINUTE(1, 400))); /* before the late reading */
	ck_assert_int_eq(outdoor_at(&f, MINUTE(1, 1200)), 900);
	ck_assert_int_eq(outdoor_at(&f, MINUTE(2, 100)), 900);
	ck_assert_int_eq(outdoor_at(&f, MINUTE(2, 400)), 400);
	for (int64_t day = 3; day < 6; day++)
		ck_assert(marked(&f, MINUTE(day, 400)) && marked(&f, MINUTE(day, 1200)));
	filed_free(&f);
}
END

TEST(late_data_that_leave_the_state_alone_touch_one_day)
{
	struct filed f = six_days();
	mark(&f, MINUTE(2, 100));
	file_message(&f, AT(1, 3600), "a/outdoor", "9");
	ck_assert_int_eq(derive_until(&f, MINUTE(6, 0)), 1);
	ck_assert_int_eq(outdoor_at(&f, MINUTE(1, 100)), 900);
	ck_assert(marked(&f, MINUTE(2, 100)));
	filed_free(&f);
}
END

TEST(the_end_of_a_hold_reaches_on_as_well)
{
	struct filed f = six_days();
	file_message(&f, AT(4, 80000), "a/outdoor", "null"); /* no value from here on */
	ck_assert_int_eq(derive_until(&f, MINUTE(6, 0)), 2);
	ck_assert_int_eq(minutes_of(&f, 4), 1334);
	ck_assert_int_eq(minutes_of(&f, 5), 1440 - 360);
	expect_laws(&f);
	filed_free(&f);
}
END

TEST(a_day_of_an_older_mapping_waits_for_a_rebuild)
{
	struct filed f = six_days();
	mark(&f, MINUTE(2, 100));
	filed_reconfigure(&f, PLANT "[channel flow_temperature]\ntopic = a/flow\n");
	while (deriver_respan(f.deriver) == 0)
		;
	file_message(&f, AT(1, 72000), "a/outdoor", "9");
	ck_assert_int_eq(derive_until(&f, MINUTE(6, 0)), 1);
	ck_assert_int_eq(outdoor_at(&f, MINUTE(1, 1200)), 900);
	ck_assert(marked(&f, MINUTE(2, 100)));
	struct older_days older = {0};
	ck_assert_int_eq(store_older_days(f.store, 0, INT64_MAX, &older), 0);
	ck_assert_int_eq(
		older.count, 6); /* the rows before 20:00 are still the older one's */
	filed_free(&f);
}
END

TEST(a_changed_mapping_moves_the_spans_of_chunks)
{
	static const char by_payload[] =
		"[plant]\nzone = UTC\n"
		"[channel outdoor_temperature]\ntopic = a/outdoor\npointer = /v\n"
		"time = payload\ntime_pointer = /t\ntime_form = s\n";
	struct filed f = filed_new(PLANT);
	struct chunk_ref *refs;
	size_t count;
	_cleanup_(freep) char *payload =
		xasprintf("{\"v\": 3, \"t\": %lld}", (long long)(AT(-5, 60) / 1000));

	file_message(&f, AT(0, 0), "a/outdoor", payload);
	ck_assert_int_eq(store_chunks(f.store, AT(-5, 0), AT(-4, 0), &refs, &count), 0);
	ck_assert_uint_eq(count, 0);
	free(refs);
	filed_reconfigure(&f, by_payload);
	ck_assert_int_eq(deriver_respan(f.deriver), 0);
	ck_assert_int_eq(deriver_respan(f.deriver), DERIVER_CLEAN);
	ck_assert_int_eq(store_chunks(f.store, AT(-5, 0), AT(-4, 0), &refs, &count), 0);
	ck_assert_uint_eq(count, 1);
	ck_assert_int_eq(refs[0].first_ms, AT(-5, 60));
	free(refs);
	filed_free(&f);
}
END

	static void
	damage(struct filed *f, int64_t chunk)
{
	_cleanup_(freep) char *sql = xasprintf(
		"UPDATE chunks SET data = zeroblob(length(data)) WHERE id = %lld",
		(long long)chunk);
	sql_run(f->store, sql);
}

static void set_derived_until(struct filed *f, int64_t minute)
{
	ck_assert_int_eq(
		store_set_fact(f->store, FACT_DERIVED_UNTIL_MS, minute * MS_PER_MIN), 0);
}

static size_t damaged(struct filed *f)
{
	struct damaged_chunk one;
	size_t written, count = 99;
	ck_assert_int_eq(store_damaged(f->store, &one, 1, &written, &count), 0);
	return count;
}

/* A chunk that came late and was never derived: the day loses nothing that it had, and
 * what else came is derived no more into it. */
TEST(a_damaged_chunk_is_set_aside_and_its_days_keep_their_rows)
{
	struct filed f = six_days();
	struct damaged_chunk chunk = {0};
	struct buffer lines = {0};
	size_t written = 0, count = 0;
	int64_t from, to, sealed, first, last;

	set_derived_until(&f, MINUTE(6, 0));
	mark(&f, MINUTE(1, 1210));
	file_message(&f, AT(1, 72000), "a/outdoor", "9");
	damage(&f, 7);
	ck_assert_int_eq(derive_until(&f, MINUTE(6, 0)), 1);
	ck_assert_uint_eq(deriver_sealed(f.deriver), 1);
	ck_assert(marked(&f, MINUTE(1, 1210)));
	ck_assert_int_eq(minutes_of(&f, 1), 1440);
	ck_assert_int_eq(store_dirty_next(f.store, &from, &to), STORE_CLEAN);
	/* It is named, with its span. */
	ck_assert_int_eq(store_damaged(f.store, &chunk, 1, &written, &count), 0);
	ck_assert_uint_eq(count, 1);
	ck_assert_uint_eq(written, 1);
	ck_assert_int_eq(chunk.id, 7);
	ck_assert_int_eq(chunk.first_ms, AT(1, 72000));
	ck_assert_int_eq(chunk.records, 1);
	ck_assert_int_eq(chunk.sealed_days, 1);
	count = 0;
	ck_assert_int_eq(store_check_journal(f.store, &lines, &count), 0);
	ck_assert_uint_eq(count, 1);
	ck_assert_msg(strstr(buffer_text(&lines), "chunk 7 is damaged: 1 records from "
						  "2026-01-02T20:00:00"),
		"%s", buffer_text(&lines));
	ck_assert_ptr_nonnull(
		strstr(buffer_text(&lines), "rebuild these days with --sealed"));
	ck_assert_int_eq(
		store_sealed_days(f.store, DAY, DAY + 6, &sealed, &first, &last), 0);
	ck_assert_int_eq(sealed, 1);
	ck_assert_int_eq(first, DAY + 1);
	ck_assert_int_eq(last, DAY + 1);
	/* And it is kept. */
	ck_assert_int_eq(sql_number(f.store, "SELECT count(*) FROM chunks"), 7);
	buffer_release(&lines);
	filed_free(&f);
}
END

TEST(a_rebuild_leaves_sealed_days_until_they_are_unsealed)
{
	struct filed f = six_days();

	set_derived_until(&f, MINUTE(6, 0));
	damage(&f, 3); /* the value of day 2, which holds until 06:00 of day 3 */
	mark(&f, MINUTE(2, 700));
	mark(&f, MINUTE(3, 100));
	ck_assert_int_eq(store_dirty_add(f.store, AT(0, 0), AT(6, 0)), 0);
	ck_assert_int_eq(derive_until(&f, MINUTE(6, 0)), 6);
	ck_assert_uint_eq(damaged(&f), 1);
	ck_assert(marked(&f, MINUTE(2, 700)));
	ck_assert_int_eq(outdoor_at(&f, MINUTE(2, 100)), 500);
	/* The next day begins with what it began with while the chunk could be read. */
	ck_assert_int_eq(outdoor_at(&f, MINUTE(3, 100)), 400);
	ck_assert_int_eq(store_unseal(f.store, DAY + 2, DAY + 3), 0);
	ck_assert_int_eq(store_dirty_add(f.store, AT(2, 0), AT(3, 0)), 0);
	ck_assert_int_eq(derive_until(&f, MINUTE(6, 0)), 2);
	ck_assert_int_eq(outdoor_at(&f, MINUTE(2, 700)), 500); /* of day 1, held on */
	ck_assert_int_eq(outdoor_at(&f, MINUTE(3, 100)), 500);
	ck_assert_int_eq(outdoor_at(&f, MINUTE(3, 400)), 500);
	expect_laws(&f);
	filed_free(&f);
}
END

/* Rows up to the last derived minute are the truth; those after it are derived. */
TEST(a_day_in_progress_is_sealed_up_to_its_last_minute)
{
	struct filed f = filed_new(PLANT);
	file_message(&f, AT(0, 3600), "a/outdoor", "4");
	file_message(&f, AT(0, 7200), "b/room", "20");
	ck_assert_int_eq(derive_until(&f, MINUTE(0, 300)), 1);
	set_derived_until(&f, MINUTE(0, 300));
	mark(&f, MINUTE(0, 200));
	damage(&f, 2);
	file_message(&f, AT(0, 6000), "a/outdoor", "6");
	ck_assert_int_eq(derive_until(&f, MINUTE(0, 400)), 1);
	ck_assert_uint_eq(damaged(&f), 1);
	ck_assert(marked(&f, MINUTE(0, 200)));
	ck_assert_int_eq(outdoor_at(&f, MINUTE(0, 120)), 400);
	ck_assert_int_eq(outdoor_at(&f, MINUTE(0, 300)), 600);
	filed_free(&f);
}
END

TEST(a_day_that_was_never_derived_is_derived_without_the_damaged_chunk)
{
	struct filed f = filed_new(PLANT);
	file_message(&f, AT(0, 3600), "a/outdoor", "4");
	file_message(&f, AT(0, 7200), "a/outdoor", "5");
	damage(&f, 2);
	ck_assert_int_eq(derive_until(&f, MINUTE(1, 0)), 1);
	ck_assert_uint_eq(damaged(&f), 1);
	ck_assert_uint_eq(deriver_sealed(f.deriver), 0);
	ck_assert_int_eq(outdoor_at(&f, MINUTE(0, 700)), 400);
	expect_laws(&f);
	filed_free(&f);
}
END

TEST(damage_that_a_new_mapping_meets_is_set_aside)
{
	struct filed f = six_days();
	int turns = 0;

	set_derived_until(&f, MINUTE(6, 0));
	damage(&f, 3);
	filed_reconfigure(&f, PLANT "[channel flow_temperature]\ntopic = a/flow\n");
	while (deriver_respan(f.deriver) == 0)
		ck_assert_int_lt(++turns, 10);
	ck_assert_uint_eq(damaged(&f), 1);
	ck_assert_int_eq(
		sql_number(f.store, "SELECT count(*) FROM spans s JOIN mappings m "
				    "ON m.id = s.mapping WHERE m.id = 2"),
		5);
	filed_free(&f);
}
END

/* Every state from the third day on is lost: those before it are fed on, no row of a day
 * that is not dirty is touched. */
TEST(an_unreadable_state_is_made_again_from_an_earlier_one)
{
	struct filed f = six_days();

	set_derived_until(&f, MINUTE(6, 0));
	sql_run(f.store, "CREATE TEMP TABLE before AS SELECT * FROM checkpoints");
	sql_run(f.store, "UPDATE checkpoints SET state = x'07' WHERE day > 20456");
	for (int64_t day = 0; day < 6; day++)
		mark(&f, MINUTE(day, 400));
	file_message(&f, AT(5, 72000), "a/outdoor", "9");
	(void)derive_until(&f, MINUTE(6, 0));
	for (int64_t day = 0; day < 6; day++)
		ck_assert(marked(&f, MINUTE(day, 400)));
	ck_assert_int_eq(outdoor_at(&f, MINUTE(5, 1100)), 500);
	ck_assert_int_eq(outdoor_at(&f, MINUTE(5, 1210)), 900);
	ck_assert_int_eq(sql_number(f.store, "SELECT count(*) FROM checkpoints c JOIN "
					     "temp.before b USING (day, state) "
					     "WHERE day <= 20459"),
		6);
	filed_free(&f);
}
END

TEST(without_any_state_the_journal_is_read_from_its_beginning)
{
	struct filed f = six_days();
	struct engine *engine = engine_new(f.stored->config, NULL, NULL);
	struct readings later = {0};
	struct buffer frames = {0};
	double value = 0;
	int64_t t_ms;
	int r, turns = 0;

	set_derived_until(&f, MINUTE(6, 0));
	sql_run(f.store, "UPDATE checkpoints SET state = x'07'");
	mark(&f, MINUTE(2, 400));
	while ((r = deriver_reach(f.deriver, MINUTE(5, 100))) == 0)
		ck_assert_int_lt(++turns, 10);
	ck_assert_int_eq(r, DERIVER_CLEAN);
	ck_assert_int_eq(turns, 5); /* a day each */
	ck_assert_int_eq(deriver_replay(f.deriver, engine, MINUTE(5, 100), AT(6, 0),
				 &later, &frames),
		0);
	ck_assert(engine_channel(engine, 0, &value, &t_ms));
	ck_assert_double_eq(value, 4);
	ck_assert_int_eq(t_ms, AT(4, 21600));
	ck_assert(marked(&f, MINUTE(2, 400)));
	engine_free(engine);
	readings_release(&later);
	buffer_release(&frames);
	filed_free(&f);
}
END

TEST(a_replay_goes_on_without_a_damaged_chunk)
{
	struct filed f = six_days();
	struct engine *engine = engine_new(f.stored->config, NULL, NULL);
	struct readings later = {0};
	struct buffer frames = {0};
	double value = 0;
	int64_t t_ms;

	set_derived_until(&f, MINUTE(6, 0));
	file_message(&f, AT(5, 43200), "a/outdoor", "7");
	damage(&f, 6);
	ck_assert_int_eq(store_begin(f.store), 0);
	ck_assert_int_eq(deriver_replay(f.deriver, engine, MINUTE(5, 800), AT(6, 0),
				 &later, &frames),
		-EBADMSG);
	store_rollback(f.store);
	ck_assert_int_eq(deriver_set_aside(f.deriver), 0);
	later.count = 0;
	buffer_reset(&frames);
	ck_assert_int_eq(deriver_replay(f.deriver, engine, MINUTE(5, 800), AT(6, 0),
				 &later, &frames),
		0);
	ck_assert(engine_channel(engine, 0, &value, &t_ms));
	ck_assert_double_eq(value, 7);
	ck_assert_uint_eq(damaged(&f), 1);
	engine_free(engine);
	readings_release(&later);
	buffer_release(&frames);
	filed_free(&f);
}
END

TEST(a_replay_ends_in_the_state_of_the_rows)
{
	static const int64_t minutes[] = {0, 1, 100, 360, 361, 1439};
	struct filed f = six_days();
	struct buffer stored = {0};
	int64_t day = 0;

	ck_assert_int_eq(store_checkpoint_before(f.store, DAY + 4, &day, &stored), 0);
	ck_assert_int_eq(day, DAY + 4);
	for (size_t i = 0; i < ARRAY_LEN(minutes); i++) {
		struct engine *engine = engine_new(f.stored->config, NULL, NULL);
		struct readings later = {0};
		struct buffer frames = {0}, state = {0};
		int64_t minute = MINUTE(3, minutes[i]);
		ck_assert_int_eq(deriver_replay(f.deriver, engine, minute, AT(6, 0),
					 &later, &frames),
			0);
		ck_assert_int_eq(engine_now_ms(engine), minute * MS_PER_MIN);
		/* A sign of life and a value at 06:00 of days 3, 4 and 5. */
		ck_assert_uint_eq(later.count, minutes[i] <= 360 ? 6 : 4);
		for (size_t k = 0; k < later.count && later.items[k].t_ms < AT(4, 0); k++)
			engine_feed(engine, &later.items[k]);
		engine_advance(engine, AT(4, 0));
		engine_save(engine, &state);
		ck_assert_uint_eq(state.length, stored.length);
		ck_assert_int_eq(memcmp(state.data, stored.data, state.length), 0);
		engine_free(engine);
		readings_release(&later);
		buffer_release(&frames);
		buffer_release(&state);
	}
	buffer_release(&stored);
	filed_free(&f);
}
END

TEST(one_derives_at_a_time)
{
	struct filed f = filed_new(PLANT);
	int first = -1, second = -1;
	ck_assert_int_eq(deriver_lock(f.stored->config, &first), 0);
	ck_assert_int_eq(deriver_lock(f.stored->config, &second), DERIVER_TAKEN);
	ck_assert_int_eq(second, -1);
	ck_assert_int_eq(close(first), 0);
	ck_assert_int_eq(deriver_lock(f.stored->config, &second), 0);
	ck_assert_int_eq(close(second), 0);
	filed_free(&f);
}
END

TEST(a_lock_in_no_directory_is_a_failure)
{
	struct config *config =
		configured(PLANT "[store]\nfile = /nonexistent/for/sure.db\n");
	int fd;
	ck_assert_int_eq(deriver_lock(config, &fd), -ENOENT);
	config_free(config);
}
END

TESTS(a_day_is_derived_whole, what_holds_runs_into_the_following_days,
	a_hold_across_midnight_ends_at_its_limit, quiet_days_are_passed_over,
	nothing_dirty_before_the_end_is_clean, deriving_again_changes_no_row,
	late_data_reach_until_the_state_is_the_stored_one,
	late_data_that_leave_the_state_alone_touch_one_day,
	the_end_of_a_hold_reaches_on_as_well, a_day_of_an_older_mapping_waits_for_a_rebuild,
	a_changed_mapping_moves_the_spans_of_chunks,
	a_damaged_chunk_is_set_aside_and_its_days_keep_their_rows,
	a_rebuild_leaves_sealed_days_until_they_are_unsealed,
	a_day_in_progress_is_sealed_up_to_its_last_minute,
	a_day_that_was_never_derived_is_derived_without_the_damaged_chunk,
	damage_that_a_new_mapping_meets_is_set_aside,
	an_unreadable_state_is_made_again_from_an_earlier_one,
	without_any_state_the_journal_is_read_from_its_beginning,
	a_replay_goes_on_without_a_damaged_chunk,
	a_replay_ends_in_the_state_of_the_rows, one_derives_at_a_time,
	a_lock_in_no_directory_is_a_failure)
