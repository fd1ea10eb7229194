/*
 * Who may ask over HTTP, as [http] says it: what is guarded, what is refused, what is
 * remarked. Forms of origins: RFC 6454, 6.2 (from memory).
 */
#include "configured.h"

#include <sys/stat.h>

#define P "[plant]\nzone = UTC\n[http]\n"

/* A file of one token that owner and group may read. */
static char *token_file(mode_t mode)
{
	char *path = program_path("tokens");
	write_file(path, "0123456789abcdef\n");
	ck_assert_int_eq(chmod(path, mode), 0);
	return path;
}

/* The first fault of a text, or NULL where it is taken; to be freed. */
static char *fault_of(const char *text)
{
	struct config *config = NULL;
	struct faults faults = {0};
	int r = config_parse("t.conf", text, strlen(text), &config, &faults, NULL);
	ck_assert((r == 0) == (faults.count == 0));
	char *fault = faults.count ? xstrdup(faults.lines[0]) : NULL;
	faults_release(&faults);
	if (r == 0)
		config_free(config);
	return fault;
}

TEST(nothing_is_served_beyond_this_host_unguarded)
{
	static const char *const everywhere[] = {"0.0.0.0", "::", "192.168.1.20",
		"10.0.0.1", "fe80::1", "2001:db8::20", "128.0.0.1", "::ffff:127.0.0.1"};
	static const char *const here[] = {
		"127.0.0.1", "127.255.0.3", "::1", "localhost"};
	_cleanup_(freep) char *path = token_file(0640);
	for (size_t i = 0; i < ARRAY_LEN(everywhere) + ARRAY_LEN(here); i++) {
		bool wide = i < ARRAY_LEN(everywhere);
		const char *address =
			wide ? everywhere[i] : here[i - ARRAY_LEN(everywhere)];
		char *texts[] = {xasprintf(P "address = %s\n", address),
			xasprintf(P "address = %s\nopen = no\n", address),
			xasprintf(P "address = %s\nopen = yes\n", address),
			xasprintf(P "address = %s\ntoken_file = %s\n", address, path)};
		for (size_t k = 0; k < ARRAY_LEN(texts); k++) {
			_cleanup_(freep) char *fault = fault_of(texts[k]);
			bool refused = wide && k < 2;
			ck_assert_msg((fault != NULL) == refused, "%s: %s", texts[k],
				fault ? fault : "taken");
			ck_assert(!refused || strstr(fault, "t.conf:4: [http] address"));
			ck_assert(!refused || strstr(fault, "token_file"));
			ck_assert(!refused || strstr(fault, "open = yes"));
			free(texts[k]);
		}
	}
	ck_assert_int_eq(unlink(path), 0);
}
END

TEST(tokens_that_go_through_the_network_in_the_clear_are_remarked)
{
	static const char *const addresses[] = {"192.168.1.20", "127.0.0.1"};
	_cleanup_(freep) char *path = token_file(0600);
	for (size_t i = 0; i < ARRAY_LEN(addresses); i++) {
		struct faults notes = {0};
		size_t told = 0;
		_cleanup_(freep) char *text = xasprintf(
			P "address = %s\ntoken_file = %s\n", addresses[i], path);
		_cleanup_(config_freep) struct config *c =
			configured_noting(text, &notes);
		ck_assert_str_eq(c->http.token_file, path);
		for (size_t k = 0; k < notes.count; k++)
			told += strstr(notes.lines[k],
					"test.conf:4: [http] tokens and answers") != NULL;
		ck_assert_uint_eq(told, i == 0);
		faults_release(&notes);
	}
	ck_assert_int_eq(unlink(path), 0);
}
END

TEST(a_token_file_that_others_may_read_is_a_fault)
{
	_cleanup_(freep) char *path = token_file(0644);
	_cleanup_(freep) char *text = xasprintf(P "token_file = %s\n", path);
	_cleanup_(freep) char *fault = fault_of(text);
	ck_assert_ptr_nonnull(fault);
	ck_assert_msg(
		strstr(fault, "t.conf:4: [http] token_file = ") != NULL, "%s", fault);
	ck_assert_msg(strstr(fault, "chmod 640") != NULL, "%s", fault);
	ck_assert_ptr_null(strstr(fault, "0123456789abcdef"));
	ck_assert_int_eq(unlink(path), 0);
}
END

TEST(hosts_and_origins_are_kept_in_small_letters)
{
	_cleanup_(config_freep) struct config *c = configured(P
		"hosts = Cellar.Example, cellar, 192.168.1.20, 2001:db8::1\n"
		"origins = https://Wall.example, http://wall:3000, http://[::1]:8080\n");
	static const char *const hosts[] = {
		"cellar.example", "cellar", "192.168.1.20", "2001:db8::1"};
	static const char *const origins[] = {
		"https://wall.example", "http://wall:3000", "http://[::1]:8080"};
	ck_assert_uint_eq(c->http.host_count, ARRAY_LEN(hosts));
	ck_assert_uint_eq(c->http.origin_count, ARRAY_LEN(origins));
	for (size_t i = 0; i < ARRAY_LEN(hosts); i++)
		ck_assert_str_eq(c->http.hosts[i], hosts[i]);
	for (size_t i = 0; i < ARRAY_LEN(origins); i++)
		ck_assert_str_eq(c->http.origins[i], origins[i]);
}
END

/* Such a text would be compared with what no client sends. */
TEST(what_no_client_sends_is_a_fault)
{
	static const struct {
		const char *line, *said;
	} rows[] = {
		{"hosts = *", "'*' must be a name"},
		{"hosts = cellar:8720", "'cellar:8720' must be a name"},
		{"hosts = http://cellar", "must be a name"},
		{"hosts = a, , b", "an item of the list is empty"},
		{"hosts = a b", "must be a name"},
		{"origins = *", "'*' must be scheme and host"},
		{"origins = null", "must be scheme and host"},
		{"origins = wall.example", "must be scheme and host"},
		{"origins = ftp://wall.example", "must be scheme and host"},
		{"origins = https://wall.example/", "must be scheme and host"},
		{"origins = https://wall.example:443",
			"no port where it is the scheme's"},
		{"origins = http://wall.example:80", "no port where it is the scheme's"},
		{"origins = http://wall.example:", "must be scheme and host"},
		{"origins = http://wall.example:x", "must be scheme and host"},
		{"origins = http://:80", "must be scheme and host"},
		{"origins = http://[::1", "must be scheme and host"},
		{"origins = http://", "must be scheme and host"},
		{"origins = http://me@wall.example", "must be scheme and host"},
		{"connections = 0", "must be 1 to 512"},
		{"connections = 4\nconnections_per_client = 5",
			"must not be more than connections, 4"},
		{"connections = 8\nstreams = 8", "must be less than connections, 8"},
		{"streams = 0", "must be 1 to 256"},
		{"requests_per_client = 0", "must be 1 to 1000000"},
		{"open = maybe", "must be yes or no"},
		{"token_file = /nowhere/tokens", "No such file"},
		{"token_file = /dev/null", "/dev/null: is no plain file"},
	};
	for (size_t i = 0; i < ARRAY_LEN(rows); i++) {
		_cleanup_(freep) char *text = xasprintf(P "%s\n", rows[i].line);
		_cleanup_(freep) char *fault = fault_of(text);
		ck_assert_msg(fault != NULL, "%s is taken", rows[i].line);
		ck_assert_msg(strstr(fault, rows[i].said) != NULL, "%s: %s", rows[i].line,
			fault ? fault : "");
	}
}
END

TEST(with_a_token_file_nothing_is_open)
{
	_cleanup_(freep) char *path = token_file(0600);
	_cleanup_(freep) char *text = xasprintf(P "open = yes\ntoken_file = %s\n", path);
	_cleanup_(freep) char *fault = fault_of(text);
	ck_assert_ptr_nonnull(fault);
	ck_assert_ptr_nonnull(strstr(fault, "with a token_file nothing is open"));
	ck_assert_int_eq(unlink(path), 0);
}
END

TESTS(nothing_is_served_beyond_this_host_unguarded,
	tokens_that_go_through_the_network_in_the_clear_are_remarked,
	a_token_file_that_others_may_read_is_a_fault,
	hosts_and_origins_are_kept_in_small_letters, what_no_client_sends_is_a_fault,
	with_a_token_file_nothing_is_open)
