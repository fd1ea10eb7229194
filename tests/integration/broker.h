/*
 * Debian's mosquitto for tests: started on a port of the loopback with a configuration of
 * its own, ended by its process id; and a publisher.
 */
#ifndef BROKER_H
#define BROKER_H

#include "link.h"

#include <mosquitto.h>
#include <signal.h>
#include <sys/prctl.h>
#include <sys/wait.h>

#define BROKER       "mosquitto"
#define BROKER_PATHS "/usr/sbin:/usr/local/sbin:/usr/bin:/usr/local/bin"

static inline pid_t spawn(char *const *argv)
{
	pid_t child = fork();
	ck_assert_int_ge(child, 0);
	if (child > 0)
		return child;
	int fd = open("/dev/null", O_RDWR);
	(void)prctl(PR_SET_PDEATHSIG, SIGKILL); /* it must not outlive a failed test */
	(void)dup2(fd, STDOUT_FILENO);
	(void)dup2(fd, STDERR_FILENO); /* a broker that talks is no failure */
	(void)setenv("PATH", BROKER_PATHS, 1);
	(void)execvp(argv[0], argv);
	_exit(127);
}

static inline bool answers(int port)
{
	struct sockaddr_in a = {.sin_family = AF_INET,
		.sin_port = htons((uint16_t)port),
		.sin_addr = {htonl(INADDR_LOOPBACK)}};
	int fd = socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0);
	bool connected = connect(fd, (struct sockaddr *)&a, sizeof(a)) == 0;
	ck_assert_int_eq(close(fd), 0);
	return connected;
}

/* Starts a broker and waits until it answers; `more` are further lines of configuration.
 */
static inline pid_t broker_start(const char *dir, int port, const char *more)
{
	_cleanup_(freep) char *path = xasprintf("%s/broker.conf", dir);
	FILE *f = fopen(path, "we");
	ck_assert_ptr_nonnull(f);
	(void)fprintf(f,
		"listener %d 127.0.0.1\nlog_dest none\nset_tcp_nodelay true\n%s%s\n",
		port, geteuid() == 0 ? "user root\n" : "",
		more ? more : "allow_anonymous true");
	ck_assert_int_eq(fclose(f), 0);
	char *argv[] = {(char[]){BROKER}, (char[]){"-c"}, path, NULL};
	pid_t child = spawn(argv);
	int64_t until_ms = clock_mono_ms() + WAIT_MOST_MS;
	while (!answers(port)) {
		ck_assert_msg(clock_mono_ms() < until_ms, "the broker does not answer");
		ck_assert_msg(
			waitpid(child, NULL, WNOHANG) == 0, "the broker did not start");
		(void)poll(NULL, 0, 5); /* there is no descriptor for a port */
	}
	return child;
}

static inline void broker_stop(pid_t broker, int signal)
{
	ck_assert_int_eq(kill(broker, signal), 0);
	ck_assert_int_eq(waitpid(broker, NULL, 0), broker);
}

static inline void note_sent(struct mosquitto *client, void *context, int id)
{
	(void)client;
	(void)id;
	*(bool *)context = true;
}

/* Publishes at QoS 1 and waits until the broker has it. */
static inline void publish(
	int port, const char *topic, const void *payload, int length, bool retain)
{
	bool sent = false;
	(void)mosquitto_lib_init(); /* counted; once more does no harm */
	struct mosquitto *client = mosquitto_new(NULL, true, &sent);
	mosquitto_publish_callback_set(client, note_sent);
	ck_assert_int_eq(mosquitto_connect(client, "127.0.0.1", port, 60), 0);
	ck_assert_int_eq(
		mosquitto_publish(client, NULL, topic, length, payload, 1, retain), 0);
	while (!sent)
		ck_assert_int_eq(mosquitto_loop(client, 1000, 1), 0);
	(void)mosquitto_disconnect(client); /* all is sent */
	mosquitto_destroy(client);
}

static inline void expect_message(struct link *link, const char *topic,
	const void *payload, size_t length, bool retained)
{
	struct record r = expect_record(link, RECORD_MESSAGE);
	ck_assert_uint_eq(r.topic_length, strlen(topic));
	ck_assert_mem_eq(r.topic, topic, r.topic_length);
	ck_assert_uint_eq(r.payload_length, length);
	if (length > 0)
		ck_assert_mem_eq(r.payload, payload, length);
	ck_assert_int_eq(r.retained, retained);
}

static inline void write_text(const char *path, const char *text)
{
	FILE *f = fopen(path, "we");
	ck_assert_ptr_nonnull(f);
	ck_assert_int_ge(fputs(text, f), 0);
	ck_assert_int_eq(fclose(f), 0);
}

#endif
