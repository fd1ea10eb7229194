/*
 * Packets by their fixed headers. See gate.h.
 *
 * OASIS MQTT 3.1.1 and 5.0, 2.2 (2.1 in 5.0): type and flags in a byte, then the length
 * of the rest, 7 bits a byte, the least ones first, four bytes at most. Of a length that
 * has no end the library itself says that it is none.
 */
#include "gate.h"

#define LENGTH_BYTES_MOST 4
#define TYPE_PUBLISH      3
#define QOS_BITS          0x06

/* Size of the header, or 0 when it is not all there. */
static size_t read_header(const unsigned char *bytes, size_t length, size_t *ret_rest)
{
	size_t rest = 0;
	for (size_t i = 1; i < length; i++) {
		rest |= (size_t)(bytes[i] & 0x7f) << (7 * (i - 1));
		if (bytes[i] & 0x80 && i < LENGTH_BYTES_MOST)
			continue;
		*ret_rest = rest;
		return 1 + i;
	}
	return 0;
}

static enum gate_verdict judge(
	const unsigned char *bytes, size_t length, size_t most, size_t *ret_size)
{
	size_t rest, header = read_header(bytes, length, &rest);
	if (header == 0)
		return GATE_WAIT;
	if (header + rest > most)
		return GATE_LARGE;
	if (bytes[0] >> 4 == TYPE_PUBLISH && bytes[0] & QOS_BITS)
		return GATE_QOS;
	*ret_size = header + rest;
	return GATE_PASS;
}

enum gate_verdict gate_look(
	const unsigned char *bytes, size_t length, size_t most, int *ret_whole)
{
	enum gate_verdict first = GATE_WAIT;
	size_t size = 0;
	*ret_whole = 0;
	for (size_t at = 0; at < length; at += size) {
		enum gate_verdict verdict = judge(bytes + at, length - at, most, &size);
		if (at == 0)
			first = verdict;
		if (verdict != GATE_PASS || size > length - at)
			break;
		++*ret_whole;
	}
	return first;
}
