/*
 * Limits of error of what heat is worked out from: stated, or by the class of the
 * instrument, or the option table's defaults.
 *
 * A limit of [plant] goes before a class of [plant], that before what the channels say.
 * Two sensors of their own make a pair whose limits add in squares: they are off
 * independently of each other. One that says nothing of itself beside one that does is
 * what both would be by default. The side that heat is taken from goes by the same
 * defaults; they are of the energy balance alone.
 */
#include "config_load.h"

#include <math.h>

#define HEAT_LEAST_K         3.0 /* of a meter that heat_class names, as in most houses */
#define SOURCE_LIMIT_PERCENT 10.0 /* of heat that a unit says of itself */

static const struct entry *find(struct loader *l, const char *key)
{
	return section_entry(document_section(&l->document, SECTION_PLANT), key);
}

/* Place of an entry's word; -1 where there is none, or a wrong one, which is told. */
static int place_of(const struct entry *e)
{
	char why[WHY_SIZE];
	int place = 0;
	return e && value_choice(e->value, e->option->words, &place, why) ? place : -1;
}

/* ---- channels ---- */

/* K of temperatures, percent of flows and of heat; DIMENSION_COUNT of any other channel.
 */
static enum dimension limit_dimension(enum role role)
{
	static const enum role kelvins[] = {ROLE_FLOW_TEMPERATURE,
		ROLE_RETURN_TEMPERATURE, ROLE_SOURCE_ENTERING_TEMPERATURE,
		ROLE_SOURCE_LEAVING_TEMPERATURE};
	static const enum role percents[] = {
		ROLE_FLOW_RATE, ROLE_SOURCE_FLOW_RATE, ROLE_SOURCE_HEAT_POWER};
	for (size_t i = 0; i < ARRAY_LEN(kelvins); i++)
		if (kelvins[i] == role)
			return DIMENSION_TEMPERATURE_DIFFERENCE;
	for (size_t i = 0; i < ARRAY_LEN(percents); i++)
		if (percents[i] == role)
			return DIMENSION_RATIO;
	return DIMENSION_COUNT;
}

static void read_class(struct loader *l, const struct section *s, const struct entry *e,
	bool flow, double *ret)
{
	int class = place_of(e);
	if (class < 0)
		return;
	if (sensor_is_flow((enum sensor_class) class) != flow)
		entry_fault(l, s, e, "is of %s; this channel measures %s",
			flow ? "temperature sensors" : "flow sensors",
			flow ? "flow" : "temperature");
	else
		*ret = flow ? sensor_limit_percent(
				      (enum sensor_class) class, INSTRUMENT_FLOW_RATIO)
			    : sensor_limit_k(
				      (enum sensor_class) class, INSTRUMENT_WATER_C);
}

static void read_limit(struct loader *l, const struct section *s, const struct entry *e,
	enum dimension dimension, double *ret)
{
	char why[WHY_SIZE];
	bool flow = dimension == DIMENSION_RATIO;
	double value, most = flow ? 50.0 : 10.0;
	/* Of the temperatures a difference, so that "0.5 °C" is half a kelvin, too. */
	bool read =
		flow ? value_quantity(e->value, dimension, NULL, &value, why)
		     : value_difference(e->value, DIMENSION_TEMPERATURE,
			       unit_own(DIMENSION_TEMPERATURE_DIFFERENCE), &value, why);
	if (!read)
		entry_fault(l, s, e, "%s", why);
	else if (!(value >= 0.0 && value <= most))
		entry_fault(l, s, e, "must be 0 to %g %s", most, flow ? "%" : "K");
	else
		*ret = value;
}

/* A matched pair of EN 1434-1 is of platinum in pockets; a class of IEC 60751 beside it
 * says no more. */
static void refuse_beside_pair(
	struct loader *l, const struct section *s, const struct entry *class)
{
	int place = place_of(class);
	const struct entry *pair = find(l, "pair_class");
	if (pair && place > SENSOR_PLATINUM_C &&
		!sensor_is_flow((enum sensor_class)place))
		entry_fault(l, s, class,
			"is of a sensor by itself, while pair_class = %s of [plant] says "
			"a matched pair of a thermal energy meter, which is of platinum "
			"in pockets and never on a pipe; must leave out one of the two",
			pair->value);
}

static void load_sensor(struct loader *l, const struct section *s)
{
	int channel = config_channel(l->config, s->name);
	const struct entry *class = section_entry(s, "class");
	const struct entry *limit = section_entry(s, "limit");
	if (channel < 0 || (!class && !limit))
		return;
	struct channel_config *c = &l->config->channels[channel];
	enum dimension dimension = limit_dimension(c->role);
	if (dimension == DIMENSION_COUNT) {
		entry_fault(l, s, class ? class : limit,
			"is of flow_temperature, return_temperature and flow_rate, which "
			"heat is worked out from, and of the same on the source's side");
		return;
	}
	if (class && c->role == ROLE_SOURCE_HEAT_POWER)
		entry_fault(l, s, class,
			"is of sensors; must be limit, in percent of the heat");
	else if (class)
		read_class(l, s, class, dimension == DIMENSION_RATIO, &c->limit);
	if (place_of(class) >= 0) {
		enum sensor_class place = (enum sensor_class)place_of(class);
		c->class = sensor_class_name(place);
		c->strapped = place == SENSOR_STRAPPED || place == SENSOR_STRAPPED_BARE;
	}
	if (class &&
		(c->role == ROLE_FLOW_TEMPERATURE || c->role == ROLE_RETURN_TEMPERATURE))
		refuse_beside_pair(l, s, class);
	if (limit)
		read_limit(l, s, limit, dimension, &c->limit);
}

/* NAN where no channel has the role, or none of its limits is known. */
static double limit_of(const struct config *config, enum role role)
{
	int channel = config_role(config, role);
	return channel < 0 ? (double)NAN : config->channels[channel].limit;
}

/* ---- the plant ---- */

static void load_pair(struct loader *l)
{
	struct plant_config *p = &l->config->plant;
	int class = place_of(find(l, "pair_class"));
	double flow = limit_of(l->config, ROLE_FLOW_TEMPERATURE);
	double back = limit_of(l->config, ROLE_RETURN_TEMPERATURE);
	double alone = p->pair_limit.k / sqrt(2.0);
	if (class >= 0)
		p->pair_class = pair_class_name((enum pair_class) class);
	if (find(l, "pair_limit"))
		return;
	if (class >= 0)
		p->pair_limit =
			pair_limit(pair_least_difference_k((enum pair_class) class));
	else if (!isnan(flow) || !isnan(back))
		p->pair_limit.k =
			hypot(isnan(flow) ? alone : flow, isnan(back) ? alone : back);
}

static void load_flow(struct loader *l)
{
	struct plant_config *p = &l->config->plant;
	double limit = limit_of(l->config, ROLE_FLOW_RATE);
	if (!find(l, "flow_limit") && !isnan(limit))
		p->flow_limit_percent = limit;
}

/* What an option of [plant] is without a word of the owner. */
static double standard_of(const char *key)
{
	const struct option *option = option_find(SECTION_PLANT, key);
	char why[WHY_SIZE];
	double value = 0.0;
	(void)value_quantity(option->fallback, option->dimension, NULL, &value, why);
	return value;
}

/* The side that heat is taken from. */
static void load_source_side(struct loader *l)
{
	struct source_side *side = &l->config->plant.source;
	double entering = limit_of(l->config, ROLE_SOURCE_ENTERING_TEMPERATURE);
	double leaving = limit_of(l->config, ROLE_SOURCE_LEAVING_TEMPERATURE);
	double flow = limit_of(l->config, ROLE_SOURCE_FLOW_RATE);
	double heat = limit_of(l->config, ROLE_SOURCE_HEAT_POWER);
	double alone = standard_of("pair_limit") / sqrt(2.0);
	side->pair_limit_k = hypot(
		isnan(entering) ? alone : entering, isnan(leaving) ? alone : leaving);
	side->flow_limit_percent = isnan(flow) ? standard_of("flow_limit") : flow;
	side->heat_limit_percent = isnan(heat) ? SOURCE_LIMIT_PERCENT : heat;
}

/* Heat that an instrument says itself: as a whole, or by its parts. */
static void load_source(struct loader *l)
{
	struct plant_config *p = &l->config->plant;
	int class = place_of(find(l, "heat_class"));
	bool whole = find(l, "heat_limit") || class < 0;
	if (class >= 0)
		p->heat_class =
			sensor_class_name((enum sensor_class)(SENSOR_FLOW_1 + class));
	if (!find(l, "heat_limit"))
		p->source_limit_percent = whole ? SOURCE_LIMIT_PERCENT : 0.0;
	p->pair_limit = whole ? (struct difference_limit){0} : pair_limit(HEAT_LEAST_K);
	p->calculator_limit =
		whole ? (struct difference_limit){0} : calculator_limit(HEAT_LEAST_K);
	p->flow_limit_percent =
		whole ? 0.0
		      : sensor_limit_percent((enum sensor_class)(SENSOR_FLOW_1 + class),
				INSTRUMENT_FLOW_RATIO);
}

void load_limits(struct loader *l)
{
	static const char *const whole[] = {"heat_class", "heat_limit"};
	const struct section *plant = document_section(&l->document, SECTION_PLANT);
	const struct section *s = NULL;
	while ((s = document_next(&l->document, SECTION_CHANNEL, s)))
		load_sensor(l, s);
	load_source_side(l);
	if (l->config->plant.heat_source != HEAT_COMPUTED) {
		load_source(l);
		return;
	}
	for (size_t i = 0; i < ARRAY_LEN(whole); i++)
		if (find(l, whole[i]))
			entry_fault(l, plant, find(l, whole[i]),
				"is of heat_source = power or register; heat that is "
				"worked out has the limits of pair and flow");
	load_pair(l);
	load_flow(l);
}
