/*
 * The contract: what /openapi.json says of itself, rows in place of columns, look-backs.
 * That every answer of these programs is as the contract says is looked at wherever one
 * is read (http_client.h).
 *
 * Outside: OpenAPI 3.1 (from memory; contract.py holds the document against its schema);
 * days of 23 and 25 hours and the last days of months by Python's zoneinfo.
 */
#include "http_energy.h"

static const cJSON *document(void)
{
	struct http *http = serve();
	const cJSON *contract = contract_of(http);
	http_close(http);
	return contract;
}

/* Calls it for every schema within one; those of names are schemas, too. */
static void each_schema(
	const cJSON *schema, void (*look)(const cJSON *schema, const char *name))
{
	static const char *const within[] = {"items", "additionalProperties"};
	const cJSON *item;
	look(schema, schema->string ? schema->string : "a schema");
	for (size_t i = 0; i < ARRAY_LEN(within); i++) {
		item = cJSON_GetObjectItemCaseSensitive(schema, within[i]);
		if (cJSON_IsObject(item))
			each_schema(item, look);
	}
	cJSON_ArrayForEach(item, at(schema, "properties")) each_schema(item, look);
	cJSON_ArrayForEach(item, at(schema, "anyOf")) each_schema(item, look);
}

static void look_strict(const cJSON *schema, const char *name)
{
	struct schema_fault fault = {""};
	ck_assert_msg(schema_known(schema, &fault), "%s: %s", name, fault.text);
	if (at(schema, "properties"))
		ck_assert_msg(cJSON_IsFalse(at(schema, "additionalProperties")),
			"%s takes any other member", name);
}

TEST(schemas_take_no_member_that_they_do_not_describe)
{
	const cJSON *schema, *contract = document();
	size_t count = 0;
	cJSON_ArrayForEach(schema, at(contract, "components/schemas"))
	{
		each_schema(schema, look_strict);
		count++;
	}
	ck_assert_uint_gt(count, 30);
}
END

TEST(examples_are_as_their_schemas_say)
{
	const cJSON *schema, *example, *contract = document();
	size_t count = 0;
	cJSON_ArrayForEach(schema, at(contract, "components/schemas"))
	{
		cJSON_ArrayForEach(example, at(schema, "examples"))
		{
			struct schema_fault fault = {""};
			ck_assert_msg(schema_fits(contract, schema, example, "", &fault),
				"%s: %s", schema->string, fault.text);
			count++;
		}
	}
	ck_assert_uint_gt(count, 20);
}
END

TEST(every_resource_has_its_schema_parameters_and_example)
{
	struct http *http = serve();
	const cJSON *path, *p, *contract = contract_of(http);
	cJSON *index = get_json(http, "/", 200);
	ck_assert_int_eq(cJSON_GetArraySize(at(contract, "paths")),
		cJSON_GetArraySize(at(index, "resources")));
	cJSON_ArrayForEach(path, at(contract, "paths"))
	{
		const cJSON *get = at(path, "get"),
			    *content = at(get, "responses/200/content");
		if (!content || !content->child)
			ck_abort_msg("%s answers nothing", path->string);
		const char *ref = text_at(content->child, "schema/$ref");
		const cJSON *schema = schema_of(contract, ref);
		ck_assert_uint_gt(strlen(text_at(get, "summary")), 0);
		if (strcmp(content->child->string, "application/json") == 0)
			ck_assert_msg(at(schema, "examples") ||
					      strcmp(path->string, "/openapi.json") == 0,
				"%s has no example", path->string);
		cJSON_ArrayForEach(p, at(get, "parameters"))
		{
			schema = schema_of(contract, text_at(p, "schema/$ref"));
			ck_assert_ptr_nonnull(at(schema, "examples"));
		}
	}
	cJSON_Delete(index);
	http_close(http);
}
END

TEST(data_may_want_a_token_and_what_is_public_wants_none)
{
	struct http *http = serve();
	const cJSON *contract = contract_of(http), *path;
	ck_assert_str_eq(
		text_at(contract, "components/securitySchemes/token/scheme"), "bearer");
	ck_assert_ptr_nonnull(at(contract, "security/0/token"));
	cJSON_ArrayForEach(path, at(contract, "paths"))
	{
		const cJSON *own = at(path, "get/security");
		bool is_public = strcmp(path->string, "/") == 0 ||
				 strcmp(path->string, "/openapi.json") == 0;
		ck_assert_msg((own != NULL) == is_public, "%s", path->string);
		ck_assert_int_eq(cJSON_GetArraySize(own), 0);
	}
	http_close(http);
}
END

/* What would a schema be worth that takes anything? */
TEST(an_answer_that_is_not_as_described_is_found)
{
	static const struct {
		const char *schema, *json, *fault;
	} cases[] = {
		{"Fluid", "{\"name\":\"water\",\"volume_percent\":0}", ""},
		{"Fluid", "{\"name\":\"water\"}", ": has no volume_percent"},
		{"Fluid", "{\"name\":1,\"volume_percent\":0}",
			"/name: is of another type "},
		{"Fluid", "{\"name\":\"\",\"volume_percent\":0,\"x\":1}",
			": may not have x"},
		{"Numbers", "[1,null,2.5]", ""},
		{"Numbers", "[1,\"2\"]", ": is of another type "},
		{"ModeName", "\"resting\"", ": is none of the words "},
	};
	const cJSON *contract = document();
	for (size_t i = 0; i < ARRAY_LEN(cases); i++) {
		_cleanup_(freep) char *ref =
			xasprintf("#/components/schemas/%s", cases[i].schema);
		struct schema_fault fault = {""};
		cJSON *json = cJSON_Parse(cases[i].json);
		bool fits =
			schema_fits(contract, schema_of(contract, ref), json, "", &fault);
		ck_assert_int_eq(fits, cases[i].fault[0] == '\0');
		ck_assert_str_eq(fault.text, cases[i].fault);
		cJSON_Delete(json);
	}
}
END

	/* Rows are the columns, turned. */
	static void
	check_turned(const cJSON *rows, const cJSON *columns)
{
	const cJSON *column;
	int count = cJSON_GetArraySize(columns->child);
	ck_assert(cJSON_IsArray(rows));
	ck_assert_int_eq(cJSON_GetArraySize(rows), count);
	for (int i = 0; i < count; i++) {
		const cJSON *row = cJSON_GetArrayItem(rows, i);
		ck_assert_int_eq(cJSON_GetArraySize(row), cJSON_GetArraySize(columns));
		cJSON_ArrayForEach(column, columns)
		{
			ck_assert(cJSON_Compare(at(row, column->string),
				cJSON_GetArrayItem(column, i), true));
		}
	}
}

static void hour(size_t i, struct energy_bucket *b)
{
	struct energy_sum *heating = &b->modes[MODE_HEATING];
	*heating = (struct energy_sum){.observed_ms = 1800000 + (int64_t)i,
		.heat_j = 7200000 + (int64_t)i,
		.heat_ms = 1800000};
	b->modes_seen = 1u << MODE_HEATING;
}

TEST(rows_are_the_columns_turned)
{
	struct http *http = serve();
	cJSON *columns = energy(http, "&by=mode", hour);
	cJSON *rows = energy(http, "&by=mode&rows=yes", hour);
	check_turned(at(rows, "rows"), at(columns, "columns"));
	check_turned(at(rows, "modes/heating"), at(columns, "modes/heating"));
	check_turned(at(rows, "meters/immersion"), at(columns, "meters/immersion"));
	ck_assert_ptr_null(at(rows, "columns"));
	ck_assert(cJSON_Compare(at(rows, "total"), at(columns, "total"), true));
	cJSON_Delete(columns);
	cJSON_Delete(rows);
	columns = energy(http, "&rows=no", hour);
	ck_assert_ptr_nonnull(at(columns, "columns"));
	cJSON_Delete(columns);
	columns = get_json(http, "/v1/series?channels=valve,unit_power&" TWO_HOURS, 200);
	rows = get_json(
		http, "/v1/series?channels=valve,unit_power&rows=yes&" TWO_HOURS, 200);
	check_turned(at(rows, "rows"), at(columns, "columns"));
	cJSON_Delete(columns);
	cJSON_Delete(rows);
	rows = get_json(http, "/v1/energy?rows=perhaps", 400);
	ck_assert_str_eq(text_at(rows, "parameter"), "rows");
	ck_assert_str_eq(text_at(rows, "allowed/1"), "yes");
	cJSON_Delete(rows);
	http_close(http);
}
END

/* Europe/Berlin: clocks went forward on 2025-03-30 and back on 2025-10-26. */
TEST(look_backs_go_by_the_calendar_of_the_plant)
{
	static const struct {
		const char *query;
		int64_t from_s, to_s;
	} cases[] = {
		{"last=PT1H&to=2025-12-24T10:30:00%2B01:00", 1766565000, 1766568600},
		{"last=P1D&to=2025-03-30T12:00:00%2B02:00", 1743246000, 1743328800},
		{"last=P1D&to=2025-10-26T12:00:00%2B01:00", 1761386400, 1761476400},
		{"last=P7D&to=2025-11-01T00:00:00%2B01:00", 1761343200, 1761951600},
		{"last=P1M&to=2025-03-31T06:00:00%2B02:00", 1740718800, 1743393600},
		{"last=P1Y&to=2024-02-29T06:00:00%2B01:00", 1677560400, 1709182800},
		{"last=P1M1DT2H&to=2025-12-24T10:30:00%2B01:00", 1763883000, 1766568600},
		/* To the present, which is 2026-01-08T14:00:30+01:00. */
		{"last=P1D", 1767790800, 1767877200},
	};
	struct http *http = serve();
	fake.energy = NULL;
	for (size_t i = 0; i < ARRAY_LEN(cases); i++) {
		char *target =
			xasprintf("/v1/energy?step=PT1H&values=cop&%s", cases[i].query);
		cJSON *json = get_json(http, target, 200);
		ck_assert_msg((int64_t)number_at(json, "from") == cases[i].from_s,
			"%s begins at %.0f", target, number_at(json, "from"));
		ck_assert_int_eq((int64_t)number_at(json, "to"), cases[i].to_s);
		cJSON_Delete(json);
		free(target);
	}
	http_close(http);
}
END

TEST(look_backs_that_mean_nothing_are_refused)
{
	static const struct {
		const char *query, *detail;
	} cases[] = {
		{"last=P1D&from=1767222000",
			"last and from are two beginnings of one span: give one of them"},
		{"last=7d", NULL},
		{"last=P0D", NULL},
		{"last=", NULL},
		{"last=PT90S", NULL},
		{"last=P99999999Y", NULL},
		{"last=P57Y", NULL},
		{"last=-P1D", NULL},
		{"last=P1000000M", NULL},
		{"last=P1DT", NULL},
	};
	struct http *http = serve();
	for (size_t i = 0; i < ARRAY_LEN(cases); i++) {
		char *target = xasprintf("/v1/energy?%s", cases[i].query);
		cJSON *json = get_json(http, target, 400);
		ck_assert_str_eq(text_at(json, "parameter"), "last");
		if (cases[i].detail)
			ck_assert_str_eq(text_at(json, "detail"), cases[i].detail);
		else
			ck_assert_str_eq(text_at(json, "allowed/1"), "P7D");
		cJSON_Delete(json);
		free(target);
	}
	http_close(http);
}
END

TESTS(schemas_take_no_member_that_they_do_not_describe, examples_are_as_their_schemas_say,
	every_resource_has_its_schema_parameters_and_example,
	data_may_want_a_token_and_what_is_public_wants_none, an_answer_that_is_not_as_described_is_found, rows_are_the_columns_turned,
	look_backs_go_by_the_calendar_of_the_plant,
	look_backs_that_mean_nothing_are_refused)
