/*
 * The [source] sections, and which source each channel belongs to.
 *
 * A channel belongs to the first [source] one of whose filters covers its topic filter,
 * else to the source that bears the topic's first level as its name, which is made where
 * no section declares it. Filters are compared as texts, level by level: what is covered
 * can be told before any message.
 */
#include "config_load.h"

#include <string.h>

static bool check_filter(const char *item, char why[static WHY_SIZE])
{
	return value_filter(item, true, why);
}

/* Does every topic that `topic`, itself a filter, stands for match `filter`?
 * MQTT 3.1.1, 4.7: # matches its parent level too, and no leading wildcard matches a
 * leading $. */
static bool filter_covers(const char *filter, const char *topic)
{
	if (topic[0] == '$' && (filter[0] == '+' || filter[0] == '#'))
		return false;
	for (;;) {
		size_t f = strcspn(filter, "/"), t = strcspn(topic, "/");
		if (f == 1 && filter[0] == '#')
			return true;
		bool many = t == 1 && topic[0] == '#';
		bool any = f == 1 && filter[0] == '+';
		if (many || (!any && (f != t || memcmp(filter, topic, f) != 0)))
			return false;
		filter += f;
		topic += t;
		if (!*topic)
			return !*filter || strcmp(filter, "/#") == 0;
		if (!*filter)
			return false;
		filter++;
		topic++;
	}
}

static bool source_covers(const struct source_config *s, const char *topic)
{
	for (size_t i = 0; i < s->topic_count; i++)
		if (filter_covers(s->topics[i], topic))
			return true;
	return false;
}

struct source_config *source_add(
	struct loader *l, const char *name, size_t length, int line)
{
	struct config *c = l->config;
	if (c->source_count == SOURCES_MOST) {
		remark(&l->faults, line,
			"source %.*s: at most %d sources; gather topics in a "
			"[source] section",
			(int)length, name, SOURCES_MOST);
		return NULL;
	}
	struct source_config *s = &c->sources[c->source_count++];
	*s = (struct source_config){.name = xstrndup(name, length), .line = line};
	return s;
}

static void load_source(struct loader *l, const struct section *section)
{
	struct source_config *s =
		source_add(l, section->name, strlen(section->name), section->line);
	if (!s)
		return;
	load_fields(l, SECTION_SOURCE, section, s);
	text_fold(s->will_present, strlen(s->will_present));
	text_fold(s->will_gone, strlen(s->will_gone));
	const struct entry *e = section_entry(section, "topics");
	if (e)
		s->topic_count = load_list(l, section, e, check_filter, &s->topics);
	if (strcmp(s->will_present, s->will_gone) == 0)
		remark(&l->faults, section->line,
			"[source %s]: will_present and will_gone must differ", s->name);
}

static int find_source(struct loader *l, const struct channel_config *channel)
{
	struct config *c = l->config;
	const char *topic = channel->topic;
	size_t first = strcspn(topic, "/");
	for (size_t i = 0; i < c->source_count; i++)
		if (source_covers(&c->sources[i], topic))
			return (int)i;
	for (size_t i = 0; i < c->source_count; i++)
		if (strlen(c->sources[i].name) == first &&
			memcmp(c->sources[i].name, topic, first) == 0)
			return (int)i;
	struct source_config *s = source_add(l, topic, first, channel->line);
	if (!s)
		return -1;
	load_fields(l, SECTION_SOURCE, NULL, s);
	s->implicit = true;
	return (int)(c->source_count - 1);
}

void load_sources(struct loader *l)
{
	struct config *c = l->config;
	c->sources = xcalloc(SOURCES_MOST, sizeof(*c->sources));
	const struct section *s = NULL;
	while ((s = document_next(&l->document, SECTION_SOURCE, s)))
		load_source(l, s);
	for (size_t i = 0; i < c->channel_count; i++)
		if (c->channels[i].topic)
			c->channels[i].source = find_source(l, &c->channels[i]);
}
