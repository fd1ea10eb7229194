/*
 * From a topic to those whom it concerns: channels, sources (signs of life) and sources
 * (Will messages).
 */
#ifndef INGEST_TOPICS_H
#define INGEST_TOPICS_H

#include <heatbook/config.h>

/* Whom one topic concerns, each once and in ascending order. */
struct route {
	const uint16_t *channels;
	size_t channel_count;
	const uint16_t *sources; /* that the message is a sign of life of */
	size_t source_count;
	const uint16_t *wills; /* sources whose Will topic it is */
	size_t will_count;
};

struct topics;
/* The configuration must outlive the table. */
struct topics *topics_new(const struct config *config);
void topics_free(struct topics *topics);

/* The topic's route, or NULL when it concerns nobody. Valid until the next call. */
const struct route *topics_find(struct topics *topics, const char *topic, size_t length);

/* All filters, each once. The array belongs to the table, its texts to the configuration.
 */
const char *const *topics_filters(const struct topics *topics, size_t *ret_count);

#endif
