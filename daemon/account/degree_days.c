/*
 * Degree days. See degree_days.h.
 *
 * The four cases of the least and the greatest temperature stand for a course between
 * them: all below the base, mostly below, mostly above, all above. Where all is below,
 * the middle of both is the mean.
 */
#include <heatbook/degree_days.h>

#include <assert.h>
#include <math.h>

void outdoor_day_add(struct outdoor_day *day, double base_c, double t_c, double least_c,
	double most_c, int64_t known_ms)
{
	if (known_ms <= 0)
		return;
	int64_t before_ms = day->known_ms;
	day->known_ms += known_ms;
	day->mean_c += (t_c - day->mean_c) * ((double)known_ms / (double)day->known_ms);
	day->least_c = before_ms ? fmin(day->least_c, least_c) : least_c;
	day->most_c = before_ms ? fmax(day->most_c, most_c) : most_c;
	day->below_k_ms += fmax(0.0, base_c - t_c) * (double)known_ms;
}

bool outdoor_day_known(const struct outdoor_day *day)
{
	return day->known_ms > 0 &&
	       day->known_ms * 100 >= day->length_ms * DEGREE_DAY_KNOWN_PERCENT;
}

const char *degree_method_name(enum degree_method method)
{
	static const char *const names[DEGREE_METHODS] = {
		[DEGREE_INTEGRAL] = "integral of minutes",
		[DEGREE_DAILY_MEAN] = "daily mean",
		[DEGREE_MIN_MAX] = "four cases of daily least and greatest",
		[DEGREE_EUROSTAT] = "Eurostat 18/15",
	};
	assert((unsigned)method < DEGREE_METHODS);
	return names[method];
}

double degree_method_base_c(enum degree_method method, double base_c)
{
	return method == DEGREE_EUROSTAT ? EUROSTAT_BASE_C : base_c;
}

static double four_cases(double base_c, double least_c, double most_c)
{
	double middle_c = (least_c + most_c) / 2.0;
	if (least_c >= base_c)
		return 0.0;
	if (most_c <= base_c)
		return base_c - middle_c;
	if (middle_c < base_c)
		return 0.5 * (base_c - least_c) - 0.25 * (most_c - base_c);
	return 0.25 * (base_c - least_c);
}

double degree_days_of(
	enum degree_method method, double base_c, const struct outdoor_day *day)
{
	if (!outdoor_day_known(day))
		return (double)NAN;
	switch (method) {
	case DEGREE_INTEGRAL:
		return day->below_k_ms / (double)day->known_ms * (double)day->length_ms /
		       (double)MS_PER_DAY;
	case DEGREE_DAILY_MEAN:
		return fmax(0.0, base_c - day->mean_c);
	case DEGREE_MIN_MAX:
		return four_cases(base_c, day->least_c, day->most_c);
	case DEGREE_EUROSTAT:
		return day->mean_c <= EUROSTAT_LIMIT_C ? EUROSTAT_BASE_C - day->mean_c
						       : 0.0;
	case DEGREE_METHODS:
		break;
	}
	assert(false);
	return (double)NAN;
}

void degree_sum_add(struct degree_sum *sum, double base_c, const struct outdoor_day *day)
{
	if (!outdoor_day_known(day)) {
		sum->missing++;
		return;
	}
	sum->days++;
	sum->from_hours += day->from_hours;
	for (int m = 0; m < DEGREE_METHODS; m++)
		sum->kd[m] += degree_days_of((enum degree_method)m, base_c, day);
	sum->weighted_c += day->mean_c * (double)day->known_ms;
	sum->known_ms += day->known_ms;
}
