/*
 * What the files that decode one message share: the decoder, the message on its way, and
 * when its readings hold. Not for other rooms.
 */
#ifndef INGEST_MESSAGE_H
#define INGEST_MESSAGE_H

#include <heatbook/decoder.h>
#include <heatbook/payload.h>

#include "badcount.h"
#include "json.h"
#include "rows.h"
#include "topics.h"

/* A word that waits to be the last of its message. */
struct waiting {
	bool set;
	uint32_t element;
	struct word word;
};

struct decoder {
	const struct config *config;
	struct topics *topics;
	struct json *json;
	struct rows *rows;
	struct bad_counts bad;
	uint64_t unmatched;
	uint64_t repeated_keys;
	struct waiting waiting[CHANNELS_MOST];
	unknown_word_visit *unknown; /* or NULL */
	void *unknown_context;
};

/* One message on its way. */
struct message {
	struct decoder *decoder;
	const struct config *config;
	const struct route *route;
	const unsigned char *frame;
	struct record record;
	const char *text; /* the stripped payload */
	size_t length;
	struct readings *out;
	uint64_t own_time; /* sources that had a reading with a time of its own … */
	uint64_t stamped;  /* … and with the record's, a bit each */
	bool repeated;
};

/* When a reading holds. */
struct instant {
	int64_t t_ms;
	bool own;
	bool said;              /* the message bore a time, … */
	int64_t behind_ms;      /* … so far before the stamp */
	enum bad_reason reason; /* or why there is none */
};

/* ---- readings (message.c) ---- */

/* Adds a reading to the message's; `place`: see decoder.c. */
void message_add(struct message *m, enum reading_kind kind, int64_t t_ms, double value,
	enum bad_reason reason, uint32_t place, uint16_t channel);
/* Adds what a channel's word says at an instant, BAD where the instant is; counts it if
 * it is BAD, quoting `item`, or the whole payload where that is NULL. */
void message_add_word(struct message *m, uint16_t channel, uint32_t element,
	struct instant when, struct word word, const cJSON *item);
/* A word of the channel; whoever asked is told if no map names it. */
void message_note(const struct message *m, uint16_t channel, struct instant when,
	struct word word, const char *text, size_t length);
void message_note_number(const struct message *m, uint16_t channel, struct instant when,
	struct word word, double number);

/* The message's stamp. */
struct instant at_stamp(const struct message *m, enum bad_reason reason);
/* A time that the message bore: `result` is that of reading it. */
struct instant own_instant(const struct message *m, int result, int64_t t_ms);
/* Of a channel's reading in `base`: the element of `each`, the root, or NULL for no JSON.
 */
struct instant message_time(
	struct message *m, const struct channel_config *channel, const cJSON *base);

/* ---- channels (message_channels.c, message_senml.c) ---- */

/* The channels of the message's route, by its payload. */
void message_decode(struct message *m);
/* Is it an array whose every element is a record of SenML? */
bool senml_is_whole(const cJSON *root);
/* The channels that take a name in a pack, which is whole. */
void message_decode_senml(struct message *m, const cJSON *root);

#endif
