/*
 * Did a change help? Which days are compared, and what is said of them. See comparison.h
 * for the models and how the split closes.
 */
#include <heatbook/comparison.h>

#include <heatbook/change_point.h>

#include "comparison_terms.h"

#include <math.h>

const char *comparison_model_name(enum comparison_model model)
{
	static const char *const names[COMPARISON_MODELS] = {[COMPARISON_HEAT] = "heat",
		[COMPARISON_ELECTRICITY] = "electricity",
		[COMPARISON_WHOLE] = "electricity_in_all",
		[COMPARISON_ROOM] = "room_temperature"};
	return names[model];
}

const char *comparison_verdict_words(enum comparison_verdict verdict)
{
	static const char *const words[] = {
		[COMPARISON_NOT_KNOWN] = "not enough evidence",
		[COMPARISON_NONE] = "no change can be shown",
		[COMPARISON_LESS] = "less",
		[COMPARISON_MORE] = "more"};
	return words[verdict];
}

/* ---- which days ---- */

/* What tells how much the house is heated. */
static double drawn(const struct comparison_day *day)
{
	return isnan(day->heat_kwh) ? day->whole_kwh : day->heat_kwh;
}

/* Where heating begins, less a margin; infinite where the days before do not show it. */
static double heating_below(struct comparison_side side)
{
	_cleanup_(freep) struct change_row *rows = xcalloc(side.count + 1, sizeof(*rows));
	struct change_point found;
	for (size_t i = 0; i < side.count; i++)
		rows[i] = (struct change_row){
			side.days[i].outdoor_c, drawn(&side.days[i]), side.days[i].day};
	int r = change_point_fit(rows, side.count, &found);
	return r == 0 && found.ends ? found.at - COMPARISON_BELOW_K : (double)INFINITY;
}

static void use(struct comparison_use *use, const struct comparison_day *day)
{
	double n = (double)++use->used;
	use->least_c = n > 1.0 ? fmin(use->least_c, day->outdoor_c) : day->outdoor_c;
	use->most_c = n > 1.0 ? fmax(use->most_c, day->outdoor_c) : day->outdoor_c;
	use->mean_c = n > 1.0 ? use->mean_c + (day->outdoor_c - use->mean_c) / n
			      : day->outdoor_c;
}

static void choose(struct comparison_side before, struct comparison_side after,
	struct comparison *c, struct compared *ret)
{
	ret->days = xcalloc(before.count + after.count + 1, sizeof(*ret->days));
	for (size_t i = 0; i < before.count; i++) {
		const struct comparison_day *day = &before.days[i];
		if (day->outdoor_c > c->heating_below_c) {
			c->before.too_warm++;
			continue;
		}
		ret->days[ret->before++] = *day;
		use(&c->before, day);
	}
	for (size_t i = 0; i < after.count; i++) {
		const struct comparison_day *day = &after.days[i];
		bool seen = ret->before > 0 && day->outdoor_c >= c->before.least_c &&
			    day->outdoor_c <= c->before.most_c;
		if (day->outdoor_c > c->heating_below_c)
			c->after.too_warm++;
		else if (!seen)
			c->after.not_seen++;
		else {
			ret->days[ret->before + ret->after++] = *day;
			use(&c->after, day);
		}
	}
}

/* ---- values ---- */

static void put(struct insight_answer *answer, const char *name, const char *unit,
	double value, double half)
{
	insight_put(answer, name, unit, 3, value, value - half, value + half);
}

static void put_saving(struct insight_answer *answer, const char *kwh,
	const char *percent, double value, double half, double foretold)
{
	put(answer, kwh, "kW.h", value, half);
	put(answer, percent, "%", 100.0 * value / foretold, 100.0 * half / foretold);
}

static enum comparison_verdict verdict_of(double value, double half)
{
	if (fabs(value) <= half)
		return COMPARISON_NONE;
	return value > 0.0 ? COMPARISON_LESS : COMPARISON_MORE;
}

/* Of the heat that was delivered. */
static void put_efficiency(const struct made *e, struct insight_answer *answer)
{
	double heat = e->sums[1], foretold = e->measured + e->off;
	insight_put_seen(answer, "electricity_kwh", "kW.h", 3, e->measured);
	insight_put_seen(answer, "cop", "1", 3, heat / e->measured);
	if (foretold > e->half)
		insight_put(answer, "cop_expected", "1", 3, heat / foretold,
			heat / (foretold + e->half), heat / (foretold - e->half));
}

/* What the rooms' shift explains of what heat saved. */
static void put_room(
	const struct compared *c, const struct made *m, struct insight_answer *answer)
{
	const struct made *room = &m[COMPARISON_ROOM], *heat = &m[COMPARISON_HEAT];
	if (!room->known)
		return;
	double n = (double)room->after;
	double shift = -room->off / n;
	double half = room->half / n;
	put(answer, "room_shift_k", "K", shift, half);
	if (!heat->known || !m[COMPARISON_ELECTRICITY].known)
		return;
	/* A kelvin less within is a kelvin more without. */
	struct comparison_fit fit = made_fit(heat, COMPARISON_HEAT);
	double days = c->per_heat * (double)heat->after;
	double unsure = 2.0 * shift * fit.slope_sd * days;
	put(answer, "by_room_kwh", "kW.h", shift * fit.slope * days,
		hypot(half * fit.slope * days, unsure));
}

static void put_split(const struct compared *c, const struct made *m,
	struct comparison *ret, struct insight_answer *answer)
{
	const struct made *e = &m[COMPARISON_ELECTRICITY];
	double heat_part, heat_half;
	made_by_heat(c, &m[COMPARISON_HEAT], e, &heat_part, &heat_half);
	double saving = e->off + heat_part, half = hypot(e->half, heat_half);
	double by_efficiency = e->measured + e->off;
	ret->verdict = verdict_of(saving, half);
	ret->by_efficiency = verdict_of(e->off, e->half);
	ret->by_heat = verdict_of(heat_part, heat_half);
	put_saving(answer, "saving_kwh", "saving_percent", saving, half,
		e->measured + saving);
	put_saving(answer, "by_efficiency_kwh", "by_efficiency_percent", e->off, e->half,
		by_efficiency);
	put(answer, "by_heat_kwh", "kW.h", heat_part, heat_half);
}

static void put_values(const struct compared *c, const struct made *m,
	struct comparison *ret, struct insight_answer *answer)
{
	const struct made *heat = &m[COMPARISON_HEAT], *whole = &m[COMPARISON_WHOLE];
	const struct made *e = &m[COMPARISON_ELECTRICITY];
	if (heat->known && e->known)
		put_split(c, m, ret, answer);
	if (heat->known)
		put_saving(answer, "heat_saving_kwh", "heat_saving_percent", heat->off,
			heat->half, heat->measured + heat->off);
	if (whole->known)
		put_saving(answer, "saving_in_all_kwh", "saving_in_all_percent",
			whole->off, whole->half, whole->measured + whole->off);
	if (!e->known && whole->known)
		ret->verdict = verdict_of(whole->off, whole->half);
	else if (!e->known && heat->known)
		ret->verdict = verdict_of(heat->off, heat->half);
	put_room(c, m, answer);
	if (heat->known)
		insight_put_seen(answer, "heat_kwh", "kW.h", 3, heat->measured);
	if (heat->known && e->known)
		put_efficiency(e, answer);
}

/* Measured less predicted. */
static void say_off(const struct compared *c, const struct made *m,
	const struct comparison_day *day, struct comparison_point *point)
{
	const struct made *heat = &m[COMPARISON_HEAT], *e = &m[COMPARISON_ELECTRICITY];
	const struct made *whole = &m[COMPARISON_WHOLE];
	struct terms h = heat_terms(c, day), w = whole_terms(c, day);
	double heat_kwh = heat->known ? terms_told(&heat->held.fit, &h) : (double)NAN;
	point->heat_off_kwh = day->heat_kwh - heat_kwh;
	point->electricity_off_kwh = (double)NAN;
	if (heat->known && e->known) {
		struct terms t = electricity_terms(c, day, heat_kwh);
		point->electricity_off_kwh =
			day->electricity_kwh - terms_told(&e->held.fit, &t);
	} else if (whole->known)
		point->electricity_off_kwh =
			day->whole_kwh - terms_told(&whole->held.fit, &w);
}

static void say_points(
	const struct compared *c, const struct made *m, struct comparison *ret)
{
	ret->points = xcalloc(c->before + c->after + 1, sizeof(*ret->points));
	for (size_t i = 0; i < c->before + c->after; i++) {
		struct comparison_point *point = &ret->points[ret->point_count++];
		point->day = c->days[i].day;
		point->after = i >= c->before;
		say_off(c, m, &c->days[i], point);
	}
}

/* ---- what is missing ---- */

static void say_lack(
	const struct comparison_use *use, bool after, struct insight_answer *answer)
{
	struct buffer b = {0};
	if (use->used >= COMPARISON_DAYS_LEAST)
		return;
	buffer_addf(&b, "days %s the change that can be compared: %zu, it takes %d",
		after ? "after" : "before", use->used, COMPARISON_DAYS_LEAST);
	if (use->too_warm)
		buffer_addf(&b, "; %zu too warm for heating", use->too_warm);
	if (use->not_seen)
		buffer_addf(&b,
			"; %zu colder or warmer than any day before, so that nothing "
			"tells what they would have taken",
			use->not_seen);
	insight_lacks(answer, "%s", buffer_text(&b));
	buffer_release(&b);
}

void comparison_judge(struct comparison_side before, struct comparison_side after,
	struct comparison *ret, struct insight_answer *answer)
{
	struct compared c = {0};
	const struct comparison_use none = {
		.least_c = (double)NAN, .most_c = (double)NAN, .mean_c = (double)NAN};
	*ret = (struct comparison){
		.before = none, .after = none, .heating_below_c = heating_below(before)};
	choose(before, after, ret, &c);
	say_lack(&ret->before, false, answer);
	say_lack(&ret->after, true, answer);
	struct made *made = xcalloc(COMPARISON_MODELS, sizeof(*made));
	if (ret->before.used >= COMPARISON_DAYS_LEAST &&
		ret->after.used >= COMPARISON_DAYS_LEAST) {
		compared_scale(&c);
		for (int i = 0; i < COMPARISON_MODELS; i++) {
			enum comparison_model model = (enum comparison_model)i;
			made_of(&c, model, &made[i]);
			ret->fits[i] = made_fit(&made[i], model);
		}
		put_values(&c, made, ret, answer);
		if (ret->verdict != COMPARISON_NOT_KNOWN)
			say_points(&c, made, ret);
		else
			insight_lacks(answer,
				"days before the change whose weather differs: these "
				"make no model");
	}
	free(made);
	free(c.days);
}

void comparison_release(struct comparison *comparison)
{
	free(comparison->points);
	*comparison = (struct comparison){0};
}
