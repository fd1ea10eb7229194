/*
 * Events of the engine that an owner should know of: registers that began anew, went over
 * their highest number or said what cannot be; words that were not understood. What comes
 * again within days is told as one.
 */
#include "finding.h"

#include <heatbook/calendar.h>
#include <heatbook/reading.h>

#include <ctype.h>
#include <math.h>
#include <string.h>

static const struct {
	enum event_kind event;
	enum finding_kind finding;
	const char *before, *between, *after; /* around the readings, kWh */
	const char *remedy;
} registers[] = {
	{EVENT_REGISTER_RESET, FINDING_REGISTER_RESET, "it stood at ",
		" kWh and began anew at ",
		" kWh. At most what it counted since then was added.",
		"If the meter was reset or lost its supply, nothing is to be done. If it "
		"counts up to a highest number and begins at 0 again, set modulus in the "
		"meter's section and rebuild."},
	{EVENT_REGISTER_REPLACED, FINDING_REGISTER_REPLACED, "it stood at ",
		" kWh and went on from ", " kWh; nothing was counted between the two.",
		"If the meter was exchanged, nothing is to be done. Else see what else "
		"publishes on its topic."},
	{EVENT_REGISTER_WRAPPED, FINDING_REGISTER_WRAPPED, "it went from ",
		" kWh over its highest number to ",
		" kWh; what lies between was counted.",
		"Nothing is to be done: modulus is configured, and it did as it says."},
	{EVENT_REGISTER_REFUSED, FINDING_REGISTER_REFUSED, "after ", " kWh it said ",
		" kWh, which was not believed, and then went on as before.",
		"A single one is noise of the line or of the meter's reader. If it comes "
		"again, see the reader's head and what else publishes on the topic."},
};

enum { TOGETHER_DAYS = 2, A_DAY_MOST = 3 };
#define STEP_MOST_KWH 10.0 /* of registers of MWh with two decimals */

/* Events of one kind and subject, none of them further from the one before it. */
struct told {
	const struct event *last;
	size_t count;
	int64_t since_ms;
	size_t stepped; /* went on by a decimal step above the configured one, … */
	double step;    /* … the smallest of these, kWh */
	size_t taken;   /* were refused, and yet taken up by the next one */
};

static const char *subject_of(const struct finding_input *in, const struct event *e)
{
	return e->is_meter ? in->config->meters[e->subject].name
			   : in->config->channels[e->subject].name;
}

/* More than any meter's life brings. */
static bool is_mad(const struct told *told)
{
	int64_t days = (told->last->t_ms - told->since_ms) / MS_PER_DAY + 1;
	return told->count > (size_t)(A_DAY_MOST * days);
}

static const struct register_config *counting_of(
	const struct finding_input *in, const struct event *e)
{
	return e->is_meter ? &in->config->meters[e->subject].counted.counting
			   : &in->config->plant.heat.counting;
}

/* By what it went on, kWh. */
static double went_on(const struct finding_input *in, const struct event *e)
{
	return counting_of(in, e)->kind == REGISTER_INCREMENT ? e->after
							      : e->after - e->before;
}

/* Does a meter that counts in whole steps of so much, larger than it is said to, go on
 * by just one? */
static bool is_step(const struct finding_input *in, const struct event *e)
{
	double kwh = went_on(in, e),
	       step = (double)counting_of(in, e)->step_j / J_PER_KWH;
	if (step <= 0.0 || kwh < 2.0 * step || kwh > 1.01 * STEP_MOST_KWH)
		return false;
	return fabs(kwh / pow(10.0, round(log10(kwh))) - 1.0) < 1e-6;
}

/* Was a reading that had to wait believed once its time had come? Then the register stood
 * as high when the next one was told of, and the wait was long enough for so much: twice
 * as long, since it begins one message later. */
static bool was_taken(
	const struct finding_input *in, const struct event *e, const struct event *next)
{
	const struct register_config *r = counting_of(in, e);
	double waited_s = (double)(e->made_ms - e->t_ms) / 1000.0;
	double most_j = 2.0 * (r->most_w * waited_s + (double)r->step_j);
	return e->kind == EVENT_REGISTER_REFUSED && r->kind != REGISTER_INCREMENT &&
	       e->after > e->before && next->before >= e->after &&
	       (e->after - e->before) * J_PER_KWH <= most_j;
}

static bool is_stepped(const struct told *told)
{
	return 2 * told->stepped >= told->count;
}

/* Of the last one nothing tells. */
static bool is_taken(const struct told *told)
{
	return told->taken > 0 && 2 * told->taken >= told->count - 1;
}

/* What the register counts in goes first: it is seen at a glance. */
static char *step_remedy(
	const struct finding_input *in, const struct told *told, size_t kind)
{
	return xasprintf("It went on by %g kWh at once. If that is what the meter "
			 "counts in, set step = %g kWh in [%s %s] and rebuild these "
			 "days. If not: %s",
		told->step, told->step, told->last->is_meter ? "meter" : "channel",
		subject_of(in, told->last),
		is_mad(told)
			? "the unit or scale of its channel is wrong (Wh where kWh "
			  "is configured), most_power is too low, or a second meter "
			  "publishes on its topic; put the section right and rebuild "
			  "these days."
			: registers[kind].remedy);
}

/* The days that an owner is to rebuild are the finding's own. */
static char *remedy_of(
	const struct finding_input *in, const struct told *told, size_t kind)
{
	double register_j, power_j;
	const char *kind_is =
		finding_kind_error(in, told->last, told->since_ms, told->last->t_ms);
	if (kind_is)
		return finding_kind_remedy(in, told->last, kind_is);
	const char *why =
		is_mad(told) && told->last->is_meter
			? finding_unit_error(in, told->last->subject, told->since_ms,
				  told->last->made_ms, &register_j, &power_j)
			: NULL;
	if (why)
		return xasprintf("A unit is wrong: on these days the register went on by "
				 "%.0f kWh, what was not believed included, and power "
				 "said %.2f kWh: %s. Put the unit right in the channel's "
				 "section and rebuild these days.",
			register_j / J_PER_KWH, power_j / J_PER_KWH, why);
	if (is_stepped(told))
		return step_remedy(in, told, kind);
	if (is_taken(told))
		return xstrdup("Either step is smaller than what the meter counts in, or "
			       "most_power is too low. Put its section right and rebuild "
			       "these days.");
	if (!is_mad(told))
		return xstrdup(registers[kind].remedy);
	return xstrdup("No meter does that so often: most likely the unit or scale of "
		       "its channel is wrong (Wh where kWh is configured), most_power is "
		       "too low, or a second meter publishes on its topic. Put the "
		       "section right and rebuild these days.");
}

/* What became of a reading that was refused may be said of most of them alone. */
static const char *after_text(
	const struct finding_input *in, const struct told *told, size_t kind)
{
	const struct event *e = told->last;
	if (e->kind != EVENT_REGISTER_REFUSED ||
		counting_of(in, e)->kind == REGISTER_INCREMENT)
		return registers[kind].after;
	if (is_taken(told))
		return told->count == 1
			       ? " kWh, which was not believed at once. The account took "
				 "it up soon after."
			       : " kWh, which was not believed at once. Most of these "
				 "the "
				 "account took up soon after.";
	return is_stepped(told) ? " kWh, which was not believed at once."
				: registers[kind].after;
}

static char *evidence_of_told(
	const struct finding_input *in, const struct told *told, size_t kind)
{
	char from[32], to[32];
	const struct event *e = told->last;
	bool refused = e->kind == EVENT_REGISTER_REFUSED; /* told once an hour at most */
	_cleanup_(freep) char *one = xasprintf("%s%.3f%s%.3f%s", registers[kind].before,
		e->before, registers[kind].between, e->after, after_text(in, told, kind));
	if (told->count == 1) {
		one[0] = (char)toupper((unsigned char)one[0]);
		return xstrdup(one);
	}
	time_text_local(told->since_ms, from);
	time_text_local(e->t_ms, to);
	return xasprintf("%s%zu times from %s to %s%s; the last time %s",
		refused ? "At least " : "", told->count, from, to,
		refused ? " (one an hour is told)" : "", one);
}

static void add_told(const struct finding_input *in, const struct told *told, size_t kind,
	struct finding_list *list)
{
	const struct event *e = told->last;
	if (told->count == 0)
		return;
	struct finding f = {.kind = registers[kind].finding,
		.since_ms = told->since_ms,
		.until_ms = e->made_ms,
		.size = told->count == 1 ? e->after - e->before : (double)told->count,
		.unit = told->count == 1 ? "kW.h" : "",
		.effect = (double)NAN};
	f.lasts = told->count > 1 && !in->rows_follow && in->day_count > 0 &&
		  in->days[in->day_count - 1].end_min * MS_PER_MIN <
			  e->made_ms + MS_PER_DAY;
	(void)snprintf(f.subject, sizeof(f.subject), "%s", subject_of(in, e));
	f.evidence = evidence_of_told(in, told, kind);
	f.remedy = remedy_of(in, told, kind);
	finding_add(list, &f);
}

enum { SUBJECTS = METERS_MOST + CHANNELS_MOST };

struct registers_told {
	struct told told[ARRAY_LEN(registers)][SUBJECTS];
	const struct event *before[SUBJECTS]; /* of any of these kinds */
};

static void take_told(const struct finding_input *in, const struct event *e,
	struct told *t, size_t kind, struct finding_list *list)
{
	if (t->count && e->t_ms - t->last->t_ms > TOGETHER_DAYS * MS_PER_DAY) {
		add_told(in, t, kind, list);
		*t = (struct told){0};
	}
	if (t->count++ == 0)
		t->since_ms = e->t_ms;
	t->last = e;
	if (!is_step(in, e))
		return;
	double kwh = went_on(in, e);
	t->step = t->stepped++ ? fmin(t->step, kwh) : kwh;
}

static void take_register(const struct finding_input *in, const struct event *e,
	struct registers_told *all, struct finding_list *list)
{
	size_t at = e->is_meter ? e->subject : (size_t)METERS_MOST + e->subject;
	for (size_t k = 0; k < ARRAY_LEN(registers); k++) {
		if (registers[k].event != e->kind)
			continue;
		const struct event *before = all->before[at];
		for (size_t b = 0; before && b < ARRAY_LEN(registers); b++)
			if (registers[b].event == before->kind)
				all->told[b][at].taken += was_taken(in, before, e);
		all->before[at] = e;
		take_told(in, e, &all->told[k][at], k, list);
	}
}

static void find_registers(const struct finding_input *in, struct finding_list *list)
{
	struct registers_told *all = xcalloc(1, sizeof(*all));
	for (size_t i = 0; i < in->event_count; i++)
		if (in->events[i].subject != EVENT_SUBJECT_GONE)
			take_register(in, &in->events[i], all, list);
	for (size_t k = 0; k < ARRAY_LEN(registers); k++)
		for (size_t s = 0; s < SUBJECTS; s++)
			add_told(in, &all->told[k][s], k, list);
	free(all);
}

/* ---- words ---- */

enum { BAD_GAP_DAYS = 2, BAD_HOURS_LEAST = 2 };

struct bad {
	int64_t first_ms, last_ms;
	size_t hours; /* of channels */
	bool channels[CHANNELS_MOST];
	bool reasons[BAD_REASON_COUNT];
};

/* Times that are ahead are no words: their clock is wrong (finding_clock.c). */
static char *bad_remedy(const struct bad *bad)
{
	bool ahead = bad->reasons[BAD_TIME_AHEAD], words = false;
	for (size_t r = 0; r < BAD_REASON_COUNT; r++)
		words |= r != BAD_TIME_AHEAD && bad->reasons[r];
	return xasprintf("What was understood before holds on meanwhile, and nothing "
			 "is lost: %s in the journal.%s%s",
		words ? "the words are" : "the messages are",
		ahead ? " Times that are ahead are not the channel's but the clock's: "
			"let what writes them, and the machine of heatbook, be set over "
			"the network; where a finding tells that the times in a source's "
			"messages are off, it says what helps."
		      : "",
		words ? " heatbookd listen and /v1/channels show a sample. Put the "
			"channel's unit, decimal mark or pointer right and rebuild, or "
			"mend the gateway."
		      : "");
}

static void add_bad(
	const struct finding_input *in, const struct bad *bad, struct finding_list *list)
{
	struct buffer channels = {0}, reasons = {0};
	struct finding f = {.kind = FINDING_PAYLOAD_BAD,
		.since_ms = bad->first_ms,
		.until_ms = bad->last_ms,
		.size = (double)bad->hours,
		.unit = "",
		.effect = (double)NAN};
	if (bad->hours < BAD_HOURS_LEAST)
		return;
	for (size_t c = 0; c < in->config->channel_count; c++)
		if (bad->channels[c])
			buffer_addf(&channels, "%s%s", channels.length ? ", " : "",
				in->config->channels[c].name);
	for (size_t r = 0; r < BAD_REASON_COUNT; r++)
		if (bad->reasons[r])
			buffer_addf(&reasons, "%s%s", reasons.length ? ", " : "",
				bad_reason_text((enum bad_reason)r));
	f.lasts = !in->rows_follow && in->day_count > 0 &&
		  in->days[in->day_count - 1].end_min * MS_PER_MIN <
			  bad->last_ms + MS_PER_DAY;
	f.evidence =
		xasprintf("In %zu hours (each channel's counted) words came that are "
			  "no value: %s. Of %s.",
			bad->hours, buffer_text(&reasons), buffer_text(&channels));
	f.remedy = bad_remedy(bad);
	buffer_release(&channels);
	buffer_release(&reasons);
	finding_add(list, &f);
}

static void take_bad(const struct finding_input *in, const struct event *e,
	struct bad *bad, struct finding_list *list)
{
	if (bad->hours && e->t_ms - bad->last_ms > BAD_GAP_DAYS * MS_PER_DAY) {
		add_bad(in, bad, list);
		*bad = (struct bad){0};
	}
	if (bad->hours == 0)
		bad->first_ms = e->t_ms;
	bad->last_ms = e->t_ms;
	bad->hours++;
	bad->channels[e->subject] = true;
	if (e->after >= 0.0 && e->after < BAD_REASON_COUNT)
		bad->reasons[(size_t)e->after] = true;
}

void find_events(const struct finding_input *in, struct finding_list *list)
{
	struct bad bad = {0};
	for (size_t i = 0; i < in->event_count; i++) {
		const struct event *e = &in->events[i];
		if (e->subject == EVENT_SUBJECT_GONE)
			continue;
		if (e->kind == EVENT_PAYLOAD_BAD)
			take_bad(in, e, &bad, list);
	}
	add_bad(in, &bad, list);
	find_registers(in, list);
}
