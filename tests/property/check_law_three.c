/*
 * Law 3, sums close: stored hours and days equal their minutes to the joule and the
 * millisecond, and every query equals a sum made here over the rows of minutes, for every
 * step, for spans with odd ends, and in zones with days of 23 to 25 hours. Local dates
 * are the C library's.
 */
#include "rounds.h"
#include "rows.h"

#include <sqlite3.h>

struct round {
	uint64_t seed, random;
	struct plant plant;
	struct door door;
	struct store *store;
	struct energy_minutes minutes;
	int64_t until; /* minute */
	struct boundary boundary;
};

static void begin(struct round *r, uint64_t seed)
{
	char why[256];
	*r = (struct round){.seed = seed, .random = seed + 3};
	plant_make(&r->plant, seed, &(struct plant_wish){.records = 1500});
	door_open(&r->plant, &r->door);
	door_import_all(&r->door, &r->plant,
		r->plant.to_ms + unit_random_between(&r->random, 0, 2 * MS_PER_DAY));
	r->until = door_derived_until_ms(&r->door) / MS_PER_MIN;
	r->store = door_store(&r->door, STORE_READ);
	rows_load(r->store, &r->minutes);
	/* Without meters heat alone decides. */
	if (boundary_find(r->door.config, NULL, &r->boundary, why) != 0)
		r->boundary = (struct boundary){0};
	(void)rows_pair(&r->minutes, r->door.config, &r->boundary);
}

static void end(struct round *r)
{
	rows_release(&r->minutes);
	store_close(r->store);
	door_close(&r->door);
	plant_release(&r->plant);
}

/* ---- stored hours and days ---- */

/* The hour, or the local day, of a minute; both end by the derived end, or do not count.
 */
typedef int64_t key_of(int64_t minute);

static int64_t hour_of(int64_t minute)
{
	return floor_div(minute, 60);
}

static bool is_closed(const struct round *r, key_of *key, int64_t minute)
{
	return key(minute) < key(r->until);
}

/* Stored energy sums of a table, all of them together with those of its minutes: each
 * stored row is taken off, each row of minutes added; everything must come to nothing. */
struct balance {
	int64_t key;
	struct energy_sum modes[MODE_COUNT];
};

static void take_off(sqlite3_stmt *row, size_t meters, struct energy_sum *sum)
{
	sum->observed_ms -= sqlite3_column_int64(row, 2);
	sum->heat_j -= sqlite3_column_int64(row, 3);
	sum->heat_ms -= sqlite3_column_int64(row, 4);
	sum->sensitivity_j_per_k -= (double)sqlite3_column_int64(row, 5);
	for (int m = 0; m < (int)meters; m++) {
		sum->meter_j[m] -= sqlite3_column_int64(row, 6 + 2 * m);
		sum->meter_ms[m] -= sqlite3_column_int64(row, 7 + 2 * m);
	}
}

static struct balance *balance_of(struct balance *all, size_t *count, int64_t key)
{
	for (size_t i = *count; i-- > 0;)
		if (all[i].key == key)
			return &all[i];
	ck_assert_uint_lt(*count, 400);
	all[*count] = (struct balance){.key = key};
	return &all[(*count)++];
}

static void balance_rows(struct round *r, const char *table, const char *start,
	key_of *key, struct balance *all, size_t *count)
{
	const struct config *config = r->door.config;
	struct buffer sql = {0};
	sqlite3_stmt *rows = NULL;
	buffer_addf(&sql, "SELECT %s, mode, ms, heat_j, heat_ms, sensitivity", start);
	for (size_t m = 0; m < config->meter_count; m++)
		buffer_addf(&sql, ", e_%s_j, e_%s_ms", config->meters[m].name,
			config->meters[m].name);
	buffer_addf(&sql, " FROM %s", table);
	ck_assert_int_eq(sqlite3_prepare_v2(store_handle(r->store), sql.data,
				 (int)sql.length, &rows, NULL),
		SQLITE_OK);
	while (sqlite3_step(rows) == SQLITE_ROW) {
		int64_t minute = sqlite3_column_int64(rows, 0);
		ck_assert_msg(is_closed(r, key, minute), "SEED=%llu: %s at %lld is open",
			(unsigned long long)r->seed, table, (long long)minute);
		struct balance *b = balance_of(all, count, key(minute));
		take_off(rows, config->meter_count,
			&b->modes[sqlite3_column_int(rows, 1)]);
	}
	(void)sqlite3_finalize(rows);
	buffer_release(&sql);
}

static void check_stored(
	struct round *r, const char *table, const char *start, key_of *key)
{
	struct balance *all = xcalloc(400, sizeof(*all));
	size_t count = 0;
	const struct energy_sum nothing = {0};

	balance_rows(r, table, start, key, all, &count);
	for (size_t i = 0; i < r->minutes.count; i++) {
		struct energy_minute row = r->minutes.rows[i];
		if (!is_closed(r, key, row.minute))
			continue;
		row.sum.paired_ms = row.sum.paired_heat_j = 0;
		row.sum.paired_electricity_j = 0;
		row.sum.paired_sensitivity_j_per_k = 0.0;
		sum_add(&balance_of(all, &count, key(row.minute))->modes[row.mode],
			&row.sum);
	}
	for (size_t i = 0; i < count; i++)
		for (size_t m = 0; m < MODE_COUNT; m++) {
			const char *field = sum_differs(&all[i].modes[m], &nothing);
			ck_assert_msg(!field, "SEED=%llu: %s %lld %s: %s",
				(unsigned long long)r->seed, table, (long long)all[i].key,
				mode_name((enum mode)m), field);
		}
	free(all);
}

TEST(stored_hours_and_days_equal_their_minutes)
{
	FOR_ROUNDS(seed, 2)
	{
		struct round r;
		begin(&r, seed);
		door_check(&r.door, "laws as SQL");
		check_stored(&r, "energy_hours", "hour * 60", hour_of);
		check_stored(&r, "energy_days", "start_minute", local_day);
		end(&r);
	}
}
END_TEST

/* ---- channels of hours and days ---- */

struct mean {
	int64_t known_ms;
	double weighted;
};

/* Of the channel's stored minutes in [from, to). */
static struct mean mean_of(struct round *r, const char *channel, int64_t from, int64_t to)
{
	struct mean mean = {0};
	sqlite3_stmt *rows = NULL;
	_cleanup_(freep) char *sql = xasprintf("SELECT c_%s, c_%s_ms FROM minutes WHERE "
					       "minute >= %lld AND minute < %lld",
		channel, channel, (long long)from, (long long)to);
	ck_assert_int_eq(sqlite3_prepare_v2(store_handle(r->store), sql, -1, &rows, NULL),
		SQLITE_OK);
	while (sqlite3_step(rows) == SQLITE_ROW) {
		if (sqlite3_column_type(rows, 0) == SQLITE_NULL)
			continue;
		int64_t ms = sqlite3_column_type(rows, 1) == SQLITE_NULL
				     ? MS_PER_MIN
				     : sqlite3_column_int64(rows, 1);
		mean.known_ms += ms;
		mean.weighted += (double)sqlite3_column_int64(rows, 0) * (double)ms;
	}
	(void)sqlite3_finalize(rows);
	return mean;
}

static void check_means(struct round *r, const char *table, const char *from,
	const char *to, const struct channel_config *channel)
{
	sqlite3_stmt *rows = NULL;
	_cleanup_(freep) char *sql = xasprintf("SELECT %s, %s, c_%s, c_%s_ms FROM %s",
		from, to, channel->name, channel->name, table);
	ck_assert_int_eq(sqlite3_prepare_v2(store_handle(r->store), sql, -1, &rows, NULL),
		SQLITE_OK);
	while (sqlite3_step(rows) == SQLITE_ROW) {
		struct mean mean = mean_of(r, channel->name,
			sqlite3_column_int64(rows, 0), sqlite3_column_int64(rows, 1));
		int64_t value = sqlite3_column_int64(rows, 2);
		ck_assert_msg(sqlite3_column_int64(rows, 3) == mean.known_ms,
			"SEED=%llu: %s of %s at %lld: known %lld ms, not %lld",
			(unsigned long long)r->seed, channel->name, table,
			(long long)sqlite3_column_int64(rows, 0),
			(long long)sqlite3_column_int64(rows, 3),
			(long long)mean.known_ms);
		if (mean.known_ms == 0 || channel->map_count)
			continue;
		double expect = mean.weighted / (double)mean.known_ms;
		ck_assert_msg(fabs((double)value - expect) < 0.5001,
			"SEED=%llu: %s of %s: %lld, not %f", (unsigned long long)r->seed,
			channel->name, table, (long long)value, expect);
	}
	(void)sqlite3_finalize(rows);
}

TEST(hourly_and_daily_means_weigh_by_known_time)
{
	FOR_ROUNDS(seed, 1)
	{
		struct round r;
		begin(&r, seed);
		for (size_t c = 0; c < r.door.config->channel_count; c++) {
			const struct channel_config *channel =
				&r.door.config->channels[c];
			check_means(&r, "hours", "hour * 60", "hour * 60 + 60", channel);
			check_means(&r, "days", "start_minute", "end_minute", channel);
		}
		end(&r);
	}
}
END_TEST

/* ---- queries ---- */

static const char *const steps[] = {"PT1M", "PT15M", "PT1H", "P1D", "P1W", "P1M", "P1Y"};

/* Which bucket a minute belongs to: two minutes share one iff their keys are equal. */
static int64_t bucket_key(size_t step, int64_t minute)
{
	struct tm tm = local_time(minute);
	switch (step) {
	case 0:
		return minute;
	case 1:
		return floor_div(minute, 15);
	case 2:
		return floor_div(minute, 60);
	case 3:
		return local_day(minute);
	case 4:
		return floor_div(
			local_day(minute) + 3, 7); /* 1970-01-01 was a Thursday */
	case 5:
		return tm.tm_year * 12 + tm.tm_mon;
	default:
		return tm.tm_year;
	}
}

static void check_edges(
	const struct round *r, size_t step, const int64_t *edges_ms, size_t count)
{
	size_t bucket = 0;
	int64_t from = edges_ms[0] / MS_PER_MIN, to = edges_ms[count] / MS_PER_MIN;
	for (int64_t minute = from + 1; minute < to; minute++) {
		bool new = bucket_key(step, minute) != bucket_key(step, minute - 1);
		bucket += new;
		ck_assert_msg(bucket < count &&
				      (edges_ms[bucket] == minute * MS_PER_MIN) == new,
			"SEED=%llu: %s: edge at minute %lld", (unsigned long long)r->seed,
			steps[step], (long long)minute);
	}
	ck_assert_uint_eq(bucket + 1, count);
}

static void expect_same(const struct round *r, size_t step,
	const struct energy_bucket *got, const struct energy_bucket *expect)
{
	ck_assert_msg(got->modes_seen == expect->modes_seen,
		"SEED=%llu: %s at %lld: modes %x, not %x", (unsigned long long)r->seed,
		steps[step], (long long)(got->t_ms / MS_PER_MIN), got->modes_seen,
		expect->modes_seen);
	for (size_t m = 0; m < MODE_COUNT; m++) {
		const char *field = sum_differs(&got->modes[m], &expect->modes[m]);
		ck_assert_msg(!field, "SEED=%llu: %s at minute %lld %s: %s",
			(unsigned long long)r->seed, steps[step],
			(long long)(got->t_ms / MS_PER_MIN), mode_name((enum mode)m),
			field);
	}
}

static void check_query(struct round *r, size_t step, int64_t from, int64_t to)
{
	static struct energy_answer answer;
	struct duration duration;
	static struct energy_bucket total, summed;
	int64_t *edges = NULL;
	size_t count = 0, at = 0;

	memset(&total, 0, sizeof(total));
	memset(&summed, 0, sizeof(summed));
	ck_assert_int_eq(duration_parse(steps[step], &duration), 0);
	ck_assert_int_eq(query_buckets(from * MS_PER_MIN, to * MS_PER_MIN, &duration,
				 100000, &edges, &count),
		0);
	check_edges(r, step, edges, count);
	ck_assert_int_eq(query_energy(r->store, edges, count, &r->boundary, &answer), 0);
	while (at < r->minutes.count && r->minutes.rows[at].minute < from)
		at++;
	for (size_t i = 0; i < count; i++) {
		struct energy_bucket expect = {0};
		for (; at < r->minutes.count &&
			r->minutes.rows[at].minute * MS_PER_MIN < edges[i + 1];
			at++) {
			const struct energy_minute *row = &r->minutes.rows[at];
			sum_add(&expect.modes[row->mode], &row->sum);
			sum_add(&total.modes[row->mode], &row->sum);
			expect.modes_seen |= 1u << row->mode;
		}
		total.modes_seen |= expect.modes_seen;
		expect_same(r, step, &answer.buckets[i], &expect);
		for (size_t m = 0; m < MODE_COUNT; m++)
			sum_add(&summed.modes[m], &answer.buckets[i].modes[m]);
		summed.modes_seen |= answer.buckets[i].modes_seen;
	}
	expect_same(r, step, &answer.total, &total);
	expect_same(r, step, &answer.total, &summed);
	energy_answer_release(&answer);
	free(edges);
}

/* Now and then an end lies on a whole hour or a local midnight, or beyond all rows. */
static int64_t odd_minute(struct round *r)
{
	int64_t first = r->plant.from_ms / MS_PER_MIN - 3 * MIN_PER_DAY;
	int64_t minute =
		unit_random_between(&r->random, first, r->until + 2 * MIN_PER_DAY);
	switch (plant_choose(&r->random, 4)) {
	case 0:
		return floor_div(minute, 60) * 60;
	case 1:
		return calendar_day_start(calendar_date(minute * MS_PER_MIN)) /
		       MS_PER_MIN;
	default:
		return minute;
	}
}

TEST(every_query_equals_a_sum_over_minutes)
{
	FOR_ROUNDS(seed, 3)
	{
		struct round r;
		begin(&r, seed);
		for (size_t step = 0; step < ARRAY_LEN(steps); step++)
			for (int i = 0; i < 5; i++) {
				int64_t from = odd_minute(&r), to = odd_minute(&r);
				int64_t most = step == 0 ? 1500 : 20 * MIN_PER_DAY;
				if (from >= to)
					to = from + 1 + (from - to);
				check_query(&r, step, from,
					to - from > most ? from + most : to);
			}
		end(&r);
	}
}
END_TEST

/* The modes of a minute and what is known in it never exceed it. */
TEST(the_modes_of_a_minute_fill_at_most_the_minute)
{
	FOR_ROUNDS(seed, 2)
	{
		struct round r;
		begin(&r, seed);
		struct energy_sum sum = {0};
		for (size_t i = 0; i < r.minutes.count; i++) {
			const struct energy_minute *row = &r.minutes.rows[i];
			if (i > 0 && row[-1].minute != row->minute)
				sum = (struct energy_sum){0};
			sum_add(&sum, &row->sum);
			bool fits = sum.observed_ms <= MS_PER_MIN &&
				    sum.heat_ms <= sum.observed_ms;
			for (size_t m = 0; m < METERS_MOST; m++)
				fits = fits && sum.meter_ms[m] <= sum.observed_ms;
			ck_assert_msg(fits, "SEED=%llu: minute %lld",
				(unsigned long long)seed, (long long)row->minute);
		}
		end(&r);
	}
}
END_TEST

TESTS(stored_hours_and_days_equal_their_minutes,
	hourly_and_daily_means_weigh_by_known_time, every_query_equals_a_sum_over_minutes,
	the_modes_of_a_minute_fill_at_most_the_minute)
