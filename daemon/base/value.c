/*
 * Values of the configuration file. See value.h.
 *
 * Numbers are read without the C library: digits into an integer below 10^15, then one
 * multiplication or division by an exact power of ten, which is correctly rounded because
 * both operands are exact. More digits than that are a slip of the owner, not a
 * measurement, and are refused.
 */
#include "value.h"

#include <string.h>

/* Sets the reason; always false, so that a reader can end with it. */
static bool PRINTF_LIKE(2, 3) refuse(char why[static WHY_SIZE], const char *format, ...)
{
	va_list args;
	va_start(args, format);
	(void)vsnprintf(why, WHY_SIZE, format, args); /* a cut sentence is still one */
	va_end(args);
	return false;
}

static bool is_digit(char c)
{
	return c >= '0' && c <= '9';
}

static const double tens[] = {1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10,
	1e11, 1e12, 1e13, 1e14, 1e15, 1e16, 1e17, 1e18, 1e19, 1e20, 1e21, 1e22};

/* Digits with at most one point; counts the significant ones. False without any digit. */
static bool read_digits(const char **at, int64_t *mantissa, int *digits, int *exponent)
{
	bool any = false, point = false;
	for (; is_digit(**at) || (**at == '.' && !point); (*at)++) {
		if (**at == '.') {
			point = true;
			continue;
		}
		any = true;
		if (*mantissa > 0 || **at != '0')
			(*digits)++;
		if (*digits <= 15)
			*mantissa = *mantissa * 10 + (**at - '0');
		if (point)
			(*exponent)--;
	}
	return any;
}

static void read_exponent(const char **at, int *exponent)
{
	const char *p = *at;
	if (*p != 'e' && *p != 'E')
		return;
	p++;
	bool minus = *p == '-';
	if (*p == '-' || *p == '+')
		p++;
	/* "5 eV" is no exponent; neither is an E that stands alone. */
	if (!is_digit(*p))
		return;
	int written = 0;
	for (; is_digit(*p); p++)
		written = written < 1000 ? written * 10 + (*p - '0') : written;
	*exponent += minus ? -written : written;
	*at = p;
}

/* The number at the start of the text; *ret_rest is what follows it. */
static bool number_at(
	const char *text, double *ret, const char **ret_rest, char why[static WHY_SIZE])
{
	const char *p = text;
	bool minus = *p == '-';
	if (*p == '-' || *p == '+')
		p++;
	int64_t mantissa = 0;
	int digits = 0, exponent = 0;
	if (!read_digits(&p, &mantissa, &digits, &exponent))
		return refuse(why, "must be a number, with a decimal point");
	read_exponent(&p, &exponent);
	if (digits > 15)
		return refuse(why, "has more than 15 digits");
	if (exponent < -22 || exponent > 22)
		return refuse(why, "is too large or too small a number");
	double value = exponent < 0 ? (double)mantissa / tens[-exponent]
				    : (double)mantissa * tens[exponent];
	*ret = minus ? -value : value;
	*ret_rest = p;
	return true;
}

bool value_number(const char *text, double *ret, char why[static WHY_SIZE])
{
	const char *rest = text;
	double value = 0.0;
	if (!number_at(text, &value, &rest, why))
		return false;
	if (*rest)
		return refuse(
			why, "must be a number and nothing else (found '%s')", rest);
	*ret = value;
	return true;
}

bool value_integer(const char *text, int64_t *ret, char why[static WHY_SIZE])
{
	double value = 0.0;
	const char *digits = text + (*text == '-' || *text == '+');
	if (!*digits || strspn(digits, "0123456789") != strlen(digits))
		return refuse(why, "must be a whole number");
	if (!value_number(text, &value, why))
		return false;
	*ret = (int64_t)value;
	return true;
}

const char *dimension_phrase(enum dimension dimension)
{
	static const char *const phrases[DIMENSION_COUNT + 1] = {
		[DIMENSION_NUMBER] = "a plain number",
		[DIMENSION_TEMPERATURE] = "a temperature",
		[DIMENSION_TEMPERATURE_DIFFERENCE] = "a temperature difference",
		[DIMENSION_FLOW] = "a flow",
		[DIMENSION_PRESSURE] = "a pressure",
		[DIMENSION_POWER] = "a power",
		[DIMENSION_ENERGY] = "an energy",
		[DIMENSION_VOLTAGE] = "a voltage",
		[DIMENSION_CURRENT] = "a current",
		[DIMENSION_FREQUENCY] = "a frequency",
		[DIMENSION_RATIO] = "a ratio",
		[DIMENSION_STATE] = "a state",
		[DIMENSION_PRICE] = "a price",
		[DIMENSION_INTENSITY] = "a carbon intensity",
		[DIMENSION_COUNT] = "of any unit",
	};
	return phrases[dimension];
}

static const char *skip_blanks(const char *p)
{
	while (*p == ' ' || *p == '\t')
		p++;
	return p;
}

bool value_quantity(const char *text, enum dimension dimension, const struct unit *bare,
	double *ret, char why[static WHY_SIZE])
{
	const char *rest = text;
	double value = 0.0;
	if (!number_at(text, &value, &rest, why))
		return false;
	rest = skip_blanks(rest);
	const struct unit *unit = bare ? bare : unit_own(dimension);
	if (*rest)
		unit = unit_find(rest, strlen(rest));
	if (!unit)
		return refuse(why, "unknown unit '%s'; must be %s, for example in %s",
			rest, dimension_phrase(dimension), unit_own(dimension)->symbol);
	if (unit->dimension != dimension)
		return refuse(why, "%s is %s; must be %s, for example in %s",
			unit->symbol, dimension_phrase(unit->dimension),
			dimension_phrase(dimension), unit_own(dimension)->symbol);
	*ret = unit_to_own(unit, value);
	return true;
}

bool value_difference(const char *text, enum dimension dimension, const struct unit *bare,
	double *ret, char why[static WHY_SIZE])
{
	bool warmth = dimension == DIMENSION_TEMPERATURE;
	const char *rest = text;
	double value = 0.0;
	if (!number_at(text, &value, &rest, why))
		return false;
	rest = skip_blanks(rest);
	const struct unit *unit = *rest ? unit_find(rest, strlen(rest)) : bare;
	bool fits =
		unit &&
		(unit->dimension == dimension ||
			(warmth && unit->dimension == DIMENSION_TEMPERATURE_DIFFERENCE));
	if (!fits)
		return refuse(why,
			"'%.40s' is no unit of it; must be a difference, for example in "
			"%s",
			rest, warmth ? "K" : unit_own(dimension)->symbol);
	*ret = value * unit->factor / unit->divisor;
	return true;
}

struct step {
	const char *unit;
	double factor;
};
static const struct step spans[] = {
	{"ms", 1}, {"s", 1e3}, {"min", 60e3}, {"h", 3600e3}, {"d", 86400e3}};
static const struct step sizes[] = {{"B", 1}, {"kB", 1e3}, {"KiB", 1024}, {"MB", 1e6},
	{"MiB", 1048576}, {"GB", 1e9}, {"GiB", 1073741824}};

/* Number and one of the steps, a whole number of the smallest. */
static bool read_steps(const char *text, const struct step *steps, size_t count,
	const char *allowed, int64_t *ret, char why[static WHY_SIZE])
{
	const char *rest = text;
	double value = 0.0, factor = 0.0;
	if (!number_at(text, &value, &rest, why))
		return refuse(why, "must be a number and a unit (%s)", allowed);
	rest = skip_blanks(rest);
	for (size_t i = 0; i < count; i++)
		if (strcmp(steps[i].unit, rest) == 0)
			factor = steps[i].factor;
	if (!*rest)
		return refuse(why, "has no unit; must be one of %s", allowed);
	if (factor == 0) /* none was found: a mark of ours, exact */
		return refuse(why, "unknown unit '%s'; must be one of %s", rest, allowed);
	value *= factor;
	if (value < 0 || value > 9e15)
		return refuse(why, "is out of all bounds");
	int64_t whole = (int64_t)(value + 0.5);
	if ((double)whole - value > 1e-6 || value - (double)whole > 1e-6)
		return refuse(why, "is not a whole number of %s", steps[0].unit);
	*ret = whole;
	return true;
}

bool value_span(const char *text, int64_t *ret_ms, char why[static WHY_SIZE])
{
	return read_steps(text, spans, ARRAY_LEN(spans), "ms, s, min, h, d", ret_ms, why);
}

bool value_size(const char *text, int64_t *ret_bytes, char why[static WHY_SIZE])
{
	return read_steps(text, sizes, ARRAY_LEN(sizes), "B, kB, MB, GB, KiB, MiB, GiB",
		ret_bytes, why);
}

/* In the largest step that gives a whole number. */
static void steps_text(
	double value, const struct step *steps, size_t count, char text[static 32])
{
	size_t best = 0;
	for (size_t i = 1; i < count; i++) {
		double n = value / steps[i].factor;
		if (n >= 1 && n - (double)(int64_t)n == 0) /* exact: is it whole? */
			best = i;
	}
	(void)snprintf(text, 32, "%.0f %s", value / steps[best].factor, steps[best].unit);
}

void value_span_text(double ms, char text[static 32])
{
	steps_text(ms, spans, ARRAY_LEN(spans), text);
}

void value_size_text(double bytes, char text[static 32])
{
	steps_text(bytes, sizes, ARRAY_LEN(sizes), text);
}

bool value_yes_no(const char *text, bool *ret, char why[static WHY_SIZE])
{
	if (strcmp(text, "yes") != 0 && strcmp(text, "no") != 0)
		return refuse(why, "must be yes or no");
	*ret = text[0] == 'y';
	return true;
}

/* Two digits, or -1. */
static int two_digits(const char *text)
{
	if (text[0] < '0' || text[0] > '9' || text[1] < '0' || text[1] > '9')
		return -1;
	return 10 * (text[0] - '0') + text[1] - '0';
}

bool value_month_day(const char *text, struct month_day *ret, char why[static WHY_SIZE])
{
	static const int days[] = {31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31};
	struct month_day read = {0};
	if (strlen(text) == 5 && text[2] == '-')
		read = (struct month_day){two_digits(text), two_digits(text + 3)};
	if (read.month < 1 || read.month > 12 || read.day < 1 ||
		read.day > days[read.month - 1])
		return refuse(why, "must be a month and a day that every year has, such "
				   "as 07-01");
	if (ret)
		*ret = read;
	return true;
}

bool value_choice(
	const char *text, const char *words, int *ret, char why[static WHY_SIZE])
{
	const char *rest = words;
	size_t length = 0;
	for (int place = 0; rest; place++) {
		const char *word = value_item(&rest, '|', &length);
		if (strlen(text) == length && memcmp(word, text, length) == 0) {
			*ret = place;
			return true;
		}
	}
	return refuse(why, "must be one of %s", words);
}

bool value_pointer(const char *text, char why[static WHY_SIZE])
{
	if (*text && *text != '/')
		return refuse(why,
			"must be a JSON Pointer (RFC 6901): empty, or beginning with /");
	for (const char *p = strchr(text, '~'); p; p = strchr(p + 1, '~'))
		if (p[1] != '0' && p[1] != '1')
			return refuse(why,
				"in a JSON Pointer (RFC 6901) ~ stands only as ~0 "
				"(for ~) or ~1 (for /)");
	return true;
}

bool value_filter(const char *text, bool wildcards, char why[static WHY_SIZE])
{
	if (!*text)
		return refuse(why, "must not be empty (MQTT 3.1.1, 4.7.3)");
	if (!wildcards && strpbrk(text, "+#"))
		return refuse(why, "must be one topic, without + or #");
	for (const char *level = text; level;) {
		size_t length = strcspn(level, "/");
		bool last = level[length] == '\0';
		if (memchr(level, '#', length) && (length > 1 || !last))
			return refuse(why, "# must be the last level, alone (MQTT 3.1.1, "
					   "4.7.1.2)");
		if (memchr(level, '+', length) && length > 1)
			return refuse(
				why, "+ must be a whole level (MQTT 3.1.1, 4.7.1.3)");
		level = last ? NULL : level + length + 1;
	}
	return true;
}

bool value_name(const char *text, char why[static WHY_SIZE])
{
	size_t length = strlen(text);
	if (length > 48)
		return refuse(why, "name is %zu bytes long; at most 48", length);
	if (text[0] < 'a' || text[0] > 'z' ||
		strspn(text, "abcdefghijklmnopqrstuvwxyz0123456789_") != length)
		return refuse(
			why, "name must be small letters, digits and _, a letter first");
	return true;
}

const char *value_item(const char **rest, char separator, size_t *ret_length)
{
	const char *item = skip_blanks(*rest);
	const char *end = strchr(item, separator);
	*rest = end ? end + 1 : NULL;
	if (!end)
		end = item + strlen(item);
	while (end > item && (end[-1] == ' ' || end[-1] == '\t'))
		end--;
	*ret_length = (size_t)(end - item);
	return item;
}
