/*
 * Law 7 under clocks that are wrong: whatever the machine's clock does, the rows equal
 * those of a fresh store fed with the daemon's own export, and what was made before
 * stays.
 *
 * A daemon in this process, from the stamper to the store, under the test clock: boots
 * with a clock that nobody set, a time service that comes late, steps either way,
 * crashes, reboots with and without the tail. SEED and ROUNDS as in check_law_one.c.
 * Below that, what the rows are in the plain cases.
 */
#include "doors.h"
#include "rounds.h"

#include <heatbook/calendar.h>
#include <heatbook/clock.h>
#include <heatbook/deriver.h>
#include <heatbook/live.h>
#include <heatbook/log.h>
#include <heatbook/stamper.h>

#include <sqlite3.h>
#include <unistd.h>

#define WAIT (15 * MS_PER_MIN)

struct machine {
	struct plant plant;
	struct door door;
	uint64_t random;
	int64_t right_ms; /* what the clock should show */

	struct store *store;
	struct decoder *decoder;
	struct tail *tail;
	struct stamper *stamper;
	struct live *live;
	int64_t commit_at_ms; /* monotonic */
	uint64_t held_most;   /* seen so far */
};

static void good(int r, const struct machine *m, const char *doing)
{
	ck_assert_msg(r == 0, "%s: %d: %s", doing, r, store_error(m->store));
}

static void hear(
	struct machine *m, enum record_kind kind, const char *topic, const char *payload)
{
	struct record record = {.kind = kind,
		.topic = topic,
		.topic_length = strlen(topic),
		.payload = (const unsigned char *)payload,
		.payload_length = strlen(payload)};
	ck_assert_int_eq(stamper_append(m->stamper, &record), 0);
}

static void start(struct machine *m, int64_t wait_ms)
{
	int64_t committed = 0, derived_ms = 0;
	const struct config *config = m->door.config;
	m->store = door_store(&m->door, STORE_WRITE);
	good(store_fact(m->store, FACT_COMMITTED_SEQUENCE, &committed), m, "fact");
	good(store_fact(m->store, FACT_DERIVED_UNTIL_MS, &derived_ms), m, "fact");
	int r = tail_open(config->journal.tail, (uint64_t)committed,
		config->journal.tail_bound_bytes, &m->tail);
	ck_assert_msg(r == 0, "tail: %s", strerror(-r));
	m->stamper = stamper_new(m->tail, wait_ms, derived_ms);
	m->decoder = decoder_new(config);
	m->live = live_new(m->store, m->decoder, m->tail);
	hear(m, RECORD_START, "", "1");
}

static void crash(struct machine *m)
{
	live_free(m->live);
	decoder_free(m->decoder);
	stamper_free(m->stamper);
	tail_close(m->tail);
	store_close(m->store);
}

static void commit(struct machine *m)
{
	good(live_commit(m->live), m, "commit");
	m->commit_at_ms =
		clock_mono_ms() + unit_random_between(&m->random, 20000, 30 * MS_PER_MIN);
}

static void derive(struct machine *m, int turns)
{
	int r = 0;
	while (r == 0 && live_behind(m->live) && turns-- > 0)
		r = live_derive(m->live, stamper_now_ms(m->stamper));
	ck_assert_msg(
		r == 0 || r == DERIVER_CLEAN, "derive: %d: %s", r, store_error(m->store));
}

/* As the daemon's tick. */
static void tick(struct machine *m)
{
	struct stamper_state state;
	stamper_look(m->stamper, live_closed_ms(m->live));
	while (live_take(m->live))
		;
	good(live_close(m->live, stamper_now_ms(m->stamper)), m, "close");
	good(live_look_outside(m->live), m, "look outside");
	stamper_state(m->stamper, &state);
	if (state.held > m->held_most)
		m->held_most = state.held;
}

static void settle(struct machine *m)
{
	do {
		tick(m);
		derive(m, 5000);
		ck_assert_msg(!live_behind(m->live), "derivation comes to no end");
		tick(m);
		commit(m);
	} while (live_behind(m->live) || live_uncommitted(m->live));
}

/* Time goes by, the clock with it; the loop turns each `tick_ms`. */
static void pass(struct machine *m, int64_t span_ms, int64_t tick_ms)
{
	while (span_ms > 0) {
		int64_t now = span_ms < tick_ms ? span_ms : tick_ms;
		clock_test_advance(now);
		m->right_ms += now;
		span_ms -= now;
		tick(m);
		derive(m, 100);
	}
}

static void set_right(struct machine *m)
{
	clock_test_step(m->right_ms - clock_now_ms());
	clock_test_keep(CLOCK_KEPT);
}

static void machine_begin(struct machine *m, int64_t now_ms)
{
	log_set_handler(drop_line, NULL);
	door_open(&m->plant, &m->door);
	clock_test_start(now_ms, 30000);
	m->right_ms = now_ms;
}

/* The rows of the machine and those of its export, in a store of its own. */
static void compare_export(struct machine *m, const char *what)
{
	struct door again;
	door_open(&m->plant, &again);
	int64_t now_ms = clock_now_ms(), later_ms = live_closed_ms(m->live);
	crash(m);
	door_check(&m->door, what);
	door_import_export(
		&m->door, &again, (now_ms > later_ms ? now_ms : later_ms) + MS_PER_HOUR);
	doors_compare(&again, &m->door, what);
	door_check(&again, what);
	door_close(&again);
}

static void machine_end(struct machine *m)
{
	door_close(&m->door);
	plant_release(&m->plant);
	clock_test_stop();
	log_set_handler(NULL, NULL);
}

/* ---- at random ---- */

static bool one_in(struct machine *m, size_t n)
{
	return plant_choose(&m->random, n) == 0;
}

static void remove_tail(const struct machine *m)
{
	static const char *const names[] = {"segment-a", "segment-b"};
	for (size_t i = 0; i < ARRAY_LEN(names); i++) {
		_cleanup_(freep) char *path =
			xasprintf("%s/%s", m->door.config->journal.tail, names[i]);
		ck_assert_int_eq(unlink(path), 0);
	}
}

/* A board without a clock of its own comes back with the time of its last note, or with
 * none at all. */
static void reboot(struct machine *m)
{
	crash(m);
	if (one_in(m, 2))
		remove_tail(m);
	clock_test_advance(unit_random_between(&m->random, 5000, MS_PER_HOUR));
	m->right_ms = m->right_ms + MS_PER_HOUR;
	clock_test_reboot(unit_random_between(&m->random, 5000, 20 * MS_PER_MIN));
	int64_t shows = one_in(m, 4) ? unit_random_between(&m->random, 0, MS_PER_DAY)
				     : m->right_ms - unit_random_between(&m->random, 0,
							     3 * MS_PER_HOUR);
	clock_test_step(shows - clock_now_ms());
	clock_test_keep(CLOCK_NOT_KEPT);
	start(m, one_in(m, 3) ? 0 : WAIT);
}

static void restart(struct machine *m)
{
	if (one_in(m, 2))
		settle(m); /* in good order */
	crash(m);
	start(m, one_in(m, 3) ? 0 : WAIT);
}

static void disturb(struct machine *m)
{
	switch (plant_choose(&m->random, 350)) {
	case 0:
		clock_test_step(unit_random_between(&m->random, 1900, 300000));
		break;
	case 1:
		clock_test_step(unit_random_between(&m->random, 1900, 5 * MS_PER_HOUR));
		break;
	case 2:
	case 3:
		clock_test_step(-unit_random_between(&m->random, 1900, 120000));
		break;
	case 4:
		clock_test_step(
			-unit_random_between(&m->random, 120000, 3 * MS_PER_HOUR));
		break;
	case 5:
	case 6:
		reboot(m);
		break;
	case 7:
	case 8:
	case 9:
		restart(m);
		break;
	case 10:
		clock_test_keep(one_in(m, 2) ? CLOCK_KEPT : CLOCK_NOT_KEPT);
		break;
	case 11:
	case 12:
	case 13:
	case 14:
	case 15:
		set_right(m);
		break;
	default:
		break;
	}
}

/* The gap to the next record, in which the loop turns now and then. */
static void wait_for_next(struct machine *m, int64_t span_ms)
{
	if (span_ms > 0)
		pass(m, span_ms, unit_random_between(&m->random, 1000, 10 * MS_PER_MIN));
	if (clock_mono_ms() >= m->commit_at_ms)
		commit(m);
}

static void live_through(struct machine *m)
{
	for (size_t i = 0; i < m->plant.count; i++) {
		struct record record = plant_record(&m->plant, i);
		wait_for_next(m, i ? record.t_ms - m->plant.records[i - 1].t_ms : 0);
		disturb(m);
		if (record.kind >= RECORD_MESSAGE)
			ck_assert_int_eq(stamper_append(m->stamper, &record), 0);
	}
	set_right(m);
	pass(m, 2 * WAIT, MS_PER_MIN);
	settle(m);
}

TEST(whatever_the_clock_does_the_export_gives_the_same_rows)
{
	uint64_t held = 0, unsure = 0;
	FOR_ROUNDS(seed, 2)
	{
		char what[64];
		struct machine m = {.random = seed + 33};
		struct live_state live;
		plant_make(&m.plant, seed, &(struct plant_wish){.records = 700});
		machine_begin(&m, m.plant.records[0].t_ms - 1000);
		start(&m, WAIT);
		live_through(&m);
		live_present(m.live, stamper_now_ms(m.stamper), &live);
		held += m.held_most;
		unsure += live.clock_unsure;
		(void)snprintf(what, sizeof(what), "SEED=%llu: clocks",
			(unsigned long long)seed);
		compare_export(&m, what);
		machine_end(&m);
	}
	printf("# held at once, summed over rounds: %llu; unsure since the last start: "
	       "%llu\n",
		(unsigned long long)held, (unsigned long long)unsure);
}
END

/* ---- the plain cases ---- */

#define NOON_MIN INT64_C(29454480) /* 2026-01-01T12:00:00Z */
#define NOON     (NOON_MIN * MS_PER_MIN)

	static const char room_text[] =
		"[plant]\nzone = UTC\n[channel room]\ntopic = plant/room\nunit = °C\n"
		"stale_after = 2 h\n[source plant]\ntopics = plant/#\nsilent_after = "
		"none\n";

static struct machine room_begin(enum clock_kept kept)
{
	struct machine m = {.random = 1};
	ck_assert_int_eq(calendar_set_zone("UTC"), 0);
	buffer_add_text(&m.plant.text, room_text);
	machine_begin(&m, NOON);
	clock_test_keep(kept);
	return m;
}

static int64_t ask(const struct machine *m, const char *sql)
{
	sqlite3_stmt *statement = NULL;
	int r = sqlite3_prepare_v2(store_handle(m->store), sql, -1, &statement, NULL);
	ck_assert_msg(r == SQLITE_OK, "%s", sqlite3_errmsg(store_handle(m->store)));
	ck_assert_int_eq(sqlite3_step(statement), SQLITE_ROW);
	int64_t value = sqlite3_column_int64(statement, 0);
	(void)sqlite3_finalize(statement);
	return value;
}

/* Rows whose minute, counted from noon, lies in [from, to). */
static int64_t rows(const struct machine *m, int64_t from, int64_t to)
{
	_cleanup_(freep) char *sql = xasprintf(
		"SELECT count(*) FROM minutes WHERE minute >= %lld AND minute < %lld",
		(long long)(NOON_MIN + from), (long long)(NOON_MIN + to));
	return ask(m, sql);
}

/* Hundredths of the room's mean in a minute after noon. */
static int64_t room(const struct machine *m, int64_t minute)
{
	_cleanup_(freep) char *sql =
		xasprintf("SELECT c_room FROM minutes WHERE minute = %lld",
			(long long)(NOON_MIN + minute));
	return ask(m, sql);
}

static void say(struct machine *m, const char *value)
{
	hear(m, RECORD_MESSAGE, "plant/room", value);
}

TEST(minutes_stepped_over_are_a_gap)
{
	struct machine m = room_begin(CLOCK_KEPT);
	start(&m, WAIT);
	say(&m, "20");
	pass(&m, 10 * MS_PER_MIN, 1000);
	clock_test_step(MS_PER_HOUR);
	pass(&m, MS_PER_MIN, 1000);
	say(&m, "21");
	pass(&m, 5 * MS_PER_MIN, 1000);
	settle(&m);
	ck_assert_int_eq(rows(&m, 0, 10), 10);
	ck_assert_int_eq(rows(&m, 11, 71), 0);
	ck_assert_int_eq(rows(&m, 71, 75), 4);
	ck_assert_int_eq(room(&m, 72), 2100);
	compare_export(&m, "forward");
	machine_end(&m);
}
END

TEST(a_small_step_back_leaves_no_minute_out_and_makes_none_twice)
{
	struct machine m = room_begin(CLOCK_KEPT);
	start(&m, WAIT);
	say(&m, "20");
	pass(&m, 10 * MS_PER_MIN, 1000);
	commit(&m);
	clock_test_step(-100000);
	for (int i = 0; i < 10; i++) {
		say(&m, "21");
		pass(&m, MS_PER_MIN, 1000);
	}
	settle(&m);
	ck_assert_int_eq(rows(&m, 0, 17), 17);
	for (int64_t minute = 0; minute < 17; minute++)
		ck_assert_int_eq(room(&m, minute), minute < 10 ? 2000 : 2100);
	compare_export(&m, "small step back");
	machine_end(&m);
}
END

TEST(a_large_step_back_changes_no_closed_minute)
{
	struct machine m = room_begin(CLOCK_KEPT);
	start(&m, WAIT);
	say(&m, "20");
	pass(&m, 60 * MS_PER_MIN, 1000);
	clock_test_step(-30 * MS_PER_MIN);
	for (int i = 0; i < 40; i++) {
		say(&m, "30");
		pass(&m, MS_PER_MIN, 1000);
		if (i == 10)
			commit(&m);
	}
	settle(&m);
	for (int64_t minute = 0; minute < 59; minute++)
		ck_assert_int_eq(room(&m, minute), 2000);
	ck_assert_int_eq(room(&m, 60), 3000);
	ck_assert_int_eq(rows(&m, 0, 69), 69);
	compare_export(&m, "large step back");
	machine_end(&m);
}
END

TEST(a_board_without_a_clock_makes_the_minutes_of_the_right_time)
{
	static const int64_t shows[] = {0, NOON - MS_PER_DAY, NOON + MS_PER_DAY};
	for (size_t i = 0; i < ARRAY_LEN(shows); i++) {
		struct machine m = room_begin(CLOCK_NOT_KEPT);
		clock_test_step(shows[i] - NOON);
		start(&m, WAIT);
		say(&m, "20");
		pass(&m, 5 * MS_PER_MIN, 1000);
		say(&m, "21");
		commit(&m);
		ck_assert_int_eq(ask(&m, "SELECT count(*) FROM chunks"), 0);
		ck_assert(!live_behind(m.live) && !live_uncommitted(m.live));
		if (i == 1) { /* the same with a crash in the middle */
			crash(&m);
			start(&m, WAIT);
		}
		set_right(&m);
		pass(&m, 5 * MS_PER_MIN, 1000);
		if (i == 2) { /* … or behind the restamp, before the commit */
			crash(&m);
			start(&m, WAIT);
		}
		settle(&m);
		ck_assert_int_eq(ask(&m, "SELECT count(*) FROM minutes"), 9);
		ck_assert_int_eq(room(&m, 0), 2000);
		ck_assert_int_eq(room(&m, 8), 2100);
		compare_export(&m, "no clock");
		machine_end(&m);
	}
}
END

TEST(a_store_that_reaches_beyond_the_clock_waits_or_keeps_aside)
{
	struct machine m = room_begin(CLOCK_KEPT);
	start(&m, WAIT);
	say(&m, "20");
	pass(&m, 60 * MS_PER_MIN, 1000);
	settle(&m);
	crash(&m);
	clock_test_step(-40 * MS_PER_MIN); /* while nobody looks */
	start(&m, WAIT);
	say(&m, "30");
	pass(&m, 10 * MS_PER_MIN, 1000);
	commit(&m);
	ck_assert_uint_eq(m.held_most, 2);
	pass(&m, 10 * MS_PER_MIN, 1000); /* the wait is over */
	say(&m, "31");
	settle(&m);
	ck_assert_int_eq(rows(&m, 0, 59), 59);
	ck_assert_int_eq(rows(&m, 59, 100), 0);
	pass(&m, 25 * MS_PER_MIN, 1000); /* it passes the last minute */
	say(&m, "32");
	pass(&m, 5 * MS_PER_MIN, 1000);
	settle(&m);
	ck_assert_int_eq(room(&m, 58), 2000);
	ck_assert_int_eq(room(&m, 62), 2000); /* what held then holds on */
	ck_assert_int_eq(room(&m, 68), 3200);
	compare_export(&m, "beyond the clock");
	machine_end(&m);
}
END

TEST(a_clock_set_after_years_costs_no_more_than_another)
{
	struct machine m = room_begin(CLOCK_NOT_KEPT);
	clock_test_step(STAMP_LEAST_MS + MS_PER_DAY - NOON);
	start(&m, 0);
	say(&m, "20");
	pass(&m, 5 * MS_PER_MIN, 1000);
	set_right(&m);
	pass(&m, MS_PER_MIN, 1000);
	say(&m, "21");
	pass(&m, 5 * MS_PER_MIN, 1000);
	settle(&m);
	ck_assert_int_le(ask(&m, "SELECT count(*) FROM checkpoints"), 4);
	ck_assert_int_eq(ask(&m, "SELECT count(*) FROM minutes"),
		10); /* and the second until it was seen */
	ck_assert_int_eq(rows(&m, 6, 10), 4);
	compare_export(&m, "years");
	machine_end(&m);
}
END

/* Rows of a clock that was years ahead: the rest is derived up to now, and no further. */
TEST(rows_years_ahead_draw_no_derivation_after_them)
{
	struct machine m = room_begin(CLOCK_KEPT);
	clock_test_step(3650 * MS_PER_DAY);
	start(&m, 0);
	say(&m, "20");
	pass(&m, 5 * MS_PER_MIN, 1000);
	settle(&m);
	crash(&m);
	clock_test_step(-3650 * MS_PER_DAY);
	struct plant *plant =
		&m.plant; /* one foreign record, whose word holds for ever */
	plant->records = xcalloc(1, sizeof(*plant->records));
	plant->records[0] = (struct plant_record){.kind = RECORD_MESSAGE,
		.t_ms = NOON,
		.topic = xstrdup("plant/room"),
		.payload = xstrdup("5")};
	plant->count = 1;
	door_import_all(&m.door, plant, NOON + 10 * MS_PER_MIN + 10000);
	m.store = door_store(&m.door, STORE_READ);
	ck_assert_int_eq(rows(&m, 0, MIN_PER_DAY), 10);
	ck_assert_int_eq(ask(&m, "SELECT count(*) FROM minutes"), 14);
	store_close(m.store);
	machine_end(&m);
}
END

TESTS(whatever_the_clock_does_the_export_gives_the_same_rows,
	minutes_stepped_over_are_a_gap,
	a_small_step_back_leaves_no_minute_out_and_makes_none_twice,
	a_large_step_back_changes_no_closed_minute,
	a_board_without_a_clock_makes_the_minutes_of_the_right_time,
	a_store_that_reaches_beyond_the_clock_waits_or_keeps_aside,
	a_clock_set_after_years_costs_no_more_than_another,
	rows_years_ahead_draw_no_derivation_after_them)
