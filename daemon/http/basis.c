/*
 * The fluid, and what of the figures is estimated. See basis.h.
 */
#include "basis.h"

#include <heatbook/estimate.h>

#define BESIDE_DECIMALS 3

void json_older_days(struct json *json, const struct older_days *older)
{
	json_integer(json, "older_mapping_days", older->count);
	json_integer(json, "older_mapping_days_sealed", older->sealed);
}

void json_fluid(struct json *json, const struct plant_config *plant)
{
	json_object(json, "fluid");
	json_text(json, "name", fluid_name(plant->fluid));
	json_number(json, "volume_percent", plant->fluid_percent, 1);
	json_object_end(json);
}

static void write_beside(
	struct json *json, const struct config *config, const struct apparent_beside *b)
{
	json_object(json, "beside");
	json_array(json, "meters");
	for (size_t i = 0; i < config->meter_count; i++)
		if (b->beside & 1u << i)
			json_text(json, NULL, config->meters[i].name);
	json_array_end(json);
	json_number(json, "ratio", b->ratio, BESIDE_DECIMALS);
	json_number(json, "ratio_running", b->ratio_running, BESIDE_DECIMALS);
	json_number(json, "ratio_standby", b->ratio_standby, BESIDE_DECIMALS);
	json_object_end(json);
}

static void write_estimate(struct json *json, const struct config *config,
	const struct estimate *e, const struct energy_bucket *total)
{
	struct apparent_beside beside;
	json_object(json, NULL);
	json_text(json, "quantity", estimate_quantity(e));
	json_text(json, "meter", e->meter < 0 ? NULL : config->meters[e->meter].name);
	json_bool(json, "counted", e->counted);
	json_number(json, "limit_percent", e->limit_percent, 1);
	json_text(json, "why", e->why);
	if (total && e->kind == ESTIMATE_APPARENT &&
		apparent_compare(config, total, (size_t)e->meter, &beside))
		write_beside(json, config, &beside);
	json_object_end(json);
}

void json_estimates(struct json *json, const struct config *config,
	const struct boundary *boundary, const struct energy_bucket *total)
{
	struct estimate list[ESTIMATES_MOST];
	size_t count = estimates_of(config, boundary, list);
	json_array(json, "estimated");
	for (size_t i = 0; i < count; i++)
		write_estimate(json, config, &list[i], total);
	json_array_end(json);
}
