/*
 * The small things below every room: buffers, the digest, floor division, the log's
 * handler, the test clock.
 */
#include "unit.h"

#include <heatbook/clock.h>
#include <heatbook/log.h>

#include <errno.h>

TEST(floor_division_rounds_toward_minus_infinity)
{
	static const struct {
		int64_t a, b, q;
	} rows[] = {{0, 60, 0}, {59, 60, 0}, {60, 60, 1}, {-1, 60, -1}, {-60, 60, -1},
		{-61, 60, -2}, {INT64_MAX, 1, INT64_MAX}, {INT64_MIN, 1, INT64_MIN},
		{INT64_MIN, 1000, INT64_C(-9223372036854776)}};
	for (size_t i = 0; i < ARRAY_LEN(rows); i++)
		ck_assert_int_eq(floor_div(rows[i].a, rows[i].b), rows[i].q);
}
END

TEST(floor_division_bins_every_value_once)
{
	for (int64_t b = 1; b < 8; b++)
		for (int64_t a = -50; a <= 50; a++) {
			int64_t q = floor_div(a, b);
			ck_assert_int_le(q * b, a);
			ck_assert_int_gt((q + 1) * b, a);
		}
}
END

TEST(an_empty_buffer_is_empty_text)
{
	struct buffer b = {0};
	buffer_add(&b, NULL, 0);
	ck_assert_uint_eq(b.length, 0);
	ck_assert_str_eq(buffer_text(&b), "");
	buffer_release(&b);
	ck_assert_ptr_null(b.data);
	ck_assert_uint_eq(b.capacity, 0);
}
END

TEST(buffers_keep_bytes_in_order_as_they_grow)
{
	struct buffer b = {0};
	for (int i = 0; i < 100000; i++) {
		unsigned char byte = (unsigned char)(i % 251);
		buffer_add(&b, &byte, 1);
	}
	ck_assert_uint_eq(b.length, 100000);
	for (int i = 0; i < 100000; i++)
		ck_assert_int_eq((unsigned char)b.data[i], i % 251);
	buffer_release(&b);
}
END

TEST(buffers_join_text_and_formatted_text)
{
	struct buffer b = {0};
	buffer_add_text(&b, "flow ");
	buffer_addf(&b, "%d %s", 12, "L/min");
	buffer_addf(&b, "%s", "");
	ck_assert_str_eq(buffer_text(&b), "flow 12 L/min");
	ck_assert_uint_eq(b.length, 13);
	buffer_reset(&b);
	buffer_addf(&b, "%0200d", 7);
	ck_assert_uint_eq(b.length, 200);
	ck_assert_int_eq(buffer_text(&b)[199], '7');
	ck_assert_uint_eq(strlen(buffer_text(&b)), 200);
	buffer_release(&b);
}
END

TEST(reserved_room_is_there_and_used)
{
	struct buffer b = {0};
	buffer_reserve(&b, 1000);
	ck_assert_uint_ge(b.capacity, 1000);
	const char *place = b.data;
	for (int i = 0; i < 100; i++)
		buffer_add_text(&b, "0123456789");
	ck_assert_ptr_eq(b.data, place);
	buffer_release(&b);
}
END

TEST(texts_are_copied_and_composed)
{
	_cleanup_(freep) char *part = xstrndup("supply_c", 6);
	ck_assert_str_eq(part, "supply");
	_cleanup_(freep) char *whole = xstrdup("");
	ck_assert_str_eq(whole, "");
	_cleanup_(freep) char *made = xasprintf("%s/%d", part, 3);
	ck_assert_str_eq(made, "supply/3");
	_cleanup_(freep) char *nothing = xcalloc(0, 8);
	ck_assert_ptr_nonnull(nothing);
}
END

TEST(digests_tell_contents_lengths_and_seeds_apart)
{
	static const char zeros[64];
	static const char text[] = "heat and electricity of a heat pump";
	uint64_t seen[64];
	for (size_t n = 0; n < ARRAY_LEN(seen); n++) {
		seen[n] = digest64(0, zeros, n);
		for (size_t k = 0; k < n; k++)
			ck_assert_uint_ne(seen[n], seen[k]);
	}
	uint64_t whole = digest64(0, text, sizeof(text));
	ck_assert_uint_eq(whole, digest64(0, text, sizeof(text)));
	ck_assert_uint_ne(whole, digest64(1, text, sizeof(text)));
	for (size_t bit = 0; bit < 8 * sizeof(text); bit++) {
		char other[sizeof(text)];
		memcpy(other, text, sizeof(text));
		other[bit / 8] = (char)(other[bit / 8] ^ (1 << (bit % 8)));
		ck_assert_uint_ne(digest64(0, other, sizeof(other)), whole);
	}
}
END

TEST(digests_do_not_depend_on_alignment)
{
	char room[40];
	uint64_t want = digest64(7, "0123456789abcdefghij", 20);
	for (size_t shift = 0; shift < 9; shift++) {
		memcpy(room + shift, "0123456789abcdefghij", 20);
		ck_assert_uint_eq(digest64(7, room + shift, 20), want);
	}
}
END

	struct heard {
	int count;
	enum log_level level;
	char line[1100];
};

static void hear(enum log_level level, const char *line, void *context)
{
	struct heard *h = context;
	h->count++;
	h->level = level;
	(void)snprintf(h->line, sizeof(h->line), "%s", line);
}

TEST(the_log_handler_gets_finished_lines)
{
	struct heard h = {0};
	log_set_handler(hear, &h);
	log_warning("meter %s is %d s late", "heat", 12);
	ck_assert_int_eq(h.count, 1);
	ck_assert_int_eq(h.level, LOG_LEVEL_WARNING);
	ck_assert_str_eq(h.line, "meter heat is 12 s late");
	log_errno(LOG_LEVEL_ERROR, -ENOENT, "opening %s", "store");
	ck_assert_str_eq(h.line, "opening store: No such file or directory");
	log_errno(LOG_LEVEL_ERROR, ENOENT, "opening %s", "store");
	ck_assert_str_eq(h.line, "opening store: No such file or directory");
	log_set_handler(NULL, NULL);
}
END

TEST(the_log_drops_what_is_less_urgent_than_its_level)
{
	struct heard h = {0};
	log_set_handler(hear, &h);
	log_debug("unheard");
	ck_assert_int_eq(h.count, 0);
	log_info("heard");
	ck_assert_int_eq(h.count, 1);
	log_set_level(LOG_LEVEL_ERROR);
	log_warning("unheard");
	log_errno(LOG_LEVEL_WARNING, EIO, "unheard");
	ck_assert_int_eq(h.count, 1);
	log_set_level(LOG_LEVEL_DEBUG);
	log_debug("heard");
	ck_assert_int_eq(h.count, 2);
	log_set_level(LOG_LEVEL_INFO);
	log_set_handler(NULL, NULL);
}
END

TEST(a_log_message_is_one_line_however_long_or_broken)
{
	struct heard h = {0};
	char text[3000];
	memset(text, 'x', sizeof(text));
	text[sizeof(text) - 1] = '\0';
	log_set_handler(hear, &h);
	log_info("%s", text);
	ck_assert_int_eq(h.count, 1);
	ck_assert_uint_eq(strlen(h.line), 999);
	log_errno(LOG_LEVEL_INFO, EIO, "%s", text);
	ck_assert_uint_eq(strlen(h.line), 999);
	log_info("topic a\nfake line\r\tb\x1b[31m");
	ck_assert_str_eq(h.line, "topic a fake line  b [31m");
	log_set_handler(NULL, NULL);
}
END

TEST(the_test_clock_stands_still_until_moved)
{
	clock_test_start(1000, 50);
	ck_assert_int_eq(clock_now_ms(), 1000);
	ck_assert_int_eq(clock_boot_ms(), 50);
	ck_assert_int_eq(clock_mono_ms(), 50);
	clock_test_advance(7);
	ck_assert_int_eq(clock_now_ms(), 1007);
	ck_assert_int_eq(clock_boot_ms(), 57);
	ck_assert_int_eq(clock_mono_ms(), 57);
	clock_test_step(-500);
	ck_assert_int_eq(clock_now_ms(), 507);
	ck_assert_int_eq(clock_boot_ms(), 57);
	clock_test_stop();
	ck_assert_int_gt(clock_now_ms(), 507); /* any real clock is past 1970 */
}
END

TEST(the_real_clocks_do_not_run_backward)
{
	int64_t mono_ms = clock_mono_ms(), boot_ms = clock_boot_ms();
	for (int i = 0; i < 1000; i++) {
		int64_t next_ms = clock_mono_ms(), next_boot_ms = clock_boot_ms();
		ck_assert_int_ge(next_ms, mono_ms);
		ck_assert_int_ge(next_boot_ms, boot_ms);
		mono_ms = next_ms;
		boot_ms = next_boot_ms;
	}
}
END

TESTS(floor_division_rounds_toward_minus_infinity, floor_division_bins_every_value_once,
	an_empty_buffer_is_empty_text, buffers_keep_bytes_in_order_as_they_grow,
	buffers_join_text_and_formatted_text, reserved_room_is_there_and_used,
	texts_are_copied_and_composed, digests_tell_contents_lengths_and_seeds_apart,
	digests_do_not_depend_on_alignment, the_log_handler_gets_finished_lines,
	the_log_drops_what_is_less_urgent_than_its_level,
	a_log_message_is_one_line_however_long_or_broken, the_test_clock_stands_still_until_moved,
	the_real_clocks_do_not_run_backward)
