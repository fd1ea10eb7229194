/*
 * The JSON line of a record (RFC 8259): export --journal and its way back. See record.h.
 *
 * One line is one flat object. Bytes that are no text (not UTF-8, or with a NUL) travel
 * as base64 (RFC 4648, section 4) under the field's name with `_base64` behind it, so
 * that binary -> line -> binary is the identity for every valid record. Whole numbers of
 * 64 bits must come back to the last digit and texts may hold anything (flat_json.h).
 *
 * Reading takes keys in any order and passes over keys that the kind does not have.
 */
#include <heatbook/record.h>

#include "flat_json.h"
#include "utf8.h"

#include <errno.h>
#include <inttypes.h>
#include <string.h>

enum key {
	KEY_KIND,
	KEY_T_MS,
	KEY_BOOT_MS,
	KEY_RETAINED,
	KEY_UNSURE,
	KEY_TOPIC,
	KEY_TABLE,
	KEY_PAYLOAD,
	KEY_HEAD,
	KEY_ROW,
	KEY_SPAN_MS,
	KEY_VERSION,
	KEY_REASON,
	KEY_COUNT,
	KEY_STEP_MS,
	KEY_CLOSED_UNTIL_MS,
	KEY_OFFSET_MS,
	KEY_BOOT,
	KEY_NUMBER_1, /* a kind that gives its numbers no name of their own */
	KEY_NUMBER_2,
	KEYS
};

static const struct {
	const char *name;
	const char *wrong; /* type or content */
} keys[KEYS] = {
	[KEY_KIND] = {"kind", "\"kind\" is missing or not a kind of record"},
	[KEY_T_MS] = {"t_ms", "\"t_ms\" is missing or not a whole number"},
	[KEY_BOOT_MS] = {"boot_ms", "\"boot_ms\" is not a whole number or null"},
	[KEY_RETAINED] = {"retained", "\"retained\" is not true or false"},
	[KEY_UNSURE] = {"unsure", "\"unsure\" is not true or false"},
	[KEY_TOPIC] = {"topic", "\"topic\" is missing, not a text or too long"},
	[KEY_TABLE] = {"table", "\"table\" is missing, not a text or too long"},
	[KEY_PAYLOAD] = {"payload", "\"payload\" is missing, not a text or not base64"},
	[KEY_HEAD] = {"head", "\"head\" is missing, not a text, too short or too long"},
	[KEY_ROW] = {"row", "\"row\" is missing, not a text, not base64 or too long"},
	[KEY_SPAN_MS] = {"span_ms", "\"span_ms\" is not a whole number from 0 on"},
	[KEY_VERSION] = {"version", "\"version\" is not a text"},
	[KEY_REASON] = {"reason", "\"reason\" is not a text"},
	[KEY_COUNT] = {"count", "\"count\" is missing or not a whole number"},
	[KEY_STEP_MS] = {"step_ms", "\"step_ms\" is missing or not a whole number"},
	[KEY_CLOSED_UNTIL_MS] = {"closed_until_ms",
		"\"closed_until_ms\" is missing or not a whole number"},
	[KEY_OFFSET_MS] = {"offset_ms", "\"offset_ms\" is missing or not a whole number"},
	[KEY_BOOT] = {"boot", "\"boot\" is not a whole number"},
	[KEY_NUMBER_1] = {"number_1", "\"number_1\" is not a whole number"},
	[KEY_NUMBER_2] = {"number_2", "\"number_2\" is not a whole number"},
};

/* Which keys a kind has. A field that is the kind's own is always written and must be
 * there; another only when it holds something. */
struct shape {
	enum key topic, payload, number[2];
	bool owns_topic, owns_payload, owns_number[2];
};
static const struct shape shapes[RECORD_KIND_COUNT] = {
	[RECORD_START] = {KEY_TOPIC, KEY_VERSION, {KEY_BOOT, KEY_NUMBER_2}, false, true},
	[RECORD_STOP] = {KEY_TOPIC, KEY_VERSION, {KEY_NUMBER_1, KEY_NUMBER_2}},
	[RECORD_SUBSCRIBED] = {KEY_TOPIC, KEY_PAYLOAD, {KEY_NUMBER_1, KEY_NUMBER_2}},
	[RECORD_LOST] = {KEY_TOPIC, KEY_REASON, {KEY_NUMBER_1, KEY_NUMBER_2}, false,
		true},
	[RECORD_REFUSED] = {KEY_TOPIC, KEY_PAYLOAD, {KEY_COUNT, KEY_NUMBER_2}, false,
		false, {true, false}},
	[RECORD_CLOCK_STEP] = {KEY_TOPIC, KEY_PAYLOAD, {KEY_STEP_MS, KEY_CLOSED_UNTIL_MS},
		false, false, {true, true}},
	[RECORD_RESTAMP] = {KEY_TOPIC, KEY_REASON, {KEY_OFFSET_MS, KEY_CLOSED_UNTIL_MS},
		false, true, {true, true}},
	[RECORD_MESSAGE] = {KEY_TOPIC, KEY_PAYLOAD, {KEY_NUMBER_1, KEY_NUMBER_2}, true,
		true},
	[RECORD_ROW] = {KEY_TABLE, KEY_ROW, {KEY_SPAN_MS, KEY_NUMBER_2}, true, true},
};

/* How many numbers a record of the kind may hold. */
static int number_count(enum record_kind kind)
{
	return kind < RECORD_MESSAGE ? 2 : kind == RECORD_ROW;
}

/* ---- writing ---- */

static const char base64_digits[65] =
	"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";

static void write_base64(const unsigned char *bytes, size_t length, struct buffer *out)
{
	buffer_reserve(out, (length + 2) / 3 * 4);
	for (size_t i = 0; i < length; i += 3) {
		uint32_t group = (uint32_t)bytes[i] << 16;
		if (i + 1 < length)
			group |= (uint32_t)bytes[i + 1] << 8;
		if (i + 2 < length)
			group |= bytes[i + 2];
		char four[4];
		for (int k = 0; k < 4; k++)
			four[k] = base64_digits[group >> (18 - 6 * k) & 63];
		if (i + 2 >= length)
			four[3] = '=';
		if (i + 1 >= length)
			four[2] = '=';
		buffer_add(out, four, 4);
	}
}

static void write_escaped(const unsigned char *text, size_t length, struct buffer *out)
{
	size_t plain = 0; /* start of the run that needs no escape */
	for (size_t i = 0; i < length; i++) {
		unsigned char c = text[i];
		if (c >= 0x20 && c != '"' && c != '\\' && c != 0x7f)
			continue;
		buffer_add(out, text + plain, i - plain);
		plain = i + 1;
		if (c == '"' || c == '\\')
			buffer_add(out, (const char[]){'\\', (char)c}, 2);
		else
			buffer_addf(out, "\\u%04x", (unsigned)c);
	}
	buffer_add(out, text + plain, length - plain);
}

static void write_bytes(
	enum key key, const void *bytes, size_t length, struct buffer *out)
{
	bool text = utf8_valid(bytes, length) && (!length || !memchr(bytes, 0, length));
	buffer_addf(out, ",\"%s%s\":\"", keys[key].name, text ? "" : "_base64");
	if (text)
		write_escaped(bytes, length, out);
	else
		write_base64(bytes, length, out);
	buffer_add(out, "\"", 1);
}

void record_write_json(const struct record *record, struct buffer *out)
{
	const struct shape *shape = &shapes[record->kind];
	buffer_addf(out, "{\"kind\":\"%s\",\"t_ms\":%" PRId64,
		record_kind_name(record->kind), record->t_ms);
	if (record->boot_ms == -1)
		buffer_add_text(out, ",\"boot_ms\":null");
	else
		buffer_addf(out, ",\"boot_ms\":%" PRId64, record->boot_ms);
	if (record->kind == RECORD_MESSAGE)
		buffer_add_text(out,
			record->retained ? ",\"retained\":true" : ",\"retained\":false");
	if (record->unsure)
		buffer_add_text(out, ",\"unsure\":true");
	for (int i = 0; i < number_count(record->kind); i++)
		if (shape->owns_number[i] || record->number[i])
			buffer_addf(out, ",\"%s\":%" PRId64, keys[shape->number[i]].name,
				record->number[i]);
	if (shape->owns_topic || record->topic_length)
		write_bytes(shape->topic, record->topic, record->topic_length, out);
	if (record->kind == RECORD_ROW)
		write_bytes(KEY_HEAD, record->head, record->head_length, out);
	if (shape->owns_payload || record->payload_length)
		write_bytes(shape->payload, record->payload, record->payload_length, out);
	buffer_add_text(out, "}\n");
}

/* ---- reading ---- */

struct value {
	enum flat_type type;
	bool base64;
	int64_t integer;
	size_t at; /* of a text in the scratch buffer */
	size_t length;
};

/* The key's number; KEYS for one that no record has. */
static enum key find_key(const char *name, size_t length, bool *ret_base64)
{
	static const char suffix[] = "_base64";
	size_t suffix_length = sizeof(suffix) - 1;
	*ret_base64 = length > suffix_length &&
		      memcmp(name + length - suffix_length, suffix, suffix_length) == 0;
	if (*ret_base64)
		length -= suffix_length;
	enum key key = 0;
	while (key < KEYS && (strlen(keys[key].name) != length ||
				     memcmp(keys[key].name, name, length) != 0))
		key++;
	return key;
}

static bool take_pair(struct flat_json *r, const char *name, size_t length,
	const struct flat_value *flat, void *context)
{
	struct value *values = context;
	bool base64 = false;
	enum key key = find_key(name, length, &base64);
	if (key == KEYS)
		return true;
	if (values[key].type != FLAT_ABSENT)
		return flat_json_fail(r, "a key is given twice");
	values[key] =
		(struct value){flat->type, base64, flat->integer, flat->at, flat->length};
	return true;
}

static int base64_value(char c)
{
	const char *found = c ? strchr(base64_digits, c) : NULL;
	return found ? (int)(found - base64_digits) : -1;
}

/* Decodes in place. Only the canonical form is taken: padded, without stray bits. */
static bool decode_base64(char *text, size_t length, size_t *ret_length)
{
	size_t n = 0;
	if (length % 4)
		return false;
	for (size_t i = 0; i < length; i += 4) {
		bool last = i + 4 == length;
		int pad = !last || text[i + 3] != '=' ? 0 : text[i + 2] != '=' ? 1 : 2;
		uint32_t group = 0;
		for (int k = 0; k < 4; k++) {
			int v = k >= 4 - pad ? 0 : base64_value(text[i + (size_t)k]);
			if (v < 0)
				return false;
			group = group << 6 | (uint32_t)v;
		}
		if (group & ((UINT32_C(1) << (8 * pad)) - 1))
			return false;
		for (int k = 0; k < 3 - pad; k++)
			text[n++] = (char)(group >> (16 - 8 * k) & 0xff);
	}
	*ret_length = n;
	return true;
}

static bool take_bytes(struct flat_json *r, const struct value *value, enum key key,
	bool must, const char **ret, size_t *ret_length)
{
	if (value->type == FLAT_ABSENT && !must) {
		*ret = r->scratch->data;
		*ret_length = 0;
		return true;
	}
	size_t length = value->length;
	if (value->type != FLAT_TEXT ||
		(value->base64 &&
			!decode_base64(r->scratch->data + value->at, length, &length)))
		return flat_json_fail(r, keys[key].wrong);
	*ret = r->scratch->data + value->at;
	*ret_length = length;
	return true;
}

static bool take_integer(struct flat_json *r, const struct value *value, enum key key,
	bool must, int64_t *ret)
{
	if (value->type == FLAT_ABSENT && !must)
		return true;
	if (value->type != FLAT_INTEGER)
		return flat_json_fail(r, keys[key].wrong);
	*ret = value->integer;
	return true;
}

static bool take_kind(
	struct flat_json *r, const struct value *value, enum record_kind *ret)
{
	char name[16] = "";
	if (value->type == FLAT_TEXT && value->length < sizeof(name))
		memcpy(name, r->scratch->data + value->at, value->length);
	int kind = record_kind_find(name);
	if (kind < 0)
		return flat_json_fail(r, keys[KEY_KIND].wrong);
	*ret = (enum record_kind)kind;
	return true;
}

static bool take_flag(
	struct flat_json *r, const struct value *values, enum key key, bool *ret)
{
	enum flat_type type = values[key].type;
	*ret = type == FLAT_TRUE;
	return type == FLAT_ABSENT || type == FLAT_TRUE || type == FLAT_FALSE ||
	       flat_json_fail(r, keys[key].wrong);
}

static bool take_flags(
	struct flat_json *r, const struct value *values, struct record *record)
{
	const struct value *boot = &values[KEY_BOOT_MS];
	if (!take_flag(r, values, KEY_RETAINED, &record->retained) ||
		!take_flag(r, values, KEY_UNSURE, &record->unsure))
		return false;
	record->retained = record->retained && record->kind == RECORD_MESSAGE;
	record->boot_ms = -1;
	return boot->type == FLAT_NULL ||
	       take_integer(r, boot, KEY_BOOT_MS, false, &record->boot_ms);
}

/* What a row has besides, and its bounds. */
static bool take_row(
	struct flat_json *r, const struct value *values, struct record *record)
{
	if (!take_bytes(r, &values[KEY_HEAD], KEY_HEAD, true, &record->head,
		    &record->head_length))
		return false;
	if (record->head_length < 2 || record->head_length > HEAD_MOST)
		return flat_json_fail(r, keys[KEY_HEAD].wrong);
	if (record->payload_length > ROW_MOST)
		return flat_json_fail(r, keys[KEY_ROW].wrong);
	return record->number[0] >= 0 || flat_json_fail(r, keys[KEY_SPAN_MS].wrong);
}

static bool take_record(
	struct flat_json *r, const struct value *values, struct record *record)
{
	const char *payload = NULL;
	if (!take_kind(r, &values[KEY_KIND], &record->kind) ||
		!take_integer(r, &values[KEY_T_MS], KEY_T_MS, true, &record->t_ms) ||
		!take_flags(r, values, record))
		return false;
	const struct shape *shape = &shapes[record->kind];
	for (int i = 0; i < number_count(record->kind); i++)
		if (!take_integer(r, &values[shape->number[i]], shape->number[i],
			    shape->owns_number[i], &record->number[i]))
			return false;
	if (!take_bytes(r, &values[shape->topic], shape->topic, shape->owns_topic,
		    &record->topic, &record->topic_length))
		return false;
	if (record->topic_length > UINT16_MAX)
		return flat_json_fail(r, keys[shape->topic].wrong);
	if (!take_bytes(r, &values[shape->payload], shape->payload, shape->owns_payload,
		    &payload, &record->payload_length))
		return false;
	record->payload = (const unsigned char *)payload;
	return record->kind != RECORD_ROW || take_row(r, values, record);
}

int record_read_json(const char *line, size_t length, struct buffer *scratch,
	struct record *ret, const char **ret_why)
{
	struct value values[KEYS] = {0};
	struct record record = {0};
	struct flat_json r;
	if (!flat_json_read(&r, line, length, scratch, take_pair, values) ||
		!take_record(&r, values, &record)) {
		*ret_why = r.why;
		return -EINVAL;
	}
	*ret = record;
	return 0;
}
