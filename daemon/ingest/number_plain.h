/*
 * Most numbers by far: an optional minus, digits, perhaps a point and digits, few enough
 * to be exact (see number.c). Read where they stand: a row of a table is mostly these.
 */
#ifndef INGEST_NUMBER_PLAIN_H
#define INGEST_NUMBER_PLAIN_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#define EXACT_DIGITS   15
#define EXACT_EXPONENT 22

extern const double number_powers[EXACT_EXPONENT + 1];

/* How many bytes the number at `text` takes; 0 where there is no plain one. What follows
 * is the caller's to look at. */
static inline size_t number_plain(const char *text, const char *end, double *ret)
{
	const char *p = text, *begin;
	uint64_t mantissa = 0; /* too many digits go round, and are none of ours */
	size_t decimals = 0, digits;
	bool negative = p < end && *p == '-';

	begin = p += negative;
	for (; p < end && (unsigned)(*p - '0') <= 9; p++)
		mantissa = mantissa * 10 + (unsigned)(*p - '0');
	digits = (size_t)(p - begin);
	if (p < end && *p == '.') {
		begin = ++p;
		for (; p < end && (unsigned)(*p - '0') <= 9; p++)
			mantissa = mantissa * 10 + (unsigned)(*p - '0');
		decimals = (size_t)(p - begin);
	}
	digits += decimals;
	if (digits == 0 || digits > EXACT_DIGITS)
		return 0;
	double value = (double)(int64_t)mantissa / number_powers[decimals];
	*ret = negative ? -value : value;
	return (size_t)(p - text);
}

#endif
