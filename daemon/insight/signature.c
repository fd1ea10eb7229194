/*
 * The signature of a house, out of its days. See signature.h.
 *
 * Days are taken as mean powers over what is known of them, so that days of 23 and 25
 * hours weigh alike and the slope is W/K as it stands.
 */
#include <heatbook/signature.h>

#include <heatbook/budget.h>
#include <heatbook/calendar.h>

#include <math.h>

/* Of a day's heat, what may be spread evenly: as of a mode's quotient. */
#define SPREAD_MOST (SPREAD_MOST_PERCENT / 100.0)

const char *signature_left_name(enum signature_left left)
{
	static const char *const names[SIGNATURE_LEFT] = {
		[LEFT_OPEN] = "not_over",
		[LEFT_HEAT] = "heat_unknown",
		[LEFT_MODE] = "mode_unknown",
		[LEFT_SPREAD] = "heat_spread",
		[LEFT_OUTDOOR] = "outdoor_unknown",
	};
	return names[left];
}

/* ---- days ---- */

static int64_t heat_known_ms(const struct insight_day *day)
{
	return day->whole.heat_ms + day->modes[MODE_COOLING].heat_ms;
}

static bool is_known(const struct insight_day *day, int64_t known_ms)
{
	return insight_share(day, known_ms) >= SIGNATURE_COVERAGE_PERCENT / 100.0;
}

/* A register's even share of a mode is no measurement where several modes had any. */
static bool is_spread(const struct insight_day *day)
{
	if (day->modes[MODE_HOT_WATER].ms == 0)
		return false;
	return fabs((double)day->whole.heat_spread_j) >
	       SPREAD_MOST * fabs((double)day->whole.heat_j);
}

static bool is_over(const struct insight_day *day)
{
	return calendar_day_start(calendar_date(day->end_ms)) == day->end_ms;
}

static enum signature_left left_of(const struct insight_day *day)
{
	int64_t told_ms = heat_known_ms(day) - day->modes[MODE_UNASSIGNED].heat_ms;
	if (!is_over(day))
		return LEFT_OPEN;
	if (!is_known(day, heat_known_ms(day)))
		return LEFT_HEAT;
	if (!is_known(day, told_ms))
		return LEFT_MODE;
	if (is_spread(day))
		return LEFT_SPREAD;
	return is_known(day, day->outdoor_ms) ? SIGNATURE_LEFT : LEFT_OUTDOOR;
}

struct sums {
	double known_ms, length_ms;
	double sensitivity_j_per_k;
};

static void take_day(const struct insight_day *day, int64_t number, struct signature *ret,
	struct sums *sums)
{
	int64_t known_ms = heat_known_ms(day), space_j = insight_space_heat_j(day);
	ret->points[ret->count] = (struct signature_day){.start_ms = day->start_ms,
		.number = number,
		.outdoor_c = day->outdoor_c,
		.space_w = (double)space_j / ((double)known_ms / 1000.0)};
	if (day->outdoor_c < ret->points[ret->coldest].outdoor_c)
		ret->coldest = ret->count;
	if (day->outdoor_c > ret->points[ret->warmest].outdoor_c)
		ret->warmest = ret->count;
	ret->count++;
	ret->space_j += space_j;
	ret->unassigned_j += day->modes[MODE_UNASSIGNED].heat_j;
	ret->hot_water_j += day->modes[MODE_HOT_WATER].heat_j;
	ret->cooling_days += day->modes[MODE_COOLING].heat_j != 0;
	sums->known_ms += (double)known_ms;
	sums->length_ms += (double)(day->end_ms - day->start_ms);
	sums->sensitivity_j_per_k += day->whole.paired_sensitivity_j_per_k;
}

/* What instruments may be off by moves all days alike: it is in no scatter. */
static double uncertain(const struct config *config, const struct insight_days *days,
	const struct signature *s, const struct sums *sums)
{
	double heat_j = (double)(s->space_j + s->hot_water_j);
	struct energy_sum sum = {.heat_j = s->space_j + s->hot_water_j,
		.sensitivity_j_per_k = sums->sensitivity_j_per_k};
	struct question q = {.config = config, .boundary = days->boundary};
	q.boundary.meters = q.boundary.heat_plus = q.boundary.heat_less = 0;
	if (heat_j <= 0.0)
		return (double)NAN;
	return budget_whole(&sum, NULL, NULL, &q).heat_expanded_j / heat_j;
}

static void fit_points(struct signature *s)
{
	struct change_row *rows = xmalloc((s->count + 1) * sizeof(*rows));
	double apart_k = 0.0;
	for (size_t i = 0; i < s->count; i++)
		rows[i] = (struct change_row){s->points[i].outdoor_c,
			s->points[i].space_w, s->points[i].number};
	if (s->count > 0)
		apart_k =
			s->points[s->warmest].outdoor_c - s->points[s->coldest].outdoor_c;
	if (s->count >= SIGNATURE_DAYS_LEAST && apart_k >= SIGNATURE_SPAN_LEAST_K) {
		s->outcome = change_point_fit(rows, s->count, &s->fit);
		s->fitted = s->outcome == 0;
	}
	free(rows);
}

void signature_fit(const struct insight_days *days, struct signature *ret)
{
	const struct plant_config *plant = &days->config->plant;
	struct sums sums = {0};
	*ret = (struct signature){.from_ms = days->from_ms,
		.to_ms = days->to_ms,
		.version = days->version,
		.older = days->older,
		.days = days->count,
		.heat_share = (double)NAN,
		.heat_uncertain = (double)NAN,
		.capacity = {.declared = !isnan(plant->design_capacity_w),
			.w = plant->design_capacity_w}};
	ret->points = xcalloc(days->count + 1, sizeof(*ret->points));
	for (size_t i = 0; i < days->count; i++) {
		enum signature_left left = left_of(&days->days[i]);
		if (left < SIGNATURE_LEFT)
			ret->left[left]++;
		else
			take_day(&days->days[i], (int64_t)i, ret, &sums);
	}
	if (ret->count > 0) {
		ret->heat_share = sums.known_ms / sums.length_ms;
		ret->heat_uncertain = uncertain(days->config, days, ret, &sums);
	}
	fit_points(ret);
}
