/*
 * What is put into the outbox and when, by the test clock: own words. What the broker
 * gets of it is tested at brokers (subscriber_publish, publish).
 */
#include "configured.h"
#include "fake_store.h"
#include "json_at.h"

#include "publisher.h"

#include <heatbook/clock.h>
#include <heatbook/http.h>
#include <heatbook/log.h>

#include <errno.h>
#include <poll.h>

/* 2026-01-15T23:59:30+01:00 in Berlin, where it is an hour ahead of UTC. */
#define LATE_MS     INT64_C(1768517970000)
#define MIDNIGHT_MS INT64_C(1768518000000)

static const char *const text =
	"[plant]\nname = Speaking house\nzone = Europe/Berlin\ndevices = compressor\n"
	"[broker]\nhost = 127.0.0.1\n"
	"[channel flow_temperature]\ntopic = house/out\n"
	"[channel return_temperature]\ntopic = house/back\n"
	"[channel flow_rate]\ntopic = house/rate\n"
	"[channel unit_power]\ntopic = house/power\nunit = W\n"
	"[meter unit]\nfeeds = compressor\npower = unit_power\n"
	"[publish]\nprefix = heatbook\ninterval = 5 min\n";

static struct live_state live;
static struct publisher publisher;
static uint64_t numbers[POST_COUNT];

static void fill(struct live_state *ret, void *context)
{
	(void)context;
	*ret = live;
}

/* A half of each minute is known: 3 kW out for 1 kW in. */
static void energy_row(size_t i, struct energy_bucket *bucket)
{
	(void)i;
	int64_t ms = bucket->t_end_ms - bucket->t_ms;
	bucket->modes_seen = 1U << MODE_HEATING;
	bucket->modes[MODE_HEATING] = (struct energy_sum){.observed_ms = ms,
		.heat_j = 3 * ms / 2,
		.heat_ms = ms / 2,
		.meter_j = {ms},
		.meter_ms = {ms},
		.paired_heat_j = 3 * ms / 2,
		.paired_electricity_j = ms / 2,
		.paired_meter_j = {ms / 2},
		.paired_ms = ms / 2};
}

static struct config *begin(void)
{
	struct config *config = configured(text);
	log_set_handler(drop_line, NULL);
	clock_test_start(LATE_MS, 1000000);
	fake.energy = energy_row;
	fake.result = 0;
	live = (struct live_state){.now_ms = LATE_MS,
		.derived_until_ms = LATE_MS - LATE_MS % MS_PER_MIN,
		.mode = MODE_HEATING};
	memset(numbers, 0, sizeof(numbers));
	ck_assert_int_eq(publisher_begin(&publisher, config), 0);
	ck_assert_ptr_nonnull(publisher.outbox);
	return config;
}

static void leave(struct config *config)
{
	publisher_end(&publisher);
	ck_assert_ptr_null(publisher.outbox);
	config_free(config);
	log_set_handler(NULL, NULL);
}

static void tick(const struct config *config, int64_t later_ms)
{
	live.now_ms += later_ms;
	clock_test_advance(later_ms);
	publisher_tick(
		&publisher, config, (struct store *)(uintptr_t)config, NULL, fill, NULL);
}

/* A word that is new since the last time, the caller's; or NULL. */
static char *next(enum post post)
{
	struct buffer word = {0};
	uint64_t number = outbox_take(publisher.outbox, post, numbers[post], &word);
	char *ret = number != numbers[post] ? xstrdup(buffer_text(&word)) : NULL;
	numbers[post] = number;
	buffer_release(&word);
	return ret;
}

static void drain(void)
{
	for (int i = 0; i < POST_STATE; i++)
		free(next((enum post)i));
}

static cJSON *next_json(enum post post)
{
	_cleanup_(freep) char *word = next(post);
	ck_assert_ptr_nonnull(word);
	cJSON *json = cJSON_Parse(word);
	ck_assert_msg(json != NULL, "no JSON: %s", word);
	return json;
}

static void expect_word(enum post post, const char *wanted)
{
	_cleanup_(freep) char *word = next(post);
	ck_assert_ptr_nonnull(word);
	ck_assert_str_eq(word, wanted);
}

TEST(without_a_prefix_there_is_no_outbox)
{
	struct publisher none = {0};
	_cleanup_(config_freep) struct config *config =
		configured("[broker]\nhost = 127.0.0.1\n");
	ck_assert_int_eq(publisher_begin(&none, config), 0);
	ck_assert_ptr_null(none.outbox);
	publisher_tick(&none, config, NULL, NULL, fill, NULL); /* asks nobody */
	publisher_forsake(&none);
	publisher_end(&none);
}
END

TEST(today_has_figures_with_what_they_rest_on)
{
	struct config *config = begin();
	tick(config, 0);
	cJSON *day = next_json(POST_TODAY);
	double kwh = (86400 - 60) * 1000.0 * 1.5 / 3.6e6; /* up to 23:59 */
	ck_assert_str_eq(text_at(day, "date"), "2026-01-15");
	ck_assert_str_eq(text_at(day, "zone"), "Europe/Berlin");
	ck_assert_str_eq(text_at(day, "boundary"), "H4");
	ck_assert_double_eq(number_at(day, "t"), LATE_MS / 1000.0);
	ck_assert_double_eq(number_at(day, "from"), MIDNIGHT_MS / 1000.0 - 86400);
	ck_assert_double_eq(number_at(day, "to"), MIDNIGHT_MS / 1000.0 - 60);
	ck_assert_double_eq_tol(number_at(day, "heat_kwh"), kwh, 1e-6);
	ck_assert_double_eq_tol(number_at(day, "electricity_kwh"), kwh / 1.5, 1e-6);
	ck_assert_double_eq_tol(number_at(day, "cop"), 3.0, 1e-6);
	ck_assert(number_at(day, "cop_uncertainty") > 0.0);
	ck_assert_double_eq(number_at(day, "coverage/heat"), 0.5);
	ck_assert_double_eq(number_at(day, "coverage/electricity"), 1.0);
	ck_assert_double_eq(number_at(day, "coverage/cop"), 0.5);
	ck_assert_double_eq(number_at(day, "uncertainty/coverage_factor"), 2.0);
	ck_assert(number_at(day, "uncertainty/electricity_kwh") > 0.0);
	ck_assert_str_eq(text_at(day, "fluid/name"), "water");
	cJSON_Delete(day);
	leave(config);
}
END

/* MIDNIGHT_MS is that of the zone, an hour before that of UTC. */
TEST(when_the_day_turns_its_figures_begin_anew)
{
	struct config *config = begin();
	tick(config, 0);
	drain();
	tick(config, MIDNIGHT_MS - 1 - LATE_MS);
	ck_assert_ptr_null(next(POST_TODAY));
	tick(config, 1); /* the last minute of the old day has not even closed */
	cJSON *day = next_json(POST_TODAY);
	ck_assert_str_eq(text_at(day, "date"), "2026-01-16");
	ck_assert_double_eq(number_at(day, "from"), MIDNIGHT_MS / 1000.0);
	ck_assert_double_eq(number_at(day, "to"), MIDNIGHT_MS / 1000.0);
	ck_assert(null_at(day, "heat_kwh") && null_at(day, "electricity_kwh"));
	ck_assert(null_at(day, "cop") && !null_at(day, "no_cop_because"));
	ck_assert(null_at(day, "coverage/heat"));
	cJSON_Delete(day);
	live.derived_until_ms = MIDNIGHT_MS + 2 * MS_PER_MIN;
	tick(config, 5 * MS_PER_MIN);
	day = next_json(POST_TODAY);
	ck_assert_double_eq_tol(number_at(day, "heat_kwh"), 120e3 * 1.5 / 3.6e6, 1e-6);
	cJSON_Delete(day);
	leave(config);
}
END

TEST(all_is_said_at_each_interval_and_a_mode_when_it_changes)
{
	struct config *config = begin();
	live.now_ms -= 12 * MS_PER_HOUR; /* no midnight near */
	tick(config, 0);
	drain();
	tick(config, 1000);
	for (int i = 0; i < POST_STATE; i++)
		ck_assert_ptr_null(next((enum post)i));
	live.mode = MODE_DEFROST;
	tick(config, 1000);
	expect_word(POST_MODE, "defrost");
	ck_assert_ptr_null(next(POST_TODAY));
	live.mode = -1;
	tick(config, 1000);
	expect_word(POST_MODE, "unknown");
	tick(config, 5 * MS_PER_MIN - 3000);
	expect_word(POST_MODE, "unknown"); /* the same again */
	cJSON_Delete(next_json(POST_TODAY));
	cJSON_Delete(next_json(POST_FINDINGS));
	leave(config);
}
END

TEST(what_cannot_be_told_is_taken_back)
{
	struct config *config = begin();
	fake.result = -EUCLEAN;
	tick(config, 0);
	expect_word(POST_TODAY, "");
	expect_word(POST_FINDINGS, "");
	fake.result = 0;
	live.clock_broken = true; /* nobody knows which day it is */
	tick(config, 5 * MS_PER_MIN);
	expect_word(POST_TODAY, "");
	expect_word(POST_FINDINGS, "");
	expect_word(POST_MODE, "unknown");
	leave(config);
}
END

TEST(findings_are_those_of_the_last_days_and_counted)
{
	static struct finding found[PUBLISHED_FINDINGS + 3];
	static char seen[] = "many words", helps[] = "more words";
	struct config *config = begin();
	for (size_t i = 0; i < ARRAY_LEN(found); i++)
		found[i] = (struct finding){.kind = FINDING_CHANNEL_SILENT,
			.subject = "flow_rate",
			.since_ms = LATE_MS - MS_PER_DAY,
			.until_ms = LATE_MS,
			.lasts = true,
			.size = 3.5,
			.unit = "h",
			.effect = NAN,
			.evidence = seen,
			.remedy = helps};
	fake.findings = found;
	fake.finding_count = ARRAY_LEN(found);
	tick(config, 0);
	cJSON *json = next_json(POST_FINDINGS);
	const cJSON *list = at(json, "findings");
	ck_assert_int_eq(
		fake.first_ms, MIDNIGHT_MS - 7 * MS_PER_DAY); /* whole local days */
	ck_assert_int_eq(fake.last_ms, LATE_MS);
	ck_assert_uint_eq((size_t)number_at(json, "count"), ARRAY_LEN(found));
	ck_assert_int_eq(cJSON_GetArraySize(list), PUBLISHED_FINDINGS);
	const cJSON *one = cJSON_GetArrayItem(list, 0);
	ck_assert_str_eq(text_at(one, "kind"), "channel_silent");
	ck_assert_str_eq(text_at(one, "subject"), "flow_rate");
	ck_assert_double_eq(number_at(one, "size"), 3.5);
	ck_assert(null_at(one, "effect"));
	ck_assert(!cJSON_HasObjectItem(one, "remedy"));
	cJSON_Delete(json);
	fake.finding_count = 0;
	leave(config);
}
END

	static void
	tick_with(const struct config *config, const struct notices *notices)
{
	live.now_ms += 5 * MS_PER_MIN;
	clock_test_advance(5 * MS_PER_MIN);
	publisher_tick(&publisher, config, (struct store *)(uintptr_t)config, notices,
		fill, NULL);
}

TEST(notices_are_said_when_they_are_known_and_not_again)
{
	struct config *config = begin();
	struct notices *first = notices_new(config, 1000, NULL, NULL);
	struct notices *later = notices_new(config, 1001, NULL, NULL);
	tick_with(config, NULL);
	ck_assert_ptr_null(next(POST_NOTICES));
	live.clock_broken = true;
	tick_with(config, first);
	ck_assert_ptr_null(next(POST_NOTICES));
	live.clock_broken = false;
	tick_with(config, first);
	cJSON *word = next_json(POST_NOTICES);
	ck_assert_double_eq(number_at(word, "raised"), 0.0);
	ck_assert_ptr_null(at(word, "notices/0"));
	ck_assert_ptr_null(at(word, "t"));
	cJSON_Delete(word);
	tick_with(config, first);
	tick_with(config, later);
	tick_with(config, NULL);
	ck_assert_ptr_null(next(POST_NOTICES));
	cJSON_Delete(next_json(POST_TODAY)); /* which is */
	notices_free(first);
	notices_free(later);
	leave(config);
}
END

TEST(an_outbox_owns_its_prefix_and_what_lies_beneath)
{
	static const struct {
		const char *topic;
		bool own;
	} cases[] = {{"house/book", true}, {"house/book/today", true},
		{"house/book/a/b", true}, {"house/book/", true}, {"house/books", false},
		{"house/boo", false}, {"house", false}, {"house/", false}, {"", false},
		{"/house/book", false}};
	struct outbox *outbox;
	ck_assert_int_eq(outbox_new("house/book", 30999, &outbox), 0);
	for (size_t i = 0; i < ARRAY_LEN(cases); i++)
		ck_assert_msg(outbox_owns(outbox, cases[i].topic) == cases[i].own, "%s",
			cases[i].topic);
	for (int i = 0; i < POST_COUNT; i++)
		ck_assert(outbox_owns(outbox, outbox_topic(outbox, (enum post)i)));
	ck_assert_uint_eq(outbox_fades_s(outbox), 30);
	outbox_free(outbox);
}
END

	static bool
	is_readable(const struct outbox *outbox)
{
	struct pollfd p = {.fd = outbox_fd(outbox), .events = POLLIN};
	return poll(&p, 1, 0) == 1;
}

TEST(an_outbox_holds_the_last_word_alone)
{
	struct outbox *outbox;
	struct buffer word = {0};
	ck_assert_int_eq(outbox_new("heatbook", 1000, &outbox), 0);
	ck_assert_uint_eq(outbox_take(outbox, POST_MODE, 0, &word), 0);
	ck_assert(!is_readable(outbox));
	outbox_put(outbox, POST_MODE, "", false); /* a first word, too */
	ck_assert_uint_eq(outbox_take(outbox, POST_MODE, 0, &word), 1);
	ck_assert_uint_eq(word.length, 0);
	ck_assert(is_readable(outbox));
	outbox_calm(outbox);
	ck_assert(!is_readable(outbox));
	outbox_put(outbox, POST_MODE, "heating", false);
	outbox_put(outbox, POST_MODE, "defrost", false);
	outbox_calm(outbox);
	outbox_put(outbox, POST_MODE, "defrost", false);
	ck_assert(!is_readable(outbox));
	ck_assert_uint_eq(outbox_take(outbox, POST_MODE, 1, &word), 3);
	ck_assert_str_eq(buffer_text(&word), "defrost");
	ck_assert_uint_eq(outbox_take(outbox, POST_MODE, 3, &word), 3);
	outbox_put(outbox, POST_MODE, "defrost", true);
	ck_assert_uint_eq(outbox_take(outbox, POST_MODE, 3, &word), 4);
	ck_assert_str_eq(outbox_farewell(outbox), POST_STOPPED);
	outbox_forsake(outbox);
	ck_assert_str_eq(outbox_farewell(outbox), "");
	buffer_release(&word);
	outbox_free(outbox);
}
END

TESTS(without_a_prefix_there_is_no_outbox,
	today_has_figures_with_what_they_rest_on,
	when_the_day_turns_its_figures_begin_anew,
	all_is_said_at_each_interval_and_a_mode_when_it_changes,
	what_cannot_be_told_is_taken_back,
	findings_are_those_of_the_last_days_and_counted,
	notices_are_said_when_they_are_known_and_not_again,
	an_outbox_owns_its_prefix_and_what_lies_beneath,
	an_outbox_holds_the_last_word_alone)
