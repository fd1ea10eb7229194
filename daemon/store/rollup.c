/*
 * Hours and days, summed from minutes in the transaction that changes these: nothing
 * dirty is ever left behind. Open ones are not stored; whoever asks sums them from
 * minutes.
 *
 * Local days are summed from minutes, not from hours: in zones at :30 and :45 no hour
 * ends at midnight. Each minute's row is read once and goes to its hour and to its day.
 */
#include "fold.h"

#include <heatbook/age.h>
#include <heatbook/calendar.h>
#include <heatbook/runs.h>

#include <errno.h>

struct span {
	int64_t start, end; /* minutes */
	struct date date;   /* of a day */
	bool stays; /* some of its minutes are gone: what is stored is the truth */
};

/* Spans that follow each other, and the sum of the one that rows are in. */
struct track {
	bool days;
	struct span *spans;
	size_t count, room, at;
	struct fold *fold;
};

static void track_add(struct track *t, struct span span)
{
	if (t->count == t->room) {
		t->room = t->room ? 2 * t->room : 32;
		t->spans = xrealloc(t->spans, t->room, sizeof(*t->spans));
	}
	t->spans[t->count++] = span;
}

/* Sums of minutes that were dropped for their age are not made again. */
static int find_aged(struct store *s, struct track *t)
{
	bool any = false;
	int r = 0;
	if (t->count)
		r = store_minutes_gone(
			s, t->spans[0].start, t->spans[t->count - 1].end, &any);
	for (size_t i = 0; r == 0 && any && i < t->count; i++) {
		int64_t until = 0;
		r = store_minutes_gone_until(s, t->spans[i].start, &until);
		t->spans[i].stays = until > t->spans[i].start;
	}
	return r;
}

static void find_hours(
	struct track *t, int64_t from_minute, int64_t to_minute, int64_t until_minute)
{
	int64_t to = floor_div(to_minute + 59, 60), closed = floor_div(until_minute, 60);
	if (to > closed)
		to = closed;
	for (int64_t hour = floor_div(from_minute, 60); hour < to; hour++)
		track_add(t, (struct span){.start = hour * 60, .end = hour * 60 + 60});
}

static void find_days(
	struct track *t, int64_t from_minute, int64_t to_minute, int64_t until_minute)
{
	struct date date = calendar_date(from_minute * MS_PER_MIN);
	int64_t start = calendar_day_start(date) / MS_PER_MIN;

	while (start < to_minute) {
		struct date next = calendar_add(date, 0, 0, 1);
		int64_t end = calendar_day_start(next) / MS_PER_MIN;
		if (end > until_minute)
			break;
		if (start < end)
			track_add(t, (struct span){start, end, date});
		date = next;
		start = end;
	}
}

static int run_range(struct store *s, enum sql_id id, int64_t from, int64_t to)
{
	sqlite3_stmt *statement = store_statement_of(s, id);
	bind_int(statement, ":from_minute", from);
	bind_int(statement, ":to_minute", to);
	return store_run(s, statement);
}

static int drop_range(struct store *s, const struct track *t, int64_t from, int64_t to)
{
	int r = run_range(s, t->days ? SQL_DAYS_DROP : SQL_HOURS_DROP, from, to);
	if (r == 0)
		r = run_range(s, t->days ? SQL_ENERGY_DAYS_DROP : SQL_ENERGY_HOURS_DROP,
			from, to);
	if (r == 0 && t->days)
		r = run_range(s, SQL_EVIDENCE_DROP, from, to);
	return r;
}

/* All rows that begin in the track's spans go: of a day whose bounds moved, too. */
static int drop(struct store *s, const struct track *t)
{
	size_t first = 0;
	int r = 0;
	for (size_t i = 0; r == 0 && i < t->count; i++) {
		bool ends = i + 1 == t->count || t->spans[i + 1].stays;
		if (t->spans[i].stays)
			first = i + 1;
		else if (ends)
			r = drop_range(s, t, t->spans[first].start, t->spans[i].end);
	}
	return r;
}

static int store_channels(struct store *s, const struct track *t)
{
	const struct span *span = &t->spans[t->at];
	sqlite3_stmt *add = store_statement_of(s, t->days ? SQL_DAY_ADD : SQL_HOUR_ADD);
	char text[16];

	if (!fold_any(t->fold))
		return 0;
	if (!add)
		return s->unprepared;
	(void)sqlite3_bind_int64(add, 1, t->days ? span->start : span->start / 60);
	int at = fold_bind(t->fold, add, 2);
	if (t->days) {
		calendar_date_text(span->date, text);
		(void)sqlite3_bind_int64(add, at, span->end);
		(void)sqlite3_bind_text(add, at + 1, text, -1, SQLITE_TRANSIENT);
	}
	return store_run(s, add);
}

/* What a register bridged may be all that is known of a day. */
static int add_bare_day(struct store *s, const struct span *span)
{
	sqlite3_stmt *add = store_statement_of(s, SQL_DAY_ADD_BARE);
	char text[16];
	calendar_date_text(span->date, text);
	bind_int(add, ":start_minute", span->start);
	bind_int(add, ":end_minute", span->end);
	bind_text(add, ":date", text);
	return store_run(s, add);
}

static int store_energies(struct store *s, const struct track *t)
{
	const struct span *span = &t->spans[t->at];
	bool bare = t->days && fold_energies(t->fold) > 0;
	int r = bare ? add_bare_day(s, span) : 0;
	for (size_t i = 0; r == 0 && i < fold_energies(t->fold); i++) {
		sqlite3_stmt *add = store_statement_of(
			s, t->days ? SQL_ENERGY_DAY_ADD : SQL_ENERGY_HOUR_ADD);
		if (!add)
			return s->unprepared;
		(void)sqlite3_bind_int64(
			add, 1, t->days ? span->start : span->start / 60);
		fold_bind_energy(t->fold, i, add, 2);
		r = store_run(s, add);
	}
	return r;
}

typedef int store_sum(struct store *s, const struct track *t);
typedef void fold_row(struct fold *fold, struct row_view row);

/* The span that holds `minute`, after the sums of those before it are stored. */
static int move_to(struct store *s, struct track *t, int64_t minute, store_sum *store)
{
	int r = 0;
	while (r == 0 && t->at < t->count && minute >= t->spans[t->at].end) {
		if (!t->spans[t->at].stays)
			r = store(s, t);
		fold_reset(t->fold);
		t->at++;
	}
	return r;
}

/* The rows of a table and what becomes of them. */
struct pass {
	struct track *tracks; /* hours, days */
	enum sql_id id;
	const struct kept *kept; /* or NULL */
	int64_t slots;           /* rows' keys a minute */
	fold_row *fold;
	store_sum *store;
};

static int take_row(struct store *s, const struct pass *pass, struct row_view row)
{
	int64_t minute = floor_div(row.values[0], pass->slots);
	int r = 0;
	for (int i = 0; r == 0 && i < 2; i++) {
		struct track *t = &pass->tracks[i];
		r = move_to(s, t, minute, pass->store);
		if (r == 0 && t->at < t->count && minute >= t->spans[t->at].start)
			pass->fold(t->fold, row);
	}
	return r;
}

static int64_t track_from(const struct track *t)
{
	return t->count ? t->spans[0].start : INT64_MAX;
}

static int64_t track_to(const struct track *t)
{
	return t->count ? t->spans[t->count - 1].end : INT64_MIN;
}

static int take_kept(struct store *s, const struct pass *pass, int64_t from, int64_t to)
{
	int r = 0;
	for (size_t i = kept_find(pass->kept, from); r == 0 && i < pass->kept->count;
		i++) {
		struct row_view row = kept_row(pass->kept, i);
		if (row.values[0] >= to * pass->slots)
			break;
		r = take_row(s, pass, row);
	}
	return r;
}

static int take_stored(struct store *s, const struct pass *pass, int64_t from, int64_t to)
{
	sqlite3_stmt *rows = store_statement_of(s, pass->id);
	int rc = SQLITE_DONE, r = 0;

	if (!rows)
		return s->unprepared;
	bind_int(rows, ":from_minute", from);
	bind_int(rows, ":to_minute", to);
	int width = sqlite3_column_count(rows);
	struct row_view row = {xcalloc((size_t)width, sizeof(*row.values)),
		xcalloc((size_t)width, sizeof(*row.known))};
	while (r == 0 && (rc = sqlite3_step(rows)) == SQLITE_ROW) {
		for (int i = 0; i < width; i++) {
			row.known[i] = sqlite3_column_type(rows, i) != SQLITE_NULL;
			row.values[i] = sqlite3_column_int64(rows, i);
		}
		r = take_row(s, pass, row);
	}
	if (r == 0 && rc != SQLITE_DONE)
		r = store_failed(s, rc, "rollup");
	(void)sqlite3_reset(rows);
	free(row.values);
	free(row.known);
	return r;
}

/* Over the rows of a table, once for both tracks. */
static int sum(struct store *s, const struct pass *pass)
{
	const struct track *hours = &pass->tracks[0], *days = &pass->tracks[1];
	int64_t from = track_from(hours), to = track_to(hours);
	int r;

	from = track_from(days) < from ? track_from(days) : from;
	to = track_to(days) > to ? track_to(days) : to;
	for (int i = 0; i < 2; i++) {
		pass->tracks[i].at = 0;
		fold_reset(pass->tracks[i].fold);
	}
	int64_t stored = kept_until(pass->kept, from);
	r = stored > from ? take_kept(s, pass, from, to) : 0;
	if (r == 0 && stored < to)
		r = take_stored(s, pass, stored, to);
	for (int i = 0; r == 0 && i < 2; i++)
		r = move_to(s, &pass->tracks[i], INT64_MAX, pass->store);
	return r;
}

static int sum_both(struct store *s, struct track *tracks)
{
	const struct pass minutes = {tracks, SQL_MINUTES_OF_SPAN, s->kept_minutes, 1,
		fold_minute, store_channels};
	const struct pass energies = {tracks, SQL_ENERGY_OF_SPAN, s->kept_energies,
		SLOTS_A_MINUTE, fold_energy, store_energies};
	int r = sum(s, &minutes);
	return r == 0 ? sum(s, &energies) : r;
}

/* Runs of days that lean on minutes of [from, to), of days that are open, too. */
static int drop_runs(struct store *s, int64_t from, int64_t to)
{
	static const enum sql_id drops[] = {SQL_RUN_MARKS_DROP, SQL_RUNS_DROP_UNMARKED,
		SQL_ENERGY_RUNS_DROP_UNMARKED};
	int r = 0;
	for (size_t i = 0; r == 0 && i < ARRAY_LEN(drops); i++) {
		sqlite3_stmt *drop = store_statement_of(s, drops[i]);
		bind_int(drop, ":from_minute", from);
		bind_int(drop, ":to_minute", to);
		bind_int(drop, ":back", RUN_BACK_MIN);
		if (drops[i] == SQL_RUN_MARKS_DROP)
			bind_int(drop, ":ahead", RUN_AHEAD_MIN);
		r = store_run(s, drop);
	}
	return r;
}

int store_rollup(
	struct store *s, int64_t from_minute, int64_t to_minute, int64_t until_minute)
{
	struct track tracks[2] = {{.days = false}, {.days = true}};
	int r = 0;

	find_hours(&tracks[0], from_minute, to_minute, until_minute);
	find_days(&tracks[1], from_minute, to_minute, until_minute);
	for (int i = 0; i < 2; i++)
		tracks[i].fold = fold_new(s);
	for (int i = 0; r == 0 && i < 2; i++)
		r = find_aged(s, &tracks[i]);
	for (int i = 0; r == 0 && i < 2; i++)
		r = drop(s, &tracks[i]);
	if (r == 0)
		r = drop_runs(s, from_minute, to_minute);
	if (r == 0 && (tracks[0].count || tracks[1].count))
		r = sum_both(s, tracks);
	for (int i = 0; i < 2; i++) {
		fold_free(tracks[i].fold);
		free(tracks[i].spans);
	}
	return r;
}
