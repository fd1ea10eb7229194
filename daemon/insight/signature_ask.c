/*
 * Asks the store for what the signature takes: days, and hours of the coldest of them.
 */
#include <heatbook/signature.h>

#include <heatbook/figures.h>

#include <math.h>

/* ---- what the unit was seen to give ---- */

/* Mean power of an hour, all modes but cooling; NaN where too little of it is known. */
static double hour_w(const struct energy_bucket *hour)
{
	struct energy_sum sum = figures_sum(hour);
	double length_ms = (double)(hour->t_end_ms - hour->t_ms);
	if ((double)sum.heat_ms < SIGNATURE_COVERAGE_PERCENT / 100.0 * length_ms)
		return (double)NAN;
	return (double)sum.heat_j / ((double)sum.heat_ms / 1000.0);
}

static void seek_stretch(const struct energy_answer *hours, double outdoor_c,
	struct signature_capacity *best)
{
	for (size_t i = 0; i + SIGNATURE_STRETCH_HOURS <= hours->count; i++) {
		const struct energy_bucket *first = &hours->buckets[i];
		double sum_w = 0.0;
		for (size_t k = 0; k < SIGNATURE_STRETCH_HOURS; k++)
			sum_w += hour_w(&first[k]);
		double mean_w = sum_w / SIGNATURE_STRETCH_HOURS;
		if (isnan(mean_w) || mean_w <= best->w)
			continue;
		*best = (struct signature_capacity){.w = mean_w,
			.from_ms = first->t_ms,
			.to_ms = first[SIGNATURE_STRETCH_HOURS - 1].t_end_ms,
			.outdoor_c = outdoor_c};
	}
}

static int ask_day(struct store *store, const struct signature_day *day,
	struct signature_capacity *best)
{
	static const struct duration hour = {.exact_ms = MS_PER_HOUR};
	static const struct boundary nothing;
	struct energy_answer hours;
	int64_t *edges;
	size_t count;
	struct date date = calendar_date(day->start_ms);
	query_buckets_some(day->start_ms, calendar_day_start(calendar_add(date, 0, 0, 1)),
		&hour, 26, &edges, &count);
	int r = query_energy(store, edges, count, &nothing, &hours);
	free(edges);
	if (r != 0)
		return r;
	seek_stretch(&hours, day->outdoor_c, best);
	energy_answer_release(&hours);
	return 0;
}

static int colder(const void *a, const void *b)
{
	const struct signature_day *left = a, *right = b;
	if (left->outdoor_c != right->outdoor_c)
		return left->outdoor_c < right->outdoor_c ? -1 : 1;
	return (left->start_ms > right->start_ms) - (left->start_ms < right->start_ms);
}

/* What is not declared the coldest days may show. */
static int ask_capacity(struct store *store, struct signature *s)
{
	const struct plant_config *plant = &store_config(store)->plant;
	struct signature_capacity best = {.w = -(double)INFINITY};
	int r = 0;
	if (s->capacity.declared || !s->fitted || isnan(plant->design_temperature_c))
		return 0;
	struct signature_day *sorted = xmalloc((s->count + 1) * sizeof(*sorted));
	for (size_t i = 0; i < s->count; i++)
		sorted[i] = s->points[i];
	qsort(sorted, s->count, sizeof(*sorted), colder);
	double near_c = plant->design_temperature_c + SIGNATURE_NEAR_K;
	for (size_t i = 0; r == 0 && i < s->count && i < SIGNATURE_COLD_DAYS &&
			   sorted[i].outdoor_c <= near_c;
		i++)
		r = ask_day(store, &sorted[i], &best);
	free(sorted);
	if (r == 0 && isfinite(best.w))
		s->capacity = best;
	return r;
}

int signature_ask(
	struct store *store, int64_t from_ms, int64_t to_ms, struct signature *ret)
{
	static const struct boundary nothing; /* heat is asked, no meter's electricity */
	struct insight_days days;
	int r = insight_days_ask(store, from_ms, to_ms, &nothing, &days);
	if (r != 0)
		return r;
	signature_fit(&days, ret);
	insight_days_release(&days);
	r = ask_capacity(store, ret);
	if (r == 0)
		signature_tell(store_config(store), ret);
	else
		signature_release(ret);
	return r;
}

void signature_release(struct signature *signature)
{
	insight_release(&signature->answer);
	free(signature->points);
	*signature = (struct signature){0};
}
