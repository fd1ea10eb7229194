/*
 * Evidence of days as rows, and the minutes that it is made of. Summing a day anew drops
 * its evidence (rollup.c): what is stored always belongs to the rows beside it. What is
 * missing is made by whoever has time (daemon/insight/look.c).
 */
#include "database.h"

#include <heatbook/evidence.h>

#include <errno.h>
#include <math.h>
#include <string.h>

#define HALF_MINUTE_MS (MS_PER_MIN / 2)

/* ---- minutes ---- */

void day_minutes_release(struct day_minutes *day)
{
	free(day->values);
	free(day->booked);
	free(day->meter_j);
	free(day->meter_ms);
	free(day->parts);
	free(day->part_meter_j);
	*day = (struct day_minutes){0};
}

/* The configuration's index of a state by its stored code. */
static double state_of(const struct store *s, size_t channel, int64_t code)
{
	const struct channel_config *config = &s->config->channels[channel];
	for (size_t i = 0; i < config->state_count; i++)
		if (s->states[channel].codes[i] == code)
			return (double)i;
	return -1.0;
}

static void take_channels(
	const struct store *s, sqlite3_stmt *row, struct day_minutes *day)
{
	size_t at = (size_t)(sqlite3_column_int64(row, 0) - day->start_min);
	for (size_t c = 0; c < s->config->channel_count; c++) {
		const struct channel_config *channel = &s->config->channels[c];
		int column = 1 + (int)c;
		if (sqlite3_column_type(row, column) == SQLITE_NULL)
			continue;
		int64_t value = sqlite3_column_int64(row, column);
		day->values[c * day->count + at] =
			channel->map_count
				? state_of(s, c, value)
				: (double)value / unit_scale(channel->dimension);
	}
}

static void take_part(const struct store *s, sqlite3_stmt *row, enum day_work work,
	struct day_minutes *day)
{
	size_t at = (size_t)(sqlite3_column_int64(row, 0) - day->start_min);
	struct day_part *part = &day_parts(day, work)[at];
	int64_t known = sqlite3_column_int64(row, 2);
	*part = (struct day_part){.ms = sqlite3_column_int(row, 3),
		.heat_j = (double)sqlite3_column_int64(row, 4),
		.sensitivity_j_per_k = (double)sqlite3_column_int64(row, 6),
		.heat_known = known & KNOWN_HEAT};
	for (size_t m = 0; m < s->config->meter_count; m++) {
		day_part_meter_j(day, work, m)[at] =
			(double)sqlite3_column_int64(row, 7 + 2 * (int)m);
		if (known & INT64_C(1) << s->meter_bit[m])
			part->meters_known |= 1u << m;
	}
}

/* As of energy_from_minutes. */
static void take_energy(const struct store *s, sqlite3_stmt *row, struct day_minutes *day)
{
	size_t at = (size_t)(sqlite3_column_int64(row, 0) - day->start_min);
	struct day_booked *booked = &day->booked[at];
	int32_t ms = sqlite3_column_int(row, 3);

	if (ms > booked->mode_ms) {
		booked->mode = sqlite3_column_int(row, 1);
		booked->mode_ms = ms;
	}
	booked->heat_j += (double)sqlite3_column_int64(row, 4);
	booked->heat_ms += sqlite3_column_int(row, 5);
	for (int work = 0; work < DAY_WORKS; work++)
		if (sqlite3_column_int(row, 1) == (int)day_work_mode((enum day_work)work))
			take_part(s, row, (enum day_work)work, day);
	for (size_t m = 0; m < s->config->meter_count; m++) {
		int column = 7 + 2 * (int)m;
		double *j = &day->meter_j[m * day->count + at];
		if (sqlite3_column_type(row, column) == SQLITE_NULL)
			continue;
		*j = (isnan(*j) ? 0.0 : *j) + (double)sqlite3_column_int64(row, column);
		day->meter_ms[m * day->count + at] += sqlite3_column_int(row, column + 1);
	}
}

typedef void take_row(const struct store *s, sqlite3_stmt *row, struct day_minutes *day);

struct minutes_reading {
	const struct store *s;
	take_row *take;
	struct day_minutes *day;
};

static void take_minute(sqlite3_stmt *row, void *context)
{
	const struct minutes_reading *reading = context;
	reading->take(reading->s, row, reading->day);
}

static int read_rows(
	struct store *s, enum sql_id id, take_row *take, struct day_minutes *day)
{
	struct minutes_reading reading = {s, take, day};
	sqlite3_stmt *rows = store_statement_of(s, id);
	if (id == SQL_DAY_CHANNELS)
		bind_int(rows, ":least_ms", HALF_MINUTE_MS);
	return store_rows_of(s, rows, day->start_min, day->end_min, take_minute, &reading,
		"a day's minutes");
}

void day_minutes_init(struct day_minutes *day, const struct config *config,
	int64_t start_min, int64_t end_min)
{
	size_t count = (size_t)(end_min - start_min);
	*day = (struct day_minutes){.config = config,
		.start_min = start_min,
		.end_min = end_min,
		.count = count};
	day->values = xmalloc(config->channel_count * count * sizeof(*day->values) + 1);
	day->booked = xcalloc(count + 1, sizeof(*day->booked));
	day->meter_j = xmalloc(config->meter_count * count * sizeof(*day->meter_j) + 1);
	day->meter_ms = xcalloc(config->meter_count * count + 1, sizeof(*day->meter_ms));
	day->parts = xcalloc(DAY_WORKS * count + 1, sizeof(*day->parts));
	day->part_meter_j = xcalloc(
		DAY_WORKS * config->meter_count * count + 1, sizeof(*day->part_meter_j));
	for (size_t i = 0; i < config->channel_count * count; i++)
		day->values[i] = (double)NAN;
	for (size_t i = 0; i < config->meter_count * count; i++)
		day->meter_j[i] = (double)NAN;
	for (size_t i = 0; i < count; i++)
		day->booked[i].mode = -1;
}

int store_day_minutes(
	struct store *s, int64_t start_min, int64_t end_min, struct day_minutes *ret)
{
	struct day_minutes day;
	day_minutes_init(&day, s->config, start_min, end_min);
	int r = read_rows(s, SQL_DAY_CHANNELS, take_channels, &day);
	if (r == 0)
		r = read_rows(s, SQL_ENERGY_FROM_MINUTES, take_energy, &day);
	if (r == 0)
		*ret = day;
	else
		day_minutes_release(&day);
	return r;
}

/* The statement names columns of what is counted: it is prepared for it and not kept. */
static int register_day(
	struct store *s, size_t q, int64_t from, int64_t to, struct register_day *ret)
{
	struct buffer text = {0};
	sqlite3_stmt *sums = NULL;

	sql_expand(s->config, SQL_SETTLE_DAY, config_counted_name(s->config, q), &text);
	int rc = sqlite3_prepare_v3(s->db, buffer_text(&text), -1, 0, &sums, NULL);
	buffer_release(&text);
	if (rc != SQLITE_OK)
		return store_failed(s, rc, "a register's day");
	bind_int(sums, ":from_minute", from);
	bind_int(sums, ":to_minute", to);
	bind_int(sums, ":meter", s->meter_bit[q]);
	bind_int(sums, ":least_j", q == COUNTED_HEAT ? 0 : INT64_MIN);
	rc = sqlite3_step(sums);
	if (rc == SQLITE_ROW) {
		ret->minutes = sqlite3_column_int64(sums, 0);
		ret->register_j = (double)sqlite3_column_int64(sums, 1);
		ret->power_j = (double)sqlite3_column_int64(sums, 2);
	}
	(void)sqlite3_finalize(sums);
	return rc == SQLITE_ROW ? 0 : store_failed(s, rc, "a register's day");
}

int store_register_day(struct store *s, int64_t start_min, int64_t end_min,
	struct register_day ret[static COUNTED_MOST])
{
	int r = 0;
	memset(ret, 0, COUNTED_MOST * sizeof(*ret));
	for (size_t q = 0; r == 0 && q < COUNTED_MOST; q++) {
		const struct counted *counted = config_counted(s->config, q);
		bool meter = q < s->config->meter_count;
		if (!counted || (meter && s->config->meters[q].power_count == 0))
			continue;
		r = register_day(s, q, start_min, end_min, &ret[q]);
	}
	return r;
}

/* ---- evidence ---- */

static const struct {
	const char *name;
	enum evidence_subject subject;
} kinds[EVIDENCE_KINDS] = {
	[EVIDENCE_LOOKED] = {"looked", SUBJECT_NONE},
	[EVIDENCE_REST] = {"rest", SUBJECT_NONE},
	[EVIDENCE_POWER_NEGATIVE] = {"power_negative", SUBJECT_CHANNEL},
	[EVIDENCE_FLOW_ZERO] = {"flow_zero", SUBJECT_NONE},
	[EVIDENCE_RETURN_ABOVE] = {"return_above", SUBJECT_NONE},
	[EVIDENCE_FROZEN] = {"frozen", SUBJECT_CHANNEL},
	[EVIDENCE_COARSE] = {"coarse", SUBJECT_CHANNEL},
	[EVIDENCE_SLOW] = {"slow", SUBJECT_CHANNEL},
	[EVIDENCE_STATE_UNKNOWN] = {"state_unknown", SUBJECT_CHANNEL},
	[EVIDENCE_FLOW] = {"flow", SUBJECT_NONE},
	[EVIDENCE_PRESSURE] = {"pressure", SUBJECT_NONE},
	[EVIDENCE_SKEW] = {"skew", SUBJECT_METER},
	[EVIDENCE_OUTDOOR] = {"outdoor", SUBJECT_NONE},
	[EVIDENCE_EFFICIENCY] = {"efficiency", SUBJECT_MODE},
	[EVIDENCE_MISSING] = {"missing", SUBJECT_NONE},
	[EVIDENCE_REGISTER] = {"register", SUBJECT_METER},
	[EVIDENCE_HEAT_REGISTER] = {"heat_register", SUBJECT_NONE},
	[EVIDENCE_APPARENT] = {"apparent", SUBJECT_METER},
	[EVIDENCE_IMMERSION] = {"immersion", SUBJECT_METER},
	[EVIDENCE_FLAG] = {"flag", SUBJECT_MODE},
	[EVIDENCE_BALANCE] = {"balance", SUBJECT_NONE},
	[EVIDENCE_SILENT] = {"silent", SUBJECT_CHANNEL},
	[EVIDENCE_REPEATED] = {"repeated", SUBJECT_CHANNEL},
	[EVIDENCE_STILL] = {"still", SUBJECT_CHANNEL},
	[EVIDENCE_PUMP_OFF] = {"pump_off", SUBJECT_NONE},
	[EVIDENCE_SIGN] = {"sign", SUBJECT_MODE},
	[EVIDENCE_CONTRADICTED] = {"contradicted", SUBJECT_CHANNEL},
	[EVIDENCE_PHASE] = {"phase", SUBJECT_CHANNEL},
	[EVIDENCE_EMISSION] = {"emission", SUBJECT_NONE},
	[EVIDENCE_CYLINDER] = {"cylinder", SUBJECT_NONE},
	[EVIDENCE_CONDITIONS] = {"conditions", SUBJECT_MODE},
	[EVIDENCE_STEADY] = {"steady", SUBJECT_MODE},
};

const char *evidence_name(enum evidence_kind kind)
{
	return kinds[kind].name;
}

enum evidence_subject evidence_subject(enum evidence_kind kind)
{
	return kinds[kind].subject;
}

static const char *subject_text(const struct config *config, const struct evidence *item)
{
	switch (evidence_subject(item->kind)) {
	case SUBJECT_CHANNEL:
		return config->channels[item->subject].name;
	case SUBJECT_METER:
		return config->meters[item->subject].name;
	case SUBJECT_MODE:
		return mode_name((enum mode)item->subject);
	case SUBJECT_NONE:
		break;
	}
	return "";
}

static int mode_index(const char *name)
{
	for (int m = 0; m < MODE_COUNT; m++)
		if (strcmp(mode_name((enum mode)m), name) == 0)
			return m;
	return -1;
}

/* False: it is of something that is not configured any more. */
static bool subject_find(
	const struct config *config, const char *text, struct evidence *item)
{
	item->subject = -1;
	switch (evidence_subject(item->kind)) {
	case SUBJECT_CHANNEL:
		item->subject = config_channel(config, text);
		break;
	case SUBJECT_METER:
		item->subject = config_meter(config, text);
		break;
	case SUBJECT_MODE:
		item->subject = mode_index(text);
		break;
	case SUBJECT_NONE:
		return true;
	}
	return item->subject >= 0;
}

int store_evidence_row(struct store *s, int64_t start_min, int kind, const char *subject,
	int64_t at_min, int64_t minutes, const double values[static EVIDENCE_VALUES])
{
	sqlite3_stmt *add = store_statement_of(s, SQL_EVIDENCE_ADD);
	if (!add)
		return s->unprepared;
	/* Binding fails for wrong numbers only. */
	(void)sqlite3_bind_int64(add, 1, start_min);
	(void)sqlite3_bind_int(add, 2, kind);
	(void)sqlite3_bind_text(add, 3, subject, -1, SQLITE_TRANSIENT);
	(void)sqlite3_bind_int64(add, 4, at_min);
	(void)sqlite3_bind_int64(add, 5, minutes);
	for (int i = 0; i < EVIDENCE_VALUES; i++)
		(void)sqlite3_bind_double(add, 6 + i, values[i]);
	return store_run(s, add);
}

static int add_item(struct store *s, int64_t start_min, const struct evidence *item)
{
	double values[EVIDENCE_VALUES];
	for (int i = 0; i < EVIDENCE_VALUES; i++)
		values[i] = isfinite(item->values[i]) ? item->values[i] : (double)NAN;
	return store_evidence_row(s, start_min, (int)item->kind,
		subject_text(s->config, item), item->at_min, item->minutes, values);
}

int store_evidence_put(
	struct store *s, int64_t start_min, const struct evidence_list *list)
{
	sqlite3_stmt *drop = store_statement_of(s, SQL_EVIDENCE_DROP_LOOKED);
	bind_int(drop, ":from_minute", start_min);
	bind_int(drop, ":to_minute", start_min + 1);
	int r = store_run(s, drop);
	for (size_t i = 0; r == 0 && i < list->count; i++)
		r = add_item(s, start_min, &list->items[i]);
	return r;
}

/* False: not of this program. */
static bool read_item(const struct store *s, sqlite3_stmt *row, struct evidence *ret)
{
	int kind = sqlite3_column_int(row, 1);
	if (kind < 0 || kind >= EVIDENCE_KINDS)
		return false;
	ret->kind = (enum evidence_kind)kind;
	ret->at_min = sqlite3_column_int64(row, 3);
	ret->minutes = sqlite3_column_int64(row, 4);
	for (int i = 0; i < EVIDENCE_VALUES; i++)
		ret->values[i] = sqlite3_column_type(row, 5 + i) == SQLITE_NULL
					 ? (double)NAN
					 : sqlite3_column_double(row, 5 + i);
	return subject_find(s->config, (const char *)sqlite3_column_text(row, 2), ret);
}

struct items_reading {
	const struct store *s;
	evidence_visit *visit;
	void *context;
};

static void show_item(sqlite3_stmt *row, void *context)
{
	const struct items_reading *reading = context;
	struct evidence item;
	if (read_item(reading->s, row, &item))
		reading->visit(sqlite3_column_int64(row, 0), &item, reading->context);
}

static int visit_evidence(struct store *s, sqlite3_stmt *rows, int64_t from_min,
	int64_t to_min, evidence_visit *visit, void *context)
{
	struct items_reading reading = {s, visit, context};
	return store_rows_of(s, rows, from_min, to_min, show_item, &reading, "evidence");
}

int store_evidence(struct store *s, int64_t from_min, int64_t to_min,
	evidence_visit *visit, void *context)
{
	return visit_evidence(s, store_statement_of(s, SQL_EVIDENCE_OF_SPAN), from_min,
		to_min, visit, context);
}

int store_evidence_of(struct store *s, enum evidence_kind kind, int64_t from_min,
	int64_t to_min, evidence_visit *visit, void *context)
{
	sqlite3_stmt *rows = store_statement_of(s, SQL_EVIDENCE_OF_KIND);
	bind_int(rows, ":kind", (int64_t)kind);
	return visit_evidence(s, rows, from_min, to_min, visit, context);
}

static int read_spans(struct store *s, enum sql_id id, int64_t from_min, int64_t to_min,
	struct day_span *ret, size_t most, size_t *ret_count)
{
	sqlite3_stmt *rows = store_statement_of(s, id);
	size_t count = 0;
	int rc = SQLITE_DONE;

	if (!rows)
		return s->unprepared;
	bind_int(rows, ":from_minute", from_min);
	bind_int(rows, ":to_minute", to_min);
	bind_int(rows, ":form", EVIDENCE_FORM);
	bind_int(rows, ":most", (int64_t)most);
	while (count < most && (rc = sqlite3_step(rows)) == SQLITE_ROW)
		ret[count++] = (struct day_span){
			sqlite3_column_int64(rows, 0), sqlite3_column_int64(rows, 1)};
	(void)sqlite3_reset(rows);
	*ret_count = count;
	return rc == SQLITE_DONE || rc == SQLITE_ROW ? 0
						     : store_failed(s, rc, "evidence");
}

int store_evidence_missing(struct store *s, int64_t from_min, int64_t to_min,
	struct day_span *ret, size_t most, size_t *ret_count)
{
	return read_spans(
		s, SQL_EVIDENCE_MISSING, from_min, to_min, ret, most, ret_count);
}

int store_evidence_looked(struct store *s, int64_t from_min, int64_t to_min,
	struct day_span *ret, size_t most, size_t *ret_count)
{
	return read_spans(s, SQL_EVIDENCE_LOOKED, from_min, to_min, ret, most, ret_count);
}
