/*
 * Units of numbers. See view.h.
 *
 * First what the payload says, then what the key says ("power_kw"), then, once words tell
 * the dimension, what the range makes likely. Ranges are those of small heating plants
 * (common practice of the trade): 15 to 75 °C in the water, 5 to 60 L/min, 0.5 to 3 bar
 * of gauge pressure, up to 20 kW.
 *
 * Fahrenheit is a habit of a whole house: rooms of 60 to 85 and flows above 85 speak for
 * it, rooms of 10 to 35 against it, and what the payloads say counts double.
 */
#include "view.h"

#include <math.h>
#include <string.h>

static const struct {
	uint64_t concepts;
	enum dimension dimension;
} by_word[] = {
	{BIT(C_HUMIDITY) | BIT(C_PERCENT), DIMENSION_RATIO},
	{BIT(C_ENERGY), DIMENSION_ENERGY},
	{BIT(C_POWER), DIMENSION_POWER},
	{BIT(C_FREQUENCY), DIMENSION_FREQUENCY},
	{BIT(C_RATE), DIMENSION_FLOW},
	{BIT(C_PRESSURE), DIMENSION_PRESSURE},
	{BIT(C_VOLTAGE), DIMENSION_VOLTAGE},
	{BIT(C_CURRENT), DIMENSION_CURRENT},
	{BIT(C_TEMPERATURE), DIMENSION_TEMPERATURE},
};

/* ---- in the key ---- */

/* Spellings of keys, which hold no slash. */
static const struct {
	const char *key, *unit;
} key_units[] = {
	{"l_min", "L/min"},
	{"lmin", "L/min"},
	{"l_h", "L/h"},
	{"m3_h", "m3/h"},
	{"m3h", "m3/h"},
	{"kg_s", "kg/s"},
	{"degc", "degC"},
	{"degf", "degF"},
	{"c", "degC"},
	{"f", "degF"},
	{"w", "W"},
};

static const struct unit *unit_of_words(const char *words)
{
	for (size_t i = 0; i < ARRAY_LEN(key_units); i++)
		if (strcmp(words, key_units[i].key) == 0)
			return unit_find(key_units[i].unit, strlen(key_units[i].unit));
	/* Single letters mean many things, "in" and the like are no units. */
	return strlen(words) > 1 ? unit_find(words, strlen(words)) : NULL;
}

/* The unit with which the last level ends: one word or two. */
static const struct unit *unit_in_key(const struct view *v)
{
	const char *level = strrchr(v->trail.text, '/');
	level = level ? level + 1 : v->trail.text;
	const char *last = strrchr(level, '_');
	const char *words = last ? last + 1 : level;
	bool letter = strlen(words) == 1;
	const struct unit *unit = letter && !last ? NULL : unit_of_words(words);
	if (last && !unit)
		while (last > level && last[-1] != '_')
			last--;
	if (last && !unit)
		unit = unit_of_words(last);
	if (!unit || unit->dimension == DIMENSION_NUMBER)
		return NULL;
	return unit;
}

/* ---- by range ---- */

static const struct unit *named(const char *name)
{
	return unit_find(name, strlen(name));
}

static bool has_fraction(const struct place *p)
{
	return (p->step > 0 && p->step < 0.999) || p->last != floor(p->last);
}

static const struct unit *flow_unit(double most, bool fahrenheit)
{
	if (most >= 150)
		return named("L/h");
	if (most > 0 && most < 5 && !fahrenheit)
		return most < 0.9 ? named("L/s") : named("m3/h");
	return fahrenheit && most <= 30 ? named("gpm") : named("L/min");
}

static const struct unit *pressure_unit(double most)
{
	if (most > 20000)
		return named("Pa");
	if (most > 500)
		return named("mbar");
	if (most > 65)
		return named("kPa");
	return most > 5 ? named("psi") : named("bar");
}

const struct unit *unit_by_range(
	const struct view *v, enum dimension dimension, bool fahrenheit)
{
	double most = v->place->most;
	if (dimension == DIMENSION_TEMPERATURE && fahrenheit)
		return named("degF");
	if (dimension == DIMENSION_FLOW)
		return flow_unit(most, fahrenheit);
	if (dimension == DIMENSION_PRESSURE)
		return pressure_unit(most);
	if (dimension == DIMENSION_POWER && most > 0 && most < 25 &&
		has_fraction(v->place))
		return named("kW");
	if (dimension == DIMENSION_ENERGY && most >= 200000 && !has_fraction(v->place))
		return named("Wh");
	if (dimension == DIMENSION_FREQUENCY && most > 200)
		return named("rpm");
	if (dimension == DIMENSION_RATIO && most > 0 && most <= 1 &&
		has_fraction(v->place))
		return named("/");
	return unit_own(dimension);
}

/* ---- the house's habit ---- */

static int vote(const struct view *v)
{
	uint64_t all = v->trail.near | v->trail.far;
	double least = v->place->least, most = v->place->most;
	if (!v->number)
		return 0;
	if (v->unit && v->unit->dimension == DIMENSION_TEMPERATURE)
		return v->unit == named("degF") ? 2 : -2;
	if (v->unit ||
		all & (BIT(C_HUMIDITY) | BIT(C_PERCENT) | BIT(C_POWER) | BIT(C_ENERGY) |
			      BIT(C_PRESSURE) | BIT(C_RATE) | BIT(C_VOLTAGE) |
			      BIT(C_FREQUENCY) | BIT(C_REFRIGERANT)))
		return 0;
	if (all & (BIT(C_ROOM) | BIT(C_LIVING)))
		return least >= 55 && most <= 90 ? 1 : least >= 8 && most <= 36 ? -1 : 0;
	if (all & (BIT(C_FLOW) | BIT(C_RETURN) | BIT(C_CYLINDER)) &&
		v->trail.near & BIT(C_TEMPERATURE))
		return most > 85 && most < 200 ? 1 : most < 60 && least < 45 ? -1 : 0;
	return 0;
}

void views_units(struct views *views)
{
	int votes = 0;
	for (size_t i = 0; i < views->count; i++) {
		struct view *v = &views->items[i];
		if (!v->number)
			continue;
		v->unit = v->place->unit;
		v->origin = v->unit ? UNIT_HEARD : UNIT_NONE;
		if (!v->unit && (v->unit = unit_in_key(v)))
			v->origin = UNIT_IN_KEY;
		if (v->unit)
			v->dimension = v->unit->dimension;
		/* A difference in K of what words call a temperature is its own thing. */
		for (size_t k = 0; !v->unit && k < ARRAY_LEN(by_word) &&
				   v->dimension == DIMENSION_COUNT;
			k++)
			if (v->trail.near & by_word[k].concepts)
				v->dimension = by_word[k].dimension;
		votes += vote(v);
	}
	views->guesses->fahrenheit = votes > 0;
}
