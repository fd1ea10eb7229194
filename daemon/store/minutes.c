/*
 * Minute rows out of the engine's minutes: integers scaled by dimension, NULL for
 * unknown, a known time only where it is not the whole minute. A mode's row exists where
 * time or energy was booked to it.
 */
#include "database.h"

#include <errno.h>
#include <math.h>

/* A row on its way out: into a statement, or into memory where rows are kept. */
struct row_out {
	sqlite3_stmt *statement; /* NULL: into memory */
	int at;                  /* column */
	struct row_view kept;
};

static void put(struct row_out *row, bool known, int64_t value)
{
	int at = row->at++;
	if (!known)
		return; /* unbound is NULL */
	if (row->statement) {
		(void)sqlite3_bind_int64(row->statement, at + 1, value);
		return;
	}
	row->kept.values[at] = value;
	row->kept.known[at] = 1;
}

/* Where rows of a table go: into memory where they are kept, else by a statement. */
struct way_out {
	enum sql_id id;
	struct kept *kept;
};

static int row_begin(
	struct store *s, const struct way_out *way, int64_t minute, struct row_out *ret)
{
	*ret = (struct row_out){0};
	if (kept_add(way->kept, minute, &ret->kept))
		return 0;
	ret->statement = store_statement_of(s, way->id);
	return ret->statement ? 0 : s->unprepared;
}

static int row_end(struct store *s, const struct row_out *row)
{
	return row->statement ? store_run(s, row->statement) : 0;
}

static void put_scaled(struct row_out *row, const struct channel_config *channel,
	bool known, double value)
{
	double scaled = value * unit_scale(channel->dimension);
	known = known && fabs(scaled) < WHOLE_MOST;
	put(row, known, known ? llround(scaled) : 0);
}

static bool is_stored(
	const struct channel_config *channel, const struct minute_channel *m, double mean)
{
	double scaled = mean * unit_scale(channel->dimension);
	return m->known_ms > 0 && fabs(scaled) < WHOLE_MOST;
}

static double mean_of(struct store *s, size_t c, const struct minute_channel *m)
{
	return m->known_ms > 0 ? store_state_code(s, c, m->mean) : 0.0;
}

static bool any_stored(struct store *s, const struct minute *minute)
{
	const struct config *config = s->config;
	for (size_t c = 0; c < config->channel_count; c++)
		if (is_stored(&config->channels[c], &minute->channels[c],
			    mean_of(s, c, &minute->channels[c])))
			return true;
	return false;
}

static int add_channels(
	struct store *s, const struct way_out *way, const struct minute *minute)
{
	const struct config *config = s->config;
	struct row_out row;

	if (!any_stored(s, minute))
		return 0;
	int r = row_begin(s, way, minute->minute, &row);
	if (r != 0)
		return r;
	put(&row, true, minute->minute);
	for (size_t c = 0; c < config->channel_count; c++) {
		const struct channel_config *channel = &config->channels[c];
		const struct minute_channel *m = &minute->channels[c];
		double mean = mean_of(s, c, m);
		bool known = is_stored(channel, m, mean);
		put_scaled(&row, channel, known, mean);
		put(&row, known && m->known_ms < MS_PER_MIN, m->known_ms);
	}
	for (size_t c = 0; c < config->channel_count; c++) {
		const struct channel_config *channel = &config->channels[c];
		const struct minute_channel *m = &minute->channels[c];
		if (!channel->extremes)
			continue;
		put_scaled(&row, channel, m->known_ms > 0, m->least);
		put_scaled(&row, channel, m->known_ms > 0, m->most);
	}
	return row_end(s, &row);
}

static int64_t stored_known(const struct store *s, unsigned known)
{
	int64_t bits = known & KNOWN_HEAT;
	for (size_t m = 0; m < s->config->meter_count; m++)
		if (known & KNOWN_METER(m))
			bits |= INT64_C(1) << s->meter_bit[m];
	return bits;
}

static int add_mode(struct store *s, const struct way_out *way,
	const struct minute *minute, size_t mode)
{
	const struct minute_mode *m = &minute->modes[mode];
	struct row_out row;
	int r = row_begin(s, way, minute->minute, &row);
	if (r != 0)
		return r;
	put(&row, true, minute->minute * SLOTS_A_MINUTE + (int64_t)mode);
	put(&row, true, stored_known(s, minute->known));
	put(&row, m->ms != MS_PER_MIN, m->ms);
	put(&row, m->heat_ms > 0, whole_joules(m->heat_j));
	put(&row, m->heat_ms > 0 && m->heat_ms != MS_PER_MIN, m->heat_ms);
	put(&row, m->heat_ms > 0, whole_joules(m->sensitivity_j_per_k));
	for (size_t i = 0; i < s->config->meter_count; i++) {
		bool seen = (m->meter_seen & 1u << i) != 0;
		put(&row, seen, whole_joules(m->meter_j[i]));
		put(&row, seen && m->meter_ms[i] != MS_PER_MIN, m->meter_ms[i]);
	}
	for (size_t i = 0; i < s->config->meter_count; i++) {
		if (!s->config->meters[i].difference)
			continue;
		put(&row, m->gross_ms[i] > 0, whole_joules(m->gross_j[i]));
		put(&row, m->gross_ms[i] > 0, m->gross_ms[i]);
	}
	return row_end(s, &row);
}

static int add_minute(struct store *s, const struct minute *minute,
	const struct way_out *channels, const struct way_out *energy)
{
	int r = add_channels(s, channels, minute);
	for (size_t mode = 0; r == 0 && mode < MODE_COUNT; mode++)
		if (minute->modes[mode].seen)
			r = add_mode(s, energy, minute, mode);
	return r;
}

int store_pending_add(struct store *s, const struct minute *minute)
{
	int64_t before = sqlite3_total_changes64(s->db);
	int r = add_minute(s, minute, &(struct way_out){SQL_PENDING_MINUTE_ADD, NULL},
		&(struct way_out){SQL_PENDING_ENERGY_ADD, NULL});
	generation_note_pending(s, minute->minute, before);
	return r;
}

int store_minute_add(struct store *s, const struct minute *minute)
{
	return add_minute(s, minute, &(struct way_out){SQL_MINUTE_ADD, s->kept_minutes},
		&(struct way_out){SQL_ENERGY_ADD, s->kept_energies});
}

static int write_kept(struct store *s, struct kept *k, enum sql_id id)
{
	if (!k || k->written == k->count)
		return 0;
	int r = store_run(s, store_statement_of(s, id));
	if (r == 0)
		k->written = k->count;
	return r;
}

int store_minutes_write(struct store *s)
{
	int r = write_kept(s, s->kept_minutes, SQL_MINUTES_ADD_KEPT);
	return r != 0 ? r : write_kept(s, s->kept_energies, SQL_ENERGY_ADD_KEPT);
}

int store_in_bulk(struct store *s)
{
	sqlite3_stmt *minutes = store_statement_of(s, SQL_MINUTE_ADD);
	sqlite3_stmt *energies = store_statement_of(s, SQL_ENERGY_ADD);
	if (!minutes || !energies)
		return s->unprepared;
	if (s->kept_minutes)
		return 0;
	s->kept_minutes = kept_new((size_t)sqlite3_bind_parameter_count(minutes), 1);
	s->kept_energies =
		kept_new((size_t)sqlite3_bind_parameter_count(energies), SLOTS_A_MINUTE);
	return store_script(s, SQL_IN_BULK, NULL);
}

int store_bulk_end(struct store *s)
{
	sqlite3_file *log = NULL;
	int rc = sqlite3_file_control(s->db, "main", SQLITE_FCNTL_JOURNAL_POINTER, &log);
	if (rc == SQLITE_OK && log && log->pMethods)
		rc = log->pMethods->xSync(log, SQLITE_SYNC_NORMAL);
	return rc == SQLITE_OK ? 0 : store_failed(s, rc, "write-ahead log");
}

int store_pending_clear(struct store *s)
{
	s->pending_from = INT64_MAX;
	int r = store_run(s, store_statement_of(s, SQL_PENDING_MINUTES_CLEAR));
	return r != 0 ? r : store_run(s, store_statement_of(s, SQL_PENDING_ENERGY_CLEAR));
}

int store_pending_move(struct store *s)
{
	static const enum sql_id steps[] = {SQL_PENDING_MINUTES_MAKE_ROOM,
		SQL_PENDING_ENERGY_MAKE_ROOM, SQL_PENDING_MINUTES_MOVE,
		SQL_PENDING_ENERGY_MOVE};
	int r = 0;
	for (size_t i = 0; r == 0 && i < ARRAY_LEN(steps); i++)
		r = store_run(s, store_statement_of(s, steps[i]));
	return r != 0 ? r : store_pending_clear(s);
}

static int drop(struct store *s, enum sql_id id, int64_t from_minute, int64_t to_minute)
{
	sqlite3_stmt *statement = store_statement_of(s, id);
	bind_int(statement, ":from_minute", from_minute);
	bind_int(statement, ":to_minute", to_minute);
	return store_run(s, statement);
}

int store_minutes_drop(struct store *s, int64_t from_minute, int64_t to_minute)
{
	kept_begin(s->kept_minutes, from_minute, to_minute);
	kept_begin(s->kept_energies, from_minute, to_minute);
	int r = drop(s, SQL_MINUTES_DROP, from_minute, to_minute);
	return r != 0 ? r : drop(s, SQL_ENERGY_DROP, from_minute, to_minute);
}

static int edge(struct store *s, enum sql_id id, int64_t *ret)
{
	sqlite3_stmt *get = store_statement_of(s, id);
	int rc = get ? sqlite3_step(get) : SQLITE_ERROR;
	if (rc != SQLITE_ROW)
		return store_failed(s, rc, "minutes");
	int r = sqlite3_column_type(get, 0) == SQLITE_NULL ? STORE_NONE : 0;
	if (r == 0)
		*ret = sqlite3_column_int64(get, 0);
	(void)sqlite3_reset(get);
	return r;
}

int store_first_row(struct store *s, int64_t *ret)
{
	return edge(s, SQL_FIRST_ROW, ret);
}

int store_row_span(struct store *s, int64_t *ret_from, int64_t *ret_to)
{
	sqlite3_stmt *get = store_statement_of(s, SQL_ROW_SPAN);
	int rc = get ? sqlite3_step(get) : SQLITE_ERROR;
	if (rc != SQLITE_ROW)
		return store_failed(s, rc, "rows");
	int r = sqlite3_column_type(get, 0) == SQLITE_NULL ? STORE_NONE : 0;
	if (r == 0) {
		*ret_from = sqlite3_column_int64(get, 0);
		*ret_to = sqlite3_column_int64(get, 1);
	}
	(void)sqlite3_reset(get);
	return r;
}

int store_minute_span(struct store *s, int64_t *ret_first, int64_t *ret_last)
{
	int r = edge(s, SQL_FIRST_MINUTE, ret_first);
	return r == 0 ? edge(s, SQL_LAST_MINUTE, ret_last) : r;
}

int store_span(struct store *s, int64_t *ret_first_ms, int64_t *ret_end_ms)
{
	int64_t first_ms = INT64_MAX, last_ms = INT64_MIN, first = 0, last = 0;
	int r = store_journal_span(s, &first_ms, &last_ms);
	bool any = r == 0;
	if (r == 0 || r == STORE_NONE)
		r = store_minute_span(s, &first, &last);
	if (r == 0) {
		int64_t begin_ms = first * MS_PER_MIN, end_ms = (last + 1) * MS_PER_MIN;
		first_ms = begin_ms < first_ms ? begin_ms : first_ms;
		last_ms = end_ms - 1 > last_ms ? end_ms - 1 : last_ms;
		any = true;
	}
	if (!any || (r != 0 && r != STORE_NONE))
		return r;
	*ret_first_ms = first_ms;
	*ret_end_ms = last_ms + 1;
	return 0;
}
