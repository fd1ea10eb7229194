/*
 * A random plant's topics, channels, meters and sources, and the configuration's text
 * that names them.
 */
#include "plant_parts.h"

static const char *const operating_words[] = {"off", "standby", "heating", "hot_water",
	"cooling", "defrost", "Heating", "HEATING", NULL};
static const char *const valve_words[] = {"0", "1", "0", "1.0", NULL};
static const char *const flag_words[] = {"on", "off", "off", "OFF", "true", "0", NULL};
static const char *const mood_words[] = {"calm", "busy", "7", "calm", NULL};

static const struct plant_role roles[] = {
	{"flow_temperature", "unit = °C\n", NULL, 22, 55, false},
	{"return_temperature", "", NULL, 18, 45, false},
	{"flow_rate", "unit = L/min\n", NULL, 4, 30, true},
	{"outdoor_temperature", "extremes = yes\n", NULL, -12, 15, false},
	{"compressor_frequency", "", NULL, 20, 90, true},
	{"water_pressure", "unit = bar\n", NULL, 0.6, 2.4, false},
	{"cylinder_temperature", "valid_least = 5\nvalid_most = 70\n", NULL, 2, 72,
		false},
	{"heat_power", "unit = W\n", NULL, -3000, 12000, false},
	{"operating_mode", "", operating_words, 0, 0, false},
	{"valve", "map = 0:heating, 1:hot_water\n", valve_words, 0, 0, false},
	{"defrost", "", flag_words, 0, 0, false},
	{"circulation_pump", "", flag_words, 0, 0, false},
	{"unit_power", "unit = W\n", NULL, 50, 4000, true},
	{"second_power", "unit = kW\n", NULL, 0.01, 2.0, true},
	{"immersion_power", "unit = W\nextremes = yes\n", NULL, 2000, 3000, true},
	{"pump_power", "unit = W\n", NULL, 3, 80, true},
	{"mood", "map = calm:calm, busy:busy, 7:odd\n", mood_words, 0, 0, false},
	{"humidity", "unit = %\nextremes = yes\n", NULL, 20, 99, false},
	{"count", "", NULL, -500, 500, true},
};

/* Where a plant with registers is wished for. The numbers are where they begin. */
static const struct plant_role register_roles[] = {
	{"unit_register", "unit = kWh\n", NULL, 4321, 4321, false},
	{"pump_register", "unit = kWh\n", NULL, 48.5, 48.5, false},
	{"heat_register", "unit = kWh\n", NULL, 700, 700, false},
	{"immersion_register", "unit = kWh\n", NULL, 12.5, 12.5, false},
};

/* Where rules are wished for: how often a channel is left out, percent. */
static const struct {
	const char *name;
	int out;
} flags_out[] = {{"flow_temperature", 3}, {"return_temperature", 3}, {"flow_rate", 3},
	{"outdoor_temperature", 5}, {"unit_power", 5}, {"cylinder_temperature", 10},
	{"compressor_frequency", 60}, {"operating_mode", 80}, {"valve", 75},
	{"defrost", 75}};

static const struct plant_role target_role = {
	"target_flow_temperature", "", NULL, 25, 45, false};

static const char *const stale_words[] = {"", "", "stale_after = 45 s\n",
	"stale_after = 90 s\n", "stale_after = 5 min\n", "stale_after = 40 min\n",
	"stale_after = 3 h\n", "stale_after = 26 h\n", "stale_after = none\n"};
static const char *const silent_words[] = {"", "", "silent_after = 50 s\n",
	"silent_after = 4 min\n", "silent_after = 2 h\n", "silent_after = none\n"};
const char *const plant_source_names[PLANT_SOURCES] = {"alpha", "beta", "gamma"};

bool plant_wraps(const struct plant_role *role)
{
	return role == &register_roles[1];
}

bool plant_is_register(const struct plant_role *role)
{
	for (size_t i = 0; i < ARRAY_LEN(register_roles); i++)
		if (role == &register_roles[i])
			return true;
	return false;
}

void plant_make_topics(struct plant *p, int64_t interval_ms)
{
	p->topic_count = (size_t)between(p, 4, PLANT_TOPICS_MOST);
	for (size_t i = 0; i < p->topic_count; i++) {
		struct plant_topic *t = &p->topics[i];
		t->source = plant_choose(&p->random, PLANT_SOURCES);
		t->form = i < FORM_COUNT ? (enum topic_form)i : FORM_JSON;
		t->interval_ms = interval_ms * between(p, 30, 300) / 100 + 1;
		if (chance(p, 25)) {
			t->still_ms = between(p, p->from_ms, p->to_ms);
			t->moves_ms = t->still_ms + between(p, 0, 12 * MS_PER_HOUR);
		}
		(void)snprintf(t->name, sizeof(t->name), "%s/%c",
			plant_source_names[t->source], (char)('a' + (char)i));
	}
}

static const char *stale_line(struct plant *p, const struct plant_wish *wish)
{
	if (wish->lasting && chance(p, 85))
		return "stale_after = 9 h\n";
	return ONE_OF(p, stale_words);
}

/* A period that the limit allows, short or long beside what topics' intervals are. */
static const char *line_lines(struct plant *p, const char *stale)
{
	static const char *const periods[] = {"20 s", "45 s", "2 min", "5 min", "5 min"};
	static char lines[64];
	bool short_limit = strstr(stale, " s\n") != NULL;
	size_t count = short_limit ? 2 : ARRAY_LEN(periods);
	(void)snprintf(lines, sizeof(lines), "between = line\nperiod = %s\n",
		periods[plant_choose(&p->random, count)]);
	return lines;
}

static void add_channel(
	struct plant *p, const struct plant_role *role, const struct plant_wish *wish)
{
	struct plant_channel *c = &p->channels[p->channel_count++];
	c->role = role;
	c->last = role->low;
	c->topic = plant_choose(&p->random, p->topic_count);
	for (size_t i = 0; i + 1 < p->channel_count; i++)
		if (p->channels[i].topic == c->topic &&
			p->topics[c->topic].form == FORM_BARE)
			c->topic =
				1; /* a bare word feeds one channel; this one is JSON */
	const struct plant_topic *topic = &p->topics[c->topic];
	c->own_time = !wish->no_own_times && topic->form != FORM_BARE && chance(p, 50);

	const char *stale = stale_line(p, wish);
	buffer_addf(&p->text, "[channel %s]\ntopic = %s\n%s%s", role->name, topic->name,
		role->lines, stale);
	if (wish->lines && strstr(role->name, "_temperature") && chance(p, 70))
		buffer_addf(&p->text, "%s", line_lines(p, stale));
	if (topic->form == FORM_EACH)
		buffer_addf(&p->text, "each = /samples\n");
	if (topic->form != FORM_BARE)
		buffer_addf(&p->text, "pointer = /%s\n", role->name);
	if (c->own_time)
		buffer_addf(&p->text, "time = payload\ntime_pointer = /time\n");
	if (role == &register_roles[2] && chance(p, 50))
		buffer_addf(&p->text, "falls = yes\n");
	if (chance(p, 30))
		buffer_addf(
			&p->text, "retained = %s\n", chance(p, 50) ? "state" : "ignore");
}

static bool has(const struct plant *p, const char *name)
{
	for (size_t c = 0; c < p->channel_count; c++)
		if (strcmp(p->channels[c].role->name, name) == 0)
			return true;
	return false;
}

static void add_pump_meter(struct plant *p)
{
	bool power = has(p, "pump_power") && chance(p, 60);
	buffer_addf(&p->text,
		"[meter pumps]\nfeeds = circulation\n%sregister = "
		"pump_register\n%s",
		power ? "power = pump_power\n" : "",
		chance(p, 30)   ? "kind = daily\n"
		: chance(p, 40) ? "kind = increment\n"
				: "modulus = 50 kWh\n");
}

static void add_meters(struct plant *p)
{
	bool immersion = has(p, "immersion_power") || has(p, "immersion_register");
	if (immersion)
		buffer_addf(&p->text, "[meter immersion]\nfeeds = immersion\n");
	if (has(p, "immersion_register"))
		buffer_addf(&p->text, "register = immersion_register\n");
	if (has(p, "immersion_power") && (!has(p, "immersion_register") || chance(p, 60)))
		buffer_addf(&p->text, "power = immersion_power\n");
	if (has(p, "pump_register"))
		add_pump_meter(p);
	else if (has(p, "pump_power"))
		buffer_addf(&p->text, "[meter pumps]\nfeeds = circulation\n"
				      "power = pump_power\n");
	if (!has(p, "unit_power"))
		return;
	const char *sum =
		has(p, "second_power") && chance(p, 60) ? " + second_power" : "";
	bool less = immersion && chance(p, 50);
	buffer_addf(&p->text,
		"[meter unit]\nfeeds = compressor%s\npower = unit_power%s\n%s",
		less ? ", immersion" : "", sum, less ? "less = immersion\n" : "");
	if (has(p, "unit_register"))
		buffer_addf(&p->text, "register = unit_register\n");
	if (has(p, "second_power") && !*sum)
		buffer_addf(&p->text,
			"[meter heater]\nfeeds = backup_heater\npower = second_power\n");
}

static void add_sources(struct plant *p, const struct plant_wish *wish)
{
	for (size_t i = 0; i < PLANT_SOURCES; i++) {
		if (!wish->lasting && chance(p, 25))
			continue; /* the implicit one */
		buffer_addf(&p->text, "[source %s]\ntopics = %s/#\n%s",
			plant_source_names[i], plant_source_names[i],
			wish->lasting ? "silent_after = none\n"
				      : ONE_OF(p, silent_words));
		if (chance(p, 60))
			buffer_addf(&p->text, "will_topic = %s/will\n",
				plant_source_names[i]);
	}
}

/* Two after each other of some numbers, with edges at any millisecond. */
static void add_corrections(struct plant *p)
{
	char edges[3][32];
	for (size_t c = 0; c < p->channel_count; c++) {
		const struct plant_role *role = p->channels[c].role;
		int64_t t_ms = p->from_ms - between(p, 0, MS_PER_DAY);
		if (role->words || plant_is_register(role) || chance(p, 60))
			continue;
		for (size_t i = 0; i < ARRAY_LEN(edges); i++) {
			time_text_utc(t_ms, edges[i]);
			t_ms += between(p, 1, 2 * MS_PER_DAY);
		}
		buffer_addf(&p->text,
			"[correction %s_first]\nchannel = %s\nfactor = %.2f\n"
			"from = %s\nto = %s\n"
			"[correction %s_then]\nchannel = %s\noffset = %.2f\n"
			"from = %s\nto = %s\n",
			role->name, role->name, (double)between(p, 50, 150) / 100,
			edges[0], edges[1], role->name, role->name,
			(double)between(p, -90, 90) / 100, edges[1], edges[2]);
	}
}

static bool is_in(
	struct plant *p, const struct plant_role *role, const struct plant_wish *wish)
{
	int out = 25;
	if (wish->every_channel)
		return true;
	for (size_t i = 0; wish->rules && i < ARRAY_LEN(flags_out); i++)
		if (strcmp(flags_out[i].name, role->name) == 0)
			out = flags_out[i].out;
	return chance(p, 100 - out);
}

/* The last leaves most of what a unit may draw between both. */
static const char *const compressor_words[] = {
	"", "compressor_on = 900 W\n", "compressor_on = 3500 W\ncompressor_off = 5 %\n"};

static void add_thresholds(struct plant *p)
{
	buffer_addf(&p->text, "[modes]\ndefrost_outdoor = %lld °C\n",
		(long long)between(p, 0, 14));
	if (chance(p, 50))
		buffer_addf(&p->text, "hot_water_flow = 24 L/min\n");
	buffer_addf(&p->text, "%s", ONE_OF(p, compressor_words));
}

/* Where no flow meter is: what flows while some channel says so, if any can. */
static void assume_flow(struct plant *p, struct buffer *head)
{
	static const char *const conditions[][2] = {
		{"circulation_pump", "circulation_pump:on"}, {"valve", "valve:heating"},
		{"compressor_frequency", "compressor_frequency"}};
	const char *const *condition =
		conditions[plant_choose(&p->random, ARRAY_LEN(conditions))];
	if (has(p, condition[0]))
		buffer_addf(head, "assumed_flow = %s\nassumed_while = %s\n",
			chance(p, 50) ? "14 L/min" : "0.2 kg/s", condition[1]);
}

void plant_make_config(struct plant *p, const struct plant_wish *wish)
{
	buffer_addf(&p->text, "[plant]\nname = Test\nzone = %s\n", p->zone);
	if (chance(p, 30))
		buffer_addf(&p->text, "flow_sensor_pipe = flow\n");
	if (chance(p, 30))
		buffer_addf(&p->text, "least_flow = 8 L/min\n");
	if (chance(p, 30))
		buffer_addf(&p->text, "fluid = %s\nfluid_percent = %d\n",
			fluid_name(chance(p, 50) ? FLUID_PROPYLENE_GLYCOL
						 : FLUID_ETHYLENE_GLYCOL),
			(int)between(p, 4, 50));
	if (wish->rules)
		buffer_addf(&p->text, "nominal_flow = 14 L/min\n");
	struct buffer head = p->text;
	p->text = (struct buffer){0};
	for (size_t i = 0; i < ARRAY_LEN(roles); i++)
		if (is_in(p, &roles[i], wish) || i == 0)
			add_channel(p, &roles[i], wish);
	if (wish->rules && chance(p, 50))
		add_channel(p, &target_role, wish);
	for (size_t i = 0; wish->registers && i < ARRAY_LEN(register_roles); i++)
		if (chance(p, 85))
			add_channel(p, &register_roles[i], wish);
	if (has(p, "heat_register") && chance(p, 60))
		buffer_addf(&head, "heat_source = register\n");
	else if (has(p, "heat_power") && chance(p, 35))
		buffer_addf(&head, "heat_source = power\n");
	else if (!has(p, "flow_rate"))
		assume_flow(p, &head);
	if (has(p, "water_pressure") && chance(p, 50))
		buffer_addf(&head, "pressure = water_pressure\n");
	if (!has(p, "immersion_power") && !has(p, "immersion_register") && chance(p, 60))
		buffer_addf(&head, "devices = compressor, circulation, backup_heater\n");
	buffer_add(&head, p->text.data, p->text.length);
	buffer_release(&p->text);
	p->text = head;
	add_meters(p);
	add_sources(p, wish);
	if (wish->rules)
		add_thresholds(p);
	if (wish->corrections)
		add_corrections(p);
}
