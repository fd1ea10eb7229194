/*
 * A house made by hand that is listened to for an hour, for tests of what is guessed.
 */
#ifndef GUESS_HOUSE_H
#define GUESS_HOUSE_H

#include "heard.h"

#include <heatbook/decoder.h>
#include <heatbook/reading.h>

/* An hour of a plant that runs and rests, a step every 20 s. */
struct state {
	int64_t t_ms;
	double flow, back, rate, hz, watt, kwh, outdoor, room, tank, target;
	bool tap, defrost;
};

typedef void speak(struct heard *h, const struct state *s, int i);

static inline void an_hour(struct heard *h, speak *says)
{
	double kwh = 1234.5;
	for (int i = 0; i < 180; i++) {
		bool runs = i % 60 < 40, tap = i >= 120;
		struct state s = {.t_ms = NOON_MS + i * 20000,
			.rate = runs ? 17.4 + i % 3 * 0.1 : 0,
			.hz = runs ? 45 + i % 7 : 0,
			.watt = runs ? 1100 + i % 50 : 14,
			.outdoor = 4.2 - i * 0.01,
			.room = 20.8 + i % 3 * 0.1,
			.tank = tap ? 42 + i * 0.02 : 44 - i * 0.01,
			.target = 34.5 + i % 2 * 0.1,
			.tap = tap,
			.defrost = i > 50 && i < 60};
		s.back = runs ? 29.5 + i % 5 * 0.2 : 27.0;
		s.flow = s.back + (runs ? 5.2 : 0.1);
		s.kwh = kwh += s.watt * 20 / 3.6e6;
		says(h, &s, i);
	}
}

struct wanted {
	enum role role;
	const char *topic, *pointer, *unit; /* unit NULL for states */
};

/* Proposes, checks, compares roles; the config for more questions, the caller's. */
static inline struct config *hears(
	struct heard *h, const struct wanted *wanted, size_t count)
{
	struct config *made = heard_propose(h, bare_config);
	for (size_t i = 0; i < count; i++) {
		int c = config_role(made, wanted[i].role);
		ck_assert_msg(c >= 0, "no %s in\n%s", role_name(wanted[i].role),
			buffer_text(&h->proposal));
		const struct channel_config *channel = &made->channels[c];
		ck_assert_str_eq(channel->topic, wanted[i].topic);
		const char *where = channel->senml     ? channel->senml
				    : channel->pointer ? channel->pointer
						       : "";
		ck_assert_str_eq(where, wanted[i].pointer);
		if (wanted[i].unit)
			ck_assert_str_eq(channel->unit->symbol, wanted[i].unit);
	}
	return made;
}
#define HEARS(h, wanted) hears(h, wanted, ARRAY_LEN(wanted))

static inline void speak_flat(struct heard *h, const struct state *s, int i)
{
	hear(h, s->t_ms, "hp/flow_temp", "%.1f", s->flow);
	hear(h, s->t_ms, "hp/return_temp", "%.1f", s->back);
	hear(h, s->t_ms, "hp/flow_rate", "%.1f", s->rate);
	hear(h, s->t_ms, "hp/compressor_frequency", "%.0f", s->hz);
	hear(h, s->t_ms, "hp/power", "%.0f", s->watt);
	hear(h, s->t_ms, "hp/energy", "%.3f", s->kwh);
	if (i % 6 == 0) {
		hear(h, s->t_ms, "outside/temperature", "%.1f", s->outdoor);
		hear(h, s->t_ms, "lounge/temperature", "%.1f", s->room);
		hear(h, s->t_ms, "hp/tank_temp", "%.1f", s->tank);
	}
	if (i % 60 == 0)
		hear(h, s->t_ms, "hp/mode", "%s", s->tap ? "dhw" : "heating");
}

#endif
