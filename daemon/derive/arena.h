/*
 * Bytes that stay where they are until all are dropped at once: frames that readings
 * point to.
 */
#ifndef DERIVE_ARENA_H
#define DERIVE_ARENA_H

#include <heatbook/base.h>

struct arena_block;

struct arena {
	struct arena_block *blocks; /* the newest first */
};

/* Room for `size` bytes, aligned to 8. */
unsigned char *arena_add(struct arena *arena, size_t size);
/* Drops everything; one block is kept for reuse. */
void arena_reset(struct arena *arena);
void arena_release(struct arena *arena);

#endif
