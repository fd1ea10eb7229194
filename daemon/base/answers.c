/*
 * See answers.h: lines of the check's report, and which roles they lack.
 */
#include "answers.h"

#include <string.h>

void PRINTF_LIKE(3, 4)
	answer_say(struct answers *r, const char *question, const char *format, ...)
{
	va_list args;
	va_start(args, format);
	_cleanup_(freep) char *answer = NULL;
	if (vasprintf(&answer, format, args) < 0)
		abort(); /* out of memory or a wrong format of our own */
	va_end(args);
	buffer_addf(r->out, "%-29s %s\n", question, answer);
}

bool answer_has(const struct answers *r, enum role role)
{
	return config_role(r->config, role) >= 0;
}

void answer_want(struct answers *r, enum role role)
{
	if (!answer_has(r, role))
		r->wanted |= 1U << role;
}

/* Roles that are lacking of a list, as "a, b and c"; empty when none is. */
static const char *lacking(const struct answers *r, const enum role *roles, size_t count,
	struct buffer *into)
{
	size_t lack = 0, told = 0;
	buffer_reset(into);
	for (size_t i = 0; i < count; i++)
		lack += !answer_has(r, roles[i]);
	for (size_t i = 0; i < count; i++) {
		if (answer_has(r, roles[i]))
			continue;
		told++;
		buffer_addf(into, "%s%s",
			told == 1      ? ""
			: told == lack ? " and "
				       : ", ",
			role_name(roles[i]));
	}
	return buffer_text(into);
}

static const char *needs_channel(const char *names)
{
	return strstr(names, " and ") ? "needs the channels" : "needs a channel";
}

void answer_needs(
	struct answers *r, const enum role *roles, size_t count, struct buffer *into)
{
	struct buffer b = {0};
	const char *names = lacking(r, roles, count, &b);
	for (size_t i = 0; i < count; i++)
		answer_want(r, roles[i]);
	if (*names)
		buffer_addf(into, "%s %s", needs_channel(names), names);
	buffer_release(&b);
}

void answer_roles(struct answers *r, const char *question, const char *answered,
	const enum role *roles, size_t count)
{
	struct buffer b = {0};
	answer_needs(r, roles, count, &b);
	if (b.length)
		answer_say(r, question, "%s", buffer_text(&b));
	else
		answer_say(r, question, "answered, %s", answered);
	buffer_release(&b);
}

bool answer_heat_known(const struct answers *r)
{
	if (r->config->plant.heat_source == HEAT_POWER)
		return answer_has(r, ROLE_HEAT_POWER);
	if (r->config->plant.heat_source == HEAT_REGISTER)
		return answer_has(r, ROLE_HEAT_REGISTER);
	return answer_has(r, ROLE_FLOW_TEMPERATURE) &&
	       answer_has(r, ROLE_RETURN_TEMPERATURE) &&
	       (answer_has(r, ROLE_FLOW_RATE) || r->config->plant.assumed_flow_lpm > 0);
}

bool answer_is_metered(const struct meter_config *meter)
{
	return meter->power_count > 0 || meter->counted.counts;
}
