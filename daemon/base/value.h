/*
 * Values as they are written in the configuration file. Each reader takes the whole text
 * and answers true, or false with a sentence in `why` that tells what is wrong and what
 * is allowed.
 */
#ifndef HEATBOOK_BASE_VALUE_H
#define HEATBOOK_BASE_VALUE_H

#include <heatbook/base.h>
#include <heatbook/calendar.h>
#include <heatbook/units.h>

#define WHY_SIZE 256

/* Decimal number, at most 15 digits and |exponent| <= 22: exactly rounded without a
 * library. */
bool value_number(const char *text, double *ret, char why[static WHY_SIZE]);
bool value_integer(const char *text, int64_t *ret, char why[static WHY_SIZE]);
/* Number and unit of the dimension, to its own unit; without unit it is in `bare`, NULL =
 * the own unit. */
bool value_quantity(const char *text, enum dimension dimension, const struct unit *bare,
	double *ret, char why[static WHY_SIZE]);
/* The same of a difference: a unit's zero does not count, K is a unit of temperatures. */
bool value_difference(const char *text, enum dimension dimension, const struct unit *bare,
	double *ret, char why[static WHY_SIZE]);
bool value_span(const char *text, int64_t *ret_ms, char why[static WHY_SIZE]);
bool value_size(const char *text, int64_t *ret_bytes, char why[static WHY_SIZE]);
bool value_yes_no(const char *text, bool *ret, char why[static WHY_SIZE]);
/* "07-01", a day of every year; `ret` may be NULL. */
bool value_month_day(const char *text, struct month_day *ret, char why[static WHY_SIZE]);
/* Place of the text among `words` ("a | b | c"). */
bool value_choice(
	const char *text, const char *words, int *ret, char why[static WHY_SIZE]);
/* "Mo-Fr 22:00-06:00 0.22"; no name and no line (config_cost.c). */
struct tariff_window;
bool value_window(const char *text, struct tariff_window *ret, char why[static WHY_SIZE]);
/* RFC 6901, section 3. */
bool value_pointer(const char *text, char why[static WHY_SIZE]);
/* MQTT 3.1.1, 4.7; without `wildcards` a topic name. */
bool value_filter(const char *text, bool wildcards, char why[static WHY_SIZE]);
/* [a-z][a-z0-9_]*, at most 48 bytes. */
bool value_name(const char *text, char why[static WHY_SIZE]);

/* The next item of a list, blanks around it dropped; *rest moves past it and is NULL
 * after the last. An empty item has *ret_length 0. */
const char *value_item(const char **rest, char separator, size_t *ret_length);

/* Spans and sizes as they would be written, into `text`. */
void value_span_text(double ms, char text[static 32]);
void value_size_text(double bytes, char text[static 32]);
/* What a dimension is called: "a power". */
const char *dimension_phrase(enum dimension dimension);

#endif
