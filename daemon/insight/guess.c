/*
 * The order of guessing, and what is left after roles and meters: plain channels, times
 * of their own, how long values hold, sources. See guess.h.
 */
#include "view.h"

#include <heatbook/printable.h>

#include <string.h>

#define PLAIN_MOST   60 /* proposed beside roles and meters; each is a column for ever */
#define SOURCES_ROOM 60 /* of SOURCES_MOST */
#define LATE_MOST_MS (15 * MS_PER_MIN)

/* ---- plain channels ---- */

/* Words that say that a place belongs to the plant or the house's climate. */
#define OF_THE_TRADE                                                                     \
	(BIT(C_FLOW) | BIT(C_RETURN) | BIT(C_OUTDOOR) | BIT(C_ROOM) | BIT(C_LIVING) |    \
		BIT(C_CYLINDER) | BIT(C_REFRIGERANT) | BIT(C_BRINE) | BIT(C_TARGET) |    \
		BIT(C_UNIT) | BIT(C_COMPRESSOR) | BIT(C_HEAT) | BIT(C_RATE) |            \
		BIT(C_WATER))

/* The last level that says something, with the one before it. */
static void wish_of(const struct view *v, char wish[static 128])
{
	const char *text = v->trail.text, *at = text + strlen(text);
	unsigned levels = 0;
	while (at > text && levels < 2)
		if (*--at == '/')
			levels++;
	(void)snprintf(wish, 128, "%.120s", *at == '/' ? at + 1 : at);
}

/* A room's bare number is a temperature when it lies like one. */
static void settle_bare(const struct views *views, struct view *v)
{
	uint64_t near = v->trail.near;
	double least, most;
	if (!v->number || v->dimension != DIMENSION_COUNT ||
		!(near & (BIT(C_ROOM) | BIT(C_LIVING) | BIT(C_OUTDOOR) | BIT(C_FLOW) |
				 BIT(C_RETURN) | BIT(C_CYLINDER))))
		return;
	const struct unit *unit =
		unit_by_range(v, DIMENSION_TEMPERATURE, views->guesses->fahrenheit);
	least = unit_to_own(unit, v->place->least);
	most = unit_to_own(unit, v->place->most);
	if (least < -30 || most > 95 || v->state)
		return;
	v->dimension = DIMENSION_TEMPERATURE;
}

static void propose_plain(struct views *views, struct view *v, bool sure)
{
	struct buffer why = {0};
	char wish[128];
	if (!v->number && !plain_map(v, v->guess->map)) {
		v->guess->map[0] = '\0';
		return;
	}
	if (v->number && !v->unit) {
		v->unit = v->dimension == DIMENSION_COUNT
				  ? unit_own(DIMENSION_NUMBER)
				  : unit_by_range(
					    v, v->dimension, views->guesses->fahrenheit);
		v->origin = UNIT_BY_RANGE;
	}
	view_evidence(v, v->unit, &why);
	view_assign(v, ROLE_PLAIN, v->unit, buffer_text(&why));
	buffer_release(&why);
	v->guess->kind = sure ? GUESS_CHANNEL : GUESS_UNSURE;
	wish_of(v, wish);
	view_name(views, v, wish);
}

void views_plain(struct views *views)
{
	size_t proposed = 0;
	for (int sure = 1; sure >= 0; sure--)
		for (size_t i = 0; i < views->count; i++) {
			struct view *v = &views->items[i];
			uint64_t all = v->trail.near | v->trail.far;
			if (!v->free)
				continue;
			settle_bare(views, v);
			bool known = v->number && v->dimension != DIMENSION_COUNT &&
				     v->dimension != DIMENSION_NUMBER &&
				     all & OF_THE_TRADE && !(all & BIT(C_ELSEWHERE));
			if (sure && (!known || proposed == PLAIN_MOST))
				continue;
			proposed += sure == 1;
			propose_plain(views, v, sure == 1);
		}
}

/* ---- times ---- */

/* Is `time` beside or above `place` in the same object? Longer is nearer. */
static size_t nearness(const struct place *time, const struct place *place)
{
	const char *end = strrchr(time->pointer, '/');
	size_t n = end ? (size_t)(end - time->pointer) : 0;
	bool above = strncmp(time->pointer, place->pointer, n) == 0 &&
		     place->pointer[n] == '/';
	return above ? n + 1 : 0;
}

static bool tells_time(const struct place *p)
{
	uint64_t instants = p->kinds[PLACE_INSTANT];
	int64_t most_ms = p->form == PLACE_EACH ? MS_PER_DAY : LATE_MOST_MS;
	return instants > 0 && instants == p->count && p->lag_most_ms <= most_ms &&
	       (instants == 1 || p->instant_changes > 0) && is_writable(p->pointer, 12);
}

static void find_time(const struct views *views, struct view *v)
{
	size_t best = 0;
	const struct place *p = v->place;
	if (p->form == PLACE_SENML)
		v->guess->own_time = p->own_time;
	if (p->form != PLACE_JSON && p->form != PLACE_EACH)
		return;
	for (size_t i = 0; i < views->count; i++) {
		const struct place *time = views->items[i].place;
		if (time->topic != p->topic || time->form != p->form ||
			strcmp(time->each, p->each) != 0 || !tells_time(time))
			continue;
		size_t n = nearness(time, p);
		if (n <= best)
			continue;
		best = n;
		v->guess->time_pointer = time->pointer;
		v->guess->own_time = true;
	}
}

/* Ten usual intervals, or four of the longest that was seen. States hold until the next.
 */
static int64_t hold_of(const struct view *v)
{
	int64_t median = spacing_median(&v->place->spacing);
	int64_t longest = v->place->spacing.longest_ms;
	if (!v->guess->unit || median <= 0)
		return 0;
	return nice_span(10 * median > 4 * longest ? 10 * median : 4 * longest);
}

void views_times(struct views *views)
{
	for (size_t i = 0; i < views->count; i++) {
		struct view *v = &views->items[i];
		if (v->guess->kind != GUESS_CHANNEL && v->guess->kind != GUESS_UNSURE)
			continue;
		find_time(views, v);
		v->guess->stale_after_ms = hold_of(v);
	}
}

/* ---- all of it ---- */

/* The sources of too many first levels have no room in a configuration. */
static void bound_sources(struct views *views)
{
	const char *firsts[SOURCES_ROOM];
	size_t count = 0;
	for (size_t i = 0; i < views->count; i++) {
		struct guess *g = views->items[i].guess;
		if (g->kind != GUESS_CHANNEL)
			continue;
		const char *topic = g->place->topic->name;
		size_t n = strcspn(topic, "/"), k = 0;
		while (k < count && (strcspn(firsts[k], "/") != n ||
					    memcmp(firsts[k], topic, n) != 0))
			k++;
		if (k < count)
			continue;
		if (count + views->config->source_count < SOURCES_ROOM)
			firsts[count++] = topic;
		else
			g->kind = GUESS_UNSURE;
	}
}

/* Channels beside those of the configuration. */
static void bound_channels(struct views *views)
{
	size_t room = CHANNELS_MOST - views->config->channel_count;
	for (size_t i = 0; i < views->count; i++) {
		struct guess *g = views->items[i].guess;
		if (g->kind != GUESS_CHANNEL)
			continue;
		if (room > 0)
			room--;
		else
			g->kind = GUESS_UNSURE;
	}
}

/* A meter whose channels found no room goes with them. */
static void check_meters(struct guesses *guesses)
{
	for (size_t m = 0; m < guesses->meter_count; m++) {
		struct guess_meter *meter = &guesses->meters[m];
		for (size_t i = 0; i < meter->power_count; i++)
			meter->sure &=
				guesses->items[meter->power[i]].kind == GUESS_CHANNEL;
		for (size_t i = 0; i < meter->register_count; i++)
			meter->sure &=
				guesses->items[meter->registers[i]].kind == GUESS_CHANNEL;
	}
}

struct guesses *guesses_new(struct survey *survey, const struct config *config)
{
	struct guesses *guesses = xcalloc(1, sizeof(*guesses));
	const struct place *const *places = survey_places(survey, &guesses->count);
	guesses->items = xcalloc(guesses->count, sizeof(*guesses->items));
	for (size_t i = 0; i < guesses->count; i++) {
		guesses->items[i].place = places[i];
		guesses->items[i].channel = -1;
	}
	struct survey_counts counts;
	survey_counts(survey, &counts);
	guesses->heard_ms = counts.last_ms - counts.first_ms;
	struct views *views = views_new(guesses, config);
	views_units(views);
	views_ambiguous(views);
	views_roles(views);
	views_meters(views);
	views_plain(views);
	views_times(views);
	bound_channels(views);
	bound_sources(views);
	check_meters(guesses);
	views_sources(views);
	views_free(views);
	return guesses;
}

void guesses_free(struct guesses *guesses)
{
	if (!guesses)
		return;
	for (size_t i = 0; i < guesses->count; i++)
		free(guesses->items[i].reason);
	for (size_t i = 0; i < guesses->meter_count; i++)
		free(guesses->meters[i].reason);
	for (size_t i = 0; i < guesses->source_count; i++)
		free(guesses->sources[i].reason);
	free(guesses->sources);
	free(guesses->items);
	free(guesses);
}

const struct guess *guesses_role(const struct guesses *guesses, enum role role)
{
	for (size_t i = 0; i < guesses->count; i++)
		if (guesses->items[i].kind == GUESS_CHANNEL &&
			guesses->items[i].role == role)
			return &guesses->items[i];
	return NULL;
}
