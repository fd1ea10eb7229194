/*
 * The verb listen: messages of the broker, for a while, or of an archive, into a survey;
 * then the list of what there is and a proposal for the configuration.
 *
 * It keeps nothing, publishes nothing, and has a client identifier of its own, so that a
 * daemon that runs meanwhile is not evicted. The span begins with the subscription;
 * SIGINT and SIGTERM end it early with what there is so far. A broker that cannot be
 * reached at all ends the verb; one that is lost on the way is tried again until the span
 * is over.
 */
#include "verbs.h"

#include "derive/input.h"
#include "ingest/connection.h"

#include <heatbook/archive.h>
#include <heatbook/clock.h>
#include <heatbook/decoder.h>
#include <heatbook/guess.h>
#include <heatbook/options.h>
#include <heatbook/printable.h>

#include <errno.h>
#include <mosquitto.h>
#include <string.h>
#include <sys/epoll.h>
#include <sys/timerfd.h>
#include <unistd.h>

#define SPAN_DEFAULT "60 s"
#define SPAN_MOST_MS (7 * MS_PER_DAY)
#define AGAIN_MS     1000 /* between two tries of a lost broker */

struct listening {
	const struct config *config;
	struct survey *survey;
	const char *const *filters;
	size_t filter_count;
	int64_t span_ms;
	int signal_fd, timer_fd, stop_fd; /* stop_fd is readable when either is */
	bool subscribed;                  /* ever */
	uint64_t rejected;                /* lines of an archive */
};

/* ---- from the broker ---- */

static void on_connected(void *context)
{
	(void)context; /* the subscription is what counts */
}

static void on_subscribed(void *context)
{
	struct listening *l = context;
	const struct broker_config *b = &l->config->broker;
	if (l->subscribed)
		return;
	l->subscribed = true;
	const struct itimerspec once = {.it_value = {.tv_sec = l->span_ms / 1000,
						.tv_nsec = l->span_ms % 1000 * 1000000}};
	(void)timerfd_settime(l->timer_fd, 0, &once, NULL); /* fails when misused */
	(void)fprintf(stderr,
		"listening at %s port %d for %.0f s; Ctrl-C ends it with what there is\n",
		b->host, b->port, (double)l->span_ms / 1000);
}

static void on_refused(void *context, size_t filter, const char *why)
{
	const struct listening *l = context;
	(void)fprintf(stderr, "heatbookd: subscription to %s is refused %s\n",
		l->filters[filter], why);
}

static void on_message(void *context, const struct mosquitto_message *message)
{
	struct listening *l = context;
	size_t length = message->payloadlen > 0 ? (size_t)message->payloadlen : 0;
	const struct record record = {.kind = RECORD_MESSAGE,
		.t_ms = clock_now_ms(),
		.boot_ms = -1,
		.retained = message->retain,
		.topic = message->topic,
		.topic_length = strlen(message->topic),
		.payload = length > 0 ? message->payload : (const unsigned char *)"",
		.payload_length = length > PAYLOAD_MOST + 1 ? PAYLOAD_MOST + 1 : length};
	survey_take(l->survey, &record);
}

/* Signals and the timer behind one descriptor. */
static int open_stop(struct listening *l)
{
	struct epoll_event event = {.events = EPOLLIN};
	int r = verb_signals(0, &l->signal_fd);
	if (r != 0)
		return r;
	l->timer_fd = timerfd_create(CLOCK_MONOTONIC, TFD_CLOEXEC | TFD_NONBLOCK);
	l->stop_fd = epoll_create1(EPOLL_CLOEXEC);
	if (l->timer_fd < 0 || l->stop_fd < 0 ||
		epoll_ctl(l->stop_fd, EPOLL_CTL_ADD, l->signal_fd, &event) < 0 ||
		epoll_ctl(l->stop_fd, EPOLL_CTL_ADD, l->timer_fd, &event) < 0)
		return -errno;
	return 0;
}

static void close_stop(struct listening *l)
{
	const int fds[] = {l->stop_fd, l->timer_fd, l->signal_fd};
	for (size_t i = 0; i < ARRAY_LEN(fds); i++)
		if (fds[i] >= 0)
			(void)close(fds[i]); /* nothing was written to them */
}

static int unreachable(const char *cause)
{
	(void)fprintf(stderr,
		"heatbookd: broker: %s; check [broker] host, port, user and "
		"password_file, and that the broker runs and lets this machine in\n",
		cause);
	return EXIT_FAILED;
}

static int hear(struct listening *l, struct connection *connection)
{
	char cause[CAUSE_MOST] = "";
	for (;;) {
		int end = connection_run(connection, cause);
		if (end == CONNECTION_STOPPED)
			return EXIT_DONE;
		if (!l->subscribed)
			return unreachable(cause);
		(void)fprintf(stderr, "heatbookd: broker: %s; trying again\n", cause);
		if (connection_wait(connection, AGAIN_MS))
			return EXIT_DONE;
	}
}

static int listen_broker(struct listening *l)
{
	static const struct connection_events events = {
		on_connected, on_subscribed, on_refused, on_message, NULL};
	struct connection *connection = NULL;
	struct broker_config broker = l->config->broker;
	/* At most 23 bytes: MQTT 3.1.1, 3.1.3.1. */
	_cleanup_(freep) char *id = xasprintf("heatbook-%ld", (long)getpid());
	if (!broker.host)
		return verb_misused("listen needs [broker] host in the configuration, or "
				    "--archive FILE");
	broker.client_id = id;
	int r = open_stop(l);
	if (r == 0)
		r = connection_new(&broker, l->filters, l->filter_count, NULL, l->stop_fd,
			&events, l, &connection);
	r = r == 0 ? hear(l, connection) : verb_failed(strerror(-r));
	connection_free(connection);
	close_stop(l);
	return r;
}

/* ---- from an archive ---- */

static bool is_wanted(const struct listening *l, const struct record *record)
{
	for (size_t i = 0; i < l->filter_count; i++)
		if (topic_matches(l->filters[i], record->topic, record->topic_length))
			return true;
	return false;
}

static void reject(struct listening *l, const char *path, uint64_t number,
	const char *why, const char *line, size_t length)
{
	struct buffer text = {0};
	if (l->rejected++ > 0)
		return;
	text_printable(&text, line, length, 60);
	(void)fprintf(stderr, "heatbookd: %s:%llu: %s: %s\n", path,
		(unsigned long long)number, why, buffer_text(&text));
	buffer_release(&text);
}

/* 0, or the negative code of input_line(). */
static int read_lines(struct listening *l, const char *path, FILE *f)
{
	struct input *in = input_new(f);
	struct archive archive = {0};
	const char *line;
	size_t length;
	int found;
	for (uint64_t number = 1; (found = input_line(in, &line, &length)) != INPUT_END;
		number++) {
		struct record record;
		const char *why = "is longer than any line of an archive";
		if (found < 0)
			break;
		int r = found == INPUT_LONG
				? ARCHIVE_REJECTED
				: archive_line(&archive, line, length, &record, &why);
		if (r == 0 && record.kind == RECORD_MESSAGE && is_wanted(l, &record))
			survey_take(l->survey, &record);
		else if (r == ARCHIVE_REJECTED)
			reject(l, path, number, why, line, length);
	}
	archive_release(&archive);
	input_free(in);
	return found < 0 ? found : 0;
}

static int listen_archive(struct listening *l, const char *path)
{
	bool input = strcmp(path, "-") == 0;
	FILE *f = input ? fdopen(dup(STDIN_FILENO), "re") : fopen(path, "re");
	int r = f ? read_lines(l, input ? "standard input" : path, f) : -errno;
	if (r < 0) {
		(void)fprintf(stderr, "heatbookd: %s: %s\n", path,
			r == -EBADMSG ? "what it is packed in is damaged or cut"
				      : strerror(-r));
		return EXIT_FAILED;
	}
	if (l->rejected > 1)
		(void)fprintf(stderr, "heatbookd: %llu lines rejected, the first above\n",
			(unsigned long long)l->rejected);
	return l->rejected ? EXIT_REJECTED : EXIT_DONE;
}

/* ---- the answer ---- */

static int print_answer(const struct listening *l, const struct verb_call *call)
{
	struct buffer out = {0};
	struct guesses *guesses = guesses_new(l->survey, l->config);
	if (call->json) {
		guesses_json(guesses, l->survey, l->config, &out);
	} else if (call->propose) {
		guesses_propose(guesses, l->config, &out);
	} else {
		guesses_list(guesses, l->survey, l->config, &out);
		buffer_add_text(&out, "\n");
		guesses_propose(guesses, l->config, &out);
	}
	size_t written = fwrite(out.data, 1, out.length, stdout);
	bool good = written == out.length && fflush(stdout) == 0;
	guesses_free(guesses);
	buffer_release(&out);
	return good ? EXIT_DONE : verb_failed("standard output cannot be written");
}

/* Reads one word of the command line as an option of that type would be read. */
static int read_word(
	enum option_type type, const char *text, void *field, const char *what)
{
	const struct option like = {
		.type = type, .least = 100, .most = (double)SPAN_MOST_MS, .offset = 0};
	char why[256];
	if (option_read(&like, text, field, why) == 0)
		return 0;
	(void)fprintf(stderr, "heatbookd: %s%s: %s\n", what, text, why);
	return -EINVAL;
}

static int read_filters(struct listening *l, const struct verb_call *call)
{
	for (int i = 0; i < call->count; i++) {
		_cleanup_(freep) char *filter = NULL;
		if (read_word(OPTION_FILTER, call->operands[i], &filter, "filter ") != 0)
			return -EINVAL;
	}
	if (call->count > 0) {
		l->filters = (const char *const *)call->operands;
		l->filter_count = (size_t)call->count;
	}
	return 0;
}

int verb_listen(const struct verb_call *call)
{
	static const char *const everything[] = {"#"};
	struct listening l = {.config = call->config,
		.filters = everything,
		.filter_count = 1,
		.signal_fd = -1,
		.timer_fd = -1,
		.stop_fd = -1};
	if (read_word(OPTION_SPAN, call->span ? call->span : SPAN_DEFAULT, &l.span_ms,
		    "--for ") != 0 ||
		read_filters(&l, call) != 0)
		return EXIT_USAGE;
	if (call->json && call->propose)
		return verb_misused("listen takes --json or --propose, not both");
	l.survey = survey_new(call->config);
	int r = call->archive ? listen_archive(&l, call->archive) : listen_broker(&l);
	if (r == EXIT_DONE || r == EXIT_REJECTED) {
		int printed = print_answer(&l, call);
		r = printed == EXIT_DONE ? r : printed;
	}
	survey_free(l.survey);
	return r;
}
