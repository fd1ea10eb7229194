/*
 * The page's files as they are served, and packed answers.
 *
 * Outside: RFC 9110 (Accept, Accept-Encoding, strong tags of representations), RFC 1952
 * (gzip), Content Security Policy level 3; all from memory.
 */
#include "http_client.h"

#include "../../daemon/http/page_files.h"

#include <zlib.h>

#define PAGE_MOST ((size_t)150 * 1024) /* bytes of all files, packed */

/* The text of a body in gzip. */
static struct buffer unpacked(const struct reply_seen *reply)
{
	struct buffer out = {0};
	z_stream z = {
		.next_in = (unsigned char *)reply->body, .avail_in = (uInt)reply->length};
	ck_assert_int_eq(inflateInit2(&z, 15 + 16), Z_OK);
	buffer_reserve(&out, 1 << 20);
	z.next_out = (unsigned char *)out.data;
	z.avail_out = (uInt)out.capacity;
	ck_assert_int_eq(inflate(&z, Z_FINISH), Z_STREAM_END);
	out.length = z.total_out;
	ck_assert_int_eq(inflateEnd(&z), Z_OK);
	return out;
}

static bool is_page(struct http *http, const char *fields)
{
	struct reply_seen reply = ask(http, "GET", "/", fields);
	ck_assert_int_eq(reply.status, 200);
	ck_assert(field_is(&reply, "Vary", "Accept, Accept-Encoding, Origin"));
	bool page = field_is(&reply, "Content-Type", "text/html; charset=utf-8");
	ck_assert(page || field_is(&reply, "Content-Type", "application/json"));
	reply_release(&reply);
	return page;
}

TEST(the_root_is_the_page_but_for_who_prefers_json)
{
	struct http *http = serve();
	ck_assert(is_page(http, ""));
	ck_assert(is_page(http, "Accept: */*\r\n"));
	ck_assert(is_page(http, "Accept: text/html,application/xhtml+xml,*/*;q=0.8\r\n"));
	ck_assert(!is_page(http, "Accept: application/json\r\n"));
	ck_assert(!is_page(http, "Accept: text/html;q=0.5, application/json\r\n"));
	http_close(http);
}
END

TEST(every_file_is_there_plain_and_packed_and_guarded)
{
	struct http *http = serve();
	size_t packed = 0;
	ck_assert_uint_gt(page_file_count, 5);
	for (size_t i = 0; i < page_file_count; i++) {
		const struct page_file *f = &page_files[i];
		struct reply_seen plain = ask(http, "GET", f->path, "");
		struct reply_seen small =
			ask(http, "GET", f->path, "Accept-Encoding: gzip\r\n");
		ck_assert_int_eq(plain.status, 200);
		ck_assert_uint_eq(plain.length, f->plain_length);
		ck_assert_mem_eq(plain.body, f->plain, f->plain_length);
		ck_assert(field_is(&plain, "Content-Type", f->type));
		ck_assert(field_is(&plain, "X-Content-Type-Options", "nosniff"));
		ck_assert(field_is(&plain, "Referrer-Policy", "no-referrer"));
		char *policy = field(&plain, "Content-Security-Policy");
		ck_assert_ptr_nonnull(policy);
		ck_assert_ptr_nonnull(strstr(policy, "default-src 'none'"));
		ck_assert_ptr_null(strstr(policy, "unsafe"));
		ck_assert(field_is(&small, "Content-Encoding", "gzip"));
		struct buffer text = unpacked(&small);
		ck_assert_uint_eq(text.length, f->plain_length);
		ck_assert_mem_eq(text.data, f->plain, f->plain_length);
		packed += small.length;
		buffer_release(&text);
		free(policy);
		reply_release(&plain);
		reply_release(&small);
	}
	ck_assert_msg(packed <= PAGE_MOST, "%zu bytes", packed);
	http_close(http);
}
END

TEST(files_have_no_parameters_and_no_neighbours)
{
	struct http *http = serve();
	static const struct {
		const char *target;
		int status;
	} rows[] = {{"/page.js?x=1", 400}, {"/page.js/", 404}, {"/page", 404},
		{"/index.html", 404}, {"/vendor/", 404}, {"/vendor", 404},
		{"/vendor/../page.js", 404}, {"/embed.py", 404},
		{"/vendor/LICENSE", 404}};
	for (size_t i = 0; i < ARRAY_LEN(rows); i++) {
		struct reply_seen reply = ask(http, "GET", rows[i].target, "");
		ck_assert_msg(reply.status == rows[i].status, "%s: %d", rows[i].target,
			reply.status);
		reply_release(&reply);
	}
	http_close(http);
}
END

/* Nothing outside is asked for: the page works where there is no other host. */
TEST(files_name_no_other_host)
{
	for (size_t i = 0; i < page_file_count; i++) {
		const struct page_file *f = &page_files[i];
		char *text = xstrndup((const char *)f->plain, f->plain_length);
		for (const char *p = text; (p = strstr(p, "//")) != NULL; p++) {
			bool link = p > text && p[-1] == ':';
			bool space = strncmp(p, "//www.w3.org/2000/svg", 21) == 0;
			bool notice = strstr(f->path, "/vendor/") && p - text < 40;
			ck_assert_msg(!link || space || notice, "%s: %.60s", f->path, p);
		}
		free(text);
	}
}
END

	static const char long_target[] = "/v1/"
					  "series?channels=flow_temperature&step=PT15M&"
					  "from=1767222000&to=1767308400";

TEST(an_answer_is_packed_for_who_takes_it)
{
	struct http *http = serve();
	struct reply_seen plain = ask(http, "GET", long_target, "");
	struct reply_seen small =
		ask(http, "GET", long_target, "Accept-Encoding: deflate, gzip;q=0.5\r\n");
	ck_assert_int_eq(plain.status, 200);
	ck_assert_int_eq(small.status, 200);
	ck_assert(field_is(&plain, "Content-Encoding", NULL));
	ck_assert(field_is(&small, "Content-Encoding", "gzip"));
	ck_assert_uint_lt(small.length, plain.length / 2);
	struct buffer text = unpacked(&small);
	ck_assert_uint_eq(text.length, plain.length);
	ck_assert_mem_eq(text.data, plain.body, plain.length);
	char *tag = field(&plain, "ETag"), *packed_tag = field(&small, "ETag");
	ck_assert_str_ne(tag, packed_tag);
	char *fields =
		xasprintf("Accept-Encoding: gzip\r\nIf-None-Match: %s\r\n", packed_tag);
	struct reply_seen again = ask(http, "GET", long_target, fields);
	ck_assert_int_eq(again.status, 304);
	ck_assert(field_is(&again, "ETag", packed_tag));
	ck_assert(field_is(&again, "Content-Encoding", NULL));
	ck_assert_uint_eq(again.length, 0);
	buffer_release(&text);
	free(fields);
	free(tag);
	free(packed_tag);
	reply_release(&plain);
	reply_release(&small);
	reply_release(&again);
	http_close(http);
}
END

TEST(gzip_is_sent_only_where_the_field_takes_it)
{
	struct http *http = serve();
	static const struct {
		const char *field;
		bool packed;
	} rows[] = {{"", false}, {"Accept-Encoding: identity\r\n", false},
		{"Accept-Encoding: br, deflate\r\n", false},
		{"Accept-Encoding: gzip;q=0\r\n", false},
		{"Accept-Encoding: *;q=0\r\n", false},
		{"Accept-Encoding: *, gzip;q=0\r\n", false},
		{"Accept-Encoding: GZip\r\n", true},
		{"Accept-Encoding: x-gzip\r\n", true}, {"Accept-Encoding: *\r\n", true},
		{"Accept-Encoding: br;q=1.0, gzip;q=0.001\r\n", true},
		{"Accept-Encoding: gzipped\r\n", false}};
	for (size_t i = 0; i < ARRAY_LEN(rows); i++) {
		struct reply_seen reply = ask(http, "GET", long_target, rows[i].field);
		ck_assert_msg(field_is(&reply, "Content-Encoding",
				      rows[i].packed ? "gzip" : NULL),
			"%s", rows[i].field);
		ck_assert(field_is(&reply, "Vary", "Accept, Accept-Encoding, Origin"));
		reply_release(&reply);
	}
	struct reply_seen tiny =
		ask(http, "GET", "/nothing", "Accept-Encoding: gzip\r\n");
	ck_assert_int_eq(tiny.status, 404);
	ck_assert(field_is(&tiny, "Content-Encoding", NULL));
	ck_assert_uint_lt(tiny.length, 512);
	reply_release(&tiny);
	http_close(http);
}
END

TESTS(the_root_is_the_page_but_for_who_prefers_json,
	every_file_is_there_plain_and_packed_and_guarded,
	files_have_no_parameters_and_no_neighbours, files_name_no_other_host,
	an_answer_is_packed_for_who_takes_it, gzip_is_sent_only_where_the_field_takes_it)
