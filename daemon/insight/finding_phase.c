/*
 * One phase of several that follows the compressor no more: its clamp fell off, its fuse
 * blew, its channel repeats. What a phase takes of the compressor's steps is the house's
 * own, and the middle of days before tells it; a phase that never took any is none.
 *
 * What is missing is what the others' steps let expect. Own judgement.
 */
#include "finding.h"

#include "evidence.h"

#include <math.h>

enum { USUAL_DAYS = 14, USUAL_LEAST = 5, GAP_DAYS = 3, DAYS_LEAST = 2 };
#define STEP_LEAST_W  100.0 /* of the others: less is no compressor */
#define CARRIES       0.1   /* of the steps, or more: a phase that does */
#define STILL_CARRIES 0.2   /* of that, or less: it does no more */

#define HINT_WITHIN 0.08

const char *finding_phases_hint(double ratio)
{
	if (fabs(ratio / 3.0 - 1.0) < HINT_WITHIN)
		return "One phase of three, each with its part of the load, would look "
		       "like this. ";
	if (fabs(ratio / 1.5 - 1.0) < HINT_WITHIN)
		return "Two phases of three, each with its part of the load, would look "
		       "like this. ";
	return "";
}

struct phase {
	const struct finding_input *in;
	int channel;
	/* By day: what it took too little, J; NaN: nothing is known of it. 0: it took
	 * what it does. */
	double *lost_j;
	double usual; /* of the last day that lost */
};

static const struct evidence *item_of(const struct phase *p, size_t day)
{
	const struct finding_day *d = &p->in->days[day];
	return finding_item(d, EVIDENCE_POWER_NEGATIVE, -1)
		       ? NULL
		       : finding_item(d, EVIDENCE_PHASE, p->channel);
}

/* Of the steps of all; NaN where the others have none. */
static double share_of(const struct evidence *e)
{
	double own = e->values[0] - e->values[1], others = e->values[2] - e->values[3];
	return others < STEP_LEAST_W ? (double)NAN : own / (own + others);
}

/* The middle of the last days on which it took its part. */
static double usual_of(const struct phase *p, size_t day, double *ret_rest_w)
{
	double shares[USUAL_DAYS], rests_w[USUAL_DAYS];
	size_t count = 0;
	for (size_t d = day; d-- > 0 && count < USUAL_DAYS;) {
		const struct evidence *e = item_of(p, d);
		if (!e || p->lost_j[d] != 0.0 || isnan(share_of(e)))
			continue;
		shares[count] = share_of(e);
		rests_w[count++] = e->values[1];
	}
	*ret_rest_w = evidence_median(rests_w, count);
	return count >= USUAL_LEAST ? evidence_median(shares, count) : (double)NAN;
}

static double lost_on(struct phase *p, size_t day)
{
	const struct evidence *e = item_of(p, day);
	double rest_w, usual, share = e ? share_of(e) : (double)NAN;
	if (isnan(share))
		return (double)NAN;
	usual = usual_of(p, day, &rest_w);
	if (!(usual >= CARRIES && share < STILL_CARRIES * usual))
		return 0.0;
	double step_w = (e->values[2] - e->values[3]) * usual / (1.0 - usual);
	p->usual = usual;
	return 60.0 * ((double)e->minutes * (rest_w + step_w - e->values[0]) +
			      e->values[4] * (rest_w - e->values[1]));
}

static int is_missing(const struct finding_day *day, const void *context)
{
	const struct phase *p = context;
	double j = p->lost_j[day - p->in->days];
	return isnan(j) ? -1 : j != 0.0;
}

static double sum_of(const struct phase *p, struct run run)
{
	double j = 0.0;
	for (size_t d = run.first; d <= run.last; d++)
		j += isnan(p->lost_j[d]) ? 0.0 : p->lost_j[d];
	return j;
}

static void add_missing(
	const struct phase *p, size_t meter, struct run run, struct finding_list *list)
{
	const struct finding_input *in = p->in;
	const struct meter_config *config = &in->config->meters[meter];
	bool counts = config->counted.counts;
	struct finding f = finding_new(
		in, FINDING_PHASE_MISSING, in->config->channels[p->channel].name, run);
	f.size = sum_of(p, run) / J_PER_KWH;
	f.unit = "kW.h";
	if (!counts && in->boundary.meters & 1u << meter)
		f.effect = finding_effect(
			in, run, 0.0, -sum_of(p, finding_in_season(in, run)));
	f.evidence = xasprintf(
		"Of what meter %s takes more while the compressor runs it had %.0f %% "
		"before, and next to nothing on %zu days: by the other phases some %.2f "
		"kWh are missing%s.",
		config->name, 100.0 * p->usual, run.hits, f.size,
		counts ? " of power; the register keeps the sum of electricity right"
		       : " of the account");
	f.remedy = xstrdup(
		"Its clamp fell off or slipped from its wire, its fuse blew, or its "
		"channel repeats an old value: see what the meter itself shows for this "
		"phase. What is behind the covers of a switchboard is for a qualified "
		"electrician.");
	finding_add(list, &f);
}

static void find_phase(const struct finding_input *in, size_t meter, int channel,
	struct finding_list *list)
{
	struct phase p = {.in = in, .channel = channel};
	struct run run;
	size_t at = 0;
	p.lost_j = xcalloc(in->day_count + 1, sizeof(*p.lost_j));
	for (size_t d = 0; d < in->day_count; d++)
		p.lost_j[d] = lost_on(&p, d);
	while (finding_run(in, is_missing, &p, GAP_DAYS, &at, &run))
		if (run.hits >= DAYS_LEAST)
			add_missing(&p, meter, run, list);
	free(p.lost_j);
}

void find_phases(const struct finding_input *in, struct finding_list *list)
{
	for (size_t m = 0; m < in->config->meter_count; m++) {
		const struct meter_config *meter = &in->config->meters[m];
		for (size_t p = 0; p < meter->power_count; p++)
			find_phase(in, m, meter->power[p], list);
	}
}
