/*
 * See flow_temperature.h. The unit's share of Carnot's quotient: emission_share.c; the
 * emitters: emission_emitters.c.
 *
 * The interval of a saving has two parts. Least squares over the plant's own minutes are
 * unsure of the law's numbers (Student's t with weeks less one). And by how much less
 * output the control will answer is not the emitters' alone: it is taken to be off by
 * half of what it changes by, rectangular, in all days alike (own judgement: a control
 * that also rests less, or more, between runs did as much on an invented plant).
 *
 * A day was served as it was: where emitters that are warm all day could not have given
 * its heat by their law, they get as much more as that lacks, and every lowering leaves
 * that day short. Time for hot water and defrosts counts as time with warm emitters,
 * since they hold their warmth for about as long; the interval's cautious end takes it
 * off.
 */
#include <heatbook/flow_temperature.h>

#include "emission.h"

#include <heatbook/cop_curve.h>
#include <heatbook/fit.h>

#include <math.h>

enum { DAYS_LEAST = 14, HEATING_LEAST_MIN = 120 };
#define KNOWN_SHARE   0.95 /* of a day's heat */
#define CONTROL_SHARE 0.5  /* of the change of output, that it may be off by */
#define CONFIDENCE    0.95
#define PRECISION_K   0.5 /* to which the largest lowering is told, downward */
#define LARGEST_K     30.0
#define LEAST_OUTPUT  0.05 /* where no least one was seen */

/* A day of heating. */
struct heating_day {
	const struct insight_day *day;
	double heat_j, unit_j, minutes;
	double flow_c, return_c, source_c, room_c;
	double need_j;      /* heat for the rooms, net; NaN: not all of it known */
	double elsewhere_s; /* hot water and defrosts */
	double largest_k;   /* by which the flow may be cooler, by the emitters */
};

struct asked {
	const struct insight_days *days;
	struct flow_temperature *ret;
	struct heating_day *items;
	size_t count;
	struct share_law law;
	int law_outcome;
	bool emitters_told;
	double least_w; /* output with which the unit was seen to run steadily */
};

static const struct flow_value unknown = {(double)NAN, (double)NAN, (double)NAN};

/* ---- the days ---- */

static bool take_day(const struct insight_day *day, struct heating_day *ret)
{
	const struct evidence *e = emission_row(day, EMISSION_WHOLE);
	if (!e || e->minutes < HEATING_LEAST_MIN || !(e->values[1] > 0.0) ||
		isnan(e->values[4]))
		return false;
	int64_t elsewhere_ms =
		day->modes[MODE_HOT_WATER].ms + day->modes[MODE_DEFROST].ms;
	bool known = insight_share(day, day->whole.heat_ms) >= KNOWN_SHARE;
	*ret = (struct heating_day){.day = day,
		.heat_j = e->values[0],
		.unit_j = e->values[1],
		.minutes = (double)e->minutes,
		.flow_c = e->values[2],
		.return_c = e->values[3],
		.source_c = e->values[4],
		.room_c = e->values[5],
		.need_j = known ? (double)insight_space_heat_j(day) : (double)NAN,
		.elsewhere_s = (double)elsewhere_ms / 1000.0};
	return true;
}

/* Weighted by heat, of the days that have it; NaN of none. */
static double mean_of(const struct asked *a, size_t offset)
{
	double sum = 0.0, heat_j = 0.0;
	for (size_t i = 0; i < a->count; i++) {
		double v = *(const double *)((const char *)&a->items[i] + offset);
		if (isnan(v))
			continue;
		sum += v * a->items[i].heat_j;
		heat_j += a->items[i].heat_j;
	}
	return heat_j > 0.0 ? sum / heat_j : (double)NAN;
}

/* A room that nothing tells of on a day is the others' mean; without any, assumed. */
static void settle_rooms(struct asked *a)
{
	double room_c = mean_of(a, offsetof(struct heating_day, room_c));
	a->ret->room_assumed = isnan(room_c);
	a->ret->room_c = isnan(room_c) ? ASSUMED_ROOM_C : room_c;
	for (size_t i = 0; i < a->count; i++)
		if (isnan(a->items[i].room_c))
			a->items[i].room_c = a->ret->room_c;
}

static void sum_days(struct asked *a)
{
	double carnot_j = 0.0, heat_j = 0.0, unit_j = 0.0, running = 0.0, observed = 0.0;
	for (size_t i = 0; i < a->count; i++) {
		const struct heating_day *d = &a->items[i];
		const struct insight_part *modes = d->day->modes;
		double lift_k = fmax(d->flow_c - d->source_c, COP_LEAST_LIFT_K);
		heat_j += d->heat_j;
		unit_j += d->unit_j;
		carnot_j += d->heat_j / cop_carnot(d->flow_c, d->flow_c - lift_k);
		running += (double)(modes[MODE_HEATING].ms + modes[MODE_HOT_WATER].ms +
				    modes[MODE_DEFROST].ms);
		observed += (double)d->day->observed_ms;
	}
	a->ret->days = a->count;
	a->ret->heat_kwh = heat_j / J_PER_KWH;
	a->ret->electricity_kwh = unit_j / J_PER_KWH;
	a->ret->carnot_share = carnot_j / unit_j;
	a->ret->running_share = running / observed;
	a->ret->flow_c = mean_of(a, offsetof(struct heating_day, flow_c));
	a->ret->return_c = mean_of(a, offsetof(struct heating_day, return_c));
	a->ret->source_c = mean_of(a, offsetof(struct heating_day, source_c));
	settle_rooms(a);
}

static void take_days(struct asked *a)
{
	a->items = xcalloc(a->days->count + 1, sizeof(*a->items));
	a->least_w = (double)NAN;
	for (size_t i = 0; i < a->days->count; i++) {
		const struct insight_day *day = &a->days->days[i];
		const struct evidence *e = emission_row(day, EMISSION_SETTLED);
		a->count += take_day(day, &a->items[a->count]);
		if (e && e->minutes >= SETTLED_LEAST_MIN)
			a->least_w = fmin(a->least_w, e->values[4]); /* or the number */
	}
	sum_days(a);
}

/* ---- efficiency ---- */

/* What a day's electricity would be, and how it goes with the law's numbers. */
struct cooler_day {
	double unit_j;
	double by_b[SHARE_TERMS]; /* its derivatives, J */
	double by_output;         /* by the logarithm of the output, J */
	double output;            /* as a share of what it was */
};

static double spread_of(const struct heating_day *d)
{
	return isnan(d->return_c) ? 0.0 : fmax(d->flow_c - d->return_c, 0.0);
}

/* By which the quotient grows: no more is expected of lifts below the least. */
static double carnot_gain(const struct heating_day *d, double by_k)
{
	double flow_c = d->flow_c - by_k;
	double before = fmax(d->flow_c - d->source_c, COP_LEAST_LIFT_K);
	double lift = fmax(flow_c - d->source_c, COP_LEAST_LIFT_K);
	return cop_carnot(flow_c, flow_c - lift) /
	       cop_carnot(d->flow_c, d->flow_c - before);
}

/* Below the least output that was seen the unit rests more often instead. */
static double output_share(
	const struct asked *a, const struct heating_day *d, double by_k)
{
	double least = a->least_w * 60.0 * d->minutes / d->heat_j;
	double share = emitters_output(
		a->ret->exponent, d->flow_c, spread_of(d), d->room_c, by_k);
	share = fmax(share, fmin(least, 1.0)); /* of NaN and a number the number */
	return fmax(share, LEAST_OUTPUT);
}

static struct cooler_day cooler(
	const struct asked *a, const struct heating_day *d, double by_k)
{
	const double *b = a->law.b;
	struct cooler_day c = {.output = output_share(a, d, by_k)};
	double before = log(d->heat_j / (60.0 * d->minutes) / 1000.0);
	double less = log(c.output), after = before + less;
	double terms[SHARE_TERMS] = {-by_k, 0.0, less, after * after - before * before};
	double gain = log(carnot_gain(d, by_k));
	for (int k = 0; k < SHARE_TERMS; k++)
		gain += b[k] * terms[k];
	c.unit_j = d->unit_j * exp(-gain);
	for (int k = 0; k < SHARE_TERMS; k++)
		c.by_b[k] = -c.unit_j * terms[k];
	c.by_output =
		-c.unit_j * (b[SHARE_OUTPUT] + 2.0 * b[SHARE_OUTPUT_2] * after) * less;
	return c;
}

static double fit_gain(
	double (*cop)(double lift_k), const struct heating_day *d, double by_k)
{
	double lift = d->flow_c - d->source_c;
	return cop(lift - by_k) / cop(lift);
}

static double percent_of(const struct asked *a, double saved_j)
{
	return 100.0 * saved_j / (a->ret->electricity_kwh * J_PER_KWH);
}

/* Beside it: Carnot's share unchanged, and two published fits to units of air. */
static void put_beside(const struct asked *a, struct lowering *l)
{
	bool air = a->days->config->plant.source_kind == SOURCE_AIR;
	double carnot = 0.0, of_2019 = 0.0, of_2012 = 0.0;
	for (size_t i = 0; i < a->count; i++) {
		const struct heating_day *d = &a->items[i];
		carnot += d->unit_j * (1.0 - 1.0 / carnot_gain(d, l->by_k));
		of_2019 += d->unit_j * (1.0 - 1.0 / fit_gain(cop_of_2019, d, l->by_k));
		of_2012 += d->unit_j * (1.0 - 1.0 / fit_gain(cop_of_2012, d, l->by_k));
	}
	l->carnot_percent = percent_of(a, carnot);
	l->fit_2019_percent = air ? percent_of(a, of_2019) : (double)NAN;
	l->fit_2012_percent = air ? percent_of(a, of_2012) : (double)NAN;
}

static void put_saving(const struct asked *a, struct lowering *l)
{
	double unit_j = 0.0, by_b[SHARE_TERMS] = {0}, by_output = 0.0;
	double output = 0.0, heat_j = 0.0;
	l->saving_kwh = l->saving_percent = unknown;
	for (size_t i = 0; i < a->count; i++) {
		struct cooler_day c = cooler(a, &a->items[i], l->by_k);
		unit_j += c.unit_j;
		by_output += c.by_output;
		output += a->items[i].heat_j * c.output;
		heat_j += a->items[i].heat_j;
		for (int k = 0; k < SHARE_TERMS; k++)
			by_b[k] += c.by_b[k];
	}
	l->output_percent = 100.0 * output / heat_j;
	if (a->law_outcome != 0)
		return;
	double t = student_t((double)a->law.weeks - 1.0, CONFIDENCE);
	double of_law = t * sqrt(share_variance(&a->law, by_b));
	double of_control = 2.0 * CONTROL_SHARE * fabs(by_output) / sqrt(3.0);
	double pm_j = hypot(of_law, of_control);
	double saved_j = a->ret->electricity_kwh * J_PER_KWH - unit_j;
	l->saving_kwh = (struct flow_value){saved_j / J_PER_KWH,
		(saved_j - pm_j) / J_PER_KWH, (saved_j + pm_j) / J_PER_KWH};
	l->saving_percent = (struct flow_value){percent_of(a, saved_j),
		percent_of(a, saved_j - pm_j), percent_of(a, saved_j + pm_j)};
}

static struct flow_value by_law(const struct asked *a, const double g[static SHARE_TERMS])
{
	double value = 0.0;
	if (a->law_outcome != 0)
		return unknown;
	for (int k = 0; k < SHARE_TERMS; k++)
		value += g[k] * a->law.b[k];
	double t = student_t((double)a->law.weeks - 1.0, CONFIDENCE);
	double pm = t * sqrt(share_variance(&a->law, g));
	return (struct flow_value){value, value - pm, value + pm};
}

static void judge_efficiency(struct asked *a)
{
	double seconds = 0.0;
	for (size_t i = 0; i < a->count; i++)
		seconds += 60.0 * a->items[i].minutes;
	double output = log(a->ret->heat_kwh * J_PER_KWH / seconds / 1000.0);
	a->law_outcome = share_law_of(a->days, &a->law);
	a->ret->share_days = a->law.days;
	a->ret->share_by_flow =
		by_law(a, (const double[SHARE_TERMS]){[SHARE_FLOW] = 1.0});
	a->ret->share_by_source =
		by_law(a, (const double[SHARE_TERMS]){[SHARE_SOURCE] = 1.0});
	a->ret->share_by_output =
		by_law(a, (const double[SHARE_TERMS]){
				  [SHARE_OUTPUT] = 1.0, [SHARE_OUTPUT_2] = 2.0 * output});
}

/* ---- emitters ---- */

/* By how much the flow may be cooler on each day so that emitters still give its heat. */
static void find_largest(
	struct asked *a, const struct emitters *emitters, bool without_elsewhere)
{
	for (size_t i = 0; i < a->count; i++) {
		struct heating_day *d = &a->items[i];
		double day_s = (double)(d->day->end_ms - d->day->start_ms) / 1000.0;
		double run_w = d->heat_j / (60.0 * d->minutes);
		double warm_s = day_s - (without_elsewhere ? d->elsewhere_s : 0.0);
		double needs = emitters_flow_c(
			emitters, d->need_j / warm_s, d->room_c, spread_of(d) / run_w);
		d->largest_k = isnan(needs) ? LARGEST_K : fmax(0.0, d->flow_c - needs);
	}
}

static bool is_short(const struct heating_day *d, double by_k)
{
	return d->largest_k < by_k;
}

static double count_short(const struct asked *a, double by_k)
{
	size_t count = 0;
	for (size_t i = 0; i < a->count; i++)
		count += is_short(&a->items[i], by_k);
	return (double)count;
}

static double largest_of(const struct asked *a)
{
	double least = LARGEST_K;
	for (size_t i = 0; i < a->count; i++)
		least = fmin(least, a->items[i].largest_k);
	return PRECISION_K * floor(least / PRECISION_K);
}

static void widen(struct flow_value *v, double value)
{
	v->low = fmin(v->low, value);
	v->high = fmax(v->high, value);
}

/* What the law might be as well. */
static void judge_otherwise(
	struct asked *a, const struct emitters *emitters, bool without_elsewhere)
{
	find_largest(a, emitters, without_elsewhere);
	widen(&a->ret->largest_lowering_k, largest_of(a));
	for (size_t i = 0; i < a->ret->count; i++)
		widen(&a->ret->lowerings[i].days_short,
			count_short(a, a->ret->lowerings[i].by_k));
}

static void judge_ends(struct asked *a, const struct emitters *emitters)
{
	double df = (double)emitters->days - 2.0;
	double pm = student_t(df, CONFIDENCE) * emitters->sd_w;
	struct emitters weak = *emitters, strong = *emitters;
	weak.k_w = fmax(weak.k_w - pm, weak.k_w / 10.0);
	strong.k_w += pm;
	judge_otherwise(a, &weak, true);
	judge_otherwise(a, &strong, false);
}

/* Of the answer itself: days, and temperatures outside on them. */
static void judge_likely(struct asked *a, const struct emitters *emitters)
{
	double largest;
	find_largest(a, emitters, false);
	largest = largest_of(a);
	a->ret->largest_lowering_k = (struct flow_value){largest, largest, largest};
	for (size_t i = 0; i < a->ret->count; i++) {
		struct lowering *l = &a->ret->lowerings[i];
		double n = count_short(a, l->by_k);
		l->days_short = (struct flow_value){n, n, n};
		for (size_t k = 0; k < a->count; k++) {
			double outdoor_c = a->items[k].day->outdoor_c;
			if (is_short(&a->items[k], l->by_k))
				l->warmest_short_c = fmax(l->warmest_short_c, outdoor_c);
			else
				l->coldest_served_c =
					fmin(l->coldest_served_c, outdoor_c);
		}
	}
}

static void judge_emitters(struct asked *a)
{
	struct flow_temperature *ret = a->ret;
	struct emitters emitters;
	a->emitters_told = emitters_of(a->days, ret->room_c, ret->exponent, &emitters);
	ret->emitter_days = emitters.days;
	if (!a->emitters_told)
		return;
	double pm = student_t((double)emitters.days - 2.0, CONFIDENCE) * emitters.sd_w;
	ret->emitters_w =
		(struct flow_value){emitters.k_w, emitters.k_w - pm, emitters.k_w + pm};
	ret->storage_kwh_per_k = emitters.storage_j_per_k / J_PER_KWH;
	judge_likely(a, &emitters);
	judge_ends(a, &emitters);
	for (int way = -1; way <= 1 && !ret->exponent_said; way += 2)
		if (emitters_of(a->days, ret->room_c,
			    ret->exponent + way * EMITTER_EXPONENT_PM, &emitters))
			judge_ends(a, &emitters);
}

/* ---- what is missing ---- */

static void lack_channels(const struct config *config, struct insight_answer *answer)
{
	enum source_kind kind = config->plant.source_kind;
	if (config_role(config, ROLE_FLOW_TEMPERATURE) < 0)
		insight_lacks(answer, "No channel has the role flow_temperature.");
	if (kind == SOURCE_NOT_SAID)
		insight_lacks(answer,
			"[plant] source_kind does not say what heat is taken "
			"from: air, ground or water.");
	else if (kind == SOURCE_AIR && config_role(config, ROLE_OUTDOOR_TEMPERATURE) < 0)
		insight_lacks(answer,
			"No channel has the role outdoor_temperature, which "
			"is what heat is taken from.");
	else if (kind != SOURCE_AIR &&
		 config_role(config, ROLE_SOURCE_ENTERING_TEMPERATURE) < 0)
		insight_lacks(answer,
			"No channel has the role source_entering_temperature: "
			"heat is not taken from air, and what it is taken "
			"from is not metered.");
}

static void lack_days(struct asked *a, struct insight_answer *answer)
{
	if (a->count < DAYS_LEAST) {
		insight_lacks(answer,
			"Days with two hours of heating or more, of which heat, the "
			"unit's "
			"electricity and temperatures are known minute by minute: %zu, "
			"and "
			"it takes %d.",
			a->count, DAYS_LEAST);
		return;
	}
	if (a->law_outcome == SHARE_FEW)
		insight_lacks(answer,
			"Weeks with minutes of undisturbed heating at a lift of 15 K or "
			"more: %zu, and it takes %d.",
			a->law.weeks, SHARE_WEEKS_LEAST);
	else if (a->law_outcome == SHARE_DEPENDENT)
		insight_lacks(answer,
			"Flow temperature, output and what heat is taken from did not "
			"vary apart from each other: the plant's own minutes do not tell "
			"what a cooler flow alone would change.");
	if (a->emitters_told)
		return;
	if (config_role(a->days->config, ROLE_RETURN_TEMPERATURE) < 0)
		insight_lacks(answer, "No channel has the role return_temperature: what "
				      "emitters give off is not known.");
	else
		insight_lacks(answer,
			"Days with an hour of heating behind its first twenty minutes in "
			"a run: %zu, and it takes %d to know what the emitters give off.",
			a->ret->emitter_days, EMITTER_DAYS_LEAST);
}

/* ---- the answer ---- */

static const struct lowering *chosen(const struct flow_temperature *ret, bool named)
{
	const struct lowering *best = &ret->lowerings[0];
	for (size_t i = 0; i < ret->count && !named; i++)
		if (ret->lowerings[i].by_k <= ret->largest_lowering_k.value)
			best = &ret->lowerings[i];
	return best;
}

static void put(struct insight_answer *answer, const char *name, const char *ucum,
	int decimals, const struct flow_value *v)
{
	insight_put(answer, name, ucum, decimals, v->value, v->low, v->high);
}

static void put_answer(struct flow_temperature *ret, bool named)
{
	struct insight_answer *answer = &ret->answer;
	const struct lowering *l = chosen(ret, named);
	insight_put_seen(answer, "lowering", "K", 1, l->by_k);
	put(answer, "saving", "kW.h", 1, &l->saving_kwh);
	put(answer, "saving_share", "%", 2, &l->saving_percent);
	put(answer, "days_short", "d", 0, &l->days_short);
	insight_put_seen(answer, "coldest_served", "Cel", 1, l->coldest_served_c);
	insight_put_seen(answer, "warmest_short", "Cel", 1, l->warmest_short_c);
	put(answer, "largest_lowering", "K", 1, &ret->largest_lowering_k);
}

static void judge(struct asked *a)
{
	if (a->count < DAYS_LEAST)
		return;
	judge_efficiency(a);
	for (size_t i = 0; i < a->ret->count; i++) {
		put_saving(a, &a->ret->lowerings[i]);
		put_beside(a, &a->ret->lowerings[i]);
	}
	judge_emitters(a);
}

void flow_temperature_of(const struct insight_days *days, const double *by_k,
	size_t count, struct flow_temperature *ret)
{
	double said = days->config->plant.emitter_exponent;
	struct asked a = {.days = days, .ret = ret, .law_outcome = SHARE_FEW};
	*ret = (struct flow_temperature){.span_days = days->count,
		.count = count ? count : LOWERINGS_MOST,
		.exponent_said = said > 0.0,
		.exponent = said > 0.0 ? said : EMITTER_EXPONENT,
		.share_by_flow = unknown,
		.share_by_source = unknown,
		.share_by_output = unknown,
		.emitters_w = unknown,
		.storage_kwh_per_k = (double)NAN,
		.largest_lowering_k = unknown};
	for (size_t i = 0; i < ret->count; i++)
		ret->lowerings[i] =
			(struct lowering){.by_k = count ? by_k[i] : (double)(i + 1),
				.days_short = unknown,
				.coldest_served_c = (double)NAN,
				.warmest_short_c = (double)NAN};
	ret->frame = *days;
	ret->frame.days = NULL;
	ret->frame.count = 0;
	for (size_t i = 0; i < days->count; i++)
		ret->days_looked += days->days[i].looked;
	take_days(&a);
	lack_channels(days->config, &ret->answer);
	if (ret->answer.missing_count == 0) {
		judge(&a);
		lack_days(&a, &ret->answer);
	}
	if (a.law_outcome != 0)
		ret->count = 0;
	else
		put_answer(ret, count > 0);
	free(a.items);
}

void flow_temperature_release(struct flow_temperature *result)
{
	insight_release(&result->answer);
}
