/*
 * Sources: topics that tell whether a device is there, and sources that are slow by
 * nature. See view.h.
 *
 * A topic whose words are those of presence is a Will topic (MQTT 3.1.1, 3.1.2.5), for
 * what lies below the same parent. A source that speaks more seldom than the default
 * silence allows gets a longer one, else its values would end between two messages.
 */
#include "view.h"

#include <string.h>

#define SILENT_DEFAULT_MS (10 * MS_PER_MIN)

static struct guess_source *add_source(struct views *views)
{
	struct guesses *g = views->guesses;
	g->sources = xrealloc(g->sources, g->source_count + 1, sizeof(*g->sources));
	struct guess_source *s = &g->sources[g->source_count++];
	*s = (struct guess_source){0};
	return s;
}

static bool name_taken(const struct views *views, const char *name)
{
	for (size_t i = 0; i < views->config->source_count; i++)
		if (!views->config->sources[i].implicit &&
			strcmp(views->config->sources[i].name, name) == 0)
			return true;
	for (size_t i = 0; i < views->guesses->source_count; i++)
		if (strcmp(views->guesses->sources[i].name, name) == 0)
			return true;
	return false;
}

static bool is_name(const char *text, size_t length)
{
	if (length == 0 || length > 40 || text[0] < 'a' || text[0] > 'z')
		return false;
	return strspn(text, "abcdefghijklmnopqrstuvwxyz0123456789_") >= length;
}

/* Names the source of what lies below `parent`; false when that cannot be written. */
static bool name_source(const struct views *views, const char *parent, size_t length,
	struct guess_source *s)
{
	_cleanup_(freep) char *copy = xstrndup(parent, length);
	char plain[64];
	const char *last = strrchr(copy, '/');
	if (!last && is_name(copy, length) && !name_taken(views, copy)) {
		memcpy(s->name, copy, length + 1);
		return true;
	}
	words_plain(last ? last + 1 : copy, plain, sizeof(plain));
	bool letter = plain[0] >= 'a' && plain[0] <= 'z';
	(void)snprintf(
		s->name, sizeof(s->name), "%s%.30s", letter ? "" : "source_", plain);
	for (unsigned n = 2; name_taken(views, s->name); n++)
		(void)snprintf(s->name, sizeof(s->name), "%s%.30s_%u",
			letter ? "" : "source_", plain, n);
	(void)snprintf(s->topics, sizeof(s->topics), "%s/#", copy);
	return is_writable(s->topics, 6) && !strchr(copy, ',');
}

/* Does a proposed channel lie below `parent`? */
static bool has_channel(const struct views *views, const char *parent, size_t length)
{
	for (size_t i = 0; i < views->count; i++) {
		const struct guess *g = views->items[i].guess;
		const char *topic = g->place->topic->name;
		if (g->kind == GUESS_CHANNEL && strncmp(topic, parent, length) == 0 &&
			topic[length] == '/')
			return true;
	}
	return false;
}

/* ---- presence ---- */

static const char *counterpart(const char *word)
{
	static const char *const pairs[][2] = {{"online", "offline"},
		{"connected", "disconnected"}, {"available", "unavailable"},
		{"alive", "dead"}, {"present", "gone"}, {"up", "down"}};
	for (size_t i = 0; i < ARRAY_LEN(pairs); i++)
		for (size_t k = 0; k < 2; k++)
			if (strcmp(pairs[i][k], word) == 0)
				return pairs[i][1 - k];
	return NULL;
}

/* The words of presence that a place says; false when it says others too. */
static bool presence_words(
	const struct place *p, const char **ret_present, const char **ret_gone)
{
	*ret_present = *ret_gone = NULL;
	for (size_t i = 0; i < p->word_count; i++) {
		enum heard_state heard = heard_state(p->words[i]);
		if (heard != HEARD_PRESENT && heard != HEARD_GONE)
			return false;
		*(heard == HEARD_PRESENT ? ret_present : ret_gone) = p->words[i];
	}
	if (!*ret_present && !*ret_gone)
		return false;
	if (!*ret_present)
		*ret_present = counterpart(*ret_gone);
	if (!*ret_gone)
		*ret_gone = counterpart(*ret_present);
	return true;
}

static void take_presence(struct views *views, struct view *v)
{
	const char *present, *gone, *topic = v->place->topic->name;
	const char *end = strrchr(topic, '/');
	if (v->place->form != PLACE_BARE || v->place->more_words ||
		v->place->word_count == 0 ||
		(v->guess->kind != GUESS_UNSURE && v->guess->kind != GUESS_NOTHING) ||
		!presence_words(v->place, &present, &gone))
		return;
	v->guess->kind = GUESS_WILL;
	v->guess->name[0] = '\0';
	size_t n = end ? (size_t)(end - topic) : 0;
	if (n == 0 || !has_channel(views, topic, n) || !is_writable(topic, 10))
		return;
	for (size_t i = 0; i < views->guesses->source_count; i++) {
		const char *other = views->guesses->sources[i].will_topic;
		if (other && strncmp(other, topic, n) == 0 && !strchr(other + n + 1, '/'))
			return; /* the first of a parent stands for it */
	}
	struct guess_source s = {.will_topic = topic};
	if (!name_source(views, topic, n, &s))
		return;
	if (present && strcasecmp(present, "online") != 0 && is_writable(present, 12))
		s.will_present = present;
	if (gone && strcasecmp(gone, "offline") != 0 && is_writable(gone, 9))
		s.will_gone = gone;
	s.reason = xasprintf("its words are those of presence%s",
		v->place->retained ? ", and it is retained" : "");
	*add_source(views) = s;
}

/* ---- silence ---- */

static bool lies_below(const char *topic, const char *parent, size_t length)
{
	return strncmp(topic, parent, length) == 0 &&
	       (topic[length] == '/' || topic[length] == '\0');
}

/* The longest silence of the channels below `parent`: the most talkative topic counts. -1
 * when no topic spoke twice; *ret_states when none of them is a number. */
static int64_t silence_of(
	const struct views *views, const char *parent, size_t length, bool *ret_states)
{
	int64_t least = -1;
	*ret_states = true;
	for (size_t i = 0; i < views->count; i++) {
		const struct guess *g = views->items[i].guess;
		const struct survey_topic *topic = g->place->topic;
		if (g->kind != GUESS_CHANNEL || !lies_below(topic->name, parent, length))
			continue;
		*ret_states &= g->unit == NULL;
		if (topic->spacing.count &&
			(least < 0 || topic->spacing.longest_ms < least))
			least = topic->spacing.longest_ms;
	}
	return least;
}

static size_t parent_length(const struct guess_source *s)
{
	return s->topics[0] ? strlen(s->topics) - strlen("/#") : strlen(s->name);
}

static const char *parent_of(const struct guess_source *s)
{
	return s->topics[0] ? s->topics : s->name;
}

static void take_silence(struct guess_source *s, int64_t silence)
{
	char *was = s->reason;
	s->silent_after_ms = silence >= 0 ? nice_span(3 * silence) : -1;
	s->reason = xasprintf("%s%s%s", was ? was : "", was ? "; " : "",
		silence >= 0 ? "slow by nature: three times its longest silence here"
			     : "it speaks only when something changes");
	free(was);
}

/* Does a section of the configuration or of ours stand for the first level? */
static bool is_declared(const struct views *views, const char *first, size_t length)
{
	for (size_t i = 0; i < views->config->source_count; i++) {
		const struct source_config *s = &views->config->sources[i];
		if (!s->implicit && strlen(s->name) == length &&
			memcmp(s->name, first, length) == 0)
			return true;
	}
	for (size_t i = 0; i < views->guesses->source_count; i++) {
		const struct guess_source *s = &views->guesses->sources[i];
		if (parent_length(s) == length &&
			memcmp(parent_of(s), first, length) == 0)
			return true;
	}
	return false;
}

static void check_first_level(struct views *views, const char *topic)
{
	size_t length = strcspn(topic, "/");
	bool states = false;
	int64_t silence = silence_of(views, topic, length, &states);
	struct guess_source s = {0};
	if (is_declared(views, topic, length) ||
		(silence >= 0 ? 3 * silence <= SILENT_DEFAULT_MS : !states) ||
		!name_source(views, topic, length, &s))
		return;
	take_silence(&s, silence);
	*add_source(views) = s;
}

/* The narrower one first: the first that covers a topic has it. */
static int compare_sources(const void *a, const void *b)
{
	const struct guess_source *x = a, *y = b;
	size_t n = strlen(x->topics), m = strlen(y->topics);
	if (n != m)
		return n < m ? 1 : -1;
	return strcmp(x->name, y->name);
}

void views_sources(struct views *views)
{
	struct guesses *g = views->guesses;
	for (size_t i = 0; i < views->count; i++)
		take_presence(views, &views->items[i]);
	for (size_t i = 0; i < g->source_count; i++) {
		struct guess_source *s = &g->sources[i];
		bool states = false;
		int64_t silence =
			silence_of(views, parent_of(s), parent_length(s), &states);
		if (silence >= 0 ? 3 * silence > SILENT_DEFAULT_MS : states)
			take_silence(s, silence);
	}
	for (size_t i = 0; i < views->count; i++)
		if (views->items[i].guess->kind == GUESS_CHANNEL)
			check_first_level(
				views, views->items[i].guess->place->topic->name);
	if (g->source_count > 1)
		qsort(g->sources, g->source_count, sizeof(*g->sources), compare_sources);
}
