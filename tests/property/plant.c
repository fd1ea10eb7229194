/*
 * See plant.h. The configuration (plant_config.c) comes first, then each topic's messages
 * one after another, then what happens to the link and the sources; sorted by stamp at
 * the end.
 */
#include "plant_parts.h"

#include <heatbook/calendar.h>

#include <assert.h>

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
		plant_payload(p, topic, t_ms));
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
			(void)snprintf(topic, sizeof(topic), "%s/%s",
				plant_source_names[i], will ? "will" : "uptime");
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
	size_t length = strlen(plant_source_names[source]);
	for (size_t i = 0; i < p->count; i++) {
		struct plant_record *r = &p->records[i];
		if (r->t_ms >= from && r->t_ms < to &&
			strncmp(r->topic, plant_source_names[source], length) == 0) {
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
	plant_make_topics(p, span / (int64_t)wish->records * 5);
	plant_make_config(p, wish);
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
