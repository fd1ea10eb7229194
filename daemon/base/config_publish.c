/*
 * The section [publish]: a prefix that is nobody else's.
 *
 * Devices listen to topics in the tree that they publish in (a word for "set" beside a
 * word for "is"), so a message of ours there could be taken for an order, and on their
 * own topic for their word. Therefore the prefix must not lie over, in or under what a
 * channel or a source names. A filter that begins with a wildcard names no tree: what of
 * ours it would bring back is left out (subscriber.c).
 *
 * MQTT 3.1.1, 4.7 (4.7 of 5.0 is the same): a leading $ is the broker's (4.7.2),
 * wildcards are not for publishing (4.7.1), empty levels are allowed but mistaken for
 * none (4.7.3).
 */
#include "config_load.h"

#include <string.h>

#define PREFIX_MOST 200 /* bytes: heatbook's own choice; MQTT's are 65,535 */

static bool check_prefix(const char *prefix, char why[static WHY_SIZE])
{
	size_t length = strlen(prefix);
	const char *fault = NULL;
	if (prefix[0] == '$')
		fault = "must not begin with $: these topics are the broker's (MQTT "
			"3.1.1, 4.7.2)";
	else if (prefix[0] == '/' || prefix[length - 1] == '/' || strstr(prefix, "//"))
		fault = "must have no empty level: no / at its beginning or end, nor two "
			"side by side";
	else if (length > PREFIX_MOST)
		fault = "must have 200 bytes at most";
	for (size_t i = 0; !fault && i < length; i++)
		if (prefix[i] <= ' ' || prefix[i] > '~')
			fault = "must be of printable ASCII without blanks, so that "
				"every tool can name it";
	if (fault)
		(void)snprintf(why, WHY_SIZE, "%s", fault);
	return !fault;
}

/* Do they lie in one tree: as far as both go, do their levels match, one of them by its
 * name? */
static bool meets(const char *filter, const char *prefix)
{
	bool named = false;
	for (;;) {
		size_t f = strcspn(filter, "/"), p = strcspn(prefix, "/");
		if (f == 1 && filter[0] == '#')
			return named;
		bool any = f == 1 && filter[0] == '+';
		if (!any && (f != p || memcmp(filter, prefix, f) != 0))
			return false;
		named = named || !any;
		if (!filter[f] || !prefix[p])
			return named;
		filter += f + 1;
		prefix += p + 1;
	}
}

static bool refuse(struct loader *l, const struct section *s, const struct entry *e,
	const char *filter, const char *kind, const char *name)
{
	if (!filter || !meets(filter, e->value))
		return false;
	entry_fault(l, s, e,
		"lies in one tree with topic %s of [%s %s], whose device might listen "
		"there; must be a prefix of heatbook's own, such as heatbook",
		filter, kind, name);
	return true;
}

/* The first clash is told: the prefix has to be another one anyway. */
static void check_clashes(
	struct loader *l, const struct section *s, const struct entry *e)
{
	const struct config *c = l->config;
	for (size_t i = 0; i < c->channel_count; i++)
		if (refuse(l, s, e, c->channels[i].topic, "channel", c->channels[i].name))
			return;
	for (size_t i = 0; i < c->source_count; i++) {
		const struct source_config *source = &c->sources[i];
		for (size_t k = 0; k < source->topic_count; k++)
			if (refuse(l, s, e, source->topics[k], "source", source->name))
				return;
		if (refuse(l, s, e, source->will_topic, "source", source->name))
			return;
	}
}

void load_publish(struct loader *l)
{
	struct publish_config *p = &l->config->publish;
	const struct section *s = document_section(&l->document, SECTION_PUBLISH);
	const struct entry *e = section_entry(s, "prefix");
	char why[WHY_SIZE];
	load_fields(l, SECTION_PUBLISH, s, p);
	if (s && !e)
		remark(&l->notes, s->line,
			"[publish] has no prefix: nothing is published");
	if (!e || !p->prefix)
		return;
	if (!check_prefix(e->value, why))
		entry_fault(l, s, e, "%s", why);
	else
		check_clashes(l, s, e);
	if (!l->config->broker.host)
		remark(&l->notes, e->line,
			"[publish] has no use without a host in [broker]");
}
