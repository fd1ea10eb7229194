/*
 * The mode of a moment from flags: each rule and each precedence, the overrun window to
 * the millisecond, and when a stop counts as seen.
 *
 * Reference: heatbook's own rules as written at the top of daemon/account/modes.c;
 * defaults of the thresholds as in the option table (10 min, 5 °C, 15 °C).
 */
#include "unit.h"

#include "../../daemon/account/modes.h"

#define NAN_C         ((double)NAN)
#define OVERRUN_MS    (10 * MS_PER_MIN)
#define STOP_MS       INT64_C(1767225600000) /* 2026-01-01T00:00:00Z */
#define LONG_AFTER    (STOP_MS + MS_PER_DAY)
#define NEVER_STOPPED ((struct mode_memory){NEVER_MS, NEVER_MS, NEVER_MS})

static const struct modes_config settings = {.compressor_on_w = 150,
	.overrun_ms = OVERRUN_MS,
	.freeze_outdoor_c = 5,
	.freeze_return_c = 15};

#define A FLAG_ABSENT
#define U FLAG_UNKNOWN
#define O FLAG_OFF
#define I FLAG_ON

static const char *flag_text(enum flag flag)
{
	static const char *const text[] = {"absent", "unknown", "off", "on"};
	return text[flag];
}

static void expect_mode(const struct mode_inputs *in, const struct mode_memory *memory,
	int64_t t_ms, enum mode expected, int64_t until_ms)
{
	int64_t ret_until_ms = -1;
	enum mode mode = mode_decide(&settings, memory, in, t_ms, &ret_until_ms);
	ck_assert_msg(mode == expected && ret_until_ms == until_ms,
		"defrost %s, compressor %s, operating %s %d, valve %s %d, flow %s, %g "
		"°C, "
		"%g °C, %lld ms after the stop: %s until %lld, expected %s until %lld",
		flag_text(in->defrost), flag_text(in->compressor),
		flag_text(in->operating), in->operating_mode, flag_text(in->valve),
		in->valve_position, flag_text(in->flow), in->outdoor_c, in->return_c,
		(long long)(t_ms - STOP_MS), mode_name(mode), (long long)ret_until_ms,
		mode_name(expected), (long long)until_ms);
}

/* Modes that do not lean on a stop: decided by flags alone, and for ever. */
struct flags_row {
	enum flag defrost, compressor, operating;
	int operating_mode;
	enum flag valve;
	int valve_position;
	enum flag flow;
	double outdoor_c, return_c;
	enum mode expected;
};

static void expect_flags(const struct flags_row *row)
{
	struct mode_inputs in = {row->defrost, row->compressor, row->operating,
		row->operating_mode, row->valve, row->valve_position, row->flow,
		row->outdoor_c, row->return_c};
	expect_mode(&in, &NEVER_STOPPED, LONG_AFTER, row->expected, INT64_MAX);
}

static void expect_all_flags(const struct flags_row *rows, size_t count)
{
	for (size_t i = 0; i < count; i++)
		expect_flags(&rows[i]);
}

#define HEAT  OPERATING_HEATING
#define WATER OPERATING_HOT_WATER

TEST(a_defrost_flag_rules_over_everything)
{
	static const struct flags_row rows[] = {
		{I, I, I, HEAT, I, VALVE_HEATING, I, 2, 30, MODE_DEFROST},
		{I, I, I, WATER, I, VALVE_HOT_WATER, I, 2, 30, MODE_DEFROST},
		{I, I, I, OPERATING_COOLING, A, 0, I, 30, 12, MODE_DEFROST},
		{I, O, A, 0, A, 0, I, -5, 5, MODE_DEFROST},
		{I, O, I, OPERATING_STANDBY, A, 0, O, -5, 5, MODE_DEFROST},
		{I, U, U, 0, U, 0, U, NAN_C, NAN_C, MODE_DEFROST},
		{I, A, A, 0, A, 0, A, NAN_C, NAN_C, MODE_DEFROST},
	};
	expect_all_flags(rows, ARRAY_LEN(rows));
}
END

TEST(an_unknown_defrost_flag_leaves_the_time_unassigned)
{
	static const struct flags_row rows[] = {
		{U, I, I, HEAT, I, VALVE_HEATING, I, 2, 30, MODE_UNASSIGNED},
		{U, O, I, OPERATING_STANDBY, A, 0, O, 2, 30, MODE_UNASSIGNED},
		{U, O, A, 0, A, 0, O, 2, 30, MODE_UNASSIGNED},
		{U, A, I, HEAT, A, 0, I, 2, 30, MODE_UNASSIGNED},
	};
	expect_all_flags(rows, ARRAY_LEN(rows));
}
END

TEST(a_running_compressor_is_told_by_the_operating_mode)
{
	static const struct flags_row rows[] = {
		{O, I, I, OPERATING_OFF, A, 0, I, 2, 30, MODE_STANDBY},
		{O, I, I, OPERATING_STANDBY, A, 0, I, 2, 30, MODE_STANDBY},
		{O, I, I, HEAT, A, 0, I, 2, 30, MODE_HEATING},
		{A, I, I, WATER, A, 0, I, 2, 30, MODE_HOT_WATER},
		{O, I, I, OPERATING_COOLING, A, 0, I, 30, 12, MODE_COOLING},
		{A, I, I, OPERATING_DEFROST, A, 0, I, 2, 30, MODE_DEFROST},
		{A, I, I, OPERATING_OVERRUN, A, 0, I, 2, 30, MODE_OVERRUN},
		{A, I, I, OPERATING_FREEZE_PROTECTION, A, 0, I, 2, 9,
			MODE_FREEZE_PROTECTION},
	};
	expect_all_flags(rows, ARRAY_LEN(rows));
}
END

TEST(the_operating_mode_goes_before_the_valve)
{
	static const struct flags_row rows[] = {
		{O, I, I, HEAT, I, VALVE_HOT_WATER, I, 2, 30, MODE_HEATING},
		{O, I, I, WATER, I, VALVE_HEATING, I, 2, 30, MODE_HOT_WATER},
		{O, I, I, HEAT, U, 0, I, 2, 30, MODE_HEATING},
		/* It is configured: where it is unknown, the valve does not stand in. */
		{O, I, U, 0, I, VALVE_HOT_WATER, I, 2, 30, MODE_UNASSIGNED},
		{O, I, U, 0, I, VALVE_HEATING, I, 2, 30, MODE_UNASSIGNED},
	};
	expect_all_flags(rows, ARRAY_LEN(rows));
}
END

TEST(without_an_operating_mode_the_valve_tells)
{
	static const struct flags_row rows[] = {
		{O, I, A, 0, I, VALVE_HEATING, I, 2, 30, MODE_HEATING},
		{O, I, A, 0, I, VALVE_HOT_WATER, I, 2, 30, MODE_HOT_WATER},
		{A, I, A, 0, I, VALVE_HOT_WATER, O, 2, 30, MODE_HOT_WATER},
		{A, I, A, 0, I, VALVE_HEATING, U, 2, 30, MODE_HEATING},
		{O, I, A, 0, U, 0, I, 2, 30, MODE_UNASSIGNED},
		{O, I, A, 0, A, 0, I, 2, 30, MODE_UNASSIGNED},
	};
	expect_all_flags(rows, ARRAY_LEN(rows));
}
END

TEST(a_standing_state_is_taken_at_its_word)
{
	static const struct flags_row rows[] = {
		{O, O, I, OPERATING_STANDBY, A, 0, I, -5, 5, MODE_STANDBY},
		{O, O, I, OPERATING_OFF, A, 0, I, -5, 5, MODE_STANDBY},
		{O, O, I, OPERATING_OVERRUN, A, 0, O, 20, 30, MODE_OVERRUN},
		{O, O, I, OPERATING_FREEZE_PROTECTION, A, 0, O, 20, 30,
			MODE_FREEZE_PROTECTION},
		{A, O, I, OPERATING_DEFROST, A, 0, I, 2, 20, MODE_DEFROST},
		{A, O, I, OPERATING_STANDBY, A, 0, U, 2, 20, MODE_STANDBY},
		/* One that needs a running compressor does not name a standing state. */
		{O, O, I, HEAT, A, 0, O, 2, 30, MODE_STANDBY},
		{O, O, I, WATER, I, VALVE_HOT_WATER, O, 2, 30, MODE_STANDBY},
		{O, O, I, OPERATING_COOLING, A, 0, O, 30, 12, MODE_STANDBY},
		{O, O, I, HEAT, A, 0, I, -5, 5, MODE_FREEZE_PROTECTION},
	};
	expect_all_flags(rows, ARRAY_LEN(rows));
}
END

TEST(without_a_compressor_signal_only_the_operating_mode_tells)
{
	static const struct flags_row rows[] = {
		{A, A, I, OPERATING_OFF, A, 0, I, 2, 30, MODE_STANDBY},
		{A, A, I, HEAT, A, 0, I, 2, 30, MODE_HEATING},
		{O, A, I, WATER, I, VALVE_HEATING, I, 2, 30, MODE_HOT_WATER},
		{A, A, I, OPERATING_COOLING, A, 0, I, 2, 30, MODE_COOLING},
		{A, A, I, OPERATING_DEFROST, A, 0, I, 2, 30, MODE_DEFROST},
		{A, A, I, OPERATING_OVERRUN, A, 0, I, 2, 30, MODE_OVERRUN},
		{A, A, I, OPERATING_FREEZE_PROTECTION, A, 0, O, 20, 30,
			MODE_FREEZE_PROTECTION},
		{A, A, U, 0, I, VALVE_HOT_WATER, I, 2, 30, MODE_UNASSIGNED},
		{A, A, A, 0, I, VALVE_HOT_WATER, I, 2, 30, MODE_UNASSIGNED},
		{O, A, A, 0, A, 0, I, -5, 5, MODE_UNASSIGNED},
		{A, A, A, 0, A, 0, A, NAN_C, NAN_C, MODE_UNASSIGNED},
	};
	expect_all_flags(rows, ARRAY_LEN(rows));
}
END

TEST(an_unknown_compressor_leaves_the_time_unassigned)
{
	static const struct flags_row rows[] = {
		{O, U, I, HEAT, I, VALVE_HEATING, I, 2, 30, MODE_UNASSIGNED},
		{A, U, I, OPERATING_STANDBY, A, 0, O, 2, 30, MODE_UNASSIGNED},
		{A, U, A, 0, A, 0, I, -5, 5, MODE_UNASSIGNED},
	};
	expect_all_flags(rows, ARRAY_LEN(rows));
}
END

TEST(standing_water_is_standby_and_unknown_flow_unassigned)
{
	static const struct flags_row rows[] = {
		{O, O, A, 0, A, 0, O, -5, 5, MODE_STANDBY},
		{O, O, A, 0, A, 0, A, -5, 5, MODE_STANDBY},
		{O, O, U, 0, A, 0, O, -5, 5, MODE_STANDBY},
		{O, O, A, 0, A, 0, U, -5, 5, MODE_UNASSIGNED},
		{O, O, A, 0, A, 0, U, 20, 30, MODE_UNASSIGNED},
		{O, O, U, 0, U, 0, I, 20, 30, MODE_STANDBY},
	};
	expect_all_flags(rows, ARRAY_LEN(rows));
}
END

TEST(freeze_protection_needs_flow_cold_air_and_cold_return)
{
	static const struct flags_row rows[] = {
		{O, O, A, 0, A, 0, I, 4.99, 14.99, MODE_FREEZE_PROTECTION},
		{O, O, A, 0, A, 0, I, 5.0, 14.99, MODE_STANDBY},
		{O, O, A, 0, A, 0, I, 4.99, 15.0, MODE_STANDBY},
		{O, O, A, 0, A, 0, I, 20, 30, MODE_STANDBY},
		{O, O, A, 0, A, 0, I, -20, 30, MODE_STANDBY},
		{O, O, A, 0, A, 0, I, 20, 5, MODE_STANDBY},
		{O, O, A, 0, I, VALVE_HOT_WATER, I, -5, 5, MODE_FREEZE_PROTECTION},
		/* Nothing is guessed, but one warm pipe or mild air is enough to tell. */
		{O, O, A, 0, A, 0, I, NAN_C, 30, MODE_STANDBY},
		{O, O, A, 0, A, 0, I, 20, NAN_C, MODE_STANDBY},
		/* Cold as far as it is known does not tell. */
		{O, O, A, 0, A, 0, I, NAN_C, 5, MODE_UNASSIGNED},
		{O, O, A, 0, A, 0, I, -5, NAN_C, MODE_UNASSIGNED},
		{O, O, A, 0, A, 0, I, NAN_C, NAN_C, MODE_UNASSIGNED},
		/* What is never measured is no reason to wait for it. */
		{O, O, A, 0, A, 0, I, -5, INFINITY, MODE_STANDBY},
		{O, O, A, 0, A, 0, I, INFINITY, 5, MODE_STANDBY},
		{O, O, A, 0, A, 0, I, INFINITY, NAN_C, MODE_STANDBY},
	};
	expect_all_flags(rows, ARRAY_LEN(rows));
}
END

TEST(overrun_is_half_open_from_the_stop_to_the_windows_end)
{
	static const struct {
		int64_t after_ms;
		double outdoor_c;
		enum mode expected;
	} rows[] = {
		{0, 20, MODE_OVERRUN},
		{1, 20, MODE_OVERRUN},
		{OVERRUN_MS - 1, 20, MODE_OVERRUN},
		{OVERRUN_MS, 20, MODE_STANDBY},
		{OVERRUN_MS + 1, 20, MODE_STANDBY},
		/* After a run moving water is overrun first, however cold it is. */
		{0, -10, MODE_OVERRUN},
		{OVERRUN_MS - 1, -10, MODE_OVERRUN},
		{OVERRUN_MS, -10, MODE_FREEZE_PROTECTION},
	};
	const struct mode_memory memory = {STOP_MS, STOP_MS, NEVER_MS};
	for (size_t i = 0; i < ARRAY_LEN(rows); i++) {
		struct mode_inputs in = {O, O, A, 0, A, 0, I, rows[i].outdoor_c, 10};
		bool window = rows[i].expected == MODE_OVERRUN;
		expect_mode(&in, &memory, STOP_MS + rows[i].after_ms, rows[i].expected,
			window ? STOP_MS + OVERRUN_MS : INT64_MAX);
	}
}
END

TEST(overrun_needs_flow_and_a_stop_that_was_seen)
{
	const struct mode_memory seen = {STOP_MS, STOP_MS, NEVER_MS};
	const struct mode_memory unseen = {STOP_MS, NEVER_MS, NEVER_MS};
	struct mode_inputs in = {O, O, A, 0, A, 0, I, 20, 30};

	expect_mode(&in, &unseen, STOP_MS + 1, MODE_STANDBY, INT64_MAX);
	expect_mode(&in, &seen, STOP_MS + 1, MODE_OVERRUN, STOP_MS + OVERRUN_MS);
	in.flow = O;
	expect_mode(&in, &seen, STOP_MS + 1, MODE_STANDBY, INT64_MAX);
	in.flow = A;
	expect_mode(&in, &seen, STOP_MS + 1, MODE_STANDBY, INT64_MAX);
	in.flow = U;
	expect_mode(&in, &seen, STOP_MS + 1, MODE_UNASSIGNED, INT64_MAX);
}
END

TEST(a_standing_state_goes_before_the_overrun_window)
{
	const struct mode_memory memory = {STOP_MS, STOP_MS, NEVER_MS};
	struct mode_inputs in = {O, O, I, OPERATING_STANDBY, A, 0, I, 20, 30};
	expect_mode(&in, &memory, STOP_MS + 1, MODE_STANDBY, INT64_MAX);
	in.operating_mode = HEAT;
	expect_mode(&in, &memory, STOP_MS + 1, MODE_OVERRUN, STOP_MS + OVERRUN_MS);
}
END

/* Cool water of the ground cools the house without the compressor. */
TEST(cooling_by_name_needs_water_that_moves)
{
	static const struct flags_row rows[] = {
		{O, O, I, OPERATING_COOLING, A, 0, I, 30, 12, MODE_COOLING},
		{A, O, I, OPERATING_COOLING, I, VALVE_HEATING, I, -5, 5, MODE_COOLING},
		{A, O, I, OPERATING_COOLING, A, 0, A, 30, 12, MODE_COOLING},
		{A, O, I, OPERATING_COOLING, A, 0, O, 30, 12, MODE_STANDBY},
		{A, O, I, OPERATING_COOLING, A, 0, U, 30, 12, MODE_UNASSIGNED},
		{U, O, I, OPERATING_COOLING, A, 0, I, 30, 12, MODE_UNASSIGNED},
		{A, U, I, OPERATING_COOLING, A, 0, I, 30, 12, MODE_UNASSIGNED},
	};
	expect_all_flags(rows, ARRAY_LEN(rows));
}
END

TEST(what_goes_round_after_cooling_is_coolings)
{
	static const struct {
		struct mode_inputs in;
		enum mode within, after;
	} rows[] = {
		{{O, O, A, 0, A, 0, I, 30, 17}, MODE_COOLING, MODE_STANDBY},
		{{A, O, I, OPERATING_OFF, A, 0, I, 30, 17}, MODE_COOLING, MODE_STANDBY},
		{{A, O, I, OPERATING_STANDBY, A, 0, I, 30, 17}, MODE_COOLING,
			MODE_STANDBY},
		{{A, O, I, OPERATING_OVERRUN, A, 0, A, 30, 17}, MODE_COOLING,
			MODE_OVERRUN},
		/* Nothing tells that water goes round. */
		{{A, O, I, OPERATING_STANDBY, A, 0, A, 30, 17}, MODE_STANDBY,
			MODE_STANDBY},
		{{A, O, I, OPERATING_OVERRUN, A, 0, I, 30, 17}, MODE_COOLING,
			MODE_OVERRUN},
		{{A, O, I, HEAT, A, 0, I, 30, 17}, MODE_COOLING, MODE_STANDBY},
		{{A, A, I, OPERATING_OFF, A, 0, I, 30, 17}, MODE_COOLING, MODE_STANDBY},
		/* No water; another run; a word that names something else. */
		{{A, O, I, OPERATING_OFF, A, 0, O, 30, 17}, MODE_STANDBY, MODE_STANDBY},
		{{A, O, I, OPERATING_OFF, A, 0, U, 30, 17}, MODE_STANDBY, MODE_STANDBY},
		{{A, O, A, 0, A, 0, U, 30, 17}, MODE_UNASSIGNED, MODE_UNASSIGNED},
		{{A, I, I, HEAT, A, 0, I, 30, 17}, MODE_HEATING, MODE_HEATING},
		{{A, A, I, WATER, A, 0, I, 30, 17}, MODE_HOT_WATER, MODE_HOT_WATER},
		{{A, O, I, OPERATING_FREEZE_PROTECTION, A, 0, I, 30, 17},
			MODE_FREEZE_PROTECTION, MODE_FREEZE_PROTECTION},
		{{I, O, A, 0, A, 0, I, 30, 17}, MODE_DEFROST, MODE_DEFROST},
	};
	const struct mode_memory memory = {NEVER_MS, NEVER_MS, STOP_MS};
	for (size_t i = 0; i < ARRAY_LEN(rows); i++) {
		bool follows = rows[i].within == MODE_COOLING;
		expect_mode(&rows[i].in, &memory, STOP_MS + OVERRUN_MS - 1,
			rows[i].within, follows ? STOP_MS + OVERRUN_MS : INT64_MAX);
		expect_mode(&rows[i].in, &memory, STOP_MS + OVERRUN_MS, rows[i].after,
			INT64_MAX);
	}
}
END

TEST(what_the_unit_does_is_remembered_of_cooling_alone)
{
	static const struct {
		struct mode_inputs in;
		enum work work;
	} rows[] = {
		{{A, I, I, OPERATING_COOLING, A, 0, I, 30, 12}, WORK_COOLING},
		{{A, I, I, OPERATING_COOLING, A, 0, O, 30, 12}, WORK_COOLING},
		{{A, O, I, OPERATING_COOLING, A, 0, I, 30, 12}, WORK_COOLING},
		{{A, O, I, OPERATING_COOLING, A, 0, A, 30, 12}, WORK_COOLING},
		{{A, A, I, OPERATING_COOLING, A, 0, O, 30, 12}, WORK_COOLING},
		{{A, O, I, OPERATING_COOLING, A, 0, O, 30, 12}, WORK_NONE},
		{{A, U, I, OPERATING_COOLING, A, 0, I, 30, 12}, WORK_NONE},
		{{I, I, I, OPERATING_COOLING, A, 0, I, 30, 12}, WORK_OTHER},
		{{A, I, I, HEAT, A, 0, I, 2, 30}, WORK_OTHER},
		{{A, A, I, WATER, A, 0, I, 2, 30}, WORK_OTHER},
		{{A, O, I, HEAT, A, 0, I, 2, 30}, WORK_NONE},
		{{A, I, I, OPERATING_OFF, A, 0, I, 2, 30}, WORK_NONE},
		{{A, I, A, 0, I, VALVE_HEATING, I, 2, 30}, WORK_OTHER},
		{{A, I, U, 0, I, VALVE_HEATING, I, 2, 30}, WORK_NONE},
	};
	struct mode_memory memory = NEVER_STOPPED;
	for (size_t i = 0; i < ARRAY_LEN(rows); i++)
		ck_assert_msg(mode_work(&rows[i].in) == rows[i].work, "row %zu", i);
	mode_worked(&memory, WORK_NONE, WORK_COOLING, 1);
	ck_assert_int_eq(memory.cooled_ms, NEVER_MS);
	mode_worked(&memory, WORK_COOLING, WORK_COOLING, 2);
	ck_assert_int_eq(memory.cooled_ms, NEVER_MS);
	mode_worked(&memory, WORK_COOLING, WORK_NONE, 3);
	ck_assert_int_eq(memory.cooled_ms, 3);
	mode_worked(&memory, WORK_NONE, WORK_NONE, 4);
	ck_assert_int_eq(memory.cooled_ms, 3);
	mode_worked(&memory, WORK_NONE, WORK_OTHER, 5);
	ck_assert_int_eq(memory.cooled_ms, NEVER_MS);
	mode_worked(&memory, WORK_COOLING, WORK_OTHER, 6);
	ck_assert_int_eq(memory.cooled_ms, NEVER_MS);
}
END

TEST(thresholds_and_window_are_settings)
{
	const struct modes_config other = {
		.overrun_ms = 1000, .freeze_outdoor_c = -3, .freeze_return_c = 8};
	const struct modes_config none = {.freeze_outdoor_c = 5, .freeze_return_c = 15};
	const struct mode_memory memory = {STOP_MS, STOP_MS, NEVER_MS};
	struct mode_inputs in = {O, O, A, 0, A, 0, I, -3.5, 7.5};
	int64_t until;

	ck_assert_int_eq(
		mode_decide(&other, &memory, &in, STOP_MS + 999, &until), MODE_OVERRUN);
	ck_assert_int_eq(until, STOP_MS + 1000);
	ck_assert_int_eq(mode_decide(&other, &memory, &in, STOP_MS + 1000, &until),
		MODE_FREEZE_PROTECTION);
	in.outdoor_c = -3;
	ck_assert_int_eq(
		mode_decide(&other, &memory, &in, STOP_MS + 1000, &until), MODE_STANDBY);
	/* A window of no length: freeze protection from the stop on. */
	ck_assert_int_eq(mode_decide(&none, &memory, &in, STOP_MS, &until),
		MODE_FREEZE_PROTECTION);
}
END

	/* What the compressor's flag did before and after each change, and whether a stop
	 * is then remembered and when. */
	struct change {
	int64_t t_ms;
	enum flag after;
};

#define CHANGES_MOST 6
#define GAP_MS       (3 * MS_PER_MIN)

TEST(a_stop_is_seen_across_gaps_of_three_minutes_and_not_beyond)
{
	static const struct {
		const char *name;
		enum flag at_start;
		struct change changes[CHANGES_MOST];
		size_t count;
		int64_t stop_ms;
	} rows[] = {
		{"stops", U, {{0, I}, {60000, O}}, 2, 60000},
		{"first word is off", U, {{0, O}}, 1, NEVER_MS},
		{"off again", U, {{0, O}, {1, U}, {2, O}}, 3, NEVER_MS},
		{"still runs", U, {{0, I}}, 1, NEVER_MS},
		{"unknown, still", U, {{0, I}, {60000, U}}, 2, NEVER_MS},
		{"gap of 3 min", U, {{0, I}, {60000, U}, {60000 + GAP_MS, O}}, 3,
			60000 + GAP_MS},
		{"gap of 3 min and 1 ms", U,
			{{0, I}, {60000, U}, {60000 + GAP_MS + 1, O}}, 3, NEVER_MS},
		{"gap of no length", U, {{0, I}, {60000, U}, {60000, O}}, 3, 60000},
		{"off, unknown, off keeps the first", U,
			{{0, I}, {60000, O}, {90000, U}, {100000, O}}, 4, 60000},
		{"off, long unknown, off", U,
			{{0, I}, {60000, O}, {90000, U}, {60001 + GAP_MS, O}}, 4, 60000},
		{"two runs", U, {{0, I}, {60000, O}, {120000, I}, {180000, O}}, 4,
			180000},
		{"an unseen stop leaves the former", U,
			{{0, I}, {60000, O}, {120000, I}, {180000, U},
				{180001 + GAP_MS, O}},
			5, 60000},
		{"gap inside a run", U, {{0, I}, {1000, U}, {9000000, I}, {9060000, O}},
			4, 9060000},
	};
	for (size_t i = 0; i < ARRAY_LEN(rows); i++) {
		struct mode_memory memory = NEVER_STOPPED;
		enum flag flag = rows[i].at_start;
		for (size_t c = 0; c < rows[i].count; c++) {
			const struct change *change = &rows[i].changes[c];
			mode_compressor(&memory, flag, change->after, change->t_ms);
			flag = change->after;
		}
		ck_assert_msg(memory.stop_ms == rows[i].stop_ms, "%s: stop at %lld",
			rows[i].name, (long long)memory.stop_ms);
	}
}
END

TEST(modes_have_the_names_that_are_answered)
{
	static const char *const names[MODE_COUNT] = {"unassigned", "heating",
		"hot_water", "defrost", "cooling", "freeze_protection", "overrun",
		"standby"};
	for (int mode = 0; mode < MODE_COUNT; mode++)
		ck_assert_str_eq(mode_name((enum mode)mode), names[mode]);
}
END

TESTS(a_defrost_flag_rules_over_everything,
	an_unknown_defrost_flag_leaves_the_time_unassigned,
	a_running_compressor_is_told_by_the_operating_mode,
	the_operating_mode_goes_before_the_valve,
	without_an_operating_mode_the_valve_tells, a_standing_state_is_taken_at_its_word,
	without_a_compressor_signal_only_the_operating_mode_tells,
	an_unknown_compressor_leaves_the_time_unassigned,
	standing_water_is_standby_and_unknown_flow_unassigned,
	freeze_protection_needs_flow_cold_air_and_cold_return,
	overrun_is_half_open_from_the_stop_to_the_windows_end,
	overrun_needs_flow_and_a_stop_that_was_seen,
	a_standing_state_goes_before_the_overrun_window,
	cooling_by_name_needs_water_that_moves,
	what_goes_round_after_cooling_is_coolings,
	what_the_unit_does_is_remembered_of_cooling_alone,
	thresholds_and_window_are_settings,
	a_stop_is_seen_across_gaps_of_three_minutes_and_not_beyond,
	modes_have_the_names_that_are_answered)
