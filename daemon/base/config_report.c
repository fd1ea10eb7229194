/*
 * What a configuration can answer: one line for each question of the owner, either
 * "answered" and from what, or what is missing; the corrections, noted changes and
 * notices; and what to look for. For the `check` verb. The questions stand in
 * answers_*.c.
 */
#include "answers.h"

#include <heatbook/correction.h>

/* What is believed otherwise than it was said. */
static void say_corrections(struct answers *r)
{
	for (size_t i = 0; i < r->config->correction_count; i++) {
		struct buffer b = {0};
		correction_describe(r->config, &r->config->corrections[i], &b, " ");
		answer_say(r, "correction", "%s", buffer_text(&b));
		buffer_release(&b);
	}
}

/* What was changed, to be judged by /v1/changes. */
static void say_changes(struct answers *r)
{
	for (size_t i = 0; i < r->config->change_count; i++) {
		struct buffer b = {0};
		change_describe(&r->config->changes[i], &b);
		answer_say(r, "change", "%s", buffer_text(&b));
		buffer_release(&b);
	}
}

static void say_hints(struct answers *r)
{
	if (!r->wanted && !r->meter_wanted)
		return;
	buffer_add_text(r->out, "\nwhat to look for (`heatbookd listen` lists what the "
				"broker's messages hold):\n");
	for (int role = ROLE_PLAIN + 1; role < ROLE_COUNT; role++)
		if (r->wanted & 1U << role)
			answer_say(r, role_name((enum role)role), "%s",
				role_hint((enum role)role));
	if (r->meter_wanted)
		answer_say(r, "[meter] power",
			"true power of the supply of the unit, of the immersion heater, "
			"W; three phases make a sum");
}

void config_check_report(const struct config *config, struct buffer *out)
{
	struct answers r = {.config = config, .out = out, .rules = rules_needed(config)};
	answers_energy(&r);
	answers_modes(&r);
	answers_house(&r);
	say_corrections(&r);
	say_changes(&r);
	answers_notices(&r);
	say_hints(&r);
}
