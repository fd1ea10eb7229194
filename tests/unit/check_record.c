/*
 * Records: binary form, order, JSON line. The base64 vectors are RFC 4648, section 10
 * (from memory); surrogate pairs RFC 8259, section 7 (from memory); the rest are laws:
 * what was written comes back. SEED in the environment repeats a random run.
 */
#include "unit.h"

#include <heatbook/record.h>

#include <errno.h>

static uint64_t state;

static size_t below(size_t bound)
{
	return (size_t)(unit_random(&state) % bound);
}

/* Bytes of one of several tempers: any, printable, or well-formed text with odd
 * characters. */
static size_t random_bytes(unsigned char *bytes, size_t most)
{
	static const char *const pieces[] = {"a", "\"", "\\", "/", "\n", "\x01", "\x7f",
		"ä", "€", "\xf0\x9f\x94\xa5", "\xef\xbf\xbf", "{", "\xed\x9f\xbf"};
	size_t length = below(most + 1), n = 0, temper = below(3);
	while (n < length) {
		const char *piece = pieces[below(ARRAY_LEN(pieces))];
		if (temper == 2 && n + strlen(piece) <= length) {
			memcpy(bytes + n, piece, strlen(piece));
			n += strlen(piece);
			continue;
		}
		bytes[n++] = (unsigned char)(temper == 0 ? below(256) : ' ' + below(95));
	}
	return length;
}

static int64_t random_integer(void)
{
	static const int64_t odd[] = {
		0, -1, 1, INT64_MIN, INT64_MAX, INT64_C(9007199254740993)};
	if (below(2))
		return odd[below(ARRAY_LEN(odd))];
	return (int64_t)(unit_random(&state) >> below(63));
}

/* A row has a header, may cover a span and knows no boot time. */
static void make_row(struct record *r, unsigned char *payload)
{
	static unsigned char head[HEAD_MOST];
	r->boot_ms = -1;
	r->number[0] = (int64_t)(unit_random(&state) >> (1 + below(63)));
	r->head_length = 2 + random_bytes(head, below(20) ? 60 : HEAD_MOST - 2);
	r->head = (const char *)head;
	r->payload_length = random_bytes(payload, below(20) ? 300 : ROW_MOST);
}

static struct record random_record(unsigned char *topic, unsigned char *payload)
{
	struct record r = {.kind = (enum record_kind)below(RECORD_KIND_COUNT)};
	r.retained = r.kind == RECORD_MESSAGE && below(2);
	r.unsure = below(2);
	r.t_ms = random_integer();
	r.boot_ms = random_integer();
	if (r.kind < RECORD_MESSAGE) {
		r.number[0] = random_integer();
		r.number[1] = random_integer();
	}
	r.topic_length = random_bytes(topic, below(20) ? 60 : 65535);
	r.payload_length = random_bytes(payload, below(20) ? 300 : PAYLOAD_MOST + 1);
	r.topic = (const char *)topic;
	r.payload = payload;
	if (r.kind == RECORD_ROW)
		make_row(&r, payload);
	return r;
}

static void assert_same(const struct record *a, const struct record *b)
{
	ck_assert_int_eq(a->kind, b->kind);
	ck_assert_int_eq(a->retained, b->retained);
	ck_assert_int_eq(a->unsure, b->unsure);
	ck_assert_int_eq(a->t_ms, b->t_ms);
	ck_assert_int_eq(a->boot_ms, b->boot_ms);
	ck_assert_int_eq(a->number[0], b->number[0]);
	ck_assert_int_eq(a->number[1], b->number[1]);
	ck_assert_uint_eq(a->topic_length, b->topic_length);
	ck_assert_uint_eq(a->payload_length, b->payload_length);
	ck_assert(a->topic_length == 0 || !memcmp(a->topic, b->topic, a->topic_length));
	ck_assert(a->payload_length == 0 ||
		  !memcmp(a->payload, b->payload, a->payload_length));
	ck_assert_uint_eq(a->head_length, b->head_length);
	ck_assert(a->head_length == 0 || !memcmp(a->head, b->head, a->head_length));
}

/* The record at `bytes`, which is all of them; of a block, its only row. */
static struct record read_whole(const struct buffer *bytes)
{
	const unsigned char *frame = (const unsigned char *)bytes->data;
	struct record read, row, again;
	uint32_t place;
	ck_assert_uint_eq(record_read(frame, bytes->length, &read), bytes->length);
	if (read.kind != RECORD_ROW)
		return read;
	struct row_cursor cursor = table_rows(frame, &read);
	ck_assert(rows_next(&cursor, &row, &place));
	record_row_at(frame, place, &again);
	ck_assert_int_eq(record_compare(&row, &again), 0);
	ck_assert(!rows_next(&cursor, &again, &place));
	ck_assert(!cursor.broken);
	return row;
}

TEST(random_records_come_back_from_bytes_and_lines)
{
	static unsigned char topic[65535], payload[PAYLOAD_MOST + 1];
	struct buffer bytes = {0}, again = {0}, line = {0}, scratch = {0};
	state = unit_seed();
	for (int i = 0; i < 3000; i++) {
		struct record made = random_record(topic, payload), read, back;
		const char *why = "";
		buffer_reset(&bytes);
		buffer_reset(&again);
		buffer_reset(&line);
		record_write(&made, &bytes);
		ck_assert_uint_le(bytes.length, RECORD_MOST);
		read = read_whole(&bytes);
		assert_same(&made, &read);
		record_write_json(&read, &line);
		ck_assert_ptr_eq(memchr(line.data, '\n', line.length),
			line.data + line.length - 1);
		ck_assert_msg(record_read_json(
				      line.data, line.length, &scratch, &back, &why) == 0,
			"%s: %s", why, buffer_text(&line));
		record_write(&back, &again);
		ck_assert_uint_eq(again.length, bytes.length);
		ck_assert_int_eq(memcmp(again.data, bytes.data, bytes.length), 0);
	}
	buffer_release(&bytes);
	buffer_release(&again);
	buffer_release(&line);
	buffer_release(&scratch);
}
END

	static struct record
	message(const char *topic, const char *payload)
{
	return (struct record){.kind = RECORD_MESSAGE,
		.t_ms = 1700000000000,
		.boot_ms = 5,
		.topic = topic,
		.topic_length = strlen(topic),
		.payload = (const unsigned char *)payload,
		.payload_length = strlen(payload)};
}

TEST(every_cut_of_a_record_is_refused)
{
	struct buffer bytes = {0};
	struct record records[] = {message("a/b", "21.5"), {.kind = RECORD_CLOCK_STEP}},
		      ret;
	for (size_t k = 0; k < ARRAY_LEN(records); k++) {
		buffer_reset(&bytes);
		record_write(&records[k], &bytes);
		for (size_t n = 0; n < bytes.length; n++) {
			/* A block of its own, so that reading past it is seen. */
			unsigned char *cut = xmalloc(n);
			memcpy(cut, bytes.data, n);
			ck_assert_uint_eq(record_read(cut, n, &ret), 0);
			free(cut);
		}
	}
	buffer_release(&bytes);
}
END

TEST(damaged_bytes_never_lead_outside)
{
	struct buffer bytes = {0};
	struct record made = message("some/topic", "{\"a\":1}"), ret;
	state = unit_seed();
	record_write(&made, &bytes);
	for (int i = 0; i < 20000; i++) {
		unsigned char *copy = xmalloc(bytes.length);
		memcpy(copy, bytes.data, bytes.length);
		for (size_t k = below(4) + 1; k > 0; k--)
			copy[below(below(2) ? bytes.length : 6)] =
				(unsigned char)below(256);
		if (record_read(copy, bytes.length, &ret)) {
			ck_assert_int_lt(ret.kind, RECORD_KIND_COUNT);
			ck_assert(
				ret.payload + ret.payload_length <= copy + bytes.length);
			ck_assert((const unsigned char *)ret.topic >= copy + 4 + 19);
		}
		free(copy);
	}
	buffer_release(&bytes);
}
END

TEST(the_binary_form_is_as_declared)
{
	struct buffer out = {0};
	struct record r = message("t", "1");
	r.retained = true;
	r.t_ms = 0x0102030405060708;
	r.boot_ms = -1;
	static const unsigned char wanted[] = {21, 0, 0, 0, 0x80 | RECORD_MESSAGE, 8, 7,
		6, 5, 4, 3, 2, 1, 255, 255, 255, 255, 255, 255, 255, 255, 1, 0, 't', '1'};
	record_write(&r, &out);
	ck_assert_uint_eq(out.length, sizeof(wanted));
	ck_assert_int_eq(memcmp(out.data, wanted, sizeof(wanted)), 0);
	buffer_release(&out);
}
END

TEST(long_payloads_are_cut_one_past_the_most)
{
	struct buffer out = {0};
	unsigned char *payload = xcalloc(PAYLOAD_MOST + 100, 1);
	struct record r = message("t", ""), ret;
	r.payload = payload;
	r.payload_length = PAYLOAD_MOST + 100;
	record_write(&r, &out);
	ck_assert_uint_ne(record_read((unsigned char *)out.data, out.length, &ret), 0);
	ck_assert_uint_eq(ret.payload_length, PAYLOAD_MOST + 1);
	free(payload);
	buffer_release(&out);
}
END

	static const struct {
	const char *topic, *payload, *line;
} lines[] = {
	{"a", "f", ",\"topic\":\"a\",\"payload\":\"f\"}"},
	{"a", "", ",\"topic\":\"a\",\"payload\":\"\"}"},
	{"a", "\"\\\t", ",\"topic\":\"a\",\"payload\":\"\\\"\\\\\\u0009\"}"},
	{"a", "45 °C", ",\"topic\":\"a\",\"payload\":\"45 °C\"}"},
	/* 0xb0 is the degree sign in Latin-1 (ISO 8859-1); base64 of "45" and 0xb0. */
	{"a", "45\xb0", ",\"topic\":\"a\",\"payload_base64\":\"NDWw\"}"},
	{"\xff", "x", ",\"topic_base64\":\"/w==\",\"payload\":\"x\"}"},
	/* An encoded surrogate and an overlong NUL are no UTF-8: RFC 3629, section 3. */
	{"a", "\xed\xa0\x80", ",\"topic\":\"a\",\"payload_base64\":\"7aCA\"}"},
	{"a", "\xc0\x80", ",\"topic\":\"a\",\"payload_base64\":\"wIA=\"}"},
};

TEST(messages_are_written_as_the_export_promises)
{
	for (size_t i = 0; i < ARRAY_LEN(lines); i++) {
		struct buffer out = {0}, wanted = {0};
		struct record r = message(lines[i].topic, lines[i].payload);
		record_write_json(&r, &out);
		buffer_addf(&wanted,
			"{\"kind\":\"message\",\"t_ms\":1700000000000,\"boot_ms\":5,"
			"\"retained\":false%s\n",
			lines[i].line);
		ck_assert_str_eq(buffer_text(&out), buffer_text(&wanted));
		buffer_release(&out);
		buffer_release(&wanted);
	}
}
END

TEST(other_kinds_have_fields_of_their_own)
{
	static const struct {
		struct record record;
		const char *line;
	} cases[] = {
		{{.kind = RECORD_START,
			 .boot_ms = -1,
			 .payload = (const unsigned char *)"0.1.0",
			 .payload_length = 5},
			"{\"kind\":\"start\",\"t_ms\":0,\"boot_ms\":null,\"version\":\"0."
			"1.0\"}\n"},
		{{.kind = RECORD_STOP}, "{\"kind\":\"stop\",\"t_ms\":0,\"boot_ms\":0}\n"},
		{{.kind = RECORD_SUBSCRIBED},
			"{\"kind\":\"subscribed\",\"t_ms\":0,\"boot_ms\":0}\n"},
		{{.kind = RECORD_REFUSED, .number = {12, 0}},
			"{\"kind\":\"refused\",\"t_ms\":0,\"boot_ms\":0,\"count\":12}\n"},
		{{.kind = RECORD_CLOCK_STEP, .number = {-5000, 60000}},
			"{\"kind\":\"clock_step\",\"t_ms\":0,\"boot_ms\":0,\"step_ms\":-"
			"5000,"
			"\"closed_until_ms\":60000}\n"},
		{{.kind = RECORD_RESTAMP,
			 .number = {1700000000000, 60000},
			 .payload = (const unsigned char *)"set",
			 .payload_length = 3},
			"{\"kind\":\"restamp\",\"t_ms\":0,\"boot_ms\":0,\"offset_ms\":"
			"1700000000000,\"closed_until_ms\":60000,\"reason\":\"set\"}\n"},
		{{.kind = RECORD_START, .unsure = true, .number = {9}},
			"{\"kind\":\"start\",\"t_ms\":0,\"boot_ms\":0,\"unsure\":true,"
			"\"boot\":9,\"version\":\"\"}\n"},
		{{.kind = RECORD_ROW,
			 .number = {60000},
			 .topic = "lab",
			 .topic_length = 3,
			 .head = ";,t;x",
			 .head_length = 5,
			 .payload = (const unsigned char *)"1;2",
			 .payload_length = 3},
			"{\"kind\":\"row\",\"t_ms\":0,\"boot_ms\":0,"
			"\"span_ms\":60000,\"table\":\"lab\",\"head\":\";,t;x\","
			"\"row\":\"1;2\"}\n"},
	};
	for (size_t i = 0; i < ARRAY_LEN(cases); i++) {
		struct buffer out = {0};
		record_write_json(&cases[i].record, &out);
		ck_assert_str_eq(buffer_text(&out), cases[i].line);
		buffer_release(&out);
	}
}
END

TEST(lines_are_read_whatever_their_order)
{
	static const char line[] =
		" { \"payload\" : \"\\ud83d\\udd25\\u0000\" ,\"extra\":"
		"[1,{\"]\":\"}\"}],\"topic\":\"a\\/b\", \"x\":null,"
		"\"t_ms\":9007199254740993,\"kind\":\"message\",\"y\":1.5e3}\r\n";
	struct buffer scratch = {0};
	struct record r;
	const char *why = "";
	ck_assert_msg(
		record_read_json(line, strlen(line), &scratch, &r, &why) == 0, "%s", why);
	ck_assert_int_eq(r.kind, RECORD_MESSAGE);
	ck_assert_int_eq(r.t_ms, INT64_C(9007199254740993));
	ck_assert_int_eq(r.boot_ms, -1);
	ck_assert(!r.retained);
	ck_assert_uint_eq(r.topic_length, 3);
	ck_assert_int_eq(memcmp(r.topic, "a/b", 3), 0);
	ck_assert_uint_eq(r.payload_length, 5);
	ck_assert_int_eq(memcmp(r.payload, "\xf0\x9f\x94\xa5\0", 5), 0);
	buffer_release(&scratch);
}
END

TEST(base64_is_that_of_the_standard)
{
	static const char *const vectors[][2] = {{"", ""}, {"f", "Zg=="}, {"fo", "Zm8="},
		{"foo", "Zm9v"}, {"foob", "Zm9vYg=="}, {"fooba", "Zm9vYmE="},
		{"foobar", "Zm9vYmFy"}};
	for (size_t i = 0; i < ARRAY_LEN(vectors); i++) {
		struct buffer line = {0}, scratch = {0};
		struct record r;
		const char *why = "";
		buffer_addf(&line,
			"{\"kind\":\"message\",\"t_ms\":1,\"topic\":\"t\",\"payload_"
			"base64\":"
			"\"%s\"}",
			vectors[i][1]);
		ck_assert_int_eq(
			record_read_json(line.data, line.length, &scratch, &r, &why), 0);
		ck_assert_uint_eq(r.payload_length, strlen(vectors[i][0]));
		ck_assert_int_eq(memcmp(r.payload, vectors[i][0], r.payload_length), 0);
		buffer_release(&line);
		buffer_release(&scratch);
	}
}
END

#define GOOD "\"kind\":\"message\",\"t_ms\":1,\"topic\":\"t\",\"payload\":\"\""
	static const char *const wrong_lines[][2] = {
		{"", "object"},
		{"[]", "object"},
		{"{" GOOD, "not ended"},
		{"{" GOOD "} x", "follows"},
		{"{" GOOD ",}", "key is missing"},
		{"{" GOOD ",\"retained\":1}", "\"retained\""},
		{"{" GOOD ",\"unsure\":null}", "\"unsure\""},
		{"{" GOOD ",\"boot_ms\":\"x\"}", "\"boot_ms\""},
		{"{" GOOD ",\"boot_ms\":1.5}", "\"boot_ms\""},
		{"{" GOOD ",\"boot_ms\":9223372036854775808}", "\"boot_ms\""},
		{"{" GOOD ",\"topic\":\"u\"}", "twice"},
		{"{" GOOD ",\"payload_base64\":\"\"}", "twice"},
		{"{" GOOD ",\"x\":[1,2}", "not ended"},
		{"{" GOOD ",\"x\":}", "value is missing"},
		{"{" GOOD ",\"x\" 1}", "colon"},
		{"{" GOOD ",\"x\":\"\\ud800\"}", "surrogate"},
		{"{" GOOD ",\"x\":\"\\udc00\"}", "surrogate"},
		{"{" GOOD ",\"x\":\"\\ud800\\u0041\"}", "surrogate"},
		{"{" GOOD ",\"x\":\"\\q\"}", "escape"},
		{"{" GOOD ",\"x\":\"\\u00g0\"}", "hex"},
		{"{" GOOD ",\"x\":\"\\u00", "cut off"},
		{"{" GOOD ",\"x\":\"\n\"}", "control"},
		{"{" GOOD ",\"x\":\"\xff\"}", "UTF-8"},
		{"{\"t_ms\":1}", "\"kind\""},
		{"{\"kind\":\"picture\",\"t_ms\":1}", "\"kind\""},
		{"{\"kind\":\"stop\"}", "\"t_ms\""},
		{"{\"kind\":\"refused\",\"t_ms\":1}", "\"count\""},
		{"{\"kind\":\"message\",\"t_ms\":1,\"payload\":\"\"}", "\"topic\""},
		{"{\"kind\":\"message\",\"t_ms\":1,\"topic\":\"\"}", "\"payload\""},
		{"{\"kind\":\"message\",\"t_ms\":1,\"topic\":\"\",\"payload_base64\":"
		 "\"Zg\"}",
			"base64"},
		{"{\"kind\":\"message\",\"t_ms\":1,\"topic\":\"\",\"payload_base64\":"
		 "\"Zh==\"}",
			"base64"},
		{"{\"kind\":\"message\",\"t_ms\":1,\"topic\":\"\",\"payload_base64\":\"Z="
		 "==\"}",
			"base64"},
		{"{\"kind\":\"message\",\"t_ms\":1,\"topic\":\"\",\"payload_base64\":"
		 "\"Zg==Zg==\"}",
			"base64"},
};

TEST(wrong_lines_are_refused_with_the_reason)
{
	for (size_t i = 0; i < ARRAY_LEN(wrong_lines); i++) {
		size_t length = strlen(wrong_lines[i][0]);
		char *line = xmalloc(length); /* no byte behind the end */
		memcpy(line, wrong_lines[i][0], length);
		struct buffer scratch = {0};
		struct record r;
		const char *why = "accepted";
		ck_assert_msg(
			record_read_json(line, length, &scratch, &r, &why) == -EINVAL,
			"%s", wrong_lines[i][0]);
		ck_assert_msg(strstr(why, wrong_lines[i][1]) != NULL, "%s: %s",
			wrong_lines[i][0], why);
		free(line);
		buffer_release(&scratch);
	}
}
END

TEST(records_of_one_instant_have_one_order)
{
	struct record order[] = {
		{.kind = RECORD_START},
		{.kind = RECORD_CLOCK_STEP, .number = {1, 5}},
		{.kind = RECORD_CLOCK_STEP, .number = {2, 0}},
		message("a", "2"),
		message("a", "2"),
		message("a", "2"),
		message("a", "21"),
		message("a", "3"),
		message("ab", "1"),
		message("b", ""),
		{.kind = RECORD_ROW},
	};
	order[3].retained = true;
	order[4].unsure = true;
	for (size_t i = 0; i < ARRAY_LEN(order); i++)
		for (size_t k = 0; k < ARRAY_LEN(order); k++)
			ck_assert_int_eq(
				record_compare(&order[i], &order[k]), (i > k) - (i < k));
}
END

	static struct record
	row(const char *head, const char *text, int64_t t_ms)
{
	return (struct record){.kind = RECORD_ROW,
		.t_ms = t_ms,
		.boot_ms = -1,
		.topic = "year",
		.topic_length = 4,
		.head = head,
		.head_length = strlen(head),
		.payload = (const unsigned char *)text,
		.payload_length = strlen(text)};
}

TEST(rows_of_one_header_share_blocks)
{
	struct buffer bytes = {0};
	struct row_block block = {0};
	size_t blocks = 0, rows = 0;
	char text[64];
	for (int i = 0; i < 20000; i++) {
		(void)snprintf(text, sizeof(text), "%d;%d.5", i, i * 7 % 90);
		struct record r = row(i < 10000 ? ";.t;x" : ";,t;x", text,
			i % 100 ? INT64_C(10000) * i : -INT64_C(10000) * i);
		r.number[0] = i % 3;
		record_add_row(&r, &bytes, &block);
	}
	const unsigned char *at = (const unsigned char *)bytes.data;
	struct record read, r;
	uint32_t place;
	for (size_t left = bytes.length, size; left > 0; left -= size, at += size) {
		size = record_read(at, left, &read);
		ck_assert_uint_gt(size, 0);
		ck_assert_uint_le(read.payload_length, PAYLOAD_MOST);
		struct row_cursor cursor = table_rows(at, &read);
		for (blocks++; rows_next(&cursor, &r, &place); rows++) {
			int64_t t_ms = INT64_C(10000) * (int64_t)rows;
			ck_assert_int_eq(r.t_ms, rows % 100 ? t_ms : -t_ms);
			ck_assert_int_eq(r.number[0], (int64_t)rows % 3);
			ck_assert_int_eq(r.head[1], rows < 10000 ? '.' : ',');
			ck_assert_int_eq(
				strtol((const char *)r.payload, NULL, 10), (long)rows);
		}
		ck_assert(!cursor.broken);
	}
	ck_assert_uint_eq(rows, 20000);
	ck_assert_uint_le(blocks, 12);
	buffer_release(&bytes);
}
END

TEST(a_block_cut_or_changed_is_read_no_further_than_it_goes)
{
	struct buffer bytes = {0};
	struct row_block block = {0};
	uint64_t random = unit_seed();
	for (int i = 0; i < 50; i++) {
		struct record r = row(",.t,x", "1,2", 1000 * i);
		record_add_row(&r, &bytes, &block);
	}
	for (int round = 0; round < 5000; round++) {
		/* A copy of its own size, so that the sanitizer sees its end. */
		size_t length =
			round % 2 ? unit_random(&random) % bytes.length : bytes.length;
		unsigned char *copy = xmalloc(length + 1);
		struct record read, r;
		uint32_t place;
		memcpy(copy, bytes.data, length);
		if (length > 4)
			copy[4 + unit_random(&random) % (length - 4)] ^=
				(unsigned char)(1 << unit_random(&random) % 8);
		if (record_read(copy, length, &read) && read.kind == RECORD_ROW) {
			struct row_cursor cursor = table_rows(copy, &read);
			while (rows_next(&cursor, &r, &place))
				ck_assert_uint_le(r.payload_length, length);
		}
		free(copy);
	}
	buffer_release(&bytes);
}
END

TEST(stamps_do_not_tell_equal_records_apart)
{
	struct record a = message("a", "1"), b = message("a", "1");
	b.t_ms++;
	b.boot_ms = -1;
	ck_assert_int_eq(record_compare(&a, &b), 0);
}
END

TEST(kinds_are_found_by_their_names)
{
	for (int kind = 0; kind < RECORD_KIND_COUNT; kind++)
		ck_assert_int_eq(
			record_kind_find(record_kind_name((enum record_kind)kind)), kind);
	ck_assert_int_eq(record_kind_find(""), -1);
	ck_assert_int_eq(record_kind_find("Message"), -1);
}
END

TESTS(random_records_come_back_from_bytes_and_lines, every_cut_of_a_record_is_refused,
	damaged_bytes_never_lead_outside, the_binary_form_is_as_declared,
	long_payloads_are_cut_one_past_the_most, messages_are_written_as_the_export_promises,
	other_kinds_have_fields_of_their_own, lines_are_read_whatever_their_order,
	base64_is_that_of_the_standard, wrong_lines_are_refused_with_the_reason,
	records_of_one_instant_have_one_order, stamps_do_not_tell_equal_records_apart,
	kinds_are_found_by_their_names, rows_of_one_header_share_blocks,
	a_block_cut_or_changed_is_read_no_further_than_it_goes)
