/*
 * Messages into a survey, and what is guessed from it, for tests.
 */
#ifndef HEARD_H
#define HEARD_H

#include "unit.h"

#include <heatbook/guess.h>

#define NOON_MS INT64_C(1768651200000) /* 2026-01-17, 12:00 UTC */

static const char *const bare_config = "[plant]\nname = House\nzone = UTC\n\n"
				       "[broker]\nhost = 127.0.0.1\n";

struct heard {
	struct config *config;
	struct survey *survey;
	struct guesses *guesses; /* after heard_guess() */
	struct buffer proposal;
};

static inline struct config *heard_config(const char *text, size_t length)
{
	struct config *config = NULL;
	struct faults faults = {0}, notes = {0};
	int r = config_parse("test.conf", text, length, &config, &faults, &notes);
	if (r != 0) /* too long for a message of the frame's */
		(void)fprintf(stderr, "%.*s\n", (int)length, text);
	ck_assert_msg(r == 0, "%s", faults.count ? faults.lines[0] : "not read");
	faults_release(&faults);
	faults_release(&notes);
	return config;
}

static inline struct heard heard_new(const char *config)
{
	struct heard h = {.config = heard_config(config, strlen(config))};
	h.survey = survey_new(h.config);
	return h;
}

static inline void hear_bytes(struct heard *h, int64_t t_ms, bool retained,
	const char *topic, const void *payload, size_t length)
{
	const struct record record = {.kind = RECORD_MESSAGE,
		.t_ms = t_ms,
		.boot_ms = -1,
		.retained = retained,
		.topic = topic,
		.topic_length = strlen(topic),
		.payload = payload,
		.payload_length = length};
	survey_take(h->survey, &record);
}

static inline void hear(struct heard *h, int64_t t_ms, const char *topic,
	const char *format, ...) PRINTF_LIKE(4, 5);
static inline void hear(
	struct heard *h, int64_t t_ms, const char *topic, const char *format, ...)
{
	char payload[1024];
	va_list args;
	va_start(args, format);
	int n = vsnprintf(payload, sizeof(payload), format, args);
	va_end(args);
	ck_assert_int_lt(n, (int)sizeof(payload));
	hear_bytes(h, t_ms, false, topic, payload, (size_t)n);
}

/* The place, which must be there. `form` with `pointer` as in survey.h. */
static inline const struct place *heard_place(
	struct heard *h, const char *topic, enum place_form form, const char *pointer)
{
	size_t count;
	const struct place *const *places = survey_places(h->survey, &count);
	for (size_t i = 0; i < count; i++)
		if (strcmp(places[i]->topic->name, topic) == 0 &&
			places[i]->form == form &&
			strcmp(places[i]->pointer, pointer) == 0)
			return places[i];
	ck_abort_msg("no place %s %s", topic, pointer);
}

/* Guesses, and proves that the proposal passes behind the configuration: the config that
 * both make, for the caller to free. */
static inline struct config *heard_propose(struct heard *h, const char *config)
{
	struct buffer whole = {0};
	guesses_free(h->guesses);
	h->guesses = guesses_new(h->survey, h->config);
	buffer_reset(&h->proposal);
	guesses_propose(h->guesses, h->config, &h->proposal);
	buffer_add_text(&whole, config);
	buffer_add_text(&whole, "\n");
	buffer_add(&whole, h->proposal.data, h->proposal.length);
	struct config *made = heard_config(whole.data, whole.length);
	buffer_release(&whole);
	return made;
}

static inline void heard_release(struct heard *h)
{
	guesses_free(h->guesses);
	survey_free(h->survey);
	config_free(h->config);
	buffer_release(&h->proposal);
}

#endif
