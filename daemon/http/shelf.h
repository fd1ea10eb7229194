/*
 * Finished answers, kept to be given again: a page that several clients have open asks
 * the same of the store, and a client that has the answer already wants to hear just
 * that. A kept answer is byte for byte, field for field what would be made now; where
 * that is not certain, it is made anew. So nothing is lost when all of them are dropped.
 */
#ifndef HEATBOOK_HTTP_SHELF_H
#define HEATBOOK_HTTP_SHELF_H

#include <heatbook/query.h>

struct MHD_Response;
struct shelf;

#define TAG_SIZE 32

/* How long an answer stands. */
struct standing {
	bool stands; /* it depends on the store, the clock and nothing else */
	int64_t from_ms,
		until_ms;      /* it is this one while the clock is in [from, until) */
	int64_t before_minute; /* rows of this minute and later play no part in it */
	struct generation generation; /* of the store, when it was made */
};

/* An answer as the library sends it, and in its place where the client has it. */
struct shelved {
	struct MHD_Response *whole, *unchanged;
	size_t bytes; /* of the body */
	char tag[TAG_SIZE];
};

struct shelf *shelf_new(void);
void shelf_free(struct shelf *shelf);
/* Drops everything: the configuration is another one. */
void shelf_clear(struct shelf *shelf);

/* The answer to what the key says, which holds all that bytes and fields hang on besides
 * the store and the clock, if one is kept and stands; else NULL. It is the shelf's, until
 * the shelf is asked for another thing. */
const struct shelved *shelf_find(struct shelf *shelf, const struct buffer *key,
	struct store *store, int64_t now_ms);
/* Takes an answer over and keeps it, unless it is too large; what does not stand any more
 * is dropped, then what was not asked for the longest. */
void shelf_put(struct shelf *shelf, const struct buffer *key,
	const struct standing *standing, const struct shelved *answer);

#endif
