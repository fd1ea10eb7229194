/*
 * A source that repeats all that it said (evidence_stuck.c): a gateway that hangs and
 * publishes its memory. What of its channels stood still then is told by it alone.
 *
 * A unit at its least speed in mild weather says the same for hours, as far as its
 * gateway's digits go: an invented year has four of them. So what proves it is air out of
 * doors of the same source that stood as well, or a frequency that stood while power,
 * said by another source, showed starts and stops; else running for eight hours. What
 * reports seldom stands still in between. Own judgement.
 */
#include "finding.h"

#include <math.h>

enum { RAN_LEAST_MIN = 480 };

struct repeating {
	const struct finding_input *in;
	int source;
};

static bool ran(const struct evidence *e)
{
	return e->values[3] >= RAN_LEAST_MIN;
}

/* Whether a channel of the same source is told to have stood meanwhile. */
static bool stood(const struct repeating *r, const struct finding_day *day,
	enum role role, const struct evidence *e)
{
	int channel = config_role(r->in->config, role);
	const struct evidence *still =
		channel < 0 ? NULL : finding_item(day, EVIDENCE_FROZEN, channel);
	return still && r->in->config->channels[channel].source == r->source &&
	       still->at_min < e->at_min + e->minutes &&
	       e->at_min < still->at_min + still->minutes;
}

static bool counts(const struct repeating *r, const struct finding_day *day,
	const struct evidence *e)
{
	if (e->kind != EVIDENCE_REPEATED ||
		r->in->config->channels[e->subject].source != r->source)
		return false;
	return ran(e) || stood(r, day, ROLE_OUTDOOR_TEMPERATURE, e) ||
	       stood(r, day, ROLE_COMPRESSOR_FREQUENCY, e);
}

static int repeats(const struct finding_day *day, const void *context)
{
	const struct repeating *r = context;
	if (finding_spacing(r->in, (size_t)(day - r->in->days), -1) > 0.0)
		return -1;
	for (size_t i = 0; i < day->count; i++)
		if (counts(r, day, &day->items[i]))
			return 1;
	return day->looked ? 0 : -1;
}

bool finding_repeats(
	const struct finding_input *in, const struct finding_day *day, int source)
{
	const struct repeating r = {in, source};
	return repeats(day, &r) == 1;
}

/* Sums of the run, and the first and the last stretch of it. */
struct repeated {
	double minutes, heat_j, electricity_j, numbers;
	int64_t since_min, until_min;
};

static struct repeated sum_of(const struct repeating *r, struct run run)
{
	struct repeated sum = {.since_min = INT64_MAX, .until_min = INT64_MIN};
	for (size_t d = run.first; d <= run.last; d++)
		for (size_t i = 0; i < r->in->days[d].count; i++) {
			const struct evidence *e = &r->in->days[d].items[i];
			if (!counts(r, &r->in->days[d], e))
				continue;
			int64_t end_min = e->at_min + e->minutes;
			sum.minutes += (double)e->minutes;
			sum.numbers = fmax(sum.numbers, e->values[0]);
			sum.heat_j += e->values[1];
			sum.electricity_j += e->values[2];
			sum.since_min =
				e->at_min < sum.since_min ? e->at_min : sum.since_min;
			sum.until_min = end_min > sum.until_min ? end_min : sum.until_min;
		}
	return sum;
}

static void add_repeats(
	const struct repeating *r, struct run run, struct finding_list *list)
{
	const struct repeated sum = sum_of(r, run);
	struct finding f = finding_new(r->in, FINDING_SOURCE_REPEATS,
		r->in->config->sources[r->source].name, run);
	char at[32];
	f.since_ms = sum.since_min * MS_PER_MIN;
	f.until_ms = sum.until_min * MS_PER_MIN;
	f.size = sum.minutes;
	f.unit = "min";
	time_text_local(f.since_ms, at);
	f.evidence = xasprintf(
		"From %s on for %.0f minutes none of its %.0f numbers changed in the "
		"last digit. %.1f kWh of heat and %.1f kWh of "
		"the unit's electricity were booked in them: what of these, and of "
		"modes, rests on this source is not to be trusted.",
		at, sum.minutes, sum.numbers, sum.heat_j / J_PER_KWH,
		sum.electricity_j / J_PER_KWH);
	f.remedy =
		xstrdup("The gateway published what it had in memory, and read nothing "
			"anew. See its log of that time and start it anew; if it can, "
			"let it fall silent when it reads nothing, so that a gap is "
			"seen as a gap.");
	finding_add(list, &f);
}

void find_repeats(const struct finding_input *in, struct finding_list *list)
{
	for (size_t s = 0; s < in->config->source_count; s++) {
		const struct repeating r = {in, (int)s};
		struct run run;
		size_t at = 0;
		while (finding_run(in, repeats, &r, 0, &at, &run))
			add_repeats(&r, run, list);
	}
}
