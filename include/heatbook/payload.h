/*
 * One word of a payload into one value: VALUE, NOVALUE or BAD, by the channel's
 * configuration. Pure: no locale, no clock, no memory of earlier words.
 */
#ifndef HEATBOOK_PAYLOAD_H
#define HEATBOOK_PAYLOAD_H

#include <heatbook/config.h>
#include <heatbook/reading.h>

struct word {
	enum reading_kind kind; /* READING_VALUE, READING_NOVALUE or READING_BAD */
	enum bad_reason reason;
	double value;
};

/* Is it one that the channel's map does not name? */
static inline bool word_is_unknown(const struct channel_config *channel, struct word word)
{
	return word.kind == READING_VALUE && word.value == STATE_UNKNOWN &&
	       (channel->map_count > 0 || channel->state_count > 0);
}

/* A text: a bare payload or a JSON string. BOM, blanks, CR LF and a final NUL are
 * stripped. */
struct word payload_text(const struct config *config,
	const struct channel_config *channel, const char *text, size_t length);
/* A JSON number, in the channel's raw form. */
struct word payload_number(const struct channel_config *channel, double number);
/* False for what is certainly no thermometer's fault code: the quick look. */
static inline bool payload_may_be_fault(
	const struct channel_config *channel, double raw, double own_c)
{
	return channel->dimension == DIMENSION_TEMPERATURE &&
	       (own_c < -126.0 || raw < -327.0 || raw > 327.0);
}
/* The same with a unit that came with it and takes the place of the configured one; NULL
 * is a unit that nobody knows (BAD on a channel of numbers). */
struct word payload_quantity(
	const struct channel_config *channel, double number, const struct unit *unit);
/* A JSON true or false. */
struct word payload_bool(const struct channel_config *channel, bool value);

/* An instant in a payload, by its declared form or detected by size: s, ms, µs, ns since
 * 1970 or ISO 8601 with or without zone (the plant's; an ambiguous hour is the one
 * nearest to the stamp). Times before 2020 mean "the board had no clock": the stamp is
 * answered. 0, or -EINVAL. */
int payload_time_text(const char *text, size_t length, enum time_form form,
	int64_t stamp_ms, int64_t *ret_ms);
int payload_time_number(
	double number, enum time_form form, int64_t stamp_ms, int64_t *ret_ms);

/* Decimal number without locale: sign, digits, at most one point, exponent; the whole
 * text. Correctly rounded (equals strtod(3) in the C locale). 0 or -EINVAL. */
int number_parse(const char *text, size_t length, double *ret);

#endif
