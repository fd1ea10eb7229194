/*
 * What the survey's files share: finding a place, and taking a value at it.
 */
#ifndef INGEST_SURVEY_H
#define INGEST_SURVEY_H

#include <heatbook/survey.h>

#include <cJSON.h>

/* One message on its way. */
struct survey_message {
	struct survey *survey;
	struct survey_topic *topic;
	const struct config *config;
	bool retained;
	int64_t t_ms;
};

/* The place, made where there is room; NULL where there is none (counted). */
struct place *survey_place(struct survey_message *m, enum place_form form,
	const char *each, const char *pointer);

/* A JSON payload: all its places. */
void survey_json(struct survey_message *m, const cJSON *root);

/* One more, at that time. */
void spacing_add(struct spacing *spacing, int64_t t_ms);

/* Count a report at a place, then what it was. `t_ms` is when it holds. */
void place_report(struct place *place, const struct survey_message *m, int64_t t_ms);
void place_take_text(struct place *place, const struct survey_message *m,
	const char *text, size_t length);
void place_take_number(struct place *place, const struct survey_message *m, double number,
	const struct unit *unit);
void place_take_truth(struct place *place, bool truth);
void place_take_missing(struct place *place);
void place_take_bad(struct place *place, int reason, const void *text, size_t length);

/* Is it an instant within a day before the stamp (or just after)? */
bool survey_instant_number(double number, int64_t stamp_ms, int64_t *ret_ms);
bool survey_instant_text(
	const char *text, size_t length, int64_t stamp_ms, int64_t *ret_ms);

#endif
