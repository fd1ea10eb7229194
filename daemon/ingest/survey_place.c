/*
 * What is remembered of the values at one place. See survey.h.
 *
 * Values are read by the same code as the daemon's channels (payload_text()), tried in
 * turn as a plain number, with a decimal comma, with grouped thousands: what a proposed
 * channel will make of them was seen here to work.
 *
 * Samples are thinned out: when there is no more room every other one goes and from then
 * on every other one is kept, so that they span the whole time.
 */
#include "survey.h"

#include <heatbook/payload.h>

#include <math.h>
#include <string.h>

#define DAY_BACK_MS MS_PER_DAY
#define EPOCH_LEAST 1.5e9 /* seconds: 2017 */
/* A change below this part of the value is rounding of a binary fraction. */
#define ROUNDING 1e-9

int64_t spacing_median(const struct spacing *spacing)
{
	int64_t sorted[SURVEY_GAPS_MOST];
	size_t n = spacing->count < SURVEY_GAPS_MOST ? (size_t)spacing->count
						     : SURVEY_GAPS_MOST;
	if (n == 0)
		return -1;
	memcpy(sorted, spacing->gaps_ms, n * sizeof(*sorted));
	for (size_t i = 1; i < n; i++)
		for (size_t k = i; k > 0 && sorted[k - 1] > sorted[k]; k--) {
			int64_t swap = sorted[k];
			sorted[k] = sorted[k - 1];
			sorted[k - 1] = swap;
		}
	return sorted[n / 2];
}

void spacing_add(struct spacing *spacing, int64_t t_ms)
{
	if (spacing->last_ms >= 0 && t_ms >= spacing->last_ms) {
		int64_t gap = t_ms - spacing->last_ms;
		spacing->gaps_ms[spacing->count++ % SURVEY_GAPS_MOST] = gap;
		if (gap > spacing->longest_ms)
			spacing->longest_ms = gap;
	}
	if (t_ms > spacing->last_ms)
		spacing->last_ms = t_ms;
}

void place_report(struct place *place, const struct survey_message *m, int64_t t_ms)
{
	place->count++;
	place->retained += m->retained;
	if (!m->retained)
		spacing_add(&place->spacing, t_ms);
}

static void keep_example(struct place *place, const void *text, size_t length)
{
	place->example_length =
		length < SURVEY_EXAMPLE_MOST ? length : SURVEY_EXAMPLE_MOST;
	memcpy(place->example, text, place->example_length);
}

void place_take_bad(struct place *place, int reason, const void *text, size_t length)
{
	place->kinds[PLACE_BAD]++;
	place->reason = (uint8_t)reason;
	if (place->kinds[PLACE_NUMBER] + place->kinds[PLACE_WORD] == 0)
		keep_example(place, text, length);
}

void place_take_missing(struct place *place)
{
	place->kinds[PLACE_MISSING]++;
}

/* ---- words ---- */

static void take_word(struct place *place, const char *text, size_t length)
{
	place->kinds[PLACE_WORD]++;
	keep_example(place, text, length);
	if (length >= SURVEY_WORD_MOST) {
		place->more_words = true;
		return;
	}
	for (size_t i = 0; i < place->word_count; i++)
		if (strncmp(place->words[i], text, length) == 0 &&
			!place->words[i][length])
			return;
	if (place->word_count == SURVEY_WORDS_MOST) {
		place->more_words = true;
		return;
	}
	if (!place->words)
		place->words = xcalloc(SURVEY_WORDS_MOST, SURVEY_WORD_MOST);
	memcpy(place->words[place->word_count++], text, length);
}

void place_take_truth(struct place *place, bool truth)
{
	const char *word = truth ? "true" : "false";
	take_word(place, word, strlen(word));
	place->kinds[PLACE_WORD]--;
	place->kinds[PLACE_TRUTH]++;
}

/* ---- numbers ---- */

static void keep_sample(struct place *place, int64_t t_ms, double value)
{
	if (!place->samples)
		place->samples = xcalloc(SURVEY_SAMPLES_MOST, sizeof(*place->samples));
	/* Which of all numbers are kept is told by how many there were. */
	uint64_t stride = 1, index = place->kinds[PLACE_NUMBER] - 1;
	while (index / stride >= SURVEY_SAMPLES_MOST)
		stride *= 2;
	if (index % stride != 0)
		return;
	if (place->sample_count == SURVEY_SAMPLES_MOST) {
		for (size_t i = 0; i < SURVEY_SAMPLES_MOST / 2; i++)
			place->samples[i] = place->samples[2 * i];
		place->sample_count = SURVEY_SAMPLES_MOST / 2;
	}
	place->samples[place->sample_count++] = (struct sample){t_ms, value};
}

static void keep_change(struct place *place, double value)
{
	double change = value - place->last;
	double size = fabs(change);
	if (size <= ROUNDING * (1.0 + fabs(value)))
		return;
	place->rises += change > 0;
	place->falls += change < 0;
	if (place->step <= 0 || size < place->step)
		place->step = size;
}

static void keep_unit(struct place *place, const struct unit *unit)
{
	if (!unit)
		return;
	if (place->unit && place->unit->dimension != unit->dimension)
		place->units_differ = true;
	if (!place->unit)
		place->unit = unit;
}

static void take_value(struct place *place, const struct survey_message *m, double value)
{
	if (place->kinds[PLACE_NUMBER]++ == 0) {
		place->least = place->most = value;
	} else {
		keep_change(place, value);
		place->least = value < place->least ? value : place->least;
		place->most = value > place->most ? value : place->most;
	}
	place->last = value;
	keep_sample(place, m->t_ms, value);
}

bool survey_instant_number(double number, int64_t stamp_ms, int64_t *ret_ms)
{
	int64_t t_ms;
	if (number < EPOCH_LEAST ||
		payload_time_number(number, TIME_FORM_DETECT, stamp_ms, &t_ms) != 0)
		return false;
	*ret_ms = t_ms;
	return t_ms >= stamp_ms - DAY_BACK_MS && t_ms <= stamp_ms + AHEAD_MOST_MS;
}

bool survey_instant_text(
	const char *text, size_t length, int64_t stamp_ms, int64_t *ret_ms)
{
	double number;
	if (number_parse(text, length, &number) == 0)
		return survey_instant_number(number, stamp_ms, ret_ms);
	return length >= 12 &&
	       payload_time_text(text, length, TIME_FORM_ISO, stamp_ms, ret_ms) == 0;
}

static void take_instant(struct place *place, int64_t stamp_ms, int64_t t_ms)
{
	int64_t lag_ms = stamp_ms - t_ms;
	bool first = place->kinds[PLACE_INSTANT]++ == 0;
	place->instant_changes += !first && t_ms != place->instant_ms;
	place->instant_ms = t_ms;
	if (first || lag_ms < place->lag_least_ms)
		place->lag_least_ms = lag_ms;
	if (first || lag_ms > place->lag_most_ms)
		place->lag_most_ms = lag_ms;
}

void place_take_number(struct place *place, const struct survey_message *m, double number,
	const struct unit *unit)
{
	char text[32];
	int64_t t_ms;
	int n = snprintf(text, sizeof(text), "%.10g", number);
	if (!isfinite(number)) {
		place_take_bad(place, BAD_INFINITE, text, (size_t)n);
		return;
	}
	keep_example(place, text, (size_t)n);
	if (!unit && survey_instant_number(number, m->t_ms, &t_ms)) {
		take_instant(place, m->t_ms, t_ms);
		return;
	}
	keep_unit(place, unit);
	take_value(place, m, unit ? unit_to_own(unit, number) : number);
}

/* ---- texts ---- */

/* The unit that follows a number in a text, or NULL. */
static const struct unit *unit_in(const char *text, size_t length)
{
	size_t start = strspn(text, "+-0123456789.,' ");
	if (start == 0 || start >= length)
		return NULL;
	return unit_find(text + start, length - start);
}

static struct word read_number(const struct survey_message *m, const struct unit *unit,
	enum decimal_mark decimal, bool thousands, const char *text, size_t length)
{
	const struct channel_config channel = {.unit = unit,
		.dimension = unit->dimension,
		.scale = 1.0,
		.decimal = decimal,
		.thousands = thousands,
		.valid_least = -INFINITY,
		.valid_most = INFINITY};
	return payload_text(m->config, &channel, text, length);
}

/* The number by the first reading of its marks that makes sense. */
static struct word read_marked(struct place *place, const struct survey_message *m,
	const struct unit *unit, const char *text, size_t length)
{
	const char *comma = memrchr(text, ',', length),
		   *point = memrchr(text, '.', length);
	bool ends_in_comma = comma && (!point || comma > point);
	struct word word = read_number(m, unit, DECIMAL_DETECT, false, text, length);
	if (word.kind == READING_BAD && word.reason == BAD_SEPARATOR)
		word = read_number(m, unit, DECIMAL_COMMA, false, text, length);
	if (word.kind == READING_BAD && word.reason == BAD_SEPARATOR) {
		word = read_number(m, unit, DECIMAL_DETECT, true, text, length);
		place->thousands |= word.kind == READING_VALUE;
	}
	if (word.kind == READING_VALUE) {
		place->comma |= ends_in_comma;
		place->point |= point && !ends_in_comma;
	}
	return word;
}

void place_take_text(struct place *place, const struct survey_message *m,
	const char *text, size_t length)
{
	_cleanup_(freep) char *copy = xstrndup(text, length); /* ends in NUL */
	const struct unit *unit = unit_in(copy, length);
	const struct unit *read = unit ? unit : unit_own(DIMENSION_NUMBER);
	int64_t t_ms;
	if (survey_instant_text(copy, length, m->t_ms, &t_ms)) {
		keep_example(place, text, length);
		take_instant(place, m->t_ms, t_ms);
		return;
	}
	struct word word = read_marked(place, m, read, copy, length);
	if (word.kind == READING_VALUE) {
		keep_example(place, text, length);
		keep_unit(place, unit);
		place->quoted = true;
		take_value(place, m, word.value);
	} else if (word.kind == READING_NOVALUE)
		place_take_missing(place);
	else if (word.reason == BAD_NOT_A_NUMBER || word.reason == BAD_STATE_FOR_NUMBER ||
		 word.reason == BAD_UNIT)
		take_word(place, text, length);
	else
		place_take_bad(place, word.reason, text, length);
}
