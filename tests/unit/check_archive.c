/*
 * Lines of archives: which are taken, passed over or rejected, and what is read of them;
 * and which minutes may close.
 *
 * References: archive.h's contract; forms of RFC 3339 as in check_timetext.c.
 */
#include "unit.h"

#include <heatbook/archive.h>
#include <heatbook/deriver.h>

/* 2026-01-31T10:00:00Z */
#define T_MS INT64_C(1769853600000)

enum { TAKEN = 0, SKIPPED = ARCHIVE_SKIPPED, REJECTED = ARCHIVE_REJECTED };

static const struct line_row {
	const char *line;
	int verdict;
	int64_t t_ms;
	const char *topic,
		*payload; /* or, where rejected, a word of the reason in topic */
} line_rows[] = {
	/* Times in every unit and form. */
	{"1769853600 a/b 21.5", TAKEN, T_MS, "a/b", "21.5"},
	{"1769853600.0 a 1", TAKEN, T_MS, "a", "1"},
	{"1769853600.5 a 1", TAKEN, T_MS + 500, "a", "1"},
	{"1769853600.05 a 1", TAKEN, T_MS + 50, "a", "1"},
	{"1769853600.123456789 a 1", TAKEN, T_MS + 123, "a", "1"},
	{"1769853600.9999 a 1", TAKEN, T_MS + 999, "a", "1"},
	{"1769853600123 a 1", TAKEN, T_MS + 123, "a", "1"},
	{"1769853600123456 a 1", TAKEN, T_MS + 123, "a", "1"},
	{"1769853600123999999 a 1", TAKEN, T_MS + 123, "a", "1"},
	{"9223372036854775807 a 1", REJECTED, 0, "after 2199", NULL},
	{"9223372036854775808 a 1", REJECTED, 0, "no time", NULL},
	{"2026-01-31T10:00:00Z a 1", TAKEN, T_MS, "a", "1"},
	{"2026-01-31T11:00:00+01:00 a 1", TAKEN, T_MS, "a", "1"},
	{"2026-01-31t10:00:00.25z a 1", TAKEN, T_MS + 250, "a", "1"},
	{"2026-01-31T11:00:00+0100 a 1", TAKEN, T_MS, "a", "1"},
	{"2026-01-31T11:00:00.123456+0100 a 1", TAKEN, T_MS + 123, "a", "1"},
	{"2026-01-31 11:00:00+01:00 a 1", TAKEN, T_MS, "a", "1"},
	{"2026-01-31 10:00:00Z a 1 2", TAKEN, T_MS, "a", "1 2"},
	/* Payloads are the rest of the line, whatever it is. */
	{"1769853600 a", TAKEN, T_MS, "a", ""},
	{"1769853600 a ", TAKEN, T_MS, "a", ""},
	{"1769853600 a  x ", TAKEN, T_MS, "a", " x "},
	{"1769853600 a {\"v\": 1}", TAKEN, T_MS, "a", "{\"v\": 1}"},
	{"1769853600 a 1\r", TAKEN, T_MS, "a", "1"},
	{"1769853600 a 1\r\r", TAKEN, T_MS, "a", "1\r"},
	{"1769853600 a\tb 1", TAKEN, T_MS, "a\tb", "1"},
	{"1769853600 \xff\xfe \x80", TAKEN, T_MS, "\xff\xfe", "\x80"},
	{"1769853600 # 1", TAKEN, T_MS, "#", "1"},
	/* Passed over. */
	{"", SKIPPED, 0, NULL, NULL},
	{"\r", SKIPPED, 0, NULL, NULL},
	{"#", SKIPPED, 0, NULL, NULL},
	{"# 1769853600 a 1", SKIPPED, 0, NULL, NULL},
	/* Rejected, each with a reason. */
	{" ", REJECTED, 0, "no time", NULL},
	{"x", REJECTED, 0, "time topic payload", NULL},
	{"1769853600", REJECTED, 0, "time topic payload", NULL},
	{"1769853600 ", REJECTED, 0, "topic", NULL},
	{"1769853600  1", REJECTED, 0, "topic", NULL},
	{" 1769853600 a 1", REJECTED, 0, "no time", NULL},
	{"\t1769853600 a 1", REJECTED, 0, "no time", NULL},
	{"1769853600\ta\t1", REJECTED, 0, "time topic payload", NULL},
	{"1769853600, a, 1", REJECTED, 0, "no time", NULL},
	{"-1769853600 a 1", REJECTED, 0, "no time", NULL},
	{"+1769853600 a 1", REJECTED, 0, "no time", NULL},
	{"1769853600. a 1", REJECTED, 0, "no time", NULL},
	{".5 a 1", REJECTED, 0, "no time", NULL},
	{"1769853600.5.5 a 1", REJECTED, 0, "no time", NULL},
	{"1769853600,5 a 1", REJECTED, 0, "no time", NULL},
	{"1.769853600e9 a 1", REJECTED, 0, "no time", NULL},
	{"0x697dd2e0 a 1", REJECTED, 0, "no time", NULL},
	{"1769853600123.5 a 1", REJECTED, 0, "no time", NULL}, /* ms have no decimals */
	{"99999999999999999999999 a 1", REJECTED, 0, "no time", NULL},
	{"nan a 1", REJECTED, 0, "no time", NULL},
	{"2026-01-31 a 1", REJECTED, 0, "no time", NULL},
	{"2026-01-31T10:00:00 a 1", REJECTED, 0, "--zone ZONE", NULL},
	{"2026-01-31 10:00:00 a 1", REJECTED, 0, "--zone ZONE", NULL},
	{"2026-02-30T10:00:00Z a 1", REJECTED, 0, "no time", NULL},
	{"2026-01-31T25:00:00Z a 1", REJECTED, 0, "no time", NULL},
	{"\xef\xbb\xbf"
	 "1769853600 a 1",
		REJECTED, 0, "no time", NULL},
	/* Times of clocks that were never set, or of no clock. */
	{"0 a 1", REJECTED, 0, "before 2000", NULL},
	{"86400 a 1", REJECTED, 0, "before 2000", NULL},
	{"946684799.999 a 1", REJECTED, 0, "before 2000", NULL},
	{"946684800 a 1", TAKEN, INT64_C(946684800000), "a", "1"},
	{"7258118399999 a 1", TAKEN, INT64_C(7258118399999), "a", "1"},
	{"7258118400 a 1", REJECTED, 0, "after 2199", NULL},
	{"1999-12-31T23:59:59Z a 1", REJECTED, 0, "before 2000", NULL},
	/* Objects of a client, with their odd shapes. */
	{"{\"tst\":\"2026-01-31T11:00:00.123456+0100\",\"topic\":\"a/b\",\"qos\":0,"
	 "\"retain\":0,\"payloadlen\":4,\"payload\":\"21.5\"}",
		TAKEN, T_MS + 123, "a/b", "21.5"},
	{"{\"tst\":\"2026-01-31T10:00:00Z\",\"topic\":\"a\",\"payload\":{\"v\": [1, "
	 "2.50]}}",
		TAKEN, T_MS, "a", "{\"v\": [1, 2.50]}"},
	{"{\"payload\" : 21.50 , \"topic\" : \"a\" , \"tst\" : \"2026-01-31T10:00Z\"}",
		TAKEN, T_MS, "a", "21.50"},
	{"{\"tst\":1769853600.25,\"topic\":\"a\",\"payload\":true}", TAKEN, T_MS + 250,
		"a", "true"},
	{"{\"tst\":1769853600123,\"topic\":\"a\",\"payload\":null}", TAKEN, T_MS + 123,
		"a", "null"},
	{"{\"tst\":\"1769853600\",\"topic\":\"a\",\"payloadlen\":0,\"payload\":null}",
		TAKEN, T_MS, "a", ""},
	{"{\"tst\":1769853600,\"topic\":\"\\u00fc\",\"payload\":\"\\\"1\\\"\\n\"}", TAKEN,
		T_MS, "\xc3\xbc", "\"1\"\n"},
	{"{\"tst\":1769853600,\"topic\":\"a\",\"payload\":\"\"}\r", TAKEN, T_MS, "a", ""},
	{"{\"tst\":\"2026-01-31T10:00:00\",\"topic\":\"a\",\"payload\":1}", REJECTED, 0,
		"--zone ZONE", NULL},
	{"{\"tst\":\"yesterday\",\"topic\":\"a\",\"payload\":1}", REJECTED, 0,
		"is no time", NULL},
	{"{\"tst\":null,\"topic\":\"a\",\"payload\":1}", REJECTED, 0, "is no time", NULL},
	{"{\"tst\":0,\"topic\":\"a\",\"payload\":1}", REJECTED, 0, "before 2000", NULL},
	{"{\"tst\":1769853600,\"payload\":1}", REJECTED, 0, "\"topic\" is missing", NULL},
	{"{\"tst\":1769853600,\"topic\":\"\",\"payload\":1}", REJECTED, 0, "\"topic\"",
		NULL},
	{"{\"tst\":1769853600,\"topic\":7,\"payload\":1}", REJECTED, 0, "\"topic\"",
		NULL},
	{"{\"tst\":1769853600,\"topic\":\"a\"}", REJECTED, 0, "\"payload\" is missing",
		NULL},
	{"{\"tst\":1769853600,\"topic\":\"a\",\"payload\":1,\"retain\":2}", REJECTED, 0,
		"\"retain\"", NULL},
	{"{\"tst\":1769853600,\"topic\":\"a\",\"payload\":[1,2}", REJECTED, 0,
		"not ended", NULL},
	{"{\"tst\":1769853600,\"topic\":\"a\",\"payload\":1} {}", REJECTED, 0,
		"something follows", NULL},
	{"{\"tst\":1769853600,\"tst\":1,\"topic\":\"a\",\"payload\":1}", REJECTED, 0,
		"given twice", NULL},
	/* An object without a client's time may be of the journal. */
	{"{", REJECTED, 0, "", NULL},
	{"{}", REJECTED, 0, "\"kind\"", NULL},
	{"{\"topic\":\"a\",\"payload\":1}", REJECTED, 0, "\"kind\"", NULL},
	{"{\"t_ms\":1769853600000,\"topic\":\"a\",\"payload\":\"1\",\"kind\":"
	 "\"message\"}",
		TAKEN, T_MS, "a", "1"},
	{"{\"t\": 1769853600} a 1", REJECTED, 0, "", NULL},
};

static void expect_line(const struct line_row *row, struct archive *archive)
{
	size_t length = strlen(row->line);
	char *line =
		xmalloc(length); /* its own memory and no NUL: a read past it is seen */
	struct record record;
	const char *why = NULL;

	memcpy(line, row->line, length);
	int r = archive_line(archive, line, length, &record, &why);
	ck_assert_msg(r == row->verdict, "'%s': %d, %s", row->line, r, why ? why : "");
	if (r == REJECTED)
		ck_assert_msg(why && strstr(why, row->topic), "'%s': %s", row->line, why);
	if (r == TAKEN) {
		ck_assert_int_eq(record.kind, RECORD_MESSAGE);
		ck_assert(!record.retained);
		ck_assert_int_eq(record.boot_ms, -1);
		ck_assert_msg(record.t_ms == row->t_ms, "'%s': %lld", row->line,
			(long long)record.t_ms);
		ck_assert_uint_eq(record.topic_length, strlen(row->topic));
		ck_assert_int_eq(
			memcmp(record.topic, row->topic, record.topic_length), 0);
		ck_assert_uint_eq(record.payload_length, strlen(row->payload));
		ck_assert_int_eq(
			memcmp(record.payload, row->payload, record.payload_length), 0);
	}
	free(line);
}

TEST(each_line_has_its_verdict)
{
	struct archive archive = {0};
	for (size_t i = 0; i < ARRAY_LEN(line_rows); i++)
		expect_line(&line_rows[i], &archive);
	archive_release(&archive);
}
END

	static int
	verdict(enum archive_form form, const char *line, size_t length)
{
	struct archive archive = {.form = form};
	struct record record;
	const char *why;
	int r = archive_line(&archive, line, length, &record, &why);
	archive_release(&archive);
	return r;
}

TEST(a_form_that_was_asked_for_is_the_only_one)
{
	static const char plain[] = "1769853600 a 1";
	static const char brace[] = "{\"kind\": 1} a 1";
	ck_assert_int_eq(verdict(ARCHIVE_LINES, plain, strlen(plain)), 0);
	ck_assert_int_eq(verdict(ARCHIVE_JOURNAL, plain, strlen(plain)), REJECTED);
	ck_assert_int_eq(verdict(ARCHIVE_LINES, brace, strlen(brace)), REJECTED);
	ck_assert_int_eq(verdict(ARCHIVE_JOURNAL, "# note", 6), SKIPPED);
	ck_assert_int_eq(archive_form_find("lines"), ARCHIVE_LINES);
	ck_assert_int_eq(archive_form_find("json"), ARCHIVE_JSON);
	ck_assert_int_eq(archive_form_find("journal"), ARCHIVE_JOURNAL);
	ck_assert_int_eq(archive_form_find("Lines"), -1);
	ck_assert_int_eq(archive_form_find(""), -1);
}
END

TEST(a_clients_object_needs_its_time_and_keeps_its_retained_flag)
{
	static const char *const retained[] = {"1", "true"}, *const fresh[] = {
								     "0", "false"};
	struct archive archive = {.form = ARCHIVE_JSON};
	struct record record;
	const char *why = "";
	for (size_t i = 0; i < 4; i++) {
		char line[128];
		(void)snprintf(line, sizeof(line),
			"{\"tst\":1769853600,\"topic\":\"a\",\"retain\":%s,\"payload\":"
			"1}",
			i < 2 ? retained[i] : fresh[i - 2]);
		ck_assert_int_eq(
			archive_line(&archive, line, strlen(line), &record, &why), 0);
		ck_assert(record.retained == (i < 2));
	}
	static const char none[] = "{\"topic\":\"a\",\"payload\":1}";
	ck_assert_int_eq(
		archive_line(&archive, none, strlen(none), &record, &why), REJECTED);
	ck_assert_ptr_nonnull(strstr(why, "\"tst\" is missing"));
	archive_release(&archive);
}
END

/* Berlin, the night of 2025-10-26 and of 2025-03-30 (zoneinfo: time_ambiguous_local.csv).
 */
TEST(local_times_need_a_zone_and_the_order_of_lines)
{
	static const struct {
		const char *line;
		int64_t t_ms; /* 0: rejected */
	} rows[] = {
		{"2025-10-26T01:59:59.5 a 1", INT64_C(1761436799500)},
		{"2025-10-26T02:30:00 a 1", INT64_C(1761438600000)},
		{"2025-10-26T00:45:00Z a 1", INT64_C(1761439500000)},
		{"2025-10-26 02:50:00 a 1", INT64_C(1761439800000)},
		{"{\"tst\":\"2025-10-26T02:10:00\",\"topic\":\"a\",\"payload\":1}",
			INT64_C(1761441000000)},
		{"2025-10-26T02:30:00 a 1", INT64_C(1761442200000)},
		{"2025-10-26T03:00:00 a 1", INT64_C(1761444000000)},
		{"2025-03-30T02:30:00 a 1", 0},
		{"2025-03-30T03:00:00 a 1", INT64_C(1743296400000)},
	};
	struct archive archive = {0};
	ck_assert_int_eq(wall_clock_new("Europe/Berlin", &archive.clock), 0);
	for (size_t i = 0; i < ARRAY_LEN(rows); i++) {
		struct record record;
		const char *why = "", *line = rows[i].line;
		int r = archive_line(&archive, line, strlen(line), &record, &why);
		ck_assert_msg(r == (rows[i].t_ms ? 0 : REJECTED), "%s: %s", line, why);
		if (r == 0)
			ck_assert_msg(record.t_ms == rows[i].t_ms, "%s: %lld", line,
				(long long)record.t_ms);
		else
			ck_assert_ptr_nonnull(strstr(why, "skips"));
	}
	ck_assert_uint_eq(archive.twice, 4);
	wall_clock_free(archive.clock);
	archive_release(&archive);
}
END

TEST(a_line_of_the_journals_export_comes_back_whole)
{
	static const struct record records[] = {
		{.kind = RECORD_MESSAGE,
			.retained = true,
			.t_ms = T_MS + 7,
			.boot_ms = 99,
			.topic = "a/b",
			.topic_length = 3,
			.payload = (const unsigned char *)"\0\xff\"\\\n",
			.payload_length = 5},
		{.kind = RECORD_LOST,
			.t_ms = T_MS,
			.boot_ms = -1,
			.topic = "",
			.payload = (const unsigned char *)"timed out",
			.payload_length = 9},
	};
	for (size_t i = 0; i < ARRAY_LEN(records); i++) {
		struct archive archive = {0};
		struct buffer line = {0};
		struct record back;
		const char *why = "";
		record_write_json(&records[i], &line);
		int r = archive_line(&archive, line.data, line.length - 1, &back, &why);
		ck_assert_msg(r == 0, "%s: %s", why, buffer_text(&line));
		ck_assert_int_eq(record_compare(&back, &records[i]), 0);
		ck_assert_int_eq(back.t_ms, records[i].t_ms);
		ck_assert_int_eq(back.boot_ms, records[i].boot_ms);
		ck_assert_uint_eq(back.retained, records[i].retained);
		buffer_release(&line);
		archive_release(&archive);
	}
}
END

TEST(topics_end_at_65535_bytes)
{
	struct buffer line = {0};
	for (size_t length = 65535; length <= 65536; length++) {
		buffer_reset(&line);
		buffer_add_text(&line, "1769853600 ");
		for (size_t i = 0; i < length; i++)
			buffer_add(&line, "t", 1);
		buffer_add_text(&line, " 1");
		ck_assert_int_eq(verdict(ARCHIVE_DETECT, line.data, line.length),
			length == 65535 ? 0 : REJECTED);
	}
	buffer_release(&line);
}
END

TEST(a_nul_byte_is_part_of_the_payload)
{
	static const char line[] = "1769853600 a 1\0002";
	struct archive archive = {0};
	struct record record;
	const char *why;
	ck_assert_int_eq(
		archive_line(&archive, line, sizeof(line) - 1, &record, &why), 0);
	ck_assert_uint_eq(record.payload_length, 3);
	archive_release(&archive);
}
END

TEST(a_minute_may_close_ten_seconds_after_its_end)
{
	static const struct {
		int64_t now_ms, closed;
	} rows[] = {{0, -1}, {9999, -1}, {10000, 0}, {69999, 0}, {70000, 1}, {70001, 1},
		{T_MS, T_MS / MS_PER_MIN - 1}, {T_MS + 9999, T_MS / MS_PER_MIN - 1},
		{T_MS + 10000, T_MS / MS_PER_MIN}};
	for (size_t i = 0; i < ARRAY_LEN(rows); i++)
		ck_assert_int_eq(closed_minute(rows[i].now_ms), rows[i].closed);
}
END

TESTS(each_line_has_its_verdict, a_form_that_was_asked_for_is_the_only_one,
	a_clients_object_needs_its_time_and_keeps_its_retained_flag,
	local_times_need_a_zone_and_the_order_of_lines,
	a_line_of_the_journals_export_comes_back_whole, topics_end_at_65535_bytes,
	a_nul_byte_is_part_of_the_payload, a_minute_may_close_ten_seconds_after_its_end)
