/*
 * The subscriber at a real broker: mosquitto, started by each test on a free port of the
 * loopback with a configuration of its own, ended by its process id.
 */
#include "broker.h"

static const char *const all[] = {"#"};

TEST(messages_arrive_as_they_were_sent)
{
	static char big[100000];
	struct link link;
	int port = free_port();
	link_init(&link, port);
	pid_t broker = broker_start(link.dir, port, NULL);
	memset(big, 'x', sizeof(big));
	int64_t before_ms = clock_now_ms(), before_boot_ms = clock_boot_ms();
	link_start(&link, all, 1);
	struct record r = expect_record(&link, RECORD_SUBSCRIBED);
	ck_assert(r.t_ms >= before_ms && r.t_ms <= clock_now_ms());
	ck_assert(r.boot_ms >= before_boot_ms && r.boot_ms <= clock_boot_ms());

	publish(port, "house/flow", "21.37", 5, false);
	expect_message(&link, "house/flow", "21.37", 5, false);
	publish(port, "house/bytes", "\0\xff\0", 3, false);
	expect_message(&link, "house/bytes", "\0\xff\0", 3, false);
	publish(port, "house/empty", NULL, 0, false);
	expect_message(&link, "house/empty", NULL, 0, false);
	publish(port, "/", big, PAYLOAD_MOST, false);
	expect_message(&link, "/", big, PAYLOAD_MOST, false);
	publish(port, "house/big", big, sizeof(big), false);
	expect_message(&link, "house/big", big, PAYLOAD_MOST + 1, false);
	publish(port, "house/kept", "1", 1, true); /* live to those already subscribed */
	expect_message(&link, "house/kept", "1", 1, false);

	struct subscriber_state s = expect_state(&link, LINK_SUBSCRIBED, "");
	ck_assert_uint_eq(s.messages, 6);
	ck_assert_uint_eq(s.connects, 1);
	ck_assert_str_eq(s.cause, "");
	ck_assert(s.last_message_ms >= before_ms && s.last_message_ms <= clock_now_ms());
	broker_stop(broker, SIGTERM);
	link_release(&link);
}
END

TEST(retained_messages_are_told_apart)
{
	static const char *const filters[] = {"house/+/state", "other/kept"};
	struct link link;
	int port = free_port();
	link_init(&link, port);
	pid_t broker = broker_start(link.dir, port, NULL);
	publish(port, "house/valve/state", "open", 4, true);
	publish(port, "elsewhere", "no", 2, true);
	link_start(&link, filters, 2);
	/* A broker may send before it has answered all subscriptions (MQTT 3.1.1, 3.8.4).
	 */
	struct record a = next_record(&link), b = next_record(&link);
	const struct record *message = a.kind == RECORD_MESSAGE ? &a : &b;
	ck_assert_int_eq(a.kind + b.kind, RECORD_SUBSCRIBED + RECORD_MESSAGE);
	ck_assert(message->retained);
	ck_assert_mem_eq(message->payload, "open", 4);
	publish(port, "house/valve/state", "shut", 4, true);
	expect_message(&link, "house/valve/state", "shut", 4, false);
	link_release(&link);
	broker_stop(broker, SIGTERM);
}
END

TEST(an_absent_broker_is_named_once_and_waited_for)
{
	struct link link;
	int port = free_port();
	link_init(&link, port);
	_cleanup_(freep) char *cause =
		xasprintf("127.0.0.1 port %d: Connection refused", port);
	link_start(&link, all, 1);
	struct subscriber_state s = expect_state(&link, LINK_WAITING, cause);
	int64_t first_ms = s.since_ms;
	while (s.since_ms == first_ms) /* it tries again, and fails again */
		s = expect_state(&link, LINK_WAITING, cause);
	ck_assert_uint_eq(s.connects, 0);
	ck_assert_uint_eq(said("Connection refused"), 1);
	pid_t broker = broker_start(link.dir, port, NULL);
	expect_record(&link, RECORD_SUBSCRIBED);
	publish(port, "a", "1", 1, false);
	expect_message(&link, "a", "1", 1, false);
	/* The message is in the tail before its thread says that all is well. */
	for (int i = 0; i < 500 && said("good again; failures: ") == 0; i++)
		(void)usleep(10000);
	ck_assert_uint_eq(said("good again; failures: "), 1);
	ck_assert_uint_eq(said("Connection refused"), 2); /* the count names it */
	link_release(&link);
	broker_stop(broker, SIGTERM);
}
END

TEST(a_broker_that_dies_and_returns_is_subscribed_again)
{
	struct link link;
	int port = free_port();
	link_init(&link, port);
	pid_t broker = broker_start(link.dir, port, NULL);
	link_start(&link, all, 1);
	expect_record(&link, RECORD_SUBSCRIBED);
	for (int signal = SIGKILL, i = 1; i <= 2; i++, signal = SIGTERM) {
		broker_stop(broker, signal);
		struct record lost = expect_record(&link, RECORD_LOST);
		ck_assert_ptr_nonnull(
			memmem(lost.payload, lost.payload_length, "closed", 6));
		broker = broker_start(link.dir, port, NULL);
		expect_record(&link, RECORD_SUBSCRIBED);
		publish(port, "a", "1", 1, false);
		expect_message(&link, "a", "1", 1, false);
		struct subscriber_state s =
			expect_state(&link, LINK_SUBSCRIBED, "closed");
		ck_assert_uint_eq(s.connects, (uint64_t)i + 1);
	}
	link_release(&link);
	broker_stop(broker, SIGTERM);
}
END

TEST(a_password_is_read_for_each_connection)
{
	static char user[] = "boiler", word[] = "correct horse",
		    tool[] = "mosquitto_passwd";
	struct link link;
	int port = free_port();
	link_init(&link, port);
	_cleanup_(freep) char *users = xasprintf("%s/users", link.dir);
	_cleanup_(freep) char *secret = xasprintf("%s/secret", link.dir);
	_cleanup_(freep) char *more =
		xasprintf("allow_anonymous false\npassword_file %s", users);
	pid_t maker = spawn((char *[]){
		tool, (char[]){"-b"}, (char[]){"-c"}, users, user, word, NULL});
	int status;
	ck_assert_int_eq(waitpid(maker, &status, 0), maker);
	ck_assert_int_eq(status, 0);
	pid_t broker = broker_start(link.dir, port, more);
	link.broker.user = user;
	link.broker.password_file = secret;
	link_start(&link, all, 1);
	expect_state(&link, LINK_WAITING, "secret: No such file");
	write_text(secret, "wrong horse\nsecond line\n");
	expect_state(&link, LINK_WAITING, "not authorised");
	write_text(secret, "correct horse\r\nsecond line\n");
	expect_record(&link, RECORD_SUBSCRIBED);
	ck_assert_uint_eq(said("horse"), 0);
	ck_assert_uint_eq(said("not authorised"), 1);
	link_release(&link);
	broker_stop(broker, SIGTERM);
}
END

TEST(an_unknown_host_is_named)
{
	static char host[] =
		"no-such-host.invalid"; /* RFC 2606, section 2: never resolves */
	struct link link;
	link_init(&link, 1883);
	link.broker.host = host;
	link_start(&link, all, 1);
	struct subscriber_state s =
		expect_state(&link, LINK_WAITING, "no-such-host.invalid port 1883: ");
	ck_assert_uint_gt(strlen(s.cause), strlen("no-such-host.invalid port 1883: "));
	link_release(&link);
}
END

TEST(a_full_tail_refuses_and_says_so_once)
{
	struct link link;
	int port = free_port();
	link_init(&link, port);
	stamper_free(link.stamper);
	tail_close(link.tail);
	link.tail = tail_opened(link.dir, 0, 1000);
	link.stamper = stamper_new(link.tail, 0, 0);
	pid_t broker = broker_start(link.dir, port, NULL);
	link_start(&link, all, 1);
	expect_record(&link, RECORD_SUBSCRIBED);
	_cleanup_(freep) char *big = xcalloc(1, 2000);
	publish(port, "a", big, 2000, false);
	publish(port, "a", big, 2000, false);
	publish(port, "b", "1", 1, false);
	struct record refused = expect_record(&link, RECORD_REFUSED);
	ck_assert_int_eq(refused.number[0], 2);
	expect_message(&link, "b", "1", 1, false);
	expect_said("accepted again, 2 were not");
	ck_assert_uint_eq(said("accepted again"), 1);
	ck_assert_uint_eq(said("messages are not accepted: No space"), 1);
	struct subscriber_state s = expect_state(&link, LINK_SUBSCRIBED, "");
	ck_assert_uint_eq(s.messages, 1);
	link_release(&link);
	broker_stop(broker, SIGTERM);
}
END

TEST(clients_of_one_id_that_evict_each_other_say_so)
{
	struct link a, b;
	int port = free_port();
	link_init(&a, port);
	link_init(&b, port);
	pid_t broker = broker_start(a.dir, port, NULL);
	link_start(&a, all, 1);
	link_start(&b, all, 1);
	expect_state(
		&a, LINK_WAITING, "closed by the broker; perhaps another client has");
	link_release(&b);
	link_release(&a);
	broker_stop(broker, SIGTERM);
}
END

TESTS(messages_arrive_as_they_were_sent, retained_messages_are_told_apart,
	an_absent_broker_is_named_once_and_waited_for,
	a_broker_that_dies_and_returns_is_subscribed_again,
	a_password_is_read_for_each_connection, an_unknown_host_is_named,
	a_full_tail_refuses_and_says_so_once,
	clients_of_one_id_that_evict_each_other_say_so)
