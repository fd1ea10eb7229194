/*
 * Places into views: what can be told of one place by itself. See view.h.
 */
#include "view.h"

#include <heatbook/decoder.h>
#include <heatbook/printable.h>

#include <math.h>
#include <string.h>

#define LINE_MOST  190 /* bytes of a line of the file that is written; 197 are allowed */
#define NAME_SLOTS 16384
#define SMALL_MOST 9 /* whole numbers up to here may be states */

bool is_writable(const char *text, size_t key_length)
{
	size_t length = strlen(text);
	if (length == 0 || length + key_length + 3 > LINE_MOST ||
		!text_is_printable(text, length))
		return false;
	if (text[0] == ' ' || text[length - 1] == ' ')
		return false;
	/* Behind a blank it begins a comment, and a value stands behind one. */
	return text[0] != ';' && strstr(text, " ;") == NULL;
}

int64_t nice_span(int64_t ms)
{
	static const int minutes[] = {
		1, 2, 5, 10, 15, 20, 30, 60, 120, 180, 360, 720, 1440, 1560, 2880, 10080};
	for (size_t i = 0; i < ARRAY_LEN(minutes); i++)
		if (ms <= minutes[i] * MS_PER_MIN)
			return minutes[i] * MS_PER_MIN;
	return minutes[ARRAY_LEN(minutes) - 1] * MS_PER_MIN;
}

/* Topic and pointer without the last level of both together. */
static uint64_t parent_digest(const struct place *p)
{
	const char *pointer = *p->pointer ? strrchr(p->pointer, '/') : NULL;
	if (p->form == PLACE_SENML && !pointer)
		pointer = p->pointer;
	if (pointer || p->form != PLACE_BARE) {
		size_t n = pointer ? (size_t)(pointer - p->pointer) : 0;
		uint64_t digest = digest64(3, p->topic->name, strlen(p->topic->name));
		return digest64(
			digest64(digest, p->each, strlen(p->each)), p->pointer, n);
	}
	const char *level = strrchr(p->topic->name, '/');
	size_t n = level ? (size_t)(level - p->topic->name) : 0;
	return digest64(4, p->topic->name, n);
}

static bool is_whole(double x)
{
	return fabs(x - round(x)) < 1e-9;
}

static bool is_small_whole(const struct place *p)
{
	return p->least >= 0 && p->most <= SMALL_MOST && is_whole(p->least) &&
	       is_whole(p->most) && is_whole(p->last) &&
	       (p->step <= 0 || is_whole(p->step));
}

static void sort_kind(struct view *v)
{
	const uint64_t *kinds = v->place->kinds;
	uint64_t words = kinds[PLACE_WORD] + kinds[PLACE_TRUTH];
	uint64_t known = words + kinds[PLACE_NUMBER] + kinds[PLACE_INSTANT];
	v->number = kinds[PLACE_NUMBER] > 0 && kinds[PLACE_NUMBER] * 10 >= known * 9 &&
		    !v->place->units_differ;
	if (v->number)
		v->state = words == 0 && !v->place->unit && is_small_whole(v->place);
	else
		v->state = words > 0 && !v->place->more_words &&
			   kinds[PLACE_NUMBER] + kinds[PLACE_INSTANT] == 0;
}

/* Is it the place that the channel reads? */
static bool reads(const struct channel_config *c, const struct place *p)
{
	if (!c->topic || !topic_matches(c->topic, p->topic->name, strlen(p->topic->name)))
		return false;
	if (c->senml)
		return p->form == PLACE_SENML && strcmp(c->senml, p->pointer) == 0;
	if (c->each)
		return p->form == PLACE_EACH && strcmp(c->each, p->each) == 0 &&
		       strcmp(c->pointer ? c->pointer : "", p->pointer) == 0;
	if (c->pointer)
		return p->form == PLACE_JSON && strcmp(c->pointer, p->pointer) == 0;
	return p->form == PLACE_BARE;
}

static void mark_mapped(struct view *v, const struct config *config)
{
	for (size_t i = 0; i < config->channel_count; i++) {
		if (!reads(&config->channels[i], v->place))
			continue;
		v->guess->kind = GUESS_MAPPED;
		v->guess->channel = (int)i;
		return;
	}
	for (size_t i = 0; i < config->source_count; i++) {
		const char *will = config->sources[i].will_topic;
		if (will && v->place->form == PLACE_BARE &&
			strcmp(will, v->place->topic->name) == 0)
			v->guess->kind = GUESS_WILL;
	}
}

static bool can_be_written(const struct place *p)
{
	if (strpbrk(p->topic->name, "+#") || !is_writable(p->topic->name, 5))
		return false;
	if (*p->pointer && !is_writable(p->pointer, 7))
		return false;
	if (*p->each && !is_writable(p->each, 4))
		return false;
	return p->form != PLACE_SENML || *p->pointer;
}

struct views *views_new(struct guesses *guesses, const struct config *config)
{
	struct views *views = xcalloc(1, sizeof(*views));
	*views = (struct views){.config = config, .guesses = guesses};
	views->count = guesses->count;
	views->items = xcalloc(views->count, sizeof(*views->items));
	views->names = xcalloc(NAME_SLOTS, sizeof(*views->names));
	for (size_t i = 0; i < views->count; i++) {
		struct view *v = &views->items[i];
		v->guess = &guesses->items[i];
		v->place = v->guess->place;
		v->dimension = DIMENSION_COUNT;
		v->parent = parent_digest(v->place);
		trail_read(v->place->topic->name, v->place->pointer, &v->trail);
		sort_kind(v);
		mark_mapped(v, config);
		if (v->guess->kind == GUESS_NOTHING && v->place->kinds[PLACE_INSTANT] &&
			!v->number && !v->state)
			v->guess->kind = GUESS_INSTANT;
		v->free = v->guess->kind == GUESS_NOTHING && can_be_written(v->place) &&
			  (v->number || v->state);
	}
	return views;
}

void views_free(struct views *views)
{
	free(views->items);
	free(views->names);
	free(views);
}

void view_range(const struct view *v, const struct unit *unit, double *ret_least,
	double *ret_most)
{
	bool own = v->origin == UNIT_HEARD || !unit;
	double a = own ? v->place->least : unit_to_own(unit, v->place->least);
	double b = own ? v->place->most : unit_to_own(unit, v->place->most);
	*ret_least = a;
	*ret_most = b;
}

/* ---- moving beside each other ---- */

/* The sample in force at `t_ms`, or NaN. */
static double value_at(const struct place *p, int64_t t_ms)
{
	double value = (double)NAN;
	for (size_t i = 0; i < p->sample_count && p->samples[i].t_ms <= t_ms; i++)
		value = p->samples[i].value;
	return value;
}

double share_above(const struct place *a, const struct place *b, double margin)
{
	size_t above = 0, apart = 0;
	for (size_t i = 0; i < a->sample_count; i++) {
		double other = value_at(b, a->samples[i].t_ms);
		double difference = a->samples[i].value - other;
		if (isnan(difference) || fabs(difference) <= margin)
			continue;
		apart++;
		above += difference > 0;
	}
	return apart ? (double)above / (double)apart : (double)NAN;
}

/* ---- names ---- */

/* Where the name's digest stands, or would. A collision of digests costs a number. */
static uint64_t *name_slot(const struct views *views, const char *name)
{
	uint64_t digest = digest64(5, name, strlen(name)) | 1;
	size_t i = digest % NAME_SLOTS;
	while (views->names[i] && views->names[i] != digest)
		i = (i + 1) % NAME_SLOTS;
	return &views->names[i];
}

static bool name_is_taken(const struct views *views, const char *name)
{
	static const char *const endings[] = {
		"_ms", "_least", "_most", "_min", "_max", "_observed_s"};
	size_t length = strlen(name);
	if (strcmp(name, "t") == 0 || strcmp(name, "t_end") == 0 ||
		config_channel(views->config, name) >= 0)
		return true;
	for (int r = 0; r < ROLE_COUNT; r++)
		if (strcmp(role_name((enum role)r), name) == 0)
			return true;
	for (size_t i = 0; i < ARRAY_LEN(endings); i++) {
		size_t n = strlen(endings[i]);
		if (length > n && strcmp(name + length - n, endings[i]) == 0)
			return true;
	}
	return *name_slot(views, name) != 0;
}

void view_name(const struct views *views, struct view *v, const char *wish)
{
	char plain[128], base[44], name[GUESS_NAME_MOST];
	words_plain(wish, plain, sizeof(plain));
	/* Of a long name the end says more. */
	size_t length = strlen(plain), skip = length > 38 ? length - 38 : 0;
	while (skip > 0 && plain[skip] && plain[skip - 1] != '_')
		skip++;
	const char *end = plain + skip;
	bool letter = *end >= 'a' && *end <= 'z';
	(void)snprintf(
		base, sizeof(base), "%s%.38s", letter ? "" : "at_", *end ? end : "place");
	(void)snprintf(name, sizeof(name), "%s", base);
	for (unsigned n = 2; name_is_taken(views, name); n++)
		(void)snprintf(name, sizeof(name), "%.38s_%u", base, n);
	memcpy(v->guess->name, name, sizeof(name));
	*name_slot(views, name) = digest64(5, name, strlen(name)) | 1;
}
