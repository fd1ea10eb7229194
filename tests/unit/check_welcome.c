/* What serve says in its first minutes, by the test clock: own words. */
#include "configured.h"
#include "unit.h"

#include "welcome.h"

#include <heatbook/clock.h>
#include <heatbook/log.h>

#define START_MS INT64_C(1768651200000)

static const char *const three =
	"[broker]\nhost = 127.0.0.1\n"
	"[channel flow_temperature]\ntopic = a/b\npointer = /flow\n"
	"[channel valve]\ntopic = a/valve\n"
	"[channel late]\ntopic = c\npointer = /v\ntime = payload\n"
	"time_pointer = /t\n";

struct house {
	struct config *config;
	struct decoder *decoder;
	struct welcome welcome;
	struct latest latest[CHANNELS_MOST];
	const char *state;
	uint64_t messages, unmatched;
	int asked;
	struct buffer log;
};

static void take_line(enum log_level level, const char *line, void *context)
{
	struct house *h = context;
	(void)level; /* what is said counts */
	buffer_addf(&h->log, "%s\n", line);
}

static void fill(struct live_state *ret, void *context)
{
	struct house *h = context;
	h->asked++;
	*ret = (struct live_state){.started_ms = START_MS,
		.broker_state = h->state,
		.channels = h->latest,
		.messages = h->messages,
		.unmatched = h->unmatched};
}

static struct house *house(const char *text)
{
	struct house *h = xcalloc(1, sizeof(*h));
	h->config = configured(text);
	h->decoder = decoder_new(h->config);
	h->state = "subscribed";
	clock_test_start(START_MS, 1000000);
	log_set_handler(take_line, h);
	return h;
}

static void leave(struct house *h)
{
	log_set_handler(NULL, NULL);
	clock_test_stop();
	decoder_free(h->decoder);
	config_free(h->config);
	buffer_release(&h->log);
	free(h);
}

/* So many seconds of ticks; what was said meanwhile. */
static const char *pass(struct house *h, int seconds)
{
	buffer_reset(&h->log);
	for (int i = 0; i < seconds; i++) {
		welcome_tick(&h->welcome, h->config, h->decoder, fill, h);
		clock_test_advance(1000);
	}
	return buffer_text(&h->log);
}

static void hear(struct house *h, const char *channel, int64_t t_ms)
{
	h->latest[channel_named(h->config, channel)] =
		(struct latest){.state = LATEST_FRESH, .t_ms = t_ms};
}

static void decode(struct house *h, const char *topic, const char *payload)
{
	const struct record record = {.kind = RECORD_MESSAGE,
		.t_ms = START_MS,
		.topic = topic,
		.topic_length = strlen(topic),
		.payload = (const unsigned char *)payload,
		.payload_length = strlen(payload)};
	struct buffer frame = {0};
	struct readings readings = {0};
	record_write(&record, &frame);
	decoder_decode(h->decoder, (const unsigned char *)frame.data, &readings);
	readings_release(&readings);
	buffer_release(&frame);
}

TEST(silent_channels_are_named_after_one_and_ten_minutes_only)
{
	struct house *h = house(three);
	h->messages = 7;
	h->unmatched = 2;
	hear(h, "flow_temperature", START_MS + 5);
	ck_assert_str_eq(pass(h, 58), "");
	const char *said = pass(h, 10);
	ck_assert_ptr_nonnull(strstr(said, "1 min after subscribing: 1 of 3 channels are "
					   "heard, 7 messages, 2 of them concern no "
					   "channel\n"));
	ck_assert_ptr_nonnull(strstr(said, "silent: channel valve (a/valve); a state may "
					   "speak on change only\n"));
	ck_assert_ptr_nonnull(strstr(said, "silent: channel late (c /v)\n"));
	ck_assert_ptr_null(strstr(said, "channel flow_temperature"));
	ck_assert_str_eq(pass(h, 500), "");
	said = pass(h, 60);
	ck_assert_ptr_nonnull(strstr(said, "10 min after subscribing: 1 of 3"));
	ck_assert_str_eq(pass(h, 7200), "");
	leave(h);
}
END

TEST(once_all_are_heard_it_says_so_and_is_silent_for_ever)
{
	struct house *h = house(three);
	hear(h, "flow_temperature", START_MS + 5);
	hear(h, "valve", START_MS + 5);
	ck_assert_str_eq(pass(h, 20), "");
	hear(h, "late", START_MS - 60000); /* its own time lags behind */
	ck_assert_ptr_nonnull(strstr(pass(h, 10), "all 3 channels are heard"));
	int asked = h->asked;
	h->latest[0].state = LATEST_NEVER;
	ck_assert_str_eq(pass(h, 7200), "");
	ck_assert_int_eq(h->asked, asked); /* nor does it cost anything */
	leave(h);
}
END

TEST(what_came_back_from_the_journal_is_not_heard)
{
	struct house *h = house(three);
	hear(h, "flow_temperature", START_MS - 1000);
	hear(h, "valve", START_MS - 1000);
	ck_assert_ptr_nonnull(strstr(pass(h, 70), "0 of 3 channels are heard"));
	leave(h);
}
END

TEST(messages_that_are_not_understood_are_shown_with_reason_and_sample)
{
	struct house *h = house(three);
	for (int i = 0; i < 3; i++)
		decode(h, "a/b", "{\"flow\":\"warm\x1b[2J\"}");
	decode(h, "c", "{\"v\":1");
	const char *said = pass(h, 70);
	ck_assert_ptr_nonnull(strstr(said, "not understood: a/b, 3 times: "));
	ck_assert_ptr_nonnull(strstr(said, "not understood: c, 1 time: "));
	ck_assert_ptr_nonnull(strstr(said, "for example {\"v\":1\n"));
	ck_assert_ptr_null(strchr(said, '\x1b'));
	leave(h);
}
END

TEST(minutes_count_from_the_subscription)
{
	struct house *h = house(three);
	h->state = "waiting";
	ck_assert_str_eq(pass(h, 300), ""); /* the subscriber says why */
	h->state = "subscribed";
	ck_assert_str_eq(pass(h, 50), "");
	ck_assert_ptr_nonnull(strstr(pass(h, 20), "1 min after subscribing: 0 of 3"));
	leave(h);
}
END

TEST(a_configuration_without_channels_is_told_once)
{
	struct house *h = house("[broker]\nhost = 127.0.0.1\n");
	ck_assert_str_eq(pass(h, 100), "no channel is configured: `heatbookd listen -c "
				       "test.conf` proposes some\n");
	leave(h);
}
END

TEST(without_a_broker_nothing_is_said)
{
	struct house *h = house("[channel flow_temperature]\ntopic = a\n");
	ck_assert_str_eq(pass(h, 700), "");
	ck_assert_int_eq(h->asked, 0);
	leave(h);
}
END

TEST(a_new_mapping_begins_it_anew)
{
	struct house *h = house(three);
	hear(h, "flow_temperature", START_MS);
	hear(h, "valve", START_MS);
	hear(h, "late", START_MS);
	ck_assert_ptr_nonnull(strstr(pass(h, 10), "all 3 channels"));
	config_free(h->config);
	decoder_free(h->decoder);
	h->config =
		configured("[broker]\nhost = 127.0.0.1\n[channel other]\ntopic = o\n");
	h->decoder = decoder_new(h->config);
	memset(h->latest, 0, sizeof(h->latest));
	ck_assert_ptr_nonnull(strstr(pass(h, 70), "silent: channel other (o)\n"));
	leave(h);
}
END

TEST(of_very_many_silent_channels_some_are_named)
{
	struct buffer text = {0};
	buffer_add_text(&text, "[broker]\nhost = 127.0.0.1\n");
	for (int i = 0; i < 50; i++)
		buffer_addf(&text, "[channel c%d]\ntopic = x/%d\n", i, i);
	struct house *h = house(buffer_text(&text));
	ck_assert_ptr_nonnull(strstr(pass(h, 70), "silent: 30 further channels\n"));
	buffer_release(&text);
	leave(h);
}
END

TESTS(silent_channels_are_named_after_one_and_ten_minutes_only,
	once_all_are_heard_it_says_so_and_is_silent_for_ever,
	what_came_back_from_the_journal_is_not_heard,
	messages_that_are_not_understood_are_shown_with_reason_and_sample,
	minutes_count_from_the_subscription, a_configuration_without_channels_is_told_once,
	without_a_broker_nothing_is_said, a_new_mapping_begins_it_anew,
	of_very_many_silent_channels_some_are_named)
