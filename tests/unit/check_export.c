/*
 * The journal's export while its reader is slow and the daemon goes on: the lines are
 * those of one moment, and nothing of the store is held meanwhile.
 *
 * Reference: archive.h's contract of export_journal().
 */
#include "filed.h"

#include <heatbook/archive.h>

#define PLANT   "[plant]\nzone = UTC\n[channel room_temperature]\ntopic = a/room\n"
#define DAY_MS  (DAY * MS_PER_DAY)
#define RECORDS 200

struct reader {
	struct filed *filed;
	struct buffer text;
	bool moved; /* the daemon joined what is being exported */
};

/* Goes on with the store as a daemon does, once, when the first bytes come. */
static ssize_t take(void *cookie, const char *bytes, size_t length)
{
	struct reader *r = cookie;
	int64_t day_ms;
	if (!r->moved) {
		ck_assert_int_eq(
			store_join(r->filed->store, 0, DAY_MS + MS_PER_DAY, &day_ms), 0);
		ck_assert_int_eq(
			sql_number(r->filed->store, "SELECT count(*) FROM chunks"), 1);
		file_message(r->filed, DAY_MS + MS_PER_DAY, "a/room", "late");
		/* Nobody reads: the log can be emptied into the file. */
		ck_assert_int_eq(
			sql_number(r->filed->store, "PRAGMA wal_checkpoint(TRUNCATE)"),
			0);
	}
	r->moved = true;
	buffer_add(&r->text, bytes, length);
	return (ssize_t)length;
}

static FILE *slow_reader(struct reader *r)
{
	const cookie_io_functions_t calls = {.write = take};
	FILE *out = fopencookie(r, "w", calls);
	ck_assert_ptr_nonnull(out);
	ck_assert_int_eq(setvbuf(out, NULL, _IONBF, 0), 0);
	return out;
}

TEST(what_the_store_does_meanwhile_changes_no_line)
{
	struct filed f = filed_new(PLANT);
	struct reader reader = {.filed = &f};
	char why[320] = "", payload[16];

	for (int i = 0; i < RECORDS; i++) {
		(void)snprintf(payload, sizeof(payload), "%d.5", i);
		file_message(&f, DAY_MS + i * MS_PER_MIN, "a/room", payload);
	}
	FILE *out = slow_reader(&reader);
	int r = export_journal(f.stored->config, out, why);
	ck_assert_msg(r == 0, "%d: %s", r, why);
	ck_assert_int_eq(fclose(out), 0);

	const char *at = buffer_text(&reader.text);
	for (int i = 0; i < RECORDS; i++) {
		(void)snprintf(payload, sizeof(payload), "\"%d.5\"", i);
		at = strstr(at, payload);
		ck_assert_msg(at != NULL, "record %d is missing or out of order", i);
	}
	size_t lines = 0;
	for (const char *p = buffer_text(&reader.text); *p; p++)
		lines += *p == '\n';
	ck_assert_uint_eq(lines, RECORDS);
	buffer_release(&reader.text);
	filed_free(&f);
}
END

TEST(an_output_that_fails_is_named)
{
	struct filed f = filed_new(PLANT);
	char why[320] = "";
	file_message(&f, DAY_MS, "a/room", "20");
	FILE *out = fopen("/dev/full", "we");
	ck_assert_ptr_nonnull(out);
	ck_assert_int_eq(export_journal(f.stored->config, out, why), -ENOSPC);
	ck_assert_msg(strstr(why, "the output could not be written: No space") != NULL,
		"%s", why);
	(void)fclose(out); /* fails again */
	filed_free(&f);
}
END

TESTS(what_the_store_does_meanwhile_changes_no_line, an_output_that_fails_is_named)
