/*
 * The journal's record: what came from outside, raw, and the link facts that rows depend
 * on.
 *
 * One binary form serves the tail and the store's chunks (little endian):
 *
 *     u32 body length   of what follows
 *     u8  kind          enum record_kind; bit 7 set = retained
 *     i64 t_ms          stamp, ms UTC
 *     i64 boot_ms       CLOCK_BOOTTIME at the stamp, or -1 (imported, not known)
 *     i64 number[2]     only for kinds below RECORD_MESSAGE, see each kind
 *     u16 topic length, topic bytes
 *     payload           the rest
 *
 * A record view points into bytes of this form or into its maker's memory; it owns
 * nothing.
 */
#ifndef HEATBOOK_RECORD_H
#define HEATBOOK_RECORD_H

#include <heatbook/base.h>

/* In the order in which records of one instant count: link facts first. */
enum record_kind {
	RECORD_START,      /* the daemon began to listen; payload: software version */
	RECORD_STOP,       /* it ended in good order */
	RECORD_SUBSCRIBED, /* the broker granted the subscriptions */
	RECORD_LOST,       /* the connection broke; payload: reason */
	RECORD_REFUSED,    /* number[0] messages not accepted for want of space */
	RECORD_CLOCK_STEP, /* number[0] = step ms, number[1] = end of the last closed
			      minute ms */
	RECORD_RESTAMP, /* number[0] = boot time, number[1] = the real time that it was */
	RECORD_MESSAGE,
	RECORD_ROW, /* a table's row; topic: table name */
	RECORD_KIND_COUNT
};

/* Payloads are cut at one byte past the largest that is decoded, so that the decoder sees
 * that they are too long and memory stays bounded. */
#define PAYLOAD_MOST 65536
#define RECORD_MOST  (4 + 1 + 8 + 8 + 16 + 2 + 65535 + PAYLOAD_MOST + 1)

struct record {
	enum record_kind kind;
	bool retained;
	int64_t t_ms;
	int64_t boot_ms;
	int64_t number[2];
	const char *topic;
	size_t topic_length; /* at most 65535 */
	const unsigned char *payload;
	size_t payload_length;
};

/* "message", "start" …; the names of export --journal. */
const char *record_kind_name(enum record_kind kind);
/* The kind of a name, or -1. */
int record_kind_find(const char *name);

/* Appends the binary form. Payloads past PAYLOAD_MOST + 1 bytes are cut there. */
void record_write(const struct record *record, struct buffer *out);
/* Reads one record from `bytes`; returns its whole size, or 0 when the bytes are not a
 * whole valid record. The view points into `bytes`. */
size_t record_read(const unsigned char *bytes, size_t length, struct record *ret);
/* Order of records of one instant: kind, topic, payload bytes, retained ones first,
 * numbers. Equal records compare 0; stamp and boot time do not tell them apart. */
int record_compare(const struct record *a, const struct record *b);

/* One JSON line of export --journal, with newline. */
void record_write_json(const struct record *record, struct buffer *out);
/* The record of such a line. The view points into `scratch`, which is reset first. 0, or
 * -EINVAL with a static sentence in *ret_why. */
int record_read_json(const char *line, size_t length, struct buffer *scratch,
	struct record *ret, const char **ret_why);

#endif
