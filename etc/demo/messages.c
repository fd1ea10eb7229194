/*
 * The publications in one table: topic, cadence, and the instant inside the cadence, odd
 * milliseconds so that nothing falls on whole seconds. The instant's place in its
 * ten-second step orders the table, so one pass gives the messages of a step in time
 * order. States are published when they change and each hour, always retained.
 *
 * Values are rounded as such a gateway would: 0.1 K, 0.1 L/min, 0.01 bar, 1 W, 0.01 kWh
 * (cut, as a register's display is), 1 Hz, 1 %.
 */
#include "messages.h"

#include <math.h>
#include <stdio.h>

enum content {
	SAY_PRESENT,
	SAY_VALVE,
	SAY_SERVICE,
	SAY_DEFROST,
	SAY_HYDRAULICS,
	SAY_REFRIGERANT,
	SAY_WEATHER,
	SAY_CONTROL,
	SAY_ROOM,
	SAY_PHASE,
	SAY_UNIT_REGISTER,
	SAY_IMMERSION,
	SAY_IMMERSION_REGISTER
};

struct publication {
	const char *topic;
	int64_t every_s;  /* multiple of the step */
	int64_t after_ms; /* of each multiple of `every_s` since 1970 */
	enum content content;
	bool state;  /* also on change, retained */
	double a, b; /* phase: share of the compressor, of the pump; room: offset, per K
			outdoors */
};

/* Ordered by after_ms modulo the step. */
static const struct publication publications[] = {
	{GATEWAY_TOPIC, 3600, 11, SAY_PRESENT, .state = true},
	{"plant/state/valve", 3600, 37, SAY_VALVE, .state = true},
	{"plant/state/service", 3600, 41, SAY_SERVICE, .state = true},
	{"plant/state/defrost", 3600, 53, SAY_DEFROST, .state = true},
	{"house/meter/unit/l1", 10, 307, SAY_PHASE, .a = 0.34, .b = 1.0},
	{"house/meter/unit/l2", 10, 311, SAY_PHASE, .a = 0.33},
	{"house/meter/unit/l3", 10, 317, SAY_PHASE, .a = 0.33},
	{"house/meter/unit/energy", 60, 20331, SAY_UNIT_REGISTER},
	{"house/meter/immersion/power", 60, 40347, SAY_IMMERSION},
	{"house/meter/immersion/energy", 60, 40359, SAY_IMMERSION_REGISTER},
	{"plant/hydraulics", 20, 1013, SAY_HYDRAULICS},
	{"plant/refrigerant", 30, 12417, SAY_REFRIGERANT},
	{"plant/control", 60, 33829, SAY_CONTROL},
	{"house/room/living", 300, 64111, SAY_ROOM, .a = 0.0},
	{"house/room/kitchen", 300, 94507, SAY_ROOM, .a = 0.3},
	{"plant/weather", 120, 55121, SAY_WEATHER},
	{"house/room/bath", 300, 125903, SAY_ROOM, .a = 1.1, .b = 0.01},
	{"house/room/bedroom", 300, 156307, SAY_ROOM, .a = -1.6, .b = 0.04},
	{"house/room/study", 300, 187703, SAY_ROOM, .a = -0.5, .b = 0.02},
};

#define PUBLICATIONS (sizeof(publications) / sizeof(publications[0]))
#define STEP_MS      (PLANT_STEP_S * INT64_C(1000))
#define J_PER_KWH    3.6e6

/* Rounded to so many decimals, without a negative zero. */
static double rounded(double x, int decimals)
{
	double scale = decimals == 2 ? 100.0 : decimals == 1 ? 10.0 : 1.0;
	return round(x * scale) / scale + 0.0;
}

static double register_kwh(double j, double w, int64_t into_ms)
{
	return floor((j + w * (double)into_ms / 1000.0) / J_PER_KWH * 100.0) / 100.0;
}

static void write_payload(const struct publication *p, const struct plant_step *s,
	int64_t into_ms, char *text, size_t size)
{
	double unit_w = s->compressor_w + s->pump_w;
	switch (p->content) {
	case SAY_PRESENT:
		(void)snprintf(text, size, GATEWAY_PRESENT);
		break;
	case SAY_VALVE:
		(void)snprintf(
			text, size, s->valve == SERVICE_TAP ? "cylinder" : "rooms");
		break;
	case SAY_SERVICE:
		(void)snprintf(text, size, s->service == SERVICE_TAP ? "tap" : "rooms");
		break;
	case SAY_DEFROST:
		(void)snprintf(text, size, s->defrost ? "running" : "no");
		break;
	case SAY_HYDRAULICS:
		(void)snprintf(text, size,
			"{\"water\":{\"out\":%.1f,\"back\":%.1f},"
			"\"loop\":{\"rate\":%.1f,\"gauge\":%.2f}}",
			rounded(s->flow_c, 1), rounded(s->return_c, 1),
			rounded(s->rate_lpm, 1), rounded(s->pressure_bar, 2));
		break;
	case SAY_REFRIGERANT:
		(void)snprintf(text, size,
			"{\"compressor\":{\"hz\":%.0f,\"demand\":%.0f}}",
			rounded(s->frequency_hz, 0), rounded(s->demand_pct, 0));
		break;
	case SAY_WEATHER:
		(void)snprintf(text, size, "{\"air\":{\"t\":%.1f,\"rh\":%.0f}}",
			rounded(s->outdoor_c, 1), rounded(s->humidity_pct, 0));
		break;
	case SAY_CONTROL:
		(void)snprintf(text, size, "{\"target\":%.1f,\"cylinder\":%.1f}",
			rounded(s->target_c, 1), rounded(s->cylinder_c, 1));
		break;
	case SAY_ROOM:
		(void)snprintf(text, size, "%.1f",
			rounded(s->room_c + p->a + p->b * (s->outdoor_c - 10.0), 1));
		break;
	case SAY_PHASE:
		(void)snprintf(text, size, "%.0f",
			rounded(p->a * s->compressor_w + p->b * s->pump_w, 0));
		break;
	case SAY_UNIT_REGISTER:
		(void)snprintf(
			text, size, "%.2f", register_kwh(s->unit_j, unit_w, into_ms));
		break;
	case SAY_IMMERSION:
		(void)snprintf(text, size, "%.0f", rounded(s->immersion_w, 0));
		break;
	case SAY_IMMERSION_REGISTER:
		(void)snprintf(text, size, "%.2f",
			register_kwh(s->immersion_j, s->immersion_w, into_ms));
		break;
	}
}

static bool changed(const struct publication *p, const struct plant_step *s)
{
	return (p->content == SAY_VALVE && s->valve_changed) ||
	       (p->content == SAY_SERVICE && s->service_changed) ||
	       (p->content == SAY_DEFROST && s->defrost_changed);
}

static bool due(const struct publication *p, const struct plant_step *s)
{
	int64_t whole_s = p->after_ms / STEP_MS * PLANT_STEP_S;
	return (s->t_s - whole_s) % p->every_s == 0 || changed(p, s);
}

static void publish(const struct publication *p, const struct plant_step *s, int64_t t_ms,
	message_sink *sink, void *context)
{
	char payload[160];
	write_payload(p, s, t_ms - s->t_s * 1000, payload, sizeof(payload));
	struct message message = {
		.t_ms = t_ms, .topic = p->topic, .payload = payload, .retain = p->state};
	sink(&message, context);
}

void messages_of_step(const struct plant_step *step, message_sink *sink, void *context)
{
	for (size_t i = 0; i < PUBLICATIONS; i++) {
		const struct publication *p = &publications[i];
		if (due(p, step))
			publish(p, step, step->t_s * 1000 + p->after_ms % STEP_MS, sink,
				context);
	}
}

void messages_of_states(
	const struct plant_step *step, int64_t t_ms, message_sink *sink, void *context)
{
	for (size_t i = 0; i < PUBLICATIONS; i++)
		if (publications[i].state)
			publish(&publications[i], step, t_ms, sink, context);
}
