/*
 * Words of payloads, row by row of the table of cases; numbers against strtod(3) of the C
 * library (ROUNDS in the environment asks for more than the usual 200,000); instants
 * against their own definitions (POSIX epoch, RFC 3339, section 5.8: from memory).
 */
#include "unit.h"

#include <heatbook/calendar.h>
#include <heatbook/payload.h>

#include <errno.h>

#define W(text) ((char[]){text}) /* the configuration owns its texts */

static char *missing[] = {
	W("n/a"), W("none"), W("null"), W("nan"), W("-"), W("--"), W("???"), W("keine")};
static struct config config = {
	.missing_words = missing, .missing_word_count = ARRAY_LEN(missing)};

static struct channel_config numeric(const char *unit)
{
	const struct unit *u = unit_find(unit, strlen(unit));
	ck_assert_ptr_nonnull(u);
	return (struct channel_config){.name = W("x"),
		.unit = u,
		.dimension = u->dimension,
		.scale = 1,
		.valid_least = -INFINITY,
		.valid_most = INFINITY,
		.source = -1};
}

static struct map_entry map[] = {{W("0"), 0}, {W("off"), 0}, {W("aus"), 0}, {W("1"), 1},
	{W("on"), 1}, {W("true"), 1}, {W("false"), 0}, {W("öffnen"), 1}, {W("none"), 0}};
static char *states[] = {W("off"), W("on")};

static struct channel_config stateful(void)
{
	return (struct channel_config){.name = W("s"),
		.unit = unit_own(DIMENSION_STATE),
		.dimension = DIMENSION_STATE,
		.scale = 1,
		.map = map,
		.map_count = ARRAY_LEN(map),
		.states = states,
		.state_count = 2,
		.valid_least = -INFINITY,
		.valid_most = INFINITY};
}

/* Expected outcome of a text: a value, NOVALUE, or BAD with its reason. */
struct row {
	const char *text;
	enum reading_kind kind;
	enum bad_reason reason;
	double value;
};
#define V(text, number)                                                                  \
	{                                                                                \
		text, READING_VALUE, BAD_NONE, number                                    \
	}
#define N(text)                                                                          \
	{                                                                                \
		text, READING_NOVALUE, BAD_NONE, 0                                       \
	}
#define B(text, reason)                                                                  \
	{                                                                                \
		text, READING_BAD, reason, 0                                             \
	}

static void check_word(const char *text, struct word got, const struct row *row)
{
	ck_assert_msg(got.kind == row->kind, "'%s': kind %d, wanted %d", text, got.kind,
		row->kind);
	ck_assert_msg(got.reason == row->reason, "'%s': %s, wanted %s", text,
		bad_reason_text(got.reason), bad_reason_text(row->reason));
	if (row->kind == READING_VALUE)
		ck_assert_msg(fabs(got.value - row->value) <= 1e-12 * fabs(row->value),
			"'%s': %.17g, wanted %.17g", text, got.value, row->value);
	else
		ck_assert_msg(isnan(got.value), "'%s': a value beside", text);
}

static void check_rows(
	const struct channel_config *channel, const struct row *rows, size_t count)
{
	for (size_t i = 0; i < count; i++) {
		size_t length = strlen(rows[i].text);
		char *exact = xmalloc(length); /* no byte behind the end */
		memcpy(exact, rows[i].text, length);
		check_word(rows[i].text, payload_text(&config, channel, exact, length),
			&rows[i]);
		free(exact);
	}
}

TEST(plain_numbers_are_accepted)
{
	static const struct row rows[] = {V("21.5", 21.5), V("+21.5", 21.5), V("-3", -3),
		V("007", 7), V("1e3", 1000), V("1E-2", 0.01), V(".5", 0.5), V("5.", 5),
		V("-0", 0), V("0", 0), B("0x1f", BAD_HEX), B("-0X1", BAD_HEX),
		B("1.2.3", BAD_SEPARATOR), B("12-3", BAD_NOT_A_NUMBER), B("-", BAD_NONE),
		B("+", BAD_NOT_A_NUMBER), B(".", BAD_NOT_A_NUMBER),
		B("e5", BAD_NOT_A_NUMBER), B("--5", BAD_NOT_A_NUMBER), B("1e", BAD_UNIT),
		B("2026-01-31", BAD_NOT_A_NUMBER), B("12:30", BAD_NOT_A_NUMBER)};
	struct channel_config c = numeric("W");
	for (size_t i = 0; i < ARRAY_LEN(rows); i++) {
		struct row row = rows[i];
		if (strcmp(row.text, "-") == 0) /* a word for "missing" */
			row.kind = READING_NOVALUE;
		check_rows(&c, &row, 1);
	}
}
END

TEST(what_surrounds_a_number_is_stripped)
{
	static const struct row rows[] = {V("  21.5\r\n", 21.5), V("\t1", 1),
		V("\xef\xbb\xbf"
		  "21.5",
			21.5),
		V("\xef\xbb\xbf 21.5 ", 21.5), N("\xef\xbb\xbf"), N(" \r\n")};
	struct channel_config c = numeric("W");
	check_rows(&c, rows, ARRAY_LEN(rows));
	struct word w = payload_text(&config, &c, "21.5\0", 5);
	ck_assert(w.kind == READING_VALUE && w.value == 21.5);
	w = payload_text(&config, &c, "\0", 1);
	ck_assert_int_eq(w.kind, READING_NOVALUE);
	w = payload_text(&config, &c, NULL, 0);
	ck_assert_int_eq(w.kind, READING_NOVALUE);
}
END

TEST(binary_and_long_texts_are_refused)
{
	struct channel_config c = numeric("W"), s = stateful();
	static const char bytes[] = "2\0001", bell[] = "21\a";
	ck_assert_int_eq(payload_text(&config, &c, bytes, 3).reason, BAD_BINARY);
	ck_assert_int_eq(payload_text(&config, &s, bytes, 3).reason, BAD_BINARY);
	ck_assert_int_eq(payload_text(&config, &c, bell, 3).reason, BAD_BINARY);
	char *text = xmalloc(PAYLOAD_MOST + 1);
	memset(text, '1', PAYLOAD_MOST + 1);
	ck_assert_int_eq(
		payload_text(&config, &c, text, PAYLOAD_MOST + 1).reason, BAD_TOO_LONG);
	ck_assert_int_eq(
		payload_text(&config, &c, text, PAYLOAD_MOST).reason, BAD_INFINITE);
	free(text);
}
END

TEST(a_decimal_comma_is_accepted_where_it_cannot_be_else)
{
	static const struct row rows[] = {V("21,5", 21.5), V("-0,25", -0.25),
		V("1,2345", 1.2345), V("21,50 ", 21.5), V("1,5e2", 150),
		B("1,234", BAD_SEPARATOR), B("0,512", BAD_SEPARATOR),
		B("1,234.5", BAD_SEPARATOR), B("1.234,5", BAD_SEPARATOR),
		B("1,234,567", BAD_SEPARATOR), B("1.234.567", BAD_SEPARATOR),
		V("1.234", 1.234), B("12 345", BAD_SEPARATOR), B("12'345", BAD_SEPARATOR),
		V(",5", 0.5), V("5,", 5), B(",", BAD_NOT_A_NUMBER),
		V("1234567", 1234567)};
	struct channel_config c = numeric("W");
	check_rows(&c, rows, ARRAY_LEN(rows));
}
END

TEST(marks_are_read_as_configured)
{
	static const struct {
		enum decimal_mark decimal;
		bool thousands;
		struct row row;
	} cases[] = {
		{DECIMAL_COMMA, false, V("1,234", 1.234)},
		{DECIMAL_COMMA, false, V("12", 12)},
		{DECIMAL_COMMA, false, B("21.5", BAD_SEPARATOR)},
		{DECIMAL_COMMA, false, B("1.234,5", BAD_SEPARATOR)},
		{DECIMAL_COMMA, true, V("1.234,5", 1234.5)},
		{DECIMAL_COMMA, true, V("1.234", 1234)},
		{DECIMAL_COMMA, true, V("1.234.567,25", 1234567.25)},
		{DECIMAL_COMMA, true, V("1234,5", 1234.5)},
		{DECIMAL_COMMA, true, B("21.5", BAD_SEPARATOR)},
		{DECIMAL_COMMA, true, B("1,5,5", BAD_SEPARATOR)},
		{DECIMAL_POINT, false, V("1.234", 1.234)},
		{DECIMAL_POINT, false, B("21,5", BAD_SEPARATOR)},
		{DECIMAL_POINT, false, B("1,234", BAD_SEPARATOR)},
		{DECIMAL_POINT, true, V("1,234", 1234)},
		{DECIMAL_POINT, true, V("-1,234,567.5", -1234567.5)},
		{DECIMAL_POINT, true, B("1,23", BAD_SEPARATOR)},
		{DECIMAL_POINT, true, B("12345,678", BAD_SEPARATOR)},
		{DECIMAL_POINT, true, B("1,234,56", BAD_SEPARATOR)},
		{DECIMAL_POINT, true, B(",234", BAD_SEPARATOR)},
		{DECIMAL_POINT, true, B("1.5,234", BAD_SEPARATOR)},
		{DECIMAL_DETECT, true, V("1,234.5", 1234.5)},
		{DECIMAL_DETECT, true, V("1.234,5", 1234.5)},
		{DECIMAL_DETECT, true, V("1,234,567", 1234567)},
		{DECIMAL_DETECT, true, V("1.234.567", 1234567)},
		{DECIMAL_DETECT, true, B("1,234", BAD_SEPARATOR)},
		{DECIMAL_DETECT, true, V("21,5", 21.5)},
	};
	for (size_t i = 0; i < ARRAY_LEN(cases); i++) {
		struct channel_config c = numeric("W");
		c.decimal = cases[i].decimal;
		c.thousands = cases[i].thousands;
		check_rows(&c, &cases[i].row, 1);
	}
}
END

TEST(words_for_missing_are_no_value)
{
	static const struct row rows[] = {N(""), N("null"), N("N/A"), N("None"), N("--"),
		N("???"), N("NaN"), N("-nan"), N(" Keine "), B("inf", BAD_INFINITE),
		B("-Infinity", BAD_INFINITE), B("1e999", BAD_INFINITE),
		B("unknown", BAD_NOT_A_NUMBER)};
	struct channel_config c = numeric("W"), s = stateful();
	check_rows(&c, rows, ARRAY_LEN(rows));
	static const struct row state_rows[] = {N(""), N("NULL"), V("none", 0)};
	check_rows(&s, state_rows, ARRAY_LEN(state_rows));
	config.missing_word_count = 0;
	static const struct row always[] = {N("nan"), N(""), B("n/a", BAD_NOT_A_NUMBER)};
	check_rows(&c, always, ARRAY_LEN(always));
}
END

TEST(states_are_looked_up_and_never_taken_for_numbers)
{
	static const struct row rows[] = {V("ON", 1), V("off", 0), V("Aus", 0),
		V("ÖFFNEN", 1), V("1", 1), V("1.0", 1), V("+0", 0), V("1e0", 1),
		V("2", STATE_UNKNOWN), V("Abtauen", STATE_UNKNOWN), V("o", STATE_UNKNOWN),
		V("onn", STATE_UNKNOWN), V("inf", STATE_UNKNOWN),
		V("\xff\xfe", STATE_UNKNOWN)};
	static const struct row numeric_rows[] = {B("ON", BAD_STATE_FOR_NUMBER),
		B("false", BAD_STATE_FOR_NUMBER), B("Yes", BAD_STATE_FOR_NUMBER),
		B("closed", BAD_STATE_FOR_NUMBER), V("1", 1),
		B("heating", BAD_NOT_A_NUMBER)};
	struct channel_config c = numeric("W"), s = stateful();
	check_rows(&s, rows, ARRAY_LEN(rows));
	check_rows(&c, numeric_rows, ARRAY_LEN(numeric_rows));
	char text[300];
	memset(text, 'o', sizeof(text));
	ck_assert(payload_text(&config, &s, text, sizeof(text)).value == STATE_UNKNOWN);
	ck_assert(payload_number(&s, 1.0).value == 1);
	ck_assert(payload_number(&s, 7.0).value == STATE_UNKNOWN);
	ck_assert(
		payload_bool(&s, true).value == 1 && payload_bool(&s, false).value == 0);
	ck_assert_int_eq(payload_bool(&c, true).reason, BAD_STATE_FOR_NUMBER);
	s.map_count = 1;
	ck_assert(payload_bool(&s, false).value == STATE_UNKNOWN);
}
END

TEST(units_in_the_value_are_converted_within_the_dimension)
{
	static const struct {
		const char *unit;
		struct row row;
	} cases[] = {
		{"°C", V("45.2 °C", 45.2)},
		{"°C", V("45.2\xb0"
			 "C",
			       45.2)},
		{"°C", V("113 °F", 45)},
		{"°C", V("45,5 C", 45.5)},
		{"°F", V("45.2 °C", 45.2)},
		{"°F", V("212", 100)},
		{"W", V("1.2 kW", 1200)},
		{"kW", V("1.2kW", 1200)},
		{"kW", V("1200 W", 1200)},
		{"kW", V("1.2", 1200)},
		{"kWh", V("1500 Wh", 1.5)},
		{"L/min", V("1.2 m³/h", 20)},
		{"%", V("55 %", 55)},
		{"°C", B("45.2 furlong", BAD_UNIT)},
		{"°C", B("45.2 kW", BAD_UNIT)},
		{"W", B("3 kWh", BAD_UNIT)},
		{"L/min", B("0.3 kg/s", BAD_UNIT)},
		{"kg/s", V("0.3 kg/s", 18)},
	};
	for (size_t i = 0; i < ARRAY_LEN(cases); i++) {
		struct channel_config c = numeric(cases[i].unit);
		check_rows(&c, &cases[i].row, 1);
	}
}
END

TEST(integers_are_scaled_and_unwrapped)
{
	static const struct {
		int bits;
		double raw, scale, offset;
		struct row row;
	} cases[] = {
		{0, 452, 0.1, 0, V("", 45.2)},
		{0, 452, 0.1, -5, V("", 40.2)},
		{16, 65535, 0.1, 0, V("", -0.1)},
		{16, 32769, 1, 0, V("", -32767)},
		{16, 32766, 1, 0, V("", 32766)},
		{16, -5, 1, 0, V("", -5)},
		{16, 65536, 1, 0, B("", BAD_RANGE)},
		{16, -32769, 1, 0, B("", BAD_RANGE)},
		{8, 255, 1, 0, V("", -1)},
		{32, 4294967295.0, 1, 0, V("", -1)},
		{16, 1.5, 1, 0, B("", BAD_NOT_A_NUMBER)},
		{0, 1e308, 1e10, 0, B("", BAD_INFINITE)},
		{0, INFINITY, 1, 0, B("", BAD_INFINITE)},
		{0, NAN, 1, 0, N("")},
	};
	for (size_t i = 0; i < ARRAY_LEN(cases); i++) {
		struct channel_config c = numeric("°C");
		c.integer_bits = cases[i].bits;
		c.scale = cases[i].scale;
		c.offset = cases[i].offset;
		check_word("number", payload_number(&c, cases[i].raw), &cases[i].row);
	}
}
END

TEST(values_out_of_the_valid_range_are_bad)
{
	static const struct row rows[] = {V("-20", -20), V("80", 80),
		B("80.01", BAD_RANGE), B("-20.5", BAD_RANGE), B("-126", BAD_RANGE),
		B("200 °F", BAD_RANGE)};
	struct channel_config c = numeric("°C");
	c.valid_least = -20;
	c.valid_most = 80;
	check_rows(&c, rows, ARRAY_LEN(rows));
}
END

TEST(thermometers_that_fail_say_so_by_number)
{
	static const struct {
		const char *unit;
		int bits;
		double raw, scale;
		struct row row;
	} cases[] = {
		{"°C", 0, -127, 1, N("does not answer")},
		{"°C", 0, -1270, 0.1, N("the same, scaled")},
		{"°F", 0, -196.6, 1, N("the same, °F")},
		{"°C", 16, 32767, 0.1, N("greatest of 16 bits")},
		{"°C", 16, 32768, 0.1, N("least of 16 bits, wrapped")},
		{"°C", 0, -32768, 0.1, N("least of 16 bits")},
		{"°C", 0, 65535, 0.01, N("all bits, not wrapped")},
		{"°C", 0, 3276.7, 1, N("scaled by the gateway")},
		{"°C", 0, -327.68, 1, N("likewise")},
		{"°C", 16, 65535, 0.0625, V("all bits, wrapped: may be true", -0.0625)},
		{"°C", 0, 85, 1, V("may be true", 85)},
		{"W", 0, 32767, 1, V("no thermometer", 32767)},
		{"W", 0, -127, 1, V("no thermometer", -127)},
	};
	for (size_t i = 0; i < ARRAY_LEN(cases); i++) {
		struct channel_config c = numeric(cases[i].unit);
		c.integer_bits = cases[i].bits;
		c.scale = cases[i].scale;
		check_word(cases[i].row.text, payload_number(&c, cases[i].raw),
			&cases[i].row);
	}
	/* A fault, not a value out of range: the hold ends at once. */
	struct channel_config c = numeric("°C");
	c.valid_least = -20;
	ck_assert_int_eq(payload_number(&c, -127).kind, READING_NOVALUE);
}
END

	/* ---- numbers ---- */

	static void
	assert_equals_strtod(const char *text)
{
	double got, wanted = strtod(text, NULL);
	ck_assert_msg(number_parse(text, strlen(text), &got) == 0, "%s", text);
	ck_assert_msg(memcmp(&got, &wanted, sizeof(got)) == 0, "%s: %a, wanted %a", text,
		got, wanted);
}

TEST(random_decimals_equal_the_c_library)
{
	uint64_t state = unit_seed();
	uint64_t count = unit_rounds(200000);
	for (uint64_t i = 0; i < count; i++) {
		char text[64];
		int whole = (int)(unit_random(&state) % 10),
		    part = (int)(unit_random(&state) % 10);
		long long a = (long long)(unit_random(&state) % 1000000000);
		long long b = (long long)(unit_random(&state) % 1000000000);
		int exponent = (int)(unit_random(&state) % (i % 8 ? 60 : 700)) -
			       (i % 8 ? 30 : 350);
		const char *sign = i % 3 == 0 ? "-" : i % 3 == 1 ? "+" : "";
		if (i % 2)
			snprintf(text, sizeof(text), "%s%0*lld.%0*lld", sign, whole, a,
				part, b);
		else
			snprintf(text, sizeof(text), "%s%lld.%llde%d", sign, a, b,
				exponent);
		assert_equals_strtod(text);
	}
}
END

TEST(doubles_written_in_full_come_back)
{
	uint64_t state = unit_seed();
	for (int i = 0; i < 50000; i++) {
		uint64_t bits = unit_random(&state);
		double wanted, got;
		char text[64];
		memcpy(&wanted, &bits, sizeof(wanted));
		if (!isfinite(wanted))
			continue;
		snprintf(text, sizeof(text), "%.17g", wanted);
		ck_assert_int_eq(number_parse(text, strlen(text), &got), 0);
		ck_assert_msg(memcmp(&got, &wanted, sizeof(got)) == 0, "%s", text);
	}
}
END

TEST(odd_decimals_equal_the_c_library)
{
	static const char *const texts[] = {"0", "-0", "0.0", "0e999", "1e22", "1e23",
		"1e-22", "1e-23", "9007199254740993", "999999999999999e22",
		"9007199254740992.5", "2.2250738585072011e-308", "4.9e-324", "1e-400",
		"1.7976931348623157e308", "000000000000000000000000.1",
		"0.000000000000000000000000000001", "123456789012345678901234567890",
		"1e00000000000000000000001"};
	for (size_t i = 0; i < ARRAY_LEN(texts); i++)
		assert_equals_strtod(texts[i]);
	char *text = xmalloc(5001);
	memset(text, '9', 5000);
	text[1] = '.';
	text[5000] = '\0';
	assert_equals_strtod(text);
	free(text);
}
END

TEST(what_is_no_decimal_is_refused)
{
	static const char *const texts[] = {"", "+", "-", ".", "e", "1e", "1e+", "1e5.",
		"1..2", "1.2.", "0x10", "inf", "nan", " 1", "1 ", "1,5", "--1", "+-1",
		"1e5e5", "1f"};
	double value = 7;
	for (size_t i = 0; i < ARRAY_LEN(texts); i++)
		ck_assert_msg(number_parse(texts[i], strlen(texts[i]), &value) == -EINVAL,
			"%s", texts[i]);
	ck_assert(value == 7);
	ck_assert_int_eq(number_parse("1\0", 2, &value), -EINVAL);
}
END

/* ---- instants ---- */

#define STAMP INT64_C(1769853600000) /* 2026-01-31T10:00:00Z */

	static void
	check_time(const char *text, enum time_form form, int64_t wanted)
{
	int64_t got = -1;
	int r = payload_time_text(text, strlen(text), form, STAMP, &got);
	ck_assert_msg(r == (wanted < 0 ? -EINVAL : 0), "'%s': %d", text, r);
	ck_assert_msg(got == wanted, "'%s': %lld, wanted %lld", text, (long long)got,
		(long long)wanted);
}

TEST(epochs_are_told_apart_by_size_or_as_declared)
{
	check_time("1769853540", TIME_FORM_DETECT, STAMP - 60000);
	check_time("1769853540.25", TIME_FORM_DETECT, STAMP - 59750);
	check_time("1769853540123", TIME_FORM_DETECT, STAMP - 59877);
	check_time("1769853540123456", TIME_FORM_DETECT, STAMP - 59877);
	check_time("1769853540123456789", TIME_FORM_DETECT, STAMP - 59877);
	check_time(" 1769853540\r\n", TIME_FORM_S, STAMP - 60000);
	check_time("1769853540123", TIME_FORM_MS, STAMP - 59877);
	check_time("1769853540123456", TIME_FORM_US, STAMP - 59877);
	check_time("1769853540123456789", TIME_FORM_NS, STAMP - 59877);
	check_time("1769853540", TIME_FORM_MS, STAMP); /* 1970: no clock */
	check_time("1769853540", TIME_FORM_ISO, -1);
	check_time("1e30", TIME_FORM_DETECT, -1);
	check_time("1e999", TIME_FORM_S, -1);
	check_time("soon", TIME_FORM_DETECT, -1);
	check_time("", TIME_FORM_DETECT, -1);
	check_time("2026-01-31T10:00:00Z", TIME_FORM_S, -1);
}
END

TEST(seconds_with_decimals_give_their_milliseconds)
{
	for (int ms = 0; ms < 1000; ms++) {
		char text[32];
		snprintf(text, sizeof(text), "1769853540.%03d", ms);
		check_time(text, TIME_FORM_S, STAMP - 60000 + ms);
		/* in 2038 the product with 1000 is not always whole */
		snprintf(text, sizeof(text), "2150000000.%03d", ms);
		check_time(text, TIME_FORM_S, INT64_C(2150000000000) + ms);
	}
}
END

TEST(times_before_2020_mean_the_stamp)
{
	static const char *const texts[] = {"0", "-5", "946684800", "1577836799",
		"1577836799999", "1970-01-01T00:00:00Z", "2000-01-01T00:00:00+01:00",
		"2019-12-31T23:59:59Z", "2019-12-31 12:00:00"};
	int64_t t_ms;
	for (size_t i = 0; i < ARRAY_LEN(texts); i++)
		check_time(texts[i], TIME_FORM_DETECT, STAMP);
	check_time("1577836800", TIME_FORM_DETECT, INT64_C(1577836800000));
	ck_assert_int_eq(payload_time_number(-1e300, TIME_FORM_S, STAMP, &t_ms), 0);
	ck_assert_int_eq(t_ms, STAMP);
	ck_assert_int_eq(payload_time_number(NAN, TIME_FORM_S, STAMP, &t_ms), -EINVAL);
}
END

TEST(iso_times_are_read_with_and_without_zone)
{
	ck_assert_int_eq(calendar_set_zone("Europe/Berlin"), 0);
	check_time("2026-01-31T10:00:00Z", TIME_FORM_DETECT, STAMP);
	check_time("2026-01-31t10:00:00z", TIME_FORM_ISO, STAMP);
	check_time("2026-01-31T11:00:00+01:00", TIME_FORM_ISO, STAMP);
	check_time("2026-01-31 11:00:00 +0100", TIME_FORM_ISO, STAMP);
	check_time("2026-01-31T11:00:00+01", TIME_FORM_ISO, STAMP);
	check_time("2026-01-31T10:00:00.123456Z", TIME_FORM_ISO, STAMP + 123);
	check_time("2026-01-31T10:00:00,5Z", TIME_FORM_ISO, STAMP + 500);
	check_time("2026-01-31T10:00Z", TIME_FORM_ISO, STAMP);
	check_time("20260131T100000Z", TIME_FORM_ISO, STAMP);
	check_time("20260131T1000Z", TIME_FORM_ISO, STAMP);
	check_time("2026-01-31T11:00:00", TIME_FORM_ISO, STAMP);
	check_time("2026-01-31 11:00", TIME_FORM_ISO, STAMP);
	static const char *const wrong[] = {"2026-01-31", "2026-02-30T10:00:00Z",
		"2026-01-31T25:00:00Z", "2026-01-31T10:00:00Q", "2026-01-31T10:00:00+1",
		"2026-01-31T10:00:Z", "2026-01-31T10:00:00.Z",
		"2026-01-31T10:00:00+01:", "26-01-31T10:00:00Z",
		"2026-01-31T10:00:00Z Z"};
	for (size_t i = 0; i < ARRAY_LEN(wrong); i++)
		check_time(wrong[i], TIME_FORM_ISO, -1);
}
END

TEST(an_ambiguous_hour_is_the_one_nearest_to_the_stamp)
{
	/* 2025-10-26 in Berlin: 02:30 is 00:30Z (summer time) and again 01:30Z. */
	const int64_t first = INT64_C(1761438600000), second = first + 3600000;
	int64_t t_ms;
	ck_assert_int_eq(calendar_set_zone("Europe/Berlin"), 0);
	ck_assert_int_eq(payload_time_text("2025-10-26T02:30:00", 19, TIME_FORM_DETECT,
				 first + 5000, &t_ms),
		0);
	ck_assert_int_eq(t_ms, first);
	ck_assert_int_eq(payload_time_text("2025-10-26T02:30:00", 19, TIME_FORM_DETECT,
				 second + 5000, &t_ms),
		0);
	ck_assert_int_eq(t_ms, second);
}
END

TESTS(plain_numbers_are_accepted, what_surrounds_a_number_is_stripped,
	binary_and_long_texts_are_refused, a_decimal_comma_is_accepted_where_it_cannot_be_else,
	marks_are_read_as_configured, words_for_missing_are_no_value,
	states_are_looked_up_and_never_taken_for_numbers,
	units_in_the_value_are_converted_within_the_dimension, integers_are_scaled_and_unwrapped,
	values_out_of_the_valid_range_are_bad, thermometers_that_fail_say_so_by_number, random_decimals_equal_the_c_library,
	doubles_written_in_full_come_back, odd_decimals_equal_the_c_library,
	what_is_no_decimal_is_refused, epochs_are_told_apart_by_size_or_as_declared,
	seconds_with_decimals_give_their_milliseconds, times_before_2020_mean_the_stamp, iso_times_are_read_with_and_without_zone,
	an_ambiguous_hour_is_the_one_nearest_to_the_stamp)
