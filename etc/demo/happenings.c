/*
 * See happenings.h. The plant is followed from its origin, so that what was going on at
 * `from_s` is known to have begun before.
 */
#include "happenings.h"

#define J_PER_KWH 3.6e6

enum kind { RUN, DEFROST, HOT_WATER, IMMERSION, FREEZE_PROTECTION, KINDS };

struct happening {
	bool on;
	int64_t from_s, hot_water_s, defrost_s;
	double heat_j, unit_j, immersion_j;
};

static bool goes_on(enum kind kind, const struct plant_step *s)
{
	switch (kind) {
	case RUN:
		return s->compressor_on;
	case DEFROST:
		return s->defrost;
	case HOT_WATER:
		return s->compressor_on && s->service == SERVICE_TAP;
	case IMMERSION:
		return s->immersion_w > 0.0;
	case FREEZE_PROTECTION:
		return s->mode == PLANT_FREEZE_PROTECTION;
	case KINDS:
		break;
	}
	return false;
}

static void add(struct happening *h, const struct plant_step *s)
{
	if (!h->on)
		*h = (struct happening){.on = true, .from_s = s->t_s};
	h->hot_water_s += s->mode == PLANT_HOT_WATER ? PLANT_STEP_S : 0;
	h->defrost_s += s->mode == PLANT_DEFROST ? PLANT_STEP_S : 0;
	h->heat_j += s->heat_w * PLANT_STEP_S;
	h->unit_j += (s->compressor_w + s->pump_w) * PLANT_STEP_S;
	h->immersion_j += s->immersion_w * PLANT_STEP_S;
}

static void line(enum kind kind, const struct happening *h, int64_t end_s, FILE *out)
{
	static const char *const names[KINDS] = {
		"run", "defrost", "hot_water", "immersion", "freeze_protection"};
	(void)fprintf(out, "%s,%lld,%lld,%lld,%lld,%.6f,%.6f,%.6f\n", names[kind],
		(long long)h->from_s, (long long)end_s, (long long)h->hot_water_s,
		(long long)h->defrost_s, h->heat_j / J_PER_KWH + 0.0,
		h->unit_j / J_PER_KWH, h->immersion_j / J_PER_KWH);
}

void happenings_list(
	const struct plant_settings *settings, int64_t from_s, int64_t to_s, FILE *out)
{
	struct happening all[KINDS] = {0};
	struct plant plant;
	bool open = false;
	plant_init(&plant, settings);
	(void)fprintf(out, "kind,from_epoch_s,to_epoch_s,hot_water_s,defrost_s,heat_kwh,"
			   "unit_kwh,immersion_kwh\n");
	while (plant.t_s < to_s || open) {
		const struct plant_step *s = plant_advance(&plant);
		open = false;
		for (int i = 0; i < KINDS; i++) {
			struct happening *h = &all[i];
			if (goes_on((enum kind)i, s)) {
				add(h, s);
				open |= h->from_s < to_s;
				continue;
			}
			if (h->on && h->from_s >= from_s && h->from_s < to_s)
				line((enum kind)i, h, s->t_s, out);
			h->on = false;
		}
	}
}
