/*
 * Events of instruments as rows. Like spans of registers they go by the reading that made
 * them: deriving a stretch of time again replaces those of its readings and no others.
 */
#include "settle.h"

#include <math.h>

static void bind_real(sqlite3_stmt *statement, const char *name, double value)
{
	int index = sqlite3_bind_parameter_index(statement, name);
	int rc = isfinite(value) ? sqlite3_bind_double(statement, index, value)
				 : sqlite3_bind_null(statement, index);
	(void)rc; /* what could not be bound is NULL */
}

static const char *subject_of(const struct config *config, const struct event *e)
{
	if (e->subject == EVENT_SUBJECT_GONE)
		return "";
	return e->is_meter ? config->meters[e->subject].name
			   : config->channels[e->subject].name;
}

int store_event_add(struct store *s, const struct event *e)
{
	sqlite3_stmt *row = store_statement_of(s, SQL_EVENT_ADD);
	bind_int(row, ":made_ms", e->made_ms);
	bind_int(row, ":is_meter", e->is_meter);
	bind_text(row, ":subject", subject_of(s->config, e));
	bind_int(row, ":kind", (int64_t)e->kind);
	bind_int(row, ":t_ms", e->t_ms);
	bind_real(row, ":before", e->before);
	bind_real(row, ":after", e->after);
	return store_run(s, row);
}

int store_event_drop(
	struct store *s, const struct event *like, int64_t from_ms, int64_t to_ms)
{
	sqlite3_stmt *drop = store_statement_of(s, SQL_EVENT_DROP);
	bind_int(drop, ":is_meter", like->is_meter);
	bind_text(drop, ":subject", subject_of(s->config, like));
	bind_int(drop, ":kind", (int64_t)like->kind);
	bind_int(drop, ":from_ms", from_ms);
	bind_int(drop, ":to_ms", to_ms);
	return store_run(s, drop);
}

int store_events_put(struct store *s, const struct event *made, size_t count,
	int64_t from_ms, int64_t to_ms)
{
	sqlite3_stmt *drop = store_statement_of(s, SQL_EVENTS_DROP);
	bind_int(drop, ":from_ms", from_ms);
	bind_int(drop, ":to_ms", to_ms);
	int r = store_run(s, drop);
	for (size_t i = 0; r == 0 && i < count; i++)
		if (made[i].made_ms >= from_ms && made[i].made_ms < to_ms)
			r = store_event_add(s, &made[i]);
	return r;
}

static double real_at(sqlite3_stmt *row, int column)
{
	return sqlite3_column_type(row, column) == SQLITE_NULL
		       ? (double)NAN
		       : sqlite3_column_double(row, column);
}

static uint16_t index_of(const struct config *config, bool is_meter, const char *name)
{
	int index = is_meter ? config_meter(config, name) : config_channel(config, name);
	return index < 0 ? EVENT_SUBJECT_GONE : (uint16_t)index;
}

int store_events(struct store *s, int64_t from_ms, int64_t to_ms, event_visit *visit,
	void *context)
{
	sqlite3_stmt *rows = store_statement_of(s, SQL_EVENTS_BETWEEN);
	int rc;

	if (!rows)
		return s->unprepared;
	bind_int(rows, ":from_ms", from_ms);
	bind_int(rows, ":to_ms", to_ms);
	while ((rc = sqlite3_step(rows)) == SQLITE_ROW) {
		const char *subject = (const char *)sqlite3_column_text(rows, 4);
		bool is_meter = sqlite3_column_int(rows, 3) != 0;
		struct event e = {.kind = (enum event_kind)sqlite3_column_int(rows, 0),
			.t_ms = sqlite3_column_int64(rows, 1),
			.made_ms = sqlite3_column_int64(rows, 2),
			.subject = index_of(s->config, is_meter, subject),
			.is_meter = is_meter,
			.before = real_at(rows, 5),
			.after = real_at(rows, 6)};
		visit(&e, subject, context);
	}
	(void)sqlite3_reset(rows);
	return rc == SQLITE_DONE ? 0 : store_failed(s, rc, "events");
}

int store_event_span(struct store *s, int64_t *ret_first_ms, int64_t *ret_last_ms)
{
	sqlite3_stmt *get = store_statement_of(s, SQL_EVENT_SPAN);
	int rc = get ? sqlite3_step(get) : SQLITE_ERROR;
	if (rc != SQLITE_ROW)
		return store_failed(s, rc, "events");
	int r = sqlite3_column_type(get, 0) == SQLITE_NULL ? STORE_NONE : 0;
	if (r == 0) {
		*ret_first_ms = sqlite3_column_int64(get, 0);
		*ret_last_ms = sqlite3_column_int64(get, 1);
	}
	(void)sqlite3_reset(get);
	return r;
}
