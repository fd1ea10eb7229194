/*
 * An answer that is given again is, byte for byte and field for field, the one that would
 * be made now: while the live way of a random plant runs, with pending minutes, commits,
 * days derived again, restarts, and an import that writes beside, two servers over the
 * one store are asked the same, and one of them forgets all its answers before.
 *
 * That an answer was given again is seen by the store: one statement was run, which asks
 * it for its generation.
 */
#include "doors.h"
#include "rounds.h"

#include "../unit/http_asked.h"

#include <heatbook/calendar.h>
#include <heatbook/clock.h>

#include <sqlite3.h>

#define TARGETS    22
#define TURNS_MOST 12

struct watch {
	uint64_t seed, random;
	const struct plant *plant;
	struct config *config;
	struct http *keeping, *forgetting;
	char *targets[TARGETS];
	size_t turns, first; /* to come, of these two targets */
	size_t statements;   /* since it was set to 0 */
	size_t asked, given;
};

/* None of the resources that are asked for looks at it. */
static void no_live(enum live_part part, struct live_state *ret, void *context)
{
	(void)part;
	(void)context;
	*ret = (struct live_state){0};
}

static int count_statement(unsigned kind, void *context, void *statement, void *text)
{
	(void)kind;
	(void)statement;
	(void)text;
	(*(size_t *)context)++;
	return 0;
}

static struct http *face(struct watch *w, struct store *store)
{
	struct http *http = NULL;
	w->config->http.port = 0;
	ck_assert_int_eq(http_open(w->config, store, no_live, NULL, &http), 0);
	return http;
}

/* Amid the plant's days; the configuration frees it. */
static void note_change(struct watch *w)
{
	w->config->changes = xcalloc(1, sizeof(*w->config->changes));
	w->config->changes[0] = (struct change_config){
		.name = xstrdup("noted"), .at_ms = w->plant->from_ms + MS_PER_DAY};
	w->config->change_count = 1;
}

/* Spans that are over and of the present, with an end of their own or without one. */
static void make_targets(struct watch *w)
{
	static const struct {
		const char *path, *rest;
		bool ends;
		size_t channels;
	} forms[TARGETS] = {
		{"energy", "", true, 0}, /* the first two are aimed anew */
		{"energy", "", true, 0},
		{"energy", "&step=P1D", true, 0},
		{"energy", "&step=PT1H&by=mode", true, 0},
		{"energy", "&step=P1Y&format=csv", true, 0},
		{"energy", "&step=P1D", false, 0},
		{"energy", "&step=PT5M&values=heat_kwh", true, 0},
		{"energy", "&step=PT1H", true, 0},
		{"energy", "&step=P1M", true, 0},
		{"series", "&step=PT1H", true, 2},
		{"series", "&step=PT10M&values=mean", true, 3},
		{"series", "&step=P1D", false, 1},
		{"runs", "", true, 0},
		{"defrosts", "", false, 0},
		{"energy", "&step=P1D", true, 0},
		{"findings", "", true, 0},
		{"findings", "", false, 0},
		{"signature", "&points=yes", true, 0},
		{"signature", "", false, 0},
		{"changes", NULL, false, 0}, /* of no span that is asked for */
		{"statement", "", true, 0},
		{"statement", "&anonymous=yes", false, 0},
	};
	int64_t from_s = floor_div(w->plant->from_ms, MS_PER_DAY) * MS_PER_DAY / 1000;
	for (size_t i = 0; i < TARGETS; i++) {
		struct buffer text = {0};
		int64_t to_s = from_s + unit_random_between(&w->random, 1, 500) * 600;
		buffer_addf(&text, "/v1/%s", forms[i].path);
		if (forms[i].rest)
			buffer_addf(
				&text, "?from=%lld%s", (long long)from_s, forms[i].rest);
		if (forms[i].ends)
			buffer_addf(&text, "&to=%lld", (long long)to_s);
		for (size_t c = 0; c < forms[i].channels; c++)
			buffer_addf(&text, "%s%s", c ? "," : "&channels=",
				w->config->channels[2 * c + plant_choose(&w->random, 2)]
					.name);
		w->targets[i] = xstrdup(buffer_text(&text));
		buffer_release(&text);
	}
}

static void opened(struct watch *w, struct store *store)
{
	if (!w->keeping) {
		w->keeping = face(w, store);
		w->forgetting = face(w, store);
	} else {
		http_swap(w->keeping, w->config, store);
		http_swap(w->forgetting, w->config, store);
	}
	ck_assert_int_eq(sqlite3_trace_v2(store_handle(store), SQLITE_TRACE_STMT,
				 count_statement, &w->statements),
		SQLITE_OK);
}

static void compare(struct watch *w, struct store *store, const char *target)
{
	static const char *const fields[] = {
		"", "Accept: text/csv\r\n", "Accept-Encoding: gzip\r\n"};
	const char *field_of_it = fields[plant_choose(&w->random, ARRAY_LEN(fields))];
	http_swap(w->forgetting, w->config, store);
	w->statements = 0;
	struct reply_seen one = ask(w->keeping, "GET", target, field_of_it);
	w->given += w->statements == 1;
	w->asked++;
	struct reply_seen two = ask(w->forgetting, "GET", target, field_of_it);
	ck_assert_msg(one.status == 200 || one.status == 503, "%s: %d: %s", target,
		one.status, one.body);
	ck_assert_msg(same_head(&one, &two), "SEED=%llu: %s:\n%s\nagainst\n%s",
		(unsigned long long)w->seed, target, one.head, two.head);
	ck_assert_msg(
		one.length == two.length && memcmp(one.body, two.body, one.length) == 0,
		"SEED=%llu: %s: was kept:\n%.3000s\nis now:\n%.3000s",
		(unsigned long long)w->seed, target, one.body, two.body);
	reply_release(&one);
	reply_release(&two);
}

/* The minutes about the present, whose rows are about to come. */
static void aim(struct watch *w, char **target)
{
	int64_t minute = clock_now_ms() / MS_PER_MIN;
	int64_t to_s = 60 * (minute + unit_random_between(&w->random, -12, 6));
	free(*target);
	*target = xasprintf("/v1/energy?from=%lld&to=%lld&step=PT1M",
		(long long)(to_s - 1800), (long long)to_s);
}

/* What another process may do at any time. */
static void write_beside(const struct watch *w)
{
	struct store *store = NULL;
	char why[256];
	ck_assert_int_eq(store_open(w->config, STORE_WRITE, &store, why), 0);
	ck_assert_int_eq(store_begin(store), 0);
	ck_assert_int_eq(store_bump_version(store), 0);
	ck_assert_int_eq(store_commit(store), 0);
	store_close(store);
}

/* Now and then a client asks for two of them turn after turn. */
static void look(struct store *store, bool was_opened, void *context)
{
	struct watch *w = context;
	if (was_opened) {
		opened(w, store);
		return;
	}
	if (w->turns == 0 && plant_chance(&w->random, 2)) {
		w->turns = 1 + plant_choose(&w->random, TURNS_MOST);
		w->first = plant_chance(&w->random, 40)
				   ? 0
				   : plant_choose(&w->random, TARGETS - 1);
		aim(w, &w->targets[0]);
		aim(w, &w->targets[1]);
	}
	if (w->turns == 0)
		return;
	w->turns--;
	if (plant_chance(&w->random, 5))
		write_beside(w);
	compare(w, store, w->targets[w->first + plant_choose(&w->random, 2)]);
}

TEST(an_answer_given_again_is_the_one_of_now)
{
	size_t asked = 0, given = 0;
	FOR_ROUNDS(seed, 2)
	{
		uint64_t random = seed + 5;
		struct plant plant;
		struct door door;
		plant_make(&plant, seed,
			&(struct plant_wish){.records = 500,
				.span_ms = 3 * MS_PER_DAY / 2,
				.every_channel = true,
				.rules = seed % 2 == 0,
				.registers = true});
		door_open(&plant, &door);
		struct watch w = {.seed = seed,
			.random = seed + 6,
			.plant = &plant,
			.config = door.config};
		note_change(&w);
		make_targets(&w);
		door.watch = look;
		door.context = &w;
		door_live(&door, &plant, &random, 3, plant.to_ms + MS_PER_HOUR);
		printf("# SEED=%llu: %zu of %zu answers were given again\n",
			(unsigned long long)seed, w.given, w.asked);
		asked += w.asked;
		given += w.given;
		http_close(w.keeping);
		http_close(w.forgetting);
		for (size_t i = 0; i < TARGETS; i++)
			free(w.targets[i]);
		door_close(&door);
		plant_release(&plant);
	}
	(void)fflush(stdout);
	ck_assert_uint_gt(given, asked / 20);
	ck_assert_uint_lt(given, asked);
}
END_TEST

TESTS(an_answer_given_again_is_the_one_of_now)
