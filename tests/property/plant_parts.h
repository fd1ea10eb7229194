/*
 * What the files that make a random plant share. Not for tests.
 */
#ifndef PLANT_PARTS_H
#define PLANT_PARTS_H

#include "plant.h"

#define ONE_OF(p, words) (words)[plant_choose(&(p)->random, ARRAY_LEN(words))]

static inline bool chance(struct plant *p, int percent)
{
	return plant_chance(&p->random, percent);
}

static inline int64_t between(struct plant *p, int64_t low, int64_t high)
{
	return unit_random_between(&p->random, low, high);
}

/* Sources' names and the beginnings of their topics. */
extern const char *const plant_source_names[PLANT_SOURCES];

/* Is it a register's role? */
bool plant_is_register(const struct plant_role *role);
/* One that begins anew at its highest number. */
bool plant_wraps(const struct plant_role *role);
/* Which topics there are, and how often each speaks. */
void plant_make_topics(struct plant *p, int64_t interval_ms);
/* Channels, meters, sources and the text that configures them (plant_config.c). */
void plant_make_config(struct plant *p, const struct plant_wish *wish);
/* What a topic's message says at an instant (plant_payload.c); the caller's to free. */
char *plant_payload(struct plant *p, size_t topic, int64_t stamp_ms);

#endif
