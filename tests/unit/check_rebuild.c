/*
 * Rebuilding as a library: what it takes up, where it ends, what it is told by the lock.
 * Reference: rebuild.h, deriver.h. What it does to rows is held by the integration test
 * of the same name and by law 1's and 2's.
 */
#include "filed.h"

#include <heatbook/clock.h>
#include <heatbook/rebuild.h>

/* clang-format off */
#define PLANT \
	"[plant]\nzone = UTC\n[source x]\nsilent_after = none\n" \
	"[channel a]\ntopic = x/a\nstale_after = 20 h\n"
#define WARMER   PLANT "offset = 1\n"
#define SECOND   PLANT "[channel b]\ntopic = x/b\nstale_after = 20 h\n"
#define AT(d, s) ((DAY + (d)) * MS_PER_DAY + (s) * INT64_C(1000))
/* clang-format on */

/* Six days with a word each, derived; the store is then at rest. */
static struct stored *six_days(void)
{
	struct filed f = filed_new(PLANT);
	clock_test_start(AT(7, 0), 1000);
	for (int d = 0; d < 6; d++) {
		file_message(&f, AT(d, 36000), "x/a", "20");
		file_message(&f, AT(d, 36000), "x/b", "30");
	}
	(void)derive_until(&f, (DAY + 7) * MIN_PER_DAY);
	ck_assert_int_eq(
		store_set_fact(f.store, FACT_DERIVED_UNTIL_MS, AT(7, 0) - 60000), 0);
	filed_end(&f);
	return f.stored;
}

/* Breaks a rebuild off after some days: it is asked thrice while spans are looked at, and
 * before each day. */
#define ASKED_BEFORE 3
struct breaker {
	int64_t days, asked;
};

static void note_progress(const struct progress *progress, void *context)
{
	(void)context;
	ck_assert_int_eq(progress->stage, PROGRESS_DERIVING);
}

static bool is_enough(void *context)
{
	struct breaker *breaker = context;
	return ++breaker->asked > ASKED_BEFORE + breaker->days && breaker->days >= 0;
}

/* Under a configuration; broken off after so many days where that is not negative. */
static struct rebuild_report rebuilt(
	struct stored *s, const char *text, int64_t from_ms, int64_t to_ms, int64_t days)
{
	struct breaker breaker = {.days = days};
	struct rebuild_request request = {.from_ms = from_ms,
		.to_ms = to_ms,
		.progress = {note_progress, &breaker},
		.stop = is_enough,
		.context = &breaker};
	struct rebuild_report report;
	char why[320];
	stored_reopen(s, text);
	int r = rebuild_span(s->config, &request, &report, why);
	ck_assert_msg(r == 0, "%d: %s", r, why);
	return report;
}

static int64_t older_days(struct stored *s)
{
	struct older_days older = {.count = -1};
	ck_assert_int_eq(store_older_days(s->store, 0, INT64_MAX, &older), 0);
	return older.count;
}

#define EVERYTHING REBUILD_FIRST, REBUILD_LAST

TEST(what_was_broken_off_goes_on)
{
	struct stored *s = six_days();
	struct rebuild_report report = rebuilt(s, WARMER, EVERYTHING, 2);
	ck_assert(report.ended && !report.went_on);
	ck_assert_int_eq(report.days, 2);
	ck_assert_int_gt(report.left, 3);
	ck_assert_int_eq(older_days(s), report.left);
	int64_t left = report.left;
	report = rebuilt(s, WARMER, EVERYTHING, -1);
	ck_assert(!report.ended && report.went_on);
	ck_assert_int_eq(report.days, left);
	ck_assert_int_eq(older_days(s), 0);
	report = rebuilt(s, WARMER, EVERYTHING, -1);
	ck_assert(!report.went_on);
	ck_assert_int_eq(report.days, left + 2);
	stored_free(s);
}
END

TEST(another_span_or_mapping_begins_anew)
{
	struct stored *s = six_days();
	int64_t all = rebuilt(s, PLANT, EVERYTHING, -1).days;
	(void)rebuilt(s, WARMER, EVERYTHING, 2);
	struct rebuild_report report = rebuilt(s, WARMER, AT(0, 0), AT(3, 0), -1);
	ck_assert(!report.went_on);
	(void)rebuilt(s, PLANT, EVERYTHING, 2);
	report = rebuilt(s, WARMER, EVERYTHING, -1);
	ck_assert(!report.went_on);
	ck_assert_int_eq(report.days, all);
	/* Broken off, and then days before the rest were made by another mapping. */
	(void)rebuilt(s, PLANT, EVERYTHING, 3);
	sql_run(s->store, "UPDATE days_made SET mapping = mapping + 1 WHERE day = 20455");
	report = rebuilt(s, PLANT, EVERYTHING, -1);
	ck_assert(!report.went_on);
	ck_assert_int_eq(report.days, all);
	stored_free(s);
}
END

TEST(a_span_is_cut_to_what_there_is_and_takes_whole_days)
{
	struct stored *s = six_days();
	struct rebuild_report report =
		rebuilt(s, WARMER, AT(-9000, 0), AT(1, 1), -1); /* decades before */
	ck_assert_int_eq(report.days, 2);
	report = rebuilt(s, WARMER, AT(3, 40000), AT(9000, 0), -1);
	ck_assert_int_eq(report.days, 4);
	ck_assert_int_eq(older_days(s), 1);
	report = rebuilt(s, WARMER, AT(100, 0), AT(101, 0), -1);
	ck_assert_int_eq(report.days, 0);
	stored_free(s);
}
END

/* Its value of the evening before reaches into the span, as if it had been mapped. */
TEST(a_new_channel_holds_what_it_said_the_day_before)
{
	struct stored *s = six_days();
	(void)rebuilt(s, SECOND, AT(3, 0), AT(4, 0), -1);
	_cleanup_(freep) char *sql =
		xasprintf("SELECT c_b FROM minutes WHERE minute = %lld",
			(long long)((DAY + 3) * MIN_PER_DAY + 60));
	ck_assert_int_eq(sql_number(s->store, sql), 30000);
	/* The day before keeps its rows. */
	ck_assert_int_eq(sql_number(s->store, "SELECT count(c_b) FROM minutes "
					      "WHERE minute / 1440 <> 20457"),
		0);
	stored_free(s);
}
END

TEST(sealed_days_are_named)
{
	struct stored *s = six_days();
	for (int i = 0; i < 4; i++) {
		static const int days[] = {0, 2, 3, 5};
		_cleanup_(freep) char *sql =
			xasprintf("INSERT INTO sealed (day, chunk, until_minute) VALUES "
				  "(%lld, (SELECT min(id) FROM chunks), %lld)",
				(long long)DAY + days[i],
				(long long)(DAY + days[i] + 1) * MIN_PER_DAY);
		sql_run(s->store, sql);
	}
	struct rebuild_report report = rebuilt(s, WARMER, EVERYTHING, -1);
	ck_assert_int_eq(report.sealed.count, 4);
	ck_assert_str_eq(
		report.sealed.dates, "2026-01-01, 2026-01-03 to 2026-01-04, 2026-01-06");
	ck_assert_int_eq(older_days(s), 4);
	/* Those that it keeps are no reason to begin anew. */
	(void)rebuilt(s, PLANT, EVERYTHING, 4);
	ck_assert(rebuilt(s, PLANT, EVERYTHING, -1).went_on);
	stored_free(s);
}
END

TEST(the_lock_tells_the_mapping_of_who_has_it)
{
	struct stored *s = six_days();
	struct deriver_holder told;
	char long_word[1000] = "";
	int lock;
	ck_assert_int_eq(deriver_lock(s->config, &lock), 0);
	ck_assert_int_eq(deriver_holder(s->config, &told), 0);
	ck_assert_uint_eq(told.mapping, s->config->mapping_digest);
	ck_assert_str_eq(told.trouble, "");
	_cleanup_(config_freep) struct config *other =
		configured_in(s->directory, WARMER);
	deriver_tell(other, lock, "commit: no room; make some");
	ck_assert_int_eq(deriver_holder(s->config, &told), 0);
	ck_assert_uint_eq(told.mapping, other->mapping_digest);
	ck_assert_str_eq(told.trouble, "commit: no room; make some");
	memset(long_word, 'x', sizeof(long_word) - 1);
	deriver_tell(other, lock, long_word);
	ck_assert_int_eq(deriver_holder(s->config, &told), 0);
	ck_assert_uint_eq(strlen(told.trouble), sizeof(told.trouble) - 1);
	deriver_tell(other, lock, "");
	ck_assert_int_eq(deriver_holder(s->config, &told), 0);
	ck_assert_str_eq(told.trouble, "");
	ck_assert_int_eq(ftruncate(lock, 5), 0);
	ck_assert_int_eq(deriver_holder(s->config, &told), -ENODATA);
	/* Then nobody is asked to derive. */
	struct rebuild_request request = {
		.from_ms = REBUILD_FIRST, .to_ms = REBUILD_LAST};
	struct rebuild_report report;
	char why[320];
	ck_assert_int_eq(rebuild_span(s->config, &request, &report, why), -EBUSY);
	ck_assert_ptr_nonnull(strstr(why, "stop it, then rebuild"));
	ck_assert_int_eq(close(lock), 0);
	stored_free(s);
}
END

	/* Looks a second apart by the test clock, and what happens at one of them. */
	struct looks {
	struct stored *stored;
	int lock, count, at;
	const char
		*word; /* told then; NULL: the lock is given up, "done": all is derived */
	bool ends;
};

static bool look(int64_t left, void *context)
{
	struct looks *l = context;
	ck_assert_int_eq(left,
		l->count > l->at && l->word && strcmp(l->word, "done") == 0 ? 0 : 3);
	clock_test_advance(1000);
	ck_assert_int_lt(l->count, 40);
	if (l->count++ != l->at)
		return false;
	if (!l->word)
		ck_assert_int_eq(close(l->lock), 0);
	else if (strcmp(l->word, "done") == 0)
		ck_assert_int_eq(store_dirty_done(l->stored->store, INT64_MAX / 2), 0);
	else
		deriver_tell(l->stored->config, l->lock, l->word);
	return l->ends;
}

TEST(who_waits_is_told_what_holds_the_other_up)
{
	struct stored *s = six_days();
	struct looks looks = {.stored = s, .at = 3, .word = "no room; make some"};
	char why[320] = "";
	int taken = -1;
	stored_reopen(s, PLANT);
	ck_assert_int_eq(store_dirty_add(s->store, AT(1, 0), AT(4, 0)), 0);
	ck_assert_int_eq(deriver_lock(s->config, &looks.lock), 0);
	ck_assert_int_eq(
		deriver_await(s->store, look, &looks, &taken, why), DERIVER_HELD_UP);
	ck_assert_ptr_nonnull(
		strstr(why, "cannot derive: no room; make some; once it can"));
	ck_assert_int_ge(looks.count, 8); /* not at once: it may pass */
	/* Without trouble it is waited for, however long it takes. */
	deriver_tell(s->config, looks.lock, "");
	looks.count = 0;
	looks.at = 8;
	looks.word = "done";
	ck_assert_int_eq(deriver_await(s->store, look, &looks, &taken, why), 0);
	ck_assert_int_eq(looks.count, 10);
	ck_assert_int_eq(store_dirty_add(s->store, AT(1, 0), AT(4, 0)), 0);
	looks.count = looks.at = 0;
	looks.word = "";
	looks.ends = true;
	ck_assert_int_eq(
		deriver_await(s->store, look, &looks, &taken, why), DERIVER_ENDED);
	ck_assert_int_eq(taken, -1);
	ck_assert_int_eq(close(looks.lock), 0);
	stored_free(s);
}
END

TEST(who_waits_takes_over_from_one_that_ends)
{
	struct stored *s = six_days();
	struct looks looks = {.stored = s, .at = 2};
	char why[320] = "";
	int taken = -1, again;
	stored_reopen(s, PLANT);
	ck_assert_int_eq(store_dirty_add(s->store, AT(1, 0), AT(4, 0)), 0);
	ck_assert_int_eq(deriver_lock(s->config, &looks.lock), 0);
	ck_assert_int_eq(
		deriver_await(s->store, look, &looks, &taken, why), DERIVER_FREE);
	ck_assert_int_eq(deriver_lock(s->config, &again), DERIVER_TAKEN);
	ck_assert_int_eq(close(taken), 0);
	stored_free(s);
}
END

TESTS(what_was_broken_off_goes_on, another_span_or_mapping_begins_anew,
	a_span_is_cut_to_what_there_is_and_takes_whole_days,
	a_new_channel_holds_what_it_said_the_day_before, sealed_days_are_named,
	the_lock_tells_the_mapping_of_who_has_it, who_waits_is_told_what_holds_the_other_up,
	who_waits_takes_over_from_one_that_ends)
