/*
 * The return above the flow: while heat is made, which most often are channels that are
 * crossed; or both standing still without flow, which are values that were repeated
 * (evidence_pair.c).
 */
#include "finding.h"

#include "evidence.h"

static int is_above(const struct finding_day *day, const void *context)
{
	bool standing = *(const bool *)context;
	for (size_t i = 0; i < day->count; i++) {
		const struct evidence *e = &day->items[i];
		if (e->kind == EVIDENCE_RETURN_ABOVE && (e->values[2] != 0.0) == standing)
			return 1;
	}
	return day->looked ? 0 : -1;
}

static void add_above(const struct finding_input *in, struct run run, bool standing,
	struct finding_list *list)
{
	struct run now = finding_in_season(in, run);
	bool computed = finding_heat_is_computed(in);
	double minutes = 0.0, sum = 0.0, heat_j = 0.0, now_j = 0.0;
	int64_t since = 0, until = 0;
	for (size_t d = run.first; d <= run.last; d++)
		for (size_t i = 0; i < in->days[d].count; i++) {
			const struct evidence *e = &in->days[d].items[i];
			if (e->kind != EVIDENCE_RETURN_ABOVE ||
				(e->values[2] != 0.0) != standing)
				continue;
			since = since ? since : e->at_min;
			until = e->at_min + e->minutes;
			minutes += (double)e->minutes;
			sum += e->values[0] * (double)e->minutes;
			heat_j += e->values[1];
			now_j += d >= now.first ? e->values[1] : 0.0;
		}
	struct finding f = finding_new(in, FINDING_RETURN_ABOVE_FLOW, "", run);
	f.since_ms = since * MS_PER_MIN;
	f.until_ms = until * MS_PER_MIN;
	f.size = sum / minutes;
	f.unit = "K";
	if (standing) {
		f.evidence = xasprintf("For %.0f minutes without flow the return read "
				       "%.1f K above the flow, and neither moved by the "
				       "last digit: no pipe does that while it cools.",
			minutes, f.size);
		f.remedy = xasprintf("The values were repeated, not measured. %s See "
				     "whether the gateway or logger goes on sending its "
				     "last values when the unit rests, and shorten "
				     "stale_after where it can.",
			computed ? "Without flow no heat is booked for them."
				 : "Heat does not rest on them.");
	} else {
		_cleanup_(freep) char *cost =
			computed ? xasprintf("%.1f kWh of heat were booked for it",
					   heat_j / J_PER_KWH)
				 : xstrdup("a heat meter says the heat, and heat does "
					   "not rest on them");
		if (computed)
			f.effect = finding_effect(in, now, 2.0 * now_j, 0.0);
		f.evidence = xasprintf("For %.0f minutes outside of defrost the "
				       "compressor ran, water flowed, and the return was "
				       "%.1f K warmer than the flow; %s.",
			minutes, f.size, cost);
		f.remedy = xstrdup("Most often the two temperature channels are crossed: "
				   "exchange their topics or pointers in the "
				   "configuration and rebuild. If the unit cools in "
				   "summer, map operating_mode so that it can say so.");
	}
	finding_add(list, &f);
}

void find_return_above(const struct finding_input *in, struct finding_list *list)
{
	for (int standing = 0; standing < 2; standing++) {
		bool which = standing == 1;
		struct run run;
		size_t at = 0;
		while (finding_run(in, is_above, &which, 7, &at, &run))
			add_above(in, run, which, list);
	}
}
