/*
 * Sheets: the same cells as JSON columns and as CSV lines; and who is given CSV.
 *
 * References: RFC 4180, 2 (CR LF, quotes doubled, fields with commas, quotes or line ends
 * quoted); RFC 9110, 12.5.1 (the most specific range that matches decides; q=0 is "not
 * acceptable"); what has JSON in a draw is face.h's contract.
 */
#include "unit.h"

#include "../../daemon/http/face.h"
#include "../../daemon/http/sheet.h"

#include <heatbook/calendar.h>

static void fill(struct sheet *sheet)
{
	static const char *const words[] = {"plain", "a,b", "say \"no\"", "two\r\nlines"};
	struct sheet_column t = {
		.name = "t", .ucum = "s", .decimals = SHEET_SECONDS, .instant = true};
	struct sheet_column w = {.name = "word", .words = words};
	struct sheet_column x = {.name = "x", .ucum = "Cel", .decimals = 2};
	struct sheet_column m = {.group = SHEET_MODE,
		.member = "heating",
		.name = "x_s",
		.ucum = "s",
		.decimals = SHEET_SECONDS};
	struct sheet_column again = t;
	again.group = SHEET_MODE;
	again.member = "heating";
	*sheet = (struct sheet){.rows = 5};
	struct cell *cells = sheet_add(sheet, &t);
	for (int i = 0; i < 5; i++)
		cells[i] = (struct cell){true, INT64_C(1769853600000) + i * 60000};
	cells = sheet_add(sheet, &w);
	for (int i = 0; i < 4; i++)
		cells[i] = (struct cell){true, i};
	cells = sheet_add(sheet, &x);
	cells[0] = cell_of(-0.004, 2);
	cells[1] = cell_of(21.456, 2);
	cells[2] = cell_of((double)NAN, 2);
	cells[3] = cell_of(-1234.5, 2);
	cells[4] = cell_of(1e300, 2);
	cells = sheet_add(sheet, &again);
	for (int i = 0; i < 5; i++)
		cells[i] = (struct cell){true, 1};
	cells = sheet_add(sheet, &m);
	cells[0] = (struct cell){true, 60000};
	cells[1] = (struct cell){true, 59987};
}

static void expect_csv(struct csv_form form, const char *wanted)
{
	struct sheet sheet;
	struct buffer out = {0};
	fill(&sheet);
	sheet_csv(&sheet, &form, &out);
	ck_assert_str_eq(buffer_text(&out), wanted);
	buffer_release(&out);
	sheet_release(&sheet);
}

TEST(lines_are_those_of_the_standard)
{
	ck_assert_int_eq(calendar_set_zone("Europe/Berlin"), 0);
	expect_csv((struct csv_form){.header = true},
		"t,word,x [Cel],mode.heating.x_s [s]\r\n"
		"2026-01-31T11:00:00+01:00,plain,0.00,60\r\n"
		"2026-01-31T11:01:00+01:00,\"a,b\",21.46,59.987\r\n"
		"2026-01-31T11:02:00+01:00,\"say \"\"no\"\"\",,\r\n"
		"2026-01-31T11:03:00+01:00,\"two\r\nlines\",-1234.50,\r\n"
		"2026-01-31T11:04:00+01:00,,,\r\n");
}
END

TEST(later_pieces_have_no_header_and_times_may_be_epochs)
{
	expect_csv((struct csv_form){.epoch = true},
		"1769853600,plain,0.00,60\r\n"
		"1769853660,\"a,b\",21.46,59.987\r\n"
		"1769853720,\"say \"\"no\"\"\",,\r\n"
		"1769853780,\"two\r\nlines\",-1234.50,\r\n"
		"1769853840,,,\r\n");
}
END

TEST(json_has_the_same_cells)
{
	struct sheet sheet;
	struct json json = {0};
	fill(&sheet);
	json_object(&json, NULL);
	sheet_json(&sheet, SHEET_WHOLE, false, &json);
	sheet_json(&sheet, SHEET_MODE, false, &json);
	sheet_json(&sheet, SHEET_METER, false, &json);
	json_object_end(&json);
	ck_assert_str_eq(buffer_text(&json.out),
		"{\"columns\":{\"t\":[1769853600,1769853660,1769853720,1769853780,"
		"1769853840],"
		"\"word\":[\"plain\",\"a,b\",\"say "
		"\\\"no\\\"\",\"two\\u000d\\u000alines\",null],"
		"\"x\":[0.00,21.46,null,-1234.50,null]},"
		"\"modes\":{\"heating\":{\"t\":[0.001,0.001,0.001,0.001,0.001],"
		"\"x_s\":[60,59.987,null,null,null]}},\"meters\":{}}");
	buffer_release(&json.out);
	sheet_release(&sheet);
}
END

	static const struct accept_row {
	const char *accept;
	bool csv;
} accept_rows[] = {
	{NULL, false},
	{"", false},
	{"*/*", false},
	{"text/csv", true},
	{"Text/CSV", true},
	{"text/*", true},
	{"text/csv, application/json", false}, /* a draw */
	{"text/csv;q=0.9, application/json", false},
	{"text/csv, application/json;q=0.9", true},
	{"text/csv, */*;q=0.1", true},
	{"text/csv;q=0, */*", false},
	{"text/csv; header=present; q=0.5, application/json;q=0.4", true},
	{"text/csv;q=0.001", true},
	{"text/csv;q=0.000", false},
	{"text/csv;q=1.000,application/*;q=0.999", true},
	{"text/csv;Q=0.2,application/*;q=0.3", false},
	{"text/csvx, text/cs, text", false},
	{" ,, text/csv ,", true},
	{"text/csv;q", true},
	{"text/csv;q=", true},
	{"application/json;q=0, text/csv;q=0", false},
};

TEST(csv_is_given_to_who_prefers_it)
{
	for (size_t i = 0; i < ARRAY_LEN(accept_rows); i++)
		ck_assert_msg(prefers_csv(accept_rows[i].accept) == accept_rows[i].csv,
			"Accept: %s", accept_rows[i].accept);
}
END

TESTS(lines_are_those_of_the_standard,
	later_pieces_have_no_header_and_times_may_be_epochs, json_has_the_same_cells,
	csv_is_given_to_who_prefers_it)
