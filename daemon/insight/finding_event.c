/*
 * Events of the engine that an owner should know of: registers that began anew, went over
 * their highest number or said what cannot be; words that were not understood.
 */
#include "finding.h"

#include <heatbook/reading.h>

#include <math.h>
#include <string.h>

static const struct {
	enum event_kind event;
	enum finding_kind finding;
	const char *before, *between, *after; /* around the readings, kWh */
	const char *remedy;
} registers[] = {
	{EVENT_REGISTER_RESET, FINDING_REGISTER_RESET, "It stood at ",
		" kWh and began anew at ",
		" kWh. At most what it counted since then was added.",
		"If the meter was reset or lost its supply, nothing is to be done. If it "
		"counts up to a highest number and begins at 0 again, set modulus in the "
		"meter's section and rebuild."},
	{EVENT_REGISTER_REPLACED, FINDING_REGISTER_REPLACED, "It stood at ",
		" kWh and went on from ", " kWh; nothing was counted between the two.",
		"If the meter was exchanged, nothing is to be done. Else see what else "
		"publishes on its topic."},
	{EVENT_REGISTER_WRAPPED, FINDING_REGISTER_WRAPPED, "It went from ",
		" kWh over its highest number to ",
		" kWh; what lies between was counted.",
		"Nothing is to be done: modulus is configured, and it did as it says."},
	{EVENT_REGISTER_REFUSED, FINDING_REGISTER_REFUSED, "After ", " kWh it said ",
		" kWh, which was not believed, and then went on as before.",
		"A single one is noise of the line or of the meter's reader. If it comes "
		"again, see the reader's head and what else publishes on the topic."},
};

static void add_register(const struct finding_input *in, const struct event *e,
	size_t kind, struct finding_list *list)
{
	struct finding f = {.kind = registers[kind].finding,
		.since_ms = e->t_ms,
		.until_ms = e->made_ms,
		.size = e->after - e->before,
		.unit = "kW.h",
		.effect = (double)NAN};
	(void)snprintf(f.subject, sizeof(f.subject), "%s",
		e->is_meter ? in->config->meters[e->subject].name
			    : in->config->channels[e->subject].name);
	f.evidence = xasprintf("%s%.3f%s%.3f%s", registers[kind].before, e->before,
		registers[kind].between, e->after, registers[kind].after);
	f.remedy = xstrdup(registers[kind].remedy);
	finding_add(list, &f);
}

/* ---- words ---- */

enum { BAD_GAP_DAYS = 2, BAD_HOURS_LEAST = 2 };

struct bad {
	int64_t first_ms, last_ms;
	size_t hours; /* of channels */
	bool channels[CHANNELS_MOST];
	bool reasons[BAD_REASON_COUNT];
};

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
	f.remedy = xstrdup("What was understood before holds on meanwhile, and nothing "
			   "is lost: the words are in the journal. heatbookd listen and "
			   "/v1/channels show a sample. Put the channel's unit, decimal "
			   "mark or pointer right and rebuild, or mend the gateway.");
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
		for (size_t k = 0; k < ARRAY_LEN(registers); k++)
			if (registers[k].event == e->kind)
				add_register(in, e, k, list);
	}
	add_bad(in, &bad, list);
}
