/*
 * See read.h. A query of the daemon ends after two seconds, whatever it asks: the loop
 * that serves it also stores minutes. Nothing waits for a verb but who called it, so that
 * what it prints does not depend on how fast the machine is; but while it reads, the
 * write-ahead log grows.
 */
#include "read.h"

#include <heatbook/clock.h>
#include <heatbook/query.h>

#include <errno.h>

#define SERVED_MS_MOST 2000
#define CALLED_MS_MOST 60000
#define PROGRESS_STEPS 20000 /* of SQLite's machine between looks at the clock */

static int out_of_time(void *context)
{
	return clock_mono_ms() > *(const int64_t *)context;
}

int begin_reading(struct store *s, int64_t *deadline_ms)
{
	bool served = s->mode == STORE_SERVE || s->mode == STORE_SERVE_ON;
	*deadline_ms = clock_mono_ms() + (served ? SERVED_MS_MOST : CALLED_MS_MOST);
	sqlite3_progress_handler(s->db, PROGRESS_STEPS, out_of_time, deadline_ms);
	return store_run(s, store_statement_of(s, SQL_BEGIN_READ));
}

int end_reading(struct store *s, int r)
{
	sqlite3_progress_handler(s->db, 0, NULL, NULL);
	store_rollback(s);
	if (r == STORE_DAMAGED)
		return -EUCLEAN;
	return r > 0 && r != QUERY_TOO_SLOW && r != STORE_BUSY ? -EIO : r;
}

_Static_assert((int)QUERY_TOO_SLOW == (int)STORE_BUSY, "a locked store is a slow one");

int slow_or_failed(struct store *s, int rc)
{
	return rc == SQLITE_INTERRUPT ? QUERY_TOO_SLOW : store_failed(s, rc, "query");
}

int read_parts(struct store *s, const int64_t *edges_ms, size_t count, struct parts *ret,
	int64_t *ret_version, struct older_days *ret_older)
{
	int64_t until_ms;
	int r = store_fact(s, FACT_DERIVED_UNTIL_MS, &until_ms);
	if (r == 0)
		r = store_fact(s, FACT_VERSION, ret_version);
	if (r == 0)
		r = store_older_days(s, edges_ms[0], edges_ms[count], ret_older);
	if (r == 0)
		parts_split(edges_ms, count, until_ms / MS_PER_MIN, ret);
	return r;
}

size_t bucket_of(const int64_t *edges_ms, size_t count, size_t at, int64_t minute)
{
	while (at + 1 < count && minute * MS_PER_MIN >= edges_ms[at + 1])
		at++;
	return at;
}
