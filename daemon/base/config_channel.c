/*
 * The [channel] sections: role, unit, value map, place in the payload, and the faults
 * that only two settings together make.
 *
 * A channel has states when its role is a state or it has a map; then unit, scale and
 * range have no sense and are faults. States of a role have the role's codes whatever the
 * map's order; states of a plain channel are numbered in the order of the map.
 */
#include "config_load.h"

#include <math.h>
#include <string.h>

/* A line is drawn over two readings that are missing. */
#define LINE_PERIODS 3

struct one {
	struct loader *l;
	const struct section *s;
	struct channel_config *c;
};

static const struct entry *entry_of(const struct one *o, const char *key)
{
	return section_entry(o->s, key);
}

/* Role by `role`, else by the channel's name. */
static void load_role(struct one *o)
{
	struct channel_config *c = o->c;
	const struct entry *e = entry_of(o, "role");
	const char *name = e ? e->value : c->name;
	for (int r = 0; r < ROLE_COUNT; r++)
		if (strcmp(role_name((enum role)r), name) == 0)
			c->role = (enum role)r;
	if (c->role == ROLE_PLAIN)
		return;
	for (size_t i = 0; i + 1 < o->l->config->channel_count; i++) {
		const struct channel_config *other = &o->l->config->channels[i];
		if (other->role == c->role)
			remark(&o->l->faults, e ? e->line : o->s->line,
				"[channel %s]: the role %s is taken by channel %s in "
				"line %d; "
				"give this one role = plain or another",
				c->name, role_name(c->role), other->name, other->line);
	}
}

/* Code of a state's name, a plain channel's being numbered as they come; -1 = no such
 * state. */
static int state_code(struct one *o, const char *name)
{
	struct channel_config *c = o->c;
	for (size_t i = 0; i < c->state_count; i++)
		if (strcmp(c->states[i], name) == 0)
			return (int)i;
	if (c->role != ROLE_PLAIN)
		return -1;
	c->states = xrealloc(c->states, c->state_count + 1, sizeof(*c->states));
	c->states[c->state_count] = xstrdup(name);
	return (int)c->state_count++;
}

static bool map_add(struct channel_config *c, const char *word, size_t length, int state)
{
	char *folded = xstrndup(word, length);
	text_fold(folded, length);
	for (size_t i = 0; i < c->map_count; i++)
		if (strcmp(c->map[i].word, folded) == 0) {
			free(folded);
			return false;
		}
	c->map = xrealloc(c->map, c->map_count + 1, sizeof(*c->map));
	c->map[c->map_count++] = (struct map_entry){folded, state};
	return true;
}

static void unknown_state(struct one *o, const struct entry *e, const char *name)
{
	struct buffer known = {0};
	for (size_t i = 0; i < o->c->state_count; i++)
		buffer_addf(&known, "%s%s", i ? ", " : "", o->c->states[i]);
	entry_fault(o->l, o->s, e, "%s has no state '%s'; must be one of %s",
		role_name(o->c->role), name, buffer_text(&known));
	buffer_release(&known);
}

/* One "word:state". The last colon parts them, so that a word may hold one. */
static void map_item(struct one *o, const struct entry *e, const char *item)
{
	char why[WHY_SIZE];
	const char *colon = strrchr(item, ':');
	size_t length = colon ? (size_t)(colon - item) : 0;
	while (length > 0 && item[length - 1] == ' ')
		length--;
	if (length == 0) {
		entry_fault(o->l, o->s, e, "'%s' must be word:state", item);
		return;
	}
	const char *name = colon + 1 + strspn(colon + 1, " \t");
	if (o->c->role == ROLE_PLAIN && !value_name(name, why)) {
		entry_fault(o->l, o->s, e, "state '%s': %s", name, why);
		return;
	}
	int state = state_code(o, name);
	if (state < 0)
		unknown_state(o, e, name);
	else if (!map_add(o->c, item, length, state))
		entry_fault(o->l, o->s, e, "the word '%.*s' is given twice", (int)length,
			item);
}

/* Without a map a role's states go by their names, on and off by what else boards send.
 */
static void default_map(struct channel_config *c)
{
	static const char *const words[ON_OFF_COUNT][3] = {
		[STATE_OFF] = {"false", "no", "0"}, [STATE_ON] = {"true", "yes", "1"}};
	for (size_t i = 0; i < c->state_count; i++)
		(void)map_add(
			c, c->states[i], strlen(c->states[i]), (int)i); /* distinct */
	if (c->role != ROLE_DEFROST && c->role != ROLE_CIRCULATION_PUMP)
		return;
	for (int state = 0; state < ON_OFF_COUNT; state++)
		for (size_t k = 0; k < ARRAY_LEN(words[state]); k++)
			(void)map_add(c, words[state][k], strlen(words[state][k]), state);
}

static void load_states(struct one *o)
{
	static const char *const numeric[] = {"unit", "scale", "offset", "integer_bits",
		"decimal", "thousands", "valid_least", "valid_most", "extremes"};
	struct channel_config *c = o->c;
	size_t count = 0, items_count = 0;
	const char *const *states = role_states(c->role, &count);
	const struct entry *e = entry_of(o, "map");
	char **items = NULL;
	c->states = xcalloc(count, sizeof(*c->states));
	for (; c->state_count < count; c->state_count++)
		c->states[c->state_count] = xstrdup(states[c->state_count]);
	if (e)
		items_count = load_list(o->l, o->s, e, NULL, &items);
	for (size_t i = 0; i < items_count; i++) {
		map_item(o, e, items[i]);
		free(items[i]);
	}
	free(items);
	if (!e)
		default_map(c);
	if (!entry_of(o, "stale_after"))
		c->stale_after_ms = -1;
	if (!entry_of(o, "retained"))
		c->retained = RETAINED_STATE;
	c->dimension = DIMENSION_STATE;
	for (size_t i = 0; i < ARRAY_LEN(numeric); i++)
		if ((e = entry_of(o, numeric[i])))
			entry_fault(
				o->l, o->s, e, "is for numbers; this channel has states");
}

static void load_unit(struct one *o)
{
	struct channel_config *c = o->c;
	enum dimension wanted = role_dimension(c->role);
	const struct entry *e = entry_of(o, "unit");
	c->dimension = wanted == DIMENSION_COUNT ? DIMENSION_NUMBER : wanted;
	if (!e || !*e->value)
		return;
	const struct unit *unit = unit_find(e->value, strlen(e->value));
	if (!unit) {
		entry_fault(o->l, o->s, e,
			"unknown unit; known are °C, °F, K, L/min, L/h, m³/h, kg/s, gpm "
			"(US), "
			"bar, kPa, psi, W, kW, Wh, kWh, J, MJ, V, A, Hz, rpm, %% and "
			"multiples");
		return;
	}
	if (wanted != DIMENSION_COUNT && unit->dimension != wanted)
		entry_fault(o->l, o->s, e, "is %s, but %s is %s; for example in %s",
			dimension_phrase(unit->dimension), role_name(c->role),
			dimension_phrase(wanted), unit_own(wanted)->symbol);
	else
		c->unit = unit;
	if (wanted == DIMENSION_COUNT)
		c->dimension = unit->dimension;
}

static void load_bound(struct one *o, const char *key, double *ret)
{
	char why[WHY_SIZE];
	const struct entry *e = entry_of(o, key);
	if (e && *e->value &&
		!value_quantity(e->value, o->c->dimension, o->c->unit, ret, why))
		entry_fault(o->l, o->s, e, "%s", why);
	else if (fabs(*ret) > VALUE_MOST)
		entry_fault(o->l, o->s, e, "must be within ± %g %s", VALUE_MOST,
			unit_own(o->c->dimension)->symbol);
}

static void load_number(struct one *o)
{
	struct channel_config *c = o->c;
	const struct entry *e = entry_of(o, "map");
	if (e)
		entry_fault(o->l, o->s, e, "%s is %s and takes no map",
			role_name(c->role), dimension_phrase(role_dimension(c->role)));
	load_unit(o);
	if (!c->unit)
		c->unit = unit_own(c->dimension);
	load_bound(o, "valid_least", &c->valid_least);
	load_bound(o, "valid_most", &c->valid_most);
	e = entry_of(o, "valid_most");
	if (c->valid_least >= c->valid_most)
		entry_fault(o->l, o->s, e ? e : entry_of(o, "valid_least"),
			"must be above valid_least");
	e = entry_of(o, "integer_bits");
	if (e && c->integer_bits != 0 && c->integer_bits != 8 && c->integer_bits != 16 &&
		c->integer_bits != 32)
		entry_fault(o->l, o->s, e, "must be 0, 8, 16 or 32");
	e = entry_of(o, "scale");
	if (e && c->scale >= 0 && c->scale <= 0)
		entry_fault(o->l, o->s, e, "must not be 0");
}

/* Where value and time stand in the payload. */
static void check_place(struct one *o)
{
	static const char *const paths[] = {"pointer", "each", "time_pointer"};
	const struct channel_config *c = o->c;
	const struct entry *e;
	for (size_t i = 0; c->senml && i < ARRAY_LEN(paths); i++)
		if ((e = entry_of(o, paths[i])))
			entry_fault(o->l, o->s, e,
				"goes with JSON of any form; a SenML pack has its own "
				"places");
	if (c->time == TIME_PAYLOAD && !c->time_pointer && !c->senml)
		entry_fault(o->l, o->s, entry_of(o, "time"),
			"needs time_pointer, or senml, to tell where the time stands");
	e = entry_of(o, "time_pointer");
	if (e && !c->pointer && !c->each && !c->senml)
		entry_fault(o->l, o->s, e,
			"needs pointer too; without one the whole payload is the value");
	if (c->time != TIME_ARRIVAL)
		return;
	if (e)
		entry_fault(o->l, o->s, e, "needs time = payload");
	if (c->time_form != TIME_FORM_DETECT && (e = entry_of(o, "time_form")))
		entry_fault(o->l, o->s, e, "needs time = payload");
}

/* A line is true of what goes steadily from one reading to the next, and of what is said
 * whether it changed or not: what is said on change stood still in between. */
static void load_line(struct one *o)
{
	struct channel_config *c = o->c;
	const struct entry *line = entry_of(o, "between"), *e = entry_of(o, "period");
	if (c->between != BETWEEN_LINE) {
		if (e)
			entry_fault(o->l, o->s, e, "goes with between = line");
		return;
	}
	if (c->dimension != DIMENSION_TEMPERATURE)
		entry_fault(o->l, o->s, line, "is for temperatures; this channel is %s",
			dimension_phrase(c->dimension));
	else if (!e)
		entry_fault(o->l, o->s, line,
			"needs period: how often the source says the temperature, "
			"changed or not (what is said on change holds in between)");
	else if (c->stale_after_ms >= 0 && c->stale_after_ms < c->period_ms)
		entry_fault(o->l, o->s, e,
			"must not be above stale_after, or no line were ever drawn");
	c->line_ms = LINE_PERIODS * c->period_ms;
	if (c->stale_after_ms >= 0 && c->stale_after_ms < c->line_ms)
		c->line_ms = c->stale_after_ms;
}

static void check_rest(struct one *o)
{
	static const char *const counting[] = {
		"kind", "step", "modulus", "most_power", "falls"};
	const struct entry *e;
	for (size_t i = 0; i < ARRAY_LEN(counting); i++)
		if (o->c->role != ROLE_HEAT_REGISTER && (e = entry_of(o, counting[i])))
			entry_fault(
				o->l, o->s, e, "only a heat_register channel takes it");
}

/* Names that would collide with the columns which rows and answers add to a channel's
 * own. */
static void check_name(struct one *o)
{
	static const char *const endings[] = {
		"_ms", "_least", "_most", "_min", "_max", "_observed_s"};
	const char *name = o->c->name;
	size_t length = strlen(name);

	if (strcmp(name, "t") == 0 || strcmp(name, "t_end") == 0)
		remark(&o->l->faults, o->s->line,
			"[channel %s]: t and t_end are columns of every answer; take "
			"another "
			"name",
			name);
	for (size_t i = 0; i < ARRAY_LEN(endings); i++) {
		size_t n = strlen(endings[i]);
		if (length > n && strcmp(name + length - n, endings[i]) == 0)
			remark(&o->l->faults, o->s->line,
				"[channel %s]: a name must not end in %s, as columns "
				"beside a "
				"channel do",
				name, endings[i]);
	}
}

static void load_channel(struct one *o)
{
	struct channel_config *c = o->c;
	*c = (struct channel_config){.name = xstrdup(o->s->name),
		.role = ROLE_PLAIN,
		.valid_least = -VALUE_MOST,
		.valid_most = VALUE_MOST,
		.limit = (double)NAN,
		.source = -1,
		.line = o->s->line};
	load_fields(o->l, SECTION_CHANNEL, o->s, c);
	load_role(o);
	bool states = role_dimension(c->role) == DIMENSION_STATE ||
		      (c->role == ROLE_PLAIN && entry_of(o, "map"));
	if (states)
		load_states(o);
	else
		load_number(o);
	if (!c->unit)
		c->unit = unit_own(c->dimension);
	check_name(o);
	check_place(o);
	load_line(o);
	check_rest(o);
}

void load_channels(struct loader *l)
{
	struct config *c = l->config;
	c->channels = xcalloc(CHANNELS_MOST, sizeof(*c->channels));
	const struct section *s = NULL;
	while ((s = document_next(&l->document, SECTION_CHANNEL, s))) {
		if (c->channel_count == CHANNELS_MOST) {
			remark(&l->faults, s->line, "[channel %s]: at most %d channels",
				s->name, CHANNELS_MOST);
			return;
		}
		struct one one = {l, s, &c->channels[c->channel_count++]};
		load_channel(&one);
	}
}
