/*
 * The journal's binary records, as tail segments and chunks hold them: any bytes.
 *
 * What record_read() takes, record_write() gives back byte for byte; rows of a block come
 * back from a block made anew; a chunk comes back from its stored form; equal records
 * compare equal.
 */
#include "../../daemon/store/chunk.h"
#include "fuzz.h"

#include <heatbook/record.h>

static void same_row(const struct record *a, const struct record *b)
{
	HOLDS(a->kind == RECORD_ROW && b->kind == RECORD_ROW && a->t_ms == b->t_ms,
		"stamps %lld, %lld", (long long)a->t_ms, (long long)b->t_ms);
	HOLDS(record_compare(a, b) == 0, "a row written again is another");
}

static void check_rows(const unsigned char *frame, size_t size, const struct record *view)
{
	struct row_cursor cursor = table_rows(frame, view), again;
	struct buffer out = {0};
	struct row_block block = {0};
	struct record row, back;
	uint32_t place, other;
	size_t rows = 0;

	while (rows_next(&cursor, &row, &place)) {
		HOLDS(place < size, "place %u of %zu", place, size);
		record_row_at(frame, place, &back);
		HOLDS(back.payload == row.payload && back.number[0] == row.number[0],
			"row %zu is another at its place", rows);
		record_add_row(&row, &out, &block);
		rows++;
	}
	const unsigned char *at = (const unsigned char *)out.data;
	cursor = table_rows(frame, view);
	for (size_t left = out.length; left > 0;) {
		size_t length = record_read(at, left, &back);
		HOLDS(length > 0, "rows written are no block");
		again = table_rows(at, &back);
		while (rows_next(&again, &back, &other)) {
			HOLDS(rows_next(&cursor, &row, &place), "a row too many");
			same_row(&row, &back);
			rows--;
		}
		HOLDS(!again.broken, "rows written cannot be read");
		at += length;
		left -= length;
	}
	HOLDS(rows == 0, "%zu rows are missing", rows);
	buffer_release(&out);
}

static void check_record(const unsigned char *frame, size_t size, struct buffer *out)
{
	struct record record;
	HOLDS(record_read(frame, size, &record) == size, "another size");
	HOLDS(record_compare(&record, &record) == 0, "a record differs from itself");
	if (record.kind == RECORD_ROW) {
		check_rows(frame, size, &record);
		return;
	}
	buffer_reset(out);
	record_write(&record, out);
	HOLDS(out->length == size && memcmp(out->data, frame, size) == 0,
		"written it is another record");
}

static void check_chunk(const uint8_t *data, size_t size, bool stays)
{
	struct buffer packed = {0}, back = {0};
	HOLDS(chunk_pack(data, size, stays, &packed) == 0, "not packed");
	HOLDS(chunk_unpack(packed.data, packed.length, size, &back) == 0, "not unpacked");
	HOLDS(back.length == size && memcmp(back.data, data, size) == 0,
		"a chunk comes back otherwise");
	buffer_release(&packed);
	buffer_release(&back);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
	struct record record;
	struct buffer out = {0};
	const uint8_t *at = data;
	size_t length, left = size;

	while ((length = record_read(at, left, &record)) > 0) {
		HOLDS(length <= left, "%zu of %zu bytes", length, left);
		unsigned char *copy = exact_copy(at, length);
		check_record(copy, length, &out);
		free(copy);
		at += length;
		left -= length;
	}
	if (size > 0) {
		check_chunk(data, size, size & 1);
		/* As a stored chunk that something else wrote: refused or read whole. */
		size_t claimed = size * 3;
		if (chunk_unpack(data, size, claimed, &out) == 0)
			HOLDS(out.length == claimed, "%zu bytes", out.length);
	}
	buffer_release(&out);
	return 0;
}
