/*
 * Runs of a span out of the store and out of minutes: the same, however days are kept,
 * and those of a single pass over all minutes; which days a minute drops; what stays of
 * days whose minutes went.
 *
 * Reference: runs.h; weeks of drawn modes with runs of minutes and of days, with gaps,
 * in zones whose days are odd.
 */
#include "stored.h"

#include <heatbook/age.h>
#include <heatbook/query.h>
#include <heatbook/run_ask.h>
#include <heatbook/run_rows.h>
#include <heatbook/store.h>

#include <time.h>

#define WEEKS_DAYS 14
#define FIRST_DAY  INT64_C(29623680) /* 2026-04-29, UTC: none of these is a short day */

static const char plant[] =
	"[channel flow_temperature]\ntopic = a/f\n[channel outdoor_temperature]\ntopic = "
	"a/o\n[channel target_flow_temperature]\ntopic = a/t\n"
	"[channel cylinder_temperature]\ntopic = a/c\n"
	"[channel compressor_frequency]\ntopic = a/h\n[channel unit_power]\ntopic = a/u\n"
	"unit = W\n[channel rod_power]\ntopic = a/r\nunit = W\n"
	"[meter unit]\nfeeds = compressor\npower = unit_power\n"
	"[meter rod]\nfeeds = immersion\npower = rod_power\n";

/* Words of minutes, from FIRST_DAY on: h w d c f o s, i with the immersion heater on, C
 * cooling without the compressor, ' ' none. */
struct weeks {
	struct stored *s;
	char *words;
	size_t count;
	uint64_t seed;
};

static uint64_t draw(struct weeks *w, uint64_t below)
{
	w->seed = w->seed * 6364136223846793005u + 1442695040888963407u;
	return (w->seed >> 33) % below;
}

static void write_words(struct weeks *w)
{
	static const char letters[] = "hhhwwdcCfosssi ";
	size_t at = 0;
	while (at < w->count) {
		bool frosty = at && w->words[at - 1] == 'd';
		char letter = frosty ? "hws"[draw(w, 3)] : letters[draw(w, 15)];
		size_t length = 1 + draw(w, letter == 'd' ? 8 : letter == ' ' ? 9 : 90);
		if (strchr("hcsf", letter) && draw(w, 40) == 0)
			length = 1440 + draw(w, 4000); /* for days */
		for (; length > 0 && at < w->count; length--)
			w->words[at++] = letter;
	}
}

static enum mode mode_of(char letter)
{
	static const char letters[] = "?hwdcfos";
	const char *at = strchr(letters, letter == 'C' ? 'c' : letter);
	return at ? (enum mode)(at - letters) : MODE_STANDBY;
}

static void put_minute(struct weeks *w, size_t i)
{
	struct made made;
	char letter = w->words[i];
	bool runs = strchr("hwdc", letter) != NULL;
	if (letter == ' ')
		return;
	made_at(&made, FIRST_DAY + (int64_t)i);
	made_channel(&made, 0, 30.0 + (double)(i % 7), MS_PER_MIN);
	if (i % 13)
		made_channel(&made, 1, (double)(i % 29) - 9.0, MS_PER_MIN);
	made_channel(&made, 2, 33.0, MS_PER_MIN);
	made_channel(&made, 3, 40.0 + (double)(i % 11), MS_PER_MIN);
	made_channel(&made, 4, runs ? 50.0 : 0.0, MS_PER_MIN);
	made_heat(&made, mode_of(letter), runs ? (double)(i % 977) * 7.0 : 0.0);
	made_meter(&made, mode_of(letter), 0, (double)(i % 1013));
	if (i % 17 || letter == 'i')
		made_meter(&made, mode_of(letter), 1, letter == 'i' ? 90000.0 : 0.0);
	ck_assert_int_eq(store_minute_add(w->s->store, &made.minute), 0);
}

static void put_minutes(struct weeks *w, size_t from, size_t to)
{
	struct store *store = w->s->store;
	int64_t end = FIRST_DAY + (int64_t)w->count;
	ck_assert_int_eq(store_begin(store), 0);
	ck_assert_int_eq(store_minutes_drop(store, FIRST_DAY + (int64_t)from,
				 FIRST_DAY + (int64_t)to),
		0);
	for (size_t i = from; i < to; i++)
		put_minute(w, i);
	ck_assert_int_eq(store_rollup(store, FIRST_DAY + (int64_t)from,
				 FIRST_DAY + (int64_t)to, end),
		0);
	ck_assert_int_eq(
		store_set_fact(store, FACT_DERIVED_UNTIL_MS, end * MS_PER_MIN), 0);
	ck_assert_int_eq(store_commit(store), 0);
}

static struct weeks *weeks_new(uint64_t seed, const char *zone)
{
	struct weeks *w = xcalloc(1, sizeof(*w));
	_cleanup_(freep) char *text = xasprintf("[plant]\nzone = %s\n%s", zone, plant);
	w->s = stored_new(text);
	w->seed = seed;
	w->count = WEEKS_DAYS * 1440 - 300;
	w->words = xmalloc(w->count);
	write_words(w);
	put_minutes(w, 0, w->count);
	return w;
}

static void weeks_free(struct weeks *w)
{
	stored_free(w->s);
	free(w->words);
	free(w);
}

/* ---- what is answered ---- */

static void write_run(const struct plant_run *run, void *context)
{
	struct buffer *out = context;
	buffer_addf(out, "%s %d %lld-%lld %lld ms%s%s%s %s", run_kind_name(run->kind),
		run->meter, (long long)run->begin_ms, (long long)run->end_ms,
		(long long)run->ms, run->by_rule ? " rule" : "",
		run->begin_truncated ? " <" : "", run->end_truncated ? " >" : "",
		run_end_words[run->ended]);
	for (size_t m = 0; m < RUN_MEANS; m++)
		buffer_addf(out, " %a/%lld", run->means[m].sum,
			(long long)run->means[m].minutes);
	buffer_addf(out, " %a %a", run->cylinder_begin_c, run->cylinder_end_c);
	buffer_addf(out, " %d+%lld", run->interval.since, (long long)run->interval.ms);
	for (size_t i = 0; i < run->rows.count; i++) {
		const struct energy_row *row = &run->rows.items[i];
		buffer_addf(out, " [%d %lld %lld %lld %lld %lld]", row->mode,
			(long long)row->known, (long long)row->sum.observed_ms,
			(long long)row->sum.heat_j, (long long)row->sum.meter_j[0],
			(long long)row->sum.meter_j[1]);
	}
	buffer_add_text(out, "\n");
}

static char *ask(struct weeks *w, int64_t from_ms, int64_t to_ms)
{
	struct buffer out = {0};
	buffer_add_text(&out, "");
	for (int kind = 0; kind < RUN_KINDS; kind++) {
		const struct runs_asked asked = {.kind = (enum run_kind)kind,
			.from_ms = from_ms,
			.to_ms = to_ms,
			.visit = write_run,
			.context = &out};
		struct older_days older;
		int64_t version;
		int r = runs_ask(w->s->store, &asked, &version, &older);
		ck_assert_msg(r == 0, "%d: %s", r, store_error(w->s->store));
	}
	(void)buffer_text(&out);
	return out.data;
}

/* Names the first line that differs: the whole is long. */
static void expect_same(const char *got, const char *wanted)
{
	const char *a = got, *b = wanted;
	while (*a && *a == *b) {
		a++;
		b++;
	}
	while (a > got && a[-1] != '\n') {
		a--;
		b--;
	}
	ck_assert_msg(strcmp(got, wanted) == 0, "%.*s, expected %.*s",
		(int)strcspn(a, "\n"), a, (int)strcspn(b, "\n"), b);
}

static int64_t kept(struct weeks *w)
{
	return sql_number(w->s->store, "SELECT count(*) FROM run_days");
}

static void keep_all(struct weeks *w)
{
	size_t done = 1;
	while (done > 0)
		ck_assert_int_eq(runs_catch_up(w->s->store, 5, &done), 0);
}

static void drop_kept(struct weeks *w, const char *which)
{
	static const char *const tables[] = {"run_days", "runs", "energy_runs"};
	for (size_t i = 0; i < ARRAY_LEN(tables); i++) {
		_cleanup_(freep) char *sql =
			xasprintf("DELETE FROM %s WHERE %s", tables[i], which);
		sql_run(w->s->store, sql);
	}
}

#define ZONES 3
static const char *const zones[ZONES] = {"Europe/Berlin", "Asia/Kathmandu", "UTC"};

static int64_t minute_ms(size_t i)
{
	return (FIRST_DAY + (int64_t)i) * MS_PER_MIN;
}

/* What a query does that has taken 2.1 s already. */
static int goes_on_late(struct store *store, void *context)
{
	static const char steps[] =
		"WITH RECURSIVE n(i) AS (SELECT 1 UNION ALL SELECT i + 1 "
		"FROM n WHERE i < 100000) SELECT count(*) FROM n";
	sqlite3_stmt *statement = NULL;
	int *rc = context;
	const struct timespec late = {.tv_sec = 2, .tv_nsec = 100000000};
	ck_assert_int_eq(clock_nanosleep(CLOCK_MONOTONIC, 0, &late, NULL), 0);
	ck_assert_int_eq(
		sqlite3_prepare_v2(store_handle(store), steps, -1, &statement, NULL),
		SQLITE_OK);
	*rc = sqlite3_step(statement);
	(void)sqlite3_finalize(statement);
	return *rc == SQLITE_INTERRUPT ? QUERY_TOO_SLOW : 0;
}

TEST(what_is_kept_answers_as_minutes_do)
{
	for (uint64_t seed = 1; seed <= ZONES; seed++) {
		struct weeks *w = weeks_new(seed, zones[seed - 1]);
		size_t from = draw(w, 9000), to = from + 1 + draw(w, 20000);
		int64_t a = minute_ms(from) + 17, b = minute_ms(to) + 4711;
		ck_assert_int_eq(kept(w), 0);
		_cleanup_(freep) char *all = ask(w, 0, INT64_C(2000000000000));
		_cleanup_(freep) char *part = ask(w, a, b);
		keep_all(w);
		ck_assert_int_ge(kept(w), WEEKS_DAYS - 2);
		_cleanup_(freep) char *kept_all = ask(w, 0, INT64_C(2000000000000));
		_cleanup_(freep) char *kept_part = ask(w, a, b);
		drop_kept(w, "start_minute / 1440 % 3 = 1");
		_cleanup_(freep) char *some_all = ask(w, 0, INT64_C(2000000000000));
		_cleanup_(freep) char *some_part = ask(w, a, b);
		ck_assert_uint_gt(strlen(all), strlen(part));
		ck_assert_uint_gt(strlen(part), 1000);
		expect_same(kept_all, all);
		expect_same(kept_part, part);
		expect_same(some_all, all);
		expect_same(some_part, part);
		weeks_free(w);
	}
}
END

	struct single {
	struct runs *runs;
	struct buffer out;
};

static void take_minute(const struct run_minute *minute, void *context)
{
	struct single *single = context;
	runs_take(single->runs, minute);
}

/* Without what a day's begin decides: intervals are told from it on. */
static char *without_intervals(const char *text)
{
	struct buffer out = {0};
	buffer_add_text(&out, "");
	for (const char *c = text; *c; c++) {
		const char *plus = *c == ' ' && c[1] >= '0' && c[1] <= '2' && c[2] == '+'
					   ? c + 3
					   : NULL;
		for (; plus && *plus >= '0' && *plus <= '9'; plus++)
			c = plus;
		if (!plus)
			buffer_add(&out, c, 1);
	}
	(void)buffer_text(&out);
	return out.data;
}

/* Runs put together out of days are those of one pass that knows no days. */
TEST(pieces_make_the_runs_of_a_single_pass)
{
	for (uint64_t seed = 1; seed <= ZONES; seed++) {
		struct weeks *w = weeks_new(seed, zones[seed - 1]);
		int64_t end = FIRST_DAY + (int64_t)w->count;
		struct single single = {
			.runs = runs_new(w->s->config, FIRST_DAY - MIN_PER_DAY, end)};
		struct run_day day;
		int channels[RUN_CHANNELS];
		for (int c = 0; c < RUN_CHANNELS; c++)
			channels[c] = run_channel(w->s->config, (enum run_channel)c);
		ck_assert_int_eq(store_run_minutes(w->s->store, FIRST_DAY - MIN_PER_DAY,
					 end, channels, take_minute, &single),
			0);
		runs_end(single.runs, end, &day);
		runs_free(single.runs);
		for (size_t i = 0; i < day.pieces.count; i++)
			write_run(&day.pieces.items[i], &single.out);
		run_day_release(&day);
		_cleanup_(freep) char *asked = ask(w, 0, INT64_C(2000000000000));
		_cleanup_(freep) char *got = without_intervals(asked);
		_cleanup_(freep) char *wanted =
			without_intervals(buffer_text(&single.out));
		expect_same(got, wanted);
		buffer_release(&single.out);
		weeks_free(w);
	}
}
END

/* A minute that changes takes the marks of its day, and of the one whose pieces lean on
 * it, and the answer is that of a store that never had other minutes. */
TEST(a_minute_drops_the_days_that_lean_on_it)
{
	static const struct {
		size_t at; /* after a midnight */
		int64_t dropped;
	} cases[] = {{3 * 1440 + 700, 1}, {3 * 1440 + 14, 2}, {3 * 1440 + 15, 1},
		{3 * 1440 - 60, 2}, {3 * 1440 - 61, 1}};
	struct weeks *w = weeks_new(11, "UTC");
	keep_all(w);
	int64_t all = kept(w);
	for (size_t i = 0; i < ARRAY_LEN(cases); i++) {
		size_t at = cases[i].at;
		w->words[at] = w->words[at] == 'w' ? 's' : 'w';
		put_minutes(w, at, at + 1);
		ck_assert_int_eq(kept(w), all - cases[i].dropped);
		ck_assert_int_eq(sql_number(w->s->store,
					 "SELECT count(*) FROM runs WHERE start_minute "
					 "NOT IN (SELECT start_minute FROM run_days)"),
			0);
		_cleanup_(freep) char *some = ask(w, 0, INT64_C(2000000000000));
		keep_all(w);
		ck_assert_int_eq(kept(w), all);
		_cleanup_(freep) char *again = ask(w, 0, INT64_C(2000000000000));
		drop_kept(w, "1");
		_cleanup_(freep) char *none = ask(w, 0, INT64_C(2000000000000));
		expect_same(some, none);
		expect_same(again, none);
		keep_all(w);
	}
	weeks_free(w);
}
END

/* Days whose minutes went for their age keep their runs, and are waited for. */
TEST(runs_outlive_their_minutes)
{
	struct weeks *w = weeks_new(5, "Europe/Berlin");
	int64_t cut_ms = minute_ms(7 * 1440);
	struct aged aged;
	ck_assert_int_eq(store_age_minutes(w->s->store, cut_ms, &aged), STORE_CLEAN);
	keep_all(w);
	_cleanup_(freep) char *before = ask(w, 0, INT64_C(2000000000000));
	int days = 0;
	while (store_age_minutes(w->s->store, cut_ms, &aged) == 0)
		days++;
	ck_assert_int_ge(days, 6);
	_cleanup_(freep) char *after = ask(w, 0, INT64_C(2000000000000));
	expect_same(after, before);
	/* The first day that has minutes leans on what is gone. */
	int64_t first = sql_number(w->s->store, "SELECT min(minute) FROM minutes");
	size_t at = (size_t)(first - FIRST_DAY);
	put_minutes(w, at, at + 20);
	_cleanup_(freep) char *some = ask(w, 0, INT64_C(2000000000000));
	expect_same(some, before);
	keep_all(w);
	_cleanup_(freep) char *again = ask(w, 0, INT64_C(2000000000000));
	expect_same(again, before);
	weeks_free(w);
}
END

TEST(another_form_is_made_anew)
{
	struct weeks *w = weeks_new(7, "UTC");
	keep_all(w);
	_cleanup_(freep) char *before = ask(w, 0, INT64_C(2000000000000));
	sql_run(w->s->store, "UPDATE run_days SET form = form + 1");
	sql_run(w->s->store, "UPDATE runs SET ms = 1");
	_cleanup_(freep) char *asked = ask(w, 0, INT64_C(2000000000000));
	expect_same(asked, before);
	keep_all(w);
	_cleanup_(freep) char *again = ask(w, 0, INT64_C(2000000000000));
	expect_same(again, before);
	weeks_free(w);
}
END

	static void
	expect_law(struct weeks *w, const char *breaking, const char *line)
{
	struct store *store = w->s->store;
	struct buffer lines = {0};
	size_t count = 0;
	ck_assert_int_eq(store_begin(store), 0);
	sql_run(store, breaking);
	ck_assert_int_eq(store_checks(store, &lines, &count), 0);
	ck_assert_msg(count > 0 && strncmp(buffer_text(&lines), line, strlen(line)) == 0,
		"%s: %s", breaking, buffer_text(&lines));
	store_rollback(store);
	buffer_release(&lines);
}

TEST(kept_runs_hold_to_laws)
{
	struct weeks *w = weeks_new(3, "Europe/Berlin");
	struct buffer lines = {0};
	size_t count = 0;
	keep_all(w);
	ck_assert_int_eq(store_checks(w->s->store, &lines, &count), 0);
	ck_assert_msg(count == 0, "%s", buffer_text(&lines));
	buffer_release(&lines);
	expect_law(w, "UPDATE energy_runs SET heat_j = heat_j + 1 WHERE kind = 1",
		"runs of 2026-");
	expect_law(w,
		"UPDATE energy_runs SET ms = ms - 1 WHERE kind = 2 AND begin_ms = "
		"(SELECT min(begin_ms) FROM runs WHERE kind = 2)",
		"runs of 2026-");
	expect_law(w,
		"DELETE FROM runs WHERE begin_ms = (SELECT max(begin_ms) FROM runs)",
		"energy of a run that began at ");
	expect_law(w,
		"DELETE FROM run_days WHERE start_minute = (SELECT "
		"max(start_minute) FROM run_days)",
		"runs of a day from minute ");
	expect_law(w, "INSERT INTO run_days VALUES (1, 2, 3, 0, 0)",
		"runs of a day from minute 1 belong to no day");
	weeks_free(w);
}
END

TEST(a_store_without_rows_has_no_runs)
{
	struct stored *s = stored_new(plant);
	struct weeks w = {.s = s};
	_cleanup_(freep) char *none = ask(&w, 0, INT64_C(2000000000000));
	ck_assert_str_eq(none, "");
	stored_free(s);
}
END

TEST(only_a_query_that_is_served_ends_after_two_seconds)
{
	static const struct {
		enum store_mode mode;
		int rc, result;
	} cases[] = {
		{STORE_SERVE, SQLITE_INTERRUPT, QUERY_TOO_SLOW},
		{STORE_READ, SQLITE_ROW, 0},
	};
	struct stored *s = stored_new(plant);
	for (size_t i = 0; i < ARRAY_LEN(cases); i++) {
		char why[256] = "";
		int rc = SQLITE_OK;
		store_close(s->store);
		s->store = NULL;
		ck_assert_int_eq(store_open(s->config, cases[i].mode, &s->store, why), 0);
		ck_assert_int_eq(
			store_snapshot(s->store, goes_on_late, &rc), cases[i].result);
		ck_assert_int_eq(rc, cases[i].rc);
	}
	stored_free(s);
}
END

TESTS(what_is_kept_answers_as_minutes_do, pieces_make_the_runs_of_a_single_pass,
	a_minute_drops_the_days_that_lean_on_it, runs_outlive_their_minutes,
	another_form_is_made_anew, kept_runs_hold_to_laws, a_store_without_rows_has_no_runs,
	only_a_query_that_is_served_ends_after_two_seconds)
