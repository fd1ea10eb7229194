/*
 * Guesses at what the places of a survey are: roles of channels, units, value maps,
 * meters, sources. From words of the trade in topics and keys, units, plausible ranges
 * and how places move beside each other. Every guess says its reason; none is more than
 * that, and the owner decides.
 *
 * Pure. What a configuration maps already is left alone: its roles are taken, its places
 * are marked.
 */
#ifndef HEATBOOK_GUESS_H
#define HEATBOOK_GUESS_H

#include <heatbook/survey.h>

#define GUESS_NAME_MOST 49
#define GUESS_MAP_MOST  170

enum guess_kind {
	GUESS_NOTHING, /* nothing that a channel could hold, or nothing that can be
			  written */
	GUESS_MAPPED,  /* `channel` of the configuration holds it */
	GUESS_CHANNEL, /* proposed */
	GUESS_UNSURE,  /* proposed as a comment */
	GUESS_INSTANT, /* a time */
	GUESS_WILL     /* tells whether a device is there */
};

struct guess {
	const struct place *place;
	enum guess_kind kind;
	enum role role;
	int channel; /* GUESS_MAPPED: index; else -1 */
	char name[GUESS_NAME_MOST];
	const struct unit *unit;  /* to be written; NULL for states */
	char map[GUESS_MAP_MOST]; /* to be written; "" for none */
	char *reason;             /* a line, printable; "" for none */
	const char *time_pointer; /* of the place's own time; NULL = the stamp counts */
	bool own_time;            /* the payload's time counts */
	int64_t stale_after_ms;   /* 0: nothing is written, the default holds */
};

struct guess_meter {
	char name[GUESS_NAME_MOST];
	bool sure; /* else proposed as a comment */
	unsigned feeds;
	size_t power[SUM_MOST]; /* indices into the guesses */
	size_t power_count;
	size_t registers[SUM_MOST];
	size_t register_count;
	double step_kwh; /* 0 = the default */
	char *reason;
};

struct guess_source {
	char name[GUESS_NAME_MOST];
	char topics[SURVEY_PATH_MOST + 3]; /* "" where the name says it */
	const char *will_topic;            /* or NULL */
	const char *will_present;          /* NULL = the default */
	const char *will_gone;
	int64_t silent_after_ms; /* 0 = the default, -1 = never */
	char *reason;
};

struct guesses {
	struct guess *items; /* one a place, in the survey's order */
	size_t count;
	struct guess_meter meters[METERS_MOST];
	size_t meter_count;
	struct guess_source *sources;
	size_t source_count;
	bool fahrenheit;  /* bare temperatures are taken for °F */
	bool source;      /* the side that heat is taken from is measured */
	bool heat_power;  /* heat comes as a power, not from flow and temperatures */
	int64_t heard_ms; /* from the first message to the last */
};

/* The survey must outlive the guesses and take nothing meanwhile. */
struct guesses *guesses_new(struct survey *survey, const struct config *config);
void guesses_free(struct guesses *guesses);
/* The guess of a role, or NULL. */
const struct guess *guesses_role(const struct guesses *guesses, enum role role);

/* The proposal as INI text, which passes the check when it is appended to the
 * configuration: sections of what was guessed, the rest as comments. */
void guesses_propose(
	const struct guesses *guesses, const struct config *config, struct buffer *out);
/* Every place as a readable list, or as one JSON object. */
void guesses_list(const struct guesses *guesses, const struct survey *survey,
	const struct config *config, struct buffer *out);
void guesses_json(const struct guesses *guesses, const struct survey *survey,
	const struct config *config, struct buffer *out);

#endif
