/*
 * Law 10, upgrades keep everything: a store of each earlier schema, as it was dumped by
 * the program of its time, is opened by this one.
 *
 * Reference: tests/data/schema/NNN.sql and the configuration beside them; a store that is
 * made now, and one that is fed with what the old one exports. That a newer store is
 * refused untouched is in check_store, that a power cut in between leaves the old or the
 * new one in tests/property/check_power.
 */
#include "filed.h"
#include "kept.h"

#include <heatbook/clock.h>
#include <heatbook/import.h>
#include <heatbook/live.h>

TEST(every_earlier_schema_becomes_that_of_a_fresh_store)
{
	struct stored *fresh = kept_house();
	open_kept(fresh);
	store_close(fresh->store);
	_cleanup_(freep) char *wanted = answer(fresh, kept_schema);
	for (size_t i = 0; i < ARRAY_LEN(kept_dumps); i++) {
		struct stored *s = kept_house();
		load_dump(s, kept_dumps[i]);
		_cleanup_(freep) char *rows_before = answer(s, kept_rows);
		_cleanup_(freep) char *journal_before = answer(s, kept_journal);
		for (int opening = 0; opening < 2; opening++) {
			struct buffer lines = {0};
			size_t broken = 0;
			open_kept(s);
			ck_assert_int_eq(store_checks(s->store, &lines, &broken), 0);
			ck_assert_int_eq(
				store_check_journal(s->store, &lines, &broken), 0);
			ck_assert_msg(broken == 0, "%s: %s", kept_dumps[i],
				buffer_text(&lines));
			buffer_release(&lines);
			store_close(s->store);
			_cleanup_(freep) char *now = answer(s, kept_schema);
			_cleanup_(freep) char *rows_now = answer(s, kept_rows);
			_cleanup_(freep) char *journal_now = answer(s, kept_journal);
			ck_assert_str_eq(now, wanted);
			ck_assert_str_eq(rows_now, rows_before);
			ck_assert_str_eq(journal_now, journal_before);
		}
		end_kept(s);
	}
	end_kept(fresh);
}
END

/* Numbers that rows held before states had codes mean what they meant. */
TEST(states_of_an_earlier_schema_keep_their_numbers)
{
	for (size_t i = 0; i < ARRAY_LEN(kept_dumps); i++) {
		struct stored *s = kept_house();
		load_dump(s, kept_dumps[i]);
		open_kept(s);
		ck_assert_int_eq(sql_number(s->store, "SELECT count(*) FROM states "
						      "WHERE channel = 'fan_step'"),
			3);
		ck_assert_int_eq(sql_number(s->store, "SELECT code FROM states WHERE "
						      "name = 'slow'"),
			1);
		ck_assert_int_eq(sql_number(s->store, "SELECT code FROM states WHERE "
						      "name = 'hot_water'"),
			OPERATING_HOT_WATER);
		store_close(s->store);
		end_kept(s);
	}
}
END

	static void
	derive(struct stored *s, int64_t now_ms)
{
	struct decoder *decoder = decoder_new(s->config);
	struct deriver *deriver = deriver_new(s->store, decoder);
	int64_t days = 0;
	int r = derive_all(s->store, deriver, now_ms, NULL, &days);
	ck_assert_msg(r == 0, "%s", store_error(s->store));
	ck_assert_int_gt(days, 0);
	deriver_free(deriver);
	decoder_free(decoder);
}

static void copy_journal(const struct stored *from, const struct stored *to)
{
	_cleanup_(freep) char *path = xasprintf("%s/export", to->directory);
	struct import_report report;
	char why[320];
	FILE *f = fopen(path, "we");
	ck_assert_ptr_nonnull(f);
	ck_assert_msg(export_journal(from->config, f, why) == 0, "%s", why);
	ck_assert_int_eq(fclose(f), 0);
	const struct import_request request = {
		.paths = (const char *const[]){path}, .count = 1};
	int r = import_archives(to->config, &request, &report, why);
	ck_assert_msg(r == 0, "%s", why);
	ck_assert_uint_eq(report.records, 100);
}

/* What was dirty is derived, from states that the earlier program carried: the rows are
 * those of a fresh store that was fed with the same records. */
TEST(an_upgraded_store_derives_on_like_a_fresh_one)
{
	clock_test_start(DERIVED_MS + MS_PER_HOUR, 1000);
	for (size_t i = 0; i < ARRAY_LEN(kept_dumps); i++) {
		struct stored *s = kept_house(), *fresh = kept_house();
		load_dump(s, kept_dumps[i]);
		open_kept(s);
		derive(s, clock_now_ms());
		store_close(s->store);
		copy_journal(s, fresh);
		_cleanup_(freep) char *got = answer(s, kept_rows);
		_cleanup_(freep) char *wanted = answer(fresh, kept_rows);
		ck_assert_str_eq(got, wanted);
		end_kept(s);
		end_kept(fresh);
	}
}
END

	static void
	append(struct tail *tail, int64_t t_ms, const char *payload)
{
	struct record record = message(t_ms, "plant/fan", payload);
	ck_assert_int_eq(tail_append(tail, &record), 0);
}

/* A daemon of the earlier program was killed: what it accepted is in the journal once. */
TEST(the_tail_of_an_earlier_program_is_filed_once)
{
	clock_test_start(DERIVED_MS + MS_PER_HOUR, 1000);
	for (size_t i = 0; i < ARRAY_LEN(kept_dumps); i++) {
		struct stored *s = kept_house();
		struct tail *tail = NULL;
		int64_t sequence = 0;
		load_dump(s, kept_dumps[i]);
		ck_assert_int_eq(tail_open(s->directory, 0, 1 << 20, &tail), 0);
		append(tail, DERIVED_MS + 120000, "1");
		append(tail, DERIVED_MS + 180000, "2");
		tail_close(tail);
		for (int start = 0; start < 2; start++) {
			open_kept(s);
			ck_assert_int_eq(
				store_fact(s->store, FACT_COMMITTED_SEQUENCE, &sequence),
				0);
			ck_assert_int_eq(tail_open(s->directory, (uint64_t)sequence,
						 1 << 20, &tail),
				0);
			struct decoder *decoder = decoder_new(s->config);
			struct live *live = live_new(s->store, decoder, tail);
			while (live_take(live))
				;
			ck_assert_msg(live_commit(live) == 0, "%s", live_error(live));
			ck_assert_int_eq(
				sql_number(s->store,
					"SELECT sum(records) FROM chunks WHERE import "
					"IS NULL"),
				2);
			live_free(live);
			decoder_free(decoder);
			tail_close(tail);
			store_close(s->store);
		}
		end_kept(s);
	}
}
END

TESTS(every_earlier_schema_becomes_that_of_a_fresh_store,
	states_of_an_earlier_schema_keep_their_numbers,
	an_upgraded_store_derives_on_like_a_fresh_one,
	the_tail_of_an_earlier_program_is_filed_once)
