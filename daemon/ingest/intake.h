/*
 * Reading from the broker's socket by the library, as much as may pass (gate.h).
 */
#ifndef HEATBOOK_INGEST_INTAKE_H
#define HEATBOOK_INGEST_INTAKE_H

#include "gate.h"

#include <poll.h>

struct mosquitto;

#define INTAKE_WINDOW 16384 /* bytes looked at before they are read */
#define INTAKE_ENDS   (POLLRDHUP | POLLERR | POLLHUP)

struct intake {
	size_t most;        /* bytes of a packet */
	bool blind;         /* TLS: what waits cannot be looked at */
	bool in_packet;     /* the library has read a packet's beginning */
	bool starved;       /* less than a packet's header waits in the socket */
	int64_t base_bytes; /* received when packets ceased to come to an end, or -1 */
	unsigned char window[INTAKE_WINDOW];
};

void intake_reset(struct intake *intake, size_t most, bool blind);

/* What to poll(2) for and how long at most, and whether it is time to read when nothing
 * was found. */
short intake_events(const struct intake *intake);
int64_t intake_wait_ms(const struct intake *intake, int64_t most_ms);
bool intake_is_due(const struct intake *intake);

/* Lets the library read, until `cause` has a text. `ends`: nothing more will come. A code
 * of the library, errno with MOSQ_ERR_ERRNO; else why the next packet must not pass. */
int intake_read(struct intake *intake, struct mosquitto *client, bool ends,
	const char *cause, enum gate_verdict *ret_verdict);
/* After each read: whether more than a packet has come and none has come to its end. */
bool intake_swells(struct intake *intake, struct mosquitto *client, bool advanced);

#endif
