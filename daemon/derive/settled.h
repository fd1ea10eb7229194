/*
 * Spans of registers that closed, and events, that are not booked yet: of a day that is
 * derived, of the time since the live way's last commit.
 */
#ifndef DERIVE_SETTLED_H
#define DERIVE_SETTLED_H

#include <heatbook/event.h>
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

struct happened {
	struct event *items;
	size_t count, room;
};

static inline void happened_add(struct happened *list, const struct event *event)
{
	if (list->count == list->room) {
		list->room = list->room ? 2 * list->room : 16;
		list->items = xrealloc(list->items, list->room, sizeof(*list->items));
	}
	list->items[list->count++] = *event;
}

#endif
