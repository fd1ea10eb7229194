/*
 * What registers say of heat and of each meter's electricity: told in spans that close
 * when readings come (register.c); whoever keeps the minutes books those.
 */
#include "accountant.h"

#include <heatbook/engine.h>

#include <math.h>

/* The registers together; false while one of them is unknown. */
static bool register_sum(
	const struct counted *counted, const struct held *held, int64_t *ret_j)
{
	int64_t sum = 0;
	for (size_t i = 0; i < counted->register_count; i++) {
		const struct held *h = &held[counted->registers[i]];
		if (!h->known)
			return false;
		sum += llround(h->value * J_PER_KWH);
	}
	*ret_j = sum;
	return true;
}

static bool counts_by(const struct counted *counted, size_t channel)
{
	bool found = false;
	for (size_t i = 0; counted && i < counted->register_count; i++)
		found = found || counted->registers[i] == (int)channel;
	return found;
}

struct of_counted {
	struct accountant *a;
	size_t quantity;
};

static void tell(const struct settlement *settlement, void *context)
{
	const struct of_counted *of = context;
	struct settlement told = *settlement;
	told.quantity = (int64_t)of->quantity;
	if (of->a->settled)
		of->a->settled(&told, of->a->settled_context);
}

static void tell_event(const struct event *event, void *context)
{
	const struct of_counted *of = context;
	bool is_meter = of->quantity != COUNTED_HEAT;
	int heat = of->a->role[ROLE_HEAT_REGISTER];
	struct event told = *event;
	told.subject = (uint16_t)(is_meter ? of->quantity : (size_t)heat);
	told.is_meter = is_meter;
	if (of->a->happened)
		of->a->happened(&told, of->a->happened_context);
}

void accountant_register(
	struct accountant *a, const struct held *held, size_t channel, int64_t t_ms)
{
	for (size_t q = 0; q < COUNTED_MOST; q++) {
		struct of_counted of = {a, q};
		const struct register_sinks sinks = {tell, tell_event, &of};
		int64_t j;
		if (!counts_by(a->counted[q], channel))
			continue;
		if (register_sum(a->counted[q], held, &j))
			(void)register_report(&a->registers[q], t_ms, j, &sinks);
		else if (!held[channel].known)
			register_lapse(&a->registers[q], t_ms);
	}
}

static bool adds_by(const struct counted *counted, size_t channel)
{
	return counts_by(counted, channel) &&
	       counted->counting.kind == REGISTER_INCREMENT;
}

void accountant_part_begins(struct accountant *a, size_t channel, int64_t t_ms)
{
	for (size_t q = 0; q < COUNTED_MOST; q++) {
		struct of_counted of = {a, q};
		const struct register_sinks sinks = {tell, tell_event, &of};
		if (adds_by(a->counted[q], channel))
			register_part_begins(&a->registers[q], t_ms, &sinks);
	}
}

void accountant_part_ends(struct accountant *a, const struct held *held, size_t channel,
	const struct register_part *part)
{
	int64_t j = llround(held[channel].value * J_PER_KWH);
	for (size_t q = 0; q < COUNTED_MOST; q++) {
		struct of_counted of = {a, q};
		const struct register_sinks sinks = {tell, tell_event, &of};
		if (adds_by(a->counted[q], channel))
			(void)register_part_ends(&a->registers[q], part, j, &sinks);
	}
}

size_t accountant_open_spans(
	const struct accountant *a, struct open_span ret[static COUNTED_MOST])
{
	size_t count = 0;
	for (size_t q = 0; q < COUNTED_MOST; q++) {
		const struct register_state *s = &a->registers[q].state;
		if (!a->counted[q] || !s->begun)
			continue;
		ret[count++] = (struct open_span){.quantity = (int64_t)q,
			.begin_ms = s->begin.t_ms,
			.last_ms = s->last.t_ms,
			.j = s->last.total_j - s->begin.total_j,
			.power_j = whole_joules(s->begin.since_j - s->last.since_j),
			.power_ms = s->begin.since_ms - s->last.since_ms};
	}
	return count;
}
