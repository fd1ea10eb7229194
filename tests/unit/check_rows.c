/*
 * Rows of tables into readings: which cell feeds which channel, what a cell says, from
 * when and for how long. Expectations are the sentences of decoder.h and of the [table]
 * section; where cells are parted and quoted, RFC 4180, section 2 (read).
 */
#include "configured.h"

#include <heatbook/decoder.h>

#include <string.h>

#define STAMP INT64_C(1767225600000) /* 2026-01-01T00:00:00Z */

static const char text[] =
	"[plant]\nzone = Europe/Berlin\n"
	"[channel flow_temperature]\ntopic = plant/flow\nscale = 0.1\n"
	"[channel room_temperature]\n"
	"[channel valve]\nmap = 0:heating, 1:hot_water\n"
	"[table plain]\nfiles = plain*.csv\nmissing_words = -9999, fault\n"
	"column.flow_temperature = out\ncolumn.room_temperature = Stube, innen\n"
	"unit.room_temperature = °F\ncolumn.valve = #4\n"
	"[channel register]\nunit = kWh\n"
	"[meter unit]\nfeeds = compressor\nregister = register\n"
	"[table both]\ninterval = 1 h\ncovers = before\n"
	"column.room_temperature = room\ncolumn.register = kWh\n"
	"[channel part]\nunit = kWh\nstale_after = none\n"
	"[channel stands]\nunit = kWh\nstale_after = none\n"
	"[meter pumps]\nfeeds = circulation\nregister = part\nkind = increment\n"
	"[meter fan]\nfeeds = source\nregister = stands\nkind = daily\n"
	"[table parts]\ninterval = 1 h\n"
	"column.part = part\ncolumn.stands = stands\n"
	"[table ends]\ninterval = 1 h\ncovers = before\ncolumn.part = part\n"
	"[table single]\ncolumn.part = part\ncolumn.register = kWh\n"
	"[table hour]\nfiles = hour*.csv\ninterval = 1 h\ncovers = before\n"
	"column.room_temperature = room\n"
	"[table after]\nfiles = after*.csv\ninterval = 15 min\n"
	"column.room_temperature = room\n"
	"[table log]\nfiles = log*.csv\nname = sensor\nvalue = reading\n"
	"column.room_temperature = stube\ncolumn.valve = ventil\n";

static struct config *config;
static struct decoder *decoder;
static struct readings readings;
static struct buffer frames;

static void setup(void)
{
	config = configured(text);
	decoder = decoder_new(config);
}

static void teardown(void)
{
	decoder_free(decoder);
	config_free(config);
	readings_release(&readings);
	buffer_release(&frames);
	frames = (struct buffer){0};
}

static struct record row_of(const char *table, const char *head, const char *row)
{
	return (struct record){.kind = RECORD_ROW,
		.t_ms = STAMP,
		.boot_ms = -1,
		.topic = table,
		.topic_length = strlen(table),
		.head = head,
		.head_length = strlen(head),
		.payload = (const unsigned char *)row,
		.payload_length = strlen(row)};
}

/* "flow_temperature=35.2 valve=? room_temperature!outside the valid range", with
 * "@-60000" behind what is so many ms off the stamp and "+60000" behind what holds for so
 * long. */
static const char *told(void)
{
	static struct buffer out;
	buffer_reset(&out);
	for (size_t i = 0; i < readings.count; i++) {
		const struct reading *r = &readings.items[i];
		bool alive = r->kind == READING_ALIVE;
		buffer_addf(&out, "%s%s", i ? " " : "",
			alive ? config->sources[r->channel].name
			      : config->channels[r->channel].name);
		if (r->kind == READING_VALUE)
			buffer_addf(&out, "=%.10g", r->value);
		else if (r->kind == READING_NOVALUE)
			buffer_add_text(&out, "=?");
		else if (r->kind == READING_BAD)
			buffer_addf(
				&out, "!%s", bad_reason_text((enum bad_reason)r->reason));
		if (r->t_ms != STAMP)
			buffer_addf(&out, "@%lld", (long long)(r->t_ms - STAMP));
		if (r->exact_ms)
			buffer_addf(&out, "+%u", r->exact_ms);
		ck_assert_str_eq(config->sources[r->table - 1].name,
			readings.count ? config->sources[readings.items[0].table - 1].name
				       : "");
	}
	return buffer_text(&out);
}

static void expect(const struct record *row, const char *wanted)
{
	buffer_reset(&frames);
	readings.count = 0;
	record_write(row, &frames);
	ck_assert(decoder_decode(decoder, (const unsigned char *)frames.data, &readings));
	ck_assert_msg(strcmp(told(), wanted) == 0, "%.*s: %s, not %s",
		(int)row->payload_length, (const char *)row->payload, told(), wanted);
}

TEST(cells_feed_their_channels)
{
	static const char point[] = ",.time,out,\"Stube, innen\",v";
	static const char comma[] = ";,time;out;Stube, innen;v";
	static const struct {
		const char *head, *row, *wanted;
	} cases[] = {
		/* scale and offset of the channel, unless the column has its unit */
		{point, "t,352,68,1",
			"flow_temperature=35.2 room_temperature=20 valve=1"},
		{comma, "t;352,5;68;0",
			"flow_temperature=35.25 room_temperature=20 valve=0"},
		{point, "t, 352 ,\"68\",\"1\"",
			"flow_temperature=35.2 room_temperature=20 valve=1"},
		{point, "t,,\"\",  ", "flow_temperature=? room_temperature=? valve=?"},
		{point, "t,-9999,-9999.0,1",
			"flow_temperature=? room_temperature=? valve=1"},
		{point, "t,FAULT,nan,1", "flow_temperature=? room_temperature=? valve=1"},
		{point, "t,\"3,5\",68,hm",
			"flow_temperature!decimal comma or thousands mark that is not "
			"configured room_temperature=20 valve=-1"},
		{comma, "t;1.352,5;68;0",
			"flow_temperature!decimal comma or thousands mark that is not "
			"configured room_temperature=20 valve=0"},
		{point, "t,0x20,20 °C,1",
			"flow_temperature!hexadecimal number room_temperature=20 "
			"valve=1"},
		{point, "t,on,1e999,1",
			"flow_temperature!a state where a number belongs "
			"room_temperature!infinite or too large a number valve=1"},
		/* what a short row lacks it does not say */
		{point, "t,352", "flow_temperature=35.2"},
		{point, "t", "plain"},
		{point, "t,352,\"68,1",
			"flow_temperature!object or array where a value belongs "
			"room_temperature!object or array where a value belongs "
			"valve!object or array where a value belongs"},
		/* columns are found by their headers; a number counts from 1 */
		{",.v,\"Stube, innen\",out,x,y", "1,68,352,0,1",
			"room_temperature=20 flow_temperature=35.2 valve=0"},
		{",.", "1,68,352,1", "valve=1"},
	};
	setup();
	for (size_t i = 0; i < ARRAY_LEN(cases); i++) {
		struct record row = row_of("plain", cases[i].head, cases[i].row);
		expect(&row, cases[i].wanted);
	}
	teardown();
}
END

TEST(a_row_holds_for_what_it_covers)
{
	setup();
	struct record before = row_of("hour", ",.t,room", "x,20.5");
	struct record after = row_of("after", ",.t,room", "x,20.5");
	int64_t first_ms, last_ms;
	expect(&before, "room_temperature=20.5@-3600000+3600000");
	ck_assert(decoder_row_span(decoder, &before, &first_ms, &last_ms));
	ck_assert_int_eq(first_ms, STAMP - 3600000);
	ck_assert_int_eq(last_ms, STAMP - 3600000);
	before.number[0] = 60000; /* of its own */
	expect(&before, "room_temperature=20.5@-60000+60000");
	expect(&after, "room_temperature=20.5+900000");
	ck_assert(decoder_row_span(decoder, &after, &first_ms, &last_ms));
	ck_assert_int_eq(first_ms, STAMP);
	ck_assert_int_eq(last_ms, STAMP);
	teardown();
}
END

/* Of the hour that the row covers, its register stands at the end; it is reported for as
 * long again, and for its limit (15 min) beyond. */
TEST(a_register_counts_at_the_stamp)
{
	int64_t first_ms, last_ms;
	setup();
	struct record row = row_of("both", ",.t,room,kWh", "x,20.5,1200");
	expect(&row, "room_temperature=20.5@-3600000+3600000 register=1200+4500000");
	ck_assert(decoder_row_span(decoder, &row, &first_ms, &last_ms));
	ck_assert_int_eq(first_ms, STAMP - 3600000);
	ck_assert_int_eq(last_ms, STAMP);
	teardown();
}
END

/* Whichever end of it the stamp marks; without an interval it is since the row before. */
TEST(an_increment_is_of_what_the_row_covers)
{
	int64_t first_ms, last_ms;
	setup();
	struct record after = row_of("parts", ",.t,part,stands", "x,0.4,7.25");
	struct record before = row_of("ends", ",.t,part", "x,0.4");
	struct record none = row_of("single", ",.t,part,kWh", "x,0.4,1200");
	expect(&after, "part=0.4+3600000 stands=7.25+4294967295"); /* no limit */
	ck_assert(decoder_row_span(decoder, &after, &first_ms, &last_ms));
	ck_assert_int_eq(first_ms, STAMP);
	ck_assert_int_eq(last_ms, STAMP);
	expect(&before, "part=0.4@-3600000+3600000");
	ck_assert(decoder_row_span(decoder, &before, &first_ms, &last_ms));
	ck_assert_int_eq(first_ms, STAMP - 3600000);
	ck_assert_int_eq(last_ms, STAMP - 3600000);
	before.number[0] = 1800000; /* it shares its stamp */
	expect(&before, "part=0.4@-1800000+1800000");
	expect(&none, "part=0.4 register=1200");
	teardown();
}
END

TEST(a_long_table_names_its_channels)
{
	static const char *const cases[][2] = {
		{"t;stube;20,5", "room_temperature=20.5"},
		{"t;\"stube\";\"20,5\"", "room_temperature=20.5"},
		{"t;ventil;1", "valve=1"},
		{"t;other;1", "log"}, /* a sign of life */
		{"t;stube", "log"},
		{"t;stube;", "room_temperature=?"},
	};
	setup();
	for (size_t i = 0; i < ARRAY_LEN(cases); i++) {
		struct record row = row_of("log", ";,time;sensor;reading", cases[i][0]);
		expect(&row, cases[i][1]);
	}
	teardown();
}
END

TEST(what_has_no_section_makes_no_reading)
{
	int64_t first_ms, last_ms;
	setup();
	struct record row = row_of("gone", ",.t,room", "x,20.5");
	expect(&row, "");
	ck_assert(!decoder_row_span(decoder, &row, &first_ms, &last_ms));
	ck_assert_int_eq(first_ms, STAMP);
	row = row_of("after", ",.t,room", "x,20.5");
	row.unsure = true;
	expect(&row, "");
	teardown();
}
END

TEST(many_headers_give_what_one_gives)
{
	char head[64], line[64];
	setup();
	for (int round = 0; round < 3; round++)
		for (int i = 0; i < 200; i++) {
			(void)snprintf(head, sizeof(head), ",.t,x%d,room", i);
			(void)snprintf(line, sizeof(line), "t,1,%d", i % 40);
			struct record row = row_of("after", head, line);
			char wanted[64];
			(void)snprintf(wanted, sizeof(wanted),
				"room_temperature=%d+900000", i % 40);
			expect(&row, wanted);
		}
	teardown();
}
END

/* The order of readings is that of their rows, wherever these stand. */
TEST(rows_of_one_time_have_one_order_in_any_block)
{
	static const char *const rows[] = {"x,5", "x,21", "x,20", "x,20", "x,-3"};
	setup();
	for (int way = 0; way < 2; way++) {
		struct row_block block = {0};
		buffer_reset(&frames);
		readings.count = 0;
		for (size_t i = 0; i < ARRAY_LEN(rows); i++) {
			size_t at = way ? ARRAY_LEN(rows) - 1 - i : i;
			struct record row = row_of("after", ",.t,room", rows[at]);
			if (way)
				record_write(&row, &frames);
			else
				record_add_row(&row, &frames, &block);
		}
		const unsigned char *frame = (const unsigned char *)frames.data;
		struct record read;
		for (size_t left = frames.length, size; left > 0;
			left -= size, frame += size) {
			size = record_read(frame, left, &read);
			ck_assert(decoder_decode(decoder, frame, &readings));
		}
		readings_sort(&readings);
		ck_assert_str_eq(told(),
			"room_temperature=-3+900000 room_temperature=20+900000 "
			"room_temperature=20+900000 room_temperature=21+900000 "
			"room_temperature=5+900000");
		ck_assert_int_eq(
			reading_compare(&readings.items[1], &readings.items[2]), 0);
	}
	teardown();
}
END

TEST(what_is_bad_is_counted_by_table)
{
	size_t count;
	setup();
	struct record row = row_of("after", ",.t,room", "x,warm");
	expect(&row, "room_temperature!not a number and no known word+900000");
	const struct bad_count *bad = decoder_bad(decoder, &count);
	ck_assert_uint_eq(count, 1);
	ck_assert_str_eq(bad[0].topic, "after");
	ck_assert_str_eq(bad[0].sample, "warm");
	teardown();
}
END

/* Words of failing thermometers, common practice of the trade (see payload.c). */
TEST(a_failed_thermometer_says_nothing_in_a_plain_cell_either)
{
	static const char *const faults[] = {
		"-127", "-127.0", "327.67", "-327.68", "3276.7", "655.35", "32767"};
	char row[64];
	setup();
	for (size_t i = 0; i < ARRAY_LEN(faults); i++) {
		for (int quoted = 0; quoted < 2; quoted++) {
			(void)snprintf(row, sizeof(row), quoted ? "t,\"%s\"" : "t,%s",
				faults[i]);
			struct record r = row_of("after", ",.t,room", row);
			expect(&r, "room_temperature=?+900000");
		}
	}
	struct record r = row_of("after", ",.t,room", "t,-126");
	expect(&r, "room_temperature=-126+900000");
	teardown();
}
END

TESTS(cells_feed_their_channels, a_register_counts_at_the_stamp,
	an_increment_is_of_what_the_row_covers, a_row_holds_for_what_it_covers,
	a_long_table_names_its_channels, what_has_no_section_makes_no_reading,
	many_headers_give_what_one_gives, rows_of_one_time_have_one_order_in_any_block,
	what_is_bad_is_counted_by_table,
	a_failed_thermometer_says_nothing_in_a_plain_cell_either)
