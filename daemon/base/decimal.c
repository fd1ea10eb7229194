/*
 * The fixed-decimal writer. See decimal.h. Digits are made from the last to the first,
 * into the end of a small array, until both the value is used up and a digit stands
 * before the point; zero has no sign.
 */
#include <heatbook/decimal.h>

#include <assert.h>
#include <string.h>

size_t decimal_write(char text[static DECIMAL_BYTES], int64_t value, int decimals)
{
	char digits[DECIMAL_BYTES];
	char *p = digits + sizeof(digits);
	uint64_t rest = value < 0 ? 0 - (uint64_t)value : (uint64_t)value;
	assert(decimals >= 0 && decimals <= DECIMALS_MOST);
	for (int i = 0; i < decimals; i++, rest /= 10)
		*--p = (char)('0' + rest % 10);
	if (decimals)
		*--p = '.';
	do
		*--p = (char)('0' + rest % 10);
	while (rest /= 10);
	if (value < 0)
		*--p = '-';
	size_t length = (size_t)(digits + sizeof(digits) - p);
	memcpy(text, p, length);
	return length;
}

void decimal_add(struct buffer *out, int64_t value, int decimals)
{
	buffer_reserve(out, DECIMAL_BYTES);
	out->length += decimal_write(out->data + out->length, value, decimals);
}
