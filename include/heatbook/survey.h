/*
 * The survey: what the messages of a while hold. Messages go in; out come the places at
 * which values stand (the bare payload, a place in its JSON, a member of each element of
 * an array of dated readings, a record of a SenML pack), each with what was seen there.
 *
 * Memory is bounded whatever is heard: at most SURVEY_PLACES_MOST places, of which at
 * most SURVEY_TOPIC_MOST of one topic; what comes after is counted only. Pure: no clock,
 * no file; times are the messages' stamps and should not fall.
 *
 * Nothing that is kept here was escaped: topics, pointers, words and examples are bytes
 * as they came, for text_printable().
 */
#ifndef HEATBOOK_SURVEY_H
#define HEATBOOK_SURVEY_H

#include <heatbook/config.h>
#include <heatbook/record.h>

#define SURVEY_PLACES_MOST 4000
#define SURVEY_TOPIC_MOST  500
#define SURVEY_PATH_MOST                                                                 \
	180 /* bytes of a topic or pointer: a line of the file holds 197 */
#define SURVEY_WORDS_MOST   12
#define SURVEY_WORD_MOST    40 /* bytes with NUL; longer texts are prose, no state */
#define SURVEY_EXAMPLE_MOST 72
#define SURVEY_SAMPLES_MOST 48
#define SURVEY_GAPS_MOST    31

/* How often, from the messages that were not retained. */
struct spacing {
	int64_t last_ms;                   /* -1 before the first */
	int64_t longest_ms;                /* -1 before the second */
	uint64_t count;                    /* of gaps */
	int64_t gaps_ms[SURVEY_GAPS_MOST]; /* the last ones */
};
/* Median of the last gaps, or -1. */
int64_t spacing_median(const struct spacing *spacing);

enum place_form {
	PLACE_BARE,
	PLACE_JSON, /* `pointer` into the payload */
	PLACE_EACH, /* `pointer` into each element of the array at `each` */
	PLACE_SENML /* `pointer` is the record's name */
};

/* What stood there, counted by kind. */
enum place_kind {
	PLACE_NUMBER, /* also as text, with decimal comma or with a unit */
	PLACE_WORD,
	PLACE_TRUTH,   /* JSON true or false */
	PLACE_INSTANT, /* a number or text that is a time near the stamp */
	PLACE_MISSING, /* null, empty, or a word for "no value" */
	PLACE_BAD,     /* `reason` */
	PLACE_KINDS
};
const char *place_kind_name(enum place_kind kind);

struct survey_topic {
	char *name;
	uint64_t messages;
	uint64_t retained;
	struct spacing spacing;
	size_t places;
};

struct sample {
	int64_t t_ms;
	double value;
};

struct place {
	const struct survey_topic *topic;
	enum place_form form;
	char *each; /* "" unless PLACE_EACH */
	char *pointer;

	uint64_t count;
	uint64_t retained;
	uint64_t kinds[PLACE_KINDS];
	struct spacing spacing;
	char example[SURVEY_EXAMPLE_MOST]; /* the last value, cut */
	size_t example_length;
	uint8_t reason; /* enum bad_reason of the last PLACE_BAD */

	/* Numbers: in the own unit of `unit` where values carry one, else as they are. */
	double least, most, last;
	double step; /* least change that is none of rounding, 0 before any */
	uint64_t rises, falls;
	const struct unit *unit; /* that values or a member beside them carry, or NULL */
	bool unit_beside;        /* a member of the same object says so */
	bool units_differ;      /* values of several dimensions: no channel can be made */
	bool comma;             /* some texts have a decimal comma … */
	bool point;             /* … or a point */
	bool thousands;         /* some group thousands */
	bool quoted;            /* some are texts */
	struct sample *samples; /* thinned out over the whole time; NULL before any */
	size_t sample_count;

	char (*words)[SURVEY_WORD_MOST]; /* that were seen, as they came */
	size_t word_count;
	bool more_words; /* too many or too long: prose */

	/* Instants. */
	int64_t lag_least_ms, lag_most_ms; /* stamp - instant */
	int64_t instant_ms;                /* the last */
	uint64_t instant_changes;
	bool own_time; /* of a SenML record: it carries an absolute time */
};

struct survey;

/* `config` says which words mean "no value"; it must outlive the survey. */
struct survey *survey_new(const struct config *config);
void survey_free(struct survey *survey);
/* Takes a message; records of other kinds are passed over. */
void survey_take(struct survey *survey, const struct record *record);

/* By topic, form and pointer. Valid until the next survey_take(). */
const struct place *const *survey_places(struct survey *survey, size_t *ret_count);
/* Of `count` topics the one of that index, in no order. */
const struct survey_topic *survey_topic(const struct survey *survey, size_t index);
size_t survey_topic_count(const struct survey *survey);

struct survey_counts {
	uint64_t messages;
	uint64_t retained;
	int64_t first_ms, last_ms; /* stamps; -1 when nothing came */
	uint64_t further;          /* places that found no room */
	bool further_least;        /* there are more than that */
	uint64_t nameless; /* messages whose topic is empty or over SURVEY_PATH_MOST */
};
void survey_counts(const struct survey *survey, struct survey_counts *ret);

#endif
