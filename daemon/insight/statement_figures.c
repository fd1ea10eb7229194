/*
 * The figures of a statement with their intervals, or why they are not there. See
 * statement.h.
 *
 * Intervals are expanded (k = 2, JCGM 100:2008 6.2). Shares and mean temperatures whose
 * uncertainty nobody worked out have none.
 */
#include <heatbook/budget.h>
#include <heatbook/statement.h>
#include <heatbook/uncertainty.h>

#include <math.h>

enum {
	PLAIN_PERCENT = 95, /* of the span: below it the season is not told */
	LEAST_PERCENT = 50,
	UNASSIGNED_MOST_PERCENT = 5,
	YEAR_DAYS = 365,
	TEMPERATURE_DECIMALS = 2,
	SHARE_DECIMALS = 4,
	DEGREE_DECIMALS = 4
};

double renewable_heat(double heat, double spf)
{
	return heat * (1.0 - 1.0 / spf);
}

bool renewable_counts(double spf)
{
	return spf > RENEWABLE_LEAST_SPF;
}

double statement_coverage(const struct statement *s, enum column known)
{
	int64_t cooling = s->modes[MODE_COOLING].cells[OBSERVED_S].value;
	int64_t span = s->to_ms - s->from_ms - cooling;
	return span > 0 ? fmin((double)s->whole.cells[known].value / (double)span, 1.0)
			: 0.0;
}

static double kwh(const struct cell *cell)
{
	return cell->known ? (double)cell->value / 1e7 : (double)NAN;
}

static void put_energy(
	struct statement *s, const char *name, enum column column, double half_width_j)
{
	double value = kwh(&s->whole.cells[column]), u = half_width_j / J_PER_KWH;
	insight_put(&s->answer, name, "kW.h", KWH_DECIMALS, value, value - u, value + u);
}

bool statement_is_season(const struct statement *s)
{
	return s->days >= YEAR_DAYS && !s->open;
}

static void put_ratio(struct statement *s)
{
	const struct cell *c = s->whole.cells;
	if (c[COP].known) {
		double value = (double)c[COP].value / 1e6;
		double u = c[COP_UNCERTAINTY].known
				   ? (double)c[COP_UNCERTAINTY].value / 1e6
				   : (double)NAN;
		insight_put(&s->answer, "efficiency", "1", RATIO_DECIMALS, value,
			value - u, value + u);
		return;
	}
	if (!s->boundary.name[0])
		insight_lacks(
			&s->answer, "efficiency: what the meters feed makes no boundary");
	else
		insight_lacks(&s->answer, "efficiency: %s",
			c[NO_COP].known ? no_cop_words[c[NO_COP].value] : "unknown");
}

/* Of heat that is w in hot water and q in all, by the errors that both share: of the
 * pair in kelvins, of flow and fluid as a part of what was measured, of heaters' meters
 * that count as heat. Flow and fluid cancel but for these heaters. */
static double share_half_width(const struct statement *s, double share, double q_j)
{
	const struct plant_config *p = &s->config.plant;
	const struct energy_sum *w = &s->sums->modes[MODE_HOT_WATER];
	const struct energy_sum all = figures_sum(s->sums);
	double measured = (double)w->heat_j - share * (double)all.heat_j;
	double kelvins = w->sensitivity_j_per_k - share * all.sensitivity_j_per_k;
	double flow = hypot(hypot(p->flow_limit_percent, p->source_limit_percent),
			      hypot(p->pair_limit.percent, p->calculator_limit.percent)) /
		      100.0;
	double u2 = pow(kelvins * hypot(p->pair_limit.k, p->calculator_limit.k), 2) +
		    pow(measured * flow, 2);
	for (size_t m = 0; m < s->config.meter_count; m++)
		if (s->boundary.heat_plus & 1u << m)
			u2 += pow(
				((double)w->meter_j[m] - share * (double)all.meter_j[m]) *
					s->config.meters[m].limit_percent / 100.0,
				2);
	return COVERAGE_FACTOR * sqrt(u2 / 3.0) / fabs(q_j);
}

static void put_hot_water(struct statement *s)
{
	const struct cell *part = s->modes[MODE_HOT_WATER].cells;
	const struct cell *whole = s->whole.cells;
	double heat = kwh(&whole[HEAT]);
	if (!(heat > 0.0) ||
		statement_coverage(s, HEAT_OBSERVED_S) * 100.0 < LEAST_PERCENT) {
		insight_lacks(&s->answer,
			"hot_water_share: heat is known for %.0f %% of the span, and it "
			"takes %d %%",
			100.0 * statement_coverage(s, HEAT_OBSERVED_S), LEAST_PERCENT);
		return;
	}
	if (whole[SPREAD_HEAT].value * 100 > whole[HEAT].value * SPREAD_MOST_PERCENT) {
		insight_lacks(&s->answer,
			"hot_water_share: a register without power tells when heat was "
			"counted, and not for what");
		return;
	}
	double unassigned = kwh(&s->modes[MODE_UNASSIGNED].cells[HEAT]) / heat;
	if (100.0 * unassigned > UNASSIGNED_MOST_PERCENT) {
		insight_lacks(&s->answer,
			"hot_water_share: of %.0f %% of the heat no mode is known; it "
			"takes "
			"valve or operating_mode, or what a rule tells hot water by",
			100.0 * unassigned);
		return;
	}
	double share = part[HEAT].known ? kwh(&part[HEAT]) / heat : 0.0;
	double u = share_half_width(s, share, heat * J_PER_KWH);
	insight_put(&s->answer, "hot_water_share", "1", SHARE_DECIMALS, share, share - u,
		share + u);
}

static void put_flow(struct statement *s)
{
	static const struct {
		const char *name, *what;
		enum mode mode;
	} services[SERVICE_COUNT] = {
		{"flow_temperature_heating_c", "heating", MODE_HEATING},
		{"flow_temperature_hot_water_c", "hot water", MODE_HOT_WATER}};
	int channel = config_role(&s->config, ROLE_FLOW_TEMPERATURE);
	double limit = channel >= 0 ? s->config.channels[channel].limit : (double)NAN;
	double u = COVERAGE_FACTOR * limit / sqrt(3.0);
	for (size_t i = 0; i < SERVICE_COUNT; i++) {
		const struct statement_flow *f = &s->flow[i];
		double mean = f->weighted_j / f->heat_j;
		double all_j = kwh(&s->modes[services[i].mode].cells[HEAT]) * J_PER_KWH;
		if (f->heat_j > 0.0 && (double)f->heat_j * 2.0 > all_j)
			insight_put(&s->answer, services[i].name, "Cel",
				TEMPERATURE_DECIMALS, mean, mean - u, mean + u);
		else
			insight_lacks(&s->answer,
				"%s: minutes of half of the heat of %s must be known "
				"with "
				"flow_temperature, outdoor_temperature and the "
				"compressor's power",
				services[i].name, services[i].what);
	}
}

static void put_weather(struct statement *s)
{
	const struct degree_sum *d = &s->degrees;
	if (!s->has_outdoor)
		insight_lacks(&s->answer,
			"degree_days_kd, outdoor_c: no channel has the role "
			"outdoor_temperature");
	else if (d->days == 0)
		insight_lacks(&s->answer,
			"degree_days_kd, outdoor_c: no day is known for %d %%",
			DEGREE_DAY_KNOWN_PERCENT);
	else {
		insight_put_seen(&s->answer, "degree_days_kd", "K.d", DEGREE_DECIMALS,
			d->kd[DEGREE_INTEGRAL]);
		insight_put_seen(&s->answer, "outdoor_c", "Cel", TEMPERATURE_DECIMALS,
			d->weighted_c / (double)d->known_ms);
	}
}

/* The narrowest that is offered: H2, or what holds it. A wider one takes more
 * electricity, so its share is too low rather than too high. */
static const struct statement_offer *renewable_offer(const struct statement *s)
{
	for (size_t i = 0; i < s->offer_count; i++)
		if (s->offers[i].boundary.name[0] == 'H' &&
			s->offers[i].boundary.name[1] >= '2')
			return &s->offers[i];
	return NULL;
}

static void put_renewable(struct statement *s)
{
	const struct statement_offer *offer = renewable_offer(s);
	if (!offer || !offer->whole.cells[COP].known || !offer->whole.cells[HEAT].known) {
		insight_lacks(&s->answer,
			"renewable_heat_kwh: it takes heat and electricity at H2");
		return;
	}
	double covered = statement_coverage(s, PAIRED_S);
	if (!statement_is_season(s) || covered * 100.0 < PLAIN_PERCENT) {
		insight_lacks(&s->answer,
			"renewable_heat_kwh: Decision 2013/114/EU asks for a seasonal "
			"factor: "
			"it takes a whole year, known for %d %%; there are %lld days, "
			"known for %.0f %%",
			PLAIN_PERCENT, (long long)s->days, 100.0 * covered);
		return;
	}
	double spf = (double)offer->whole.cells[COP].value / 1e6;
	double heat = kwh(&offer->whole.cells[HEAT]);
	if (!renewable_counts(spf)) {
		insight_lacks(&s->answer,
			"renewable_heat_kwh: by Decision 2013/114/EU heat counts as "
			"renewable "
			"where the seasonal factor exceeds %.1f; at %s it is %.2f",
			RENEWABLE_LEAST_SPF, offer->boundary.name, spf);
		return;
	}
	double value = renewable_heat(heat, spf);
	/* Q · (1 − 1/SPF) is heat less its electricity; off independently. */
	double u = hypot(offer->heat_u_j, offer->electricity_u_j) / J_PER_KWH;
	insight_put(&s->answer, "renewable_heat_kwh", "kW.h", KWH_DECIMALS, value,
		value - u, value + u);
	insight_put_seen(
		&s->answer, "renewable_share", "1", SHARE_DECIMALS, value / heat);
}

/* Counts are of what was seen: none where nothing was, the least there were where a part
 * was. */
static void put_runs(struct statement *s)
{
	static const char *const names[] = {[RUN_COMPRESSOR] = "starts",
		[RUN_DEFROST] = "defrosts",
		[RUN_HOT_WATER] = "hot_water_runs"};
	bool seen = s->whole.cells[OBSERVED_S].value > 0;
	bool all = statement_coverage(s, OBSERVED_S) * 100.0 >= PLAIN_PERCENT;
	for (size_t i = 0; i < ARRAY_LEN(names); i++)
		if (s->has_runs && seen)
			insight_put(&s->answer, names[i], "1", 0, (double)s->runs[i],
				all ? (double)NAN : (double)s->runs[i], (double)NAN);
		else
			insight_lacks(&s->answer, "%s: %s", names[i],
				seen ? "too many days are not worked out yet; the daemon "
				       "does so by and by"
				     : "no mode is known in any minute of the span");
}

void statement_answer(struct statement *s)
{
	const struct cell *c = s->whole.cells;
	put_energy(s, "heat_kwh", HEAT, s->heat_u_j);
	put_energy(s, "electricity_kwh", ELECTRICITY, s->electricity_u_j);
	if (!c[HEAT].known)
		insight_lacks(
			&s->answer, "heat_kwh: it is known in no minute of the span");
	if (s->boundary.name[0] && !c[ELECTRICITY].known)
		insight_lacks(&s->answer,
			"electricity_kwh: it is known in no minute of the span");
	put_ratio(s);
	if (c[COOLING].known && c[COOLING].value > 0)
		insight_put_seen(&s->answer, "cooling_kwh", "kW.h", KWH_DECIMALS,
			kwh(&c[COOLING]));
	put_hot_water(s);
	put_flow(s);
	put_weather(s);
	put_runs(s);
	put_renewable(s);
}
