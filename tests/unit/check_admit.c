/*
 * Who is let in: by token, by name, by page, and how long a connection may take.
 *
 * Outside: RFC 6750 (Bearer) and RFC 9110 (401, 421, 414), Fetch standard and Fetch
 * Metadata (origins); all from memory.
 */
#include "http_client.h"

#define TOKEN "0123456789abcdef"
#define OTHER "fedcba9876543210"

static char *token_path;

static void write_tokens(const char *text, mode_t mode)
{
	if (!token_path)
		token_path = program_path("tokens");
	write_file(token_path, text);
	ck_assert_int_eq(chmod(token_path, mode), 0);
}

static struct http *serve_guarded(void)
{
	write_tokens(TOKEN "\n" OTHER "\n", 0600);
	plant.http.token_file = token_path;
	return serve();
}

static void leave(struct http *http)
{
	http_close(http);
	if (token_path)
		ck_assert_int_eq(unlink(token_path), 0);
	free(token_path);
}

TEST(data_want_a_token_and_say_how)
{
	static const struct {
		const char *fields;
		int status;
		const char *challenge;
	} rows[] = {
		{"", 401, "Bearer realm=\"heatbook\""},
		{"Authorization: Basic dXNlcjp3b3Jk\r\n", 401,
			"Bearer realm=\"heatbook\""},
		{"Authorization: Bearer\r\n", 401, "Bearer realm=\"heatbook\""},
		{"Authorization: Bearer " TOKEN "x\r\n", 401,
			"Bearer realm=\"heatbook\", error=\"invalid_token\""},
		{"Authorization: Bearer 0123456789abcde\r\n", 401,
			"Bearer realm=\"heatbook\", error=\"invalid_token\""},
		{"Authorization: Bearer a b\r\n", 400,
			"Bearer realm=\"heatbook\", error=\"invalid_request\""},
		{"Authorization: Bearer " TOKEN "\r\nAuthorization: Bearer " TOKEN "\r\n",
			400, "Bearer realm=\"heatbook\", error=\"invalid_request\""},
		{"Authorization: Bearer " TOKEN "\r\n", 200, NULL},
		{"authorization: bearer   " OTHER "\r\n", 200, NULL},
	};
	static const char *const targets[] = {
		"/v1/now", "/v1/energy", "/v1/channels", "/v1/series?channels=valve"};
	struct http *http = serve_guarded();
	for (size_t i = 0; i < ARRAY_LEN(rows); i++)
		for (size_t k = 0; k < ARRAY_LEN(targets); k++) {
			struct reply_seen reply =
				ask(http, "GET", targets[k], rows[i].fields);
			ck_assert_msg(reply.status == rows[i].status, "%s%s: %d",
				rows[i].fields, targets[k], reply.status);
			ck_assert(
				field_is(&reply, "WWW-Authenticate", rows[i].challenge));
			if (reply.status != 200)
				ck_assert(field_is(&reply, "Cache-Control", "no-store"));
			ck_assert_ptr_null(strstr(reply.body, TOKEN));
			reply_release(&reply);
		}
	leave(http);
}
END

TEST(what_holds_no_data_needs_no_token_and_all_else_does)
{
	static const struct {
		const char *method, *target;
		int status;
	} rows[] = {
		{"GET", "/", 200},
		{"GET", "/page.js", 200},
		{"GET", "/page.css", 200},
		{"GET", "/nothing", 401},
		{"GET", "/v1/", 401},
		{"HEAD", "/v1/now", 401},
		{"OPTIONS", "/v1/now", 204},
		{"GET", "/v1/now?access_token=" TOKEN, 401},
		{"POST", "/v1/now", 405},
	};
	struct http *http = serve_guarded();
	for (size_t i = 0; i < ARRAY_LEN(rows); i++) {
		struct reply_seen reply = ask(http, rows[i].method, rows[i].target, "");
		ck_assert_msg(reply.status == rows[i].status, "%s %s: %d", rows[i].method,
			rows[i].target, reply.status);
		reply_release(&reply);
	}
	leave(http);
}
END

	static int
	status_with(struct http *http, const char *token)
{
	_cleanup_(freep) char *fields = xasprintf("Authorization: Bearer %s\r\n", token);
	struct reply_seen reply = ask(http, "GET", "/v1/now", fields);
	int status = reply.status;
	reply_release(&reply);
	return status;
}

TEST(a_reload_takes_new_tokens_and_a_bad_file_changes_nothing)
{
	struct http *http = serve_guarded();
	ck_assert_int_eq(status_with(http, TOKEN), 200);
	write_tokens(OTHER "\nnewtokennewtoken\n", 0600);
	ck_assert_int_eq(status_with(http, TOKEN), 200);
	ck_assert_int_eq(http_swap(http, &plant, PLANT_STORE), 0);
	ck_assert_int_eq(status_with(http, TOKEN), 401);
	ck_assert_int_eq(status_with(http, OTHER), 200);
	ck_assert_int_eq(status_with(http, "newtokennewtoken"), 200);
	log_set_handler(keep_line, NULL);
	write_tokens(TOKEN "\n", 0644);
	ck_assert_int_eq(http_swap(http, &plant, PLANT_STORE), -EINVAL);
	ck_assert_ptr_nonnull(strstr(last_line, "chmod 640"));
	write_tokens("secret\n", 0600);
	ck_assert_int_eq(http_swap(http, &plant, PLANT_STORE), -EINVAL);
	ck_assert_ptr_nonnull(strstr(last_line, "line 1: a token of 6 characters"));
	ck_assert_ptr_null(strstr(last_line, "secret"));
	log_set_handler(NULL, NULL);
	ck_assert_int_eq(status_with(http, TOKEN), 401);
	ck_assert_int_eq(status_with(http, OTHER), 200);
	plant.http.token_file = NULL;
	ck_assert_int_eq(http_swap(http, &plant, PLANT_STORE), 0);
	ck_assert_int_eq(status_with(http, TOKEN), 200);
	leave(http);
}
END

TEST(without_good_tokens_nothing_is_served)
{
	struct http *http = NULL;
	write_tokens("\n", 0600);
	plant.http.token_file = token_path;
	log_set_handler(keep_line, NULL);
	ck_assert_int_eq(http_open(&plant, NULL, fill_live, NULL, &http), -EINVAL);
	ck_assert_ptr_nonnull(strstr(last_line, "holds no token"));
	ck_assert_int_eq(unlink(token_path), 0);
	ck_assert_int_eq(http_open(&plant, NULL, fill_live, NULL, &http), -ENOENT);
	ck_assert_ptr_nonnull(strstr(last_line, token_path));
	log_set_handler(NULL, NULL);
	free(token_path);
}
END

TEST(names_that_are_configured_are_answered_at_any_port)
{
	static const struct {
		const char *fields;
		int status;
	} rows[] = {
		{"Host: cellar.example\r\n", 200},
		{"Host: CELLAR.example:8443\r\n", 200},
		{"Host: 192.0.2.7\r\n", 200},
		{"Host: [2001:db8::7]:1\r\n", 200},
		{"Host: example\r\n", 421},
		{"Host: cellar.example.\r\n", 421},
		{"Host: a.cellar.example\r\n", 421},
		{"Host: cellar.example.evil.example\r\n", 421},
		{"Host: 192.0.2.8\r\n", 421},
	};
	char *hosts[] = {(char[]){"cellar.example"}, (char[]){"192.0.2.7"},
		(char[]){"2001:db8::7"}};
	plant.http.hosts = hosts;
	plant.http.host_count = ARRAY_LEN(hosts);
	struct http *http = serve();
	for (size_t i = 0; i < ARRAY_LEN(rows); i++) {
		_cleanup_(freep) char *text = xasprintf("GET /v1/now HTTP/1.1\r\n"
							"Connection: close\r\n%s\r\n",
			rows[i].fields);
		struct reply_seen reply = exchange(http, text, strlen(text));
		ck_assert_msg(reply.status == rows[i].status, "%s: %d", rows[i].fields,
			reply.status);
		reply_release(&reply);
	}
	leave(http);
}
END

	static struct http *
	serve_to_pages(void)
{
	static char first[] = "https://wall.example", second[] = "http://wall:3000";
	static char *origins[] = {first, second};
	plant.http.origins = origins;
	plant.http.origin_count = ARRAY_LEN(origins);
	return serve();
}

TEST(pages_that_are_configured_may_read_and_others_may_not_ask)
{
	static const struct {
		const char *fields;
		int status;
		const char *allowed;
	} rows[] = {
		{"", 200, NULL},
		{"Origin: https://wall.example\r\n", 200, "https://wall.example"},
		{"Origin: http://wall:3000\r\n", 200, "http://wall:3000"},
		{"Origin: http://localhost\r\n", 200, NULL},
		{"Origin: https://localhost\r\n", 200, NULL},
		{"Origin: http://localhost:3000\r\n", 403, NULL},
		{"Origin: http://wall.example\r\n", 403, NULL},
		{"Origin: https://wall.example:8443\r\n", 403, NULL},
		{"Origin: https://wall.example.evil.example\r\n", 403, NULL},
		{"Origin: https://wall.example/\r\n", 403, NULL},
		{"Origin: ftp://localhost\r\n", 403, NULL},
		{"Origin: localhost\r\n", 403, NULL},
		{"Origin: null\r\n", 403, NULL},
		{"Origin: \r\n", 403, NULL},
		{"Sec-Fetch-Site: cross-site\r\nSec-Fetch-Mode: no-cors\r\n", 403, NULL},
		{"Sec-Fetch-Site: same-site\r\nSec-Fetch-Mode: no-cors\r\n", 403, NULL},
		{"Sec-Fetch-Site: cross-site\r\nSec-Fetch-Mode: navigate\r\n"
		 "Sec-Fetch-Dest: iframe\r\n",
			403, NULL},
		{"Sec-Fetch-Site: cross-site\r\nSec-Fetch-Mode: navigate\r\n"
		 "Sec-Fetch-Dest: document\r\n",
			200, NULL},
		{"Sec-Fetch-Site: same-origin\r\nSec-Fetch-Mode: cors\r\n", 200, NULL},
		{"Sec-Fetch-Site: none\r\nSec-Fetch-Mode: navigate\r\n", 200, NULL},
		{"Sec-Fetch-Site: cross-site\r\nSec-Fetch-Mode: cors\r\n"
		 "Origin: https://wall.example\r\n",
			200, "https://wall.example"},
	};
	struct http *http = serve_to_pages();
	for (size_t i = 0; i < ARRAY_LEN(rows); i++) {
		struct reply_seen reply = ask(http, "GET", "/v1/now", rows[i].fields);
		_cleanup_(freep) char *vary = field(&reply, "Vary");
		ck_assert_msg(reply.status == rows[i].status, "%s: %d", rows[i].fields,
			reply.status);
		ck_assert(
			field_is(&reply, "Access-Control-Allow-Origin", rows[i].allowed));
		ck_assert(field_is(&reply, "Access-Control-Allow-Credentials", NULL));
		ck_assert(vary && strstr(vary, "Origin"));
		reply_release(&reply);
	}
	leave(http);
}
END

TEST(a_page_that_may_ask_reads_problems_and_304_as_well)
{
	struct http *http = serve_to_pages();
	/* It is over, so that its answer is kept. */
	static const char past[] = "/v1/energy?from=1767222000&to=1767308400";
	static const char from[] = "Origin: https://wall.example\r\n";
	fake.generations = true;
	struct reply_seen bad = ask(http, "GET", "/v1/energy?step=1h", from);
	ck_assert_int_eq(bad.status, 400);
	ck_assert(field_is(&bad, "Access-Control-Allow-Origin", "https://wall.example"));
	struct reply_seen good = ask(http, "GET", past, from);
	_cleanup_(freep) char *tag = field(&good, "ETag");
	_cleanup_(freep) char *fields = xasprintf("%sIf-None-Match: %s\r\n", from, tag);
	struct reply_seen same = ask(http, "GET", past, fields);
	ck_assert_int_eq(same.status, 304);
	ck_assert(field_is(&same, "Access-Control-Allow-Origin", "https://wall.example"));
	/* What one page may read is not another's. */
	struct reply_seen plain = ask(http, "GET", past, "");
	ck_assert_int_eq(plain.status, 200);
	ck_assert(field_is(&plain, "Access-Control-Allow-Origin", NULL));
	reply_release(&bad);
	reply_release(&good);
	reply_release(&same);
	reply_release(&plain);
	leave(http);
}
END

TEST(a_browser_is_told_beforehand_how_a_page_may_ask)
{
	static const char asked[] = "Access-Control-Request-Method: GET\r\n"
				    "Access-Control-Request-Headers: authorization\r\n";
	_cleanup_(freep) char *ours =
		xasprintf("Origin: https://wall.example\r\n%s", asked);
	_cleanup_(freep) char *theirs =
		xasprintf("Origin: https://evil.example\r\n%s", asked);
	write_tokens(TOKEN "\n", 0600);
	plant.http.token_file = token_path;
	struct http *http = serve_to_pages();
	struct reply_seen may = ask(http, "OPTIONS", "/v1/energy", ours);
	ck_assert_int_eq(may.status, 204);
	ck_assert(field_is(&may, "Access-Control-Allow-Origin", "https://wall.example"));
	ck_assert(field_is(&may, "Access-Control-Allow-Methods", "GET, HEAD"));
	ck_assert(field_is(&may, "Access-Control-Allow-Headers",
		"Authorization, If-None-Match, Last-Event-ID"));
	ck_assert(field_is(&may, "Access-Control-Max-Age", "600"));
	struct reply_seen may_not = ask(http, "OPTIONS", "/v1/energy", theirs);
	ck_assert_int_eq(may_not.status, 403);
	ck_assert(field_is(&may_not, "Access-Control-Allow-Origin", NULL));
	ck_assert(field_is(&may_not, "Access-Control-Allow-Methods", NULL));
	reply_release(&may);
	reply_release(&may_not);
	leave(http);
}
END

TEST(a_target_of_8192_bytes_is_taken_and_a_longer_one_is_414)
{
	struct http *http = serve();
	for (size_t length = 8192; length <= 8193; length++) {
		char *target = xmalloc(length + 1);
		memset(target, 'a', length);
		memcpy(target, "/v1/now?a=", 10);
		target[length] = '\0';
		struct reply_seen reply = ask(http, "GET", target, "");
		ck_assert_msg(reply.status == (length == 8192 ? 400 : 414), "%zu: %d",
			length, reply.status);
		reply_release(&reply);
		free(target);
	}
	leave(http);
}
END

	/* Whether the server has closed it, once it had some turns. */
	static bool
	is_closed(struct http *http, int fd)
{
	char bytes[8192];
	ssize_t n = -1;
	for (int turns = 0; turns < 20; turns++) {
		http_turn(http);
		do
			n = recv(fd, bytes, sizeof(bytes), MSG_DONTWAIT);
		while (n > 0);
		if (n == 0 || errno != EAGAIN)
			return true;
	}
	return false;
}

TEST(a_header_that_drips_is_given_ten_seconds)
{
	static const char start[] = "GET /v1/now HTTP/1.1\r\nHost: localhost\r\nX: ";
	struct http *http = serve();
	int fd = client_connect(http, NULL);
	client_send(fd, start, sizeof(start) - 1);
	ck_assert(!is_closed(http, fd));
	for (int s = 0; s < 9; s++) {
		clock_test_advance(1000);
		client_send(fd, "x", 1);
		ck_assert_msg(!is_closed(http, fd), "after %d s", s + 1);
		ck_assert_int_le(http_timeout_ms(http), 10000 - 1000 * (s + 1));
	}
	clock_test_advance(1000);
	ck_assert(is_closed(http, fd));
	(void)close(fd);
	leave(http);
}
END

TEST(a_second_request_may_wait_and_then_has_as_long)
{
	static const char text[] = "GET /v1/now HTTP/1.1\r\nHost: localhost\r\n\r\n";
	struct http *http = serve();
	int fd = client_connect(http, NULL);
	for (int i = 0; i < 3; i++) {
		client_send(fd, text, sizeof(text) - 1);
		ck_assert(!is_closed(http, fd));
		clock_test_advance(24999);
		ck_assert(!is_closed(http, fd));
	}
	clock_test_advance(1);
	ck_assert(is_closed(http, fd));
	(void)close(fd);
	leave(http);
}
END

	/* The server's end of a connection, which is in this process, too. */
	static int
	server_end(int fd)
{
	struct sockaddr_in own = {0}, peer = {0};
	socklen_t size = sizeof(own);
	ck_assert_int_eq(getsockname(fd, (struct sockaddr *)&own, &size), 0);
	for (int other = 3; other < 1024; other++) {
		size = sizeof(peer);
		if (getpeername(other, (struct sockaddr *)&peer, &size) == 0 &&
			peer.sin_port == own.sin_port)
			return other;
	}
	ck_abort_msg("no such connection");
	return -1;
}

TEST(a_reader_that_takes_an_answer_byte_by_byte_has_a_minute_and_some)
{
	static const char text[] =
		"GET /v1/series?channels=flow_temperature&step=PT15M&from=1767222000&to="
		"1782860400 HTTP/1.1\r\nHost: localhost\r\n\r\n";
	const int small = 4096;
	struct http *http = serve();
	struct reply_seen whole = ask(http, "GET",
		"/v1/series?channels=flow_temperature&step=PT15M&from=1767222000&to="
		"1782860400",
		"");
	int64_t most_ms = 60000 + (int64_t)whole.length / 16;
	reply_release(&whole);
	int fd = client_connect(http, NULL);
	http_turn(http);
	/* Else all of it would be in the system's hands at once. */
	ck_assert_int_eq(setsockopt(fd, SOL_SOCKET, SO_RCVBUF, &small, sizeof(small)), 0);
	ck_assert_int_eq(
		setsockopt(server_end(fd), SOL_SOCKET, SO_SNDBUF, &small, sizeof(small)),
		0);
	client_send(fd, text, sizeof(text) - 1);
	for (int turns = 0; turns < 20; turns++)
		http_turn(http);
	clock_test_advance(most_ms - 10);
	http_turn(http);
	int left_ms = http_timeout_ms(http);
	ck_assert_msg(left_ms > 0 && left_ms <= 10, "%d", left_ms);
	clock_test_advance(10);
	http_turn(http);
	/* What was on its way is still there; the end of it comes too early. */
	size_t taken = 0;
	char bytes[8192];
	for (ssize_t n = 1; n > 0;) {
		n = recv(fd, bytes, sizeof(bytes), 0);
		taken += n > 0 ? (size_t)n : 0;
	}
	ck_assert_uint_lt(taken, (size_t)(most_ms - 60000) * 16);
	(void)close(fd);
	leave(http);
}
END

TESTS(data_want_a_token_and_say_how, what_holds_no_data_needs_no_token_and_all_else_does,
	a_reload_takes_new_tokens_and_a_bad_file_changes_nothing,
	without_good_tokens_nothing_is_served,
	names_that_are_configured_are_answered_at_any_port,
	pages_that_are_configured_may_read_and_others_may_not_ask,
	a_page_that_may_ask_reads_problems_and_304_as_well,
	a_browser_is_told_beforehand_how_a_page_may_ask,
	a_target_of_8192_bytes_is_taken_and_a_longer_one_is_414,
	a_header_that_drips_is_given_ten_seconds,
	a_second_request_may_wait_and_then_has_as_long,
	a_reader_that_takes_an_answer_byte_by_byte_has_a_minute_and_some)
