/*
 * The daemon's parts and what its loop remembers, for the files that make it up.
 */
#ifndef HEATBOOK_SERVE_H
#define HEATBOOK_SERVE_H

#include "publisher.h"
#include "watcher.h"
#include "welcome.h"

#include <heatbook/http.h>
#include <heatbook/live.h>
#include <heatbook/news.h>
#include <heatbook/subscriber.h>

#define FAULT_MOST 320

struct daemon {
	const struct config *first; /* the caller's; those of reloads are our own */
	const struct config *config;
	const struct config *link_config; /* the subscriber's */
	int lock_fd;
	int signal_fd;
	struct store *store;
	struct decoder *decoder;
	struct tail *tail;
	struct stamper *stamper;
	struct live *live;
	struct http *http;
	struct subscriber *subscriber;
	struct publisher publisher;
	struct watcher watcher;

	int64_t started_boot_ms;
	int64_t tick_at_ms; /* monotonic */
	int64_t commit_at_ms;
	char commit_fault[FAULT_MOST];
	char derive_fault[FAULT_MOST];
	char close_fault[FAULT_MOST];
	double turn_ms_longest, turn_ms_before;
	int64_t turn_hour;
	struct subscriber_state link;
	struct news news; /* since this run began */
	/* What those counted since then that a reload replaced. */
	struct {
		uint64_t messages, unmatched, repeated_keys, bad;
	} before;
	struct welcome welcome;
	struct growth growth;   /* as of growth_at_ms */
	int64_t growth_at_ms;   /* monotonic: when it is worked out anew */
	int64_t look_at_ms;     /* monotonic: when it is seen whether days wait */
	int64_t looked_at_ms;   /* monotonic: when some were */
	bool looked;            /* none was left once, or looking failed */
	int64_t looked_version; /* of the rows when none was left to look at, or -1 */
	int64_t watchdog_ms;    /* between two signs of life, or -1 */
	int64_t watchdog_at_ms;
	char status[160]; /* what the service manager was told */
};

/* What the live way, or the subscriber, counted goes on being told once it is replaced.
 */
void serve_keep_counts(struct daemon *d);
void serve_keep_messages(struct daemon *d);

/* As http_live and welcome_state; `context` is the daemon. */
void serve_state(enum live_part part, struct live_state *ret, void *context);
void serve_present(struct live_state *ret, void *context);

#endif
