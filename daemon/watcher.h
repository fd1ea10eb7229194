/*
 * Where notices stand at present, for the main loop: carried along as minutes close.
 */
#ifndef HEATBOOK_WATCHER_H
#define HEATBOOK_WATCHER_H

#include <heatbook/news.h>
#include <heatbook/notices.h>

/* `{0}` has looked at nothing yet. */
struct watcher {
	struct notices *notices;
	uint64_t revisions;     /* of the news that it has heeded */
	bool stands;            /* up to the last closed minute */
	bool failed;            /* that was said */
	int64_t waits_since_ms; /* for days to be looked at, on the monotonic clock */
};

/* To be called about once a second; `behind`: rows are not made up to now. */
void watcher_tick(struct watcher *watcher, const struct config *config,
	struct store *store, const struct news *news, bool behind);
/* NULL while they are not known up to the last closed minute. */
const struct notices *watcher_notices(const struct watcher *watcher);
/* Before another configuration is in force, and at the end. */
void watcher_end(struct watcher *watcher);

#endif
