/*
 * The verb `export`: rows as CSV, or the journal's records as JSON lines.
 *
 * CSV is the answer of /v1/series and /v1/energy over a span of any length: the same
 * queries and the same writer, asked piece by piece, so that memory does not grow with
 * the span. Each piece is a read of its own: no snapshot is held while the output waits.
 * A daemon that stores meanwhile may be seen from one piece to the next; each row is
 * whole. What the daemon has not committed yet is not seen.
 */
#include "output.h"
#include "verbs.h"

#include <heatbook/archive.h>
#include <heatbook/calendar.h>
#include <heatbook/http.h>
#include <heatbook/store.h>

#include <errno.h>
#include <string.h>

/* Of a piece: some hundred KiB of text. */
#define PIECE_VALUES 20000
#define PIECE_ROWS   2880

struct export
{
	const struct verb_call *call;
	const struct config *config;
	struct store *store;
	struct duration step;
	struct csv_form form;
	int channels[CHANNELS_MOST]; /* of --series */
	size_t channel_count;
	struct question question; /* of --energy */
	unsigned modes;
	size_t values; /* a row */
	int64_t from_ms, to_ms;
	char why[320];
	struct energy_answer energy; /* one at a time: it is large */
};

static int misused(struct export *e, const char *what, const char *given)
{
	(void)snprintf(e->why, sizeof(e->why), "%s%s%.80s%s", what, given ? ": \"" : "",
		given ? given : "", given ? "\"" : "");
	return EXIT_USAGE;
}

static int add_channel(struct export *e, const char *name)
{
	int channel = config_channel(e->config, name);
	if (channel < 0)
		return misused(e, "no channel has this name", name);
	for (size_t i = 0; i < e->channel_count; i++)
		if (e->channels[i] == channel)
			return misused(e, "a channel is named twice", name);
	e->channels[e->channel_count++] = channel;
	e->values += http_channel_values(e->config, channel);
	return 0;
}

static int read_channels(struct export *e)
{
	_cleanup_(freep) char *list = xstrdup(e->call->series);
	char *rest = list, *name;
	int r = 0;
	while (r == 0 && (name = strsep(&rest, ",")))
		r = add_channel(e, name);
	return r;
}

/* Boundary and grouping, as /v1/energy takes them. */
static int read_question(struct export *e)
{
	const struct verb_call *call = e->call;
	char why[256];
	if (call->by && strcmp(call->by, "mode") != 0)
		return misused(e, "--by takes mode", call->by);
	e->question = (struct question){.config = e->config, .by_mode = call->by != NULL};
	e->values += http_energy_values(&e->question);
	if (boundary_find(e->config, call->boundary, &e->question.boundary, why) == 0)
		return 0;
	if (call->boundary)
		return misused(e, why, NULL);
	e->question.boundary = (struct boundary){0}; /* no meter: heat alone */
	return 0;
}

static int read_form(struct export *e)
{
	const struct verb_call *call = e->call;
	e->form.header = true;
	e->form.epoch = call->time && strcmp(call->time, "epoch") == 0;
	if (call->time && !e->form.epoch && strcmp(call->time, "local") != 0)
		return misused(e, "--time takes local or epoch", call->time);
	if (!http_step_parse(call->step ? call->step : "P1D", &e->step))
		return misused(e,
			"--step takes PT…M, PT…H (multiples of a minute), P1D, P1W, P1M "
			"or P1Y",
			call->step);
	return 0;
}

/* A local date, whose end is meant where `days` is 1, or an instant with its offset. */
static bool read_instant(const char *text, int days, int64_t *ret_ms)
{
	const char *why;
	return verb_date(text, days, ret_ms) ||
	       time_parse_rfc3339(text, ret_ms, &why) == 0;
}

static int read_span(struct export *e)
{
	const struct verb_call *call = e->call;
	if ((call->from && !read_instant(call->from, 0, &e->from_ms)) ||
		(call->to && !read_instant(call->to, 1, &e->to_ms)))
		return misused(e,
			"--from and --to take local dates like 2026-01-31, or RFC 3339 "
			"with offset",
			NULL);
	if (call->from && call->to && e->from_ms >= e->to_ms)
		return misused(e, "--from must not lie after --to", NULL);
	return 0;
}

static int read_call(struct export *e)
{
	const struct verb_call *call = e->call;
	bool rows = call->series || call->energy;
	if (call->count > 0)
		return misused(e, "export takes no operand", call->operands[0]);
	if (call->journal + call->energy + (call->series != NULL) != 1)
		return misused(
			e, "export takes one of --journal, --series, --energy", NULL);
	if (!rows && (call->step || call->time))
		return misused(e, "--step and --time are for CSV", NULL);
	if (!call->energy && (call->by || call->boundary))
		return misused(e, "--by and --boundary are for --energy", NULL);
	e->values = 2;
	int r = read_span(e);
	if (r == 0 && rows)
		r = read_form(e);
	if (r == 0 && call->series)
		r = read_channels(e);
	if (r == 0 && call->energy)
		r = read_question(e);
	return r;
}

static int query_failed(struct export *e, int r)
{
	const char *error = store_error(e->store);
	(void)snprintf(e->why, sizeof(e->why), "%.100s: %.200s", e->config->store.file,
		r == QUERY_TOO_SLOW ? "a query took too long"
		: error[0]          ? error
				    : strerror(-r));
	return EXIT_FAILED;
}

static int piece_rows(
	struct export *e, const int64_t *edges, size_t count, struct buffer *out)
{
	struct series_answer series;
	int r;
	if (e->call->series) {
		r = query_series(
			e->store, edges, count, e->channels, e->channel_count, &series);
		if (r != 0)
			return r;
		http_series_csv(e->config, &series, &e->form, out);
		series_answer_release(&series);
		return 0;
	}
	r = query_energy(e->store, edges, count, &e->question.boundary, &e->energy);
	if (r != 0)
		return r;
	http_energy_csv(&e->question, &e->energy, e->modes, &e->form, out);
	energy_answer_release(&e->energy);
	return 0;
}

/* The modes of the whole span decide the columns of every piece. */
static int find_modes(struct export *e)
{
	const int64_t whole[] = {e->from_ms, e->to_ms};
	if (!e->call->by)
		return 0;
	int r = query_energy(e->store, whole, 1, &e->question.boundary, &e->energy);
	if (r != 0)
		return query_failed(e, r);
	e->modes = http_energy_modes(&e->energy);
	energy_answer_release(&e->energy);
	return 0;
}

static int write_piece(struct export *e, int64_t *from_ms, struct buffer *out, FILE *file)
{
	size_t most = PIECE_VALUES / e->values, count;
	int64_t *edges;

	most = most < 1 ? 1 : most > PIECE_ROWS ? PIECE_ROWS : most;
	query_buckets_some(*from_ms, e->to_ms, &e->step, most, &edges, &count);
	buffer_reset(out);
	int r = piece_rows(e, edges, count, out);
	*from_ms = edges[count];
	free(edges);
	if (r != 0)
		return query_failed(e, r);
	e->form.header = false;
	errno = EIO;
	if (fwrite(out->data, 1, out->length, file) == out->length)
		return 0;
	(void)snprintf(e->why, sizeof(e->why), "the output could not be written: %s",
		strerror(errno));
	return EXIT_FAILED;
}

/* Without --from and --to all that is stored, from the local day of its first row on. */
static int whole_span(struct export *e)
{
	int64_t first, end;
	int r = store_row_span(e->store, &first, &end);
	if (r != 0 && r != STORE_NONE)
		return query_failed(e, r);
	if (r == STORE_NONE && !(e->call->from && e->call->to)) {
		(void)snprintf(e->why, sizeof(e->why),
			"%.200s: there are no rows yet; run `heatbookd serve` or "
			"`heatbookd import`",
			e->config->store.file);
		return EXIT_FAILED;
	}
	if (!e->call->from)
		e->from_ms = calendar_day_start(calendar_date(first * MS_PER_MIN));
	if (!e->call->to)
		e->to_ms = end * MS_PER_MIN;
	e->from_ms -= e->from_ms % MS_PER_MIN;
	e->to_ms -= e->to_ms % MS_PER_MIN;
	return e->from_ms < e->to_ms ? 0 : misused(e, "that span holds no rows", NULL);
}

static int write_rows(struct export *e, FILE *file)
{
	struct buffer out = {0};
	int r = whole_span(e);
	if (r == 0)
		r = find_modes(e);
	for (int64_t from_ms = e->from_ms; r == 0 && from_ms < e->to_ms;)
		r = write_piece(e, &from_ms, &out, file);
	buffer_release(&out);
	return r;
}

static int export_rows(struct export *e, FILE *file)
{
	char why[256];
	if (store_open(e->config, STORE_READ, &e->store, why) != 0) {
		(void)snprintf(e->why, sizeof(e->why), "%s", why);
		return EXIT_FAILED;
	}
	int r = write_rows(e, file);
	store_close(e->store);
	return r;
}

static int export_records(struct export *e, FILE *file)
{
	int r;
	if (e->call->from || e->call->to)
		r = export_journal_span(e->config, e->call->from ? e->from_ms : INT64_MIN,
			e->call->to ? e->to_ms : INT64_MAX, file, e->why);
	else
		r = export_journal(e->config, file, e->why);
	return r == 0 ? EXIT_DONE : EXIT_FAILED;
}

int verb_export(const struct verb_call *call)
{
	struct export e = {.call = call, .config = call->config};
	struct output output;

	if (read_call(&e) != 0)
		return verb_misused(e.why);
	if (output_open(call->output, &output, e.why) != 0)
		return verb_failed(e.why);
	int r = call->journal ? export_records(&e, output.file)
			      : export_rows(&e, output.file);
	char why[320];
	if (output_close(&output, r == EXIT_DONE, why) != 0 && r == EXIT_DONE)
		return verb_failed(why);
	if (r == EXIT_DONE)
		return r;
	return r == EXIT_USAGE ? verb_misused(e.why) : verb_failed(e.why);
}
