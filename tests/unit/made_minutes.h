/*
 * A day's minutes made by hand, for tests of what they are evidence of. A test fills in
 * what channels were and what was booked.
 */
#ifndef MADE_MINUTES_H
#define MADE_MINUTES_H

#include "configured.h"

#include <heatbook/evidence.h>

#include <math.h>

#define DAY 1440

struct sample {
	struct config *config;
	struct day_minutes day;
	struct evidence_list list;
};

/* The day that begins at START, all of it unknown. */
static inline struct sample *sample_new(const char *text)
{
	struct sample *s = xcalloc(1, sizeof(*s));
	s->config = configured(text);
	day_minutes_init(&s->day, s->config, START, START + DAY);
	return s;
}

static inline void sample_free(struct sample *s)
{
	evidence_release(&s->list);
	day_minutes_release(&s->day);
	config_free(s->config);
	free(s);
}

/* A channel's minutes. */
static inline double *of(struct sample *s, int channel)
{
	return s->day.values + channel * DAY;
}

static inline void set(struct sample *s, int channel, int from, int to, double value)
{
	for (int i = from; i < to; i++)
		of(s, channel)[i] = value;
}

/* A meter's minutes by power, unknown where that is. */
static inline void meter(struct sample *s, size_t m, int i, double watts)
{
	s->day.meter_j[m * DAY + (size_t)i] = watts * 60.0;
	s->day.meter_ms[m * DAY + (size_t)i] = isnan(watts) ? 0 : 60000;
}

/* Booked as a frequency says, 6 kW while it runs; the first meter's power is a channel.
 */
static inline void book_by(struct sample *s, int frequency, int power)
{
	for (int i = 0; i < DAY; i++) {
		bool on = of(s, frequency)[i] > 0.0;
		s->day.booked[i] = (struct day_booked){.heat_j = on ? 360000.0 : 0.0,
			.heat_ms = 60000,
			.mode = on ? MODE_HEATING : MODE_STANDBY,
			.mode_ms = 60000};
		meter(s, 0, i, of(s, power)[i]);
	}
}

/* The first of that kind, and of that subject unless it is below 0. */
static inline const struct evidence *find(
	const struct sample *s, enum evidence_kind kind, int subject)
{
	for (size_t i = 0; i < s->list.count; i++)
		if (s->list.items[i].kind == kind &&
			(subject < 0 || s->list.items[i].subject == subject))
			return &s->list.items[i];
	return NULL;
}

#endif
