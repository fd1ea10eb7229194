/*
 * Messages into places: the tables, their bounds, and the payload's first look. See
 * survey.h.
 *
 * Two hash tables with open addressing find topics and places; a third, made when it is
 * first wanted, remembers by digest which places found no room, so that they are counted
 * once each.
 */
#include "survey.h"

#include "json.h"
#include "strip.h"

#include <string.h>

#define SLOTS         16384 /* of both tables, four times what they hold */
#define FURTHER_SLOTS 131072
#define FURTHER_MOST  65536

struct survey {
	const struct config *config;
	struct json *json;
	struct survey_topic *topics[SURVEY_PLACES_MOST];
	size_t topic_count;
	struct place *places[SURVEY_PLACES_MOST];
	size_t place_count;
	bool sorted;
	uint16_t topic_slots[SLOTS]; /* index + 1 */
	uint16_t place_slots[SLOTS];
	uint64_t *further; /* digests, 0 = free */
	struct survey_counts counts;
};

_Static_assert(
	SURVEY_PLACES_MOST < UINT16_MAX && SURVEY_PLACES_MOST * 4 <= SLOTS, "room");

const char *place_kind_name(enum place_kind kind)
{
	static const char *const names[PLACE_KINDS] = {
		[PLACE_NUMBER] = "number",
		[PLACE_WORD] = "word",
		[PLACE_TRUTH] = "true or false",
		[PLACE_INSTANT] = "time",
		[PLACE_MISSING] = "no value",
		[PLACE_BAD] = "not understood",
	};
	return names[kind];
}

struct survey *survey_new(const struct config *config)
{
	struct survey *s = xcalloc(1, sizeof(*s));
	s->config = config;
	s->json = json_new();
	s->counts.first_ms = s->counts.last_ms = -1;
	return s;
}

static void place_free(struct place *place)
{
	free(place->each);
	free(place->pointer);
	free(place->samples);
	free(place->words);
	free(place);
}

void survey_free(struct survey *s)
{
	if (!s)
		return;
	for (size_t i = 0; i < s->place_count; i++)
		place_free(s->places[i]);
	for (size_t i = 0; i < s->topic_count; i++) {
		free(s->topics[i]->name);
		free(s->topics[i]);
	}
	free(s->further);
	json_free(s->json);
	free(s);
}

/* Something that found no room, counted once. */
static void count_further(struct survey *s, uint64_t digest)
{
	digest += digest == 0;
	if (!s->further)
		s->further = xcalloc(FURTHER_SLOTS, sizeof(*s->further));
	for (size_t i = digest % FURTHER_SLOTS;; i = (i + 1) % FURTHER_SLOTS) {
		if (s->further[i] == digest)
			return;
		if (s->further[i] != 0)
			continue;
		if (s->counts.further == FURTHER_MOST) {
			s->counts.further_least = true;
			return;
		}
		s->further[i] = digest;
		s->counts.further++;
		return;
	}
}

static struct survey_topic *find_topic(struct survey *s, const struct record *record)
{
	uint64_t digest = digest64(1, record->topic, record->topic_length);
	size_t slot = digest % SLOTS;
	for (; s->topic_slots[slot]; slot = (slot + 1) % SLOTS) {
		struct survey_topic *topic = s->topics[s->topic_slots[slot] - 1];
		if (strncmp(topic->name, record->topic, record->topic_length) == 0 &&
			!topic->name[record->topic_length])
			return topic;
	}
	/* A topic without a place of its own would say nothing. */
	if (s->topic_count == SURVEY_PLACES_MOST ||
		s->place_count == SURVEY_PLACES_MOST) {
		count_further(s, digest);
		return NULL;
	}
	struct survey_topic *topic = xcalloc(1, sizeof(*topic));
	topic->name = xstrndup(record->topic, record->topic_length);
	topic->spacing = (struct spacing){.last_ms = -1, .longest_ms = -1};
	s->topics[s->topic_count++] = topic;
	s->topic_slots[slot] = (uint16_t)s->topic_count;
	return topic;
}

static uint64_t place_digest(const struct survey_topic *topic, enum place_form form,
	const char *each, const char *pointer)
{
	uint64_t digest = digest64(2, topic->name, strlen(topic->name)) + (uint64_t)form;
	digest = digest64(digest, each, strlen(each) + 1);
	return digest64(digest, pointer, strlen(pointer));
}

struct place *survey_place(struct survey_message *m, enum place_form form,
	const char *each, const char *pointer)
{
	struct survey *s = m->survey;
	uint64_t digest = place_digest(m->topic, form, each, pointer);
	size_t slot = digest % SLOTS;
	for (; s->place_slots[slot]; slot = (slot + 1) % SLOTS) {
		struct place *place = s->places[s->place_slots[slot] - 1];
		if (place->topic == m->topic && place->form == form &&
			strcmp(place->each, each) == 0 &&
			strcmp(place->pointer, pointer) == 0)
			return place;
	}
	if (s->place_count == SURVEY_PLACES_MOST ||
		m->topic->places == SURVEY_TOPIC_MOST ||
		strlen(pointer) > SURVEY_PATH_MOST || strlen(each) > SURVEY_PATH_MOST) {
		count_further(s, digest);
		return NULL;
	}
	struct place *place = xcalloc(1, sizeof(*place));
	*place = (struct place){.topic = m->topic,
		.form = form,
		.each = xstrdup(each),
		.pointer = xstrdup(pointer),
		.spacing = {.last_ms = -1, .longest_ms = -1}};
	s->places[s->place_count++] = place;
	s->place_slots[slot] = (uint16_t)s->place_count;
	m->topic->places++;
	return place;
}

/* The whole payload as one value, or why it is none. */
static void take_bare(
	struct survey_message *m, const char *text, size_t length, int bad_reason)
{
	struct place *place = survey_place(m, PLACE_BARE, "", "");
	if (!place)
		return;
	place_report(place, m, m->t_ms);
	if (bad_reason != BAD_NONE)
		place_take_bad(place, bad_reason, text, length);
	else if (length == 0)
		place_take_missing(place);
	else
		place_take_text(place, m, text, length);
}

static void take_payload(struct survey_message *m, const struct record *record)
{
	const char *text = (const char *)record->payload;
	size_t length = record->payload_length;
	enum bad_reason reason = BAD_NONE;
	strip(&text, &length);
	if (record->payload_length > PAYLOAD_MOST)
		reason = BAD_TOO_LONG;
	else if (is_binary(text, length))
		reason = BAD_BINARY;
	if (reason != BAD_NONE || length == 0 ||
		(*text != '{' && *text != '[' && *text != '"')) {
		take_bare(m, text, length, reason);
		return;
	}
	const cJSON *root = json_parse(m->survey->json, text, length, &reason);
	if (root && cJSON_IsString(root))
		take_bare(m, root->valuestring, strlen(root->valuestring), BAD_NONE);
	else if (root)
		survey_json(m, root);
	else
		take_bare(m, text, length, *text == '"' ? BAD_NONE : (int)reason);
}

void survey_take(struct survey *s, const struct record *record)
{
	if (record->kind != RECORD_MESSAGE)
		return;
	s->counts.messages++;
	s->counts.retained += record->retained;
	if (s->counts.first_ms < 0 || record->t_ms < s->counts.first_ms)
		s->counts.first_ms = record->t_ms;
	if (record->t_ms > s->counts.last_ms)
		s->counts.last_ms = record->t_ms;
	if (record->topic_length == 0 || record->topic_length > SURVEY_PATH_MOST ||
		memchr(record->topic, '\0', record->topic_length)) {
		s->counts.nameless++;
		return;
	}
	struct survey_message m = {.survey = s,
		.config = s->config,
		.topic = find_topic(s, record),
		.retained = record->retained,
		.t_ms = record->t_ms};
	if (!m.topic)
		return;
	m.topic->messages++;
	m.topic->retained += record->retained;
	if (!record->retained)
		spacing_add(&m.topic->spacing, record->t_ms);
	s->sorted = false;
	take_payload(&m, record);
}

/* ---- reading ---- */

static int compare_places(const void *a, const void *b)
{
	const struct place *x = *(const struct place *const *)a;
	const struct place *y = *(const struct place *const *)b;
	int order = strcmp(x->topic->name, y->topic->name);
	if (order == 0)
		order = (int)x->form - (int)y->form;
	if (order == 0)
		order = strcmp(x->each, y->each);
	return order ? order : strcmp(x->pointer, y->pointer);
}

static void index_places(struct survey *s)
{
	memset(s->place_slots, 0, sizeof(s->place_slots));
	for (size_t i = 0; i < s->place_count; i++) {
		const struct place *p = s->places[i];
		size_t slot =
			place_digest(p->topic, p->form, p->each, p->pointer) % SLOTS;
		while (s->place_slots[slot])
			slot = (slot + 1) % SLOTS;
		s->place_slots[slot] = (uint16_t)(i + 1);
	}
}

const struct place *const *survey_places(struct survey *s, size_t *ret_count)
{
	if (!s->sorted) {
		qsort(s->places, s->place_count, sizeof(struct place *), compare_places);
		index_places(s);
	}
	s->sorted = true;
	*ret_count = s->place_count;
	return (const struct place *const *)s->places;
}

const struct survey_topic *survey_topic(const struct survey *s, size_t index)
{
	return s->topics[index];
}

size_t survey_topic_count(const struct survey *s)
{
	return s->topic_count;
}

void survey_counts(const struct survey *s, struct survey_counts *ret)
{
	*ret = s->counts;
}
