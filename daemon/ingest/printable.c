/*
 * Escaping of what comes from outside. See printable.h.
 *
 * A terminal acts upon control characters (ECMA-48: ESC and, as one code, C1), and a
 * reader upon what is invisible or turns the direction of writing (Unicode TR 36); both
 * are shown as their bytes.
 */
#include <heatbook/printable.h>

#include "utf8.h"

#include <string.h>

#define CUT "…"

/* Code points that are shown as bytes though they are well-formed. */
static const struct {
	uint32_t first, last;
} hidden[] = {
	{0x7f, 0x9f},       /* DEL and C1 */
	{0xad, 0xad},       /* soft hyphen */
	{0x61c, 0x61c},     /* Arabic letter mark */
	{0x200b, 0x200f},   /* zero width, marks of direction */
	{0x2028, 0x202e},   /* separators, embeddings, overrides */
	{0x2060, 0x206f},   /* word joiner, isolates */
	{0xfeff, 0xfeff},   /* byte order mark */
	{0xfff9, 0xfffb},   /* interlinear annotation */
	{0xe0000, 0xe007f}, /* tags */
};

static uint32_t code_point(const unsigned char *p, size_t n)
{
	static const uint8_t masks[] = {0, 0x7f, 0x1f, 0x0f, 0x07};
	uint32_t code = p[0] & masks[n];
	for (size_t i = 1; i < n; i++)
		code = code << 6 | (p[i] & 0x3fU);
	return code;
}

/* Length of the printable character at `p`, or 0. */
static size_t printable_at(const unsigned char *p, size_t length)
{
	size_t n = utf8_sequence(p, length);
	if (n == 0 || p[0] < 0x20)
		return 0;
	uint32_t code = code_point(p, n);
	for (size_t i = 0; i < ARRAY_LEN(hidden); i++)
		if (code >= hidden[i].first && code <= hidden[i].last)
			return 0;
	return n;
}

bool text_is_printable(const void *bytes, size_t length)
{
	const unsigned char *p = bytes;
	for (size_t n = 0; length > 0; p += n, length -= n) {
		n = printable_at(p, length);
		if (n == 0)
			return false;
	}
	return true;
}

void text_printable(struct buffer *out, const void *bytes, size_t length, size_t most)
{
	const unsigned char *p = bytes;
	size_t used = 0, room = 0, safe = 0, start = out->length;
	while (length > 0) {
		char piece[8];
		size_t n = printable_at(p, length), taken = n ? n : 1;
		if (n == 1 && *p == '\\')
			n = (size_t)snprintf(piece, sizeof(piece), "\\\\");
		else if (n)
			memcpy(piece, p, n);
		else
			n = (size_t)snprintf(piece, sizeof(piece), "\\x%02x", *p);
		if (used + n > most) {
			out->length = start + safe;
			buffer_add_text(out, CUT);
			return;
		}
		buffer_add(out, piece, n);
		used += n;
		room = most - used;
		if (room >= strlen(CUT)) /* the mark fits behind this one */
			safe = used;
		p += taken;
		length -= taken;
	}
}
