/*
 * Registers over local days of any length: typed at midnight, told once a day by one that
 * begins anew there, and told all day long; each over a day of 23, 23.5, 24.5 or 25
 * hours, or one that begins at 01:00 or does not exist, and the days beside it.
 *
 * References: tests/data/time_dst_days.csv (computed with Python's zoneinfo, tzdata
 * 2025b); amounts by hand.
 */
#include "counted.h"

#define KWH INT64_C(3600000)
#define METER                                                                            \
	HOLDS "[channel r]\ntopic = a/r\nunit = kWh\n%s"                                 \
	      "[meter unit]\nfeeds = compressor\nregister = r\n%s"

/* A local day and what the meter used in it. */
struct local_day {
	int64_t start_ms, end_ms, j;
};

/* The odd day amid others; one that does not exist is none of them. */
#define DAYS 3
struct week {
	struct local_day days[DAYS];
	struct filed filed;
};

static struct local_day day_from(int64_t start_ms, int64_t j)
{
	struct date date = calendar_date(start_ms);
	return (struct local_day){
		start_ms, calendar_day_start(calendar_add(date, 0, 0, 1)), j};
}

/* f: zone, local_date, start_utc, start_epoch, end_epoch, length_s … */
static void begin_week(
	struct week *w, char **f, size_t count, const char *channel, const char *meter)
{
	ck_assert_uint_eq(count, 9);
	static const int64_t used[DAYS] = {9 * KWH, 11 * KWH + KWH / 2, 10 * KWH};
	int64_t odd_ms = strtoll(f[3], NULL, 10) * 1000;
	_cleanup_(freep) char *text =
		xasprintf("[plant]\nzone = %s\n" METER, f[0], channel, meter);

	w->filed = filed_new(text);
	struct date before = calendar_date(odd_ms - 12 * MS_PER_HOUR);
	int64_t at_ms = calendar_day_start(before);
	for (size_t i = 0; i < DAYS; i++) {
		w->days[i] = day_from(at_ms, used[i]);
		at_ms = w->days[i].end_ms;
	}
	ck_assert_int_eq(w->days[0].end_ms, odd_ms);
	if (strtoll(f[5], NULL, 10) > 0)
		ck_assert_int_eq(w->days[1].end_ms, strtoll(f[4], NULL, 10) * 1000);
}

static void derive(struct week *w, struct sending *s)
{
	end_sending(s);
	derive_until(&w->filed, w->days[DAYS - 1].end_ms / MS_PER_MIN + 30);
	expect_checks(&w->filed);
}

static int64_t of_day(struct week *w, const struct local_day *d, const char *what)
{
	_cleanup_(freep) char *sql =
		xasprintf("SELECT %s FROM energy_days WHERE start_minute = %lld", what,
			(long long)(d->start_ms / MS_PER_MIN));
	return sql_number(w->filed.store, sql);
}

static int64_t of_minutes(
	struct week *w, int64_t from_ms, int64_t to_ms, const char *what)
{
	long long from = from_ms / MS_PER_MIN, to = to_ms / MS_PER_MIN;
	_cleanup_(freep) char *sql =
		xasprintf("SELECT %s FROM energy_minutes WHERE slot >= %lld * 16 "
			  "AND slot < %lld * 16",
			what, from, to);
	return sql_number(w->filed.store, sql);
}

/* Whole minutes of [from, to), each with its even share, and no joule besides. */
static void expect_even(struct week *w, int64_t from_ms, int64_t to_ms, int64_t j)
{
	int64_t minutes = (to_ms - from_ms) / MS_PER_MIN;
	ck_assert_int_eq(of_minutes(w, from_ms, to_ms, "count(e_unit_j)"), minutes);
	ck_assert_int_eq(of_minutes(w, from_ms, to_ms, "sum(e_unit_j)"), j);
	ck_assert_int_ge(of_minutes(w, from_ms, to_ms, "min(e_unit_j)"), j / minutes);
	ck_assert_int_le(of_minutes(w, from_ms, to_ms, "max(e_unit_j)"),
		(j + minutes - 1) / minutes);
}

/* From a notebook: the meter read at each midnight, nothing else known. The amount is
 * exact and bridged over 23 to 25 hours. */
static void typed_at_midnight(char **f, size_t count, void *context)
{
	struct week w;
	double kwh = 700;
	(void)context;
	begin_week(&w, f, count, "", "");
	struct sending s = begin_sending(&w.filed);
	send_at(&s, w.days[0].start_ms, "a/r", kwh);
	for (size_t i = 0; i < DAYS; i++) {
		kwh += (double)w.days[i].j / (double)KWH;
		send_at(&s, w.days[i].end_ms, "a/r", kwh);
	}
	derive(&w, &s);
	for (size_t i = 0; i < DAYS; i++) {
		const struct local_day *d = &w.days[i];
		expect_even(&w, d->start_ms, d->end_ms, d->j);
		ck_assert_int_eq(of_day(&w, d, "sum(e_unit_j)"), d->j);
		ck_assert_int_eq(of_day(&w, d, "sum(b_unit_j)"), d->j);
		ck_assert_int_eq(
			of_day(&w, d, "sum(b_unit_ms)"), d->end_ms - d->start_ms);
	}
	filed_free(&w.filed);
}

TEST(a_register_typed_at_midnight_fills_its_day)
{
	ck_assert_uint_eq(data_rows("time_dst_days.csv", typed_at_midnight, NULL), 39);
}
END

	/* A meter that begins anew at local midnight and tells its day's total a minute
	 * before the next: all of it belongs to that day. Of the first day nobody knows
	 * when it was counted. */
	static void
	told_once_a_day(char **f, size_t count, void *context)
{
	struct week w;
	(void)context;
	begin_week(&w, f, count, HELD, "kind = daily\n");
	struct sending s = begin_sending(&w.filed);
	for (size_t i = 0; i < DAYS; i++)
		send_at(&s, w.days[i].end_ms - MS_PER_MIN, "a/r",
			(double)w.days[i].j / (double)KWH);
	derive(&w, &s);
	for (size_t i = 1; i < DAYS; i++) {
		const struct local_day *d = &w.days[i];
		expect_even(&w, d->start_ms, d->end_ms - MS_PER_MIN, d->j);
		ck_assert_int_eq(of_day(&w, d, "sum(e_unit_j)"), d->j);
		ck_assert_int_eq(of_day(&w, d, "coalesce(sum(b_unit_j), 0)"), 0);
		ck_assert_int_eq(of_day(&w, d, "sum(e_unit_ms)"),
			d->end_ms - d->start_ms - MS_PER_MIN);
	}
	ck_assert_int_eq(of_day(&w, &w.days[0], "coalesce(sum(e_unit_j), 0)"), 0);
	filed_free(&w.filed);
}

TEST(a_daily_register_told_once_a_day_fills_its_day)
{
	ck_assert_uint_eq(data_rows("time_dst_days.csv", told_once_a_day, NULL), 39);
}
END

	/* 600 W all the time: 0.1 kWh each ten minutes, from 0 at midnight on. What it
	 * counted after its last word of a day is in none. */
	static void
	told_all_day(char **f, size_t count, void *context)
{
	struct week w;
	(void)context;
	begin_week(&w, f, count, HELD, "kind = daily\n");
	struct sending s = begin_sending(&w.filed);
	for (size_t i = 0; i < DAYS; i++)
		for (int64_t n = 0, t = w.days[i].start_ms; t < w.days[i].end_ms;
			n++, t += 10 * MS_PER_MIN)
			send_at(&s, t, "a/r", (double)n / 10);
	derive(&w, &s);
	for (size_t i = 0; i < DAYS; i++) {
		const struct local_day *d = &w.days[i];
		int64_t last_ms = d->end_ms - 10 * MS_PER_MIN;
		int64_t j = 600 * (last_ms - d->start_ms) / 1000;
		bool open = i + 1 == DAYS; /* its last span has no next reading */
		int64_t end_ms = open ? last_ms - 3 * MS_PER_HOUR : last_ms;
		ck_assert_int_eq(
			of_minutes(&w, d->start_ms, end_ms, "min(e_unit_j)"), 36000);
		ck_assert_int_eq(
			of_minutes(&w, d->start_ms, end_ms, "max(e_unit_j)"), 36000);
		if (!open)
			ck_assert_int_eq(of_day(&w, d, "sum(e_unit_j)"), j);
	}
	filed_free(&w.filed);
}

TEST(a_daily_register_told_all_day_is_even)
{
	ck_assert_uint_eq(data_rows("time_dst_days.csv", told_all_day, NULL), 39);
}
END

TESTS(a_register_typed_at_midnight_fills_its_day,
	a_daily_register_told_once_a_day_fills_its_day,
	a_daily_register_told_all_day_is_even)
