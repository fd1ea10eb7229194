/*
 * Spans of registers that closed and are not booked yet: of a day that is derived, of the
 * time since the live way's last commit.
 */
#ifndef DERIVE_SETTLED_H
#define DERIVE_SETTLED_H

#include <heatbook/settlement.h>

struct settled {
	struct settlement *items;
	size_t count, room;
};

static inline void settled_add(struct settled *list, const struct settlement *settlement)
{
	if (list->count == list->room) {
		list->room = list->room ? 2 * list->room : 16;
		list->items = xrealloc(list->items, list->room, sizeof(*list->items));
	}
	list->items[list->count++] = *settlement;
}

#endif
