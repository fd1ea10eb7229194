/*
 * Power and registers: a clamp that is reversed, power against the register (a unit that
 * is wrong, or per cents), apparent against true, sources whose clocks
 * disagree.
 */
#include "finding.h"

#include "evidence.h"

#include <math.h>
#include <string.h>

/* ---- a clamp that is reversed ---- */

/* What a reversed clamp does to the account. */
static char *reversed_text(const struct finding_input *in, int meter, double j)
{
	const struct meter_config *config = meter < 0 ? NULL : &in->config->meters[meter];
	if (!config || !(in->boundary.meters & 1u << meter))
		return xasprintf("meter %s is not counted, so that no figure is off by "
				 "it but its own",
			config ? config->name : "of that channel");
	return xasprintf("%.2f kWh are taken off instead of added%s", -j / J_PER_KWH,
		config->counted.counts
			? "; the register keeps the total right, but not its shape"
			: "");
}

static int is_negative(const struct finding_day *day, const void *context)
{
	const struct evidence *e =
		finding_item(day, EVIDENCE_POWER_NEGATIVE, *(const int *)context);
	if (e && e->minutes >= 10)
		return 1;
	return day->looked ? 0 : -1;
}

static void add_reversed(const struct finding_input *in, struct run run, int channel,
	struct finding_list *list)
{
	int meter = finding_meter_of(in, channel);
	struct run now = finding_in_season(in, run);
	double j = 0.0, now_j = 0.0, minutes = 0.0;
	for (size_t d = run.first; d <= run.last; d++) {
		const struct evidence *e =
			finding_item(&in->days[d], EVIDENCE_POWER_NEGATIVE, channel);
		j += e ? e->values[1] : 0.0;
		now_j += e && d >= now.first ? e->values[1] : 0.0;
		minutes += e ? (double)e->minutes : 0.0;
	}
	struct finding f = finding_new(
		in, FINDING_POWER_REVERSED, in->config->channels[channel].name, run);
	f.size = j / 60.0 / minutes;
	f.unit = "W";
	if (meter >= 0 && in->boundary.meters & 1u << meter &&
		!in->config->meters[meter].counted.counts)
		f.effect = finding_effect(in, now, 0.0, 2.0 * now_j);
	_cleanup_(freep) char *cost = reversed_text(in, meter, j);
	f.evidence = xasprintf("In %.0f minutes of %zu days the compressor ran and it "
			       "said %.0f W by mean: %s.",
		minutes, run.hits, f.size, cost);
	_cleanup_(freep) char *before = finding_propose(in, &f, channel, run, -1.0, 0.0);
	f.remedy = xasprintf("The current clamp sits the wrong way round, or its leads "
			     "are exchanged: have it turned by a qualified electrician. "
			     "For the days before, %s.",
		before);
	finding_add(list, &f);
}

void find_power_reversed(const struct finding_input *in, struct finding_list *list)
{
	for (size_t c = 0; c < in->config->channel_count; c++) {
		int channel = (int)c;
		struct run run;
		size_t at = 0;
		while (finding_run(in, is_negative, &channel, 3, &at, &run))
			add_reversed(in, run, channel, list);
	}
}

/* ---- power against register, of meters and of heat ---- */

enum { RATIO_DAYS = 14, OF_HEAT = -1 };
#define RATIO_LEAST_J  (2.0 * J_PER_KWH)
#define DAY_LEAST_J    (0.1 * J_PER_KWH)
#define RATIO_LIMIT    0.05
#define HEAT_LIMIT     0.2 /* of a pair at a few kelvins, and both flows: own judgement */
#define UNIT_TOLERANCE 0.15

static const struct {
	double ratio;
	const char *why, *of_heat;
} unit_errors[] = {
	{1000.0,
		"power is in kW where W is configured, or the register in Wh where kWh "
		"is",
		"the register is in Wh where kWh is configured"},
	{0.001,
		"power is in W where kW is configured, or the register in kWh where Wh "
		"is, or in MWh where kWh is",
		"the register is in kWh where Wh is configured, or in MWh where kWh is"},
	{3.6, "the register is in MJ", "the register is in MJ"},
	{0.278, "the register is in kWh where MJ is configured",
		"the register is in kWh where MJ is configured"},
};

static const char *unit_error(double ratio, int meter)
{
	for (size_t i = 0; i < ARRAY_LEN(unit_errors); i++)
		if (fabs(ratio / unit_errors[i].ratio - 1.0) < UNIT_TOLERANCE)
			return meter == OF_HEAT ? unit_errors[i].of_heat
						: unit_errors[i].why;
	return NULL;
}

struct ratio_context {
	const struct finding_input *in;
	int meter; /* or OF_HEAT */
};

struct paired {
	double register_j, power_j;
	double unbelieved_j; /* of the register's */
};

enum { REPLACED_MOST = 3 };

/* The first event at or after a time. */
static size_t events_from(const struct finding_input *in, int64_t t_ms)
{
	size_t low = 0, high = in->event_count;
	while (low < high) {
		size_t middle = low + (high - low) / 2;
		if (in->events[middle].t_ms < t_ms)
			low = middle + 1;
		else
			high = middle;
	}
	return low;
}

static bool is_of(const struct finding_input *in, const struct event *e, int meter)
{
	if (meter != OF_HEAT)
		return e->is_meter && e->subject == meter;
	return !e->is_meter && e->subject == config_role(in->config, ROLE_HEAT_REGISTER);
}

/* By how much a register went on elsewhere on a day on which it did so again and again:
 * one in another unit runs away whenever the unit runs. */
static double unbelieved_j(
	const struct finding_input *in, const struct finding_day *day, int meter)
{
	int64_t end_ms = day->end_min * MS_PER_MIN;
	double kwh = 0.0;
	size_t count = 0;
	for (size_t i = events_from(in, day->start_min * MS_PER_MIN);
		i < in->event_count && in->events[i].t_ms < end_ms; i++) {
		const struct event *e = &in->events[i];
		if (e->kind != EVENT_REGISTER_REPLACED || !is_of(in, e, meter))
			continue;
		kwh += e->after - e->before;
		count++;
	}
	return count > REPLACED_MOST ? kwh * J_PER_KWH : 0.0;
}

/* Pipes that are crossed, a sensor that stands still, a flow that was not seen. */
static bool is_heat_told(const struct finding_input *in, const struct finding_day *day)
{
	static const enum role pipes[] = {ROLE_FLOW_TEMPERATURE, ROLE_RETURN_TEMPERATURE};
	for (size_t i = 0; i < ARRAY_LEN(pipes); i++) {
		int channel = config_role(in->config, pipes[i]);
		if (channel >= 0 && finding_item(day, EVIDENCE_FROZEN, channel))
			return true;
	}
	return finding_item(day, EVIDENCE_RETURN_ABOVE, -1) ||
	       finding_item(day, EVIDENCE_FLOW_ZERO, -1);
}

/* What both said on a day, or NULL. What is a finding of its own, as a reversed clamp or
 * a register that stood still, is left out. */
static const struct evidence *both_said(
	const struct finding_input *in, const struct finding_day *day, int meter)
{
	size_t quantity = meter == OF_HEAT ? COUNTED_HEAT : (size_t)meter;
	if (finding_stands(in, day, quantity))
		return NULL;
	if (meter == OF_HEAT)
		return is_heat_told(in, day)
			       ? NULL
			       : finding_item(day, EVIDENCE_HEAT_REGISTER, -1);
	return finding_item(day, EVIDENCE_POWER_NEGATIVE, -1)
		       ? NULL
		       : finding_item(day, EVIDENCE_REGISTER, meter);
}

static bool add_day(const struct finding_input *in, struct paired *sum,
	const struct finding_day *day, int meter)
{
	const struct evidence *e = both_said(in, day, meter);
	if (!e)
		return false;
	double more_j = unbelieved_j(in, day, meter);
	sum->register_j += e->values[0] + more_j;
	sum->power_j += e->values[1];
	sum->unbelieved_j += more_j;
	return true;
}

const char *finding_unit_error(const struct finding_input *in, size_t meter,
	int64_t since_ms, int64_t until_ms, double *ret_register_j, double *ret_power_j)
{
	struct paired sum = {0};
	for (size_t d = 0; d < in->day_count; d++)
		if (in->days[d].end_min * MS_PER_MIN > since_ms &&
			in->days[d].start_min * MS_PER_MIN <= until_ms)
			(void)add_day(in, &sum, &in->days[d], (int)meter);
	*ret_register_j = sum.register_j;
	*ret_power_j = sum.power_j;
	return sum.power_j > 0.0 ? unit_error(sum.register_j / sum.power_j, (int)meter)
				 : NULL;
}

/* Register over power, as a logarithm; NaN where too little is known. */
static double log_ratio(const struct paired *sum, double least_j)
{
	if (fmax(sum->register_j, sum->power_j) < least_j || sum->register_j <= 0.0 ||
		sum->power_j <= 0.0)
		return (double)NAN;
	return log(sum->register_j / sum->power_j);
}

/* A day of little energy, or of a register with coarse steps, says little by itself: the
 * fortnight up to it must be beyond the limit, and the day half as far at least, so that
 * a day that is right is not taken in for those before it. */
static int disagrees(const struct finding_day *day, const void *context)
{
	const struct ratio_context *c = context;
	size_t at = (size_t)(day - c->in->days);
	struct paired own = {0}, around = {0};
	if (!add_day(c->in, &own, day, c->meter))
		return -1;
	for (size_t i = at + 1; i-- > 0 && at - i < RATIO_DAYS;)
		(void)add_day(c->in, &around, &c->in->days[i], c->meter);
	double alone = log_ratio(&own, DAY_LEAST_J);
	double together = log_ratio(&around, RATIO_LEAST_J);
	if (isnan(alone) || isnan(together))
		return -1;
	double limit = c->meter == OF_HEAT ? HEAT_LIMIT : RATIO_LIMIT;
	return fabs(exp(together) - 1.0) > limit && fabs(exp(alone) - 1.0) > limit &&
	       alone / together >= 0.5;
}

static struct paired sum_over(const struct finding_input *in, struct run run, int meter)
{
	const struct ratio_context c = {in, meter};
	struct paired sum = {0};
	for (size_t d = run.first; d <= run.last; d++)
		if (disagrees(&in->days[d], &c) == 1)
			(void)add_day(in, &sum, &in->days[d], meter);
	return sum;
}

static void add_ratio(const struct finding_input *in, struct run run, int meter,
	struct finding_list *list)
{
	const struct meter_config *config = &in->config->meters[meter];
	const struct paired sum = sum_over(in, run, meter);
	double ratio = sum.register_j / sum.power_j;
	const char *why = unit_error(ratio, meter);
	struct finding f = finding_new(in,
		config->apparent ? FINDING_APPARENT_AGAINST_TRUE
				 : FINDING_POWER_AGAINST_REGISTER,
		config->name, run);
	f.size = why ? ratio : 100.0 * (1.0 / ratio - 1.0);
	f.unit = why ? "" : "%";
	f.evidence = xasprintf("Over %zu days the register counted %.2f kWh%s in minutes "
			       "for which power said %.2f kWh: 1 to %.3g. The register "
			       "rules the total; power only gives it its shape.",
		run.hits, sum.register_j / J_PER_KWH,
		sum.unbelieved_j > 0.0 ? ", what was not believed included," : "",
		sum.power_j / J_PER_KWH, sum.power_j / sum.register_j);
	const struct event like = {.is_meter = true, .subject = (uint16_t)meter};
	const char *kind = finding_kind_error(in, &like, f.since_ms, f.until_ms);
	if (kind)
		f.remedy = finding_kind_remedy(in, &like, kind);
	else if (why)
		f.remedy = xasprintf("A unit is wrong: %s. Put the unit right in the "
				     "channel's section and rebuild these days.",
			why);
	else if (config->apparent && ratio < 1.0)
		f.remedy = xstrdup("Voltage times current is more than true power, at "
				   "standby two to three times. Prefer the register; "
				   "where minutes matter, have a meter of true power "
				   "fitted by a qualified electrician.");
	else
		f.remedy = xasprintf(
			"%sSee whether power covers all that the register does (all "
			"phases, the same devices), the ratio that its clamp is set to, "
			"and that the register's channel is this meter's. What is behind "
			"the covers of a switchboard is for a qualified electrician.",
			finding_phases_hint(ratio));
	finding_add(list, &f);
}

static void add_heat_ratio(
	const struct finding_input *in, struct run run, struct finding_list *list)
{
	const struct paired sum = sum_over(in, run, OF_HEAT);
	const struct run of_season = finding_in_season(in, run);
	const struct paired now = sum_over(in, of_season, OF_HEAT);
	double ratio = sum.register_j / sum.power_j;
	const char *why = unit_error(ratio, OF_HEAT);
	bool power = config_role(in->config, ROLE_HEAT_POWER) >= 0;
	int channel = config_role(in->config, ROLE_HEAT_REGISTER);
	struct finding f = finding_new(in, FINDING_HEAT_AGAINST_REGISTER,
		in->config->channels[channel].name, run);
	f.size = why ? ratio : 100.0 * (1.0 / ratio - 1.0);
	f.unit = why ? "" : "%";
	f.effect = finding_effect(in, of_season, now.register_j - now.power_j, 0.0);
	f.evidence = xasprintf(
		"Over %zu days the register counted %.*f kWh of heat in minutes for "
		"which %s said %.1f kWh: 1 to %.4g. The register rules the total; the "
		"season's factor is off by so much if it is the register that is wrong.",
		run.hits, sum.register_j < J_PER_KWH ? 3 : 1, sum.register_j / J_PER_KWH,
		power ? "the heat meter's power" : "flow and temperatures",
		sum.power_j / J_PER_KWH, sum.power_j / sum.register_j);
	if (why)
		f.remedy = xasprintf("A unit is most likely wrong: %s%s. Put the unit "
				     "right in the channel's section and rebuild these "
				     "days.",
			why, power ? ", or that of heat_power" : "");
	else
		f.remedy = xstrdup(
			"This does not tell which is wrong. See that both are of the "
			"same circuit, with no branch between them; scale and unit of "
			"both; the heat meter's value of a pulse; the fluid, since a "
			"heat "
			"meter is made for one; the rest check of the pair. If sensors "
			"are your own, outside the unit, see that they sit well; what is "
			"inside the unit is for a qualified person.");
	finding_add(list, &f);
}

void find_register(const struct finding_input *in, struct finding_list *list)
{
	for (int meter = OF_HEAT; meter < (int)in->config->meter_count; meter++) {
		const struct ratio_context c = {in, meter};
		struct run run;
		size_t at = 0;
		while (finding_run(in, disagrees, &c, RATIO_DAYS, &at, &run)) {
			if (run.hits > 1 && meter == OF_HEAT)
				add_heat_ratio(in, run, list);
			else if (run.hits > 1)
				add_ratio(in, run, meter, list);
		}
	}
}

/* ---- clocks that disagree ---- */

enum { SKEW_LEAST_MIN = 3, SKEW_GAP_DAYS = 5 };
#define SKEW_SHARE 0.6

struct skew {
	const struct finding_input *in;
	int meter;
};

static int is_skewed(const struct finding_day *day, const void *context)
{
	const struct skew *s = context;
	const struct evidence *e = finding_item(day, EVIDENCE_SKEW, s->meter);
	if (!e)
		return -1;
	/* A source that reports seldom is off by as much as it reports. */
	double slow = finding_spacing(s->in, (size_t)(day - s->in->days), -1);
	return fabs((double)e->minutes) >= SKEW_LEAST_MIN + slow &&
	       e->values[0] >= SKEW_SHARE && e->values[1] <= e->values[0] / 2.0;
}

/* The middle of the run's shifts. */
static double shift_of(const struct finding_input *in, struct run run,
	const struct skew *s, double *ret_steps)
{
	double *shifts = xcalloc(run.hits + 1, sizeof(*shifts));
	size_t count = 0;
	*ret_steps = 0.0;
	for (size_t d = run.first; d <= run.last; d++)
		if (is_skewed(&in->days[d], s) == 1 && count < run.hits) {
			const struct evidence *e =
				finding_item(&in->days[d], EVIDENCE_SKEW, s->meter);
			shifts[count++] = (double)e->minutes;
			*ret_steps += e->values[2];
		}
	double middle = evidence_median(shifts, count);
	free(shifts);
	return middle;
}

static bool is_zone(double shift_min)
{
	double quarters = shift_min / 15.0;
	return fabs(shift_min) >= 14.0 && fabs(quarters - round(quarters)) * 15.0 <= 1.0;
}

/* Of a meter's power. */
static const char *source_of(const struct finding_input *in, int meter)
{
	int channel = in->config->meters[meter].power[0];
	int source = in->config->channels[channel].source;
	return source < 0 ? in->config->meters[meter].name
			  : in->config->sources[source].name;
}

static void add_skew(const struct finding_input *in, struct run run, const struct skew *s,
	struct finding_list *list)
{
	double steps, shift = shift_of(in, run, s, &steps);
	struct finding f =
		finding_new(in, FINDING_SOURCE_SKEWED, source_of(in, s->meter), run);
	f.size = shift;
	f.unit = "min";
	f.evidence = xasprintf("On %zu days the steps of meter %s came %.0f min %s than "
			       "those of the compressor (%.0f steps compared).",
		run.hits, in->config->meters[s->meter].name, fabs(shift),
		shift > 0.0 ? "later" : "earlier", steps);
	f.remedy = xasprintf(
		"%s Sums of days hardly change; efficiency of runs and what belongs to "
		"which mode do.",
		is_zone(shift) ? "That is a whole number of quarters of an hour: its "
				 "times are most likely of another zone; see the zone "
				 "of its clock and time_form of its channel."
			       : "Set the clock of its source by a time server, or use "
				 "arrival times (time = arrival) if it delivers at "
				 "once.");
	finding_add(list, &f);
}

void find_skewed(const struct finding_input *in, struct finding_list *list)
{
	for (size_t m = 0; m < in->config->meter_count; m++) {
		const struct skew s = {in, (int)m};
		struct run run;
		size_t at = 0;
		while (finding_run(in, is_skewed, &s, SKEW_GAP_DAYS, &at, &run))
			if (run.hits > 1)
				add_skew(in, run, &s, list);
	}
}
