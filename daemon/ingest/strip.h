/*
 * What surrounds a payload and says nothing: byte order mark (UTF-8), blanks, line ends,
 * final NULs of C strings.
 */
#ifndef INGEST_STRIP_H
#define INGEST_STRIP_H

#include <heatbook/base.h>

#include <string.h>

static inline bool is_blank(char c)
{
	return c == ' ' || c == '\t' || c == '\r' || c == '\n';
}

static inline void strip(const char **text, size_t *length)
{
	if (*length >= 3 && memcmp(*text, "\xef\xbb\xbf", 3) == 0) {
		*text += 3;
		*length -= 3;
	}
	while (*length > 0 && (is_blank((*text)[*length - 1]) || !(*text)[*length - 1]))
		(*length)--;
	while (*length > 0 && is_blank(**text)) {
		(*text)++;
		(*length)--;
	}
}

/* Control characters other than blanks: no text that a plant means. */
static inline bool is_binary(const char *text, size_t length)
{
	for (size_t i = 0; i < length; i++)
		if ((unsigned char)text[i] < 0x20 && !is_blank(text[i]))
			return true;
	return false;
}

#endif
