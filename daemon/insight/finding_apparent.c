/*
 * A meter of volts times amperes beside a true one that feeds the same: how much more it
 * says, running and at rest. It is left out of every figure there, so that it costs
 * nothing; but whoever reads it elsewhere should know. Without a true meter beside it
 * nothing tells how far off it is; with a register of its own finding_power.c does.
 *
 * Told by the first day of 1 kWh of which it is off by a twentieth. Too much is what such
 * a meter does; too little it cannot, so that one of both is wrong. Days of a reversed
 * clamp are left out: they are a finding of their own.
 */
#include "finding.h"

#include <math.h>

enum { APPARENT_GAP_DAYS = 14 };
#define DAY_LEAST_J (1.0 * J_PER_KWH)
#define OFF_LIMIT   0.05

/* Of the apparent meter and of the true ones, J. */
struct beside {
	double running_j, running_true_j, resting_j, resting_true_j;
};

static bool add_day(struct beside *sum, const struct finding_day *day, int meter)
{
	const struct evidence *e = finding_item(day, EVIDENCE_APPARENT, meter);
	if (!e || finding_item(day, EVIDENCE_POWER_NEGATIVE, -1))
		return false;
	sum->running_j += e->values[0];
	sum->running_true_j += e->values[1];
	sum->resting_j += e->values[2];
	sum->resting_true_j += e->values[3];
	return true;
}

static double true_j(const struct beside *b)
{
	return b->running_true_j + b->resting_true_j;
}

static double off_by(const struct beside *b)
{
	return (b->running_j + b->resting_j) / true_j(b) - 1.0;
}

struct side {
	int meter;
	double sign; /* 1.0: it says too much, -1.0: too little */
};

static int is_off(const struct finding_day *day, const void *context)
{
	const struct side *side = context;
	struct beside b = {0};
	if (!add_day(&b, day, side->meter) || true_j(&b) < DAY_LEAST_J)
		return -1;
	return side->sign * off_by(&b) > OFF_LIMIT;
}

static void add_part(struct buffer *text, const char *when, double j, double truly_j)
{
	if (truly_j > 0.0)
		buffer_addf(text, "%s %.2f kWh for %.2f kWh (%+.0f %%)", when,
			j / J_PER_KWH, truly_j / J_PER_KWH, 100.0 * (j / truly_j - 1.0));
}

static const char *remedy_of(const struct side *side)
{
	return side->sign > 0.0
		       ? "Volts times amperes are more than true power, at rest two to "
			 "three times. Nothing is to be done about the account; do not "
			 "take this meter for anything else."
		       : "Volts times amperes are never less than true power: one of the "
			 "two is wrong, and this does not tell which. See the unit of "
			 "each, the ratio that its clamp is set to, and whether it "
			 "covers "
			 "all phases and the same devices. If it is the true one, "
			 "figures "
			 "are wrong with it. What is behind the covers of a switchboard "
			 "is for a qualified electrician.";
}

static void add_apparent(const struct finding_input *in, struct run run,
	const struct side *side, struct finding_list *list)
{
	struct beside b = {0};
	for (size_t d = run.first; d <= run.last; d++)
		if (is_off(&in->days[d], side) == 1)
			(void)add_day(&b, &in->days[d], side->meter);
	struct finding f = finding_new(in, FINDING_APPARENT_AGAINST_TRUE,
		in->config->meters[side->meter].name, run);
	struct buffer text = {0};
	f.size = 100.0 * off_by(&b);
	f.unit = "%";
	buffer_addf(&text, "On %zu days it said", run.hits);
	add_part(&text, " with the compressor running", b.running_j, b.running_true_j);
	add_part(&text, b.running_true_j > 0.0 ? ", at rest" : " at rest", b.resting_j,
		b.resting_true_j);
	buffer_addf(&text, " of a true meter that feeds the same. Figures rest on the "
			   "true one.");
	f.evidence = xstrdup(buffer_text(&text));
	buffer_release(&text);
	f.remedy = xstrdup(remedy_of(side));
	finding_add(list, &f);
}

void find_apparent(const struct finding_input *in, struct finding_list *list)
{
	for (size_t i = 0; i < 2 * in->config->meter_count; i++) {
		const struct side side = {(int)(i / 2), i % 2 ? -1.0 : 1.0};
		struct run run;
		size_t at = 0;
		while (finding_run(in, is_off, &side, APPARENT_GAP_DAYS, &at, &run))
			add_apparent(in, run, &side, list);
	}
}
