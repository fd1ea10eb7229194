/*
 * Every place that was heard, for people and as JSON. See guess.h.
 */
#include "view.h"

#include <heatbook/printable.h>
#include <heatbook/reading.h>

#include <cJSON.h>
#include <string.h>

#define EXAMPLE_MOST 40
#define SHOWN_MOST   100 /* bytes of a topic or pointer in the list */

static void safe(struct buffer *out, const char *text, size_t most)
{
	text_printable(out, text, strlen(text), most);
}

static void span_text(int64_t ms, char text[static 32])
{
	if (ms < 1000)
		(void)snprintf(text, 32, "%lld ms", (long long)ms);
	else if (ms < 2 * MS_PER_MIN)
		(void)snprintf(text, 32, "%.3g s", (double)ms / 1000);
	else if (ms < 180 * MS_PER_MIN)
		(void)snprintf(text, 32, "%.3g min", (double)ms / MS_PER_MIN);
	else
		(void)snprintf(text, 32, "%.3g h", (double)ms / (60 * MS_PER_MIN));
}

/* The kind that most values were of. */
static enum place_kind main_kind(const struct place *p)
{
	size_t best = 0;
	for (size_t k = 1; k < PLACE_KINDS; k++)
		if (p->kinds[k] > p->kinds[best])
			best = k;
	return (enum place_kind)best;
}

/* ---- for people ---- */

static void list_values(const struct place *p, struct buffer *out)
{
	enum place_kind kind = main_kind(p);
	buffer_addf(out, "%s",
		kind == PLACE_WORD && p->more_words ? "text" : place_kind_name(kind));
	if (p->kinds[PLACE_NUMBER])
		buffer_addf(out, " %.6g to %.6g%s%s", p->least, p->most,
			p->unit ? " " : "",
			p->unit ? unit_own(p->unit->dimension)->symbol : "");
	for (size_t i = 0; i < p->word_count && !p->more_words; i++) {
		buffer_add_text(out, i ? ", \"" : " \"");
		safe(out, p->words[i], SURVEY_WORD_MOST);
		buffer_add_text(out, "\"");
	}
	for (size_t k = 0; k < PLACE_KINDS; k++)
		if (p->kinds[k] && k != (size_t)kind)
			buffer_addf(out, "; %llu %s", (unsigned long long)p->kinds[k],
				place_kind_name((enum place_kind)k));
	if (p->kinds[PLACE_BAD])
		buffer_addf(out, " (%s)", bad_reason_text((enum bad_reason)p->reason));
}

static void list_times(const struct place *p, struct buffer *out)
{
	char median[32], longest[32];
	int64_t median_ms = spacing_median(&p->spacing);
	buffer_addf(out, "; %llu time%s", (unsigned long long)p->count,
		p->count == 1 ? "" : "s");
	if (median_ms >= 0) {
		span_text(median_ms, median);
		span_text(p->spacing.longest_ms, longest);
		buffer_addf(out, ", every %s, longest %s", median, longest);
	}
	if (p->retained)
		buffer_addf(
			out, ", %s retained", p->retained == p->count ? "all" : "some");
}

static void list_guess(
	const struct guess *g, const struct config *config, struct buffer *out)
{
	switch (g->kind) {
	case GUESS_MAPPED:
		buffer_addf(out, "      mapped: channel %s\n",
			config->channels[g->channel].name);
		break;
	case GUESS_CHANNEL:
	case GUESS_UNSURE:
		buffer_addf(out, "      %s: channel %s",
			g->kind == GUESS_CHANNEL ? "guess" : "not guessed", g->name);
		if (g->unit && *g->unit->symbol)
			buffer_addf(out, " in %s", g->unit->symbol);
		buffer_add_text(out, *g->reason ? ", " : "");
		safe(out, g->reason, 300);
		buffer_add_text(out, "\n");
		break;
	case GUESS_WILL:
		buffer_add_text(out, "      guess: tells whether its device is there\n");
		break;
	case GUESS_NOTHING:
	case GUESS_INSTANT:
		break;
	}
}

static void list_place(
	const struct guess *g, const struct config *config, struct buffer *out)
{
	const struct place *p = g->place;
	buffer_add_text(out, "  ");
	if (p->form == PLACE_BARE)
		buffer_add_text(out, "(the payload)");
	if (p->form == PLACE_EACH) {
		buffer_add_text(out, "each of ");
		safe(out, *p->each ? p->each : "(the payload)", SHOWN_MOST);
		buffer_add_text(out, " ");
	}
	if (p->form == PLACE_SENML)
		buffer_add_text(out, "record ");
	safe(out, p->pointer, SHOWN_MOST);
	buffer_add_text(out, "  ");
	list_values(p, out);
	list_times(p, out);
	if (p->example_length) {
		buffer_add_text(out, ", last ");
		text_printable(out, p->example, p->example_length, EXAMPLE_MOST);
	}
	buffer_add_text(out, "\n");
	list_guess(g, config, out);
}

static void list_counts(
	const struct survey *survey, const struct guesses *guesses, struct buffer *out)
{
	struct survey_counts c;
	char span[32];
	survey_counts(survey, &c);
	span_text(c.messages ? c.last_ms - c.first_ms : 0, span);
	buffer_addf(out,
		"%llu messages (%llu retained) of %zu topics within %s; %zu places",
		(unsigned long long)c.messages, (unsigned long long)c.retained,
		survey_topic_count(survey), span, guesses->count);
	if (c.further)
		buffer_addf(out, "; %s%llu further places are not listed",
			c.further_least ? "more than " : "",
			(unsigned long long)c.further);
	if (c.nameless)
		buffer_addf(out, "; %llu messages with a topic that no channel can name",
			(unsigned long long)c.nameless);
	buffer_add_text(out, "\n");
}

void guesses_list(const struct guesses *guesses, const struct survey *survey,
	const struct config *config, struct buffer *out)
{
	const struct survey_topic *topic = NULL;
	for (size_t i = 0; i < guesses->count; i++) {
		const struct guess *g = &guesses->items[i];
		if (g->place->topic != topic) {
			topic = g->place->topic;
			safe(out, topic->name, SHOWN_MOST);
			buffer_add_text(out, "\n");
		}
		list_place(g, config, out);
	}
	list_counts(survey, guesses, out);
}

/* ---- as JSON ---- */

/* Our own numbers and texts, which are printable; memory that is gone ends the process
 * elsewhere soon enough. */
static void put_text(cJSON *object, const char *key, const char *text, size_t length)
{
	struct buffer b = {0};
	text_printable(&b, text, length, 400);
	(void)cJSON_AddStringToObject(object, key, buffer_text(&b));
	buffer_release(&b);
}

static void put_number(cJSON *object, const char *key, double number)
{
	(void)cJSON_AddNumberToObject(object, key, number);
}

static void put_values(cJSON *object, const struct place *p)
{
	cJSON *kinds = cJSON_AddObjectToObject(object, "kinds");
	for (size_t k = 0; k < PLACE_KINDS; k++)
		if (p->kinds[k])
			put_number(kinds, place_kind_name((enum place_kind)k),
				(double)p->kinds[k]);
	if (p->kinds[PLACE_NUMBER]) {
		put_number(object, "least", p->least);
		put_number(object, "most", p->most);
	}
	if (p->unit)
		(void)cJSON_AddStringToObject(object, "unit", p->unit->ucum);
	if (p->word_count && !p->more_words) {
		cJSON *words = cJSON_AddArrayToObject(object, "words");
		for (size_t i = 0; i < p->word_count; i++) {
			struct buffer b = {0};
			safe(&b, p->words[i], SURVEY_WORD_MOST);
			(void)cJSON_AddItemToArray(
				words, cJSON_CreateString(buffer_text(&b)));
			buffer_release(&b);
		}
	}
	if (p->kinds[PLACE_BAD])
		(void)cJSON_AddStringToObject(
			object, "bad", bad_reason_text((enum bad_reason)p->reason));
	put_text(object, "example", p->example, p->example_length);
}

static void put_guess(cJSON *object, const struct guess *g, const struct config *config)
{
	if (g->kind == GUESS_MAPPED)
		(void)cJSON_AddStringToObject(
			object, "mapped", config->channels[g->channel].name);
	if (g->kind == GUESS_WILL)
		(void)cJSON_AddBoolToObject(object, "presence", true);
	if (g->kind != GUESS_CHANNEL && g->kind != GUESS_UNSURE)
		return;
	cJSON *guess = cJSON_AddObjectToObject(object, "guess");
	(void)cJSON_AddStringToObject(guess, "channel", g->name);
	(void)cJSON_AddStringToObject(guess, "role", role_name(g->role));
	(void)cJSON_AddBoolToObject(guess, "proposed", g->kind == GUESS_CHANNEL);
	if (g->unit)
		(void)cJSON_AddStringToObject(guess, "unit", g->unit->ucum);
	if (*g->map)
		put_text(guess, "map", g->map, strlen(g->map));
	put_text(guess, "reason", g->reason, strlen(g->reason));
}

static cJSON *json_of(const struct guess *g, const struct config *config)
{
	static const char *const forms[] = {"payload", "pointer", "each", "senml"};
	const struct place *p = g->place;
	cJSON *object = cJSON_CreateObject();
	put_text(object, "topic", p->topic->name, strlen(p->topic->name));
	(void)cJSON_AddStringToObject(object, "form", forms[p->form]);
	if (p->form == PLACE_EACH)
		put_text(object, "each", p->each, strlen(p->each));
	if (p->form != PLACE_BARE)
		put_text(object, "pointer", p->pointer, strlen(p->pointer));
	put_number(object, "count", (double)p->count);
	put_number(object, "retained", (double)p->retained);
	int64_t median_ms = spacing_median(&p->spacing);
	if (median_ms >= 0) {
		put_number(object, "interval_median_s", (double)median_ms / 1000);
		put_number(object, "interval_longest_s",
			(double)p->spacing.longest_ms / 1000);
	}
	put_values(object, p);
	put_guess(object, g, config);
	return object;
}

void guesses_json(const struct guesses *guesses, const struct survey *survey,
	const struct config *config, struct buffer *out)
{
	struct survey_counts c;
	cJSON *root = cJSON_CreateObject();
	survey_counts(survey, &c);
	put_number(root, "messages", (double)c.messages);
	put_number(root, "retained", (double)c.retained);
	put_number(root, "topics", (double)survey_topic_count(survey));
	put_number(root, "further", (double)c.further);
	cJSON *places = cJSON_AddArrayToObject(root, "places");
	for (size_t i = 0; i < guesses->count; i++)
		(void)cJSON_AddItemToArray(places, json_of(&guesses->items[i], config));
	char *text = cJSON_PrintUnformatted(root);
	buffer_add_text(out, text ? text : "{}");
	buffer_add_text(out, "\n");
	cJSON_free(text);
	cJSON_Delete(root);
}
