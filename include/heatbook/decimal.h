/*
 * Numbers out, with fixed decimals: scaled integers, exactly, without locale and without
 * floating point.
 */
#ifndef HEATBOOK_DECIMAL_H
#define HEATBOOK_DECIMAL_H

#include <heatbook/base.h>

/* Bytes that decimal_write() writes at most: sign, 19 digits, point, leading zeros. */
#define DECIMAL_BYTES 24
#define DECIMALS_MOST 18

/* value / 10^decimals with all its decimals ("-0.05" of -5 and 2), no NUL; decimals 0 to
 * DECIMALS_MOST. Returns the number of bytes. */
size_t decimal_write(char text[static DECIMAL_BYTES], int64_t value, int decimals);
/* The same at the end of a buffer. */
void decimal_add(struct buffer *out, int64_t value, int decimals);

#endif
