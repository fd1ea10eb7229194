/*
 * The observer's rules. Each published value holds from its stamp until the next of the
 * same channel (a fault-free plant never exceeds a channel's limit). Heat flow is rate /
 * 60000 / v(return) · (h(flow) − h(return)), water at 2 bar absolute, formed when an
 * input changes and held; without flow it is zero. Electricity is the sum of the three
 * phases.
 *
 * Mode: defrost on → defrost; compressor turning → the published service; else with flow
 * within ten minutes after the stop as published → overrun; else with flow, outdoors
 * below 5 °C and return below 15 °C → freeze protection; else standby. A stop before the
 * first message is not known of. The immersion's joules are always hot water.
 *
 * Nothing is written before every input has been heard and a whole minute begins.
 */
#include "observer.h"

#include "water97.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define MINUTE_MS        INT64_C(60000)
#define OVERRUN_MS       INT64_C(600000)
#define PRESSURE_BAR     2.0
#define FREEZE_OUTDOOR_C 5.0
#define FREEZE_RETURN_C  15.0

static int64_t minute_start(int64_t t_ms)
{
	return t_ms / MINUTE_MS * MINUTE_MS;
}

static enum plant_mode mode_now(const struct observer *o)
{
	const double *v = o->value;
	if (v[OBSERVED_DEFROST] > 0.0)
		return PLANT_DEFROST;
	if (v[OBSERVED_FREQUENCY_HZ] > 0.0)
		return v[OBSERVED_SERVICE] > 0.0 ? PLANT_HOT_WATER : PLANT_HEATING;
	if (!(v[OBSERVED_RATE_LPM] > 0.0))
		return PLANT_STANDBY;
	if (o->t_ms < o->overrun_to_ms)
		return PLANT_OVERRUN;
	if (v[OBSERVED_OUTDOOR_C] < FREEZE_OUTDOOR_C &&
		v[OBSERVED_RETURN_C] < FREEZE_RETURN_C)
		return PLANT_FREEZE_PROTECTION;
	return PLANT_STANDBY;
}

static void write_minute(struct observer *o, int64_t minute_ms)
{
	for (int mode = 0; mode < PLANT_MODES; mode++) {
		const struct observed_account *a = &o->account[mode];
		if (a->ms > 0 || a->immersion_j > 0.0)
			(void)fprintf(o->out, "%lld,%s,%lld,%.3f,%.3f,%.3f\n",
				(long long)(minute_ms / 1000),
				plant_mode_name((enum plant_mode)mode), (long long)a->ms,
				a->heat_j + 0.0, a->unit_j, a->immersion_j);
	}
}

/* The piece [o->t_ms, to_ms), in which nothing changes. */
static void book(struct observer *o, int64_t to_ms)
{
	const double *v = o->value;
	double s = (double)(to_ms - o->t_ms) / 1000.0;
	struct observed_account *a = &o->account[mode_now(o)];
	a->ms += to_ms - o->t_ms;
	a->heat_j += o->heat_w * s;
	a->unit_j += (v[OBSERVED_L1_W] + v[OBSERVED_L2_W] + v[OBSERVED_L3_W]) * s;
	o->account[PLANT_HOT_WATER].immersion_j += v[OBSERVED_IMMERSION_W] * s;
}

static void go_on(struct observer *o, int64_t to_ms)
{
	while (o->t_ms < to_ms) {
		int64_t minute_ms = minute_start(o->t_ms);
		int64_t end_ms = minute_ms + MINUTE_MS;
		if (end_ms > to_ms)
			end_ms = to_ms;
		if (o->t_ms < o->overrun_to_ms && end_ms > o->overrun_to_ms)
			end_ms = o->overrun_to_ms;
		if (o->t_ms >= o->first_ms)
			book(o, end_ms);
		o->t_ms = end_ms;
		if (end_ms != minute_ms + MINUTE_MS)
			continue;
		write_minute(o, minute_ms);
		memset(o->account, 0, sizeof(o->account));
	}
}

/* The number after a key of a JSON object that is known to hold it. */
static double member(const char *payload, const char *key)
{
	const char *at = strstr(payload, key);
	return at ? strtod(at + strlen(key), NULL) : (double)NAN;
}

static void take_compressor(struct observer *o, double hz)
{
	if (o->value[OBSERVED_FREQUENCY_HZ] > 0.0 && !(hz > 0.0))
		o->overrun_to_ms = o->t_ms + OVERRUN_MS;
	o->value[OBSERVED_FREQUENCY_HZ] = hz;
}

static void take_water(struct observer *o, const char *payload)
{
	double flow_c = member(payload, "\"out\":"),
	       return_c = member(payload, "\"back\":");
	double lpm = member(payload, "\"rate\":");
	o->value[OBSERVED_FLOW_C] = flow_c;
	o->value[OBSERVED_RETURN_C] = return_c;
	o->value[OBSERVED_RATE_LPM] = lpm;
	o->heat_w = 0.0;
	if (lpm > 0.0)
		o->heat_w = lpm / 60000.0 / water97_volume(return_c, PRESSURE_BAR) *
			    (water97_enthalpy(flow_c, PRESSURE_BAR) -
				    water97_enthalpy(return_c, PRESSURE_BAR));
}

static void take_value(struct observer *o, const struct message *m)
{
	static const struct {
		const char *topic;
		enum observed observed;
	} bare[] = {{"house/meter/unit/l1", OBSERVED_L1_W},
		{"house/meter/unit/l2", OBSERVED_L2_W},
		{"house/meter/unit/l3", OBSERVED_L3_W},
		{"house/meter/immersion/power", OBSERVED_IMMERSION_W}};
	for (size_t i = 0; i < sizeof(bare) / sizeof(bare[0]); i++)
		if (!strcmp(m->topic, bare[i].topic))
			o->value[bare[i].observed] = strtod(m->payload, NULL);
	if (!strcmp(m->topic, "plant/hydraulics"))
		take_water(o, m->payload);
	else if (!strcmp(m->topic, "plant/refrigerant"))
		take_compressor(o, member(m->payload, "\"hz\":"));
	else if (!strcmp(m->topic, "plant/weather"))
		o->value[OBSERVED_OUTDOOR_C] = member(m->payload, "\"t\":");
	else if (!strcmp(m->topic, "plant/state/service"))
		o->value[OBSERVED_SERVICE] = !strcmp(m->payload, "tap") ? 1.0 : 0.0;
	else if (!strcmp(m->topic, "plant/state/defrost"))
		o->value[OBSERVED_DEFROST] = !strcmp(m->payload, "running") ? 1.0 : 0.0;
}

void observer_init(struct observer *observer, FILE *out, int64_t from_ms)
{
	*observer = (struct observer){.out = out,
		.t_ms = from_ms,
		.first_ms = INT64_MAX,
		.overrun_to_ms = INT64_MIN};
	for (int i = 0; i < OBSERVED_COUNT; i++)
		observer->value[i] = NAN;
	(void)fprintf(out, "minute_epoch_s,mode,ms,heat_j,unit_j,immersion_j\n");
}

void observer_take(struct observer *observer, const struct message *message)
{
	go_on(observer, message->t_ms);
	take_value(observer, message);
	if (observer->first_ms < INT64_MAX)
		return;
	for (int i = 0; i < OBSERVED_COUNT; i++)
		if (isnan(observer->value[i]))
			return;
	observer->first_ms = minute_start(message->t_ms + MINUTE_MS - 1);
}

void observer_finish(struct observer *observer, int64_t to_ms)
{
	go_on(observer, to_ms);
}
