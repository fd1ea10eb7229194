/*
 * Random plants for the laws: a configuration and the records of some days, made from one
 * number, so that a seed repeats a failure.
 *
 * What is random: channels, roles, meters, sources, limits, zone; payloads as bare words,
 * JSON objects and arrays of samples; own times, late and ahead; retained words, Will
 * messages, link facts, steps of the clock; words that are missing or not understood;
 * duplicates, equal stamps, bursts, gaps of minutes to days; energy registers that count
 * on, fall back, jump, wrap and begin anew; flags that are missing.
 */
#ifndef PLANT_H
#define PLANT_H

#include "../unit/unit.h"

#include <heatbook/config.h>
#include <heatbook/record.h>

#define PLANT_CHANNELS_MOST 24
#define PLANT_TOPICS_MOST   7
#define PLANT_SOURCES       3

enum topic_form { FORM_BARE, FORM_JSON, FORM_EACH, FORM_COUNT };

/* What a channel may be; see the table in plant.c. */
struct plant_role {
	const char *name;
	const char *lines;        /* of its section */
	const char *const *words; /* of a state; NULL for a number */
	double low, high;
	bool often_zero;
};

struct plant_channel {
	const struct plant_role *role;
	size_t topic;
	bool own_time;
	double last;
};

struct plant_topic {
	char name[32];
	enum topic_form form;
	size_t source;
	int64_t interval_ms;
	int64_t still_ms, moves_ms; /* its own times stand still from … to */
};

/* One record; `topic` and `payload` belong to it. */
struct plant_record {
	enum record_kind kind;
	bool retained;
	bool unsure;
	int64_t t_ms;
	int64_t number[2];
	char *topic;
	char *payload;
};

struct plant {
	uint64_t random;
	const char *zone;
	struct buffer text; /* configuration without [store] and [journal] */
	struct plant_channel channels[PLANT_CHANNELS_MOST];
	size_t channel_count;
	struct plant_topic topics[PLANT_TOPICS_MOST];
	size_t topic_count;
	int64_t from_ms, to_ms;       /* of the stamps */
	struct plant_record *records; /* by stamp */
	size_t count, capacity;
};

/* What may be asked of a plant. */
struct plant_wish {
	int64_t span_ms;    /* 0: one to four days */
	size_t records;     /* about so many */
	bool no_own_times;  /* every reading at its stamp */
	const char *zone;   /* NULL: any */
	bool every_channel; /* of the table */
	bool clocks;        /* clocks that step, and unsure records */
	bool corrections;   /* dated, of some channels */
	bool registers;     /* meters with registers: that wrap, are reset, jump */
	bool rules;         /* flags are often missing, so that rules tell modes */
	bool lines;         /* temperatures that go along lines */
	bool lasting;       /* most words hold for hours and no source dies of silence */
};

void plant_make(struct plant *plant, uint64_t seed, const struct plant_wish *wish);
void plant_release(struct plant *plant);

/* The plant's configuration with its store and tail in a directory. */
struct config *plant_config(const struct plant *plant, const char *directory);
/* A view of record `i`, without boot time. */
struct record plant_record(const struct plant *plant, size_t i);

/* One of `count` choices; true in `percent` of a hundred. */
size_t plant_choose(uint64_t *random, size_t count);
bool plant_chance(uint64_t *random, int percent);

#endif
