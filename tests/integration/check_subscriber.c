/*
 * The subscriber at a real broker: mosquitto, started by each test on a free port of the
 * loopback with a configuration of its own, ended by its process id.
 */
#include "broker.h"

#include <glob.h>

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

	/* Writes the broker's file of users. */
	static void
	set_password(char *users, char *user, const char *password)
{
	_cleanup_(freep) char *word = xstrdup(password);
	pid_t maker = spawn((char *[]){(char[]){"mosquitto_passwd"}, (char[]){"-b"},
		(char[]){"-c"}, users, user, word, NULL});
	int status;
	ck_assert_int_eq(waitpid(maker, &status, 0), maker);
	ck_assert_int_eq(status, 0);
}

TEST(a_password_is_read_for_each_connection)
{
	static char user[] = "boiler";
	struct link link;
	int port = free_port();
	link_init(&link, port);
	_cleanup_(freep) char *users = xasprintf("%s/users", link.dir);
	_cleanup_(freep) char *secret = xasprintf("%s/secret", link.dir);
	_cleanup_(freep) char *more =
		xasprintf("allow_anonymous false\npassword_file %s", users);
	set_password(users, user, "correct horse");
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
	/* A new one at both ends, while the connection stands. */
	set_password(users, user, "battery staple");
	write_text(secret, "battery staple\n");
	broker_stop(broker, SIGTERM);
	expect_record(&link, RECORD_LOST);
	broker = broker_start(link.dir, port, more);
	expect_record(&link, RECORD_SUBSCRIBED);
	ck_assert_uint_eq(said("staple"), 0);
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

TEST(wildcards_choose_alike_by_both_protocols)
{
	/* MQTT 3.1.1, 4.7.1: + is one level, # the rest and its parent. */
	static const char *const filters[] = {"house/+/power", "plant/#"};
	for (int p = BROKER_MQTT_311; p <= BROKER_MQTT_5; p++) {
		struct link link;
		int port = free_port();
		link_init(&link, port);
		pid_t broker = broker_start(link.dir, port, NULL);
		publish(port, "plant/kept", "1", 1, true);
		link.broker.protocol = (enum broker_protocol)p;
		link_start(&link, filters, 2);
		struct record a = next_record(&link), b = next_record(&link);
		ck_assert_int_eq(a.kind + b.kind, RECORD_SUBSCRIBED + RECORD_MESSAGE);
		ck_assert((a.kind == RECORD_MESSAGE ? a : b).retained);
		publish(port, "house/1/power", "2", 1, false);
		publish(port, "house/1/2/power", "no", 2, false);
		publish(port, "house/power", "no", 2, false);
		publish(port, "plant", "3", 1, false);
		publish(port, "plant/a/b", "4", 1, false);
		publish(port, "plants", "no", 2, false);
		publish(port, "plant/", NULL, 0, false);
		expect_message(&link, "house/1/power", "2", 1, false);
		expect_message(&link, "plant", "3", 1, false);
		expect_message(&link, "plant/a/b", "4", 1, false);
		expect_message(&link, "plant/", NULL, 0, false);
		link_release(&link);
		broker_stop(broker, SIGTERM);
	}
}
END

TEST(with_mqtt_5_a_broker_keeps_what_is_too_large)
{
	static char large[300 << 10];
	struct link link;
	int port = free_port();
	link_init(&link, port);
	pid_t broker = broker_start(link.dir, port, NULL);
	link.broker.protocol = BROKER_MQTT_5;
	link_start(&link, all, 1);
	expect_record(&link, RECORD_SUBSCRIBED);
	publish(port, "a", large, sizeof(large), false);
	publish(port, "b", large, 200 << 10, false);
	expect_message(&link, "b", large, PAYLOAD_MOST + 1, false);
	link_release(&link);
	broker_stop(broker, SIGTERM);
}
END

	/* The access list of mosquitto 2.0.11 takes every subscription and then sends
	 * nothing; its plugin for roles refuses. */
	static char *
	roles_written(const struct link *link)
{
	_cleanup_(freep) char *roles = xasprintf("%s/roles", link->dir);
	write_text(roles,
		"{\"defaultACLAccess\":{\"publishClientSend\":true,"
		"\"publishClientReceive\":true,\"subscribe\":true,"
		"\"unsubscribe\":true},\"clients\":[],\"anonymousGroup\":\"guests\","
		"\"groups\":[{\"groupname\":\"guests\","
		"\"roles\":[{\"rolename\":\"guest\"}]}],"
		"\"roles\":[{\"rolename\":\"guest\",\"acls\":["
		"{\"acltype\":\"subscribeLiteral\",\"topic\":\"secret/#\","
		"\"priority\":0,\"allow\":false}]}]}");
	glob_t found; /* below the name of the machine's kind */
	ck_assert_int_eq(
		glob("/usr/lib/*/mosquitto_dynamic_security.so", 0, NULL, &found), 0);
	char *more = xasprintf("allow_anonymous true\nplugin %s\n"
			       "plugin_opt_config_file %s",
		found.gl_pathv[0], roles);
	globfree(&found);
	return more;
}

TEST(a_filter_that_is_denied_is_named_and_the_others_serve)
{
	static const char *const filters[] = {"plant/#", "secret/#"};
	static const char *const words[] = {
		"subscription to secret/# is refused: the broker says no; its access "
		"list may forbid it",
		"subscription to secret/# is refused: the broker says not authorised"};
	for (int p = BROKER_MQTT_311; p <= BROKER_MQTT_5; p++) {
		struct link link;
		int port = free_port();
		link_init(&link, port);
		_cleanup_(freep) char *more = roles_written(&link);
		pid_t broker = broker_start(link.dir, port, more);
		link.broker.protocol = (enum broker_protocol)p;
		link_start(&link, filters, 2);
		expect_record(&link, RECORD_SUBSCRIBED);
		publish(port, "plant/a", "1", 1, false);
		expect_message(&link, "plant/a", "1", 1, false);
		ck_assert_uint_eq(said(words[p]), 1);
		ck_assert_uint_eq(said("is refused"), 1);
		link_release(&link);
		broker_stop(broker, SIGTERM);
	}
}
END

TEST(a_broker_that_stops_in_its_tracks_is_noticed)
{
	struct link link;
	int port = free_port();
	link_init(&link, port);
	link_hasten();
	pid_t broker = broker_start(link.dir, port, NULL);
	link_pace.silence_ms = 1000;
	link_start(&link, all, 1);
	expect_record(&link, RECORD_SUBSCRIBED);
	ck_assert_int_eq(kill(broker, SIGSTOP), 0);
	struct record lost = expect_record(&link, RECORD_LOST);
	ck_assert_ptr_nonnull(memmem(lost.payload, lost.payload_length,
		"nothing received for 1 s", strlen("nothing received for 1 s")));
	link_pace.answer_ms = 500;
	expect_state(&link, LINK_WAITING, "no answer within 0.5 s");
	ck_assert_int_eq(kill(broker, SIGCONT), 0);
	expect_record(&link, RECORD_SUBSCRIBED);
	publish(port, "a", "1", 1, false);
	expect_message(&link, "a", "1", 1, false);
	link_release(&link);
	broker_stop(broker, SIGTERM);
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

/* MQTT 5.0 has a word for it (3.14.2.1, 0x8E), which mosquitto 2.0.11 does not say; see
 * check_subscriber_hostile.c. */
TEST(clients_of_one_id_that_evict_each_other_say_so)
{
	for (int p = BROKER_MQTT_311; p <= BROKER_MQTT_5; p++) {
		struct link a, b;
		int port = free_port();
		link_init(&a, port);
		link_init(&b, port);
		link_hasten();
		a.broker.protocol = b.broker.protocol = (enum broker_protocol)p;
		pid_t broker = broker_start(a.dir, port, NULL);
		link_start(&a, all, 1);
		link_start(&b, all, 1);
		expect_state(&a, LINK_WAITING,
			"closed by the broker; perhaps another client has the same "
			"client_id");
		link_release(&b);
		link_release(&a);
		broker_stop(broker, SIGTERM);
	}
}
END

TESTS(messages_arrive_as_they_were_sent, retained_messages_are_told_apart,
	an_absent_broker_is_named_once_and_waited_for,
	a_broker_that_dies_and_returns_is_subscribed_again,
	a_password_is_read_for_each_connection, an_unknown_host_is_named,
	wildcards_choose_alike_by_both_protocols,
	with_mqtt_5_a_broker_keeps_what_is_too_large,
	a_filter_that_is_denied_is_named_and_the_others_serve,
	a_broker_that_stops_in_its_tracks_is_noticed,
	a_full_tail_refuses_and_says_so_once,
	clients_of_one_id_that_evict_each_other_say_so)
