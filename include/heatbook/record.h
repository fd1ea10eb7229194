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
 * Rows of tables stand in blocks, since a table has many and they are short: the topic is
 * the table's name, t_ms the first row's stamp, the payload
 *
 *     u16 head length, head bytes
 *     a row:  its stamp less that of the row before (zigzag), its span ms, its length,
 *             each a little-endian base-128 number, then its bytes; as often as there are
 *             rows
 *
 * A row is a record all the same: the block is how it is written, not what it is.
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
	RECORD_ROW, /* a table's row; topic: table name; number[0] = span ms that this
		       very row covers, 0 = as the table says; head and payload: the
		       row as it stood in its file */
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
	/* Of rows only. What it takes to read the row: the byte that parts its cells,
	 * the decimal mark, then the header row as it stood, empty where the file has
	 * none. */
	const char *head;
	size_t head_length;
};

/* A longer row or header is of no table; longer ones are not written. */
#define ROW_MOST  32768
#define HEAD_MOST 16384
/* Of its payload: a block takes no further row beyond. */
#define BLOCK_FULL 49152

/* Stamps outside 2000 … 2199 are of no clock that was ever set. */
#define STAMP_LEAST_MS INT64_C(946684800000)
#define STAMP_END_MS   INT64_C(7258118400000)
#define STAMP_OUTSIDE                                                                    \
	"bears a time before 2000 or after 2199, of a clock never set; correct it, or "  \
	"drop it"

/* "message", "start" …; the names of export --journal. */
const char *record_kind_name(enum record_kind kind);
/* The kind of a name, or -1. */
int record_kind_find(const char *name);

/* Appends the binary form. Payloads past PAYLOAD_MOST + 1 bytes are cut there; a row
 * becomes a block of its own. */
void record_write(const struct record *record, struct buffer *out);
/* Reads one record from `bytes`; returns its whole size, or 0 when the bytes are not a
 * whole valid record. The view points into `bytes`. Of a block of rows the view is the
 * block: its payload holds the rows, which rows_next() reads. */
size_t record_read(const unsigned char *bytes, size_t length, struct record *ret);

/* Where a block that takes more rows begins in its buffer, and its last row's stamp. */
struct row_block {
	size_t at;
	int64_t last_ms;
	bool open; /* false: there is none */
};
/* Appends a row to the block, which must be the last in `out`, or begins another where
 * it is full, none, or of another table or header. */
void record_add_row(
	const struct record *row, struct buffer *out, struct row_block *block);

/* The rows of a block. */
struct row_cursor {
	struct record row; /* the last one that was read */
	const unsigned char *block, *at, *end;
	bool broken;
};
/* `frame` is a block, `record` its view. */
struct row_cursor table_rows(const unsigned char *frame, const struct record *record);
/* The next row in *ret and where it stands in the frame. False at the end; then `broken`
 * tells whether the rest is no row. */
bool rows_next(struct row_cursor *cursor, struct record *ret, uint32_t *ret_place);
/* The row at such a place, but for its stamp. */
void record_row_at(const unsigned char *frame, uint32_t place, struct record *ret);

/* Order of records of one instant: kind, topic, header, payload bytes, retained ones
 * first, unsure ones first, numbers. Equal records compare 0; stamp and boot time do not
 * tell them apart. */
int record_compare(const struct record *a, const struct record *b);

/* One JSON line of export --journal, with newline. */
void record_write_json(const struct record *record, struct buffer *out);
/* The record of such a line. The view points into `scratch`, which is reset first. 0, or
 * -EINVAL with a static sentence in *ret_why. */
int record_read_json(const char *line, size_t length, struct buffer *scratch,
	struct record *ret, const char **ret_why);
/* The message of a JSON line as a general MQTT command-line client prints it: an object
 * with "tst", "topic", "payload" and maybe "retain". The record's stamp is left to the
 * caller, who gets the text of "tst"; views as above, also into the line. 0,
 * RECORD_NO_STAMP: an object without "tst"; or -EINVAL; both with *ret_why. */
enum { RECORD_NO_STAMP = 1 };
struct record_stamp {
	const char *text;
	size_t length;
};
int record_read_client_json(const char *line, size_t length, struct buffer *scratch,
	struct record *ret, struct record_stamp *ret_stamp, const char **ret_why);

#endif
