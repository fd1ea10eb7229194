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

static bool has_numbers(enum record_kind kind)
{
	return kind < RECORD_MESSAGE;
}

void record_write(const struct record *record, struct buffer *out)
{
	assert(record->kind < RECORD_KIND_COUNT && record->topic_length <= TOPIC_MOST);
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
	put_u32(out, (uint32_t)body);
	buffer_add(out, &kind, 1);
	put_i64(out, record->t_ms);
	put_i64(out, record->boot_ms);
	if (has_numbers(record->kind)) {
		put_i64(out, record->number[0]);
		put_i64(out, record->number[1]);
	}
	put_u16(out, (uint16_t)record->topic_length);
	buffer_add(out, record->topic, record->topic_length);
	buffer_add(out, record->payload, payload_length);
}

static int64_t get_i64(const unsigned char *bytes)
{
	uint64_t bits;
	memcpy(&bits, bytes, sizeof(bits));
	return (int64_t)le64toh(bits);
}

size_t record_read(const unsigned char *bytes, size_t length, struct record *ret)
{
	uint32_t body;
	uint16_t topic_length;
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
	memcpy(&topic_length, p, sizeof(topic_length));
	p += 2;
	r.topic_length = le16toh(topic_length);
	if ((size_t)(end - p) < r.topic_length)
		return 0;
	r.topic = (const char *)p;
	r.payload = p + r.topic_length;
	r.payload_length = (size_t)(end - r.payload);
	if (r.payload_length > PAYLOAD_MOST + 1)
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
	if (order == 0)
		order = compare_bytes(
			a->payload, a->payload_length, b->payload, b->payload_length);
	/* A retained message is older than a fresh one, which shall have the last word.
	 */
	if (order == 0)
		order = (int)b->retained - (int)a->retained;
	if (order == 0)
		order = (int)b->unsure - (int)a->unsure;
	if (order == 0 && has_numbers(a->kind))
		order = compare_i64(a->number[0], b->number[0]);
	if (order == 0 && has_numbers(a->kind))
		order = compare_i64(a->number[1], b->number[1]);
	return order;
}
