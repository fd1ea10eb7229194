/*
 * What minutes and spans of registers that closed add up to, and that nothing that is
 * made anew makes a count fall. Reference: the rules are heatbook's own (news.h).
 */
#include "unit.h"

#include <heatbook/news.h>

#define MINUTE   INT64_C(30000000)
#define BEGAN_MS (MINUTE * MS_PER_MIN)

static struct meter_config meters[] = {{.name = (char[]){"unit"}, .less = -1},
	{.name = (char[]){"immersion"}, .less = -1}};
static struct meter_config swapped[] = {{.name = (char[]){"immersion"}, .less = -1},
	{.name = (char[]){"cellar"}, .less = -1}, {.name = (char[]){"unit"}, .less = -1}};
static const struct config before = {.meters = meters, .meter_count = 2};
static const struct config after = {.meters = swapped, .meter_count = 3};

/* A minute of heating and of defrost. */
static void close_minute(struct news *news, int64_t at)
{
	struct minute_mode modes[MODE_COUNT] = {0};
	struct minute minute = {.minute = at, .modes = modes};
	modes[MODE_HEATING] = (struct minute_mode){.seen = true,
		.ms = 40000,
		.heat_j = 1000.4,
		.heat_ms = 40000,
		.meter_j = {300.6, 7},
		.meter_ms = {40000, 0},
		.meter_seen = 1};
	modes[MODE_DEFROST] = (struct minute_mode){.seen = true,
		.ms = 20000,
		.heat_j = -500,
		.heat_ms = 20000,
		.meter_j = {100, 20},
		.meter_ms = {20000, 20000},
		.meter_seen = 3};
	news_minute(news, &before, &minute);
}

static void check_minutes(const struct news *news, int64_t count)
{
	const struct news_counts *c = &news->counts;
	ck_assert_int_eq(c->given_j[MODE_HEATING], 1000 * count);
	ck_assert_int_eq(c->given_j[MODE_DEFROST], 0);
	ck_assert_int_eq(c->drawn_j[MODE_DEFROST], 500 * count);
	ck_assert_int_eq(c->drawn_j[MODE_HEATING], 0);
	ck_assert_int_eq(c->mode_ms[MODE_HEATING], 40000 * count);
	ck_assert_int_eq(c->meter_j[0][MODE_HEATING], 301 * count);
	ck_assert_int_eq(c->meter_j[1][MODE_HEATING], 0); /* it was not seen there */
	ck_assert_int_eq(c->meter_j[1][MODE_DEFROST], 20 * count);
}

TEST(each_minute_counts_once_from_the_beginning_on)
{
	struct news news;
	news_begin(&news, 1, BEGAN_MS + 1);
	close_minute(&news, MINUTE - 3); /* before it began: another run's */
	close_minute(&news, MINUTE);     /* it began in its midst */
	check_minutes(&news, 0);
	close_minute(&news, MINUTE + 1);
	close_minute(&news, MINUTE + 2);
	check_minutes(&news, 2);
	close_minute(&news, MINUTE + 1); /* made anew */
	close_minute(&news, MINUTE + 2);
	check_minutes(&news, 2);
	close_minute(&news, MINUTE + 3);
	check_minutes(&news, 3);
}
END

TEST(spans_of_registers_count_by_their_share_since_the_beginning)
{
	const int64_t hour = MS_PER_HOUR;
	const struct settlement spans[] = {
		{.quantity = 0,
			.kind = SETTLEMENT_SHAPED,
			.begin_ms = BEGAN_MS - 3 * hour,
			.end_ms = BEGAN_MS + hour,
			.made_ms = BEGAN_MS + hour,
			.j = 4000},
		{.quantity = 1,
			.kind = SETTLEMENT_SPREAD,
			.begin_ms = BEGAN_MS + hour,
			.end_ms = BEGAN_MS + 2 * hour,
			.made_ms = BEGAN_MS + 2 * hour,
			.j = 700},
		{.quantity = 0, /* over before it began */
			.kind = SETTLEMENT_BRIDGED,
			.begin_ms = BEGAN_MS - 3 * hour,
			.end_ms = BEGAN_MS,
			.made_ms = BEGAN_MS + 2 * hour,
			.j = 9000},
		{.quantity = COUNTED_HEAT, /* it counts down in defrosts */
			.kind = SETTLEMENT_SHAPED,
			.begin_ms = BEGAN_MS + hour,
			.end_ms = BEGAN_MS + 2 * hour,
			.made_ms = BEGAN_MS + 2 * hour,
			.j = -30},
		{.quantity = 1, /* another meter: nothing is counted */
			.kind = SETTLEMENT_REPLACED,
			.begin_ms = BEGAN_MS + hour,
			.end_ms = BEGAN_MS + 2 * hour,
			.made_ms = BEGAN_MS + 2 * hour,
			.j = 5},
		{.quantity = 1, /* of a minute that is open yet */
			.kind = SETTLEMENT_SHAPED,
			.begin_ms = BEGAN_MS + 2 * hour,
			.end_ms = BEGAN_MS + 3 * hour,
			.made_ms = BEGAN_MS + 3 * hour,
			.j = 11},
	};
	struct news news;
	news_begin(&news, 1, BEGAN_MS);
	news_settled(&news, spans, ARRAY_LEN(spans), BEGAN_MS + 3 * hour);
	ck_assert_int_eq(news.counts.register_j[0], 1000);
	ck_assert_int_eq(news.counts.register_j[1], 700);
	ck_assert_int_eq(news.counts.register_j[COUNTED_HEAT], 0);
	ck_assert_int_eq(news.counts.register_drawn_j, 30);
	news_settled(&news, spans, ARRAY_LEN(spans), BEGAN_MS + 3 * hour + 1);
	ck_assert_int_eq(news.counts.register_j[0], 1000);
	ck_assert_int_eq(news.counts.register_j[1], 711);
}
END

TEST(meters_keep_their_counts_by_name)
{
	struct news news;
	news_begin(&news, 1, BEGAN_MS);
	close_minute(&news, MINUTE);
	news.counts.register_j[0] = 5;
	news.counts.register_j[COUNTED_HEAT] = 6;
	news_reconfigure(&news, &before, &after);
	ck_assert_int_eq(news.counts.meter_j[2][MODE_HEATING], 301);
	ck_assert_int_eq(news.counts.meter_j[0][MODE_DEFROST], 20);
	ck_assert_int_eq(news.counts.meter_j[1][MODE_DEFROST], 0);
	ck_assert_int_eq(news.counts.register_j[2], 5);
	ck_assert_int_eq(news.counts.register_j[0], 0);
	ck_assert_int_eq(news.counts.register_j[COUNTED_HEAT], 6);
	ck_assert_int_eq(news.counts.given_j[MODE_HEATING], 1000);
}
END

TEST(an_end_that_goes_back_is_a_revision)
{
	struct news news;
	news_begin(&news, 1, BEGAN_MS);
	news_closed(&news, MINUTE);
	news_closed(&news, MINUTE + 5);
	news_revised(&news, MINUTE, MINUTE); /* of nothing */
	ck_assert_uint_eq(news.revision_count, 0);
	news_closed(&news, MINUTE + 2);
	ck_assert_uint_eq(news.revision_count, 1);
	ck_assert_int_eq(news.revisions[0].from, MINUTE + 2);
	ck_assert_int_eq(news.revisions[0].to, MINUTE + 5);
}
END

TESTS(each_minute_counts_once_from_the_beginning_on,
	spans_of_registers_count_by_their_share_since_the_beginning,
	meters_keep_their_counts_by_name, an_end_that_goes_back_is_a_revision)
