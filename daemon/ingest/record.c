/*
 * The binary form of journal records: writing, reading, comparing. See record.h.
 *
 * Reading trusts nothing: tail segments may end in the middle of a record and chunks may
 * come from a damaged file. A record is valid when its length holds all of its parts, its
 * kind is known, its payload is within the cut and only a message claims to be retained.
 * Writing and reading are inverse to each other for all such records.
 *
 * Equality leaves out the stamp and the boot time: the same message that came through two
 * doors, or a message with its own time that came twice, is one record. All else that a
 * reading can depend on counts.
 */
#include <heatbook/record.h>

#include <assert.h>
#include <endian.h>
#include <string.h>

#define RETAINED_BIT 0x80
#define UNSURE_BIT   0x40
#define TOPIC_MOST   65535

static const char *const kind_names[RECORD_KIND_COUNT] = {
	[RECORD_START] = "start",
	[RECORD_STOP] = "stop",
	[RECORD_SUBSCRIBED] = "subscribed",
	[RECORD_LOST] = "lost",
	[RECORD_REFUSED] = "refused",
	[RECORD_CLOCK_STEP] = "clock_step",
	[RECORD_RESTAMP] = "restamp",
	[RECORD_MESSAGE] = "message",
	[RECORD_ROW] = "row",
};

const char *record_kind_name(enum record_kind kind)
{
	assert(kind < RECORD_KIND_COUNT);
	return kind_names[kind];
}

int record_kind_find(const char *name)
{
	for (int kind = 0; kind < RECORD_KIND_COUNT; kind++)
		if (strcmp(kind_names[kind], name) == 0)
			return kind;
	return -1;
}

static void put_u16(struct buffer *out, uint16_t value)
{
	value = htole16(value);
	buffer_add(out, &value, sizeof(value));
}

static void put_u32(struct buffer *out, uint32_t value)
{
	value = htole32(value);
	buffer_add(out, &value, sizeof(value));
}

static void put_i64(struct buffer *out, int64_t value)
{
	uint64_t bits = htole64((uint64_t)value);
	buffer_add(out, &bits, sizeof(bits));
}

#define VARINT_MOST ((size_t)10)

static unsigned char *set_varint(unsigned char *p, uint64_t value)
{
	for (; value > 0x7f; value >>= 7)
		*p++ = (unsigned char)(value | 0x80);
	*p++ = (unsigned char)value;
	return p;
}

static bool has_numbers(enum record_kind kind)
{
	return kind < RECORD_MESSAGE;
}

/* The body's length is written when the rows are known. */
static void begin_block(
	const struct record *row, struct buffer *out, struct row_block *block)
{
	const unsigned char kind =
		(unsigned char)(RECORD_ROW | (row->unsure ? UNSURE_BIT : 0));
	*block = (struct row_block){out->length, row->t_ms, true};
	put_u32(out, 0);
	buffer_add(out, &kind, 1);
	put_i64(out, row->t_ms);
	put_i64(out, -1);
	put_u16(out, (uint16_t)row->topic_length);
	buffer_add(out, row->topic, row->topic_length);
	put_u16(out, (uint16_t)row->head_length);
	buffer_add(out, row->head, row->head_length);
}

static bool same_bytes(const void *a, size_t a_length, const void *b, size_t b_length)
{
	return a_length == b_length && (a_length == 0 || memcmp(a, b, a_length) == 0);
}

static size_t get_u16(const unsigned char *bytes)
{
	uint16_t value;
	memcpy(&value, bytes, sizeof(value));
	return le16toh(value);
}

/* Whether the block is of the row's table and header and not full. */
static bool takes_row(
	const struct record *row, const struct buffer *out, const struct row_block *block)
{
	if (!block->open || out->length - block->at > BLOCK_FULL)
		return false;
	const unsigned char *p = (const unsigned char *)out->data + block->at + 4;
	size_t topic_length = get_u16(p + 17);
	const unsigned char *topic = p + 19, *head = topic + topic_length + 2;
	return row->unsure == (bool)(*p & UNSURE_BIT) &&
	       same_bytes(row->topic, row->topic_length, topic, topic_length) &&
	       same_bytes(row->head, row->head_length, head, get_u16(head - 2));
}

void record_add_row(const struct record *row, struct buffer *out, struct row_block *block)
{
	assert(row->kind == RECORD_ROW && row->topic_length <= TOPIC_MOST);
	assert(row->payload_length <= ROW_MOST && row->head_length <= HEAD_MOST);
	assert(row->number[0] >= 0);
	if (!takes_row(row, out, block))
		begin_block(row, out, block);
	uint64_t step = (uint64_t)row->t_ms - (uint64_t)block->last_ms;
	buffer_reserve(out, 3 * VARINT_MOST + row->payload_length);
	unsigned char *begin = (unsigned char *)out->data + out->length, *p = begin;
	p = set_varint(p, step << 1 ^ (uint64_t)((int64_t)step >> 63));
	p = set_varint(p, (uint64_t)row->number[0]);
	p = set_varint(p, row->payload_length);
	out->length += (size_t)(p - begin);
	buffer_add(out, row->payload, row->payload_length);
	uint32_t body = htole32((uint32_t)(out->length - block->at - 4));
	memcpy(out->data + block->at, &body, sizeof(body));
	block->last_ms = row->t_ms;
}

static unsigned char *set_bytes(unsigned char *p, const void *bytes, size_t length)
{
	memcpy(p, bytes, length);
	return p + length;
}

static unsigned char *set_i64(unsigned char *p, int64_t value)
{
	uint64_t bits = htole64((uint64_t)value);
	return set_bytes(p, &bits, sizeof(bits));
}

void record_write(const struct record *record, struct buffer *out)
{
	assert(record->kind < RECORD_KIND_COUNT && record->topic_length <= TOPIC_MOST);
	if (record->kind == RECORD_ROW) {
		record_add_row(record, out, &(struct row_block){0});
		return;
	}
	size_t payload_length = record->payload_length;
	if (payload_length > PAYLOAD_MOST + 1)
		payload_length = PAYLOAD_MOST + 1;
	size_t head = 1 + 8 + 8 + (has_numbers(record->kind) ? 16 : 0) + 2;
	size_t body = head + record->topic_length + payload_length;
	bool retained = record->retained && record->kind == RECORD_MESSAGE;
	unsigned char kind =
		(unsigned char)(record->kind | (retained ? RETAINED_BIT : 0) |
				(record->unsure ? UNSURE_BIT : 0));

	buffer_reserve(out, 4 + body);
	unsigned char *p = (unsigned char *)out->data + out->length;
	p = set_bytes(p, &(uint32_t){htole32((uint32_t)body)}, 4);
	*p++ = kind;
	p = set_i64(p, record->t_ms);
	p = set_i64(p, record->boot_ms);
	if (has_numbers(record->kind)) {
		p = set_i64(p, record->number[0]);
		p = set_i64(p, record->number[1]);
	}
	(void)set_bytes(p, &(uint16_t){htole16((uint16_t)record->topic_length)}, 2);
	out->length += 4 + head;
	buffer_add(out, record->topic, record->topic_length);
	buffer_add(out, record->payload, payload_length);
}

static int64_t get_i64(const unsigned char *bytes)
{
	uint64_t bits;
	memcpy(&bits, bytes, sizeof(bits));
	return (int64_t)le64toh(bits);
}

static uint64_t get_varint(struct row_cursor *c)
{
	uint64_t value = 0;
	for (unsigned shift = 0; shift < 64; shift += 7) {
		if (c->at == c->end)
			break;
		unsigned char byte = *c->at++;
		value |= (uint64_t)(byte & 0x7f) << shift;
		if (!(byte & 0x80))
			return value;
	}
	c->broken = true;
	return 0;
}

struct row_cursor table_rows(const unsigned char *frame, const struct record *record)
{
	struct row_cursor c = {.row = *record,
		.block = frame,
		.end = record->payload + record->payload_length};
	c.row.head_length = get_u16(record->payload);
	c.row.head = (const char *)record->payload + 2;
	c.at = record->payload + 2 + c.row.head_length;
	return c;
}

bool rows_next(struct row_cursor *c, struct record *ret, uint32_t *ret_place)
{
	const unsigned char *begin = c->at;
	if (c->at == c->end || c->broken)
		return false;
	uint64_t step = get_varint(c), span = get_varint(c), length = get_varint(c);
	if (c->broken || length > (size_t)(c->end - c->at) || length > ROW_MOST ||
		span > INT64_MAX) {
		c->broken = true;
		return false;
	}
	step = step >> 1 ^ -(step & 1);
	c->row.t_ms = (int64_t)((uint64_t)c->row.t_ms + step);
	c->row.number[0] = (int64_t)span;
	c->row.payload = c->at;
	c->row.payload_length = (size_t)length;
	c->at += length;
	*ret = c->row;
	*ret_place = (uint32_t)(begin - c->block);
	return true;
}

void record_row_at(const unsigned char *frame, uint32_t place, struct record *ret)
{
	uint32_t at;
	size_t size = record_read(frame, RECORD_MOST, ret);
	struct row_cursor c = table_rows(frame, ret);
	assert(size > place);
	c.at = frame + place;
	bool is_row = rows_next(&c, ret, &at);
	assert(is_row); /* it was read before */
	(void)is_row;
	(void)size;
}

/* A block's head is whole; its rows are looked at when they are read. */
static bool is_block(const struct record *r)
{
	return r->payload_length >= 2 && !r->retained &&
	       get_u16(r->payload) <= r->payload_length - 2 &&
	       get_u16(r->payload) <= HEAD_MOST;
}

size_t record_read(const unsigned char *bytes, size_t length, struct record *ret)
{
	uint32_t body;
	if (length < 4)
		return 0;
	memcpy(&body, bytes, sizeof(body));
	body = le32toh(body);
	if (body > length - 4 || body < 1 + 8 + 8 + 2)
		return 0;

	const unsigned char *p = bytes + 4, *end = p + body;
	struct record r = {.kind = (enum record_kind)(*p & ~(RETAINED_BIT | UNSURE_BIT)),
		.retained = *p & RETAINED_BIT,
		.unsure = *p & UNSURE_BIT};
	if (r.kind >= RECORD_KIND_COUNT || (r.retained && r.kind != RECORD_MESSAGE))
		return 0;
	r.t_ms = get_i64(p + 1);
	r.boot_ms = get_i64(p + 9);
	p += 17;
	if (has_numbers(r.kind)) {
		if (end - p < 16 + 2)
			return 0;
		r.number[0] = get_i64(p);
		r.number[1] = get_i64(p + 8);
		p += 16;
	}
	r.topic_length = get_u16(p);
	p += 2;
	if ((size_t)(end - p) < r.topic_length)
		return 0;
	r.topic = (const char *)p;
	r.payload = p + r.topic_length;
	r.payload_length = (size_t)(end - r.payload);
	if (r.payload_length > PAYLOAD_MOST + 1 ||
		(r.kind == RECORD_ROW && !is_block(&r)))
		return 0;
	*ret = r;
	return 4 + (size_t)body;
}

static int compare_bytes(const void *a, size_t a_length, const void *b, size_t b_length)
{
	size_t common = a_length < b_length ? a_length : b_length;
	int order = common ? memcmp(a, b, common) : 0;
	if (order)
		return order < 0 ? -1 : 1;
	return (a_length > b_length) - (a_length < b_length);
}

static int compare_i64(int64_t a, int64_t b)
{
	return (a > b) - (a < b);
}

int record_compare(const struct record *a, const struct record *b)
{
	if (a->kind != b->kind)
		return a->kind < b->kind ? -1 : 1;
	int order = compare_bytes(a->topic, a->topic_length, b->topic, b->topic_length);
	if (order == 0 && a->kind == RECORD_ROW)
		order = compare_bytes(a->head, a->head_length, b->head, b->head_length);
	if (order == 0)
		order = compare_bytes(
			a->payload, a->payload_length, b->payload, b->payload_length);
	/* A retained message is older than a fresh one, which shall have the last word.
	 */
	if (order == 0)
		order = (int)b->retained - (int)a->retained;
	if (order == 0)
		order = (int)b->unsure - (int)a->unsure;
	if (order == 0 && (has_numbers(a->kind) || a->kind == RECORD_ROW))
		order = compare_i64(a->number[0], b->number[0]);
	if (order == 0 && has_numbers(a->kind))
		order = compare_i64(a->number[1], b->number[1]);
	return order;
}
