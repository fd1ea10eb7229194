/*
 * Minutes into hours and local days, and buckets over them, on the odd dates of odd
 * zones. One row a minute is stored, with energies that no two spans share; what days,
 * months and buckets answer is compared with a plain sum over the minutes.
 *
 * References: tests/data/time_dst_days.csv and time_month_totals.csv (computed with
 * Python's zoneinfo, tzdata 2025b); edges of weeks, months and years computed with the
 * same. RFC 9636 zones hold whole minutes since long ago.
 */
#include "stored.h"

#include <heatbook/query.h>
#include <heatbook/run_rows.h>

#define CHANNELS                                                                         \
	"[channel room_temperature]\ntopic = a/room\nextremes = yes\n"                   \
	"[channel valve]\ntopic = a/valve\n"                                             \
	"[channel unit_power]\ntopic = a/unit\nunit = W\n"                               \
	"[meter unit]\nfeeds = compressor\npower = unit_power\n"

static struct stored *store_in_zone(const char *zone)
{
	_cleanup_(freep) char *text = xasprintf("[plant]\nzone = %s\n%s", zone, CHANNELS);
	return stored_new(text);
}

/* What is stored of a minute. Heat may be negative, as in a defrost. */
static int64_t heat_of(int64_t minute)
{
	return (minute * 2654435761) % 100003 - 20000;
}

static int64_t electricity_of(int64_t minute)
{
	return (minute * 40503) % 50021;
}

static enum mode mode_of(int64_t minute)
{
	return minute % 11 == 0 ? MODE_DEFROST : MODE_HEATING;
}

static bool meter_known(int64_t minute)
{
	return minute % 5 != 0;
}

/* 0.01 °C */
static int64_t room_of(int64_t minute)
{
	return minute * 7919 % 4001;
}

/* Time for which it is known: means weigh by it. */
static int64_t room_ms_of(int64_t minute)
{
	return minute % 4 ? 60000 : 7000;
}

static void put_minutes(struct store *store, int64_t from, int64_t to)
{
	ck_assert_int_eq(store_begin(store), 0);
	for (int64_t m = from; m < to; m++) {
		struct made made;
		enum mode mode = mode_of(m);
		made_at(&made, m);
		made_channel(&made, 0, (double)room_of(m) / 100, room_ms_of(m));
		if (m % 3)
			made_channel(&made, 1, m % 9 ? 1 : 0, m % 3 == 1 ? 60000 : 1000);
		made_heat(&made, mode, (double)heat_of(m));
		if (meter_known(m))
			made_meter(&made, mode, 0, (double)electricity_of(m));
		ck_assert_int_eq(store_minute_add(store, &made.minute), 0);
	}
	ck_assert_int_eq(store_rollup(store, from, to, to), 0);
	ck_assert_int_eq(
		store_set_fact(store, FACT_DERIVED_UNTIL_MS, to * MS_PER_MIN), 0);
	ck_assert_int_eq(store_commit(store), 0);
}

struct sums {
	int64_t heat_j, electricity_j, defrost_j, minutes, metered, paired_heat_j;
};

static struct sums sums_of(int64_t from, int64_t to)
{
	struct sums s = {0};
	for (int64_t m = from; m < to; m++) {
		s.minutes++;
		s.heat_j += heat_of(m);
		if (mode_of(m) == MODE_DEFROST)
			s.defrost_j += heat_of(m);
		if (!meter_known(m))
			continue;
		s.metered++;
		s.electricity_j += electricity_of(m);
		s.paired_heat_j += heat_of(m);
	}
	return s;
}

/* `what` of a table where its column is the number. */
static int64_t asked(struct store *store, const char *what, const char *table,
	const char *column, int64_t number)
{
	_cleanup_(freep) char *sql = xasprintf("SELECT %s FROM %s WHERE %s = %lld", what,
		table, column, (long long)number);
	return sql_number(store, sql);
}

static int64_t epoch_minute(const char *text)
{
	return strtoll(text, NULL, 10) / 60;
}

/* Channels of a stored hour or day against a plain walk over its minutes. */
static void expect_channels(struct store *store, const char *table, const char *column,
	int64_t number, int64_t from, int64_t to)
{
	int64_t room = 0, ms = 0, least = INT64_MAX, most = INT64_MIN;
	for (int64_t m = from; m < to; m++) {
		room += room_of(m) * room_ms_of(m);
		ms += room_ms_of(m);
		least = room_of(m) < least ? room_of(m) : least;
		most = room_of(m) > most ? room_of(m) : most;
	}
#define OF(what) asked(store, what, table, column, number)
	ck_assert_int_eq(OF("c_room_temperature_ms"), ms);
	ck_assert_int_eq(OF("c_room_temperature"), llround((double)room / (double)ms));
	ck_assert_int_eq(OF("c_room_temperature_least"), least - 100);
	ck_assert_int_eq(OF("c_room_temperature_most"), most + 100);
	ck_assert_int_eq(OF("c_valve"), 1);
	ck_assert_int_eq(OF("c_unit_power"), SQL_NULL);
#undef OF
}

/* The stored day against a plain walk over its minutes. */
static void expect_day(struct store *store, const char *date, int64_t start, int64_t end)
{
	struct sums sums = sums_of(start, end);
	_cleanup_(freep) char *begin =
		xasprintf("SELECT start_minute FROM days WHERE date = '%s'", date);

	ck_assert_int_eq(sql_number(store, begin), start);
	expect_channels(store, "days", "start_minute", start, start, end);
#define DAY(table, what) asked(store, what, table, "start_minute", start)
	ck_assert_int_eq(DAY("days", "end_minute"), end);
	ck_assert_int_eq(DAY("energy_days", "sum(ms)"), sums.minutes * 60000);
	ck_assert_int_eq(DAY("energy_days", "sum(heat_j)"), sums.heat_j);
	ck_assert_int_eq(DAY("energy_days", "sum(heat_ms)"), sums.minutes * 60000);
	ck_assert_int_eq(DAY("energy_days", "sum(e_unit_j)"), sums.electricity_j);
	ck_assert_int_eq(DAY("energy_days", "sum(e_unit_ms)"), sums.metered * 60000);
	ck_assert_int_eq(DAY("energy_days", "sum(heat_j * (mode = 3))"), sums.defrost_j);
	ck_assert_int_eq(
		DAY("energy_days", "sum(heat_j * (known & 2 <> 0))"), sums.paired_heat_j);
#undef DAY
}

static void expect_laws(struct store *store)
{
	struct buffer lines = {0};
	size_t count = 0;
	ck_assert_int_eq(store_checks(store, &lines, &count), 0);
	ck_assert_msg(count == 0, "%s", buffer_text(&lines));
	buffer_release(&lines);
}

/* f: zone, local_date, start_utc, start_epoch, end_epoch, length_s, minute_rows … */
static void check_odd_day(char **f, size_t count, void *context)
{
	int64_t start = epoch_minute(f[3]), end = epoch_minute(f[4]);
	struct stored *s = store_in_zone(f[0]);
	(void)context;
	ck_assert_uint_eq(count, 9);
	ck_assert_int_eq(end - start, strtoll(f[6], NULL, 10));

	put_minutes(s->store, start - 1800, end + 1800);
	if (start == end) {
		_cleanup_(freep) char *rows =
			xasprintf("SELECT count(*) FROM days WHERE date = '%s'", f[1]);
		ck_assert_int_eq(sql_number(s->store, rows), 0);
	} else {
		expect_day(s->store, f[1], start, end);
	}
	/* The days beside it touch it; of the one before these, six hours were stored. */
	ck_assert_int_eq(asked(s->store, "count(*)", "days", "end_minute", start), 1);
	ck_assert_int_eq(asked(s->store, "count(*)", "days", "start_minute", end), 1);
	ck_assert_int_eq(
		sql_number(s->store, "SELECT count(*) FROM days"), start == end ? 3 : 4);
	expect_laws(s->store);
	stored_free(s);
}

TEST(odd_days_hold_exactly_their_minutes)
{
	ck_assert_uint_eq(data_rows("time_dst_days.csv", check_odd_day, NULL), 39);
}
END

	/* Sums of an answer's bucket against a walk over the minutes. */
	static void
	expect_bucket(const struct energy_bucket *bucket)
{
	struct sums sums =
		sums_of(bucket->t_ms / MS_PER_MIN, bucket->t_end_ms / MS_PER_MIN);
	struct energy_sum all = {0};
	for (size_t m = 0; m < MODE_COUNT; m++) {
		const struct energy_sum *sum = &bucket->modes[m];
		all.heat_j += sum->heat_j;
		all.observed_ms += sum->observed_ms;
		all.meter_j[0] += sum->meter_j[0];
		all.meter_ms[0] += sum->meter_ms[0];
		all.paired_heat_j += sum->paired_heat_j;
		all.paired_electricity_j += sum->paired_electricity_j;
		all.paired_ms += sum->paired_ms;
	}
	ck_assert_int_eq(all.observed_ms, sums.minutes * 60000);
	ck_assert_int_eq(all.heat_j, sums.heat_j);
	ck_assert_int_eq(all.meter_j[0], sums.electricity_j);
	ck_assert_int_eq(all.meter_ms[0], sums.metered * 60000);
	ck_assert_int_eq(all.paired_heat_j, sums.paired_heat_j);
	ck_assert_int_eq(all.paired_electricity_j, sums.electricity_j);
	ck_assert_int_eq(all.paired_ms, sums.metered * 60000);
	ck_assert_int_eq(bucket->modes[MODE_DEFROST].heat_j, sums.defrost_j);
}

/* Asks [from, to) by a step: each bucket, the total, and the number of buckets. */
static size_t expect_energy(
	struct stored *s, int64_t from, int64_t to, const char *step_text)
{
	struct energy_answer answer;
	struct boundary boundary;
	struct duration step;
	int64_t *edges;
	size_t count;
	char why[256];

	ck_assert_int_eq(duration_parse(step_text, &step), 0);
	ck_assert_int_eq(boundary_find(s->config, "H2", &boundary, why), 0);
	ck_assert_int_eq(query_buckets(from * MS_PER_MIN, to * MS_PER_MIN, &step, 100000,
				 &edges, &count),
		0);
	ck_assert_int_eq(query_energy(s->store, edges, count, &boundary, &answer), 0);
	ck_assert_uint_eq(answer.count, count);
	for (size_t i = 0; i < count; i++)
		expect_bucket(&answer.buckets[i]);
	expect_bucket(&answer.total);
	energy_answer_release(&answer);
	free(edges);
	return count;
}

/* f: zone, period, start_epoch, end_epoch, minutes, hours. Months in which some clocks
 * change. */
static void check_month(char **f, size_t count, void *context)
{
	static const char *const months[] = {"2024-03", "2024-04", "2025-10"};
	bool wanted = false;
	int64_t start = epoch_minute(f[2]), end = epoch_minute(f[3]);
	ck_assert_uint_eq(count, 6);
	for (size_t i = 0; i < ARRAY_LEN(months); i++)
		wanted |= strcmp(f[1], months[i]) == 0;
	if (!wanted)
		return;
	struct stored *s = store_in_zone(f[0]);
	int64_t minutes = strtoll(f[4], NULL, 10),
		halves = llround(2 * strtod(f[5], NULL));
	put_minutes(s->store, start - 100, end + 100);
	ck_assert_int_eq(end - start, minutes);
	ck_assert_uint_eq(expect_energy(s, start, end, "P1M"), 1);
	ck_assert_uint_eq(expect_energy(s, start - 100, end + 100, "P1M"), 3);
	size_t days = expect_energy(s, start, end, "P1D");
	ck_assert_uint_ge(days, 30);
	ck_assert_uint_le(days, 31);
	/* In a zone at :30, a month of 720.5 h touches one hour at an end by half. */
	ck_assert_uint_ge(expect_energy(s, start, end, "PT1H"), (size_t)halves / 2);
	(void)expect_energy(s, start + 17, end - 1000, "PT6H");
	stored_free(s);
	++*(size_t *)context;
}

TEST(months_hold_exactly_their_minutes)
{
	size_t months = 0;
	ck_assert_uint_gt(data_rows("time_month_totals.csv", check_month, &months), 50);
	ck_assert_uint_eq(months, 4 * 3);
}
END

TEST(any_cut_of_any_step_sums_the_same_minutes)
{
	static const char *const steps[] = {
		"PT1M", "PT7M", "PT30M", "PT1H", "PT5H", "P1D", "P1W", "P1M", "P1Y"};
	static const char *const zones[] = {"Australia/Lord_Howe", "Asia/Kolkata",
		"Europe/Berlin", "Pacific/Chatham"};
	const int64_t first =
		INT64_C(29061000); /* around 2025-04-04: Lord Howe's change */
	uint64_t seed = unit_seed();

	for (size_t z = 0; z < ARRAY_LEN(zones); z++) {
		struct stored *s = store_in_zone(zones[z]);
		put_minutes(s->store, first, first + 6000);
		for (size_t i = 0; i < 8 * ARRAY_LEN(steps); i++) {
			int64_t from = unit_random_between(&seed, first, first + 5900);
			int64_t to = unit_random_between(&seed, from + 1, first + 6000);
			(void)expect_energy(s, from, to, steps[i % ARRAY_LEN(steps)]);
		}
		stored_free(s);
	}
}
END

TEST(open_hours_and_days_are_answered_from_minutes)
{
	struct stored *s = store_in_zone("Europe/Berlin");
	const int64_t midnight = INT64_C(29453700), until = midnight + 1440 + 90;
	put_minutes(s->store, midnight, until);
	ck_assert_int_eq(sql_number(s->store, "SELECT count(*) FROM days"), 1);
	ck_assert_int_eq(
		sql_number(s->store, "SELECT max(hour) FROM hours"), until / 60 - 1);
	ck_assert_uint_eq(expect_energy(s, midnight, until, "P1D"), 2);
	ck_assert_uint_eq(expect_energy(s, midnight, until, "PT1H"), 26);
	for (int64_t hour = midnight / 60; hour < until / 60; hour++)
		expect_channels(
			s->store, "hours", "hour", hour, hour * 60, hour * 60 + 60);
	/* It closes, and changes nothing. */
	put_minutes(s->store, until, midnight + 2880);
	ck_assert_int_eq(
		store_rollup(s->store, until, midnight + 2880, midnight + 2880), 0);
	ck_assert_int_eq(sql_number(s->store, "SELECT count(*) FROM days"), 2);
	ck_assert_uint_eq(expect_energy(s, midnight, midnight + 2880, "P1D"), 2);
	expect_laws(s->store);
	stored_free(s);
}
END

TEST(a_rollup_of_emptied_minutes_leaves_nothing)
{
	struct stored *s = store_in_zone("Europe/Berlin");
	const int64_t midnight = INT64_C(29453700);
	put_minutes(s->store, midnight, midnight + 2880);
	ck_assert_int_eq(store_minutes_drop(s->store, midnight, midnight + 1440), 0);
	ck_assert_int_eq(
		store_rollup(s->store, midnight, midnight + 1440, midnight + 2880), 0);
	static const char *const tables[] = {
		"days", "energy_days", "hours", "energy_hours"};
	for (size_t i = 0; i < ARRAY_LEN(tables); i++) {
		_cleanup_(freep) char *sql = xasprintf("SELECT min(%s) FROM %s",
			i < 2 ? "start_minute" : "hour * 60", tables[i]);
		ck_assert_int_eq(sql_number(s->store, sql), midnight + 1440);
	}
	expect_laws(s->store);
	stored_free(s);
}
END

	struct walk {
	const struct store *store;
	int64_t next;
	const int *channels; /* 0: the room's temperature, 1: the valve */
	struct boundary boundary;
};

/* Each minute in its turn, with what was asked for beside it. */
static void walk_on(const struct run_minute *minute, void *context)
{
	struct walk *walk = context;
	struct energy_rows rows = {0};
	struct energy_bucket bucket;
	ck_assert_int_eq(minute->minute, walk->next);
	for (size_t i = 0; i < minute->count; i++) {
		ck_assert_int_eq(minute->rows[i].mode, mode_of(walk->next));
		energy_rows_add(&rows, &minute->rows[i]);
	}
	energy_rows_sum(walk->store, &walk->boundary, &rows, &bucket);
	energy_rows_release(&rows);
	bucket.t_ms = minute->minute * MS_PER_MIN;
	bucket.t_end_ms = bucket.t_ms + MS_PER_MIN;
	expect_bucket(&bucket);
	for (size_t i = 0; i < RUN_CHANNELS; i++)
		if (walk->channels[i] == 0)
			ck_assert_double_eq(
				minute->values[i], (double)room_of(walk->next) / 100);
		else
			ck_assert_int_eq(isnan(minute->values[i]) != 0,
				walk->channels[i] < 0 || walk->next % 3 == 0);
	walk->next++;
}

TEST(minutes_come_one_after_the_other)
{
	struct stored *s = store_in_zone("Europe/Berlin");
	const int64_t first = INT64_C(29453700);
	static const int beside[][RUN_CHANNELS] = {
		{1, 0, -1, -1, -1, -1}, {-1, 0, -1, -1, 1, 0}, {-1, -1, -1, -1, -1, -1}};
	struct walk walk = {.store = s->store};
	char why[256];

	put_minutes(s->store, first, first + 200);
	ck_assert_int_eq(boundary_find(s->config, "H2", &walk.boundary, why), 0);
	for (size_t i = 0; i < ARRAY_LEN(beside); i++) {
		walk.channels = beside[i];
		walk.next = first + 10;
		ck_assert_int_eq(store_run_minutes(s->store, first + 10, first + 100,
					 beside[i], walk_on, &walk),
			0);
		ck_assert_int_eq(walk.next, first + 100);
	}
	/* Without end: as many as there are. Those that are gone are left out. */
	walk.next = first + 10;
	ck_assert_int_eq(store_run_minutes(s->store, first + 10, first + 300, beside[2],
				 walk_on, &walk),
		0);
	ck_assert_int_eq(walk.next, first + 200);
	ck_assert_int_eq(store_begin(s->store), 0);
	ck_assert_int_eq(store_minutes_drop(s->store, first, first + 50), 0);
	ck_assert_int_eq(store_commit(s->store), 0);
	walk.next = first + 50;
	walk.channels = beside[0];
	ck_assert_int_eq(store_run_minutes(
				 s->store, first, first + 300, beside[0], walk_on, &walk),
		0);
	ck_assert_int_eq(walk.next, first + 200);
	stored_free(s);
}
END

TEST(a_new_zone_sums_the_days_anew)
{
	static const char *const zones[] = {
		"America/New_York", "Pacific/Apia", "Asia/Kolkata", "Europe/Berlin"};
	struct stored *s = store_in_zone("Europe/Berlin");
	const int64_t midnight = INT64_C(29453700); /* Berlin's */
	int64_t version = 0, again = 0;

	put_minutes(s->store, midnight, midnight + 5 * 1440);
	ck_assert_int_eq(sql_number(s->store, "SELECT count(*) FROM days"), 5);
	for (size_t i = 0; i < ARRAY_LEN(zones); i++) {
		_cleanup_(freep) char *text =
			xasprintf("[plant]\nzone = %s\n%s", zones[i], CHANNELS);
		ck_assert_int_eq(store_fact(s->store, FACT_VERSION, &version), 0);
		stored_reopen(s, text);
		int64_t start = sql_number(s->store,
			"SELECT start_minute FROM days WHERE date = '2026-01-03'");
		expect_day(s->store, "2026-01-03", start, start + 1440);
		ck_assert_int_eq(
			calendar_day_start((struct date){2026, 1, 3}) / MS_PER_MIN,
			start);
		ck_assert_int_eq(store_fact(s->store, FACT_VERSION, &again), 0);
		ck_assert_int_gt(again, version);
		expect_laws(s->store);
		/* The same zone again has nothing to do. */
		stored_reopen(s, text);
		ck_assert_int_eq(store_fact(s->store, FACT_VERSION, &version), 0);
		ck_assert_int_eq(version, again);
	}
	ck_assert_int_eq(sql_number(s->store, "SELECT count(*) FROM days"), 5);
	stored_free(s);
}
END

	/* Edges in epoch seconds, computed with Python's zoneinfo (tzdata 2025b). */
	static const struct {
	const char *zone, *step;
	int64_t edges_s[8];
	size_t count;
} bucket_rows[] = {
	{"UTC", "PT15M", {1767225660, 1767226500, 1767227400, 1767227401}, 3},
	/* Exact steps are aligned to UTC, also in a zone at :30. */
	{"Asia/Kolkata", "PT1H", {1767205800, 1767207600, 1767211200, 1767213000}, 3},
	{"Asia/Kolkata", "P1D", {1767205800, 1767292200, 1767378600}, 2},
	{"Europe/Berlin", "P1W", {1774436400, 1774821600, 1775426400, 1775599200},
		3}, /* 6.96 d of 7 */
	{"Europe/Berlin", "P1M",
		{1768453200, 1769900400, 1772319600, 1774994400, 1777586400}, 4},
	{"Europe/Berlin", "P1Y", {1720044000, 1735686000, 1767222000, 1798758000}, 3},
	{"Africa/Cairo", "P1D", {1745445600, 1745532000, 1745614800}, 2}, /* from 01:00 */
	{"Australia/Lord_Howe", "P1D", {1743771600, 1743858000, 1743946200}, 2},
	/* 2011-12-30 was skipped: two days, and a week of six. */
	{"Pacific/Apia", "P1D", {1325152800, 1325239200, 1325325600}, 2},
	{"Pacific/Apia", "P1W", {1324893600, 1325412000}, 1},
	{"Pacific/Apia", "P1M", {1322733600, 1325325600}, 1},
	/* A span within one bucket. */
	{"Europe/Berlin", "P1Y", {1767300000, 1767300060}, 1},
};

TEST(buckets_have_the_calendars_edges)
{
	for (size_t i = 0; i < ARRAY_LEN(bucket_rows); i++) {
		size_t expected = bucket_rows[i].count, count = 0;
		const int64_t *edges_s = bucket_rows[i].edges_s;
		struct duration step;
		int64_t *edges = NULL;
		ck_assert_int_eq(calendar_set_zone(bucket_rows[i].zone), 0);
		ck_assert_int_eq(duration_parse(bucket_rows[i].step, &step), 0);
		ck_assert_int_eq(
			query_buckets(edges_s[0] * 1000, edges_s[expected] * 1000, &step,
				expected, &edges, &count),
			0);
		ck_assert_msg(count == expected, "row %zu: %zu buckets", i, count);
		for (size_t k = 0; k <= count; k++)
			ck_assert_msg(edges[k] == edges_s[k] * 1000,
				"row %zu edge %zu: %lld", i, k,
				(long long)edges[k] / 1000);
		free(edges);
		if (expected > 1)
			ck_assert_int_eq(
				query_buckets(edges_s[0] * 1000, edges_s[expected] * 1000,
					&step, expected - 1, &edges, &count),
				QUERY_TOO_MANY);
	}
}
END

	static void
	check_bucket_day(char **f, size_t count, void *context)
{
	ck_assert_uint_ge(count, 5);
	if (count < 5)
		return; /* the compiler does not know that the assertion ends the test */
	int64_t start_ms = strtoll(f[3], NULL, 10) * 1000;
	int64_t end_ms = strtoll(f[4], NULL, 10) * 1000;
	const struct duration day = {.days = 1};
	int64_t *edges = NULL;
	size_t n = 0, at = 0;
	(void)count;
	(void)context;
	ck_assert_int_eq(calendar_set_zone(f[0]), 0);
	ck_assert_int_eq(query_buckets(start_ms - MS_PER_HOUR, end_ms + MS_PER_HOUR, &day,
				 10, &edges, &n),
		0);
	ck_assert_uint_eq(n, start_ms == end_ms ? 2 : 3);
	ck_assert_int_eq(edges[++at], start_ms);
	if (start_ms != end_ms)
		ck_assert_int_eq(edges[++at], end_ms);
	free(edges);
}

TEST(odd_days_are_buckets_of_their_length)
{
	ck_assert_uint_eq(data_rows("time_dst_days.csv", check_bucket_day, NULL), 39);
}
END

TESTS(odd_days_hold_exactly_their_minutes, months_hold_exactly_their_minutes,
	any_cut_of_any_step_sums_the_same_minutes,
	open_hours_and_days_are_answered_from_minutes,
	a_rollup_of_emptied_minutes_leaves_nothing, minutes_come_one_after_the_other, a_new_zone_sums_the_days_anew,
	buckets_have_the_calendars_edges, odd_days_are_buckets_of_their_length)
