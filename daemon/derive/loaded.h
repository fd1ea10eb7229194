/*
 * A chunk's readings of a span, in canonical order; they point into its bytes.
 */
#ifndef DERIVE_LOADED_H
#define DERIVE_LOADED_H

#include <heatbook/decoder.h>

struct loaded {
	struct buffer bytes; /* records, to be filled by the caller */
	struct readings readings;
	size_t at; /* the next to be given */
};

/* Decodes the bytes and keeps the readings with times in [from, to). 0, or -EBADMSG when
 * they are no records. */
int loaded_decode(
	struct loaded *l, struct decoder *decoder, int64_t from_ms, int64_t to_ms);
void loaded_free(struct loaded *l);

#endif
