/*
 * The fluid, and what of the figures is estimated. See basis.h.
 */
#include "basis.h"

#include <heatbook/estimate.h>
#include <heatbook/figures.h>

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
	struct estimate list[ESTIMATES_MOST], apart;
	size_t count = estimates_of(config, boundary, list);
	json_array(json, "estimated");
	for (size_t i = 0; i < count; i++)
		write_estimate(json, config, &list[i], total);
	if (total && estimate_apart(config, boundary, total, &apart))
		write_estimate(json, config, &apart, total);
	json_array_end(json);
}

static void write_kwh(struct json *json, const char *key, bool known, int64_t j)
{
	if (known)
		json_scaled(json, key, kwh_of(j), KWH_DECIMALS);
	else
		json_null(json, key);
}

static void write_open(struct json *json, const char *quantity, const char *meter,
	const struct energy_open *o)
{
	bool told = o->compared;
	json_object(json, NULL);
	json_text(json, "quantity", quantity);
	json_text(json, "meter", meter);
	json_seconds(json, "since", o->begin_ms);
	if (told)
		json_seconds(json, "until", o->span.last_ms);
	else
		json_null(json, "until");
	write_kwh(json, "register_kwh", told, o->span.j);
	write_kwh(json, "power_kwh", told, o->span.power_j);
	write_kwh(json, "step_kwh", true, o->step_j);
	write_kwh(json, "beyond_kwh", told, o->beyond_j);
	json_object_end(json);
}

void json_provisional(struct json *json, const struct config *config,
	const struct energy_answer *answer)
{
	json_array(json, "provisional");
	for (size_t q = 0; q < COUNTED_MOST; q++) {
		const struct energy_open *open = &answer->open[q];
		bool heat = q == COUNTED_HEAT;
		if (open->open && open->begin_ms < answer->total.t_end_ms)
			write_open(json, heat ? "heat" : "electricity",
				heat ? NULL : config->meters[q].name, open);
	}
	json_array_end(json);
}
