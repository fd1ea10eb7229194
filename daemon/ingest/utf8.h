/*
 * UTF-8 (RFC 3629) between code points and bytes, for the JSON forms of this room.
 */
#ifndef INGEST_UTF8_H
#define INGEST_UTF8_H

#include <heatbook/base.h>

/* Length of the well-formed sequence at the start of `text`, or 0: no overlong forms, no
 * surrogates, nothing past U+10FFFF. */
static inline size_t utf8_sequence(const unsigned char *text, size_t length)
{
	/* Least second byte by first byte: RFC 3629, section 4. */
	unsigned char lead = length ? text[0] : 0xff, least = 0x80, most = 0xbf;
	size_t n = 0;
	if (lead < 0x80)
		return 1;
	if (lead >= 0xc2 && lead <= 0xdf)
		n = 2;
	else if (lead >= 0xe0 && lead <= 0xef)
		n = 3;
	else if (lead >= 0xf0 && lead <= 0xf4)
		n = 4;
	if (n == 0 || n > length)
		return 0;
	if (lead == 0xe0)
		least = 0xa0;
	else if (lead == 0xed)
		most = 0x9f;
	else if (lead == 0xf0)
		least = 0x90;
	else if (lead == 0xf4)
		most = 0x8f;
	if (text[1] < least || text[1] > most)
		return 0;
	for (size_t i = 2; i < n; i++)
		if (text[i] < 0x80 || text[i] > 0xbf)
			return 0;
	return n;
}

/* Whether all of `text` is well-formed. */
static inline bool utf8_valid(const void *text, size_t length)
{
	const unsigned char *p = text;
	for (size_t n = 0; length > 0; p += n, length -= n) {
		n = utf8_sequence(p, length);
		if (n == 0)
			return false;
	}
	return true;
}

/* The bytes of one code point, which is no surrogate and at most U+10FFFF. */
static inline size_t utf8_write(uint32_t code, unsigned char ret[4])
{
	if (code < 0x80) {
		ret[0] = (unsigned char)code;
		return 1;
	}
	size_t n = code < 0x800 ? 2 : code < 0x10000 ? 3 : 4;
	static const unsigned char leads[] = {0, 0, 0xc0, 0xe0, 0xf0};
	for (size_t i = n - 1; i > 0; i--) {
		ret[i] = (unsigned char)(0x80 | (code & 0x3f));
		code >>= 6;
	}
	ret[0] = (unsigned char)(leads[n] | code);
	return n;
}

#endif
