/*
 * Reading one value as its option says, and the printed reference. See options.h.
 *
 * A value is checked whole before a field is touched: a refused one leaves the struct as
 * it was. Fields are reached by the table's offset; their C types are those that
 * option_type names, which the tests hold by loading every default.
 */
#include <heatbook/calendar.h>
#include <heatbook/config.h>
#include <heatbook/options.h>
#include <heatbook/tariff.h>

#include "value.h"

#include <assert.h>
#include <string.h>

/* A number as the shortest text that a reader of ranges wants. */
static void bound_text(const struct option *o, double bound, char text[static 32])
{
	if (o->type == OPTION_SPAN || o->type == OPTION_SECONDS ||
		o->type == OPTION_LIMIT)
		value_span_text(bound, text);
	else if (o->type == OPTION_SIZE)
		value_size_text(bound, text);
	else
		(void)snprintf(text, 32, "%.10g", bound);
}

static bool in_range(const struct option *o, double value, char why[static WHY_SIZE])
{
	if (o->least >= o->most || (value >= o->least && value <= o->most))
		return true;
	char least[32], most[32];
	bound_text(o, o->least, least);
	bound_text(o, o->most, most);
	bool unit = o->type == OPTION_QUANTITY || o->type == OPTION_PRESSURE;
	const char *symbol = unit ? unit_own(o->dimension)->symbol : "";
	(void)snprintf(why, WHY_SIZE, "must be %s to %s%s%s%s", least, most,
		*symbol ? " " : "", symbol, o->type == OPTION_LIMIT ? ", or none" : "");
	return false;
}

static void store_text(void *field, const char *text)
{
	char **place = field;
	free(*place);
	*place = xstrdup(text);
}

static bool read_text(
	const struct option *o, const char *text, void *field, char why[static WHY_SIZE])
{
	if (o->type == OPTION_POINTER && !value_pointer(text, why))
		return false;
	if ((o->type == OPTION_FILTER || o->type == OPTION_TOPIC) &&
		!value_filter(text, o->type == OPTION_FILTER, why))
		return false;
	if (o->type == OPTION_ZONE && !calendar_zone_known(text)) {
		(void)snprintf(why, WHY_SIZE,
			"the system knows no such time zone; must be an IANA name, such "
			"as Europe/Berlin or UTC");
		return false;
	}
	if (field)
		store_text(field, text);
	return true;
}

static bool read_instant(const char *text, void *field, char why[static WHY_SIZE])
{
	const char *fault;
	int64_t t_ms;
	if (time_parse_rfc3339(text, &t_ms, &fault) != 0) {
		(void)snprintf(
			why, WHY_SIZE, "%s; such as 2026-01-01T00:00:00+01:00", fault);
		return false;
	}
	if (field)
		*(int64_t *)field = t_ms;
	return true;
}

static bool read_double(
	const struct option *o, const char *text, void *field, char why[static WHY_SIZE])
{
	double value = 0;
	bool done = o->type == OPTION_NUMBER
			    ? value_number(text, &value, why)
			    : value_quantity(text, o->dimension, NULL, &value, why);
	if (!done || !in_range(o, value, why))
		return false;
	if (field)
		*(double *)field = value;
	return true;
}

/* Spans and sizes, kept in 64 bits. */
static bool read_long(
	const struct option *o, const char *text, void *field, char why[static WHY_SIZE])
{
	int64_t value = -1;
	bool none = o->type == OPTION_LIMIT && strcmp(text, "none") == 0;
	if (!none) {
		bool done = o->type == OPTION_SIZE ? value_size(text, &value, why)
						   : value_span(text, &value, why);
		if (!done || !in_range(o, (double)value, why))
			return false;
	}
	if (field)
		*(int64_t *)field = value;
	return true;
}

static bool read_int(
	const struct option *o, const char *text, void *field, char why[static WHY_SIZE])
{
	int value = 0;
	if (o->type == OPTION_CHOICE) {
		if (!value_choice(text, o->words, &value, why))
			return false;
	} else {
		int64_t wide = 0;
		bool seconds = o->type == OPTION_SECONDS;
		bool done = seconds ? value_span(text, &wide, why)
				    : value_integer(text, &wide, why);
		if (!done || !in_range(o, (double)wide, why))
			return false;
		if (seconds && wide % 1000 != 0) {
			(void)snprintf(why, WHY_SIZE, "must be whole seconds");
			return false;
		}
		value = (int)(seconds ? wide / 1000 : wide);
	}
	if (field)
		*(int *)field = value;
	return true;
}

/* The lower group of option_type: what can be told from the text alone. */
static bool check_alone(
	const struct option *o, const char *text, char why[static WHY_SIZE])
{
	double number;
	struct tariff_window window;
	if (o->type == OPTION_WINDOW)
		return value_window(text, &window, why);
	if (o->type != OPTION_PRESSURE || (text[0] >= 'a' && text[0] <= 'z'))
		return true;
	return value_quantity(text, o->dimension, NULL, &number, why) &&
	       in_range(o, number, why);
}

static bool read_by_type(
	const struct option *o, const char *text, void *field, char why[static WHY_SIZE])
{
	bool yes = false;
	switch (o->type) {
	case OPTION_TEXT:
	case OPTION_POINTER:
	case OPTION_FILTER:
	case OPTION_TOPIC:
	case OPTION_ZONE:
		return read_text(o, text, field, why);
	case OPTION_NUMBER:
	case OPTION_QUANTITY:
		return read_double(o, text, field, why);
	case OPTION_SPAN:
	case OPTION_LIMIT:
	case OPTION_SIZE:
		return read_long(o, text, field, why);
	case OPTION_INTEGER:
	case OPTION_SECONDS:
	case OPTION_CHOICE:
		return read_int(o, text, field, why);
	case OPTION_INSTANT:
		return read_instant(text, field, why);
	case OPTION_MONTH_DAY:
		return value_month_day(text, field, why);
	case OPTION_YES_NO:
		if (!value_yes_no(text, &yes, why))
			return false;
		if (field)
			*(bool *)field = yes;
		return true;
	case OPTION_UNIT:
	case OPTION_IN_UNIT:
	case OPTION_MAP:
	case OPTION_FILTERS:
	case OPTION_DEVICES:
	case OPTION_WORDS:
	case OPTION_SUM:
	case OPTION_METER:
	case OPTION_CHANNEL:
	case OPTION_PRESSURE:
	case OPTION_FILE:
	case OPTION_COLUMN:
	case OPTION_WINDOW:
	case OPTION_PATTERNS:
	case OPTION_TIME_COLUMN:
	case OPTION_TIME_FORM:
		return check_alone(o, text, why);
	}
	assert(false);
	return false;
}

int option_read(const struct option *option, const char *text, void *fields,
	char why[static WHY_SIZE])
{
	char *field =
		fields && option->offset >= 0 ? (char *)fields + option->offset : NULL;
	if (!*text && option->type != OPTION_POINTER) {
		(void)snprintf(why, WHY_SIZE,
			"has no value; leave the line out for the default");
		return OPTION_REFUSED;
	}
	return read_by_type(option, text, field, why) ? 0 : OPTION_REFUSED;
}

/* Text as comment lines of at most 90 columns. */
static void print_wrapped(struct buffer *out, const char *text)
{
	size_t column = 0;
	while (*text) {
		size_t word = strcspn(text, " ");
		if (column > 0 && column + 1 + word > 88) {
			buffer_add_text(out, "\n");
			column = 0;
		}
		buffer_add_text(out, column > 0 ? " " : "# ");
		buffer_add(out, text, word);
		column += word + 1;
		text += word;
		text += strspn(text, " ");
	}
	buffer_add_text(out, "\n");
}

void option_facts(const struct option *o, struct buffer *out)
{
	buffer_add_text(out, o->sentence);
	if (o->words)
		buffer_addf(out, " One of: %s.", o->words);
	if (o->least < o->most) {
		char least[32], most[32];
		bound_text(o, o->least, least);
		bound_text(o, o->most, most);
		bool unit = o->type == OPTION_QUANTITY || o->type == OPTION_PRESSURE;
		buffer_addf(out, " %s to %s%s%s.", least, most, unit ? " " : "",
			unit ? unit_own(o->dimension)->symbol : "");
	}
	if (o->fixed)
		buffer_add_text(out, " A change needs a restart.");
}

static void print_option(struct buffer *out, const struct option *o)
{
	struct buffer line = {0};
	option_facts(o, &line);
	buffer_addf(&line, " %s", o->fallback ? "Default:" : "No default; for example:");
	buffer_add_text(out, "\n");
	print_wrapped(out, buffer_text(&line));
	buffer_addf(out, "#%s = %s\n", o->key, o->fallback ? o->fallback : o->example);
	buffer_release(&line);
}

static void print_section(struct buffer *out, const struct section_declaration *s)
{
	buffer_add_text(out, "\n");
	print_wrapped(out, s->sentence);
	if (s->example)
		buffer_addf(out, "#[%s %s]\n", s->name, s->example);
	else
		buffer_addf(out, "#[%s]\n", s->name);
	for (const struct option *o = s->options; o->key; o++)
		print_option(out, o);
}

void config_print_reference(struct buffer *out)
{
	buffer_add_text(out, "# Every section and option, with its default. A line "
			     "begins with its key; ' ;'\n"
			     "# begins a comment; a line has at most 197 bytes.\n");
	for (int k = 0; k < SECTION_COUNT; k++)
		print_section(out, section_declaration((enum section_kind)k));
}
