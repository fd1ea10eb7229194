/*
 * What a lower flow temperature in heating would save, and on how many of the days that
 * were seen the emitters would no longer give the day's heat. Worked out of days'
 * evidence (EVIDENCE_EMISSION) and sums: pure, so that the same rows give the same
 * answer. Hot water is left as it is: how hot it must be is a question of health.
 *
 * Efficiency. A day's quotient at k kelvins less is the measured one times what Carnot's
 * quotient gains, times what the unit's own share of it changes by. The share's logarithm
 * is a straight line in flow temperature, source temperature, the logarithm of the output
 * and its square, by least squares over the minutes of the plant's own days, each held
 * against its own day's mean. Emitters give off less from cooler water, so the same heat
 * takes longer at less output: how much less follows from their law, and how the unit
 * likes that is in the line.
 *
 * Emitters. Output = K · (water − room)^n, with the mean of flow and return. K from days'
 * settled minutes, beside what warming water takes up. n by [plant] emitter_exponent:
 * radiators about 1.3 (EN 442), floors 1.1 (EN 1264), both from memory; without it 1.2,
 * its interval from 1.1 to 1.3. A day is served if its heat can be given by emitters that
 * are warm all day long.
 *
 * Kelvins are of the flow temperature as it was measured, weighted by heat; a curve that
 * is set lower by as much may lower it by less.
 */
#ifndef HEATBOOK_FLOW_TEMPERATURE_H
#define HEATBOOK_FLOW_TEMPERATURE_H

#include <heatbook/insight.h>
#include <heatbook/insight_days.h>

#define LOWERINGS_MOST      10
#define LOWERING_MOST_K     20.0
#define ASSUMED_ROOM_C      20.0 /* EN 12831, from memory; where no channel tells it */
#define EMITTER_EXPONENT    1.2  /* between radiators and floors; where none is said */
#define EMITTER_EXPONENT_PM 0.1

/* [low, high] holds it with 95 % confidence; NaN: unknown. */
struct flow_value {
	double value, low, high;
};

struct lowering {
	double by_k;
	struct flow_value saving_kwh, saving_percent; /* of electricity_kwh */
	struct flow_value days_short; /* whole numbers; NaN without emitters */
	double coldest_served_c;      /* of days served, the coldest mean outdoors */
	double warmest_short_c;       /* of those that are not, the warmest */
	double output_percent;        /* of the output with which it ran */
	/* Percent saved were the share of Carnot's quotient what it is, and by two
	 * published fits (cop_curve.h; NaN unless heat is taken from air). */
	double carnot_percent, fit_2019_percent, fit_2012_percent;
};

struct flow_temperature {
	/* What was asked and of which data; its days are dropped by
	 * flow_temperature_ask(). */
	struct insight_days frame;
	size_t span_days, days_looked;
	struct insight_answer answer; /* of one of the lowerings */
	struct lowering lowerings[LOWERINGS_MOST];
	size_t count;
	size_t days;                               /* of heating, that could be used */
	double heat_kwh, electricity_kwh;          /* of these, in heating */
	double flow_c, return_c, source_c, room_c; /* weighted by heat */
	bool room_assumed;
	double running_share; /* of these days' time the compressor ran for */
	double carnot_share;  /* the quotient as a share of Carnot's */
	/* What changes the logarithm of that share: by a kelvin of flow and of source, by
	 * the logarithm of the output. */
	struct flow_value share_by_flow, share_by_source, share_by_output;
	size_t share_days;
	double exponent;
	bool exponent_said;
	struct flow_value emitters_w; /* K, W by K^n */
	double storage_kwh_per_k;     /* what water and metal take up */
	size_t emitter_days;
	struct flow_value largest_lowering_k; /* no day seen falls short */
};

/* `by_k` names `count` lowerings, 0 < k ≤ LOWERING_MOST_K; none: 1 to 10 K. The answer is
 * of the first one named, else of the largest whole one that leaves no day short, 1 K at
 * least. To be released. */
void flow_temperature_of(const struct insight_days *days, const double *by_k,
	size_t count, struct flow_temperature *ret);

struct store;
/* The same of the local days that touch [from, to), at the unit's boundary, the narrowest
 * that meters allow; as many as `budget` that were not looked at are looked at. 0, -errno
 * or a code of query.h. */
int flow_temperature_ask(struct store *store, int64_t from_ms, int64_t to_ms,
	const double *by_k, size_t count, size_t budget, struct flow_temperature *ret);
void flow_temperature_release(struct flow_temperature *result);

#endif
