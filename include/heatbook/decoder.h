/*
 * Records into readings: a pure function of record and configuration.
 *
 * Topics are looked up once a message: exact filters in a hash table, those with
 * wildcards one by one, the result remembered for the topic. A message that no channel
 * and no source names costs that look-up. JSON is parsed once, whatever the number of
 * channels that it feeds.
 *
 * Counts (per topic and reason, with one escaped sample each) are for the owner; they
 * never enter a row.
 */
#ifndef HEATBOOK_DECODER_H
#define HEATBOOK_DECODER_H

#include <heatbook/config.h>
#include <heatbook/reading.h>

struct decoder;

struct decoder *decoder_new(const struct config *config);
void decoder_free(struct decoder *decoder);

/* Appends the readings of one record. `frame` is the record's binary form (see record.h):
 * the readings point to it. Every non-retained message on a topic that a channel or a
 * source names yields READING_ALIVE for that source at the record's stamp, unless each of
 * its readings has a time of its own (those are signs of life at their own times).
 * Readings of a retained message carry `retained`. Link facts become one READING_FACT
 * with number[0] as value. Of a Will topic, words other than present and gone are counted
 * and make no reading; the topic is no sign of life of its source but by the present
 * word. Records that are unsure make none. Of a block, all rows are decoded; false when
 * it is damaged, from the row on that could not be read. */
bool decoder_decode(
	struct decoder *decoder, const unsigned char *frame, struct readings *out);
/* Likewise for who wants readings of [from, to) alone: what certainly makes none there is
 * passed over; others may be among those given. */
bool decoder_decode_span(struct decoder *decoder, const unsigned char *frame,
	int64_t from_ms, int64_t to_ms, struct readings *out);

/* Whether it is known without decoding that all that a record may yield holds at its
 * stamp; then *ret_any is false where it certainly yields nothing. */
bool decoder_is_at_stamp(
	struct decoder *decoder, const struct record *record, bool *ret_any);
/* When the first and the last of the readings of a table's row begin to hold: its stamp,
 * or the beginning of what it covers before. False where its table has no section: then
 * it makes no reading, and both are its stamp. */
bool decoder_row_span(struct decoder *decoder, const struct record *row,
	int64_t *ret_first_ms, int64_t *ret_last_ms);

/* Asks to be called for each word that no map names, with the reading's time and the word
 * as the message spells it (a number or a truth of JSON in its plain form). NULL: no
 * more.
 */
typedef void unknown_word_visit(
	uint16_t channel, int64_t t_ms, const char *word, size_t length, void *context);
void decoder_on_unknown_word(
	struct decoder *decoder, unknown_word_visit *visit, void *context);

/* BAD readings since decoder_new(), by topic and reason; unmatched messages. */
struct bad_count {
	char *topic;
	enum bad_reason reason;
	uint64_t count;
	char sample[80]; /* escaped, printable ASCII */
};
/* The array belongs to the decoder; at most 200 kinds are told apart. */
const struct bad_count *decoder_bad(const struct decoder *decoder, size_t *ret_count);
uint64_t decoder_unmatched(const struct decoder *decoder);
/* Messages with one key twice in an object that a channel reads; the first one counts. */
uint64_t decoder_repeated_keys(const struct decoder *decoder);

/* Topic filters to subscribe (channels', sources' and Will topics), without duplicates.
 * The array and its texts belong to the decoder. */
const char *const *decoder_filters(const struct decoder *decoder, size_t *ret_count);

/* MQTT 3.1.1, 4.7: does a topic match a filter with + and #? Topics that begin with $
 * match no filter that begins with a wildcard. */
bool topic_matches(const char *filter, const char *topic, size_t topic_length);

#endif
