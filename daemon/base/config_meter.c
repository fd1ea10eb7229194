/*
 * The [meter] sections: what each feeds, the channels that it is read from, the meter
 * behind it, and the limit of its error; and what counts the heat.
 */
#include "config_load.h"

#include <heatbook/boundary.h>

#include <math.h>
#include <string.h>

/* Channels of "a + b + c"; each must be of the dimension. */
static size_t load_sum(struct loader *l, const struct section *s, const struct entry *e,
	enum dimension dimension, int channels[static SUM_MOST])
{
	size_t count = 0, length = 0;
	for (const char *rest = e->value; rest && *e->value;) {
		const char *item = value_item(&rest, '+', &length);
		_cleanup_(freep) char *name = xstrndup(item, length);
		int channel = config_channel(l->config, name);
		if (channel < 0) {
			entry_fault(l, s, e,
				"there is no [channel %s]; must be a channel or a sum a "
				"+ b",
				name);
			continue;
		}
		enum dimension is = l->config->channels[channel].dimension;
		if (is != dimension)
			entry_fault(l, s, e,
				"channel %s is %s; must be %s, for example in %s", name,
				dimension_phrase(is), dimension_phrase(dimension),
				unit_own(dimension)->symbol);
		bool twice = false;
		for (size_t i = 0; i < count; i++)
			twice = twice || channels[i] == channel;
		if (twice)
			entry_fault(l, s, e, "channel %s stands in the sum twice", name);
		else if (count == SUM_MOST)
			entry_fault(l, s, e, "at most %d channels", SUM_MOST);
		else
			channels[count++] = channel;
	}
	return count;
}

/* What says how a register counts, without one. */
static void check_counting(
	struct loader *l, const struct section *s, const struct meter_config *m)
{
	static const char *const counting[] = {"kind", "step", "modulus", "most_power"};
	const struct entry *e;
	for (size_t i = 0; i < ARRAY_LEN(counting); i++)
		if (m->counted.register_count == 0 && (e = section_entry(s, counting[i])))
			remark(&l->notes, e->line,
				"meter %s: %s says nothing without a register", m->name,
				counting[i]);
	if (m->kind == REGISTER_INCREMENT && m->counted.register_count > 1)
		entry_fault(l, s, section_entry(s, "kind"),
			"increments of several channels have no common instant; make "
			"each a meter of its own");
	if (m->power_count == 0 && m->counted.register_count == 0)
		remark(&l->notes, s->line,
			"meter %s has neither power nor register: its electricity stays "
			"unknown",
			m->name);
}

static int64_t joules_of(double kwh)
{
	return llround(kwh * J_PER_KWH);
}

static int class_of(const struct section *s)
{
	const struct entry *e = section_entry(s, "class");
	char why[WHY_SIZE];
	int class = 0;
	return e && value_choice(e->value, e->option->words, &class, why) ? class : -1;
}

/* A register counts true energy, whatever its power is worked out from. How true a
 * clamp's amperes are makes no better what is assumed about the power factor. */
static void limit_by_class(int class, struct meter_config *m)
{
	if (class >= 0)
		m->limit_percent = meter_limit_percent((enum meter_class) class);
	if (m->apparent && m->counted.register_count == 0)
		m->limit_percent = fmax(apparent_limit_percent(), m->limit_percent);
}

static void load_meter(struct loader *l, const struct section *s, struct meter_config *m)
{
	*m = (struct meter_config){.name = xstrdup(s->name), .less = -1, .line = s->line};
	load_fields(l, SECTION_METER, s, m);
	const struct entry *e = section_entry(s, "feeds");
	if (e)
		m->feeds = load_devices(l, s, e);
	else
		remark(&l->faults, s->line, "[meter %s] needs feeds: any of %s", m->name,
			option_find(SECTION_METER, "feeds")->words);
	if ((e = section_entry(s, "power")))
		m->power_count = load_sum(l, s, e, DIMENSION_POWER, m->power);
	if ((e = section_entry(s, "register")))
		m->counted.register_count =
			load_sum(l, s, e, DIMENSION_ENERGY, m->counted.registers);
	int class = class_of(s);
	if (class >= 0)
		m->class = meter_class_name((enum meter_class) class);
	if (!section_entry(s, "limit"))
		limit_by_class(class, m);
	check_counting(l, s, m);
}

/* `less` names a meter that may stand later in the file. */
static void load_less(struct loader *l)
{
	struct config *c = l->config;
	const struct section *s = NULL;
	while ((s = document_next(&l->document, SECTION_METER, s))) {
		const struct entry *e = section_entry(s, "less");
		int meter = config_meter(c, s->name);
		if (!e || !*e->value || meter < 0)
			continue;
		c->meters[meter].less = config_meter(c, e->value);
		if (c->meters[meter].less < 0)
			entry_fault(l, s, e, "there is no [meter %s]", e->value);
	}
}

/* A chain of `less` longer than there are meters runs in a circle. */
static void check_circles(struct loader *l)
{
	struct config *c = l->config;
	for (size_t i = 0; i < c->meter_count; i++) {
		int at = c->meters[i].less;
		for (size_t n = 0; at >= 0 && at != (int)i && n < c->meter_count; n++)
			at = c->meters[at].less;
		if (at == (int)i)
			remark(&l->faults, c->meters[i].line,
				"[meter %s] less = %s: runs in a circle; a meter cannot "
				"be "
				"behind itself",
				c->meters[i].name, c->meters[c->meters[i].less].name);
	}
}

static void decide_counting(struct loader *l)
{
	struct config *c = l->config;
	for (size_t i = 0; i < c->meter_count; i++) {
		struct meter_config *m = &c->meters[i];
		m->counted.counting = (struct register_config){.kind = m->kind,
			.step_j = joules_of(m->step_kwh),
			.modulus_j = joules_of(m->modulus_kwh),
			.most_w = m->most_w};
		m->counted.counts = m->counted.register_count > 0;
	}
	for (size_t i = 0; i < c->meter_count; i++) {
		int at = (int)i;
		for (size_t n = 0;
			c->meters[i].less >= 0 && at >= 0 && n <= c->meter_count;
			n++, at = c->meters[at].less)
			c->meters[i].difference |= c->meters[at].counted.counts;
	}
}

void load_heat(struct loader *l)
{
	struct config *c = l->config;
	int channel = config_role(c, ROLE_HEAT_REGISTER);
	const struct section *s = document_section(&l->document, SECTION_PLANT);
	bool wanted = c->plant.heat_source == HEAT_REGISTER;
	if (channel < 0 && wanted)
		entry_fault(l, s, section_entry(s, "heat_source"),
			"needs a channel with role heat_register");
	if (channel < 0)
		return;
	const struct channel_config *of = &c->channels[channel];
	if (!wanted) {
		remark(&l->notes, of->line,
			"channel %s: the register is kept as a series; with heat_source "
			"= register in [plant] it would rule the heat",
			of->name);
		return;
	}
	c->plant.heat = (struct counted){.counts = true,
		.registers = {channel},
		.register_count = 1,
		.counting = {.kind = of->kind,
			.step_j = joules_of(of->step_kwh),
			.modulus_j = joules_of(of->modulus_kwh),
			.most_w = of->most_w,
			.falls = of->falls}};
}

void load_meters(struct loader *l)
{
	struct config *c = l->config;
	c->meters = xcalloc(METERS_MOST, sizeof(*c->meters));
	const struct section *s = NULL;
	while ((s = document_next(&l->document, SECTION_METER, s))) {
		if (c->meter_count == METERS_MOST) {
			remark(&l->faults, s->line, "[meter %s]: at most %d meters",
				s->name, METERS_MOST);
			break;
		}
		load_meter(l, s, &c->meters[c->meter_count++]);
	}
	load_less(l);
	for (size_t i = 0; i < c->meter_count; i++)
		c->meters[i].serves = meter_serves(c, i);
	check_circles(l);
	decide_counting(l);
}

/* What [plant] lists is all that there is. That a heater is not decides rows: it cannot
 * be metered as well. Of what else a meter feeds nothing hangs on the list. */
static void check_listed(struct loader *l, const struct section *s, const struct entry *e,
	enum device device)
{
	if (device & (DEVICE_BACKUP_HEATER | DEVICE_IMMERSION))
		entry_fault(l, s, e,
			"devices of [plant] lists no %s; add it there or leave it out "
			"here",
			device_name(device));
	else
		remark(&l->notes, e->line,
			"meter %s feeds %s, which devices of [plant] does not list: it "
			"is "
			"taken to be there; add it to devices",
			s->name, device_name(device));
}

void check_devices(struct loader *l)
{
	unsigned listed = l->config->plant.devices;
	const struct section *s = NULL;
	while (listed && (s = document_next(&l->document, SECTION_METER, s))) {
		const struct entry *e = section_entry(s, "feeds");
		int meter = e ? config_meter(l->config, s->name) : -1;
		if (meter < 0)
			continue;
		unsigned beyond = l->config->meters[meter].feeds;
		beyond &= ~(listed | DEVICE_COMPRESSOR);
		for (unsigned device = 1; device <= beyond; device <<= 1)
			if (beyond & device)
				check_listed(l, s, e, (enum device)device);
	}
}
