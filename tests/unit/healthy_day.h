/*
 * A healthy winter day of a house, its minutes made by hand, for tests that spoil it.
 */
#ifndef HEALTHY_DAY_H
#define HEALTHY_DAY_H

#include "made_minutes.h"

enum { FLOW, RETURN, RATE, PRESSURE, OUTDOOR, HZ, VALVE, DEFROST, L1, L2, HEATER };

static const char house[] =
	"[plant]\nzone = Europe/Berlin\n"
	"[channel flow_temperature]\ntopic = a/1\n[channel return_temperature]\ntopic = "
	"a/2\n"
	"[channel flow_rate]\ntopic = a/3\n[channel water_pressure]\ntopic = a/4\n"
	"[channel outdoor_temperature]\ntopic = a/5\n"
	"[channel compressor_frequency]\ntopic = a/6\n"
	"[channel valve]\ntopic = a/7\nmap = 0:heating, 1:hot_water\n"
	"[channel defrost]\ntopic = a/8\nmap = 0:off, 1:on\n"
	"[channel phase_1]\ntopic = b/1\nunit = W\n[channel phase_2]\ntopic = b/2\nunit "
	"= W\n"
	"[channel heater]\ntopic = b/3\nunit = W\n"
	"[meter unit]\nfeeds = compressor, circulation\npower = phase_1 + phase_2\n"
	"[meter heater]\nfeeds = immersion\npower = heater\n";

/* Booked as the channels say: 420 J a kelvin and minute a L/min, power by the phases. */
static inline void book(struct sample *s)
{
	for (int i = 0; i < DAY; i++) {
		struct day_booked *b = &s->day.booked[i];
		double dt = of(s, FLOW)[i] - of(s, RETURN)[i], rate = of(s, RATE)[i];
		double w = of(s, L1)[i] + of(s, L2)[i], heater_w = of(s, HEATER)[i];
		bool heat = !isnan(dt * rate);
		*b = (struct day_booked){.heat_j = heat ? 4170.0 * dt * rate : 0.0,
			.heat_ms = heat ? 60000 : 0,
			.mode = of(s, DEFROST)[i] == 1.0 ? MODE_DEFROST
				: of(s, HZ)[i] > 0.0
					? (of(s, VALVE)[i] == 1.0 ? MODE_HOT_WATER
								  : MODE_HEATING)
					: MODE_STANDBY,
			.mode_ms = 60000};
		meter(s, 0, i, w);
		meter(s, 1, i, heater_w);
	}
}

/* A healthy winter day: an hour of running, twenty minutes of rest with the pump on for
 * the last twelve of them, over and over; hot water from 13 h to 13:40. Values move like
 * measured ones, on a grid of 0.01. */
static inline struct sample *healthy_of(const char *text)
{
	struct sample *s = sample_new(text);
	for (int i = 0; i < DAY; i++) {
		int phase = i % 80;
		bool tap = i >= 780 && i < 820, on = phase < 60 || tap;
		double wave = sin(i * 0.37);
		double back = 28.0 + 0.02 * phase + 0.11 * wave + 3.0 * tap;
		of(s, HZ)[i] = on ? 45.0 + 2.0 * wave : 0.0;
		of(s, RATE)[i] = !on && phase < 68 ? 0.0 : tap ? 19.0 : 17.5;
		of(s, RETURN)[i] = round(back * 100.0) / 100.0;
		of(s, FLOW)[i] =
			on ? of(s, RETURN)[i] + round((5.0 + 0.3 * wave) * 100.0) / 100.0
			   : of(s, RETURN)[i];
		of(s, OUTDOOR)[i] =
			round((2.0 - 3.0 * cos(i * M_PI / 720.0) + 0.05 * wave) * 100.0) /
			100.0;
		of(s, PRESSURE)[i] = 1.5;
		of(s, VALVE)[i] = tap;
		of(s, DEFROST)[i] = 0.0;
		of(s, L1)[i] = on ? 800.0 + 40.0 * wave : 6.0;
		of(s, L2)[i] = on ? 700.0 + 40.0 * wave : 6.0;
		of(s, HEATER)[i] = 0.0;
	}
	return s;
}

static inline struct sample *healthy(void)
{
	return healthy_of(house);
}

static inline void look(struct sample *s)
{
	book(s);
	evidence_of(&s->day, NULL, &s->list);
}

#endif
