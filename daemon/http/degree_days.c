/*
 * /v1/degree-days: heating degree days of whole local days, summed by step, by all four
 * methods at once, each named with its base.
 *
 * A day of which less than 95 % is known has none: it is null by the day, and counted as
 * missing in longer steps, whose sums are of the days that are known. Where minutes of
 * more than OUTDOOR_MINUTE_DAYS would have to be read they are told by hours, and counted
 * as such.
 */
#include "basis.h"
#include "face.h"
#include "sheet.h"

#include <heatbook/degree_days.h>

#include <math.h>

#define KD_DECIMALS    4
#define COLUMNS_A_STEP 14
#define DAYS_MOST      4000

enum { DEGREE_T, DEGREE_T_END, DEGREE_COUNTED, DEGREE_MISSING, DEGREE_FROM_HOURS };
enum {
	DEGREE_KD = DEGREE_FROM_HOURS + 1,
	DEGREE_OUTDOOR = DEGREE_KD + DEGREE_METHODS,
	DEGREE_OBSERVED,
	DEGREE_COLUMNS
};

static const struct sheet_form columns[DEGREE_COLUMNS] = {
	[DEGREE_T] = {"t", "s", SHEET_SECONDS, .instant = true},
	[DEGREE_T_END] = {"t_end", "s", SHEET_SECONDS, .instant = true},
	[DEGREE_COUNTED] = {"days", "d", 0},
	[DEGREE_MISSING] = {"missing_days", "d", 0},
	[DEGREE_FROM_HOURS] = {"days_from_hours", "d", 0},
	[DEGREE_KD + DEGREE_INTEGRAL] = {"integral_kd", "K.d", KD_DECIMALS},
	[DEGREE_KD + DEGREE_DAILY_MEAN] = {"daily_mean_kd", "K.d", KD_DECIMALS},
	[DEGREE_KD + DEGREE_MIN_MAX] = {"min_max_kd", "K.d", KD_DECIMALS},
	[DEGREE_KD + DEGREE_EUROSTAT] = {"eurostat_kd", "K.d", KD_DECIMALS},
	[DEGREE_OUTDOOR] = {"outdoor_c", "Cel", 2},
	[DEGREE_OBSERVED] = {"observed_s", "s", SHEET_SECONDS},
};

struct asked {
	const struct config *config;
	int channel;
	double base_c;
	struct span span;
	int64_t *days_ms; /* edges of days */
	size_t day_count;
};

/* ---- the question ---- */

static bool base_read(const struct request *request, struct reply *reply, double *ret)
{
	static const char *const forms[] = {
		"a temperature in °C, -20 to 40, such as 15.5"};
	const char *given = request_value(request, "base");
	if (!given || (preview_offset_read(given, 40.0, ret) && *ret >= -20.0))
		return true;
	problem_with(reply, "base", given, "base is no such temperature");
	problem_allowed(reply, forms, ARRAY_LEN(forms));
	return false;
}

static bool days_lay(struct asked *asked, struct reply *reply)
{
	static const struct duration day = {.days = 1};
	int r = query_buckets(asked->span.from_ms, asked->span.to_ms, &day, DAYS_MOST,
		&asked->days_ms, &asked->day_count);
	if (r == QUERY_TOO_MANY)
		problem_with(reply, "from", NULL,
			"that span has more than %d days; ask for a shorter one",
			DAYS_MOST);
	else if (r < 0)
		problem_query(reply, r);
	return r == 0;
}

static bool asked_read(const struct config *config, const struct request *request,
	struct reply *reply, struct asked *ret)
{
	*ret = (struct asked){.config = config,
		.channel = config_role(config, ROLE_OUTDOOR_TEMPERATURE),
		.base_c = config->plant.degree_base_c};
	if (ret->channel < 0) {
		problem(reply, 404,
			"no channel has the role outdoor_temperature: without it there "
			"are no degree days");
		return false;
	}
	return form_read(request, reply) && base_read(request, reply, &ret->base_c) &&
	       span_read(request, COLUMNS_A_STEP, reply, &ret->span) &&
	       span_whole_days(request, &ret->span, reply) && days_lay(ret, reply);
}

static void asked_release(struct asked *asked)
{
	span_release(&asked->span);
	free(asked->days_ms);
}

/* ---- the answer ---- */

static struct cell count_of(int64_t count)
{
	return (struct cell){true, count};
}

static void fill(const struct degree_sum *sum, int64_t t_ms, int64_t t_end_ms,
	struct cell cells[static DEGREE_COLUMNS])
{
	bool known = sum->days > 0;
	cells[DEGREE_T] = count_of(t_ms);
	cells[DEGREE_T_END] = count_of(t_end_ms);
	cells[DEGREE_COUNTED] = count_of(sum->days);
	cells[DEGREE_MISSING] = count_of(sum->missing);
	cells[DEGREE_FROM_HOURS] = count_of(sum->from_hours);
	for (int m = 0; m < DEGREE_METHODS; m++)
		cells[DEGREE_KD + m] =
			cell_of(known ? sum->kd[m] : (double)NAN, KD_DECIMALS);
	cells[DEGREE_OUTDOOR] =
		cell_of(known ? sum->weighted_c / (double)sum->known_ms : (double)NAN, 2);
	cells[DEGREE_OBSERVED] = count_of(sum->known_ms);
}

/* A step's edges are midnights, so each day lies in one step. */
static void lay_out(const struct asked *asked, const struct outdoor_answer *answer,
	struct sheet *sheet, struct degree_sum *ret_total)
{
	const struct span *span = &asked->span;
	struct cell *cells[DEGREE_COLUMNS], row[DEGREE_COLUMNS];
	size_t day = 0;
	*sheet = (struct sheet){.rows = span->count};
	*ret_total = (struct degree_sum){0};
	sheet_add_forms(sheet, columns, DEGREE_COLUMNS, cells);
	for (size_t i = 0; i < span->count; i++) {
		struct degree_sum sum = {0};
		for (; day < answer->count && asked->days_ms[day] < span->edges_ms[i + 1];
			day++) {
			degree_sum_add(&sum, asked->base_c, &answer->days[day]);
			degree_sum_add(ret_total, asked->base_c, &answer->days[day]);
		}
		fill(&sum, span->edges_ms[i], span->edges_ms[i + 1], row);
		for (int c = 0; c < DEGREE_COLUMNS; c++)
			cells[c][i] = row[c];
	}
	sheet_add_corrections(sheet, asked->config, &asked->channel, 1);
}

static void write_methods(struct json *json, const struct asked *asked)
{
	const struct channel_config *c = &asked->config->channels[asked->channel];
	json_object(json, "methods");
	for (int m = 0; m < DEGREE_METHODS; m++) {
		enum degree_method method = (enum degree_method)m;
		json_object(json, columns[DEGREE_KD + m].name);
		json_text(json, "name", degree_method_name(method));
		json_number(
			json, "base_c", degree_method_base_c(method, asked->base_c), 2);
		if (method == DEGREE_EUROSTAT)
			json_number(json, "mean_at_most_c", EUROSTAT_LIMIT_C, 2);
		if (method == DEGREE_MIN_MAX)
			json_text(json, "extremes",
				c->extremes ? "of readings" : "of minutes' means");
		json_object_end(json);
	}
	json_object_end(json);
}

static void write_body(struct json *json, const struct asked *asked,
	const struct outdoor_answer *answer, const struct sheet *sheet,
	const struct degree_sum *total)
{
	struct cell cells[DEGREE_COLUMNS];
	fill(total, asked->span.from_ms, asked->span.to_ms, cells);
	json_object(json, NULL);
	span_write(&asked->span, asked->config, json);
	json_number(json, "base_c", asked->base_c, 2);
	json_integer(json, "version", answer->version);
	json_older_days(json, &answer->older);
	json_corrections(json, "corrections", asked->config, asked->channel,
		asked->span.from_ms, asked->span.to_ms);
	json_integer(json, "least_known_percent", DEGREE_DAY_KNOWN_PERCENT);
	write_methods(json, asked);
	sheet_json(sheet, SHEET_WHOLE, asked->span.by_rows, json);
	json_object(json, "total");
	for (int c = 0; c < DEGREE_COLUMNS; c++)
		json_cell(json, columns[c].name, &cells[c], columns[c].decimals);
	json_object_end(json);
	json_object(json, "units");
	for (int c = 0; c < DEGREE_COLUMNS; c++)
		json_text(json, columns[c].name, columns[c].ucum);
	json_object_end(json);
}

static void answer_asked(
	struct http *http, const struct asked *asked, struct reply *reply)
{
	struct outdoor_answer answer;
	struct degree_sum total;
	struct sheet sheet;
	int r = query_outdoor(http->store, asked->channel, asked->base_c, asked->days_ms,
		asked->day_count, &answer);
	if (r != 0) {
		problem_query(reply, r);
		return;
	}
	lay_out(asked, &answer, &sheet, &total);
	if (reply->type)
		sheet_csv(&sheet, &reply->form, &reply->body.out);
	else
		write_body(&reply->body, asked, &answer, &sheet, &total);
	span_keep(&asked->span, reply);
	sheet_release(&sheet);
	outdoor_answer_release(&answer);
}

void answer_degree_days(
	struct http *http, const struct request *request, struct reply *reply)
{
	struct asked asked;
	if (asked_read(http->config, request, reply, &asked))
		answer_asked(http, &asked, reply);
	asked_release(&asked);
}
