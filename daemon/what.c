/*
 * See what.h.
 *
 * There is no second way of deriving: the store is copied, the copy is asked, rebuilt and
 * asked again, and removed. Days after the span count as well, since what holds at its
 * end may reach on. Queries go a month at a time, so that memory holds a row a day.
 */
#include "what.h"

#include <heatbook/boundary.h>
#include <heatbook/calendar.h>
#include <heatbook/store.h>
#include <heatbook/work_copy.h>

#include <errno.h>
#include <string.h>
#include <unistd.h>

#define DAYS_MOST 40000

struct work {
	const struct verb_call *call;
	const struct rebuild_request *request;
	struct work_copy copy;
	struct what what;
	uint64_t *seen; /* a digest a day and channel */
	char why[320];
};

static int failed(struct work *w, int r, const char *what)
{
	if (!w->why[0])
		(void)snprintf(w->why, sizeof(w->why), "%s", what);
	return r;
}

bool what_differs(const struct what_row *row)
{
	for (int c = HEAT; c < COLUMN_COUNT; c++) {
		const struct cell *a = &row->before.cells[c], *b = &row->after.cells[c];
		if (a->known != b->known || (a->known && a->value != b->value))
			return true;
	}
	return false;
}

/* ---- asking ---- */

static struct what_row *rows_new(const int64_t *edges_ms, size_t count)
{
	struct what_row *rows = xcalloc(count, sizeof(*rows));
	for (size_t i = 0; i < count; i++) {
		rows[i].t_ms = edges_ms[i];
		rows[i].t_end_ms = edges_ms[i + 1];
	}
	return rows;
}

static void put(struct what_row *row, bool after, struct figures figures)
{
	*(after ? &row->after : &row->before) = figures;
}

/* Rows that follow each other. The total is of all of them; `total` may be NULL. */
static int ask_energy(struct work *w, struct store *store, struct what_row *rows,
	size_t count, bool after, struct what_row *total)
{
	const struct question *q = &w->what.question;
	struct energy_answer answer;
	int64_t *edges = xcalloc(count + 1, sizeof(*edges));
	for (size_t i = 0; i < count; i++)
		edges[i] = rows[i].t_ms;
	edges[count] = rows[count - 1].t_end_ms;
	int r = query_energy(store, edges, count, &q->boundary, &answer);
	free(edges);
	if (r != 0)
		return failed(w, r, store_error(store));
	for (size_t i = 0; i < count; i++)
		put(&rows[i], after, figures_whole(&answer.buckets[i], q));
	if (total)
		put(total, after, figures_whole(&answer.total, q));
	energy_answer_release(&answer);
	return 0;
}

static uint64_t digest_of(const struct series_column *column, size_t i)
{
	double mean = column->mean[i];
	uint64_t digest = digest64(0, &column->observed_s[i], sizeof(double));
	bool named = mean >= 0 && mean < (double)column->states.count;
	if (!named)
		return digest64(digest, &mean, sizeof(mean));
	const char *name = column->states.names[(size_t)mean];
	return digest64(digest, name, strlen(name));
}

/* Notes what the channels' days are, or counts those that are no longer that. */
static int ask_channels(
	struct work *w, struct store *store, size_t first, size_t count, bool after)
{
	size_t channels = w->copy.config.channel_count;
	const struct what_row *rows = &w->what.days[first];
	struct series_answer answer;
	int64_t *edges = xcalloc(count + 1, sizeof(*edges));
	int *all = xcalloc(channels, sizeof(*all));
	for (size_t c = 0; c < channels; c++)
		all[c] = (int)c;
	for (size_t i = 0; i < count; i++)
		edges[i] = rows[i].t_ms;
	edges[count] = rows[count - 1].t_end_ms;
	int r = query_series(store, edges, count, all, channels, &answer);
	free(edges);
	free(all);
	if (r != 0)
		return failed(w, r, store_error(store));
	for (size_t c = 0; c < channels; c++)
		for (size_t i = 0; i < count; i++) {
			uint64_t *seen = &w->seen[(first + i) * channels + c];
			uint64_t digest = digest_of(&answer.columns[c], i);
			if (after)
				w->what.channel_days[c] += *seen != digest;
			*seen = digest;
		}
	series_answer_release(&answer);
	return 0;
}

static int ask_all(struct work *w, struct store *store, bool after)
{
	struct what *what = &w->what;
	int r = ask_energy(
		w, store, what->months, what->month_count, after, &what->total);
	for (size_t i = 0, n; r == 0 && i < what->day_count; i += n) {
		n = what->day_count - i < 31 ? what->day_count - i : 31;
		r = ask_energy(w, store, &what->days[i], n, after, NULL);
		if (r == 0 && w->copy.config.channel_count > 0)
			r = ask_channels(w, store, i, n, after);
	}
	return r;
}

static int lay_rows(struct work *w, int64_t from_ms, int64_t to_ms,
	const struct duration *step, struct what_row **ret, size_t *ret_count)
{
	int64_t *edges;
	int r = query_buckets(from_ms, to_ms, step, DAYS_MOST, &edges, ret_count);
	if (r != 0)
		return failed(w, -EINVAL, "that span is too long");
	*ret = rows_new(edges, *ret_count);
	free(edges);
	return 0;
}

/* Whole local days from the first that may change to the last that has rows. */
static int lay_out(struct work *w, struct store *store)
{
	static const struct duration day = {.days = 1}, month = {.months = 1};
	struct what *what = &w->what;
	int64_t first_ms, end_ms;
	int r = store_span(store, &first_ms, &end_ms);
	if (r != 0)
		return r == STORE_NONE ? failed(w, -ENODATA, "nothing is stored yet")
				       : failed(w, r, store_error(store));
	/* A rebuild takes whole UTC days. */
	if (w->request->from_ms > first_ms)
		first_ms = w->request->from_ms;
	first_ms = floor_div(first_ms, MS_PER_DAY) * MS_PER_DAY;
	int64_t from_ms = calendar_day_start(calendar_date(first_ms));
	int64_t to_ms =
		calendar_day_start(calendar_add(calendar_date(end_ms - 1), 0, 0, 1));
	if (from_ms >= to_ms)
		return failed(w, -ENODATA, "nothing is stored of that span");
	r = lay_rows(w, from_ms, to_ms, &day, &what->days, &what->day_count);
	if (r == 0)
		r = lay_rows(
			w, from_ms, to_ms, &month, &what->months, &what->month_count);
	what->total.t_ms = from_ms;
	what->total.t_end_ms = to_ms;
	w->seen =
		xcalloc(what->day_count * w->copy.config.channel_count, sizeof(*w->seen));
	what->channel_days =
		xcalloc(w->copy.config.channel_count, sizeof(*what->channel_days));
	return r;
}

static int ask_copy(struct work *w, bool after)
{
	struct store *store;
	char why[256];
	int r = store_open(&w->copy.config, STORE_WRITE, &store, why);
	if (r != 0)
		return failed(w, r, why);
	if (!after)
		r = lay_out(w, store);
	if (r == 0)
		r = ask_all(w, store, after);
	store_close(store);
	return r;
}

/* ---- the copy ---- */

static int make_copy(struct work *w)
{
	const char *place = getenv("TMPDIR");
	const char *file = w->call->config->store.file;
	const char *name = strrchr(file, '/');
	char why[256];

	name = name ? name + 1 : file;
	_cleanup_(freep) char *directory = place && *place
						   ? xasprintf("%s/%s.what", place, name)
						   : xasprintf("%s.what", file);
	int r = work_copy_make(w->call->config, directory, &w->copy, why);
	if (r == 0)
		return 0;
	if (w->copy.directory)
		return failed(w, r, why);
	(void)snprintf(w->why, sizeof(w->why),
		"%.255s; a copy of the store needs a place: name one in TMPDIR", why);
	return r;
}

static void remove_copy(struct work *w)
{
	int r = work_copy_remove(&w->copy);
	if (r < 0)
		(void)fprintf(stderr,
			"heatbookd: the copy's directory cannot be removed: %s\n",
			strerror(-r));
}

static int compare(struct work *w)
{
	int r = make_copy(w);
	if (r == 0)
		r = ask_copy(w, false);
	if (r == 0)
		r = rebuild_span(&w->copy.config, w->request, &w->what.rebuilt, w->why);
	if (r == 0 && w->what.rebuilt.ended)
		r = failed(w, -EINTR, "ended as asked; nothing was changed");
	return r == 0 ? ask_copy(w, true) : r;
}

/* ---- the verb ---- */

static bool choose_boundary(struct work *w, char why[static 256])
{
	struct question *q = &w->what.question;
	*q = (struct question){.config = w->call->config};
	int r = boundary_find(w->call->config, w->call->boundary, &q->boundary, why);
	if (r != 0 && w->call->boundary)
		return false;
	if (r != 0) {
		q->boundary = (struct boundary){0};
		w->what.no_boundary = why;
	}
	return true;
}

static int print(const struct work *w)
{
	struct buffer out = {0};
	if (w->call->json)
		what_json(&w->what, &out);
	else
		what_text(&w->what, &out);
	bool written = fwrite(out.data, 1, out.length, stdout) == out.length &&
		       fflush(stdout) == 0;
	buffer_release(&out);
	return written ? EXIT_DONE : verb_failed("the answer could not be written");
}

int what_rebuild(const struct verb_call *call, const struct rebuild_request *request,
	struct progress_line *line)
{
	struct work w = {.call = call, .request = request};
	char no_boundary[256];

	if (!choose_boundary(&w, no_boundary))
		return verb_misused(no_boundary);
	if (access(call->config->store.file, F_OK) != 0 && errno == ENOENT) {
		_cleanup_(freep) char *why =
			xasprintf("%s is not there yet: nothing is stored",
				call->config->store.file);
		return verb_failed(why);
	}
	int r = compare(&w);
	progress_end(line);
	remove_copy(&w);
	r = r == 0 ? print(&w) : verb_failed(w.why);
	free(w.what.days);
	free(w.what.months);
	free(w.what.channel_days);
	free(w.seen);
	return r;
}
