/*
 * Flags that come late: on days on which hot water or defrosts begin by flag two minutes
 * or more after they do by rule. A flag in time differs by a minute at most, which is
 * the grain of rows. A day counts where the flag followed at least half of what rules
 * saw; two such days and four beginnings are a finding, so that it is told after the
 * second day of them. A flag that comes before the rule is in time: rules wait for what
 * water does.
 */
#include "finding.h"

#include "evidence.h"

#include <math.h>

enum { LATE_LEAST_MIN = 2, LATE_GAP_DAYS = 5, LATE_DAYS = 2, PAIRS_LEAST = 4 };

struct flags {
	const struct finding_input *in;
	int mode; /* hot water or defrost */
};

static int is_late(const struct finding_day *day, const void *context)
{
	const struct flags *f = context;
	const struct evidence *e = finding_item(day, EVIDENCE_FLAG, f->mode);
	if (!e)
		return -1;
	/* A source that reports seldom is late by as much as it reports. */
	double slow = finding_spacing(f->in, (size_t)(day - f->in->days), -1);
	return (double)e->minutes >= LATE_LEAST_MIN + slow &&
	       2.0 * e->values[0] >= e->values[1];
}

int finding_flag_of(const struct finding_input *in, int mode)
{
	int own =
		config_role(in->config, mode == MODE_DEFROST ? ROLE_DEFROST : ROLE_VALVE);
	return own >= 0 ? own : config_role(in->config, ROLE_OPERATING_MODE);
}

static const char *flag_name(const struct finding_input *in, int mode)
{
	int channel = finding_flag_of(in, mode);
	return channel >= 0 ? in->config->channels[channel].name : "";
}

static void add_late(const struct finding_input *in, struct run run,
	const struct flags *flags, struct finding_list *list)
{
	double *lags = xcalloc(run.hits + 1, sizeof(*lags)), pairs = 0.0, most = 0.0;
	size_t count = 0;
	for (size_t d = run.first; d <= run.last; d++) {
		const struct evidence *e =
			finding_item(&in->days[d], EVIDENCE_FLAG, flags->mode);
		if (is_late(&in->days[d], flags) != 1 || count == run.hits)
			continue;
		lags[count++] = (double)e->minutes;
		pairs += e->values[0];
		most = fmax(most, e->values[2]);
	}
	double middle = evidence_median(lags, count);
	free(lags);
	if (run.hits < LATE_DAYS || pairs < PAIRS_LEAST)
		return;
	const char *what = flags->mode == MODE_DEFROST ? "defrost" : "hot water";
	struct finding f =
		finding_new(in, FINDING_FLAG_LATE, flag_name(in, flags->mode), run);
	f.size = middle;
	f.unit = "min";
	f.evidence = xasprintf(
		"On %zu days it told of %s %.0f min after flow and temperatures did "
		"(the middle of %.0f beginnings; up to %.0f min). Until then minutes are "
		"booked to the mode before. Totals and the season's factor stay as they "
		"are; what each mode has does not.",
		run.hits, what, middle, pairs, most);
	f.remedy = xstrdup(
		"Let the gateway publish it on change, or oftener. Or give its channel "
		"role = plain and rebuild: modes are then told by rules, if check says "
		"that they can be.");
	finding_add(list, &f);
}

void find_flag_late(const struct finding_input *in, struct finding_list *list)
{
	static const int modes[] = {MODE_HOT_WATER, MODE_DEFROST};
	for (size_t i = 0; i < ARRAY_LEN(modes); i++) {
		const struct flags flags = {in, modes[i]};
		struct run run;
		size_t at = 0;
		while (finding_run(in, is_late, &flags, LATE_GAP_DAYS, &at, &run))
			add_late(in, run, &flags, list);
	}
}
