/*
 * Declared points: what lies between them, and steady windows held against them.
 *
 * Outside: open data of units in test centres and of certified ones
 * (data/certified_units); JCGM 100, 4.2.3. The rest hand-computed.
 */
#include "configured.h"

#include <heatbook/cop_curve.h>
#include <heatbook/declared.h>

#include <math.h>

/* ---- points ---- */

static struct declared_config points[64];
static struct config unit = {.declared = points};

static void put(double outdoor_c, double flow_c, double cop, double capacity_w)
{
	size_t at = unit.declared_count++;
	while (at > 0 && (points[at - 1].outdoor_c > outdoor_c ||
				 (points[at - 1].outdoor_c == outdoor_c &&
					 points[at - 1].flow_c > flow_c))) {
		points[at] = points[at - 1];
		at--;
	}
	points[at] = (struct declared_config){.name = (char[]){"p"},
		.outdoor_c = outdoor_c,
		.flow_c = flow_c,
		.cop = cop,
		.capacity_w = capacity_w};
}

static double at(double outdoor_c, double flow_c)
{
	return declared_at(&unit, outdoor_c, flow_c).cop;
}

TEST(between_four_points_it_is_bilinear)
{
	put(2.0, 35.0, 3.4, 7000.0);
	put(2.0, 45.0, 2.7, 6800.0);
	put(7.0, 35.0, 4.4, 8000.0);
	put(7.0, 45.0, 3.5, 0.0);
	for (double o = 2.0; o <= 7.0; o += 0.5)
		for (double f = 35.0; f <= 45.0; f += 0.5) {
			double x = (o - 2.0) / 5.0, y = (f - 35.0) / 10.0;
			ck_assert_double_eq_tol(at(o, f),
				3.4 * (1 - x) * (1 - y) + 2.7 * (1 - x) * y +
					4.4 * x * (1 - y) + 3.5 * x * y,
				1e-12);
			ck_assert(declared_at(&unit, o, f).between);
		}
	ck_assert_double_eq_tol(declared_at(&unit, 3.0, 35.0).capacity_w, 7200.0, 1e-9);
	ck_assert(isnan(declared_at(&unit, 3.0, 40.0).capacity_w));
	ck_assert_double_eq(declared_at(&unit, 2.0, 35.0).capacity_w, 7000.0);
}
END

/* Within the tolerances and beyond the points: by the slope of a published fit. */
TEST(beyond_the_points_there_is_only_what_is_near)
{
	put(7.0, 35.0, 4.4, 8000.0);
	struct declared_at near = declared_at(&unit, 7.8, 33.8);
	ck_assert_int_eq(near.near, 0);
	ck_assert(!near.between);
	ck_assert_double_eq_tol(
		near.cop, 4.4 * cop_of_2019(26.0) / cop_of_2019(28.0), 1e-12);
	ck_assert_double_eq(near.capacity_w, 8000.0);
	ck_assert(isnan(at(8.1, 35.0)));
	ck_assert(isnan(at(7.0, 36.6)));
	ck_assert_double_eq(at(7.0, 35.0), 4.4);
	put(7.0, 37.0, 4.1, 8000.0);
	ck_assert_int_eq(declared_at(&unit, 7.0, 36.4).near, 1);
	ck_assert_int_eq(declared_at(&unit, 7.9, 35.9).near, 0);
}
END

	/* ---- at scale ---- */

	/* The points of a certified unit: both applications at four temperatures outside,
	 * at the flow temperatures of EN 14825 (variable outlet, from memory). */
	static void
	check_certified(char **f, size_t count, void *context)
{
	static const double outdoor[] = {-7.0, 2.0, 7.0, 12.0};
	static const double low_c[] = {34.0, 30.0, 27.0, 24.0};
	static const double high_c[] = {52.0, 42.0, 36.0, 30.0};
	size_t *seen = context;
	ck_assert_uint_eq(count, 31);
	unit.declared_count = 0;
	for (int i = 0; i < 4; i++) {
		put(outdoor[i], low_c[i], strtod(f[7 + 2 * i], NULL),
			1000.0 * strtod(f[6 + 2 * i], NULL));
		put(outdoor[i], high_c[i], strtod(f[19 + 2 * i], NULL),
			1000.0 * strtod(f[18 + 2 * i], NULL));
	}
	for (size_t i = 0; i < unit.declared_count; i++)
		ck_assert_double_eq_tol(
			at(points[i].outdoor_c, points[i].flow_c), points[i].cop, 1e-12);
	/* Straight along a declared outdoor temperature, between others within them. */
	for (int i = 0; i < 4; i++) {
		double middle = (low_c[i] + high_c[i]) / 2.0;
		ck_assert_double_eq_tol(at(outdoor[i], middle),
			(points[2 * i].cop + points[2 * i + 1].cop) / 2.0, 1e-12);
	}
	for (double o = -7.0; o <= 2.0; o += 0.25)
		for (double flow = 34.0; flow <= 42.0; flow += 0.5) {
			double low = INFINITY, high = -INFINITY, cop = at(o, flow);
			for (int k = 0; k < 4; k++) {
				low = fmin(low, points[k].cop);
				high = fmax(high, points[k].cop);
			}
			ck_assert(cop >= low - 1e-12 && cop <= high + 1e-12);
			++*seen;
		}
}

TEST(it_goes_through_the_points_of_480_units)
{
	size_t seen = 0;
	ck_assert_uint_eq(
		data_rows("certified_units/part_load_points.csv", check_certified, &seen),
		480);
	ck_assert_uint_eq(seen, 480u * 37 * 17);
}
END

	struct tested {
	char unit[16];
	struct declared_config points[64];
	size_t count;
};
static struct tested tested[20];
static size_t tested_count;

static void take_tested(char **f, size_t count, void *context)
{
	(void)context;
	ck_assert_uint_eq(count, 9);
	if (tested_count == 0 || strcmp(tested[tested_count - 1].unit, f[0]) != 0) {
		ck_assert_uint_lt(tested_count, ARRAY_LEN(tested));
		(void)snprintf(tested[tested_count++].unit, 16, "%s", f[0]);
	}
	struct tested *t = &tested[tested_count - 1];
	t->points[t->count++] = (struct declared_config){.outdoor_c = strtod(f[4], NULL),
		.flow_c = strtod(f[5], NULL),
		.cop = strtod(f[8], NULL)};
}

/* Each point that was tested, left out and looked for among the others of its unit. */
TEST(points_that_were_tested_lie_where_the_others_let_expect)
{
	size_t found = 0;
	double squares = 0.0, worst = 0.0;
	ck_assert_uint_eq(
		data_rows("certified_units/test_points.csv", take_tested, NULL), 250);
	for (size_t u = 0; u < tested_count; u++)
		for (size_t i = 0; i < tested[u].count; i++) {
			const struct declared_config *left = &tested[u].points[i];
			unit.declared_count = 0;
			for (size_t k = 0; k < tested[u].count; k++)
				if (k != i)
					put(tested[u].points[k].outdoor_c,
						tested[u].points[k].flow_c,
						tested[u].points[k].cop, 0.0);
			struct declared_at a =
				declared_at(&unit, left->outdoor_c, left->flow_c);
			if (!a.between)
				continue;
			double off = a.cop / left->cop - 1.0;
			found++;
			squares += off * off;
			worst = fmax(worst, fabs(off));
		}
	ck_assert_uint_eq(found, 187);
	ck_assert_msg(sqrt(squares / (double)found) < 0.047 && worst < 0.15,
		"%zu points: %.4f, at worst %.3f", found, sqrt(squares / (double)found),
		worst);
}
END

/* ---- windows ---- */

#define PLANT                                                                            \
	"[plant]\nzone = UTC\nsource_kind = air\nheat_source = power\nheat_limit = 3 "   \
	"%%\n"                                                                           \
	"[channel flow_temperature]\ntopic = a/1\n[channel outdoor_temperature]\ntopic " \
	"= "                                                                             \
	"a/2\n[channel heat_power]\ntopic = a/3\n[channel p]\ntopic = a/4\nunit = W\n"   \
	"[meter unit]\nfeeds = compressor\npower = p\nlimit = 1 %%\n"
#define POINT "[declared a7_w35]\noutdoor = 7\nflow_temperature = 35\ncop = 4\n%s"

	static struct steady_window
	window(double outdoor_c, double flow_c, double heat_kwh, double electricity_kwh,
		int minutes)
{
	return (struct steady_window){.minutes = minutes,
		.outdoor_c = outdoor_c,
		.flow_c = flow_c,
		.sums = {.minutes = minutes,
			.heat_j = heat_kwh * 3.6e6,
			.electricity_j = electricity_kwh * 3.6e6}};
}

static struct insight_answer answer_of(
	const char *more, const struct steady_window *windows, size_t count)
{
	char *text = xasprintf(PLANT POINT, more);
	struct config *config = configured(text);
	struct question q = {.config = config};
	struct boundary boundaries[BOUNDARIES_MOST];
	struct insight_answer answer = {0};
	struct declared declared;
	ck_assert_uint_gt(boundary_list(config, boundaries), 0);
	q.boundary = boundaries[0];
	declared_compare(config, windows, count, &declared);
	declared_answer(&declared, &q, &answer);
	declared_release(&declared);
	config_free(config);
	free(text);
	return answer;
}

TEST(a_ratio_is_one_of_sums_with_its_interval)
{
	const struct steady_window windows[] = {window(7, 35, 3.8, 1, 60),
		window(7, 35, 3.6, 1, 60), window(7, 35, 7.6, 2, 60),
		window(7, 35, 3.6, 1, 60), window(7, 35, 4.0, 1, 60),
		window(7, 38, 1.0, 1, 60), window(3, 35, 1.0, 1, 60)};
	struct insight_answer a = answer_of("capacity = 5 kW\n", windows, 7);
	const struct insight_value *v = insight_find(&a, "ratio_a7_w35");
	ck_assert_ptr_nonnull(v);
	ck_assert_double_eq_tol(v->value, 22.6 / 4.0 / 6.0, 1e-12);
	/* .95 .9 .95 .9 1.0: mean .94, s² = 0.0017/… */
	double s2 = (2 * 0.01 * 0.01 + 2 * 0.04 * 0.04 + 0.06 * 0.06) / 4.0;
	double limits = 2.0 * v->value * hypot(0.03, 0.01) / sqrt(3.0);
	ck_assert_double_eq_tol(
		v->high - v->value, hypot(limits, 2.0 * sqrt(s2 / 5.0)), 1e-9);
	ck_assert_double_eq_tol(v->value - v->low, v->high - v->value, 1e-12);
	ck_assert_double_eq(insight_find(&a, "ratio")->value, v->value);
	ck_assert_ptr_null(insight_find(&a, "ratio_between_points"));
	ck_assert_uint_eq(a.missing_count, 0);
	insight_release(&a);
}
END

TEST(windows_as_declared_have_a_ratio_of_one)
{
	struct steady_window windows[40];
	for (size_t i = 0; i < ARRAY_LEN(windows); i++) {
		double o = 6.1 + 0.045 * (double)i, f = 33.6 + 0.07 * (double)i;
		double cop = 4.0 * cop_of_2019(f - o) / cop_of_2019(28.0);
		double kwh = 0.4 + 0.01 * (double)i;
		windows[i] = window(o, f, kwh, kwh / cop, 30);
	}
	struct insight_answer a = answer_of("", windows, ARRAY_LEN(windows));
	ck_assert_double_eq_tol(insight_find(&a, "ratio")->value, 1.0, 1e-12);
	ck_assert_uint_eq(a.missing_count, 1);
	ck_assert_ptr_nonnull(strstr(a.missing[0], "capacity of [declared a7_w35]"));
	insight_release(&a);
}
END

TEST(too_few_windows_are_no_answer)
{
	struct steady_window windows[6];
	for (size_t i = 0; i < 6; i++)
		windows[i] = window(7, 35, 3.8, 1, 20);
	struct insight_answer a = answer_of("capacity = 5 kW\n", windows, 4);
	ck_assert_uint_eq(a.count, 0);
	ck_assert_ptr_nonnull(strstr(a.missing[0],
		"a7_w35: 4 windows of steady heating, 80 minutes, within 1 K of 7 °C"));
	insight_release(&a);
	a = answer_of("capacity = 5 kW\n", windows, 5); /* 100 minutes */
	ck_assert_uint_eq(a.count, 0);
	insight_release(&a);
	a = answer_of("capacity = 5 kW\n", windows, 6);
	ck_assert_uint_eq(a.count, 2);
	insight_release(&a);
}
END

/* Between four points and near none: a ratio of its own. */
TEST(windows_amid_points_are_told_apart)
{
	struct steady_window windows[6];
	for (size_t i = 0; i < 6; i++)
		windows[i] = window(4.5, 40, 3.0, 1, 30);
	struct insight_answer a =
		answer_of("capacity = 5 kW\n[declared a]\noutdoor = 2\nflow_temperature "
			  "= 35\ncop = 3\n"
			  "[declared b]\noutdoor = 2\nflow_temperature = 45\ncop = 2\n"
			  "[declared c]\noutdoor = 7\nflow_temperature = 45\ncop = 3\n",
			windows, 6);
	ck_assert_uint_eq(a.count, 1);
	ck_assert_double_eq_tol(
		insight_find(&a, "ratio_between_points")->value, 3.0 / 3.0, 1e-12);
	ck_assert_uint_eq(a.missing_count, 4);
	insight_release(&a);
}
END

TESTS(between_four_points_it_is_bilinear, beyond_the_points_there_is_only_what_is_near,
	it_goes_through_the_points_of_480_units,
	points_that_were_tested_lie_where_the_others_let_expect,
	a_ratio_is_one_of_sums_with_its_interval,
	windows_as_declared_have_a_ratio_of_one, too_few_windows_are_no_answer,
	windows_amid_points_are_told_apart)
