/*
 * Spans of the link to the broker that tests shorten. Set before a subscriber or a
 * connection is made, by nobody else.
 */
#ifndef HEATBOOK_INGEST_PACE_H
#define HEATBOOK_INGEST_PACE_H

#include <stdint.h>

struct link_pace {
	int64_t look_ms;    /* at deadlines; the library's timers count seconds */
	int64_t answer_ms;  /* for the handshakes and CONNACK, then for all SUBACKs */
	int64_t silence_ms; /* until a silent connection is given up; 0: 3 keep-alives */
	int64_t pause_least_ms; /* between connections */
	int64_t pause_most_ms;
	int64_t proven_ms;     /* a connection that lives so long was good */
	int64_t short_life_ms; /* one closed within it may have been evicted */
};
extern struct link_pace link_pace;

#endif
