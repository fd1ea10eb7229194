/*
 * /v1/findings: every member with its value and unit, null where there is none, and what
 * is refused.
 *
 * Outside: RFC 9457 problems, UCUM codes; from memory. The report's section is the same
 * (report.py).
 */
#include "http_client.h"

#define SPAN "from=1767222000&to=1767481200"

static const struct finding found[] = {
	{.kind = FINDING_PAIR_OFFSET,
		.subject = "return_temperature",
		.since_ms = (DAY_1 - 86400) * 1000,
		.began_before = true,
		.until_ms = (DAY_1 + 86400) * 1000,
		.lasts = true,
		.size = 0.31236,
		.unit = "K",
		.effect = -0.04711,
		.evidence = (char[]){"It read +0.31 K: \"at rest\"."},
		.remedy = (char[]){"Paste this section."},
		.correction = (char[]){"[correction x]\nfrom = 2026-01-01\n"}},
	{.kind = FINDING_REGISTER_RESET,
		.subject = "unit",
		.since_ms = DAY_1 * 1000 + 331,
		.until_ms = DAY_1 * 1000 + 331,
		.size = -2904.68,
		.unit = "kW.h",
		.effect = (double)NAN,
		.evidence = (char[]){"It began anew."},
		.remedy = (char[]){"Nothing is to be done."}},
	{.kind = FINDING_EFFICIENCY_IMPLAUSIBLE,
		.since_ms = DAY_1 * 1000,
		.until_ms = (DAY_1 + 86400) * 1000,
		.size = (double)NAN,
		.unit = "",
		.effect = 0.0,
		.evidence = (char[]){"Of nothing."},
		.remedy = (char[]){"Look."}},
};

static void answer_these(size_t count)
{
	fake.findings = found;
	fake.finding_count = count;
	(void)snprintf(fake.asked.name, sizeof(fake.asked.name), "H4");
	plant.plant.season_start = (struct month_day){7, 1};
}

/* The members of an object are these, in this order, and no other. */
static void expect_members(const cJSON *object, const char *const *names, size_t count)
{
	const cJSON *item = object->child;
	for (size_t i = 0; i < count; i++, item = item->next) {
		ck_assert_msg(item != NULL, "%s is missing", names[i]);
		ck_assert_str_eq(item->string, names[i]);
	}
	ck_assert_msg(item == NULL, "%s is new", item ? item->string : "");
}

TEST(the_frame_tells_what_was_asked_and_looked_at)
{
	static const char *const members[] = {"zone", "from", "to", "boundary", "version",
		"older_mapping_days", "older_mapping_days_sealed", "corrections",
		"season_start", "days", "days_looked_at", "findings"};
	struct http *http = serve();
	answer_these(0);
	fake.older = (struct older_days){.count = 5, .sealed = 2};
	cJSON *json = get_json(http, "/v1/findings?" SPAN, 200);
	expect_members(json, members, ARRAY_LEN(members));
	ck_assert_str_eq(text_at(json, "zone"), "Europe/Berlin");
	ck_assert_double_eq(number_at(json, "from"), DAY_1);
	ck_assert_double_eq(number_at(json, "to"), DAY_1 + 259200);
	ck_assert_double_eq(number_at(json, "version"), 42);
	ck_assert_double_eq(number_at(json, "older_mapping_days"), 5);
	ck_assert_double_eq(number_at(json, "older_mapping_days_sealed"), 2);
	ck_assert_str_eq(text_at(json, "season_start"), "07-01");
	ck_assert_str_eq(text_at(json, "boundary"), "H4");
	ck_assert_double_eq(number_at(json, "days"), 3);
	ck_assert_double_eq(number_at(json, "days_looked_at"), 2);
	ck_assert_int_eq(cJSON_GetArraySize(at(json, "corrections")), 0);
	ck_assert_int_eq(cJSON_GetArraySize(at(json, "findings")), 0);
	cJSON_Delete(json);
	fake.asked.name[0] = '\0'; /* no meter gives a boundary */
	json = get_json(http, "/v1/findings?" SPAN, 200);
	ck_assert(null_at(json, "boundary"));
	cJSON_Delete(json);
	http_close(http);
}
END

TEST(each_finding_has_all_of_its_members)
{
	static const char *const members[] = {"kind", "title", "subject", "since",
		"since_before", "until", "lasts", "size", "unit", "effect", "evidence",
		"remedy", "correction"};
	struct http *http = serve();
	answer_these(ARRAY_LEN(found));
	cJSON *json = get_json(http, "/v1/findings?" SPAN, 200);
	ck_assert_int_eq(cJSON_GetArraySize(at(json, "findings")), ARRAY_LEN(found));
	for (int i = 0; i < (int)ARRAY_LEN(found); i++)
		expect_members(cJSON_GetArrayItem(at(json, "findings"), i), members,
			ARRAY_LEN(members));
	ck_assert_str_eq(text_at(json, "findings/0/kind"), "pair_offset");
	ck_assert_str_eq(
		text_at(json, "findings/0/title"), finding_title(FINDING_PAIR_OFFSET));
	ck_assert_str_eq(text_at(json, "findings/0/subject"), "return_temperature");
	ck_assert_double_eq(number_at(json, "findings/0/since"), DAY_1 - 86400);
	ck_assert_double_eq(number_at(json, "findings/0/until"), DAY_1 + 86400);
	ck_assert(cJSON_IsTrue(at(json, "findings/0/since_before")));
	ck_assert(cJSON_IsTrue(at(json, "findings/0/lasts")));
	ck_assert_double_eq(number_at(json, "findings/0/size"), 0.3124);
	ck_assert_str_eq(text_at(json, "findings/0/unit"), "K");
	ck_assert_double_eq(number_at(json, "findings/0/effect"), -0.0471);
	ck_assert_str_eq(
		text_at(json, "findings/0/evidence"), "It read +0.31 K: \"at rest\".");
	ck_assert_str_eq(text_at(json, "findings/0/remedy"), "Paste this section.");
	ck_assert_str_eq(text_at(json, "findings/0/correction"),
		"[correction x]\nfrom = 2026-01-01\n");
	cJSON_Delete(json);
	http_close(http);
}
END

/* Unknown is null, a plain number has the unit 1-less "", and 0 is a number. */
TEST(what_a_finding_has_not_is_null)
{
	struct http *http = serve();
	answer_these(ARRAY_LEN(found));
	cJSON *json = get_json(http, "/v1/findings?" SPAN, 200);
	ck_assert_double_eq(number_at(json, "findings/1/since"), (double)DAY_1 + 0.331);
	ck_assert(cJSON_IsFalse(at(json, "findings/1/since_before")));
	ck_assert(cJSON_IsFalse(at(json, "findings/1/lasts")));
	ck_assert_double_eq(number_at(json, "findings/1/size"), -2904.68);
	ck_assert_str_eq(text_at(json, "findings/1/unit"), "kW.h");
	ck_assert(null_at(json, "findings/1/effect"));
	ck_assert(null_at(json, "findings/1/correction"));
	ck_assert(null_at(json, "findings/2/subject"));
	ck_assert(null_at(json, "findings/2/size"));
	ck_assert_str_eq(text_at(json, "findings/2/unit"), "");
	ck_assert_double_eq(number_at(json, "findings/2/effect"), 0);
	cJSON_Delete(json);
	http_close(http);
}
END

/* Every kind has a name and a title of its own. */
TEST(no_two_kinds_bear_one_name)
{
	for (int a = 0; a < FINDING_KINDS; a++) {
		const char *name = finding_name((enum finding_kind)a);
		ck_assert_msg(name && *name, "kind %d", a);
		ck_assert_msg(strspn(name, "abcdefghijklmnopqrstuvwxyz_") == strlen(name),
			"%s", name);
		ck_assert(*finding_title((enum finding_kind)a) != '\0');
		for (int b = 0; b < a; b++)
			ck_assert_str_ne(name, finding_name((enum finding_kind)b));
	}
}
END

TEST(without_a_span_the_last_400_days_are_asked)
{
	struct http *http = serve();
	answer_these(0);
	cJSON *json = get_json(http, "/v1/findings", 200);
	ck_assert_int_eq(fake.last_ms, NOW_MS - 30000);
	ck_assert_int_eq(fake.first_ms,
		calendar_day_start(calendar_add(calendar_date(NOW_MS), 0, 0, -399)));
	cJSON_Delete(json);
	json = get_json(
		http, "/v1/findings?from=2026-01-01T00:00:00+01:00&to=1767481200", 200);
	ck_assert_int_eq(fake.first_ms, DAY_1 * 1000);
	ck_assert_ptr_nonnull(strstr(text_at(json, "note"), "write %2B"));
	cJSON_Delete(json);
	http_close(http);
}
END

	static struct correction_config dated[] = {
		{.name = (char[]){"strap"},
			.channel = 0,
			.factor = 1.0,
			.offset = -0.4,
			.from_ms = (DAY_1 + 3600) * 1000,
			.to_ms = INT64_MAX},
		{.name = (char[]){"before"},
			.channel = 2,
			.factor = -1.0,
			.from_ms = 0,
			.to_ms = DAY_1 * 1000},
};

/* Corrections of days that findings rest on, of whatever channel. */
TEST(corrections_of_the_span_are_named)
{
	struct http *http = serve();
	answer_these(0);
	plant.corrections = dated;
	plant.correction_count = ARRAY_LEN(dated);
	cJSON *json = get_json(http, "/v1/findings?" SPAN, 200);
	ck_assert_int_eq(cJSON_GetArraySize(at(json, "corrections")), 1);
	ck_assert_str_eq(text_at(json, "corrections/0/name"), "strap");
	cJSON_Delete(json);
	plant.corrections = NULL;
	plant.correction_count = 0;
	http_close(http);
}
END

TEST(what_cannot_be_answered_is_a_problem_with_its_remedy)
{
	static const struct {
		const char *query, *parameter, *detail;
	} rows[] = {
		{"from=yesterday", "from", "YYYY-MM-DD"},
		{"to=2026-01-01T00:00:00", "to", "offset"},
		{"from=1767481200&to=1767222000", "from", "from must be before to"},
		{"step=P1D", "step", "/v1/findings has no parameter"},
		{"kind=pair_offset", "kind", "/v1/findings has no parameter"},
	};
	struct http *http = serve();
	answer_these(0);
	for (size_t i = 0; i < ARRAY_LEN(rows); i++) {
		char *target = xasprintf("/v1/findings?%s", rows[i].query);
		cJSON *json = get_json(http, target, 400);
		ck_assert_str_eq(text_at(json, "parameter"), rows[i].parameter);
		ck_assert_msg(strstr(text_at(json, "detail"), rows[i].detail), "%s: %s",
			rows[i].query, text_at(json, "detail"));
		if (!strstr(rows[i].detail, "before")) /* that says what it would be */
			ck_assert_int_gt(cJSON_GetArraySize(at(json, "allowed")), 0);
		cJSON_Delete(json);
		free(target);
	}
	fake.result = QUERY_TOO_SLOW;
	cJSON *json = get_json(http, "/v1/findings?" SPAN, 503);
	cJSON_Delete(json);
	fake.result = -EIO;
	json = get_json(http, "/v1/findings?" SPAN, 500);
	cJSON_Delete(json);
	fake.result = 0;
	http_close(http);
}
END

TESTS(the_frame_tells_what_was_asked_and_looked_at, each_finding_has_all_of_its_members,
	what_a_finding_has_not_is_null, no_two_kinds_bear_one_name,
	without_a_span_the_last_400_days_are_asked, corrections_of_the_span_are_named,
	what_cannot_be_answered_is_a_problem_with_its_remedy)
