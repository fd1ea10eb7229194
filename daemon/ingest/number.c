/*
 * Decimal text into a double, correctly rounded, whatever the locale. See payload.h.
 *
 * Nearly all numbers of a plant have few digits: a mantissa below 2^53 and a power of ten
 * up to 10^22 are exact in binary64, so one division or multiplication rounds once and
 * gives what strtod(3) gives (times 10^-k would round twice). The rest goes to
 * strtod_l(3) in the C locale.
 */
#include <heatbook/payload.h>

#include "number_plain.h"

#include <errno.h>
#include <locale.h>
#include <pthread.h>
#include <string.h>

#define EXPONENT_CAP 100000 /* far past the range of a double, far from overflow */

const double number_powers[EXACT_EXPONENT + 1] = {1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7,
	1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15, 1e16, 1e17, 1e18, 1e19, 1e20, 1e21,
	1e22};

/* What the text holds: sign, value = mantissa * 10^exponent. */
struct decimal {
	bool negative;
	int64_t mantissa; /* its first EXACT_DIGITS significant digits */
	size_t digits;    /* significant ones, zeros in front do not count */
	long exponent;
};

static bool is_digit(char c)
{
	return c >= '0' && c <= '9';
}

/* Digits with at most one point among them; at least one digit. */
static const char *scan_mantissa(const char *p, const char *end, struct decimal *d)
{
	bool any = false, point = false;
	for (; p < end && (is_digit(*p) || (*p == '.' && !point)); p++) {
		if (*p == '.') {
			point = true;
			continue;
		}
		any = true;
		d->exponent -= point;
		if (d->digits == 0 && *p == '0')
			continue;
		if (d->digits++ < EXACT_DIGITS)
			d->mantissa = d->mantissa * 10 + (*p - '0');
	}
	return any ? p : NULL;
}

static const char *scan_exponent(const char *p, const char *end, struct decimal *d)
{
	long exponent = 0;
	bool negative = p < end && *p == '-';
	if (p < end && (*p == '-' || *p == '+'))
		p++;
	if (p == end)
		return NULL;
	for (; p < end && is_digit(*p); p++)
		if (exponent < EXPONENT_CAP)
			exponent = exponent * 10 + (*p - '0');
	d->exponent += negative ? -exponent : exponent;
	return p;
}

static bool scan(const char *text, size_t length, struct decimal *ret)
{
	const char *p = text, *end = text + length;
	*ret = (struct decimal){.negative = length > 0 && *p == '-'};
	if (p < end && (*p == '-' || *p == '+'))
		p++;
	p = scan_mantissa(p, end, ret);
	if (p && p < end && (*p == 'e' || *p == 'E'))
		p = scan_exponent(p + 1, end, ret);
	return p == end;
}

static locale_t c_locale;

static void make_locale(void)
{
	c_locale = newlocale(LC_ALL_MASK, "C", (locale_t)0);
	if (!c_locale)
		abort(); /* only for want of memory: the C locale is always there */
}

static double round_by_library(const char *text, size_t length)
{
	static pthread_once_t once = PTHREAD_ONCE_INIT;
	char small[128];
	_cleanup_(freep) char *large = NULL;
	char *copy = small;
	(void)pthread_once(&once, make_locale); /* fails for a wrong argument only */
	if (length >= sizeof(small))
		copy = large = xmalloc(length + 1); /* NOLINT: freed at scope's end */
	memcpy(copy, text, length);
	copy[length] = '\0';
	return strtod_l(copy, NULL, c_locale);
}

int number_parse(const char *text, size_t length, double *ret)
{
	struct decimal d;
	double value;
	if (length > 0 && number_plain(text, text + length, &value) == length) {
		*ret = value;
		return 0;
	}
	if (!scan(text, length, &d))
		return -EINVAL;
	if (d.digits > EXACT_DIGITS || d.exponent > EXACT_EXPONENT ||
		d.exponent < -EXACT_EXPONENT) {
		*ret = round_by_library(text, length);
		return 0;
	}
	value = (double)d.mantissa;
	if (d.exponent < 0)
		value /= number_powers[-d.exponent];
	else
		value *= number_powers[d.exponent];
	*ret = d.negative ? -value : value;
	return 0;
}
