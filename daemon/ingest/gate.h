/*
 * What of the bytes that have come may pass on to the library, which checks less than it
 * should: it takes memory for whatever length a packet announces, and keeps messages of a
 * quality of service that nobody asked for. Pure.
 */
#ifndef HEATBOOK_INGEST_GATE_H
#define HEATBOOK_INGEST_GATE_H

#include <heatbook/base.h>

enum gate_verdict {
	GATE_PASS,  /* `whole` packets, or one whose header is good */
	GATE_WAIT,  /* less than a header has come */
	GATE_LARGE, /* the first packet announces more than `most` bytes */
	GATE_QOS    /* the first packet is a message above QoS 0 */
};

/* `bytes` begin with a packet. *ret_whole is how many are there to their end and good. */
enum gate_verdict gate_look(
	const unsigned char *bytes, size_t length, size_t most, int *ret_whole);

#endif
