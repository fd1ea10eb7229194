/*
 * The journal's record: what came from outside, raw, and the link facts that rows depend
 * on.
 *
 * One binary form serves the tail and the store's chunks (little endian):
 *
 *     u32 body length   of what follows
 *     u8  kind          enum record_kind; bit 7 set = retained, bit 6 = unsure
 *     i64 t_ms          stamp, ms UTC
 *     i64 boot_ms       CLOCK_BOOTTIME at the stamp, or -1 (imported, not known)
 *     i64 number[2]     only for kinds below RECORD_MESSAGE, see each kind
 *     u16 topic length, topic bytes
 *     payload           the rest
 *
 * Unsure: the clock that stamped it was not to be trusted, or showed an instant whose
 * minutes were closed already. Such a record is kept and makes no reading, at any door:
 * that it feeds no row is a property of the record itself.
 *
 * A record view points into bytes of this form or into its maker's memory; it owns
 * nothing.
 */
#ifndef HEATBOOK_RECORD_H
#define HEATBOOK_RECORD_H

#include <heatbook/base.h>

/* In the order in which records of one instant count: link facts first. */
enum record_kind {
	RECORD_START,      /* the daemon began to listen; payload: software version,
			      number[0]: which boot of the machine, 0 = not known */
	RECORD_STOP,       /* it ended in good order */
	RECORD_SUBSCRIBED, /* the broker granted the subscriptions */
	RECORD_LOST,       /* the connection broke; payload: reason */
	RECORD_REFUSED,    /* number[0] messages not accepted for want of space */
	RECORD_CLOCK_STEP, /* number[0] = step ms; forward: all holds end here, the
			      minutes stepped over are a gap; back: number[1] = 0 when
			      it is smoothed out, else the end of the last closed
			      minute ms: what is stamped before it is unsure */
	RECORD_RESTAMP,    /* the clock can be trusted from here on; number[0] = real time
			      less boot time ms, by which unsure records before it, of the
			      same boot, get the stamp that they should have had;
			      number[1] = end of the last closed minute ms, or 0: what
			      would be stamped before it stays unsure; payload: why */
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
	bool unsure;
	int64_t t_ms;
	int64_t boot_ms;
	int64_t number[2];
	const char *topic;
	size_t topic_length; /* at most 65535 */
	const unsigned char *payload;
	size_t payload_length;
};

/* Stamps outside 2000 … 2199 are of no clock that was ever set. */
#define STAMP_LEAST_MS INT64_C(946684800000)
#define STAMP_END_MS   INT64_C(7258118400000)

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
 * unsure ones first, numbers. Equal records compare 0; stamp and boot time do not tell
 * them apart. */
int record_compare(const struct record *a, const struct record *b);

/* One JSON line of export --journal, with newline. */
void record_write_json(const struct record *record, struct buffer *out);
/* The record of such a line. The view points into `scratch`, which is reset first. 0, or
 * -EINVAL with a static sentence in *ret_why. */
int record_read_json(const char *line, size_t length, struct buffer *scratch,
	struct record *ret, const char **ret_why);

#endif
