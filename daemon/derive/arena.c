/*
 * A chain of blocks, filled from the newest. See arena.h.
 */
#include "arena.h"

#define BLOCK_BYTES 262144

struct arena_block {
	struct arena_block *next;
	size_t used, size;
	unsigned char bytes[];
};

unsigned char *arena_add(struct arena *arena, size_t size)
{
	size_t rounded = (size + 7) & ~(size_t)7;
	struct arena_block *block = arena->blocks;

	if (!block || block->size - block->used < rounded) {
		size_t room = rounded > BLOCK_BYTES ? rounded : BLOCK_BYTES;
		block = xmalloc(sizeof(*block) + room);
		block->next = arena->blocks;
		block->used = 0;
		block->size = room;
		arena->blocks = block;
	}
	unsigned char *at = block->bytes + block->used;
	block->used += rounded;
	return at;
}

void arena_reset(struct arena *arena)
{
	struct arena_block *keep = arena->blocks;
	if (!keep)
		return;
	struct arena rest = {keep->next};
	arena_release(&rest);
	keep->next = NULL;
	keep->used = 0;
}

void arena_release(struct arena *arena)
{
	struct arena_block *next;
	for (struct arena_block *b = arena->blocks; b; b = next) {
		next = b->next;
		free(b);
	}
	arena->blocks = NULL;
}
