/*
 * The line that ends, over all three parameters.
 *
 * References: energy_signature_*.csv (known answers by construction; numpy and scipy),
 * signature_*.csv (drawn and open daily data; scipy's minimiser and root finder,
 * statsmodels). Laws by drawn rows, the least itself against a fine grid.
 */
#include "unit.h"

#include <heatbook/change_point.h>

#define ROWS_MOST 400

static double number(const char *text)
{
	char *end;
	double value = strtod(text, &end);
	ck_assert_msg(end != text && !*end, "'%s' is no number", text);
	return value;
}

static void near(double got, double wanted, double off, const char *what)
{
	ck_assert_msg(
		fabs(got - wanted) <= off, "%s: %.12g, not %.12g", what, got, wanted);
}

struct rows {
	const char *name;
	size_t n;
	struct change_row rows[ROWS_MOST];
};

/* ---- the answer that was built in ---- */

struct built {
	struct rows exact, noisy;
};

static void take_built(char **f, size_t count, void *context)
{
	struct built *b = context;
	ck_assert_uint_eq(count, 3);
	b->exact.rows[b->exact.n] =
		(struct change_row){number(f[0]), number(f[1]), (int64_t)b->exact.n};
	b->noisy.rows[b->noisy.n] =
		(struct change_row){number(f[0]), number(f[2]), (int64_t)b->noisy.n};
	b->exact.n++;
	b->noisy.n++;
}

static void check_built(char **f, size_t count, void *context)
{
	const struct built *b = context;
	const struct rows *rows = strcmp(f[0], "exact") == 0 ? &b->exact : &b->noisy;
	struct change_point c;
	ck_assert_uint_eq(count, 11);
	if (strcmp(f[1], "continuous") != 0)
		return; /* a grid's, or one whose end is given */
	ck_assert_int_eq(change_point_fit(rows->rows, rows->n, &c), 0);
	ck_assert(c.ends);
	near(c.at, number(f[2]), 1e-6, "at");
	near(c.base, number(f[3]), 1e-6, "base");
	near(c.slope, number(f[4]), 1e-6, "slope");
	near(c.slope * 1000 / 24, number(f[5]), 1e-4, "W/K");
	near(c.sse, number(f[6]), 1e-6, "sse");
	near(c.r_squared, number(f[7]), 0.5001e-8, "r_squared");
	near(c.agreement.cv_rmse_percent, number(f[9]), 1e-6, "cv_rmse");
	near(c.agreement.nmbe_percent, 0, 1e-9, "nmbe");
}

TEST(the_answer_that_was_built_in_is_found)
{
	static struct built b;
	(void)data_rows("energy_signature_data.csv", take_built, &b);
	ck_assert_uint_eq(b.exact.n, 30);
	ck_assert_uint_eq(data_rows("energy_signature_answers.csv", check_built, &b), 5);
}
END

	/* ---- sets that scipy and statsmodels were asked of ---- */

	static void
	take_set(char **f, size_t count, void *context)
{
	struct rows *rows = context;
	ck_assert_uint_eq(count, 4);
	if (strcmp(f[0], rows->name) != 0)
		return;
	rows->rows[rows->n++] =
		(struct change_row){number(f[2]), number(f[3]), strtoll(f[1], NULL, 10)};
}

struct told {
	const struct rows *rows;
	struct change_point c;
	double design;
	size_t seen;
};

static double answer(const struct told *told, const char *what)
{
	const struct change_point *c = &told->c;
	struct change_interval load, day;
	double value = change_point_load(c, told->design, &load);
	(void)change_point_single(c, told->design, &day);
	const struct {
		const char *name;
		double value;
	} got[] = {{"n", (double)c->n}, {"below", (double)c->below}, {"ends", c->ends},
		{"base", c->base}, {"slope", c->slope}, {"at", c->at}, {"sse", c->sse},
		{"r_squared", c->r_squared},
		{"cv_rmse_percent", c->agreement.cv_rmse_percent},
		{"scatter_sd", c->scatter_sd}, {"rho", c->rho},
		{"slope_low", c->slope_in.low}, {"slope_high", c->slope_in.high},
		{"at_low", c->at_in.low}, {"at_high", c->at_in.high},
		{"base_low", c->base_in.low}, {"base_high", c->base_in.high},
		{"load", value}, {"load_low", load.low}, {"load_high", load.high},
		{"day_low", day.low}, {"day_high", day.high}};
	for (size_t i = 0; i < ARRAY_LEN(got); i++)
		if (strcmp(got[i].name, what) == 0)
			return got[i].value;
	ck_abort_msg("nothing is called '%s'", what);
	return 0;
}

/* How exactly: scipy's minimiser sees squares, which tell the end to half of the digits,
 * and what follows from it. */
static void check_told(char **f, size_t count, void *context)
{
	struct told *told = context;
	ck_assert_uint_eq(count, 3);
	if (strcmp(f[0], told->rows->name) != 0)
		return;
	told->seen++;
	if (strcmp(f[1], "design") == 0) {
		told->design = number(f[2]);
		return;
	}
	double got = answer(told, f[1]);
	if (!*f[2]) {
		ck_assert_msg(isnan(got), "%s: %g, not unknown", f[1], got);
		return;
	}
	double wanted = number(f[2]);
	near(got, wanted, 2e-6 * (1 + fabs(wanted)), f[1]);
}

static struct told check_set(const char *name)
{
	static struct rows rows;
	struct told told = {.rows = &rows};
	rows = (struct rows){.name = name};
	(void)data_rows("signature_rows.csv", take_set, &rows);
	ck_assert_int_eq(change_point_fit(rows.rows, rows.n, &told.c), 0);
	(void)data_rows("signature_answers.csv", check_told, &told);
	ck_assert_uint_eq(told.seen, 23);
	return told;
}

TEST(a_year_is_fitted_as_scipy_does)
{
	ck_assert(check_set("year").c.ends);
}
END

	TEST(a_season_with_some_warm_days_is_fitted_as_scipy_does)
{
	(void)check_set("autumn");
}
END

	TEST(days_that_were_all_heated_show_no_end)
{
	struct told told = check_set("winter");
	ck_assert(!told.c.ends);
	ck_assert_double_eq(told.c.base, 0);
	ck_assert_double_nan(told.c.base_in.low);
}
END

	TEST(an_end_that_hardly_shows_is_judged_as_scipy_does)
{
	(void)check_set("weak");
}
END

	TEST(open_metered_days_are_fitted_as_scipy_does)
{
	ck_assert(check_set("illinois").c.ends);
	ck_assert(!check_set("britain").c.ends);
}
END

	/* ---- laws ---- */

	static double
	drawn(uint64_t *seed, double most)
{
	return most * (double)unit_random_between(seed, -1000000, 1000000) / 1e6;
}

/* Days about a line that ends; many share their x. */
static void draw_rows(uint64_t *seed, struct rows *rows)
{
	bool coarse = unit_random_between(seed, 0, 1);
	double scatter = pow(10, drawn(seed, 2));
	rows->n = (size_t)unit_random_between(seed, 14, 120);
	for (size_t i = 0; i < rows->n; i++) {
		double x = 10 + drawn(seed, 14);
		x = coarse ? round(x) : x;
		rows->rows[i] = (struct change_row){
			x, 3 + 4 * fmax(0, 14 - x) + drawn(seed, scatter), (int64_t)i};
	}
}

static double squares_at(const struct rows *rows, double at, double *ret_slope)
{
	double n = (double)rows->n, h = 0, hh = 0, hy = 0, y = 0, yy = 0;
	for (size_t i = 0; i < rows->n; i++) {
		double part = fmax(0, at - rows->rows[i].x);
		h += part;
		hh += part * part;
		hy += part * rows->rows[i].y;
		y += rows->rows[i].y;
		yy += rows->rows[i].y * rows->rows[i].y;
	}
	double slope = (hy - h * y / n) / (hh - h * h / n);
	*ret_slope = slope;
	return yy - y * y / n - slope * (hy - h * y / n);
}

/* No end does better, and where the interval ends the squares are what bounds it. */
static void check_least(const struct rows *rows, const struct change_point *c)
{
	double most = c->t * c->inflation * c->scatter_sd, slope;
	double limit = c->sse + most * most, off = 1e-7 * (1 + limit);
	for (double at = -4; at < 24; at += 0.01) {
		double squares = squares_at(rows, at, &slope);
		if (!(slope > 0))
			continue;
		ck_assert_double_ge(squares, c->sse - off);
		if (at < c->at_in.low || at > c->at_in.high)
			ck_assert_double_ge(squares, limit - off);
	}
	near(squares_at(rows, c->at, &slope), c->sse, off, "sse");
	near(slope, c->slope, 1e-7 * (1 + c->slope), "slope");
	near(squares_at(rows, c->at_in.low, &slope), limit, off, "low");
	near(squares_at(rows, c->at_in.high, &slope), limit, off, "high");
}

TEST(nothing_is_less_than_the_least)
{
	static struct rows rows;
	uint64_t seed = unit_seed(), rounds = unit_rounds(60), ends = 0;
	for (uint64_t r = 0; r < rounds; r++) {
		struct change_point c;
		draw_rows(&seed, &rows);
		if (change_point_fit(rows.rows, rows.n, &c) != 0 || !c.ends)
			continue;
		ends++;
		check_least(&rows, &c);
	}
	ck_assert_uint_gt(ends, rounds / 2);
}
END

/* Where the end is a row's place it is just that, whatever the means are rounded to. */
TEST(a_row_at_the_end_is_not_below_it)
{
	static struct rows rows;
	uint64_t seed = unit_seed(), met = 0;
	for (int r = 0; r < 2000; r++) {
		struct change_point c;
		draw_rows(&seed, &rows);
		for (size_t i = 0; i < rows.n; i++)
			rows.rows[i].x = round(rows.rows[i].x) * 1.1 - 14.9;
		if (change_point_fit(rows.rows, rows.n, &c) != 0 || !c.ends)
			continue;
		for (size_t i = 0; i < rows.n; i++)
			if (fabs(rows.rows[i].x - c.at) < 1e-9) {
				ck_assert_double_eq(rows.rows[i].x, c.at);
				met++;
			}
	}
	ck_assert_uint_gt(met, 20);
}
END

	static void
	check_same(const struct change_point *a, const struct change_point *b,
		double shift, double unit)
{
	ck_assert_int_eq(a->ends, b->ends);
	ck_assert_uint_eq(a->below, b->below);
	near(b->at, a->at + shift, 1e-7, "at");
	near(b->at_in.high, a->at_in.high + shift, 1e-6, "at_high");
	near(b->slope / unit, a->slope, 1e-8, "slope");
	near(b->slope_in.low / unit, a->slope_in.low, 1e-7, "slope_low");
	near(b->base / unit, a->base, 1e-7, "base");
	ck_assert(isnan(a->rho) == isnan(b->rho));
	if (!isnan(a->rho))
		near(b->rho, a->rho, 1e-8, "rho");
	near(b->agreement.cv_rmse_percent, a->agreement.cv_rmse_percent, 1e-7, "cv_rmse");
}

/* A shift of x shifts the end; a unit of y scales all of y; the order of rows is
 * nothing. */
TEST(units_origin_and_order_change_nothing_else)
{
	static struct rows rows, other;
	uint64_t seed = unit_seed(), rounds = unit_rounds(200);
	for (uint64_t r = 0; r < rounds; r++) {
		struct change_point a, b;
		draw_rows(&seed, &rows);
		other = rows;
		for (size_t i = rows.n; i-- > 1;) {
			size_t k = (size_t)unit_random_between(&seed, 0, (int64_t)i);
			struct change_row kept = other.rows[i];
			other.rows[i] = other.rows[k];
			other.rows[k] = kept;
		}
		for (size_t i = 0; i < rows.n; i++) {
			other.rows[i].x += 273.15;
			other.rows[i].y *= 41.7;
		}
		int first = change_point_fit(rows.rows, rows.n, &a);
		ck_assert_int_eq(first, change_point_fit(other.rows, rows.n, &b));
		if (first == 0)
			check_same(&a, &b, 273.15, 41.7);
	}
}
END

	/* ---- what an interval promises ---- */

	static double
	normal(uint64_t *seed)
{
	double a = ((double)(unit_random(seed) >> 11) + 0.5) / 9007199254740992.0;
	double b = ((double)(unit_random(seed) >> 11) + 0.5) / 9007199254740992.0;
	return sqrt(-2 * log(a)) * cos(2 * M_PI * b);
}

/* A year's days of 4.5 below 15, whose scatter hangs on the day before by `follows`, and
 * weather that hangs on it, too. */
static void draw_year(uint64_t *seed, double follows, struct rows *rows)
{
	double air = 0, off = 0;
	rows->n = 120;
	for (size_t i = 0; i < rows->n; i++) {
		air = 0.8 * air + 2 * normal(seed);
		off = follows * off + sqrt(1 - follows * follows) * 6 * normal(seed);
		double x = 9 + 8 * sin((double)i / 20) + air;
		rows->rows[i] = (struct change_row){
			x, 1 + (x < 15 ? 4.5 * (15 - x) + off : off / 20), (int64_t)i};
	}
}

struct held {
	uint64_t asked, slope, at, load, day;
};

static struct held hold(double follows, uint64_t rounds, uint64_t *seed)
{
	static struct rows rows;
	struct held held = {0};
	for (uint64_t r = 0; r < rounds; r++) {
		struct change_point c;
		struct change_interval load, day;
		draw_year(seed, follows, &rows);
		if (change_point_fit(rows.rows, rows.n, &c) != 0 || !c.ends)
			continue;
		(void)change_point_load(&c, -9, &load);
		held.asked++;
		held.slope += c.slope_in.low <= 4.5 && 4.5 <= c.slope_in.high;
		held.at += c.at_in.low <= 15 && 15 <= c.at_in.high;
		held.load += load.low <= 108 && 108 <= load.high;
		/* A day that is none of these. */
		(void)change_point_single(&c, -9, &day);
		double one = 109 + 6 * normal(seed);
		held.day += day.low <= one && one <= day.high;
	}
	printf("# follows %g: of %llu slope %llu, end %llu, load %llu, day %llu\n",
		follows, (unsigned long long)held.asked, (unsigned long long)held.slope,
		(unsigned long long)held.at, (unsigned long long)held.load,
		(unsigned long long)held.day);
	return held;
}

/* 95 of a hundred; four standard deviations of so many draws. The end's is wider than it
 * need be (change_point.h). Of days that hang on each other: not much less, as how much
 * they do is itself told by these days. */
TEST(intervals_hold_the_truth_as_often_as_they_say)
{
	uint64_t seed = unit_seed(), rounds = unit_rounds(1000);
	struct held held = hold(0, rounds, &seed);
	double n = (double)held.asked, off = 4 * sqrt(0.95 * 0.05 / n);
	ck_assert_uint_gt(held.asked, rounds * 9 / 10);
	near((double)held.slope / n, 0.95, off, "slope");
	near((double)held.load / n, 0.95, off, "load");
	near((double)held.day / n, 0.95, off, "day");
	ck_assert_double_ge((double)held.at / n, 0.95 - off);
	held = hold(0.6, rounds, &seed);
	n = (double)held.asked;
	ck_assert_double_ge((double)held.slope / n, 0.94 - off);
	ck_assert_double_ge((double)held.at / n, 0.94 - off);
	ck_assert_double_ge((double)held.load / n, 0.94 - off);
}
END

	/* ---- refusals ---- */

	static int
	outcome(double (*y)(double), size_t n, struct change_point *c)
{
	struct change_row rows[60];
	for (size_t i = 0; i < n; i++) {
		double x = (double)((i * 7) % n) / (double)n * 20;
		rows[i] = (struct change_row){
			x, y(x) + 0.3 * ((double)(i % 3) - 1), (int64_t)i};
	}
	return change_point_fit(rows, n, c);
}

static double flat(double x)
{
	(void)x;
	return 20;
}
static double rising(double x)
{
	return 3 * x;
}
static double three_cold_days(double x)
{
	return x < 1.5 ? 5 * (1.5 - x) + 20 : 4;
}

TEST(heat_that_does_not_follow_the_cold_has_no_slope)
{
	struct change_point c;
	ck_assert_int_eq(change_point_fit(NULL, 0, &c), CHANGE_FEW);
	ck_assert_int_ne(outcome(flat, 40, &c), 0);
	ck_assert_int_eq(outcome(rising, 40, &c), CHANGE_NO_SLOPE);
	ck_assert_int_eq(outcome(three_cold_days, 40, &c), CHANGE_FEW);
	ck_assert_uint_lt(c.below, CHANGE_BELOW_LEAST);
	struct change_row same[20];
	for (size_t i = 0; i < ARRAY_LEN(same); i++)
		same[i] = (struct change_row){5, (double)i, (int64_t)i};
	ck_assert_int_eq(change_point_fit(same, ARRAY_LEN(same), &c), CHANGE_NO_SLOPE);
}
END

	/* 40 days below 24, and warm days of nothing far beyond. */
	static struct change_point
	beyond(size_t warm)
{
	struct change_row rows[44];
	struct change_point c;
	for (size_t i = 0; i < 40 + warm; i++) {
		double x = i < 40 ? (double)i / 2 : 30 + (double)i / 10;
		double y = i < 40 ? 4 * (24 - x) + (double)(i % 3) - 1
				  : 0.1 * (double)(i % 2);
		rows[i] = (struct change_row){x, y, (int64_t)i};
	}
	ck_assert_int_eq(change_point_fit(rows, 40 + warm, &c), 0);
	return c;
}

/* What stood still for two warm days is no end of the season. */
TEST(it_takes_three_days_to_be_an_end)
{
	struct change_point three = beyond(3), two = beyond(2);
	ck_assert(three.ends);
	near(three.at, 24, 0.5, "at");
	near(three.base, 0.05, 0.05, "base");
	ck_assert(!two.ends);
	ck_assert_uint_eq(two.below, 42);
}
END

TESTS(the_answer_that_was_built_in_is_found, a_year_is_fitted_as_scipy_does,
	a_season_with_some_warm_days_is_fitted_as_scipy_does,
	days_that_were_all_heated_show_no_end, an_end_that_hardly_shows_is_judged_as_scipy_does,
	open_metered_days_are_fitted_as_scipy_does, nothing_is_less_than_the_least,
	a_row_at_the_end_is_not_below_it, units_origin_and_order_change_nothing_else,
	intervals_hold_the_truth_as_often_as_they_say,
	heat_that_does_not_follow_the_cold_has_no_slope, it_takes_three_days_to_be_an_end)
