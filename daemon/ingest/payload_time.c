/*
 * Instants in payloads: epoch numbers of several sizes, ISO 8601 with or without zone.
 * See payload.h.
 *
 * A board without a clock says 0, 1970 or 2000: whatever is before 2020 means the stamp.
 * Whether a time is too far ahead of the stamp is the decoder's question, not answered
 * here.
 *
 * ISO 8601 allows more than the calendar's parsers take (basic form, comma, offsets of
 * two or four digits, no seconds): such text is first brought into their form.
 */
#include <heatbook/payload.h>

#include <heatbook/calendar.h>

#include <errno.h>
#include <math.h>
#include <string.h>

#define YEAR_2020_MS INT64_C(1577836800000)
#define TEXT_MOST    64
#define INSTANT_MOST 253402300800e3 /* the year 10000 */

/* Sizes that tell s, ms, µs and ns apart: each span begins in 1973 and ends in 5138. */
#define LARGEST_S  1e11
#define LARGEST_MS 1e14
#define LARGEST_US 1e17

static enum time_form form_by_size(double number)
{
	double size = fabs(number);
	if (size < LARGEST_S)
		return TIME_FORM_S;
	if (size < LARGEST_MS)
		return TIME_FORM_MS;
	return size < LARGEST_US ? TIME_FORM_US : TIME_FORM_NS;
}

static int64_t not_before_2020(int64_t t_ms, int64_t stamp_ms)
{
	return t_ms < YEAR_2020_MS ? stamp_ms : t_ms;
}

int payload_time_number(
	double number, enum time_form form, int64_t stamp_ms, int64_t *ret_ms)
{
	double ms = number;
	if (form == TIME_FORM_DETECT)
		form = form_by_size(number);
	if (form == TIME_FORM_ISO || !isfinite(number))
		return -EINVAL;
	if (form == TIME_FORM_S)
		ms = number * 1e3;
	else if (form == TIME_FORM_US)
		ms = number / 1e3;
	else if (form == TIME_FORM_NS)
		ms = number / 1e6;
	if (ms > INSTANT_MOST)
		return -EINVAL;
	/* The nearest: a double holds decimals of a second a little beside. */
	*ret_ms = ms < 0 ? stamp_ms : not_before_2020((int64_t)floor(ms + 0.5), stamp_ms);
	return 0;
}

static bool is_digit(char c)
{
	return c >= '0' && c <= '9';
}

static size_t count_digits(const char *p)
{
	size_t n = 0;
	while (is_digit(p[n]))
		n++;
	return n;
}

/* Takes two digits at *p and a following `mark` if it is there. */
static bool take_pair(const char **p, char mark, char **out)
{
	if (!is_digit((*p)[0]) || !is_digit((*p)[1]))
		return false;
	*(*out)++ = *(*p)++;
	*(*out)++ = *(*p)++;
	if (mark && **p == mark)
		(*p)++;
	return true;
}

/* "YYYY-MM-DD" or "YYYYMMDD", and the T or blank behind. */
static bool take_date(const char **p, char **out)
{
	bool basic = count_digits(*p) == 8;
	if (!basic && !(count_digits(*p) == 4 && (*p)[4] == '-'))
		return false;
	memcpy(*out, *p, 4);
	*p += basic ? 4 : 5;
	*out += 4;
	*(*out)++ = '-';
	if (!take_pair(p, '-', out))
		return false;
	*(*out)++ = '-';
	if (!take_pair(p, '\0', out) || !**p || !strchr("Tt ", **p))
		return false;
	(*p)++;
	*(*out)++ = 'T';
	return true;
}

/* "HH:MM[:SS[.f]]" or "HHMM[SS[.f]]"; a missing second is 00, digits past ms are dropped.
 */
static bool take_clock(const char **p, char **out)
{
	if (!take_pair(p, ':', out))
		return false;
	*(*out)++ = ':';
	if (!take_pair(p, ':', out))
		return false;
	*(*out)++ = ':';
	if (!is_digit(**p)) {
		if ((*p)[-1] == ':')
			return false;
		*(*out)++ = '0';
		*(*out)++ = '0';
		return true;
	}
	if (!take_pair(p, '\0', out))
		return false;
	if (**p != '.' && **p != ',')
		return true;
	(*p)++;
	size_t n = count_digits(*p), kept = n > 3 ? 3 : n;
	if (n == 0)
		return false;
	*(*out)++ = '.';
	memcpy(*out, *p, kept);
	*out += kept;
	*p += n;
	return true;
}

/* Nothing, Z, or an offset of hours with or without minutes. */
static bool take_offset(const char **p, char **out, bool *ret_local)
{
	while (**p == ' ')
		(*p)++;
	*ret_local = **p == '\0';
	if (*ret_local)
		return true;
	if (**p == 'Z' || **p == 'z') {
		*(*out)++ = 'Z';
		(*p)++;
		return true;
	}
	if (**p != '+' && **p != '-')
		return false;
	*(*out)++ = *(*p)++;
	if (!take_pair(p, ':', out))
		return false;
	*(*out)++ = ':';
	if (!**p && (*p)[-1] != ':') {
		*(*out)++ = '0';
		*(*out)++ = '0';
		return true;
	}
	return take_pair(p, '\0', out);
}

static int parse_iso(const char *text, int64_t stamp_ms, int64_t *ret_ms)
{
	char form[TEXT_MOST + 16], *out = form;
	const char *p = text, *why;
	bool local = false;
	if (!take_date(&p, &out) || !take_clock(&p, &out) ||
		!take_offset(&p, &out, &local) || *p)
		return -EINVAL;
	*out = '\0';
	if (local)
		return time_parse_local(form, stamp_ms, ret_ms);
	return time_parse_rfc3339(form, ret_ms, &why);
}

int payload_time_text(const char *text, size_t length, enum time_form form,
	int64_t stamp_ms, int64_t *ret_ms)
{
	char copy[TEXT_MOST];
	double number;
	int64_t t_ms;
	while (length > 0 && strchr(" \t\r\n", *text)) {
		text++;
		length--;
	}
	while (length > 0 && strchr(" \t\r\n", text[length - 1])) /* a final NUL too */
		length--;
	if (length == 0 || length >= sizeof(copy))
		return -EINVAL;
	if (form != TIME_FORM_ISO && number_parse(text, length, &number) == 0)
		return payload_time_number(number, form, stamp_ms, ret_ms);
	if (form != TIME_FORM_ISO && form != TIME_FORM_DETECT)
		return -EINVAL;
	memcpy(copy, text, length);
	copy[length] = '\0';
	if (strlen(copy) != length || parse_iso(copy, stamp_ms, &t_ms) < 0)
		return -EINVAL;
	*ret_ms = not_before_2020(t_ms, stamp_ms);
	return 0;
}
