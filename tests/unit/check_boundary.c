/*
 * System boundaries: what is offered, refused and named; mode names.
 *
 * References: definitions H1 … H4 of SEPEMO-Build, "Concept for evaluation of SPF"
 * (2012), second-hand; spf_boundaries.csv, whose example figures are invented and whose
 * quotients were computed apart from this code.
 */
#include "unit.h"

#include <heatbook/boundary.h>
#include <heatbook/mode.h>

enum {
	C = DEVICE_COMPRESSOR,
	B = DEVICE_BACKUP_HEATER,
	I = DEVICE_IMMERSION,
	P = DEVICE_CIRCULATION,
	S = DEVICE_SOURCE
};

/* One plant a row; meters end at the first that feeds nothing. */
struct plant_case {
	unsigned devices;
	struct meter_config meters[6];
	const char *offered; /* "H2 H4" */
	unsigned denominators[4];
};

static struct config config_of(const struct plant_case *c)
{
	struct config config = {.plant.devices = c->devices};
	config.meters = xcalloc(ARRAY_LEN(c->meters), sizeof(*config.meters));
	while (config.meter_count < ARRAY_LEN(c->meters) &&
		c->meters[config.meter_count].feeds) {
		struct meter_config *m = &config.meters[config.meter_count];
		*m = c->meters[config.meter_count++];
		m->less -= 1; /* in the tables below 0 is none and 1 the first */
	}
	for (size_t i = 0; i < config.meter_count; i++)
		config.meters[i].serves = meter_serves(&config, i);
	return config;
}

static const struct plant_case cases[] = {
	/* One meter of the unit; whether there are heaters is not known. */
	{0, {{.feeds = C}}, "H2", {1}},
	{0, {{.feeds = C}, {.feeds = P}}, "H2", {1}},
	/* The owner says that there are none: a monovalent plant, H3 = H2. */
	{C | P, {{.feeds = C}}, "H2 H3", {1, 1}},
	{C | P, {{.feeds = C}, {.feeds = P}}, "H2 H3 H4", {1, 1, 3}},
	/* A meter that feeds one heater says that the other is not there. */
	{0, {{.feeds = C}, {.feeds = I}}, "H2 H3", {1, 3}},
	{0, {{.feeds = C}, {.feeds = B}, {.feeds = P}}, "H2 H3 H4", {1, 3, 7}},
	{0, {{.feeds = C}, {.feeds = B}, {.feeds = I}, {.feeds = P}}, "H2 H3 H4",
		{1, 7, 15}},
	{0, {{.feeds = P}, {.feeds = I}, {.feeds = B}, {.feeds = C}}, "H2 H3 H4",
		{8, 14, 15}},
	/* A heater that is there and not metered: one in line heats what is measured. */
	{C | B | P, {{.feeds = C}, {.feeds = P}}, "", {0}},
	{C | I | P, {{.feeds = C}, {.feeds = P}}, "H2", {1}},
	{C | B | I | P, {{.feeds = C}, {.feeds = B}, {.feeds = P}}, "H2", {1}},
	/* The unit with its pump on one meter. */
	{0, {{.feeds = C | P}}, "H2+circulation", {1}},
	{0, {{.feeds = C | P}, {.feeds = I}}, "H2+circulation H3+circulation H4",
		{1, 3, 3}},
	/* An immersion heater on the unit's meter: its heat, which no heat meter sees,
	   cannot be told, and H3 and H4 are with it. */
	{0, {{.feeds = C | I}, {.feeds = P}}, "H2+immersion", {1}},
	{0, {{.feeds = C | B | I | P}}, "H2+backup_heater+immersion+circulation", {1}},
	/* The heater in line on a meter with the pump: its heat cannot be taken off. */
	{0, {{.feeds = C}, {.feeds = B | P}}, "H3+circulation H4", {3, 3}},
	/* Both heaters on a meter of their own: neither's heat can be told. */
	{C | B | I, {{.feeds = C}, {.feeds = B | I}}, "H2+backup_heater+immersion", {3}},
	{0, {{.feeds = C}, {.feeds = B | I | P}},
		"H2+backup_heater+immersion+circulation", {3}},
	{0, {{.feeds = I}, {.feeds = B}}, "", {0}},
	/* The source's pump on a meter of its own, on the unit's, unmetered. */
	{0, {{.feeds = C}, {.feeds = S}}, "H1 H2", {1, 3}},
	{0, {{.feeds = C | S}}, "H2", {1}},
	{0, {{.feeds = C | S}, {.feeds = S}}, "H2", {1}},
	{C | S | P, {{.feeds = C}, {.feeds = P}}, "H1", {1}},
	{0, {{.feeds = C}, {.feeds = S}, {.feeds = B}, {.feeds = P}}, "H1 H2 H3 H4",
		{1, 3, 7, 15}},
	{0, {{.feeds = C | P}, {.feeds = S}, {.feeds = I}},
		"H1+circulation H2+circulation H3+circulation H4", {1, 3, 7, 7}},
	{0, {{.feeds = C}, {.feeds = S | P}, {.feeds = I}},
		"H1 H2+circulation H3+circulation H4", {1, 3, 7, 7}},
	/* A sub-meter taken off: either way of saying what the other feeds. */
	{0, {{.feeds = C, .less = 2}, {.feeds = I}}, "H2 H3", {1, 3}},
	{0, {{.feeds = C | I, .less = 2}, {.feeds = I}}, "H2 H3", {1, 3}},
	{0, {{.feeds = C, .less = 2}, {.feeds = C}, {.feeds = I}}, "H2 H3", {3, 7}},
	{0, {{.feeds = C | I | P, .less = 2}, {.feeds = C, .less = 3}, {.feeds = I}},
		"H2 H3 H4", {2, 6, 7}},
	/* A meter of everything beside one of a part: nothing is counted twice. */
	{0, {{.feeds = C | I | P}, {.feeds = C}}, "H2", {2}},
	{0, {{.feeds = C | I | P}, {.feeds = C}, {.feeds = I}}, "H2 H3 H4", {2, 6, 1}},
	{0, {{.feeds = C | B | I}, {.feeds = I | P}, {.feeds = C}, {.feeds = B}}, "H2",
		{4}},
	/* Two supplies of one unit; an apparent meter beside a true one, and alone. */
	{0, {{.feeds = C}, {.feeds = C}, {.feeds = I}}, "H2 H3", {3, 7}},
	{0, {{.feeds = C, .apparent = true}, {.feeds = C}}, "H2", {2}},
	{0, {{.feeds = C, .apparent = true}}, "H2", {1}},
	{C | P, {{.feeds = C | P, .apparent = true}, {.feeds = C}, {.feeds = P}},
		"H2 H3 H4", {2, 2, 6}},
	/* Sets that overlap, without another way. */
	{C | I | P, {{.feeds = C | P}, {.feeds = I | P}}, "H2+circulation", {1}},
	{C | B | P, {{.feeds = C | P}, {.feeds = B | P}}, "H3+circulation H4", {3, 3}},
	/* No meter of the compressor, no meter at all. */
	{0, {{.feeds = I}}, "", {0}},
	{0, {{0}}, "", {0}},
};

TEST(what_is_offered_follows_from_the_meters)
{
	for (size_t i = 0; i < ARRAY_LEN(cases); i++) {
		struct config config = config_of(&cases[i]);
		struct boundary list[BOUNDARIES_MOST];
		size_t count = boundary_list(&config, list);
		struct buffer names = {0};
		for (size_t k = 0; k < count; k++) {
			buffer_addf(&names, "%s%s", k ? " " : "", list[k].name);
			ck_assert_msg(list[k].meters == cases[i].denominators[k],
				"case %zu %s: meters %x", i, list[k].name,
				list[k].meters);
		}
		ck_assert_msg(strcmp(buffer_text(&names), cases[i].offered) == 0,
			"case %zu: '%s' for '%s'", i, buffer_text(&names),
			cases[i].offered);
		buffer_release(&names);
		free(config.meters);
	}
}
END

TEST(everything_offered_is_found_by_its_name_and_the_last_without_one)
{
	for (size_t i = 0; i < ARRAY_LEN(cases); i++) {
		struct config config = config_of(&cases[i]);
		struct boundary list[BOUNDARIES_MOST], found;
		char why[256];
		size_t count = boundary_list(&config, list);
		for (size_t k = 0; k < count; k++) {
			ck_assert_int_eq(
				boundary_find(&config, list[k].name, &found, why), 0);
			ck_assert_str_eq(found.name, list[k].name);
			ck_assert_uint_eq(found.meters, list[k].meters);
			ck_assert_uint_eq(found.needs, list[k].needs);
		}
		ck_assert_int_eq(boundary_find(&config, NULL, &found, why), count == 0);
		if (count)
			ck_assert_str_eq(found.name, list[count - 1].name);
		else
			ck_assert_ptr_nonnull(strstr(why, "no meter"));
		free(config.meters);
	}
}
END

TEST(a_name_may_join_devices)
{
	const struct plant_case c = {
		0, {{.feeds = C}, {.feeds = I}, {.feeds = P}}, NULL, {0}};
	static const struct {
		const char *asked, *name;
		unsigned meters;
	} rows[] = {
		{"H2+circulation", "H2+circulation", 5},
		{"H2 circulation", "H2+circulation", 5},
		{"H2+circulation+immersion", "H2+immersion+circulation", 7},
		{"H3+circulation", "H3+circulation", 7},
		{"H4+circulation", "H4", 7},
	};
	struct config config = config_of(&c);
	for (size_t i = 0; i < ARRAY_LEN(rows); i++) {
		struct boundary found;
		char why[256] = "";
		int r = boundary_find(&config, rows[i].asked, &found, why);
		ck_assert_msg(r == 0, "%s: %s", rows[i].asked, why);
		ck_assert_str_eq(found.name, rows[i].name);
		ck_assert_uint_eq(found.meters, rows[i].meters);
	}
	free(config.meters);
}
END

TEST(what_the_meters_cannot_separate_is_named_in_the_answer)
{
	const struct plant_case c = {0, {{.feeds = C | P}, {.feeds = I}}, NULL, {0}};
	struct config config = config_of(&c);
	struct boundary found;
	char why[256];
	ck_assert_int_eq(boundary_find(&config, "H2", &found, why), 0);
	ck_assert_str_eq(found.name, "H2+circulation");
	ck_assert_int_eq(boundary_find(&config, "H2+circulation", &found, why), 0);
	ck_assert_str_eq(found.name, "H2+circulation");
	free(config.meters);
}
END

TEST(a_refusal_says_what_is_missing_and_what_is_offered)
{
	const struct plant_case c = {
		C | I | P | S, {{.feeds = C | S}, {.feeds = P}}, NULL, {0}};
	static const struct {
		const char *asked;
		const char *words[3];
	} rows[] = {
		{"H1", {"no meter tells apart from the compressor", "offered: H2"}},
		{"H1+circulation", {"no meter tells apart", "offered: H2"}},
		{"H3", {"H3 needs immersion", "no meter feeds", "offered: H2"}},
		{"H4", {"H4 needs immersion", "offered: H2"}},
		{"H2+immersion", {"immersion", "no meter feeds", "offered: H2"}},
		{"H5", {"no boundary has this name", "offered: H2"}},
		{"h2", {"no boundary has this name", "offered: H2"}},
		{"", {"no boundary has this name", "offered: H2"}},
		{"H2+", {"no boundary has this name", "offered: H2"}},
		{"H2+fan", {"no boundary has this name", "offered: H2"}},
		{"H2circulation", {"no boundary has this name", "offered: H2"}},
		{"H10", {"no boundary has this name", "offered: H2"}},
	};
	struct config config = config_of(&c);
	for (size_t i = 0; i < ARRAY_LEN(rows); i++) {
		struct boundary found = {.name = "untouched"};
		char why[256] = "";
		ck_assert_int_eq(boundary_find(&config, rows[i].asked, &found, why),
			BOUNDARY_REFUSED);
		ck_assert_str_eq(found.name, "untouched");
		for (size_t k = 0; k < 3 && rows[i].words[k]; k++)
			ck_assert_msg(strstr(why, rows[i].words[k]) != NULL,
				"%s: '%s' lacks '%s'", rows[i].asked, why,
				rows[i].words[k]);
	}
	config.plant.devices = C | P;
	config.meters[0].feeds = config.meters[0].serves = C;
	struct boundary found;
	char why[256];
	ck_assert_int_eq(
		boundary_find(&config, "H2+immersion", &found, why), BOUNDARY_REFUSED);
	ck_assert_str_eq(why, "the plant has no immersion; offered: H2, H3, H4");
	free(config.meters);
}
END

TEST(every_unmetered_device_is_named)
{
	static const struct {
		struct plant_case plant;
		const char *asked, *why;
	} rows[] = {
		{{0, {{.feeds = C}}, NULL, {0}}, "H1",
			"H1 leaves out the source fan or pump, which the meter of the "
			"compressor includes in an air-source unit; offered: H2"},
		{{0, {{.feeds = C}}, NULL, {0}}, "H3",
			"H3 needs backup_heater and immersion, which no meter feeds and "
			"devices of [plant] does not rule out; offered: H2"},
		{{0, {{.feeds = C}}, NULL, {0}}, "H2+circulation",
			"H2+circulation needs circulation, which no meter feeds; "
			"offered: "
			"H2"},
		{{C | B | P, {{.feeds = C}, {.feeds = P}}, NULL, {0}}, "H2",
			"H2 needs backup_heater, which no meter feeds; none is offered"},
		{{C | B | P, {{.feeds = C}, {.feeds = P}}, NULL, {0}}, NULL,
			"H2 needs backup_heater, which no meter feeds"},
		{{C | B | I | P, {{.feeds = C}, {.feeds = P}}, NULL, {0}}, "H4",
			"H4 needs backup_heater and immersion, which no meter feeds; "
			"none "
			"is offered"},
		{{0, {{.feeds = C}, {.feeds = B | P}}, NULL, {0}}, "H2",
			"H2 needs backup_heater apart, whose heat must be taken off, and "
			"which no meter feeds alone; offered: H3+circulation, H4"},
		{{0, {{.feeds = C | I}, {.feeds = P}}, NULL, {0}}, "H3",
			"H3 needs immersion apart, whose electricity counts as heat, "
			"and which no meter feeds alone; offered: H2+immersion"},
		{{0, {{.feeds = C | I | P}, {.feeds = C}}, NULL, {0}}, "H4",
			"H4 needs immersion apart, whose electricity counts as heat, "
			"and which no meter feeds alone; offered: H2"},
		{{C | B | I, {{.feeds = C}, {.feeds = B | I}}, NULL, {0}}, "H3",
			"H3 needs immersion apart, whose electricity counts as heat, and "
			"which no meter feeds alone; offered: "
			"H2+backup_heater+immersion"},
		{{C | S, {{.feeds = C}}, NULL, {0}}, "H2",
			"H2 needs source, which no meter feeds; offered: H1"},
		{{0, {{.feeds = I}}, NULL, {0}}, NULL,
			"no meter feeds the compressor: no efficiency"},
	};
	for (size_t i = 0; i < ARRAY_LEN(rows); i++) {
		struct config config = config_of(&rows[i].plant);
		struct boundary found = {.name = "untouched"};
		char why[256] = "";
		ck_assert_int_eq(boundary_find(&config, rows[i].asked, &found, why),
			BOUNDARY_REFUSED);
		ck_assert_str_eq(why, rows[i].why);
		free(config.meters);
	}
}
END

TEST(a_true_meter_is_known_beside_an_apparent_one)
{
	const struct plant_case c = {0,
		{{.feeds = C, .apparent = true}, {.feeds = C}, {.feeds = C},
			{.feeds = I, .apparent = true}, {.feeds = I | P, .less = 4}},
		NULL, {0}};
	struct config config = config_of(&c);
	static const unsigned beside[] = {6, 0, 0, 0, 0};
	for (size_t i = 0; i < ARRAY_LEN(beside); i++)
		ck_assert_uint_eq(boundary_beside(&config, i), beside[i]);
	config.meters[4].less = -1;
	config.meters[4].feeds = config.meters[4].serves = I;
	ck_assert_uint_eq(boundary_beside(&config, 3), 16);
	free(config.meters);
}
END

TEST(heaters_correct_the_heat_where_they_must)
{
	static const struct {
		struct plant_case plant;
		const char *name;
		unsigned meters, less, plus, needs;
	} rows[] = {
		{{0, {{.feeds = C}, {.feeds = B}, {.feeds = I}, {.feeds = P}}, NULL, {0}},
			"H2", 1, 2, 0, 3},
		{{0, {{.feeds = C}, {.feeds = B}, {.feeds = I}, {.feeds = P}}, NULL, {0}},
			"H3", 7, 0, 4, 7},
		{{0, {{.feeds = C}, {.feeds = B}, {.feeds = I}, {.feeds = P}}, NULL, {0}},
			"H4", 15, 0, 4, 15},
		/* Back-up electricity is in the denominator with the rest: its heat
		   stays. */
		{{0, {{.feeds = C | B}, {.feeds = P}}, NULL, {0}}, "H2", 1, 0, 0, 1},
		{{0, {{.feeds = C | B}, {.feeds = B}}, NULL, {0}}, "H2", 1, 0, 0, 1},
		/* Its own meter tells its heat, though another's counts its electricity.
		 */
		{{0, {{.feeds = C | I | P}, {.feeds = C}, {.feeds = I}}, NULL, {0}}, "H4",
			1, 0, 4, 5},
		{{0, {{.feeds = C}, {.feeds = I}}, NULL, {0}}, "H2", 1, 0, 0, 1},
		{{0, {{.feeds = C}, {.feeds = I}}, NULL, {0}}, "H2+immersion", 3, 0, 2,
			3},
		{{0, {{.feeds = C}, {.feeds = B}, {.feeds = P}}, NULL, {0}},
			"H2+circulation", 5, 2, 0, 7},
	};
	for (size_t i = 0; i < ARRAY_LEN(rows); i++) {
		struct config config = config_of(&rows[i].plant);
		struct boundary b;
		char why[256] = "";
		int r = boundary_find(&config, rows[i].name, &b, why);
		ck_assert_msg(r == 0, "row %zu: %s", i, why);
		ck_assert_uint_eq(b.heat_lacks, 0);
		ck_assert_msg(b.meters == rows[i].meters && b.heat_less == rows[i].less &&
				      b.heat_plus == rows[i].plus &&
				      b.needs == rows[i].needs,
			"row %zu: meters %x less %x plus %x needs %x", i, b.meters,
			b.heat_less, b.heat_plus, b.needs);
		free(config.meters);
	}
}
END

/* A figure that holds an immersion heater's electricity and cannot hold its heat is too
 * low, and bears that. */
TEST(heat_that_no_meter_tells_is_named_as_lacking)
{
	static const struct {
		struct plant_case plant;
		const char *name;
	} rows[] = {
		{{0, {{.feeds = C | I}, {.feeds = P}}, NULL, {0}}, "H2+immersion"},
		{{0, {{.feeds = C | I | P}}, NULL, {0}}, "H2+immersion+circulation"},
		{{0, {{.feeds = C | I}, {.feeds = C}}, NULL, {0}}, "H2+immersion"},
		{{0, {{.feeds = C}, {.feeds = B | I}}, NULL, {0}},
			"H2+backup_heater+immersion"},
	};
	for (size_t i = 0; i < ARRAY_LEN(rows); i++) {
		struct config config = config_of(&rows[i].plant);
		struct boundary b;
		char why[256] = "";
		int r = boundary_find(&config, rows[i].name, &b, why);
		ck_assert_msg(r == 0, "row %zu: %s", i, why);
		ck_assert_str_eq(b.name, rows[i].name);
		ck_assert_uint_eq(b.heat_lacks, I);
		ck_assert_uint_eq(b.heat_plus, 0);
		free(config.meters);
	}
}
END

	static double
	number(const char *text)
{
	char *end;
	double value = strtod(text, &end);
	ck_assert_msg(end != text && !*end, "'%s' is no number", text);
	return value;
}

/* A plant with the table's figures: unit with fan, back-up heater, pumps. */
struct season {
	struct config config;
	double meter_kwh[4];
	double measured_kwh;
	bool source_metered;
};

static double masked(const struct season *s, unsigned meters)
{
	double sum = 0;
	for (size_t i = 0; i < s->config.meter_count; i++)
		sum += meters & 1u << i ? s->meter_kwh[i] : 0;
	return sum;
}

static void check_season(char **f, size_t count, void *context)
{
	const struct season *s = context;
	struct boundary b;
	char why[256];
	ck_assert_uint_eq(count, 6);
	int r = boundary_find(&s->config, f[0], &b, why);
	if (strcmp(f[0], "H1") == 0 && !s->source_metered) {
		ck_assert_int_eq(r, BOUNDARY_REFUSED);
		return;
	}
	ck_assert_int_eq(r, 0);
	ck_assert_str_eq(b.name, f[0]);
	double heat = s->measured_kwh - masked(s, b.heat_less) + masked(s, b.heat_plus);
	double electricity = masked(s, b.meters);
	ck_assert_double_eq(heat, number(f[3]));
	ck_assert_double_eq(electricity, number(f[4]));
	ck_assert(fabs(heat / electricity - number(f[5])) <= 0.5001e-9);
}

/* Of a table's season without its heater: Q_backup = E_backup = 0. */
static void check_lone(char **f, size_t count, void *context)
{
	const struct season *s = context;
	bool beyond = strcmp(f[0], "H3") == 0 || strcmp(f[0], "H4") == 0;
	struct boundary b;
	char why[256];
	ck_assert_uint_eq(count, 6);
	ck_assert_int_eq(boundary_find(&s->config, f[0], &b, why), 0);
	ck_assert_str_eq(b.name, f[0]);
	ck_assert_uint_eq(b.heat_less | b.heat_plus, 0);
	ck_assert_double_eq(s->measured_kwh, number(f[3]) - (beyond ? 300.0 : 0.0));
	ck_assert_double_eq(masked(s, b.meters), number(f[4]) - (beyond ? 300.0 : 0.0));
}

TEST(the_table_of_boundaries_is_met_by_an_in_line_heater)
{
	const struct plant_case c = {
		0, {{.feeds = C}, {.feeds = B}, {.feeds = P}}, NULL, {0}};
	/* The heat meter sees the in-line heater's 300 kWh. */
	struct season s = {config_of(&c), {3550, 300, 180}, 11800, false};
	ck_assert_uint_eq(data_rows("spf_boundaries.csv", check_season, &s), 4);
	free(s.config.meters);
}
END

TEST(the_whole_table_of_boundaries_is_met_with_the_sources_pump_on_its_meter)
{
	const struct plant_case c = {
		0, {{.feeds = C}, {.feeds = B}, {.feeds = P}, {.feeds = S}}, NULL, {0}};
	struct season s = {config_of(&c), {3300, 300, 180, 250}, 11800, true};
	ck_assert_uint_eq(data_rows("spf_boundaries.csv", check_season, &s), 4);
	free(s.config.meters);
}
END

TEST(the_table_of_boundaries_is_met_by_an_immersion_heater)
{
	const struct plant_case c = {
		0, {{.feeds = C}, {.feeds = I}, {.feeds = P}}, NULL, {0}};
	/* The heat meter does not see the immersion's. */
	struct season s = {config_of(&c), {3550, 300, 180}, 11500, false};
	ck_assert_uint_eq(data_rows("spf_boundaries.csv", check_season, &s), 4);
	free(s.config.meters);
}
END

/* For a monovalent system H3 = H2 (the table's own words). */
TEST(the_table_of_boundaries_is_met_by_a_plant_that_is_said_to_have_no_heater)
{
	const struct plant_case silent = {
		0, {{.feeds = C}, {.feeds = P}, {.feeds = S}}, NULL, {0}};
	const struct plant_case said = {
		C | P | S, {{.feeds = C}, {.feeds = P}, {.feeds = S}}, NULL, {0}};
	struct season s = {config_of(&silent), {3300, 180, 250}, 11500, true};
	struct boundary b;
	char why[256];
	ck_assert_int_eq(boundary_find(&s.config, "H3", &b, why), BOUNDARY_REFUSED);
	ck_assert_int_eq(boundary_find(&s.config, "H4", &b, why), BOUNDARY_REFUSED);
	free(s.config.meters);
	s.config = config_of(&said);
	ck_assert_uint_eq(data_rows("spf_boundaries.csv", check_lone, &s), 4);
	free(s.config.meters);
}
END

TEST(sixteen_meters_of_every_kind_are_resolved)
{
	struct config config = {.meter_count = METERS_MOST};
	config.meters = xcalloc(METERS_MOST, sizeof(*config.meters));
	for (unsigned i = 0; i < METERS_MOST; i++)
		config.meters[i] = (struct meter_config){
			.feeds = i % 15 + 1, .serves = i % 15 + 1, .less = -1};
	struct boundary list[BOUNDARIES_MOST];
	ck_assert_uint_eq(boundary_list(&config, list), 3); /* none feeds the source */
	ck_assert_str_eq(list[0].name, "H2");
	ck_assert_uint_eq(
		list[0].meters, 1u | 1u << 15); /* both that feed the compressor only */
	ck_assert_str_eq(list[2].name, "H4");
	ck_assert_uint_eq(list[2].meters, 1u << 14); /* the one that feeds all */
	free(config.meters);
}
END

TEST(modes_are_named)
{
	static const char *const names[] = {"unassigned", "heating", "hot_water",
		"defrost", "cooling", "freeze_protection", "overrun", "standby"};
	ck_assert_uint_eq(ARRAY_LEN(names), MODE_COUNT);
	for (size_t i = 0; i < ARRAY_LEN(names); i++)
		ck_assert_str_eq(mode_name((enum mode)i), names[i]);
}
END

TESTS(what_is_offered_follows_from_the_meters,
	everything_offered_is_found_by_its_name_and_the_last_without_one,
	a_name_may_join_devices, what_the_meters_cannot_separate_is_named_in_the_answer,
	a_refusal_says_what_is_missing_and_what_is_offered,
	every_unmetered_device_is_named, a_true_meter_is_known_beside_an_apparent_one, heaters_correct_the_heat_where_they_must, heat_that_no_meter_tells_is_named_as_lacking, the_whole_table_of_boundaries_is_met_with_the_sources_pump_on_its_meter,
	the_table_of_boundaries_is_met_by_an_in_line_heater,
	the_table_of_boundaries_is_met_by_an_immersion_heater,
	the_table_of_boundaries_is_met_by_a_plant_that_is_said_to_have_no_heater,
	sixteen_meters_of_every_kind_are_resolved, modes_are_named)
