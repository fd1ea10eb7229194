/*
 * JSON lines of foreign logs into messages: what a general MQTT command-line client
 * prints of a message, an object with time, topic and payload. See record.h.
 *
 * The payload is a text, or any other value: then its bytes are those that stand in the
 * line, since a client that prints a payload that is JSON as such changes nothing in it.
 * A null of payload length 0 is an empty one.
 */
#include <heatbook/record.h>

#include "flat_json.h"

#include <errno.h>
#include <string.h>

enum key { TST, TOPIC, PAYLOAD, LENGTH, RETAIN, KEYS };

static const char *const names[KEYS] = {
	"tst", "topic", "payload", "payloadlen", "retain"};

static bool take_pair(struct flat_json *json, const char *name, size_t length,
	const struct flat_value *value, void *context)
{
	struct flat_value *values = context;
	for (int key = 0; key < KEYS; key++) {
		if (strlen(names[key]) != length || memcmp(names[key], name, length) != 0)
			continue;
		if (values[key].type != FLAT_ABSENT)
			return flat_json_fail(json, "a key is given twice");
		values[key] = *value;
	}
	return true;
}

/* Texts as they are decoded, anything else as it stands. */
static const char *bytes_of(
	const struct flat_json *json, const struct flat_value *value, size_t *ret_length)
{
	bool text = value->type == FLAT_TEXT;
	*ret_length = text ? value->length : value->raw_length;
	return text ? json->scratch->data + value->at : value->raw;
}

static const char *fill(const struct flat_json *json, const struct flat_value *values,
	struct record *ret, struct record_stamp *ret_stamp)
{
	const struct flat_value *retain = &values[RETAIN];
	if (values[TOPIC].type != FLAT_TEXT || values[TOPIC].length == 0 ||
		values[TOPIC].length > UINT16_MAX)
		return "\"topic\" is missing, not a text or too long";
	if (values[PAYLOAD].type == FLAT_ABSENT)
		return "\"payload\" is missing";
	bool none = retain->type == FLAT_ABSENT || retain->type == FLAT_FALSE ||
		    (retain->type == FLAT_INTEGER && retain->integer == 0);
	bool retained = retain->type == FLAT_TRUE ||
			(retain->type == FLAT_INTEGER && retain->integer == 1);
	if (!none && !retained)
		return "\"retain\" is not 0, 1, true or false";
	*ret = (struct record){
		.kind = RECORD_MESSAGE, .boot_ms = -1, .retained = retained};
	ret->topic = bytes_of(json, &values[TOPIC], &ret->topic_length);
	ret->payload = (const unsigned char *)bytes_of(
		json, &values[PAYLOAD], &ret->payload_length);
	if (values[PAYLOAD].type == FLAT_NULL && values[LENGTH].type == FLAT_INTEGER &&
		values[LENGTH].integer == 0)
		ret->payload_length = 0;
	ret_stamp->text = bytes_of(json, &values[TST], &ret_stamp->length);
	return NULL;
}

int record_read_client_json(const char *line, size_t length, struct buffer *scratch,
	struct record *ret, struct record_stamp *ret_stamp, const char **ret_why)
{
	struct flat_value values[KEYS] = {0};
	struct flat_json json;
	if (!flat_json_read(&json, line, length, scratch, take_pair, values)) {
		*ret_why = json.why;
		return -EINVAL;
	}
	if (values[TST].type == FLAT_ABSENT) {
		*ret_why = "\"tst\" is missing: a message without a time is none";
		return RECORD_NO_STAMP;
	}
	*ret_why = fill(&json, values, ret, ret_stamp);
	return *ret_why ? -EINVAL : 0;
}
