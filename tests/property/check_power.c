/*
 * Law 7 at a power cut: of what was committed nothing is lost, of what was not at most
 * that; the file is whole, sums close, and the rows are those of the records that are in
 * the journal. And of law 10: a cut while an earlier schema is brought up leaves the old
 * store or the new one.
 *
 * And what a device that refuses writes for a while costs: nothing.
 *
 * The cut is simulated (cut.h). The tail, which lies in memory, is gone at each. SEED and
 * ROUNDS in the environment set the first plant and their number.
 */
#include "../unit/kept.h"
#include "cut.h"
#include "doors.h"
#include "rounds.h"

#include <heatbook/clock.h>
#include <heatbook/deriver.h>
#include <heatbook/import.h>
#include <heatbook/live.h>

#define PIECES_MOST 4

/* Neighbouring records that come by import. */
struct piece {
	size_t from, to;
};

struct run {
	uint64_t seed, random;
	struct plant plant;
	struct door door;
	struct piece pieces[PIECES_MOST];
	size_t piece_count;
	size_t at; /* the next record */

	struct store *store; /* of the present life */
	struct decoder *decoder;
	struct tail *tail;
	struct live *live;
	int64_t commit_at_ms;
	int64_t sequence, version; /* that were committed */
	int cuts;
	bool refusing; /* the device takes no writes for a while */
	int failures;
};

static int64_t fact_of(struct run *r, enum store_fact which)
{
	int64_t value = -1;
	ck_assert_int_eq(store_fact(r->store, which, &value), 0);
	return value;
}

/* Whatever a call that answered 0 has stored must outlive the cut. */
static void remember(struct run *r)
{
	r->sequence = fact_of(r, FACT_COMMITTED_SEQUENCE);
	r->version = fact_of(r, FACT_VERSION);
}

static void lose_tail(struct run *r)
{
	static const char *const names[] = {"segment-a", "segment-b"};
	for (size_t i = 0; i < ARRAY_LEN(names); i++) {
		_cleanup_(freep) char *path =
			xasprintf("%s/%s", r->door.config->journal.tail, names[i]);
		(void)unlink(path); /* before the first life there is none */
	}
}

static bool begin_life(struct run *r)
{
	char why[256];
	int64_t committed = 0;
	if (store_open(r->door.config, STORE_SERVE, &r->store, why) != 0) {
		ck_assert_msg(cut_happened(), "SEED=%llu: %s",
			(unsigned long long)r->seed, why);
		return false;
	}
	ck_assert_msg(!store_damage(r->store), "SEED=%llu: %s",
		(unsigned long long)r->seed, store_damage(r->store));
	if (store_fact(r->store, FACT_COMMITTED_SEQUENCE, &committed) != 0) {
		store_close(r->store);
		return false;
	}
	ck_assert_int_eq(tail_open(r->door.config->journal.tail, (uint64_t)committed,
				 r->door.config->journal.tail_bound_bytes, &r->tail),
		0);
	r->decoder = decoder_new(r->door.config);
	r->live = live_new(r->store, r->decoder, r->tail);
	return true;
}

static void end_life(struct run *r)
{
	live_free(r->live);
	decoder_free(r->decoder);
	tail_close(r->tail);
	store_close(r->store);
	r->store = NULL;
}

/* A code is a failure unless the power went off. */
static bool good(struct run *r, int code, const char *doing)
{
	bool fine = code == 0 || code == DERIVER_CLEAN;
	ck_assert_msg(fine || cut_happened() || r->refusing, "SEED=%llu: %s: %d: %s",
		(unsigned long long)r->seed, doing, code, live_error(r->live));
	ck_assert_msg(fine || live_error(r->live)[0] || strcmp(doing, "tidy") == 0,
		"SEED=%llu: %s: no reason", (unsigned long long)r->seed, doing);
	r->failures += !fine;
	return fine && !cut_happened();
}

static bool commit(struct run *r)
{
	if (!good(r, live_commit(r->live), "commit"))
		return false;
	remember(r);
	r->commit_at_ms =
		clock_now_ms() + unit_random_between(&r->random, 60000, 60 * MS_PER_MIN);
	return true;
}

static bool turn(struct run *r)
{
	while (live_take(r->live))
		;
	if (!good(r, live_close(r->live, clock_now_ms()), "close") ||
		!good(r, live_look_outside(r->live), "look outside") ||
		!good(r, live_tidy(r->live), "tidy"))
		return false;
	if (clock_now_ms() >= r->commit_at_ms && !commit(r))
		return false;
	for (int i = 0; live_behind(r->live) && i < 3; i++) {
		if (!good(r, live_derive(r->live, clock_now_ms()), "derive"))
			return false;
		remember(r);
	}
	return true;
}

static bool is_of_a_piece(const struct run *r, size_t i)
{
	for (size_t k = 0; k < r->piece_count; k++)
		if (i >= r->pieces[k].from && i < r->pieces[k].to)
			return true;
	return false;
}

static bool live_on(struct run *r, size_t until)
{
	for (; r->at < until; r->at++) {
		struct record record = plant_record(&r->plant, r->at);
		if (is_of_a_piece(r, r->at))
			continue;
		while (clock_now_ms() < record.t_ms) {
			int64_t left = record.t_ms - clock_now_ms();
			clock_test_advance(
				left < 10 * MS_PER_MIN ? left : 10 * MS_PER_MIN);
			if (!turn(r))
				return false;
		}
		record.boot_ms = clock_boot_ms();
		ck_assert_int_eq(tail_append(r->tail, &record), 0);
	}
	return true;
}

/* Files a piece by a connection of its own, as an import beside the daemon does. */
static int import_piece(struct run *r, size_t k)
{
	_cleanup_(freep) char *path = xasprintf("%s/piece-%zu", r->door.directory, k);
	struct import_report report;
	struct buffer lines = {0};
	char why[320];
	FILE *f = fopen(path, "we");
	ck_assert_ptr_nonnull(f);
	for (size_t i = r->pieces[k].from; i < r->pieces[k].to; i++) {
		struct record record = plant_record(&r->plant, i);
		record_write_json(&record, &lines);
	}
	ck_assert_uint_eq(fwrite(lines.data, 1, lines.length, f), lines.length);
	ck_assert_int_eq(fclose(f), 0);
	buffer_release(&lines);
	const char *paths[] = {path};
	const struct import_request request = {.paths = paths, .count = 1};
	int code = import_archives(r->door.config, &request, &report, why);
	ck_assert_msg(code == 0 || cut_happened(), "SEED=%llu: %s",
		(unsigned long long)r->seed, why);
	return code;
}

static void expect_whole(struct run *r)
{
	sqlite3 *db = NULL;
	sqlite3_stmt *check = NULL;
	ck_assert_int_eq(sqlite3_open(r->door.config->store.file, &db), SQLITE_OK);
	ck_assert_int_eq(
		sqlite3_prepare_v2(db, "PRAGMA integrity_check", -1, &check, NULL),
		SQLITE_OK);
	ck_assert_int_eq(sqlite3_step(check), SQLITE_ROW);
	const char *said = (const char *)sqlite3_column_text(check, 0);
	ck_assert_msg(strcmp(said, "ok") == 0, "SEED=%llu, cut %d: %s",
		(unsigned long long)r->seed, r->cuts, said);
	(void)sqlite3_finalize(check);
	ck_assert_int_eq(sqlite3_close(db), SQLITE_OK);
}

static void after_cut(struct run *r)
{
	char what[64];
	cut_restore();
	lose_tail(r);
	r->cuts++;
	if (access(r->door.config->store.file, F_OK) < 0) {
		ck_assert_int_eq(r->version, 0); /* cut before anything was stored */
		return;
	}
	expect_whole(r);
	(void)snprintf(what, sizeof(what), "SEED=%llu, cut %d",
		(unsigned long long)r->seed, r->cuts);
	r->store = door_store(&r->door, STORE_WRITE);
	ck_assert_msg(fact_of(r, FACT_COMMITTED_SEQUENCE) >= r->sequence,
		"%s: a commit is lost", what);
	ck_assert_msg(fact_of(r, FACT_VERSION) >= r->version, "%s: rows are lost", what);
	store_close(r->store);
	r->store = NULL;
	door_check(&r->door, what);
}

/* An import that was content is on the device, also where the power goes off at once. */
static bool import_some(struct run *r)
{
	if (import_piece(r, plant_choose(&r->random, r->piece_count)) != 0 ||
		cut_happened())
		return false;
	remember(r);
	if (plant_chance(&r->random, 50))
		cut_now();
	return !cut_happened();
}

/* A life with a cut in it, somewhere. */
static void cut_life(struct run *r, size_t until)
{
	static const int64_t reaches[] = {30, 300, 3000};
	int64_t most = reaches[plant_choose(&r->random, ARRAY_LEN(reaches))];
	uint64_t after = (uint64_t)unit_random_between(&r->random, 1, most);
	cut_begin(r->door.directory, r->random, after);
	if (begin_life(r)) {
		bool on = live_on(r, until);
		if (on && r->piece_count && plant_chance(&r->random, 50))
			on = import_some(r);
		if (on && !cut_happened())
			(void)commit(r);
		end_life(r);
	}
	after_cut(r);
}

static void choose_pieces(struct run *r)
{
	size_t n = r->plant.count;
	for (size_t k = 0; k < 3; k++) {
		size_t from = k * n / 3 + plant_choose(&r->random, n / 6);
		size_t length = 1 + plant_choose(&r->random, n / 10);
		r->pieces[r->piece_count++] = (struct piece){from, from + length};
	}
}

/* Each import to its end, and all that is to be done. */
static void last_turns(struct run *r)
{
	for (size_t k = 0; k < r->piece_count; k++)
		ck_assert_int_eq(import_piece(r, k), 0);
	clock_test_advance(MS_PER_DAY);
	for (int i = 0; i < 1000 && (i == 0 || live_behind(r->live)); i++)
		ck_assert(turn(r));
	ck_assert(turn(r) && commit(r));
	ck_assert(!live_behind(r->live));
	end_life(r);
}

/* The rest without a cut. */
static void last_life(struct run *r)
{
	ck_assert(begin_life(r));
	ck_assert(live_on(r, r->plant.count));
	last_turns(r);
}

TEST(after_cuts_rows_are_those_of_the_journal)
{
	FOR_ROUNDS(seed, 2)
	{
		struct run r = {.seed = seed, .random = seed * 31 + 5};
		struct door fresh;
		char what[48];
		plant_make(&r.plant, seed, &(struct plant_wish){.records = 700});
		door_open(&r.plant, &r.door);
		choose_pieces(&r);
		clock_test_start(r.plant.records[0].t_ms - 1000, 1000000);
		for (size_t life = 1; life <= 12; life++)
			cut_life(&r, life * r.plant.count / 14);
		last_life(&r);
		cut_end();
		door_open(&r.plant, &fresh);
		door_import_export(&r.door, &fresh, clock_now_ms());
		(void)snprintf(what, sizeof(what), "SEED=%llu: after %d cuts",
			(unsigned long long)seed, r.cuts);
		doors_compare(&r.door, &fresh, what);
		door_check(&r.door, what);
		door_close(&r.door);
		door_close(&fresh);
		plant_release(&r.plant);
	}
}
END_TEST

static const int refusals[] = {
	SQLITE_FULL, SQLITE_IOERR_WRITE, SQLITE_IOERR_FSYNC, SQLITE_READONLY};

/* Windows in which the device takes no writes, at any stage; every message of a live one
 * is accepted. */
static void live_through_refusals(struct run *r)
{
	for (; r->at < r->plant.count; r->at++) {
		struct record record = plant_record(&r->plant, r->at);
		if (plant_chance(&r->random, r->refusing ? 8 : 3)) {
			r->refusing = !r->refusing;
			cut_refuse(!r->refusing ? 0
						: refusals[plant_choose(&r->random,
							  ARRAY_LEN(refusals))]);
		}
		if (is_of_a_piece(r, r->at))
			continue;
		while (clock_now_ms() < record.t_ms) {
			int64_t left = record.t_ms - clock_now_ms();
			clock_test_advance(
				left < 10 * MS_PER_MIN ? left : 10 * MS_PER_MIN);
			(void)turn(r); /* what fails is tried again */
		}
		record.boot_ms = clock_boot_ms();
		ck_assert_int_eq(tail_append(r->tail, &record), 0);
	}
	r->refusing = false;
	cut_refuse(0);
}

static size_t records_live(const struct run *r)
{
	size_t count = 0;
	for (size_t i = 0; i < r->plant.count; i++)
		count += !is_of_a_piece(r, i);
	return count;
}

TEST(a_device_that_takes_no_writes_for_a_while_loses_nothing)
{
	FOR_ROUNDS(seed, 2)
	{
		struct run r = {.seed = seed, .random = seed * 17 + 3};
		struct door fresh;
		char what[48];
		plant_make(&r.plant, seed, &(struct plant_wish){.records = 500});
		door_open(&r.plant, &r.door);
		choose_pieces(&r);
		clock_test_start(r.plant.records[0].t_ms - 1000, 1000000);
		cut_begin(r.door.directory, seed, 0);
		ck_assert(begin_life(&r));
		live_through_refusals(&r);
		ck_assert_int_gt(r.failures, 10);
		last_turns(&r);
		cut_end();
		r.store = door_store(&r.door, STORE_READ);
		int64_t stored = 0;
		ck_assert_int_eq(
			store_fact(r.store, FACT_COMMITTED_SEQUENCE, &stored), 0);
		ck_assert_uint_eq((size_t)stored, records_live(&r)); /* each once */
		store_close(r.store);
		door_open(&r.plant, &fresh);
		door_import_export(&r.door, &fresh, clock_now_ms());
		(void)snprintf(what, sizeof(what), "SEED=%llu: after %d failures",
			(unsigned long long)seed, r.failures);
		doors_compare(&r.door, &fresh, what);
		door_check(&r.door, what);
		door_close(&r.door);
		door_close(&fresh);
		plant_release(&r.plant);
	}
}
END_TEST

/* One cut, at write number `after` of the opening; false when it never came. */
static bool cut_upgrade(const char *dump, uint64_t after, const char *wanted)
{
	struct stored *s = kept_house();
	char why[256];
	load_dump(s, dump);
	_cleanup_(freep) char *before = answer(s, kept_rows);
	_cleanup_(freep) char *journal = answer(s, kept_journal);
	_cleanup_(freep) char *was = answer(s, "PRAGMA user_version");
	cut_begin(s->directory, after, after);
	if (store_open(s->config, STORE_WRITE, &s->store, why) == 0)
		store_close(s->store);
	bool happened = cut_happened();
	cut_restore();
	cut_end();
	_cleanup_(freep) char *whole = answer(s, "PRAGMA integrity_check");
	ck_assert_str_eq(whole, "integrity_check=ok \n");
	_cleanup_(freep) char *version = answer(s, "PRAGMA user_version");
	if (strcmp(version, was) == 0) {
		_cleanup_(freep) char *now = answer(s, kept_journal);
		ck_assert_str_eq(now, journal);
	}
	open_kept(s);
	store_close(s->store);
	_cleanup_(freep) char *schema = answer(s, kept_schema);
	_cleanup_(freep) char *rows = answer(s, kept_rows);
	_cleanup_(freep) char *after_all = answer(s, kept_journal);
	ck_assert_msg(strcmp(schema, wanted) == 0, "%s, cut at %llu: %s", dump,
		(unsigned long long)after, schema);
	ck_assert_str_eq(rows, before);
	ck_assert_str_eq(after_all, journal);
	end_kept(s);
	return happened;
}

TEST(a_cut_while_upgrading_leaves_the_old_or_the_new)
{
	struct stored *fresh = kept_house();
	open_kept(fresh);
	store_close(fresh->store);
	_cleanup_(freep) char *wanted = answer(fresh, kept_schema);
	for (size_t i = 0; i < ARRAY_LEN(kept_dumps); i++) {
		uint64_t after = 1;
		while (cut_upgrade(kept_dumps[i], after, wanted))
			after++;
		ck_assert_uint_gt(after, 20);
		printf("# %s: cut at each of %llu writes\n", kept_dumps[i],
			(unsigned long long)after - 1);
	}
	(void)fflush(stdout); /* the test's process ends without */
	end_kept(fresh);
}
END_TEST

TESTS(after_cuts_rows_are_those_of_the_journal,
	a_device_that_takes_no_writes_for_a_while_loses_nothing,
	a_cut_while_upgrading_leaves_the_old_or_the_new)
