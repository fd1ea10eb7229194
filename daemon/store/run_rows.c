/*
 * Runs of days as rows: see run_rows.h. A run's energies lie in rows of their own, like
 * those of hours and days; both are read side by side, in one order.
 */
#include "open.h"
#include "read.h"

#include <heatbook/run_rows.h>

#include <errno.h>
#include <math.h>
#include <string.h>

/* Bits of `flags`: stored, for ever. */
enum {
	FLAG_BY_RULE = 1,
	FLAG_BEGIN_TRUNCATED = 2,
	FLAG_END_TRUNCATED = 4,
	FLAG_CAME_OVER = 8,
	FLAG_GOES_ON = 16
};

/* ---- out ---- */

static int64_t flags_of(const struct plant_run *run)
{
	return (run->by_rule ? FLAG_BY_RULE : 0) |
	       (run->begin_truncated ? FLAG_BEGIN_TRUNCATED : 0) |
	       (run->end_truncated ? FLAG_END_TRUNCATED : 0) |
	       (run->came_over ? FLAG_CAME_OVER : 0) | (run->goes_on ? FLAG_GOES_ON : 0);
}

/* Binding fails for wrong numbers only. */
static int bind_next(sqlite3_stmt *add, int at, int64_t value)
{
	(void)sqlite3_bind_int64(add, at, value);
	return at + 1;
}

static int bind_double(sqlite3_stmt *add, int at, double value)
{
	(void)(isnan(value) ? sqlite3_bind_null(add, at)
			    : sqlite3_bind_double(add, at, value));
	return at + 1;
}

static int64_t meter_of(const struct store *s, const struct plant_run *run)
{
	return run->meter < 0 ? 0 : s->meter_bit[run->meter];
}

static int bind_key(const struct store *s, sqlite3_stmt *add, int64_t start_min,
	const struct plant_run *run)
{
	int at = bind_next(add, 1, (int64_t)run->kind);
	at = bind_next(add, at, start_min);
	at = bind_next(add, at, meter_of(s, run));
	return bind_next(add, at, run->begin_ms);
}

static int add_run(struct store *s, int64_t start_min, const struct plant_run *run)
{
	sqlite3_stmt *add = store_statement_of(s, SQL_RUN_ADD);
	if (!add)
		return s->unprepared;
	int at = bind_key(s, add, start_min, run);
	at = bind_next(add, at, run->end_ms);
	at = bind_next(add, at, run->ms);
	at = bind_next(add, at, flags_of(run));
	at = bind_next(add, at, (int64_t)run->ended);
	for (size_t m = 0; m < RUN_MEANS; m++) {
		at = bind_double(add, at, run->means[m].sum);
		at = bind_next(add, at, run->means[m].minutes);
	}
	at = bind_double(add, at, run->cylinder_begin_c);
	at = bind_double(add, at, run->cylinder_end_c);
	at = bind_next(add, at, (int64_t)run->interval.since);
	(void)bind_next(add, at, run->interval.ms);
	return store_run(s, add);
}

static int add_energy(struct store *s, int64_t start_min, const struct plant_run *run,
	const struct energy_row *row)
{
	sqlite3_stmt *add = store_statement_of(s, SQL_ENERGY_RUN_ADD);
	const struct energy_sum *sum = &row->sum;
	if (!add)
		return s->unprepared;
	int at = bind_key(s, add, start_min, run);
	at = bind_next(add, at, row->mode);
	at = bind_next(add, at, row->known);
	at = bind_next(add, at, sum->observed_ms);
	at = bind_next(add, at, sum->heat_j);
	at = bind_next(add, at, sum->heat_ms);
	at = bind_next(add, at, (int64_t)sum->sensitivity_j_per_k);
	for (size_t m = 0; m < s->config->meter_count; m++) {
		at = bind_next(add, at, sum->meter_j[m]);
		at = bind_next(add, at, sum->meter_ms[m]);
	}
	for (size_t q = 0; q < COUNTED_MOST; q++) {
		bool heat = q == COUNTED_HEAT;
		if (!config_is_laid(s->config, q))
			continue;
		at = bind_next(
			add, at, heat ? sum->heat_spread_j : sum->meter_spread_j[q]);
		at = bind_next(
			add, at, heat ? sum->heat_bridged_j : sum->meter_bridged_j[q]);
		at = bind_next(
			add, at, heat ? sum->heat_bridged_ms : sum->meter_bridged_ms[q]);
	}
	return store_run(s, add);
}

static int drop_day(struct store *s, int64_t start_min)
{
	static const enum sql_id drops[] = {
		SQL_RUN_MARK_DROP, SQL_RUNS_DROP, SQL_ENERGY_RUNS_DROP};
	int r = 0;
	for (size_t i = 0; r == 0 && i < ARRAY_LEN(drops); i++) {
		sqlite3_stmt *drop = store_statement_of(s, drops[i]);
		bind_int(drop, ":start_minute", start_min);
		r = store_run(s, drop);
	}
	return r;
}

int store_runs_put(struct store *s, const struct run_day *day, uint64_t form)
{
	int r = drop_day(s, day->start_min);
	for (size_t i = 0; r == 0 && i < day->pieces.count; i++) {
		const struct plant_run *run = &day->pieces.items[i];
		r = add_run(s, day->start_min, run);
		for (size_t e = 0; r == 0 && e < run->rows.count; e++)
			r = add_energy(s, day->start_min, run, &run->rows.items[e]);
	}
	sqlite3_stmt *add = store_statement_of(s, SQL_RUN_MARK_ADD);
	bind_int(add, ":start_minute", day->start_min);
	bind_int(add, ":end_minute", day->end_min);
	bind_int(add, ":form", (int64_t)form);
	bind_int(add, ":since", (int64_t)day->tail.since);
	bind_int(add, ":since_ms", day->tail.ms);
	return r == 0 ? store_run(s, add) : r;
}

/* ---- in ---- */

static struct run_interval interval_at(sqlite3_stmt *row, int column)
{
	int since = sqlite3_column_int(row, column);
	bool known = since == RUN_SINCE_DAY || since == RUN_SINCE_DEFROST;
	return (struct run_interval){known ? (enum run_since)since : RUN_SINCE_GAP,
		sqlite3_column_int64(row, column + 1)};
}

int store_run_marks(struct store *s, int64_t from_min, int64_t to_min, uint64_t form,
	run_mark_visit *visit, void *context)
{
	sqlite3_stmt *rows = store_statement_of(s, SQL_RUN_MARKS_OF_SPAN);
	int rc;

	if (!rows)
		return s->unprepared;
	bind_int(rows, ":from_minute", from_min);
	bind_int(rows, ":to_minute", to_min);
	bind_int(rows, ":form", (int64_t)form);
	while ((rc = sqlite3_step(rows)) == SQLITE_ROW) {
		const struct run_mark mark = {sqlite3_column_int64(rows, 0),
			sqlite3_column_int(rows, 1), interval_at(rows, 2)};
		visit(&mark, context);
	}
	(void)sqlite3_reset(rows);
	return rc == SQLITE_DONE ? 0 : slow_or_failed(s, rc);
}

/* Rows of runs and of their energies, side by side. */
struct run_reader {
	struct store *s;
	enum run_kind kind;
	sqlite3_stmt *runs, *energies;
	bool there; /* a row of energy is, in `energy` */
	struct energy_row energy;
	int64_t meter, begin_ms; /* whose it is; its `minute` is the day's */
};

static int energy_step(struct run_reader *r)
{
	int rc = sqlite3_step(r->energies);
	r->there = rc == SQLITE_ROW;
	if (!r->there)
		return rc == SQLITE_DONE ? 0 : slow_or_failed(r->s, rc);
	int last = sqlite3_column_count(r->energies);
	read_energy_row(r->s, r->energies, &r->energy);
	r->meter = sqlite3_column_int64(r->energies, last - 2);
	r->begin_ms = sqlite3_column_int64(r->energies, last - 1);
	return 0;
}

/* Does the energy's row come before the run's, or is it the run's own? */
static int order(
	const struct run_reader *r, int64_t start_min, int64_t meter, int64_t begin_ms)
{
	const int64_t a[] = {r->energy.minute, r->meter, r->begin_ms};
	const int64_t b[] = {start_min, meter, begin_ms};
	for (size_t i = 0; i < ARRAY_LEN(a); i++)
		if (a[i] != b[i])
			return a[i] < b[i] ? -1 : 1;
	return 0;
}

static double double_at(sqlite3_stmt *row, int column)
{
	return sqlite3_column_type(row, column) == SQLITE_NULL
		       ? (double)NAN
		       : sqlite3_column_double(row, column);
}

static struct plant_run run_at(enum run_kind kind, sqlite3_stmt *row)
{
	int flags = sqlite3_column_int(row, 5), ended = sqlite3_column_int(row, 6);
	struct plant_run run = {.kind = kind,
		.meter = -1,
		.by_rule = flags & FLAG_BY_RULE,
		.begin_truncated = flags & FLAG_BEGIN_TRUNCATED,
		.end_truncated = flags & FLAG_END_TRUNCATED,
		.came_over = flags & FLAG_CAME_OVER,
		.goes_on = flags & FLAG_GOES_ON,
		.ended = ended >= 0 && ended < RUN_ENDS ? (enum run_end)ended
							: RUN_STOPPED,
		.begin_ms = sqlite3_column_int64(row, 2),
		.end_ms = sqlite3_column_int64(row, 3),
		.ms = sqlite3_column_int64(row, 4),
		.cylinder_begin_c = double_at(row, 15),
		.cylinder_end_c = double_at(row, 16),
		.interval = interval_at(row, 17)};
	for (int m = 0; m < RUN_MEANS; m++)
		run.means[m] = (struct run_mean){sqlite3_column_double(row, 7 + 2 * m),
			sqlite3_column_int64(row, 8 + 2 * m)};
	return run;
}

/* False: its meter is not configured any more. */
static bool find_meter(const struct store *s, int64_t bit, struct plant_run *run)
{
	if (bit == 0)
		return true;
	for (size_t m = 0; m < s->config->meter_count; m++)
		if (s->meter_bit[m] == bit)
			run->meter = (int)m;
	return run->meter >= 0;
}

static int take_run(struct run_reader *r, run_piece_visit *visit, void *context)
{
	int64_t start_min = sqlite3_column_int64(r->runs, 0);
	int64_t bit = sqlite3_column_int64(r->runs, 1);
	struct plant_run run = run_at(r->kind, r->runs);
	int code = 0, at;
	while (code == 0 && r->there &&
		(at = order(r, start_min, bit, run.begin_ms)) <= 0) {
		if (at == 0)
			energy_rows_add(&run.rows, &r->energy);
		code = energy_step(r);
	}
	if (code == 0 && find_meter(r->s, bit, &run))
		visit(start_min, &run, context);
	else
		energy_rows_release(&run.rows);
	return code;
}

static void bind_span(sqlite3_stmt *rows, enum run_kind kind, int64_t from, int64_t to)
{
	bind_int(rows, ":kind", (int64_t)kind);
	bind_int(rows, ":from_minute", from);
	bind_int(rows, ":to_minute", to);
}

int store_run_pieces(struct store *s, enum run_kind kind, int64_t from_min,
	int64_t to_min, run_piece_visit *visit, void *context)
{
	struct run_reader r = {.s = s,
		.kind = kind,
		.runs = store_statement_of(s, SQL_RUNS_OF_SPAN),
		.energies = store_statement_of(s, SQL_ENERGY_FROM_RUNS)};
	int rc = SQLITE_DONE;

	if (!r.runs || !r.energies)
		return s->unprepared;
	bind_span(r.runs, kind, from_min, to_min);
	bind_span(r.energies, kind, from_min, to_min);
	int code = energy_step(&r);
	while (code == 0 && (rc = sqlite3_step(r.runs)) == SQLITE_ROW)
		code = take_run(&r, visit, context);
	(void)sqlite3_reset(r.runs);
	(void)sqlite3_reset(r.energies);
	if (code != 0)
		return code;
	return rc == SQLITE_DONE ? 0 : slow_or_failed(s, rc);
}

/* ---- which days have them ---- */

int store_run_span(struct store *s, int64_t *ret_from, int64_t *ret_to)
{
	sqlite3_stmt *span = store_statement_of(s, SQL_RUN_SPAN);
	int rc = span ? sqlite3_step(span) : SQLITE_ERROR;
	if (rc != SQLITE_ROW)
		return store_failed(s, rc, "runs");
	bool any = sqlite3_column_type(span, 0) != SQLITE_NULL;
	int64_t from = sqlite3_column_int64(span, 0), to = sqlite3_column_int64(span, 1);
	(void)sqlite3_reset(span);
	if (!any)
		return STORE_NONE;
	*ret_from = from;
	*ret_to = to;
	return 0;
}

static int read_spans(struct store *s, sqlite3_stmt *rows, struct day_span *ret,
	size_t most, size_t *ret_count)
{
	size_t count = 0;
	int rc = SQLITE_DONE;

	bind_int(rows, ":most", (int64_t)most);
	while (count < most && (rc = sqlite3_step(rows)) == SQLITE_ROW)
		ret[count++] = (struct day_span){
			sqlite3_column_int64(rows, 0), sqlite3_column_int64(rows, 1)};
	(void)sqlite3_reset(rows);
	*ret_count = count;
	return rc == SQLITE_DONE || rc == SQLITE_ROW ? 0 : slow_or_failed(s, rc);
}

static sqlite3_stmt *spans_of(
	struct store *s, enum sql_id id, int64_t from_min, int64_t to_min, uint64_t form)
{
	sqlite3_stmt *rows = store_statement_of(s, id);
	bind_int(rows, ":from_minute", from_min);
	bind_int(rows, ":to_minute", to_min);
	bind_int(rows, ":form", (int64_t)form);
	return rows;
}

int store_runs_missing(struct store *s, int64_t from_min, int64_t to_min, uint64_t form,
	struct day_span *ret, size_t most, size_t *ret_count)
{
	sqlite3_stmt *rows = spans_of(s, SQL_RUNS_MISSING, from_min, to_min, form);
	if (!rows)
		return s->unprepared;
	bind_int(rows, ":ahead", RUN_AHEAD_MIN);
	return read_spans(s, rows, ret, most, ret_count);
}

int store_runs_marked(struct store *s, int64_t from_min, int64_t to_min, uint64_t form,
	struct day_span *ret, size_t most, size_t *ret_count)
{
	sqlite3_stmt *rows = spans_of(s, SQL_RUNS_MARKED, from_min, to_min, form);
	return rows ? read_spans(s, rows, ret, most, ret_count) : s->unprepared;
}
