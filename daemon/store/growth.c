/*
 * See growth.h. Live chunks of the last whole days say how fast the journal grows, the
 * rest of the file by its days how fast rows do. The journal grows until its age is full,
 * then what comes takes the place of what goes; rows grow on: hours and days have no age,
 * and minutes usually none.
 */
#include "database.h"

#include <heatbook/growth.h>

#include <math.h>
#include <string.h>
#include <sys/statvfs.h>

#define DAYS_LATELY 7
#define YEAR_D      365
#define DAYS_MOST   (20 * YEAR_D)

struct measured {
	double journal_a_day, rows_a_day;
	double live_days, keep_days;       /* what the live journal holds, and may */
	double minutes_days, keep_minutes; /* days of rows; keep < 0: for ever */
};

static int journal_lately(struct store *s, int64_t now_ms, double *ret)
{
	int64_t today_ms = floor_div(now_ms, MS_PER_DAY) * MS_PER_DAY;
	sqlite3_stmt *get = store_statement_of(s, SQL_LIVE_GROWTH);
	bind_int(get, ":from_ms", today_ms - DAYS_LATELY * MS_PER_DAY);
	bind_int(get, ":to_ms", today_ms);
	int rc = get ? sqlite3_step(get) : SQLITE_ERROR;
	if (rc != SQLITE_ROW)
		return store_failed(s, rc, "growth");
	double bytes = (double)sqlite3_column_int64(get, 0);
	int64_t days = sqlite3_column_int64(get, 1);
	(void)sqlite3_reset(get);
	*ret = days > 0 ? bytes / (double)days : (double)NAN;
	return 0;
}

/* The file after so many days. */
static double bytes_after(const struct growth *g, const struct measured *m, double days)
{
	double journal_days = m->keep_days - m->live_days;
	journal_days = journal_days < 0 ? 0 : journal_days < days ? journal_days : days;
	double row_days = days;
	if (m->keep_minutes >= 0) {
		row_days = m->keep_minutes - m->minutes_days;
		row_days = row_days < 0 ? 0 : row_days < days ? row_days : days;
	}
	double used = (double)g->used_bytes + m->journal_a_day * journal_days +
		      m->rows_a_day * row_days;
	return used > (double)g->bytes ? used : (double)g->bytes;
}

static void look_ahead(struct growth *g, const struct measured *m, int64_t now_ms)
{
	if (isnan(m->journal_a_day) || isnan(m->rows_a_day))
		return;
	g->year_bytes = bytes_after(g, m, YEAR_D);
	for (int day = 1; g->device_free_bytes >= 0 && day <= DAYS_MOST; day++)
		if (bytes_after(g, m, day) - (double)g->bytes >
			(double)g->device_free_bytes) {
			g->full_ms = now_ms + day * MS_PER_DAY;
			return;
		}
}

static int64_t device_free(const char *file)
{
	struct statvfs fs;
	if (statvfs(file, &fs) < 0)
		return -1;
	return (int64_t)fs.f_bavail * (int64_t)fs.f_frsize;
}

int store_growth(struct store *s, int64_t now_ms, struct growth *ret)
{
	struct growth g = {.bytes = store_bytes(s), .year_bytes = (double)NAN};
	struct measured m = {
		.keep_days = (double)s->config->journal.keep_ms / MS_PER_DAY};
	int64_t unused = 0, journal = 0, days = 0, first_ms = now_ms;

	int r = store_scalar(s, store_statement_of(s, SQL_FREE_BYTES), &unused);
	if (r == 0)
		r = store_fact(s, FACT_JOURNAL_BYTES, &journal);
	if (r == 0)
		r = store_scalar(s, store_statement_of(s, SQL_DAYS_STORED), &days);
	if (r == 0)
		r = journal_lately(s, now_ms, &m.journal_a_day);
	if (r != 0)
		return r;
	r = store_scalar(s, store_statement_of(s, SQL_FIRST_LIVE), &first_ms);
	if (r != 0 && r != STORE_NONE)
		return r;
	g.used_bytes = g.bytes - unused;
	g.device_free_bytes = device_free(s->config->store.file);
	m.rows_a_day =
		days > 0 ? (double)(g.used_bytes - journal) / (double)days : (double)NAN;
	m.live_days = (double)(now_ms - first_ms) / MS_PER_DAY;
	m.minutes_days = (double)days;
	m.keep_minutes = s->config->store.keep_minutes_ms < 0
				 ? -1
				 : (double)s->config->store.keep_minutes_ms / MS_PER_DAY;
	g.journal_bytes_a_day = m.journal_a_day;
	g.rows_bytes_a_day = m.rows_a_day;
	look_ahead(&g, &m, now_ms);
	*ret = g;
	return 0;
}
