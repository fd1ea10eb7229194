/*
 * One word of a payload into VALUE, NOVALUE or BAD. See payload.h.
 *
 * A channel with a value map is a state channel: words are folded and looked up, numbers
 * and bools as their words ("1.0" is "1"), the map before the words for a missing value,
 * and what nobody named is STATE_UNKNOWN. Any other channel takes a number with or
 * without a unit: the unit in the text takes the place of the configured one if it is of
 * the same dimension.
 *
 * Numbers with decimal comma or grouped thousands are taken only where they cannot be
 * meant otherwise or the configuration says how they are meant. "1,234" alone is refused
 * even where "1,23" is not: a guess would be wrong by a factor of 1000.
 */
#include <heatbook/payload.h>

#include "strip.h"

#include <assert.h>
#include <math.h>

#define WORD_MOST  128 /* longer texts are no words of a map */
#define GROUP_SIZE 3

static struct word bad(enum bad_reason reason)
{
	return (struct word){.kind = READING_BAD, .reason = reason, .value = NAN};
}

static struct word no_value(void)
{
	return (struct word){.kind = READING_NOVALUE, .value = NAN};
}

static struct word value(double number)
{
	return (struct word){.kind = READING_VALUE, .value = number};
}

static bool is_digit(char c)
{
	return c >= '0' && c <= '9';
}

/* ---- states ---- */

static bool has_states(const struct channel_config *channel)
{
	return channel->map_count > 0 || channel->state_count > 0;
}

static struct word state_of_number(const struct channel_config *channel, double number)
{
	double word;
	for (size_t i = 0; i < channel->map_count; i++) {
		const struct map_entry *entry = &channel->map[i];
		if (number_parse(entry->word, strlen(entry->word), &word) == 0 &&
			word == number)
			return value(entry->state);
	}
	return value(STATE_UNKNOWN);
}

/* The state of a folded word; STATE_UNKNOWN when the map does not have it. */
static struct word state_of_word(
	const struct channel_config *channel, const char *word, size_t length)
{
	double number;
	for (size_t i = 0; i < channel->map_count; i++) {
		const struct map_entry *entry = &channel->map[i];
		if (strncmp(entry->word, word, length) == 0 && !entry->word[length])
			return value(entry->state);
	}
	if (number_parse(word, length, &number) == 0)
		return state_of_number(channel, number);
	return value(STATE_UNKNOWN);
}

static bool is_missing(const struct config *config, const char *word, size_t length)
{
	for (size_t i = 0; i < config->missing_word_count; i++) {
		const char *missing = config->missing_words[i];
		if (strncmp(missing, word, length) == 0 && !missing[length])
			return true;
	}
	return false;
}

/* ---- numbers ---- */

static bool is_one_of(
	const char *word, size_t length, const char *const *words, size_t count)
{
	for (size_t i = 0; i < count; i++)
		if (strlen(words[i]) == length && memcmp(words[i], word, length) == 0)
			return true;
	return false;
}

/* A folded word on a channel that wants a number. */
static struct word word_for_number(const char *word, size_t length)
{
	static const char *const nans[] = {"nan"}, *const infinities[] = {
							   "inf", "infinity"};
	static const char *const states[] = {
		"on", "off", "true", "false", "yes", "no", "open", "closed"};
	if (length > 0 && (*word == '-' || *word == '+')) {
		word++;
		length--;
	}
	if (is_one_of(word, length, nans, ARRAY_LEN(nans)))
		return no_value();
	if (is_one_of(word, length, infinities, ARRAY_LEN(infinities)))
		return bad(BAD_INFINITE);
	if (is_one_of(word, length, states, ARRAY_LEN(states)))
		return bad(BAD_STATE_FOR_NUMBER);
	return bad(BAD_NOT_A_NUMBER);
}

static bool is_hex(const char *text, size_t length)
{
	size_t sign = length > 0 && (*text == '-' || *text == '+');
	return length >= sign + 2 && text[sign] == '0' && (text[sign + 1] | 0x20) == 'x';
}

/* A number's text: its whole part with marks, and where it ends. */
struct numeral {
	size_t start;    /* behind the sign */
	size_t mantissa; /* end of digits and marks */
	size_t end;      /* end of the exponent */
	unsigned points;
	unsigned commas;
	size_t digits;
};

static struct numeral find_numeral(const char *text, size_t length)
{
	struct numeral n = {.start = length > 0 && (*text == '-' || *text == '+')};
	size_t i = n.start;
	for (; i < length && (is_digit(text[i]) || text[i] == '.' || text[i] == ',');
		i++) {
		n.points += text[i] == '.';
		n.commas += text[i] == ',';
		n.digits += is_digit(text[i]);
	}
	n.mantissa = n.end = i;
	if (i < length && (text[i] | 0x20) == 'e') {
		size_t sign =
			i + 1 < length && (text[i + 1] == '-' || text[i + 1] == '+');
		i += 1 + sign;
		if (i < length && is_digit(text[i])) {
			while (i < length && is_digit(text[i]))
				i++;
			n.end = i;
		}
	}
	return n;
}

static size_t last_mark(const char *text, struct numeral n)
{
	size_t i = n.mantissa;
	while (text[i - 1] != '.' && text[i - 1] != ',')
		i--;
	return i - 1;
}

/* The decimal mark that the text is written with: '.', ',', or 0 when that cannot be told
 * or is not what the channel allows. */
static char decimal_mark(
	const struct channel_config *channel, const char *text, struct numeral n)
{
	if (channel->decimal == DECIMAL_POINT)
		return n.commas == 0 || channel->thousands ? '.' : '\0';
	if (channel->decimal == DECIMAL_COMMA)
		return n.points == 0 || channel->thousands ? ',' : '\0';
	if (n.points <= 1 && n.commas == 0)
		return '.';
	size_t last = last_mark(text, n);
	char mark = text[last], other = mark == '.' ? ',' : '.';
	if (n.points > 0 && n.commas > 0)
		return channel->thousands ? mark : '\0';
	if (n.points + n.commas > 1)
		return channel->thousands ? other : '\0';
	return n.mantissa - last - 1 == GROUP_SIZE ? '\0' : mark;
}

/* Copies the numeral with a point as decimal mark and without groups; 0 when the groups
 * are not of three digits or a mark stands where none may. */
static size_t write_plain(
	const char *text, struct numeral n, char decimal, char out[static WORD_MOST])
{
	char group = decimal == '.' ? ',' : '.';
	size_t length = 0, since = 0; /* digits since the start or the last group mark */
	bool grouped = false, fraction = false;
	if (n.end >= WORD_MOST)
		return 0;
	for (size_t i = 0; i < n.end; i++) {
		char c = text[i];
		if (i < n.start || i >= n.mantissa) {
			out[length++] = c;
			continue;
		}
		if (c == group) {
			if (fraction || since == 0 || since > GROUP_SIZE ||
				(grouped && since != GROUP_SIZE))
				return 0;
			grouped = true;
			since = 0;
			continue;
		}
		if (c == decimal) {
			if (fraction || (grouped && since != GROUP_SIZE))
				return 0;
			fraction = true;
			c = '.';
		} else
			since += !fraction;
		out[length++] = c;
	}
	return grouped && since != GROUP_SIZE ? 0 : length;
}

static struct word parse_numeral(const struct channel_config *channel, const char *text,
	struct numeral n, double *ret_number)
{
	char plain[WORD_MOST];
	size_t length = n.end;
	if (n.commas > 0 || n.points > 1 ||
		(n.points && channel->decimal == DECIMAL_COMMA)) {
		char decimal = decimal_mark(channel, text, n);
		length = decimal ? write_plain(text, n, decimal, plain) : 0;
		if (length == 0)
			return bad(BAD_SEPARATOR);
		text = plain;
	}
	if (number_parse(text, length, ret_number) < 0)
		return bad(BAD_NOT_A_NUMBER);
	return value(*ret_number);
}

/* What follows a number: a unit's letters, or the rest of something that is no number. */
static bool may_be_unit(char c)
{
	return (c | 0x20) >= 'a' ? (c | 0x20) <= 'z' || (unsigned char)c >= 0x80
				 : (unsigned char)c >= 0x80 || strchr("%/[", c) != NULL;
}

static struct word number_text(
	const struct channel_config *channel, const char *text, size_t length)
{
	struct numeral n = find_numeral(text, length);
	double number;
	struct word word = parse_numeral(channel, text, n, &number);
	if (word.kind != READING_VALUE)
		return word;
	const char *rest = text + n.end;
	size_t rest_length = length - n.end;
	strip(&rest, &rest_length);
	if (rest_length == 0)
		return payload_number(channel, number);
	if (is_digit(*rest) || *rest == '\'')
		return bad(BAD_SEPARATOR); /* digits grouped by blanks or apostrophes */
	if (!may_be_unit(*rest))
		return bad(BAD_NOT_A_NUMBER);
	return payload_quantity(channel, number, unit_find(rest, rest_length));
}

struct word payload_text(const struct config *config,
	const struct channel_config *channel, const char *text, size_t length)
{
	char folded[WORD_MOST];
	size_t folded_length = 0;
	strip(&text, &length);
	if (length == 0)
		return no_value();
	if (length > PAYLOAD_MOST)
		return bad(BAD_TOO_LONG);
	if (is_binary(text, length))
		return bad(BAD_BINARY);
	if (length < sizeof(folded)) {
		folded_length = length;
		memcpy(folded, text, length);
		text_fold(folded, length);
	}
	if (has_states(channel)) {
		struct word word = state_of_word(channel, folded, folded_length);
		if (word.value == STATE_UNKNOWN &&
			is_missing(config, folded, folded_length))
			return no_value();
		return word;
	}
	if (is_missing(config, folded, folded_length))
		return no_value();
	if (is_hex(text, length))
		return bad(BAD_HEX);
	if (find_numeral(text, length).digits == 0)
		return word_for_number(folded, folded_length);
	return number_text(channel, text, length);
}

/* ---- what a number means ---- */

/* Unfolds a wrapped signed integer; numbers that are negative already stay. */
static struct word unwrap(double raw, int bits)
{
	double span = ldexp(1, bits);
	if (raw != floor(raw))
		return bad(BAD_NOT_A_NUMBER);
	if (raw < -span / 2 || raw >= span)
		return bad(BAD_RANGE);
	return value(raw >= span / 2 ? raw - span : raw);
}

/* What thermometers say when they fail, common practice of the trade (from memory): -127
 * °C of a sensor that does not answer, and the limits of 16 bits, as they are or with the
 * usual scales, since a gateway may have scaled them already. Those that may be true are
 * doubted later, where it is known what was said before (account/doubt.c). */
static bool is_fault_code(const struct channel_config *channel, double raw, double own_c)
{
	static const double limits[] = {32767, -32768, 65535};
	static const double scales[] = {1.0, 0.1, 0.01};

	if (!payload_may_be_fault(channel, raw, own_c))
		return false;
	bool found = fabs(own_c + 127.0) < 1e-6;
	for (size_t i = 0; i < ARRAY_LEN(limits); i++)
		for (size_t k = 0; k < ARRAY_LEN(scales); k++)
			found = found || fabs(raw - limits[i] * scales[k]) < 1e-6;
	return found;
}

struct word payload_quantity(
	const struct channel_config *channel, double number, const struct unit *unit)
{
	if (isnan(number))
		return no_value();
	if (isinf(number))
		return bad(BAD_INFINITE);
	if (has_states(channel))
		return state_of_number(channel, number);
	/* A mass flow's number is no volume's: heat would be out by the density. */
	if (!unit || unit->dimension != channel->dimension ||
		unit->mass != channel->unit->mass)
		return bad(BAD_UNIT);
	if (channel->integer_bits) {
		struct word word = unwrap(number, channel->integer_bits);
		if (word.kind != READING_VALUE)
			return word;
		number = word.value;
	}
	/* Adding 0 makes a negative zero positive: one value, one form. */
	double raw = number;
	number = unit_to_own(unit, number * channel->scale + channel->offset) + 0.0;
	if (!isfinite(number))
		return bad(BAD_INFINITE);
	if (is_fault_code(channel, raw, number))
		return no_value();
	if (number < channel->valid_least || number > channel->valid_most)
		return bad(BAD_RANGE);
	return value(number);
}

struct word payload_number(const struct channel_config *channel, double number)
{
	assert(channel->unit || has_states(channel));
	return payload_quantity(channel, number, channel->unit);
}

struct word payload_bool(const struct channel_config *channel, bool truth)
{
	const char *word = truth ? "true" : "false";
	if (!has_states(channel))
		return bad(BAD_STATE_FOR_NUMBER);
	return state_of_word(channel, word, strlen(word));
}
