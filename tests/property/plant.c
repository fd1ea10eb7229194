/*
 * See plant.h. The configuration comes first, then each topic's messages one after
 * another, then what happens to the link and the sources; sorted by stamp at the end.
 */
#include "plant.h"

#include <heatbook/calendar.h>

#include <assert.h>

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
static const char *const source_names[PLANT_SOURCES] = {"alpha", "beta", "gamma"};

/* Zones with days of 23, 23.5, 24.5 and 25 hours, and offsets of half hours; the day
 * before each of their changes, or any other day. */
static const struct {
	const char *zone;
	struct date days[3];
} places[] = {
	{"Europe/Berlin", {{2026, 3, 28}, {2026, 10, 24}, {2026, 1, 14}}},
	{"Asia/Kolkata", {{2025, 12, 31}, {2026, 6, 1}, {2024, 2, 28}}},
	{"Australia/Lord_Howe", {{2026, 4, 4}, {2026, 10, 3}, {2026, 8, 20}}},
};

size_t plant_choose(uint64_t *random, size_t count)
{
	assert(count > 0);
	return (size_t)(unit_random(random) % count);
}

bool plant_chance(uint64_t *random, int percent)
{
	return plant_choose(random, 100) < (size_t)percent;
}

static bool chance(struct plant *p, int percent)
{
	return plant_chance(&p->random, percent);
}

static int64_t between(struct plant *p, int64_t low, int64_t high)
{
	return unit_random_between(&p->random, low, high);
}

#define ONE_OF(p, words) (words)[plant_choose(&(p)->random, ARRAY_LEN(words))]

static bool is_register(const struct plant_role *role)
{
	for (size_t i = 0; i < ARRAY_LEN(register_roles); i++)
		if (role == &register_roles[i])
			return true;
	return false;
}

/* ---- the configuration ---- */

static void make_topics(struct plant *p, int64_t interval_ms)
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
		(void)snprintf(t->name, sizeof(t->name), "%s/%c", source_names[t->source],
			(char)('a' + (char)i));
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
		buffer_addf(&p->text, "[source %s]\ntopics = %s/#\n%s", source_names[i],
			source_names[i],
			wish->lasting ? "silent_after = none\n"
				      : ONE_OF(p, silent_words));
		if (chance(p, 60))
			buffer_addf(&p->text, "will_topic = %s/will\n", source_names[i]);
	}
}

/* Two after each other of some numbers, with edges at any millisecond. */
static void add_corrections(struct plant *p)
{
	char edges[3][32];
	for (size_t c = 0; c < p->channel_count; c++) {
		const struct plant_role *role = p->channels[c].role;
		int64_t t_ms = p->from_ms - between(p, 0, MS_PER_DAY);
		if (role->words || is_register(role) || chance(p, 60))
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

static void make_config(struct plant *p, const struct plant_wish *wish)
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

/* ---- payloads ---- */

static int64_t own_time(struct plant *p, size_t topic, int64_t stamp_ms)
{
	size_t kind = plant_choose(&p->random, 100);
	const struct plant_topic *t = &p->topics[topic];
	if (stamp_ms >= t->still_ms && stamp_ms < t->moves_ms)
		return t->still_ms;
	if (kind < 68)
		return stamp_ms - between(p, 0, 4000);
	if (kind < 83)
		return stamp_ms - between(p, 0, 90000);
	if (kind < 91)
		return stamp_ms - between(p, 0, 40 * MS_PER_MIN);
	if (kind < 94)
		return stamp_ms - between(p, 0, 26 * MS_PER_HOUR);
	if (kind < 98)
		return stamp_ms + between(p, 0, 120000);
	return kind == 98 ? stamp_ms + 300000
			  : 0; /* not believed; a board without clock */
}

static void add_time(struct plant *p, struct buffer *out, int64_t t_ms)
{
	char text[32];
	switch (plant_choose(&p->random, 3)) {
	case 0:
		buffer_addf(out, "%lld.%03lld", (long long)(t_ms / 1000),
			(long long)(t_ms % 1000));
		return;
	case 1:
		buffer_addf(out, "%lld", (long long)t_ms);
		return;
	default:
		time_text_utc(t_ms, text);
		buffer_addf(out, "\"%s\"", text);
	}
}

/* Mostly a few steps more; now and then many, a step less, another register. */
static double register_word(struct plant *p, struct plant_channel *c)
{
	size_t kind = plant_choose(&p->random, 100);
	if (kind < 3)
		return (double)between(p, 0, 500000) / 100; /* for this once */
	if (kind < 5)
		c->last = (double)between(p, 0, 1) * (double)between(p, 0, 6000) / 10;
	else if (kind < 8)
		return c->last - 0.01;
	else if (kind < 85)
		c->last += (double)between(p, 0, kind < 75 ? 6 : 200) / 100;
	if (c->role == &register_roles[1] && c->last >= 50)
		c->last -= 50;
	return c->last;
}

/* The word of a channel, without quotes. */
static void add_word(struct plant *p, struct plant_channel *c, struct buffer *out)
{
	static const char *const odd[] = {
		"n/a", "", "null", "inf", "0x1f", "1,234", "weird", "-"};
	const struct plant_role *role = c->role;
	if (chance(p, 5)) {
		buffer_addf(out, "%s", ONE_OF(p, odd));
		return;
	}
	if (role->words) {
		size_t n = 0;
		while (role->words[n])
			n++;
		buffer_addf(out, "%s", role->words[plant_choose(&p->random, n)]);
		return;
	}
	if (is_register(role)) {
		buffer_addf(out, "%.2f", register_word(p, c));
		return;
	}
	if (chance(p, 60)) {
		double part = (double)between(p, 0, 10000) / 10000.0;
		bool zero = role->often_zero && chance(p, 40);
		c->last = zero ? 0.0 : role->low + part * (role->high - role->low);
	}
	buffer_addf(out, "%.2f", c->last);
}

static void add_member(struct plant *p, struct plant_channel *c, struct buffer *out)
{
	struct buffer word = {0};
	double number;
	char *end;
	if (chance(p, 8))
		return; /* no report */
	add_word(p, c, &word);
	const char *text = buffer_text(&word);
	number = strtod(text, &end);
	bool plain =
		*text && !*end && isfinite(number) && text[1] != 'x' && !chance(p, 10);
	const char *quote = plain || strcmp(text, "null") == 0 ? "" : "\"";
	buffer_addf(out, ",\"%s\":%s%s%s", c->role->name, quote, text, quote);
	buffer_release(&word);
}

static void add_object(
	struct plant *p, size_t topic, int64_t t_ms, int64_t stamp_ms, struct buffer *out)
{
	buffer_addf(out, "{\"time\":");
	add_time(p, out, chance(p, 3) ? own_time(p, topic, stamp_ms) : t_ms);
	for (size_t c = 0; c < p->channel_count; c++)
		if (p->channels[c].topic == topic)
			add_member(p, &p->channels[c], out);
	buffer_addf(out, "}");
}

static void add_samples(
	struct plant *p, size_t topic, int64_t stamp_ms, struct buffer *out)
{
	int64_t count = between(p, 0, 4), t_ms = own_time(p, topic, stamp_ms);
	buffer_addf(out, "{\"samples\":[");
	for (int64_t i = 0; i < count; i++) {
		buffer_addf(out, i ? "," : "");
		add_object(p, topic, t_ms, stamp_ms, out);
		t_ms = chance(p, 10) ? t_ms : t_ms - between(p, 0, 50000);
	}
	buffer_addf(out, "]}");
}

static char *payload(struct plant *p, size_t topic, int64_t stamp_ms)
{
	struct buffer out = {0};
	const enum topic_form form = p->topics[topic].form;
	if (form == FORM_EACH)
		add_samples(p, topic, stamp_ms, &out);
	else if (form == FORM_JSON)
		add_object(p, topic, own_time(p, topic, stamp_ms), stamp_ms, &out);
	for (size_t c = 0; form == FORM_BARE && c < p->channel_count; c++)
		if (p->channels[c].topic == topic)
			add_word(p, &p->channels[c], &out);
	if (form != FORM_BARE && chance(p, 2))
		out.length /= 2; /* broken JSON */
	char *text = xstrdup(buffer_text(&out));
	buffer_release(&out);
	return text;
}

/* ---- records ---- */

static void add_record(struct plant *p, enum record_kind kind, bool retained,
	int64_t t_ms, const char *topic, char *text)
{
	if (p->count == p->capacity) {
		p->capacity = p->capacity ? 2 * p->capacity : 256;
		p->records = xrealloc(p->records, p->capacity, sizeof(*p->records));
	}
	p->records[p->count++] = (struct plant_record){.kind = kind,
		.retained = retained,
		.t_ms = t_ms,
		.topic = xstrdup(topic),
		.payload = text};
}

static void add_message(struct plant *p, size_t topic, bool retained, int64_t t_ms)
{
	add_record(p, RECORD_MESSAGE, retained, t_ms, p->topics[topic].name,
		payload(p, topic, t_ms));
	if (chance(p, 2)) /* the same once more */
		add_record(p, RECORD_MESSAGE, retained, t_ms, p->topics[topic].name,
			xstrdup(p->records[p->count - 1].payload));
}

static int64_t next_time(struct plant *p, int64_t t_ms, int64_t interval_ms)
{
	size_t kind = plant_choose(&p->random, 1000);
	t_ms += between(p, 0, 2 * interval_ms);
	if (kind < 3)
		t_ms += between(p, 0, 30 * MS_PER_HOUR);
	else if (kind < 20)
		t_ms += between(p, 0, 3 * MS_PER_HOUR);
	else if (kind < 60)
		t_ms = floor_div(t_ms, MS_PER_MIN) * MS_PER_MIN + MS_PER_MIN;
	else if (kind < 300)
		t_ms = floor_div(t_ms, 1000) * 1000 + 1000;
	return t_ms;
}

static void make_messages(struct plant *p, size_t topic)
{
	int64_t interval = p->topics[topic].interval_ms, t_ms = p->from_ms;
	while ((t_ms = next_time(p, t_ms, interval)) < p->to_ms) {
		if (chance(p, 1)) /* a burst */
			for (int64_t n = between(p, 2, 12); n > 0 && t_ms < p->to_ms;
				n--) {
				add_message(p, topic, false, t_ms);
				t_ms += between(p, 0, 800);
			}
		if (t_ms < p->to_ms)
			add_message(p, topic, false, t_ms);
	}
}

/* A broker's backlog, or what else comes soon after a subscription. */
static void make_backlog(struct plant *p, int64_t t_ms)
{
	int64_t most_ms = chance(p, 50) ? 100 : 3000;
	for (int64_t n = between(p, 0, 12); n > 0; n--)
		add_message(p, plant_choose(&p->random, p->topic_count), false,
			t_ms += between(p, 0, most_ms));
}

/* Connections: link facts, and what each subscription brings: retained words, a backlog,
 * now and then another subscription soon after it. */
static void make_links(struct plant *p)
{
	for (int64_t n = between(p, 2, 8); n > 0; n--) {
		int64_t t_ms = between(p, p->from_ms, p->to_ms - 50000);
		if (chance(p, 50))
			add_record(
				p, RECORD_LOST, false, t_ms - 5000, "", xstrdup("idle"));
		if (chance(p, 30))
			add_record(p, RECORD_START, false, t_ms - 2000, "", xstrdup("1"));
		add_record(p, RECORD_SUBSCRIBED, false, t_ms, "", xstrdup(""));
		for (size_t i = 0; i < p->topic_count; i++)
			if (chance(p, 60))
				add_message(p, i, true, t_ms += between(p, 1, 40));
		if (chance(p, 60))
			make_backlog(p, t_ms);
		if (chance(p, 20))
			add_record(p, RECORD_SUBSCRIBED, false,
				t_ms + between(p, 0, 7000), "", xstrdup(""));
	}
}

static void make_lives(struct plant *p)
{
	static const char *const words[] = {
		"online", "offline", "OFFLINE", "online", "what"};
	char topic[32];
	for (size_t i = 0; i < PLANT_SOURCES; i++)
		for (int64_t n = between(p, 0, 14); n > 0; n--) {
			bool will = chance(p, 60);
			(void)snprintf(topic, sizeof(topic), "%s/%s", source_names[i],
				will ? "will" : "uptime");
			add_record(p, RECORD_MESSAGE, chance(p, 25),
				between(p, p->from_ms, p->to_ms - 1), topic,
				xstrdup(will ? ONE_OF(p, words) : "1"));
		}
	for (int64_t n = between(p, 0, 5); n > 0; n--)
		add_record(p, RECORD_MESSAGE, false, between(p, p->from_ms, p->to_ms - 1),
			"elsewhere/x", xstrdup("1"));
}

/* Steps of the clock; and records that are not to be trusted, alone and in spans. */
static void make_clocks(struct plant *p)
{
	for (int64_t n = between(p, 1, 8); n > 0; n--) {
		int64_t t_ms = between(p, p->from_ms, p->to_ms - 1);
		if (p->count > 0 && chance(p, 40)) /* with a message at its instant */
			t_ms = p->records[plant_choose(&p->random, p->count)].t_ms;
		bool forward = chance(p, 65);
		add_record(p, RECORD_CLOCK_STEP, false, t_ms, "", xstrdup(""));
		p->records[p->count - 1].number[0] =
			forward ? between(p, 2000, 5 * MS_PER_HOUR)
				: -between(p, 2000, 2 * MS_PER_HOUR);
		if (!forward && chance(p, 50))
			p->records[p->count - 1].number[1] = t_ms;
	}
	int64_t from = between(p, p->from_ms, p->to_ms);
	int64_t to = from + between(p, 0, 2 * MS_PER_HOUR);
	for (size_t i = 0; i < p->count; i++) {
		struct plant_record *r = &p->records[i];
		r->unsure = chance(p, 3) || (r->t_ms >= from && r->t_ms < to);
	}
}

static int by_stamp(const void *a, const void *b)
{
	const struct plant_record *left = a, *right = b;
	return (left->t_ms > right->t_ms) - (left->t_ms < right->t_ms);
}

/* A whole source is silent for a while: its records there go. */
static void silence(struct plant *p)
{
	size_t source = plant_choose(&p->random, PLANT_SOURCES), kept = 0;
	int64_t from = between(p, p->from_ms, p->to_ms);
	int64_t to =
		from + between(p, MS_PER_MIN, (p->to_ms - p->from_ms) / 3 + MS_PER_MIN);
	size_t length = strlen(source_names[source]);
	for (size_t i = 0; i < p->count; i++) {
		struct plant_record *r = &p->records[i];
		if (r->t_ms >= from && r->t_ms < to &&
			strncmp(r->topic, source_names[source], length) == 0) {
			free(r->topic);
			free(r->payload);
			continue;
		}
		p->records[kept++] = *r;
	}
	p->count = kept;
}

void plant_make(struct plant *p, uint64_t seed, const struct plant_wish *wish)
{
	*p = (struct plant){.random = seed * UINT64_C(0x9e3779b97f4a7c15) + 1};
	size_t place = plant_choose(&p->random, ARRAY_LEN(places));
	p->zone = wish->zone ? wish->zone : places[place].zone;
	ck_assert_int_eq(calendar_set_zone(p->zone), 0);
	p->from_ms = calendar_day_start(places[place].days[plant_choose(&p->random, 3)]) +
		     between(p, 0, MS_PER_DAY);
	int64_t span = wish->span_ms ? wish->span_ms
				     : between(p, MS_PER_DAY / 2, 4 * MS_PER_DAY);
	p->to_ms = p->from_ms + span;
	make_topics(p, span / (int64_t)wish->records * 5);
	make_config(p, wish);
	for (size_t i = 0; i < p->topic_count; i++)
		make_messages(p, i);
	make_links(p);
	make_lives(p);
	if (wish->clocks)
		make_clocks(p);
	for (int64_t n = between(p, 0, 3); n > 0; n--)
		silence(p);
	if (p->count == 0)
		add_message(p, 0, false, p->from_ms);
	qsort(p->records, p->count, sizeof(*p->records), by_stamp);
}

void plant_release(struct plant *p)
{
	for (size_t i = 0; i < p->count; i++) {
		free(p->records[i].topic);
		free(p->records[i].payload);
	}
	free(p->records);
	buffer_release(&p->text);
}

struct config *plant_config(const struct plant *p, const char *directory)
{
	struct config *config = NULL;
	struct faults faults = {0};
	struct buffer text = {0};
	buffer_add(&text, p->text.data, p->text.length);
	buffer_addf(&text, "[store]\nfile = %s/store.db\n[journal]\ntail = %s/tail\n",
		directory, directory);
	int r = config_parse(
		"plant", buffer_text(&text), text.length, &config, &faults, NULL);
	ck_assert_msg(r == 0, "%s\n%.3000s", faults.count ? faults.lines[0] : "?",
		buffer_text(&text));
	faults_release(&faults);
	buffer_release(&text);
	return config;
}

struct record plant_record(const struct plant *p, size_t i)
{
	const struct plant_record *r = &p->records[i];
	return (struct record){
		.kind = r->kind,
		.retained = r->retained,
		.unsure = r->unsure,
		.t_ms = r->t_ms,
		.number = {r->number[0], r->number[1]},
		.boot_ms = -1,
		.topic = r->topic,
		.topic_length = strlen(r->topic),
		.payload = (const unsigned char *)r->payload,
		.payload_length = strlen(r->payload),
	};
}
