/*
 * A day of one outdoor and one flow temperature, with the parts that its minutes have in
 * modes, for tests that change some of it.
 */
#ifndef EVEN_DAY_H
#define EVEN_DAY_H

#include "healthy_day.h"

/* Parts of minutes as a store has them: each minute of one mode, all of it known. */
static inline void part(struct sample *s)
{
	static const enum mode modes[DAY_WORKS] = {
		MODE_HEATING, MODE_HOT_WATER, MODE_DEFROST};
	book(s);
	for (int work = 0; work < DAY_WORKS; work++)
		for (int i = 0; i < DAY; i++) {
			const struct day_booked *b = &s->day.booked[i];
			struct day_part *p = &day_parts(&s->day, (enum day_work)work)[i];
			*p = (struct day_part){0};
			if (b->mode != (int)modes[work])
				continue;
			*p = (struct day_part){.heat_j = b->heat_j,
				.sensitivity_j_per_k = 4170.0 * of(s, RATE)[i],
				.ms = 60000,
				.heat_known = b->heat_ms == 60000,
				.meters_known = 3};
			for (size_t m = 0; m < 2; m++) {
				double j = day_meter_j(&s->day, m)[i];
				if (isnan(j))
					p->meters_known &= ~(1u << m);
				day_part_meter_j(&s->day, (enum day_work)work, m)[i] =
					isnan(j) ? 0.0 : j;
			}
		}
	evidence_release(&s->list);
	evidence_of(&s->day, NULL, &s->list);
}

/* A day of one outdoor and one flow temperature. */
static inline struct sample *even(double outdoor_c, double flow_c)
{
	struct sample *s = healthy();
	set(s, OUTDOOR, 0, DAY, outdoor_c);
	set(s, FLOW, 0, DAY, flow_c);
	set(s, RETURN, 0, DAY, flow_c - 5.0);
	set(s, VALVE, 0, DAY, 0.0);
	set(s, RATE, 0, DAY, 17.5);
	set(s, L1, 0, DAY, 800.0);
	set(s, L2, 0, DAY, 700.0);
	set(s, HZ, 0, DAY, 45.0);
	return s;
}

#endif
