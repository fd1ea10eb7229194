/*
 * The table of topics. See topics.h; matching is MQTT 3.1.1, section 4.7.
 *
 * A hash table with open addressing maps topics to routes. Topics that the configuration
 * names in full are in it from the start and for good; those that only a filter with
 * wildcards can match, or none, are resolved once and remembered. Memory is bounded:
 * after REMEMBERED_MOST of them all are forgotten and it begins anew, and very long
 * topics are never remembered. Without wildcards nothing is remembered, since what is not
 * in the table concerns nobody.
 */
#include "topics.h"

#include <heatbook/decoder.h>

#include <string.h>

#define REMEMBERED_MOST       1024
#define REMEMBERED_TOPIC_MOST 256 /* bytes */

struct slot {
	uint64_t hash;
	struct entry *entry; /* NULL = free */
};

/* One block: the entry, its route's indices, the topic's bytes. */
struct entry {
	struct route route;
	bool permanent;
	size_t length;
	const char *topic;
};

struct topics {
	const struct config *config;
	const char **filters;
	size_t filter_count;
	bool wildcards;
	struct slot *slots;
	size_t slot_mask;
	size_t remembered;
	struct entry *fleeting; /* the last one that could not be remembered */
};

bool topic_matches(const char *filter, const char *topic, size_t topic_length)
{
	size_t i = 0;
	if (topic_length > 0 && topic[0] == '$' && (*filter == '+' || *filter == '#'))
		return false;
	for (const char *f = filter; *f; f++) {
		if (*f == '#')
			return true;
		if (*f == '+') {
			while (i < topic_length && topic[i] != '/')
				i++;
			continue;
		}
		if (i == topic_length)
			return strcmp(f, "/#") == 0; /* the parent level itself */
		if (*f != topic[i++])
			return false;
	}
	return i == topic_length;
}

/* ---- resolving ---- */

static bool source_matches(
	const struct source_config *source, const char *topic, size_t length)
{
	for (size_t i = 0; i < source->topic_count; i++)
		if (topic_matches(source->topics[i], topic, length))
			return true;
	return false;
}

/* What a topic concerns, by asking every filter. */
struct found {
	uint16_t channels[CHANNELS_MOST];
	uint16_t sources[SOURCES_MOST];
	uint16_t wills[SOURCES_MOST];
	size_t channel_count;
	size_t source_count;
	size_t will_count;
};

static void resolve(
	const struct config *config, const char *topic, size_t length, struct found *ret)
{
	uint64_t alive = 0; /* SOURCES_MOST bits */
	ret->channel_count = ret->source_count = ret->will_count = 0;
	for (size_t i = 0; i < config->channel_count; i++) {
		const struct channel_config *channel = &config->channels[i];
		if (!channel->topic || !topic_matches(channel->topic, topic, length))
			continue;
		ret->channels[ret->channel_count++] = (uint16_t)i;
		if (channel->source >= 0)
			alive |= UINT64_C(1) << channel->source;
	}
	for (size_t i = 0; i < config->source_count; i++) {
		const struct source_config *source = &config->sources[i];
		bool will = source->will_topic &&
			    topic_matches(source->will_topic, topic, length);
		if (will)
			ret->wills[ret->will_count++] = (uint16_t)i;
		/* A Will topic tells of life by its words alone. */
		else if (alive >> i & 1 || source_matches(source, topic, length))
			ret->sources[ret->source_count++] = (uint16_t)i;
	}
}

static struct entry *new_entry(
	const struct topics *t, const char *topic, size_t length, bool permanent)
{
	struct found found;
	resolve(t->config, topic, length, &found);
	size_t indices = found.channel_count + found.source_count + found.will_count;
	struct entry *entry =
		xcalloc(1, sizeof(*entry) + indices * sizeof(uint16_t) + length);
	uint16_t *channels = (uint16_t *)(entry + 1);
	uint16_t *sources = channels + found.channel_count;
	uint16_t *wills = sources + found.source_count;
	char *copy = (char *)(wills + found.will_count);
	memcpy(channels, found.channels, found.channel_count * sizeof(uint16_t));
	memcpy(sources, found.sources, found.source_count * sizeof(uint16_t));
	memcpy(wills, found.wills, found.will_count * sizeof(uint16_t));
	memcpy(copy, topic, length);
	*entry = (struct entry){.route = {channels, found.channel_count, sources,
					found.source_count, wills, found.will_count},
		.permanent = permanent,
		.length = length,
		.topic = copy};
	return entry;
}

/* ---- the table ---- */

static struct slot *find_slot(
	struct topics *t, uint64_t hash, const char *topic, size_t length)
{
	for (size_t i = hash & t->slot_mask;; i = (i + 1) & t->slot_mask) {
		struct slot *slot = &t->slots[i];
		if (!slot->entry ||
			(slot->hash == hash && slot->entry->length == length &&
				memcmp(slot->entry->topic, topic, length) == 0))
			return slot;
	}
}

static void forget_remembered(struct topics *t)
{
	struct slot *old = t->slots;
	t->slots = xcalloc(t->slot_mask + 1, sizeof(*t->slots));
	for (size_t i = 0; i <= t->slot_mask; i++) {
		struct entry *entry = old[i].entry;
		if (entry && entry->permanent)
			*find_slot(t, old[i].hash, entry->topic, entry->length) = old[i];
		else
			free(entry);
	}
	free(old);
	t->remembered = 0;
}

static struct entry *remember(
	struct topics *t, uint64_t hash, const char *topic, size_t length)
{
	struct entry *entry = new_entry(t, topic, length, false);
	if (length > REMEMBERED_TOPIC_MOST) {
		free(t->fleeting);
		t->fleeting = entry;
		return entry;
	}
	if (t->remembered == REMEMBERED_MOST)
		forget_remembered(t);
	*find_slot(t, hash, topic, length) = (struct slot){hash, entry};
	t->remembered++;
	return entry;
}

const struct route *topics_find(struct topics *t, const char *topic, size_t length)
{
	uint64_t hash = digest64(0, topic, length);
	const struct entry *entry = find_slot(t, hash, topic, length)->entry;
	if (!entry && t->wildcards)
		entry = remember(t, hash, topic, length);
	if (!entry)
		return NULL;
	const struct route *r = &entry->route;
	return r->channel_count || r->source_count || r->will_count ? r : NULL;
}

const char *const *topics_filters(const struct topics *topics, size_t *ret_count)
{
	*ret_count = topics->filter_count;
	return topics->filters;
}

/* ---- building ---- */

static void add_filter(struct topics *t, const char *filter)
{
	for (size_t i = 0; i < t->filter_count; i++)
		if (strcmp(t->filters[i], filter) == 0)
			return;
	t->filters = xrealloc(t->filters, t->filter_count + 1, sizeof(*t->filters));
	t->filters[t->filter_count++] = filter;
	t->wildcards |= strpbrk(filter, "+#") != NULL;
}

static void gather_filters(struct topics *t)
{
	const struct config *config = t->config;
	for (size_t i = 0; i < config->channel_count; i++)
		if (config->channels[i].topic)
			add_filter(t, config->channels[i].topic);
	for (size_t i = 0; i < config->source_count; i++) {
		const struct source_config *source = &config->sources[i];
		for (size_t k = 0; k < source->topic_count; k++)
			add_filter(t, source->topics[k]);
		if (source->will_topic)
			add_filter(t, source->will_topic);
	}
}

struct topics *topics_new(const struct config *config)
{
	struct topics *t = xcalloc(1, sizeof(*t));
	t->config = config;
	gather_filters(t);
	size_t most = t->filter_count + (t->wildcards ? REMEMBERED_MOST : 0), slots = 16;
	while (slots < 4 * most)
		slots *= 2;
	t->slots = xcalloc(slots, sizeof(*t->slots));
	t->slot_mask = slots - 1;
	for (size_t i = 0; i < t->filter_count; i++) {
		const char *topic = t->filters[i];
		size_t length = strlen(topic);
		uint64_t hash = digest64(0, topic, length);
		if (!strpbrk(topic, "+#"))
			*find_slot(t, hash, topic, length) =
				(struct slot){hash, new_entry(t, topic, length, true)};
	}
	return t;
}

void topics_free(struct topics *t)
{
	if (!t)
		return;
	for (size_t i = 0; i <= t->slot_mask; i++)
		free(t->slots[i].entry);
	free(t->slots);
	free(t->fleeting);
	free(t->filters);
	free(t);
}
