/*
 * Lines out of archives that are plain, gzip or zstd. The packers are zlib and libzstd
 * themselves.
 */
#include "unit.h"

#include "../../daemon/derive/input.h"

#include <errno.h>
#include <unistd.h>
#include <zlib.h>
#include <zstd.h>

enum packing { PLAIN, GZIP, ZSTD, PACKINGS };

static void write_all(FILE *f, const void *bytes, size_t length)
{
	ck_assert_uint_eq(fwrite(bytes, 1, length, f), length);
}

static void pack_gzip(FILE *f, const char *text, size_t length)
{
	z_stream z = {0};
	size_t room = length + length / 8 + 1024;
	_cleanup_(freep) unsigned char *out = xmalloc(room);
	ck_assert_int_eq(
		deflateInit2(&z, 1, Z_DEFLATED, 15 + 16, 8, Z_DEFAULT_STRATEGY), Z_OK);
	z.next_in = (unsigned char *)(uintptr_t)text;
	z.avail_in = (uInt)length;
	z.next_out = out;
	z.avail_out = (uInt)room;
	ck_assert_int_eq(deflate(&z, Z_FINISH), Z_STREAM_END);
	write_all(f, out, z.total_out);
	(void)deflateEnd(&z); /* it ended */
}

static void pack_zstd(FILE *f, const char *text, size_t length)
{
	size_t room = ZSTD_compressBound(length);
	_cleanup_(freep) unsigned char *out = xmalloc(room);
	size_t n = ZSTD_compress(out, room, text, length, 1);
	ck_assert(!ZSTD_isError(n));
	write_all(f, out, n);
}

static void pack(FILE *f, enum packing packing, const char *text, size_t length)
{
	if (packing == GZIP)
		pack_gzip(f, text, length);
	else if (packing == ZSTD)
		pack_zstd(f, text, length);
	else
		write_all(f, text, length);
}

static void cut(FILE *f, long bytes)
{
	ck_assert_int_eq(fflush(f), 0);
	ck_assert_int_eq(ftruncate(fileno(f), ftell(f) - bytes), 0);
}

static struct input *opened(FILE *f)
{
	ck_assert_int_eq(fflush(f), 0);
	rewind(f);
	return input_new(f);
}

static struct input *packed(enum packing packing, const char *text, size_t length)
{
	FILE *f = tmpfile();
	ck_assert_ptr_nonnull(f);
	pack(f, packing, text, length);
	return opened(f);
}

static void expect_line(struct input *in, const char *text, size_t length)
{
	const char *line = NULL;
	size_t n = 0;
	ck_assert_int_eq(input_line(in, &line, &n), 0);
	ck_assert_uint_eq(n, length);
	ck_assert(memcmp(line, text, n) == 0);
}

static void expect_end(struct input *in)
{
	const char *line;
	size_t n;
	ck_assert_int_eq(input_line(in, &line, &n), INPUT_END);
	ck_assert_int_eq(input_line(in, &line, &n), INPUT_END);
}

/* Lines of 0 to 300 bytes, some MB in all. */
static char *many_lines(size_t *ret_length)
{
	struct buffer b = {0};
	for (size_t i = 0; i < 20000; i++) {
		for (size_t k = 0; k < i * 7919 % 301; k++) {
			char c = (char)('!' + (i * 31 + k * k) % 90);
			buffer_add(&b, &c, 1);
		}
		buffer_add_text(&b, "\n");
	}
	*ret_length = b.length;
	return b.data;
}

TEST(the_same_lines_come_out_however_they_are_packed)
{
	size_t length;
	_cleanup_(freep) char *text = many_lines(&length);
	for (enum packing p = 0; p < PACKINGS; p++) {
		struct input *in = packed(p, text, length);
		for (const char *at = text; at < text + length;) {
			const char *end = memchr(at, '\n', (size_t)(text + length - at));
			expect_line(in, at, (size_t)(end - at));
			at = end + 1;
		}
		expect_end(in);
		ck_assert_int_eq(input_read(in), input_size(in));
		input_free(in);
	}
}
END

TEST(the_same_content_has_the_same_digest_and_begins_anew_after_it)
{
	uint64_t digests[PACKINGS], other;
	size_t length;
	_cleanup_(freep) char *text = many_lines(&length);
	for (enum packing p = 0; p < PACKINGS; p++) {
		struct input *in = packed(p, text, length);
		ck_assert_int_eq(input_digest(in, &digests[p]), 0);
		ck_assert_uint_eq(digests[p], digests[0]);
		expect_line(in, "", 0);
		expect_line(in, text + 1, 7919 % 301);
		ck_assert_int_eq(input_digest(in, &digests[p]), 0);
		ck_assert_uint_eq(digests[p], digests[0]);
		input_free(in);
	}
	text[length / 2] ^= 1;
	struct input *in = packed(PLAIN, text, length);
	ck_assert_int_eq(input_digest(in, &other), 0);
	ck_assert_uint_ne(other, digests[0]);
	input_free(in);
}
END

TEST(members_and_frames_behind_each_other_are_one_text)
{
	for (enum packing p = 0; p < PACKINGS; p++) {
		FILE *f = tmpfile();
		ck_assert_ptr_nonnull(f);
		pack(f, p, "one\ntw", 6);
		pack(f, p, "", 0);
		pack(f, p, "o\nthree", 7);
		struct input *in = opened(f);
		expect_line(in, "one", 3);
		expect_line(in, "two", 3);
		expect_line(in, "three", 5);
		expect_end(in);
		input_free(in);
	}
}
END

TEST(an_empty_file_has_no_line_and_a_last_line_needs_no_newline)
{
	for (enum packing p = 0; p < PACKINGS; p++) {
		struct input *in = packed(p, "", 0);
		expect_end(in);
		input_free(in);
		in = packed(p, "\n\nx", 3);
		expect_line(in, "", 0);
		expect_line(in, "", 0);
		expect_line(in, "x", 1);
		expect_end(in);
		input_free(in);
	}
}
END

TEST(a_line_that_is_too_long_is_told_and_passed_over)
{
	const size_t lengths[] = {
		LINE_MOST - 1, LINE_MOST, LINE_MOST + 1, 3 * LINE_MOST + 7};
	for (size_t i = 0; i < ARRAY_LEN(lengths); i++) {
		const size_t n = lengths[i];
		_cleanup_(freep) char *text = xmalloc(n + 6);
		memset(text, 'a', n);
		memcpy(text + n, "\nnext\n", 6);
		struct input *in = packed(GZIP, text, n + 6);
		const char *line;
		size_t length;
		int r = input_line(in, &line, &length);
		ck_assert_int_eq(r, n < LINE_MOST ? 0 : INPUT_LONG);
		ck_assert_uint_eq(length, n < LINE_MOST ? n : LINE_MOST);
		expect_line(in, "next", 4);
		expect_end(in);
		input_free(in);
	}
}
END

	static int
	read_to_the_end(struct input *in)
{
	const char *line;
	size_t length;
	int r;
	while ((r = input_line(in, &line, &length)) == 0)
		;
	return r;
}

TEST(damaged_and_cut_compression_is_an_error_for_lines_and_digest)
{
	size_t length;
	_cleanup_(freep) char *text = many_lines(&length);
	for (enum packing p = GZIP; p < PACKINGS; p++) {
		for (int damaged = 0; damaged < 2; damaged++) {
			FILE *f = tmpfile();
			ck_assert_ptr_nonnull(f);
			pack(f, p, text, length);
			long size = ftell(f);
			if (!damaged) {
				cut(f, 5);
			} else {
				ck_assert_int_eq(fseek(f, size / 2, SEEK_SET), 0);
				write_all(f, "\xff\x00\xff\x00\xff\x00\xff", 7);
			}
			struct input *in = opened(f);
			ck_assert_int_eq(read_to_the_end(in), -EBADMSG);
			input_free(in);
		}
	}
}
END

TEST(a_cut_archive_has_no_digest)
{
	FILE *f = tmpfile();
	uint64_t digest;
	ck_assert_ptr_nonnull(f);
	pack(f, ZSTD, "a line\n", 7);
	cut(f, 1);
	struct input *in = opened(f);
	ck_assert_int_eq(input_digest(in, &digest), -EBADMSG);
	input_free(in);
}
END

TESTS(the_same_lines_come_out_however_they_are_packed, the_same_content_has_the_same_digest_and_begins_anew_after_it, members_and_frames_behind_each_other_are_one_text, an_empty_file_has_no_line_and_a_last_line_needs_no_newline, a_line_that_is_too_long_is_told_and_passed_over, damaged_and_cut_compression_is_an_error_for_lines_and_digest, a_cut_archive_has_no_digest)
