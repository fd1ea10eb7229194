/*
 * Degree days by four methods.
 *
 * References: tests/data/degree_days_*.csv: CIBSE TM41, the UK Met Office's four cases,
 * Eurostat's 18/15; each file's source and status stand in it. The rest by hand.
 */
#include "unit.h"

#include <heatbook/degree_days.h>

#define BASE_C 15.5

static double number(const char *text)
{
	char *end;
	double value = strtod(text, &end);
	ck_assert_msg(end != text && !*end, "'%s' is no number", text);
	return value;
}

/* ---- days of hourly means, by name ---- */

struct days {
	struct {
		char name[32];
		double hours[24];
	} days[16];
	size_t count;
	double total[DEGREE_METHODS];
};

static void read_hours(char **f, size_t count, void *context)
{
	struct days *d = context;
	ck_assert_uint_eq(count, 25);
	(void)snprintf(d->days[d->count].name, sizeof(d->days[0].name), "%s", f[0]);
	for (size_t h = 0; h < 24; h++)
		d->days[d->count].hours[h] = number(f[1 + h]);
	d->count++;
}

static struct outdoor_day a_day(const double *hours, size_t count, double base_c)
{
	struct outdoor_day day = {.length_ms = (int64_t)count * MS_PER_HOUR};
	for (size_t h = 0; h < count; h++)
		for (int m = 0; m < 60; m++)
			outdoor_day_add(
				&day, base_c, hours[h], hours[h], hours[h], MS_PER_MIN);
	return day;
}

static void check_day(char **f, size_t count, void *context)
{
	struct days *d = context;
	size_t i = 0;
	ck_assert_uint_eq(count, 12);
	while (i < d->count && strcmp(d->days[i].name, f[0]) != 0)
		i++;
	if (i == d->count) { /* the totals of all */
		ck_assert_str_eq(f[0], "TOTAL");
		ck_assert_double_eq_tol(d->total[DEGREE_DAILY_MEAN], number(f[4]), 2e-6);
		ck_assert_double_eq_tol(d->total[DEGREE_MIN_MAX], number(f[6]), 2e-6);
		ck_assert_double_eq_tol(d->total[DEGREE_INTEGRAL], number(f[7]), 2e-6);
		ck_assert_double_eq_tol(d->total[DEGREE_EUROSTAT], number(f[10]), 2e-6);
		return;
	}
	struct outdoor_day day = a_day(d->days[i].hours, 24, BASE_C);
	struct outdoor_day other = a_day(d->days[i].hours, 24, 18);
	const double wanted[] = {number(f[7]), number(f[4]), number(f[6]), number(f[10])};
	ck_assert_double_eq_tol(day.mean_c, number(f[1]), 1e-6);
	ck_assert_double_eq(day.most_c, number(f[2]));
	ck_assert_double_eq(day.least_c, number(f[3]));
	for (int m = 0; m < DEGREE_METHODS; m++) {
		double kd = degree_days_of((enum degree_method)m, BASE_C, &day);
		ck_assert_msg(fabs(kd - wanted[m]) <= 0.5001e-6, "%s by %s: %.9g, not %g",
			f[0], degree_method_name((enum degree_method)m), kd, wanted[m]);
		d->total[m] += kd;
	}
	ck_assert_double_eq_tol(
		degree_days_of(DEGREE_DAILY_MEAN, 18, &other), number(f[8]), 0.5001e-6);
	ck_assert_double_eq_tol(
		degree_days_of(DEGREE_INTEGRAL, 18, &other), number(f[9]), 0.5001e-6);
}

TEST(each_method_gives_what_its_authors_do)
{
	struct days d = {0};
	ck_assert_uint_eq(data_rows("degree_days_hourly.csv", read_hours, &d), 9);
	ck_assert_uint_eq(data_rows("degree_days_methods.csv", check_day, &d), 10);
}
END

	static void
	check_case(char **f, size_t count, void *context)
{
	(void)context;
	ck_assert_uint_eq(count, 5);
	struct outdoor_day day = {.length_ms = MS_PER_DAY,
		.known_ms = MS_PER_DAY,
		.least_c = number(f[2]),
		.most_c = number(f[1])};
	ck_assert_double_eq_tol(degree_days_of(DEGREE_MIN_MAX, number(f[0]), &day),
		number(f[4]), 0.5001e-6);
}

TEST(the_four_cases_are_told_apart)
{
	ck_assert_uint_eq(
		data_rows("degree_days_minmax_cases.csv", check_case, NULL), 12);
}
END

	/* Days of 23, 24 and 25 hours. */
	static void
	check_length(char **f, size_t count, void *context)
{
	double hours[25];
	(void)context;
	ck_assert_uint_eq(count, 5);
	for (size_t h = 0; h < ARRAY_LEN(hours); h++)
		hours[h] = number(f[2]);
	struct outdoor_day day = a_day(hours, (size_t)number(f[1]), BASE_C);
	ck_assert_double_eq_tol(
		degree_days_of(DEGREE_INTEGRAL, BASE_C, &day), number(f[3]), 0.5001e-6);
	ck_assert_double_eq_tol(
		degree_days_of(DEGREE_DAILY_MEAN, BASE_C, &day), number(f[4]), 0.5001e-6);
}

TEST(the_integral_knows_how_long_a_day_is)
{
	ck_assert_uint_eq(data_rows("degree_days_dst.csv", check_length, NULL), 3);
}
END

	/* The formula takes daily means to be normal with a standard deviation of 2.5/k
	 * (CIBSE TM41, from memory): days by the quantiles of just that. It is a fit;
	 * seen are 0.1, 1.1, 0.5 and 0.9 K d too little. What it tests is that a month's
	 * sum goes on below the base where its mean does not.
	 */
	static void
	check_month(char **f, size_t count, void *context)
{
	(void)context;
	ck_assert_uint_eq(count, 5);
	double sum = 0, mean_c = number(f[1]), base_c = number(f[2]);
	double spread_k = 2.5 / number(f[3]);
	int n = (int)number(f[0]);
	for (int d = 0; d < n; d++) {
		double p = (d + 0.5) / n, t = sqrt(-2 * log(p < 0.5 ? p : 1 - p));
		double z = t - (2.515517 + 0.802853 * t + 0.010328 * t * t) /
				       (1 + 1.432788 * t + 0.189269 * t * t +
					       0.001308 * t * t * t);
		double day_c = mean_c + (p < 0.5 ? -z : z) * spread_k, hours[24];
		for (int h = 0; h < 24; h++)
			hours[h] = day_c;
		struct outdoor_day day = a_day(hours, 24, base_c);
		sum += degree_days_of(DEGREE_INTEGRAL, base_c, &day);
	}
	ck_assert_double_eq_tol(sum, number(f[4]), 1.2);
}

TEST(a_months_sum_lies_in_the_band_of_its_mean)
{
	ck_assert_uint_eq(
		data_rows("degree_days_monthly_mean.csv", check_month, NULL), 4);
}
END

TEST(a_day_counts_from_95_percent_known_and_then_stands_for_itself)
{
	struct outdoor_day day = {.length_ms = MS_PER_DAY};
	int64_t least_ms = MS_PER_DAY / 100 * 95;
	outdoor_day_add(&day, BASE_C, 5.5, 5, 6, least_ms - 1);
	for (int m = 0; m < DEGREE_METHODS; m++)
		ck_assert(isnan(degree_days_of((enum degree_method)m, BASE_C, &day)));
	outdoor_day_add(&day, BASE_C, 5.5, 5.5, 5.5, 1);
	ck_assert_double_eq_tol(degree_days_of(DEGREE_INTEGRAL, BASE_C, &day), 10, 1e-9);
	ck_assert_double_eq_tol(
		degree_days_of(DEGREE_DAILY_MEAN, BASE_C, &day), 10, 1e-9);
	ck_assert_double_eq_tol(
		degree_days_of(DEGREE_EUROSTAT, BASE_C, &day), 12.5, 1e-9);
	const struct outdoor_day none = {.length_ms = MS_PER_DAY};
	ck_assert(!outdoor_day_known(&none));
	const struct outdoor_day no_length = {0};
	ck_assert(!outdoor_day_known(&no_length));
}
END

TEST(missing_days_are_counted_and_add_nothing)
{
	struct degree_sum sum = {0};
	struct outdoor_day day = {.length_ms = MS_PER_DAY};
	degree_sum_add(&sum, BASE_C, &day);
	outdoor_day_add(&day, BASE_C, 3.5, 2.5, 4.5, MS_PER_DAY);
	degree_sum_add(&sum, BASE_C, &day);
	day.from_hours = true;
	degree_sum_add(&sum, BASE_C, &day);
	ck_assert_int_eq(sum.days, 2);
	ck_assert_int_eq(sum.missing, 1);
	ck_assert_int_eq(sum.from_hours, 1);
	ck_assert_double_eq_tol(sum.kd[DEGREE_INTEGRAL], 24, 1e-9);
	ck_assert_double_eq_tol(sum.kd[DEGREE_MIN_MAX], 24, 1e-9);
	ck_assert_double_eq_tol(sum.weighted_c / (double)sum.known_ms, 3.5, 1e-9);
}
END

TESTS(each_method_gives_what_its_authors_do, the_four_cases_are_told_apart,
	the_integral_knows_how_long_a_day_is, a_months_sum_lies_in_the_band_of_its_mean,
	a_day_counts_from_95_percent_known_and_then_stands_for_itself,
	missing_days_are_counted_and_add_nothing)
