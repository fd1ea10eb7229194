/*
 * Events as rows: which there are, that deriving a stretch again replaces those of its
 * readings and no others, and what the query answers.
 *
 * Reference: event.h's and store.h's contracts. That all doors give the same rows is a
 * property of its own (tests/property).
 */
#include "filed.h"

#include <math.h>

#define PLANT                                                                            \
	"[plant]\nzone = UTC\n"                                                          \
	"[channel count]\ntopic = a/count\nunit = kWh\n"                                 \
	"[meter unit]\nfeeds = compressor\nregister = count\nmodulus = 1000 kWh\n"

#define AT(day, seconds) ((DAY + (day)) * MS_PER_DAY + (seconds)*1000)
#define SEEN_MOST        8

struct seen {
	struct event events[SEEN_MOST];
	char subjects[SEEN_MOST][16];
	size_t count;
};

static void see(const struct event *event, const char *subject, void *context)
{
	struct seen *seen = context;
	ck_assert_uint_lt(seen->count, SEEN_MOST);
	(void)snprintf(
		seen->subjects[seen->count], sizeof(*seen->subjects), "%s", subject);
	seen->events[seen->count++] = *event;
}

static struct seen seen_between(struct filed *f, int64_t from_ms, int64_t to_ms)
{
	struct seen seen = {.count = 0};
	int r = store_events(f->store, from_ms, to_ms, see, &seen);
	ck_assert_msg(r == 0, "%s", store_error(f->store));
	return seen;
}

/* A wrap on the first day, another meter over midnight, a glitch on the third day. */
static void file_readings(struct filed *f)
{
	file_message(f, AT(0, 3600), "a/count", "999.9");
	file_message(f, AT(0, 7200), "a/count", "0.2");
	file_message(f, AT(1, 86200), "a/count", "998");
	file_message(f, AT(1, 86390), "a/count", "998.01");
	file_message(f, AT(2, 10), "a/count", "998.02");
	file_message(f, AT(2, 3600), "a/count", "900");
	file_message(f, AT(2, 3660), "a/count", "998.03");
}

static void expect_all(struct filed *f)
{
	struct seen seen = seen_between(f, INT64_MIN, INT64_MAX);
	static const struct event wanted[] = {
		{EVENT_REGISTER_WRAPPED, AT(0, 7200), AT(0, 7200), 0, true, 999.9, 0.2},
		{EVENT_REGISTER_REPLACED, AT(1, 86200), AT(2, 10), 0, true, 0.2, 998},
		{EVENT_REGISTER_REFUSED, AT(2, 3600), AT(2, 3660), 0, true, 998.02, 900},
	};
	ck_assert_uint_eq(seen.count, ARRAY_LEN(wanted));
	for (size_t i = 0; i < ARRAY_LEN(wanted); i++) {
		const struct event *e = &seen.events[i], *w = &wanted[i];
		ck_assert_int_eq(e->kind, w->kind);
		ck_assert_int_eq(e->t_ms, w->t_ms);
		ck_assert_int_eq(e->made_ms, w->made_ms);
		ck_assert_uint_eq(e->subject, 0);
		ck_assert(e->is_meter);
		ck_assert_str_eq(seen.subjects[i], "unit");
		ck_assert_double_eq(e->before, w->before);
		ck_assert_double_eq(e->after, w->after);
	}
}

TEST(each_event_is_a_row_with_both_readings)
{
	struct filed f = filed_new(PLANT);
	file_readings(&f);
	derive_until(&f, (DAY + 3) * MIN_PER_DAY);
	expect_all(&f);
	/* Half open, by when it happened, not by when it was certain. */
	struct seen some = seen_between(&f, AT(1, 86200), AT(2, 3600));
	ck_assert_uint_eq(some.count, 1);
	ck_assert_int_eq(some.events[0].kind, EVENT_REGISTER_REPLACED);
	filed_free(&f);
}
END

TEST(a_day_that_is_derived_again_replaces_its_own)
{
	struct filed f = filed_new(PLANT);
	file_readings(&f);
	derive_until(&f, (DAY + 3) * MIN_PER_DAY);
	sql_run(f.store, "UPDATE events SET after = -7");
	ck_assert_int_eq(store_dirty_add(f.store, AT(1, 0), AT(1, 1)), 0);
	derive_until(&f, (DAY + 3) * MIN_PER_DAY);
	/* The replaced meter was certain on the third day, which began with the same. */
	ck_assert_int_eq(
		sql_number(f.store, "SELECT count(*) FROM events WHERE after = -7"), 3);
	ck_assert_int_eq(store_dirty_add(f.store, AT(2, 0), AT(2, 1)), 0);
	ck_assert_int_eq(store_dirty_add(f.store, AT(0, 0), AT(0, 1)), 0);
	derive_until(&f, (DAY + 3) * MIN_PER_DAY);
	expect_all(&f);
	filed_free(&f);
}
END

/* A late reading: the wrap was a wait, and what followed is judged by it. */
TEST(what_did_not_happen_is_told_no_more)
{
	struct filed f = filed_new(PLANT);
	file_message(&f, AT(0, 3600), "a/count", "999.9");
	file_message(&f, AT(0, 7200), "a/count", "0.2");
	derive_until(&f, (DAY + 1) * MIN_PER_DAY);
	ck_assert_uint_eq(seen_between(&f, INT64_MIN, INT64_MAX).count, 1);
	file_message(&f, AT(0, 1800), "a/count", "0.1");
	derive_until(&f, (DAY + 1) * MIN_PER_DAY);
	struct seen seen = seen_between(&f, INT64_MIN, INT64_MAX);
	ck_assert_uint_eq(seen.count, 1);
	ck_assert_int_eq(seen.events[0].kind, EVENT_REGISTER_REFUSED);
	ck_assert_double_eq(seen.events[0].after, 999.9);
	filed_free(&f);
}
END

TEST(a_meter_that_is_gone_keeps_its_name)
{
	struct filed f = filed_new(PLANT);
	file_readings(&f);
	derive_until(&f, (DAY + 3) * MIN_PER_DAY);
	filed_reconfigure(&f, "[plant]\nzone = UTC\n");
	struct seen seen = seen_between(&f, INT64_MIN, INT64_MAX);
	ck_assert_uint_eq(seen.count, 3);
	ck_assert_uint_eq(seen.events[0].subject, EVENT_SUBJECT_GONE);
	ck_assert_str_eq(seen.subjects[0], "unit");
	filed_free(&f);
}
END

TEST(what_has_no_number_is_null)
{
	struct filed f = filed_new(PLANT);
	const struct event made[] = {
		{EVENT_REGISTER_RESET, 5, 7, 0, false, (double)NAN, 3},
		{EVENT_REGISTER_RESET, 5, 10, 0, false, 1, 3}};
	/* The second one is no reading's of that stretch. */
	ck_assert_int_eq(store_events_put(f.store, made, 2, 0, 10), 0);
	ck_assert_int_eq(sql_number(f.store, "SELECT before FROM events"), SQL_NULL);
	struct seen seen = seen_between(&f, 0, 10);
	ck_assert_uint_eq(seen.count, 1);
	ck_assert(isnan(seen.events[0].before));
	ck_assert(!seen.events[0].is_meter);
	ck_assert_str_eq(seen.subjects[0], "count");
	filed_free(&f);
}
END

TESTS(each_event_is_a_row_with_both_readings,
	a_day_that_is_derived_again_replaces_its_own, what_did_not_happen_is_told_no_more,
	a_meter_that_is_gone_keeps_its_name, what_has_no_number_is_null)
