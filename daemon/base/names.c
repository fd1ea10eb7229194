/*
 * Names of roles, their states, devices and events, look-ups by name in a loaded
 * configuration, and the folding of words.
 *
 * Pure tables: they sit in the base library so that every room may print a role or find a
 * channel without the parser and its file reading.
 *
 * Folding is a lower case of Unicode's simple one-to-one kind for the scripts whose
 * capital and small letters both take two bytes of UTF-8 (Latin-1 and Latin Extended-A,
 * Greek, Cyrillic), so that a word keeps its length. No locale: the C library's
 * towlower(3) knows ASCII alone in the C locale. Other letters and bytes stay as they
 * are.
 */
#include <heatbook/archive.h>
#include <heatbook/config.h>
#include <heatbook/event.h>

#include <assert.h>
#include <string.h>

static const char *const mode_states[OPERATING_COUNT] = {
	[OPERATING_OFF] = "off",
	[OPERATING_STANDBY] = "standby",
	[OPERATING_HEATING] = "heating",
	[OPERATING_HOT_WATER] = "hot_water",
	[OPERATING_COOLING] = "cooling",
	[OPERATING_DEFROST] = "defrost",
	[OPERATING_OVERRUN] = "overrun",
	[OPERATING_FREEZE_PROTECTION] = "freeze_protection",
};
static const char *const valve_states[VALVE_COUNT] = {
	[VALVE_HEATING] = "heating",
	[VALVE_HOT_WATER] = "hot_water",
};
static const char *const on_off_states[ON_OFF_COUNT] = {
	[STATE_OFF] = "off",
	[STATE_ON] = "on",
};

static const struct {
	const char *name;
	enum dimension dimension;
	const char *const *states;
	size_t state_count;
} roles[ROLE_COUNT] = {
	[ROLE_PLAIN] = {"plain", DIMENSION_COUNT},
	[ROLE_FLOW_TEMPERATURE] = {"flow_temperature", DIMENSION_TEMPERATURE},
	[ROLE_RETURN_TEMPERATURE] = {"return_temperature", DIMENSION_TEMPERATURE},
	[ROLE_FLOW_RATE] = {"flow_rate", DIMENSION_FLOW},
	[ROLE_WATER_PRESSURE] = {"water_pressure", DIMENSION_PRESSURE},
	[ROLE_OUTDOOR_TEMPERATURE] = {"outdoor_temperature", DIMENSION_TEMPERATURE},
	[ROLE_OUTDOOR_HUMIDITY] = {"outdoor_humidity", DIMENSION_RATIO},
	[ROLE_ROOM_TEMPERATURE] = {"room_temperature", DIMENSION_TEMPERATURE},
	[ROLE_CYLINDER_TEMPERATURE] = {"cylinder_temperature", DIMENSION_TEMPERATURE},
	[ROLE_TARGET_FLOW_TEMPERATURE] = {"target_flow_temperature",
		DIMENSION_TEMPERATURE},
	[ROLE_COMPRESSOR_FREQUENCY] = {"compressor_frequency", DIMENSION_FREQUENCY},
	[ROLE_OPERATING_MODE] = {"operating_mode", DIMENSION_STATE, mode_states,
		OPERATING_COUNT},
	[ROLE_VALVE] = {"valve", DIMENSION_STATE, valve_states, VALVE_COUNT},
	[ROLE_DEFROST] = {"defrost", DIMENSION_STATE, on_off_states, ON_OFF_COUNT},
	[ROLE_HEAT_POWER] = {"heat_power", DIMENSION_POWER},
	[ROLE_HEAT_REGISTER] = {"heat_register", DIMENSION_ENERGY},
	[ROLE_CIRCULATION_PUMP] = {"circulation_pump", DIMENSION_STATE, on_off_states,
		ON_OFF_COUNT},
	[ROLE_SOURCE_ENTERING_TEMPERATURE] = {"source_entering_temperature",
		DIMENSION_TEMPERATURE},
	[ROLE_SOURCE_LEAVING_TEMPERATURE] = {"source_leaving_temperature",
		DIMENSION_TEMPERATURE},
	[ROLE_SOURCE_FLOW_RATE] = {"source_flow_rate", DIMENSION_FLOW},
	[ROLE_SOURCE_HEAT_POWER] = {"source_heat_power", DIMENSION_POWER},
};

const char *role_name(enum role role)
{
	assert(role < ROLE_COUNT);
	return roles[role].name;
}

enum dimension role_dimension(enum role role)
{
	assert(role < ROLE_COUNT);
	return roles[role].dimension;
}

const char *const *role_states(enum role role, size_t *ret_count)
{
	assert(role < ROLE_COUNT);
	*ret_count = roles[role].state_count;
	return roles[role].states;
}

const char *fluid_name(enum fluid fluid)
{
	switch (fluid) {
	case FLUID_WATER:
		return "water";
	case FLUID_PROPYLENE_GLYCOL:
		return "propylene_glycol";
	case FLUID_ETHYLENE_GLYCOL:
		return "ethylene_glycol";
	}
	return "?";
}

const char *device_name(enum device device)
{
	switch (device) {
	case DEVICE_COMPRESSOR:
		return "compressor";
	case DEVICE_BACKUP_HEATER:
		return "backup_heater";
	case DEVICE_IMMERSION:
		return "immersion";
	case DEVICE_CIRCULATION:
		return "circulation";
	case DEVICE_SOURCE:
		return "source";
	}
	return "?";
}

const char *event_kind_name(enum event_kind kind)
{
	static const char *const names[EVENT_KINDS] = {
		[EVENT_REGISTER_RESET] = "register_reset",
		[EVENT_REGISTER_REPLACED] = "register_replaced",
		[EVENT_REGISTER_WRAPPED] = "register_wrapped",
		[EVENT_REGISTER_REFUSED] = "register_refused",
		[EVENT_REGISTER_UNPLACED] = "register_unplaced",
		[EVENT_PAYLOAD_BAD] = "payload_bad",
		[EVENT_LINK_LOST] = "link_lost",
		[EVENT_LINK_SUBSCRIBED] = "link_subscribed",
		[EVENT_STARTED] = "started",
		[EVENT_STOPPED] = "stopped",
		[EVENT_MESSAGES_REFUSED] = "messages_refused",
		[EVENT_CLOCK_STEPPED] = "clock_stepped",
		[EVENT_CLOCK_OFF] = "clock_off",
		[EVENT_CLOCK_STUCK] = "clock_stuck",
	};
	return (unsigned)kind < EVENT_KINDS ? names[kind] : "?";
}

int config_channel(const struct config *config, const char *name)
{
	for (size_t i = 0; i < config->channel_count; i++)
		if (strcmp(config->channels[i].name, name) == 0)
			return (int)i;
	return -1;
}

int config_role(const struct config *config, enum role role)
{
	if (role == ROLE_PLAIN)
		return -1;
	for (size_t i = 0; i < config->channel_count; i++)
		if (config->channels[i].role == role)
			return (int)i;
	return -1;
}

bool config_meter_has_power(const struct config *config, size_t meter)
{
	int less = config->meters[meter].less;
	return config->meters[meter].power_count > 0 &&
	       (less < 0 || config->meters[less].power_count > 0);
}

bool config_names_mode(const struct config *config, enum operating_mode mode)
{
	int c = config_role(config, ROLE_OPERATING_MODE);
	for (size_t i = 0; c >= 0 && i < config->channels[c].map_count; i++)
		if (config->channels[c].map[i].state == (int)mode)
			return true;
	return false;
}

enum source_heat config_source_heat(const struct config *config)
{
	if (config_role(config, ROLE_SOURCE_HEAT_POWER) >= 0)
		return SOURCE_SAID;
	return config_role(config, ROLE_SOURCE_ENTERING_TEMPERATURE) >= 0 &&
			       config_role(config, ROLE_SOURCE_LEAVING_TEMPERATURE) >=
				       0 &&
			       config_role(config, ROLE_SOURCE_FLOW_RATE) >= 0
		       ? SOURCE_COMPUTED
		       : SOURCE_UNKNOWN;
}

int config_meter(const struct config *config, const char *name)
{
	for (size_t i = 0; i < config->meter_count; i++)
		if (strcmp(config->meters[i].name, name) == 0)
			return (int)i;
	return -1;
}

int config_table(const struct config *config, const char *name)
{
	for (size_t i = 0; i < config->table_count; i++)
		if (strcmp(config->tables[i].name, name) == 0)
			return (int)i;
	return -1;
}

const struct counted *config_counted(const struct config *config, size_t quantity)
{
	const struct counted *c = NULL;
	if (quantity == COUNTED_HEAT)
		c = &config->plant.heat;
	else if (quantity < config->meter_count)
		c = &config->meters[quantity].counted;
	return c && c->counts ? c : NULL;
}

const char *config_counted_name(const struct config *config, size_t quantity)
{
	return quantity == COUNTED_HEAT ? COUNTED_HEAT_NAME
					: config->meters[quantity].name;
}

bool config_is_laid(const struct config *config, size_t quantity)
{
	return config_counted(config, quantity) ||
	       (quantity < config->meter_count && config->meters[quantity].difference);
}

bool config_is_register(const struct config *config, size_t channel)
{
	for (size_t m = 0; m < config->meter_count; m++) {
		const struct counted *c = &config->meters[m].counted;
		for (size_t i = 0; i < c->register_count; i++)
			if (c->registers[i] == (int)channel)
				return true;
	}
	return config->channels[channel].role == ROLE_HEAT_REGISTER;
}

bool config_is_increment(const struct config *config, size_t channel)
{
	for (size_t q = 0; q < COUNTED_MOST; q++) {
		const struct counted *c = config_counted(config, q);
		for (size_t i = 0; c && i < c->register_count; i++)
			if (c->registers[i] == (int)channel &&
				c->counting.kind == REGISTER_INCREMENT)
				return true;
	}
	return false;
}

/* Small letter of a code point of two UTF-8 bytes, by Unicode's simple case mapping. */
static unsigned fold_code(unsigned c)
{
	if ((c >= 0xc0 && c <= 0xde && c != 0xd7) ||
		(c >= 0x391 && c <= 0x3ab && c != 0x3a2) || (c >= 0x410 && c <= 0x42f))
		return c + 0x20;
	if (c >= 0x400 && c <= 0x40f)
		return c + 0x50;
	/* Latin Extended-A: pairs that begin even, and the two stretches that begin odd.
	 * The dotted I (U+0130) has a small letter of one byte and stays. */
	if ((c >= 0x100 && c <= 0x12f) || (c >= 0x132 && c <= 0x137) ||
		(c >= 0x14a && c <= 0x177))
		return c | 1;
	if (c == 0x178)
		return 0xff;
	if ((c >= 0x139 && c <= 0x148) || (c >= 0x179 && c <= 0x17e))
		return c + (c & 1);
	return c;
}

void text_fold(char *text, size_t length)
{
	for (size_t i = 0; i < length; i++) {
		unsigned char a = (unsigned char)text[i];
		if (a >= 'A' && a <= 'Z')
			text[i] = (char)(a + 0x20);
		if (a < 0xc3 || a > 0xdf || i + 1 == length)
			continue;
		unsigned char b = (unsigned char)text[i + 1];
		if ((b & 0xc0) != 0x80)
			continue;
		unsigned c = fold_code((a & 0x1fU) << 6 | (b & 0x3fU));
		text[i++] = (char)(0xc0 | c >> 6);
		text[i] = (char)(0x80 | (c & 0x3f));
	}
}

int archive_form_find(const char *name)
{
	const char *at = ARCHIVE_FORMS;
	for (int form = ARCHIVE_LINES;; form++) {
		size_t length = strcspn(at, "|");
		if (strlen(name) == length && memcmp(at, name, length) == 0)
			return form;
		if (!at[length])
			return -1;
		at += length + 1;
	}
}
