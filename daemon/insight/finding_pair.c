/*
 * The rest check of the pair of temperature sensors: the median of the difference at
 * rest is the pair's offset, its spread (MAD) gives the interval. Days are taken together
 * while their offset is of one sign and beyond a tenth of a kelvin, season by season, so
 * that a sensor that slipped for a month is told with its month. Seasons, and stretches
 * with a summer between in which water never rested, are one finding where no day between
 * says otherwise and the offset is the same. Where it begins and ends is the place that
 * leaves the least differences (L1 change point between two known levels, common
 * practice). Proposed, never applied.
 *
 * A heater in line that nobody meters warms the flow like an offset would. Where the
 * plant has one, stretches that are warmer than sensors err are its own and say nothing;
 * where it has or may have one, and the difference is as much as a small heater makes of
 * the water that went round, it is told and nothing is proposed: who has none says so in
 * devices. Nor is it beyond what any pair is off by that is mounted as it should be: a
 * section would book what it claims.
 *
 * Interval: twice the standard error of a median, 1.2533 * 1.4826 MAD / sqrt(n) for
 * normal errors (from memory), and half a step of what is stored.
 */
#include "finding.h"

#include "evidence.h"

#include <heatbook/balance.h>

#include <math.h>
#include <string.h>

#define LEAST_OFFSET_K 0.1
#define STORED_STEP_K  0.01
/* A pair errs by less: three times two good sensors (pair_limit's default), and a
 * heater's smallest usual stage of 1.5 kW makes more of 20 L/min (1.1 K). Up to the
 * second where its own limit is wider. Own judgement. */
#define USUAL_OFFSET_K 0.9
#define MOST_OFFSET_K  1.5
/* Heaters in line begin at about half a kilowatt, and may be on for some of the time. */
#define HEATER_LEAST_W 300.0
#define USUAL_LPM      20.0
enum { WINDOWS_LEAST = 6, DAYS_AROUND = 2, OUTSIDE_DAYS = 5, GAP_DAYS = 45 };

/* A value that covers several minutes holds rest and running in one: what comes so seldom
 * knows no rest. Without a compressor's own flag its power tells whether it rests. */
static bool comes_seldom(const struct finding_input *in, size_t day)
{
	const struct config *config = in->config;
	bool flagged = config_role(config, ROLE_COMPRESSOR_FREQUENCY) >= 0 ||
		       config_role(config, ROLE_OPERATING_MODE) >= 0;
	int flow = config_role(config, ROLE_FLOW_TEMPERATURE);
	int back = config_role(config, ROLE_RETURN_TEMPERATURE);
	if (!flagged)
		return finding_spacing(in, day, -1) > 0.0;
	return finding_spacing(in, day, flow) > 0.0 ||
	       finding_spacing(in, day, back) > 0.0;
}

/* How far above the return an unmetered heater leaves the flow at least. */
static double heater_k(const struct finding_input *in)
{
	return fmin(fmax(USUAL_OFFSET_K, in->config->plant.pair_limit.k), MOST_OFFSET_K);
}

static bool speaks(const struct finding_input *in, const struct evidence *e)
{
	const struct config *config = in->config;
	bool heater = (config->plant.devices & DEVICE_BACKUP_HEATER) &&
		      balance_heater_open(config);
	return e->kind == EVIDENCE_REST && !(heater && e->values[1] > heater_k(in));
}

static bool rests(const struct finding_input *in, size_t day)
{
	const struct finding_day *d = &in->days[day];
	for (size_t i = 0; i < d->count; i++)
		if (speaks(in, &d->items[i]))
			return !comes_seldom(in, day);
	return false;
}

enum { WINDOW_K = 0, WINDOW_LPM = 2 }; /* of an item's values */

/* A value of the rest windows of days [first, last]. */
static size_t values_of(const struct finding_input *in, size_t first, size_t last,
	int which, double **ret)
{
	size_t count = 0, room = 64;
	double *values = xmalloc(room * sizeof(*values));
	for (size_t d = first; d <= last; d++) {
		size_t items = rests(in, d) ? in->days[d].count : 0;
		for (size_t i = 0; i < items; i++) {
			const struct evidence *e = &in->days[d].items[i];
			if (!speaks(in, e))
				continue;
			if (count == room)
				values = xrealloc(values, room *= 2, sizeof(*values));
			values[count++] = e->values[which];
		}
	}
	*ret = values;
	return count;
}

/* Their means. */
static size_t windows_of(
	const struct finding_input *in, size_t first, size_t last, double **ret)
{
	return values_of(in, first, last, WINDOW_K, ret);
}

/* The median around a day: of its windows and those of the two days with windows on
 * either side. NaN where it has none itself. */
static double offset_around(const struct finding_input *in, size_t day)
{
	size_t first = day, last = day, found;
	double *values, median;
	if (!rests(in, day))
		return (double)NAN;
	found = 0;
	for (size_t i = day; i-- > 0 && found < DAYS_AROUND;)
		if (rests(in, i)) {
			first = i;
			found++;
		}
	found = 0;
	for (size_t i = day + 1; i < in->day_count && found < DAYS_AROUND; i++)
		if (rests(in, i)) {
			last = i;
			found++;
		}
	size_t count = windows_of(in, first, last, &values);
	median = evidence_median(values, count);
	free(values);
	return median;
}

/* Rest is seldom: what the last stretch of it said holds until another one says
 * otherwise, be it weeks ago. */
static bool rests_later(const struct finding_input *in, struct run run)
{
	for (size_t i = run.last + 1; i < in->day_count; i++)
		if (rests(in, i))
			return true;
	return false;
}

struct offset {
	double k, mad_k, interval_k;
	double lpm; /* of the water that went round; NaN: not metered */
	size_t windows;
};

/* The middle of what is known. */
static double flow_at_rest(const struct finding_input *in, struct run run)
{
	double *values;
	size_t known = 0;
	size_t count = values_of(in, run.first, run.last, WINDOW_LPM, &values);
	for (size_t i = 0; i < count; i++)
		if (!isnan(values[i]))
			values[known++] = values[i];
	double lpm = evidence_median(values, known);
	free(values);
	return lpm;
}

static struct offset offset_of(const struct finding_input *in, struct run run)
{
	double *values;
	struct offset o = {.windows = windows_of(in, run.first, run.last, &values)};
	o.k = evidence_median(values, o.windows);
	for (size_t i = 0; i < o.windows; i++)
		values[i] = fabs(values[i] - o.k);
	o.mad_k = evidence_median(values, o.windows);
	free(values);
	o.lpm = flow_at_rest(in, run);
	o.interval_k = 2.0 * 1.2533 * 1.4826 * o.mad_k / sqrt((double)o.windows) +
		       STORED_STEP_K / 2.0;
	return o;
}

static bool is_offset(const struct offset *o)
{
	return o->windows >= WINDOWS_LEAST && fabs(o->k) > o->interval_k &&
	       fabs(o->k) >= LEAST_OFFSET_K;
}

/* So many days with rest on from `from`, forward or back; the last of them in *ret.
 * False: there are none. */
static bool step(
	const struct finding_input *in, size_t from, bool forward, int days, size_t *ret)
{
	bool found = false;
	for (size_t i = from; days > 0 && i < in->day_count;
		i += forward ? 1 : (size_t)-1)
		if (rests(in, i)) {
			*ret = i;
			found = true;
			days--;
		}
	return found; /* behind day 0 the index is beyond every day */
}

/* Between which days an edge lies, where days without rest leave that open. */
static void add_edge(
	const struct finding_input *in, struct buffer *text, size_t edge, bool begins)
{
	char from[16], to[16];
	size_t other;
	if (!step(in, begins ? edge - 1 : edge + 1, !begins, 1, &other) ||
		(begins ? other + 1 == edge : edge + 1 == other))
		return;
	buffer_addf(text, " It %s between %s and %s; no water rested between.",
		begins ? "began" : "ended",
		finding_date(in->days[begins ? other : edge].start_min, from),
		finding_date(in->days[begins ? edge : other].start_min, to));
}

/* What the pair says without what is corrected already. */
static double as_said(const struct finding_input *in, struct run run, double offset_k)
{
	int channel = config_role(in->config, ROLE_RETURN_TEMPERATURE);
	return offset_k + finding_offset_before(in, channel, run);
}

/* What warms the water by so much while it rests, W. */
static double warming_w(
	const struct finding_input *in, const struct offset *o, double said_k)
{
	double nominal = in->config->plant.nominal_lpm;
	double lpm = o->lpm > 0.0 ? o->lpm : nominal > 0.0 ? nominal : USUAL_LPM;
	return W_PER_LPM_K * lpm * said_k;
}

/* More than a pair errs by, or what a heater may do: something else is as likely. */
static bool is_doubtful(
	const struct finding_input *in, struct run run, const struct offset *o)
{
	double said_k = as_said(in, run, o->k);
	double pair_k = in->config->plant.pair_limit.k;
	return fabs(said_k) > fmax(MOST_OFFSET_K, pair_k) ||
	       (balance_heater_open(in->config) &&
		       warming_w(in, o, said_k) >= HEATER_LEAST_W);
}

/* What else makes such a difference while the compressor rests. */
static char *doubt_remedy(const struct finding_input *in, double said_k)
{
	static const char heated[] =
		"A heater in line that no meter measures warms the flow like this: give "
		"it a meter that feeds backup_heater, or list it in devices of [plant] "
		"and ask again.";
	static const char cooled[] =
		"Water that cools the house without the compressor comes back warmer "
		"like this: let operating_mode say cooling then, and rebuild.";
	bool much = fabs(said_k) > heater_k(in);
	return xasprintf("%s %s", said_k > 0.0 ? heated : cooled,
		much ? "Sensors seldom err by so much, so that no correction is proposed."
		     : "So far a heater is as likely as the sensors, and no correction "
		       "is proposed.");
}

static char *propose_offset(const struct finding_input *in, struct finding *f,
	struct run run, double offset_k)
{
	bool heater = balance_heater_open(in->config) && offset_k > 0.0;
	_cleanup_(freep) char *until = finding_propose(in, f,
		config_role(in->config, ROLE_RETURN_TEMPERATURE), run, 1.0, offset_k);
	return xasprintf("%sUntil then %s; heatbookd rebuild --what shows before what it "
			 "changes. The rest check tells the pair's difference, not which "
			 "of the two is wrong; corrected is the return.",
		heater ? "See that no heater in line was on, as no meter tells of one. "
		       : "",
		until);
}

/* With a section, where there is heat to correct. */
static char *offset_remedy(const struct finding_input *in, struct finding *f,
	struct run run, const struct offset *o)
{
	static const char look[] =
		"If the sensors are your own, outside the unit, see whether both sit "
		"alike on bare metal, with paste and insulation over them, and compare "
		"them in one cup of water; what is inside the unit is for a qualified "
		"person.";
	_cleanup_(freep) char *rest = NULL;
	if (finding_heat_is_computed(in) && is_doubtful(in, run, o)) {
		rest = doubt_remedy(in, as_said(in, run, o->k));
		return xasprintf("%s %s", rest, look);
	}
	if (!finding_heat_is_computed(in))
		rest = xstrdup("A heat meter says the heat: heat does not rest on these "
			       "sensors, and there is nothing to correct in it.");
	else
		rest = propose_offset(in, f, run, o->k);
	return xasprintf("%s %s", look, rest);
}

static void add_offset(
	const struct finding_input *in, struct run run, struct finding_list *list)
{
	char from[16];
	struct run now = finding_in_season(in, run);
	struct offset o = offset_of(in, run);
	double sensitivity = 0.0, heat_j = 0.0, now_sensitivity = 0.0;
	for (size_t i = run.first; i <= run.last; i++) {
		double s = in->days[i].paired_sensitivity_j_per_k;
		sensitivity += s;
		now_sensitivity += i >= now.first ? s : 0.0;
		heat_j += (double)in->days[i].paired_heat_j;
	}
	struct finding f = finding_new(
		in, FINDING_PAIR_OFFSET, role_name(ROLE_RETURN_TEMPERATURE), run);
	f.lasts = !in->rows_follow && !rests_later(in, run);
	f.size = o.k;
	f.unit = "K";
	bool told = finding_heat_is_computed(in) && !is_doubtful(in, run, &o);
	if (told)
		f.effect = finding_effect(in, now, now_sensitivity * o.k, 0.0);
	double dt_k = told && sensitivity > 0.0 ? heat_j / sensitivity : (double)NAN;
	struct buffer text = {0};
	buffer_addf(&text,
		"In %zu stretches of %zu days from %s on water went round with the "
		"compressor at rest, when both sensors hold the same water: the flow "
		"read %+.2f K against the return (median; between %+.2f and %+.2f K; "
		"half of the stretches within %.2f K of it).",
		o.windows, run.hits, finding_date(in->days[run.first].start_min, from),
		o.k, o.k - o.interval_k, o.k + o.interval_k, o.mad_k);
	if (!isnan(dt_k) && dt_k > 0.0)
		buffer_addf(&text,
			" The difference that carried heat was %.1f K by mean, so heat "
			"of these days is off by %+.1f %%.",
			dt_k, 100.0 * o.k / dt_k);
	add_edge(in, &text, run.first, true);
	add_edge(in, &text, run.last, false);
	f.evidence = xstrdup(buffer_text(&text));
	buffer_release(&text);
	f.remedy = offset_remedy(in, &f, run, &o);
	finding_add(list, &f);
}

/* ---- where an offset begins and ends ---- */

/* The median of the days that lie from the edge outwards, behind those in doubt; 0, what
 * a pair should say, where there are none. NaN: no day lies there at all. */
static double outside_of(const struct finding_input *in, size_t edge, bool begins)
{
	size_t near = edge, far = edge;
	double *values;
	if (!step(in, begins ? edge - 1 : edge + 1, !begins, DAYS_AROUND, &near))
		return (double)NAN;
	if (!step(in, begins ? near - 1 : near + 1, !begins, OUTSIDE_DAYS, &far))
		return 0.0;
	size_t count =
		windows_of(in, begins ? far : near + 1, begins ? near - 1 : far, &values);
	double median = evidence_median(values, count);
	free(values);
	return median;
}

/* By how much a day's windows are nearer to `inside` than to `outside`. */
static double nearer(
	const struct finding_input *in, size_t day, double inside, double outside)
{
	double sum = 0.0;
	for (size_t i = 0; i < in->days[day].count; i++) {
		const struct evidence *e = &in->days[day].items[i];
		if (speaks(in, e))
			sum += fabs(e->values[0] - outside) - fabs(e->values[0] - inside);
	}
	return sum;
}

/* A day's offset is the median of days about it, so that a run found by it may begin or
 * end some days off: its edge moves to the day that parts both levels best. */
static size_t edge_of(
	const struct finding_input *in, struct run run, double inside, bool begins)
{
	size_t edge = begins ? run.first : run.last, low = edge, high = edge, best = edge;
	double outside = outside_of(in, edge, begins), sum = 0.0, most = -1.0;
	if (isnan(outside) ||
		!step(in, begins ? edge - 1 : edge + 1, !begins, DAYS_AROUND, &low) ||
		!step(in, edge, begins, DAYS_AROUND + 1, &high))
		return edge;
	if (high < run.first || high > run.last)
		high = begins ? run.last : run.first;
	/* From well inside outwards: what is gained by reaching as far as each day. */
	for (size_t i = high;; i += begins ? (size_t)-1 : 1) {
		if (rests(in, i)) {
			sum += nearer(in, i, inside, outside);
			best = sum > most ? i : best;
			most = fmax(most, sum);
		}
		if (i == low)
			return best;
	}
}

static void add_with_edges(
	const struct finding_input *in, struct run run, struct finding_list *list)
{
	struct offset o = offset_of(in, run);
	if (!is_offset(&o))
		return;
	struct run exact = {.first = edge_of(in, run, o.k, true),
		.last = edge_of(in, run, o.k, false),
		.open = run.open};
	for (size_t i = exact.first; i <= exact.last; i++)
		exact.hits += rests(in, i);
	/* Up to the end of a span that rows follow: who asks for days without rest in the
	 * midst of an offset is told of it. */
	if (in->rows_follow && !rests_later(in, exact))
		exact.last = in->day_count - 1;
	add_offset(in, exact, list);
}

/* ---- offsets of one sign that differ ---- */

/* A sensor may slip twice. Parted is where the days' medians fit two levels much better
 * than one (L1); a pair that drifts with the season by a tenth of a kelvin is one. */
#define PARTED_K    0.2
#define PARTED_GAIN 0.25
enum { PARTED_DAYS = 3, PARTS_MOST = 8 };

static double distance_from(const double *values, size_t count, double level)
{
	double sum = 0.0;
	for (size_t i = 0; i < count; i++)
		sum += fabs(values[i] - level);
	return sum;
}

static double median_of(const double *values, size_t count, double *room)
{
	memcpy(room, values, count * sizeof(*values));
	return evidence_median(room, count);
}

/* Of how many days the first level is; 0: one fits all. `room` is as large as `k`. */
static size_t part_at(const double *k, size_t count, double *room)
{
	double whole = distance_from(k, count, median_of(k, count, room));
	double best = (1.0 - PARTED_GAIN) * whole;
	size_t at = 0;
	for (size_t i = PARTED_DAYS; i + PARTED_DAYS <= count; i++) {
		double left = median_of(k, i, room);
		double right = median_of(k + i, count - i, room);
		double sum = distance_from(k, i, left) +
			     distance_from(k + i, count - i, right);
		if (fabs(left - right) < PARTED_K || sum >= best)
			continue;
		best = sum;
		at = i;
	}
	return at;
}

/* The day on which another level begins, or the run's first one. */
static size_t parting_day(const struct finding_input *in, struct run run)
{
	size_t days = run.last - run.first + 1, count = 0;
	double *k = xmalloc(2 * days * sizeof(*k));
	size_t *day = xmalloc(days * sizeof(*day));
	for (size_t d = run.first; d <= run.last; d++) {
		double *values;
		size_t windows = windows_of(in, d, d, &values);
		if (windows > 0) {
			day[count] = d;
			k[count++] = evidence_median(values, windows);
		}
		free(values);
	}
	size_t at = part_at(k, count, k + days);
	size_t result = at ? day[at] : run.first;
	free(k);
	free(day);
	return result;
}

static void add_parted(
	const struct finding_input *in, struct run run, struct finding_list *list)
{
	struct run parts[PARTS_MOST] = {run};
	size_t count = 1;
	while (count > 0) {
		struct run *part = &parts[count - 1], left = *part;
		size_t at = count < PARTS_MOST ? parting_day(in, left) : left.first;
		if (at == left.first) {
			add_with_edges(in, left, list);
			count--;
			continue;
		}
		*part = (struct run){.first = at, .last = left.last};
		left.last = at - 1;
		parts[count++] = left;
	}
}

/* Two runs with nothing else between. */
static bool is_the_same(const struct finding_input *in, struct run a, struct run b)
{
	struct offset one = offset_of(in, a), other = offset_of(in, b);
	double apart = fabs(one.k - other.k);
	return apart <= fmax(LEAST_OFFSET_K / 2.0, one.interval_k + other.interval_k);
}

struct pending {
	struct run run; /* one that may go on */
	int sign;       /* 0: there is none */
};

static void end_run(const struct finding_input *in, struct pending *pending,
	struct run run, int sign, struct finding_list *list)
{
	if (pending->sign == sign && is_the_same(in, pending->run, run)) {
		pending->run.last = run.last;
		return;
	}
	if (pending->sign)
		add_parted(in, pending->run, list);
	*pending = (struct pending){run, sign};
}

static int sign_of(double k)
{
	if (fabs(k) < LEAST_OFFSET_K)
		return 0;
	return k > 0.0 ? 1 : -1;
}

/* Days of one sign, ended by a season's end, by a day without it, or by too long a time
 * without rest; the first and the last of these ends part no finding by themselves. */
void find_pair_offset(const struct finding_input *in, struct finding_list *list)
{
	struct pending pending = {0};
	struct run run = {0}, season = {0};
	int sign = 0;
	bool open = true;
	for (size_t i = 0; i < in->day_count; i++) {
		double k = offset_around(in, i);
		if (isnan(k))
			continue;
		int now = sign_of(k);
		bool ends = now != sign || i > season.last || i - run.last > GAP_DAYS;
		if (sign && ends)
			end_run(in, &pending, run, sign, list);
		if (now == 0 && pending.sign) {
			add_parted(in, pending.run, list);
			pending.sign = 0;
		}
		if (now && (ends || !sign)) {
			run = (struct run){.first = i, .open = open};
			season = finding_season(in, i);
		}
		open = false;
		sign = now;
		if (now)
			run.last = i;
	}
	if (sign)
		end_run(in, &pending, run, sign, list);
	if (pending.sign)
		add_parted(in, pending.run, list);
}
