/*
 * Limits of a connection's time and of a client's requests, as rules over instants.
 */
#include "unit.h"

#include "../../daemon/http/guests.h"

#include <arpa/inet.h>
#include <errno.h>
#include <netinet/in.h>
#include <sys/socket.h>

#define MINUTE 60000

static bool is_open(int fd)
{
	char byte;
	return recv(fd, &byte, 1, MSG_DONTWAIT) < 0 && errno == EAGAIN;
}

TEST(a_connection_is_cut_when_its_time_is_up_and_no_other)
{
	struct guests *guests = xcalloc(1, sizeof(*guests));
	struct visit *visits[4];
	int pairs[4][2];
	ck_assert_int_eq(guests_next_ms(guests), INT64_MAX);
	for (int i = 0; i < 4; i++) {
		ck_assert_int_eq(socketpair(AF_UNIX, SOCK_STREAM, 0, pairs[i]), 0);
		visits[i] = visit_begin(guests, pairs[i][0], 0);
	}
	ck_assert_int_eq(guests_next_ms(guests), 10000);
	visit_answers(visits[1], 1600000, 5000); /* 60 s and 100 s */
	visit_streams(visits[2]);
	visit_rests(visits[3], 5000); /* 15 s and 10 s */
	ck_assert(!guests_cut(guests, 9999));
	ck_assert(guests_cut(guests, 10000));
	ck_assert_int_eq(guests_next_ms(guests), 30000);
	static const int64_t cut_ms[] = {10000, 165000, INT64_MAX, 30000};
	for (int64_t now_ms = 10000; now_ms < 200000; now_ms += 5000) {
		(void)guests_cut(guests, now_ms);
		for (int i = 0; i < 4; i++)
			ck_assert_msg(is_open(pairs[i][1]) == (now_ms < cut_ms[i]),
				"%d at %lld", i, (long long)now_ms);
	}
	ck_assert_int_eq(guests->cut, 3);
	static const int order[] = {1, 3, 0, 2}; /* middle, first, last, alone */
	for (int i = 0; i < 4; i++) {
		visit_end(visits[order[i]]);
		(void)close(pairs[i][0]);
		(void)close(pairs[i][1]);
	}
	ck_assert_ptr_null(guests->visits);
	free(guests);
}
END

	static int
	ask(struct guests *guests, const char *address, int64_t now_ms)
{
	struct sockaddr_in in = {.sin_family = AF_INET};
	struct sockaddr_in6 in6 = {.sin6_family = AF_INET6};
	if (inet_pton(AF_INET, address, &in.sin_addr) == 1)
		return guests_ask(guests, (struct sockaddr *)&in, 60, now_ms);
	ck_assert_int_eq(inet_pton(AF_INET6, address, &in6.sin6_addr), 1);
	return guests_ask(guests, (struct sockaddr *)&in6, 60, now_ms);
}

TEST(a_client_asks_as_often_as_it_may_and_again_after_the_time_that_is_told)
{
	struct guests *guests = xcalloc(1, sizeof(*guests));
	for (int i = 0; i < 60; i++)
		ck_assert_int_eq(ask(guests, "192.0.2.1", 1000), 0);
	ck_assert_int_eq(ask(guests, "192.0.2.1", 1000), 1);
	ck_assert_int_eq(ask(guests, "192.0.2.1", 1999), 1);
	ck_assert_int_eq(ask(guests, "192.0.2.1", 2000), 0);
	ck_assert_int_eq(ask(guests, "192.0.2.1", 2000), 1);
	ck_assert_int_eq(ask(guests, "192.0.2.2", 2000), 0); /* another is not touched */
	for (int i = 0; i < 60; i++)
		ck_assert_int_eq(ask(guests, "192.0.2.1", 2000 + 10 * MINUTE), 0);
	ck_assert_int_ne(ask(guests, "192.0.2.1", 2000 + 10 * MINUTE), 0);
	free(guests);
}
END

/* A host has a whole network of IPv6 to ask from (RFC 4291, 2.5.1: 64 bits; from memory),
 * and comes as ::ffff:… where the socket takes both kinds (2.5.5.2). */
TEST(what_is_one_client_is_told_by_its_address)
{
	static const struct {
		const char *first, *second;
		bool same;
	} rows[] = {
		{"192.0.2.1", "192.0.2.1", true},
		{"192.0.2.1", "::ffff:192.0.2.1", true},
		{"192.0.2.1", "::ffff:192.0.2.2", false},
		{"2001:db8::1", "2001:db8::ffff:2", true},
		{"2001:db8::1", "2001:db8:0:1::1", false},
	};
	for (size_t i = 0; i < ARRAY_LEN(rows); i++) {
		struct guests *guests = xcalloc(1, sizeof(*guests));
		for (int k = 0; k < 60; k++)
			ck_assert_int_eq(ask(guests, rows[i].first, 0), 0);
		ck_assert_msg((ask(guests, rows[i].second, 0) != 0) == rows[i].same,
			"%s, %s", rows[i].first, rows[i].second);
		free(guests);
	}
}
END

TEST(clients_on_this_host_are_not_counted)
{
	static const char *const here[] = {
		"127.0.0.1", "127.9.9.9", "::1", "::ffff:127.0.0.1"};
	struct guests *guests = xcalloc(1, sizeof(*guests));
	for (size_t i = 0; i < ARRAY_LEN(here); i++)
		for (int k = 0; k < 1000; k++)
			ck_assert_int_eq(ask(guests, here[i], 0), 0);
	ck_assert_uint_eq(guests->client_count, 0);
	free(guests);
}
END

TEST(of_many_clients_the_one_that_was_silent_for_longest_is_forgotten)
{
	struct guests *guests = xcalloc(1, sizeof(*guests));
	char address[32];
	for (int i = 0; i < 60; i++)
		ck_assert_int_eq(ask(guests, "192.0.2.1", 100000), 0);
	for (int i = 0; i < 10 * CLIENTS_MOST; i++) {
		/* Told each time that it is too early, it is never the oldest. */
		ck_assert_int_ne(ask(guests, "192.0.2.1", 100000 + i / 100), 0);
		(void)snprintf(
			address, sizeof(address), "198.51.%d.%d", i / 256, i % 256);
		ck_assert_int_eq(ask(guests, address, 100000 + i / 100), 0);
	}
	ck_assert_uint_eq(guests->client_count, CLIENTS_MOST);
	free(guests);
}
END

TESTS(a_connection_is_cut_when_its_time_is_up_and_no_other,
	a_client_asks_as_often_as_it_may_and_again_after_the_time_that_is_told,
	what_is_one_client_is_told_by_its_address, clients_on_this_host_are_not_counted,
	of_many_clients_the_one_that_was_silent_for_longest_is_forgotten)
