/*
 * The HTTP face as a server: methods, paths, Host, parameters, problems, caching, hostile
 * and idle clients. What the resources answer is in check_http_answers.c.
 *
 * Outside: RFC 9110 (methods, conditional requests), RFC 9112 (targets, Host, bodies),
 * RFC 9457 (problems); all from memory.
 */
#include "http_client.h"

static void check_problem(const cJSON *json, int status)
{
	ck_assert_str_eq(text_at(json, "type"), "about:blank");
	ck_assert_int_eq((int)number_at(json, "status"), status);
	ck_assert_uint_gt(strlen(text_at(json, "title")), 0);
	ck_assert_uint_gt(strlen(text_at(json, "detail")), 0);
}

TEST(the_index_lists_every_resource_and_its_parameters)
{
	struct http *http = serve();
	cJSON *json = get_json(http, "/", 200);
	const cJSON *list = at(json, "resources"), *row;
	int energy = 0, runs = 0;
	cJSON_ArrayForEach(row, list)
	{
		const char *path = text_at(row, "path");
		if (strcmp(path, "/v1/energy") == 0)
			energy += at(row, "parameters/boundary") != NULL;
		runs += strcmp(path, "/v1/runs") == 0;
	}
	ck_assert_int_eq(energy, 1);
	ck_assert_int_eq(runs, 1);
	cJSON_Delete(json);
	http_close(http);
}
END

TEST(an_unknown_path_is_a_404_that_lists_the_resources)
{
	static const char *const paths[] = {"/v1", "/v1/", "/v1/now/", "//v1/now",
		"/V1/now", "/v1/../v1/now", "/../../etc/passwd", "/v1/%6eow",
		"/v1/now%2f", "/favicon.ico", "/v1/now;x=1", "/%2e%2e/%2e%2e/etc/passwd",
		"/v1\\now"};
	struct http *http = serve();
	cJSON *index = get_json(http, "/", 200);
	int count = cJSON_GetArraySize(at(index, "resources"));
	cJSON_Delete(index);
	for (size_t i = 0; i < ARRAY_LEN(paths); i++) {
		cJSON *json = get_json(http, paths[i], 404);
		check_problem(json, 404);
		ck_assert_int_eq(cJSON_GetArraySize(at(json, "resources")), count);
		cJSON_Delete(json);
	}
	http_close(http);
}
END

TEST(other_methods_are_405_and_name_the_allowed_ones)
{
	static const char *const methods[] = {"POST", "PUT", "DELETE", "PATCH", "TRACE",
		"CONNECT", "get", "PROPFIND", "X"};
	struct http *http = serve();
	for (size_t i = 0; i < ARRAY_LEN(methods); i++) {
		struct reply_seen reply = ask(http, methods[i], "/v1/now", "");
		ck_assert_msg(reply.status == 405, "%s: %d", methods[i], reply.status);
		ck_assert(field_is(&reply, "Allow", "GET, HEAD, OPTIONS"));
		ck_assert(field_is(&reply, "Content-Type", "application/problem+json"));
		reply_release(&reply);
	}
	http_close(http);
}
END

TEST(options_answer_what_is_allowed_and_no_body)
{
	static const struct {
		const char *target;
		int status;
	} rows[] = {{"/v1/energy", 204}, {"*", 204}, {"/nothing", 404}};
	struct http *http = serve();
	for (size_t i = 0; i < ARRAY_LEN(rows); i++) {
		struct reply_seen reply = ask(http, "OPTIONS", rows[i].target, "");
		ck_assert_int_eq(reply.status, rows[i].status);
		if (rows[i].status == 204) {
			ck_assert(field_is(&reply, "Allow", "GET, HEAD, OPTIONS"));
			ck_assert_uint_eq(reply.length, 0);
		}
		reply_release(&reply);
	}
	http_close(http);
}
END

TEST(head_has_the_fields_of_get_and_no_body)
{
	struct http *http = serve();
	struct reply_seen get = ask(http, "GET", "/v1/energy", "");
	struct reply_seen head = ask(http, "HEAD", "/v1/energy", "");
	static const char *const names[] = {
		"Content-Length", "Content-Type", "ETag", "Cache-Control"};
	ck_assert_int_eq(get.status, 200);
	ck_assert_int_eq(head.status, 200);
	ck_assert_uint_gt(get.length, 0);
	ck_assert_uint_eq(head.length, 0);
	for (size_t i = 0; i < ARRAY_LEN(names); i++) {
		char *value = field(&get, names[i]);
		ck_assert_ptr_nonnull(value);
		ck_assert(field_is(&head, names[i], value));
		free(value);
	}
	reply_release(&get);
	reply_release(&head);
	http_close(http);
}
END

TEST(an_answer_that_did_not_change_is_304)
{
	struct http *http = serve();
	struct reply_seen first = ask(http, "GET", "/v1/energy", "");
	char *tag = field(&first, "ETag");
	ck_assert_ptr_nonnull(tag);
	ck_assert_msg(tag[0] == '"', "%s is no strong tag", tag);
	char *lists[] = {xasprintf("If-None-Match: %s\r\n", tag),
		xasprintf("If-None-Match: \"other\", W/%s , \"more\"\r\n", tag),
		xstrdup("If-None-Match: *\r\n")};
	for (size_t i = 0; i < ARRAY_LEN(lists); i++) {
		struct reply_seen reply = ask(http, "GET", "/v1/energy", lists[i]);
		ck_assert_msg(reply.status == 304, "%s: %d", lists[i], reply.status);
		ck_assert_uint_eq(reply.length, 0);
		ck_assert(field_is(&reply, "ETag", tag));
		reply_release(&reply);
	}
	fake.version++;
	struct reply_seen changed = ask(http, "GET", "/v1/energy", lists[0]);
	ck_assert_int_eq(changed.status, 200);
	ck_assert(!field_is(&changed, "ETag", tag));
	struct reply_seen other = ask(http, "GET", "/v1/energy?step=PT1H", lists[0]);
	ck_assert_int_eq(other.status, 200);
	reply_release(&first);
	reply_release(&changed);
	reply_release(&other);
	for (size_t i = 0; i < ARRAY_LEN(lists); i++)
		free(lists[i]);
	free(tag);
	http_close(http);
}
END

TEST(open_spans_are_kept_for_half_a_step_at_most)
{
	static const struct {
		const char *target, *rule;
	} rows[] = {
		{"/v1/energy?step=PT1M&from=1767870000", "private, max-age=30"},
		{"/v1/energy", "private, max-age=30"},
		{"/v1/energy?from=1767222000&to=1767308400", "private, max-age=60"},
		{"/v1/now", "private, no-cache"},
		{"/v1/health", "no-store"},
		{"/v1/energy?x", "no-store"},
	};
	struct http *http = serve();
	for (size_t i = 0; i < ARRAY_LEN(rows); i++) {
		struct reply_seen reply = ask(http, "GET", rows[i].target, "");
		ck_assert_msg(field_is(&reply, "Cache-Control", rows[i].rule), "%s: %s",
			rows[i].target, reply.head);
		reply_release(&reply);
	}
	http_close(http);
}
END

TEST(wrong_parameters_are_named_with_what_is_allowed)
{
	static const struct {
		const char *target, *parameter, *given;
		bool allowed;
	} rows[] = {
		{"/v1/now?a=1", "a", "1", true},
		{"/v1/energy?frm=1", "frm", "1", true},
		{"/v1/energy?from=1767222000&from=1767222060", "from", "1767222060",
			false},
		{"/v1/energy?step=PT1H&step=PT1H", "step", "PT1H", false},
		{"/v1/energy?from=2026-01-01T00:00:00", "from", "2026-01-01T00:00:00",
			true},
		{"/v1/energy?from=2026-01-01", "from", "2026-01-01", true},
		{"/v1/energy?from=yesterday", "from", "yesterday", true},
		{"/v1/energy?from=", "from", "", true},
		{"/v1/energy?from", "from", "", true},
		{"/v1/energy?from=-1", "from", "-1", true},
		{"/v1/energy?from=1969-12-31T23:59:59Z", "from", "1969-12-31T23:59:59Z",
			true},
		{"/v1/energy?to=1767222000000", "to", "1767222000000", true},
		{"/v1/energy?to=99999999999999999999", "to", "99999999999999999999",
			true},
		{"/v1/energy?from=1.5", "from", "1.5", true},
		{"/v1/energy?from=1767308400&to=1767222000", "from", "1767308400", false},
		{"/v1/energy?from=1767222000&to=1767222059", "from", "1767222000", false},
		{"/v1/energy?step=PT90S", "step", "PT90S", true},
		{"/v1/energy?step=PT0S", "step", "PT0S", true},
		{"/v1/energy?step=P2D", "step", "P2D", true},
		{"/v1/energy?step=P1DT1H", "step", "P1DT1H", true},
		{"/v1/energy?step=P1Y1M", "step", "P1Y1M", true},
		{"/v1/energy?step=1h", "step", "1h", true},
		{"/v1/energy?boundary=H9", "boundary", "H9", true},
		{"/v1/energy?by=day", "by", "day", true},
		{"/v1/series", "channels", NULL, true},
		{"/v1/series?channels=", "channels", "", true},
		{"/v1/series?channels=valve,none", "channels", "none", true},
		{"/v1/series?channels=valve,valve", "channels", "valve", false},
		{"/v1/series?channels=valve,", "channels", "", true},
		{"/v1/series?channels=valve&boundary=H4", "boundary", "H4", true},
	};
	struct http *http = serve();
	for (size_t i = 0; i < ARRAY_LEN(rows); i++) {
		cJSON *json = get_json(http, rows[i].target, 400);
		check_problem(json, 400);
		ck_assert_str_eq(text_at(json, "parameter"), rows[i].parameter);
		if (rows[i].given)
			ck_assert_str_eq(text_at(json, "given"), rows[i].given);
		else
			ck_assert(null_at(json, "given"));
		ck_assert_msg(cJSON_IsArray(at(json, "allowed")) == rows[i].allowed, "%s",
			rows[i].target);
		cJSON_Delete(json);
	}
	http_close(http);
}
END

TEST(a_local_time_without_offset_is_refused_by_that_name)
{
	struct http *http = serve();
	cJSON *json = get_json(http, "/v1/energy?from=2026-01-01T00:00:00", 400);
	ck_assert_ptr_nonnull(strstr(text_at(json, "detail"), "without offset"));
	cJSON_Delete(json);
	http_close(http);
}
END

TEST(too_many_values_name_the_finest_step_that_fits)
{
	struct http *http = serve();
	/* Half a year of minutes has 260,640 rows of five columns. */
	const char *target = "/v1/series?channels=flow_temperature&step=PT1M"
			     "&from=1767222000&to=1782860400";
	cJSON *json = get_json(http, target, 400);
	ck_assert_str_eq(text_at(json, "parameter"), "step");
	const char *fits = text_at(json, "allowed/0");
	ck_assert_str_eq(fits, "PT15M");
	char *again = xasprintf("/v1/series?channels=flow_temperature&step=%s"
				"&from=1767222000&to=1782860400",
		fits);
	cJSON *answer = get_json(http, again, 200);
	ck_assert_int_gt(cJSON_GetArraySize(at(answer, "columns/t")), 10000);
	cJSON_Delete(answer);
	cJSON_Delete(json);
	free(again);
	http_close(http);
}
END

TEST(a_slow_query_is_503_with_retry_after_and_a_broken_store_500)
{
	struct http *http = serve();
	fake.result = QUERY_TOO_SLOW;
	struct reply_seen slow = ask(http, "GET", "/v1/energy", "");
	ck_assert_int_eq(slow.status, 503);
	ck_assert(field_is(&slow, "Retry-After", "5"));
	fake.result = -EIO;
	cJSON *json = get_json(http, "/v1/series?channels=valve", 500);
	check_problem(json, 500);
	cJSON_Delete(json);
	reply_release(&slow);
	http_close(http);
}
END

TEST(hosts_other_than_this_one_are_refused)
{
	static const struct {
		const char *fields;
		int status;
	} rows[] = {
		{"Host: localhost\r\n", 200},
		{"Host: LocalHost:8720\r\n", 200},
		{"Host: 127.0.0.1:8720\r\n", 200},
		{"Host: 127.1.2.3\r\n", 200},
		{"Host: [::1]:8720\r\n", 200},
		{"Host: evil.example\r\n", 421},
		{"Host: 127.0.0.1.evil.example\r\n", 421},
		{"Host: localhost.evil.example\r\n", 421},
		{"Host: localhost@evil.example\r\n", 421},
		{"Host: 192.0.2.1\r\n", 421},
		{"Host: localhost:80x\r\n", 421},
		{"Host: [::1\r\n", 421},
		{"Host: \r\n", 421},
		{"", 400},
		{"Host: localhost\r\nHost: evil.example\r\n", 400},
	};
	struct http *http = serve();
	for (size_t i = 0; i < ARRAY_LEN(rows); i++) {
		char *text = xasprintf(
			"GET / HTTP/1.1\r\nConnection: close\r\n%s\r\n", rows[i].fields);
		struct reply_seen reply = exchange(http, text, strlen(text));
		ck_assert_msg(reply.status == rows[i].status, "%s: %d", rows[i].fields,
			reply.status);
		free(text);
		reply_release(&reply);
	}
	http_close(http);
}
END

TEST(a_target_in_absolute_form_is_judged_by_its_own_host)
{
	struct http *http = serve();
	struct reply_seen own = ask(http, "GET", "http://127.0.0.1:1/v1/now", "");
	struct reply_seen other = ask(http, "GET", "http://evil.example/v1/now", "");
	struct reply_seen none = ask(http, "GET", "ftp://localhost/v1/now", "");
	ck_assert_int_eq(own.status, 200);
	ck_assert_int_eq(other.status, 421);
	ck_assert_int_eq(none.status, 400);
	reply_release(&own);
	reply_release(&other);
	reply_release(&none);
	http_close(http);
}
END

TEST(requests_with_a_body_are_refused_unread)
{
	static const char *const bodies[] = {
		"Content-Length: 5\r\n\r\nhello",
		"Content-Length: 999999999\r\n\r\nhello",
		"Transfer-Encoding: chunked\r\n\r\n5\r\nhello\r\n0\r\n\r\n",
		"Content-Length: 5\r\nTransfer-Encoding: chunked\r\n\r\n0\r\n\r\n",
	};
	struct http *http = serve();
	for (size_t i = 0; i < ARRAY_LEN(bodies); i++) {
		char *text = xasprintf(
			"GET /v1/now HTTP/1.1\r\nHost: localhost\r\n%s", bodies[i]);
		struct reply_seen reply = exchange(http, text, strlen(text));
		ck_assert_msg(reply.status == 413 || reply.status == 400, "%s: %d",
			bodies[i], reply.status);
		ck_assert(field_is(&reply, "Connection", "close"));
		free(text);
		reply_release(&reply);
	}
	struct reply_seen empty = ask(http, "GET", "/v1/now", "Content-Length: 0\r\n");
	ck_assert_int_eq(empty.status, 200);
	reply_release(&empty);
	http_close(http);
}
END

TEST(control_characters_and_broken_escapes_are_400)
{
	static const char *const targets[] = {"/v1/now%00", "/v1/now%00/x", "/v1/%0a",
		"/%7F", "/v1/now?a%00=1", "/v1/energy?from=%00",
		"/v1/energy?from=1%0d%0aX:%20y", "/v1/%", "/v1/%4", "/v1/%zz",
		"/v1/now\t", "/v1/now\x01", "v1/now", "*"};
	struct http *http = serve();
	for (size_t i = 0; i < ARRAY_LEN(targets); i++) {
		struct reply_seen reply = ask(http, "GET", targets[i], "");
		ck_assert_msg(reply.status == (strcmp(targets[i], "*") == 0 ? 404 : 400),
			"%s: %d", targets[i], reply.status);
		reply_release(&reply);
	}
	http_close(http);
}
END

/* The library takes the target for a text that ends there: what follows must not matter. */
TEST(what_follows_a_raw_zero_byte_reaches_nothing)
{
	static const char bytes[] =
		"GET /nothing\0/../v1/now HTTP/1.1\r\nHost: localhost\r\n"
		"Connection: close\r\n\r\n";
	struct http *http = serve();
	struct reply_seen reply = exchange(http, bytes, sizeof(bytes) - 1);
	ck_assert_msg(reply.status == 0 || reply.status >= 400, "%d", reply.status);
	reply_release(&reply);
	http_close(http);
}
END

TEST(a_huge_target_or_header_is_refused)
{
	struct http *http = serve();
	char *long_text = xmalloc(100001);
	memset(long_text, 'a', 100000);
	long_text[100000] = '\0';
	char *requests[] = {
		xasprintf("GET /%s HTTP/1.1\r\nHost: localhost\r\n\r\n", long_text),
		xasprintf(
			"GET / HTTP/1.1\r\nHost: localhost\r\nX: %s\r\n\r\n", long_text),
		xstrdup(long_text)};
	for (size_t i = 0; i < ARRAY_LEN(requests); i++) {
		struct reply_seen reply =
			exchange(http, requests[i], strlen(requests[i]));
		ck_assert_msg(
			reply.status == 0 || (reply.status >= 400 && reply.status < 500),
			"%zu: %d", i, reply.status);
		reply_release(&reply);
		free(requests[i]);
	}
	struct reply_seen after = ask(http, "GET", "/", "");
	ck_assert_int_eq(after.status, 200);
	reply_release(&after);
	free(long_text);
	http_close(http);
}
END

TEST(many_parameters_are_refused)
{
	struct http *http = serve();
	struct buffer target = {0};
	buffer_add_text(&target, "/v1/now?");
	for (int i = 0; i < 100; i++)
		buffer_addf(&target, "a%d=1&&", i);
	struct reply_seen reply = ask(http, "GET", buffer_text(&target), "");
	ck_assert_int_eq(reply.status, 400);
	reply_release(&reply);
	buffer_release(&target);
	http_close(http);
}
END

TEST(what_was_given_comes_back_as_valid_json)
{
	struct http *http = serve();
	cJSON *json = get_json(
		http, "/v1/energy?step=%22%5c%ff%c3%a4%ed%a0%80%3cscript%3e", 400);
	ck_assert_str_eq(text_at(json, "given"),
		"\"\\\xef\xbf\xbd\xc3\xa4\xef\xbf\xbd\xef\xbf\xbd\xef\xbf\xbd<script>");
	cJSON_Delete(json);
	http_close(http);
}
END

TEST(one_connection_serves_many_requests)
{
	static const char text[] = "GET /v1/now HTTP/1.1\r\nHost: localhost\r\n\r\n";
	struct http *http = serve();
	int fd = client_connect(http, NULL);
	for (int i = 0; i < 3; i++) {
		char bytes[4096] = "";
		ssize_t n = -1;
		client_send(fd, text, sizeof(text) - 1);
		for (int turns = 0; turns < 1000 && n < 0; turns++) {
			client_turn(http, fd);
			n = recv(fd, bytes, sizeof(bytes) - 1, MSG_DONTWAIT);
		}
		ck_assert_int_gt(n, 0);
		ck_assert_ptr_nonnull(strstr(bytes, "HTTP/1.1 200 OK"));
		ck_assert_ptr_null(strcasestr(bytes, "Connection: close"));
	}
	(void)close(fd);
	http_close(http);
}
END

TEST(idle_sockets_of_one_client_do_not_block_another)
{
	struct http *http = serve();
	int idle[200];
	size_t open = 0;
	for (size_t i = 0; i < ARRAY_LEN(idle); i++) {
		idle[i] = client_connect(http, "127.0.0.2");
		http_turn(http);
	}
	/* All are accepted; those beyond the client's limit are closed again. */
	for (int turns = 0; turns < 300; turns++)
		http_turn(http);
	struct reply_seen reply = ask(http, "GET", "/", "");
	ck_assert_int_eq(reply.status, 200);
	for (size_t i = 0; i < ARRAY_LEN(idle); i++) {
		char byte;
		open += recv(idle[i], &byte, 1, MSG_DONTWAIT) < 0 && errno == EAGAIN;
		(void)close(idle[i]);
	}
	ck_assert_uint_eq(open, 16);
	reply_release(&reply);
	http_close(http);
}
END

TEST(a_reader_that_takes_nothing_does_not_delay_others)
{
	struct http *http = serve();
	static const char text[] =
		"GET /v1/series?channels=flow_temperature&step=PT15M&from=1767222000&to="
		"1782860400 HTTP/1.1\r\nHost: localhost\r\n\r\n";
	const int small = 4096;
	int slow = client_connect(http, NULL);
	ck_assert_int_eq(
		setsockopt(slow, SOL_SOCKET, SO_RCVBUF, &small, sizeof(small)), 0);
	client_send(slow, text, sizeof(text) - 1);
	for (int turns = 0; turns < 20; turns++)
		http_turn(http);
	struct reply_seen reply = ask(http, "GET", "/", "");
	ck_assert_int_eq(reply.status, 200);
	reply_release(&reply);
	(void)close(slow);
	http_close(http);
}
END

TEST(clients_that_leave_early_leave_nothing_behind)
{
	static const char *const parts[] = {"", "G", "GET /v1/now HTTP/1.1\r\n",
		"GET /v1/now HTTP/1.1\r\nHost: localhost\r\n",
		"GET /v1/energy HTTP/1.1\r\nHost: localhost\r\n\r\n"};
	struct http *http = serve();
	for (size_t i = 0; i < ARRAY_LEN(parts); i++) {
		int fd = client_connect(http, NULL);
		client_send(fd, parts[i], strlen(parts[i]));
		client_turn(http, fd);
		(void)close(fd);
		for (int turns = 0; turns < 5; turns++)
			http_turn(http);
	}
	int left = client_connect(http, NULL);
	client_send(left, parts[2], strlen(parts[2]));
	client_turn(http, left);
	http_turn(http);
	http_close(http); /* AddressSanitizer tells of requests that were not freed */
	(void)close(left);
}
END

TEST(a_failure_to_listen_names_address_port_and_remedy)
{
	struct http *first = serve(), *second = NULL;
	const struct {
		const char *address;
		int port, error;
		const char *says;
	} rows[] = {
		{"127.0.0.1", http_port(first), -EADDRINUSE, "another [http] port"},
		{"192.0.2.1", 0, -EACCES, "127.0.0.1"},
		{"0.0.0.0", 0, -EACCES, "127.0.0.1"},
		{"::", 0, -EACCES, "127.0.0.1"},
		{"house.example", 0, -EINVAL, "IP address"},
	};
	log_set_handler(keep_line, NULL);
	for (size_t i = 0; i < ARRAY_LEN(rows); i++) {
		struct config other = plant;
		char *address = xstrdup(rows[i].address);
		char *port = xasprintf("port %d", rows[i].port);
		other.http =
			(struct http_config){.address = address, .port = rows[i].port};
		last_line[0] = '\0';
		ck_assert_int_eq(
			http_open(&other, NULL, fill_live, NULL, &second), rows[i].error);
		ck_assert_ptr_nonnull(strstr(last_line, rows[i].address));
		ck_assert_ptr_nonnull(strstr(last_line, port));
		ck_assert_msg(strstr(last_line, rows[i].says) != NULL, "%s", last_line);
		free(address);
		free(port);
	}
	log_set_handler(NULL, NULL);
	http_close(first);
}
END

TESTS(the_index_lists_every_resource_and_its_parameters,
	an_unknown_path_is_a_404_that_lists_the_resources,
	other_methods_are_405_and_name_the_allowed_ones,
	options_answer_what_is_allowed_and_no_body, head_has_the_fields_of_get_and_no_body,
	an_answer_that_did_not_change_is_304, open_spans_are_kept_for_half_a_step_at_most,
	wrong_parameters_are_named_with_what_is_allowed,
	a_local_time_without_offset_is_refused_by_that_name,
	too_many_values_name_the_finest_step_that_fits,
	a_slow_query_is_503_with_retry_after_and_a_broken_store_500,
	hosts_other_than_this_one_are_refused,
	a_target_in_absolute_form_is_judged_by_its_own_host,
	requests_with_a_body_are_refused_unread, control_characters_and_broken_escapes_are_400,
	what_follows_a_raw_zero_byte_reaches_nothing, a_huge_target_or_header_is_refused,
	many_parameters_are_refused, what_was_given_comes_back_as_valid_json,
	one_connection_serves_many_requests, idle_sockets_of_one_client_do_not_block_another,
	a_reader_that_takes_nothing_does_not_delay_others,
	clients_that_leave_early_leave_nothing_behind,
	a_failure_to_listen_names_address_port_and_remedy)
