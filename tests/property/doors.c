/*
 * See doors.h. Everything runs in this process: a daemon's restart is the end and the
 * begin of its objects, a crash an end without a last commit. The lock beside the store
 * is left alone, since here both sides of it are one process.
 */
#include "doors.h"

#include <heatbook/archive.h>
#include <heatbook/calendar.h>
#include <heatbook/clock.h>
#include <heatbook/deriver.h>
#include <heatbook/filer.h>
#include <heatbook/import.h>
#include <heatbook/live.h>

#include <errno.h>
#include <ftw.h>
#include <sqlite3.h>
#include <unistd.h>

/* In memory where there is such a place: thousands of commits wait for no disk. */
static char *new_directory(void)
{
	const char *base = getenv("TMPDIR");
	if (!base)
		base = access("/dev/shm", W_OK) == 0 ? "/dev/shm" : "/tmp";
	char *path = xasprintf("%s/heatbook-law-XXXXXX", base);
	ck_assert_msg(mkdtemp(path) != NULL, "%s: %s", path, strerror(errno));
	return path;
}

static int remove_one(const char *path, const struct stat *st, int kind, struct FTW *ftw)
{
	(void)st;
	(void)kind;
	(void)ftw;
	return remove(path);
}

void door_open(const struct plant *plant, struct door *ret)
{
	*ret = (struct door){.directory = new_directory()};
	ret->config = plant_config(plant, ret->directory);
}

void door_close(struct door *door)
{
	config_free(door->config);
	ck_assert_int_eq(nftw(door->directory, remove_one, 16, FTW_DEPTH | FTW_PHYS), 0);
	free(door->directory);
}

struct store *door_store(const struct door *door, enum store_mode mode)
{
	struct store *store = NULL;
	char why[256];
	int r = store_open(door->config, mode, &store, why);
	ck_assert_msg(r == 0, "%s", why);
	return store;
}

static void good(int r, struct store *store, const char *doing)
{
	ck_assert_msg(r == 0, "%s: %d: %s", doing, r, store_error(store));
}

/* ---- imports ---- */

static void import_path(const struct door *door, const char *path, int64_t now_ms)
{
	struct import_report report;
	char why[320];
	clock_test_start(now_ms, now_ms);
	const struct import_request request = {.paths = &path, .count = 1};
	int r = import_archives(door->config, &request, &report, why);
	ck_assert_msg(r == 0, "import: %s", why);
	ck_assert_msg(report.rejected == 0, "%s", report.first_rejected);
}

void door_import(const struct door *door, const struct plant *plant, const size_t *order,
	size_t count, int64_t now_ms)
{
	_cleanup_(freep) char *path = xasprintf("%s/archive", door->directory);
	struct buffer lines = {0};
	FILE *f = fopen(path, "we");
	ck_assert_ptr_nonnull(f);
	for (size_t i = 0; i < count; i++) {
		struct record record = plant_record(plant, order[i]);
		record_write_json(&record, &lines);
	}
	ck_assert_uint_eq(fwrite(lines.data, 1, lines.length, f), lines.length);
	ck_assert_int_eq(fclose(f), 0);
	buffer_release(&lines);
	import_path(door, path, now_ms);
}

void door_import_all(const struct door *door, const struct plant *plant, int64_t now_ms)
{
	_cleanup_(freep) size_t *order = xmalloc(plant->count * sizeof(*order));
	for (size_t i = 0; i < plant->count; i++)
		order[i] = i;
	door_import(door, plant, order, plant->count, now_ms);
}

void door_import_export(const struct door *from, const struct door *to, int64_t now_ms)
{
	_cleanup_(freep) char *path = xasprintf("%s/export", to->directory);
	char why[320];
	FILE *f = fopen(path, "we");
	ck_assert_ptr_nonnull(f);
	int r = export_journal(from->config, f, why);
	ck_assert_msg(r == 0, "export: %s", why);
	ck_assert_int_eq(fclose(f), 0);
	import_path(to, path, now_ms);
}

/* ---- the live way ---- */

struct daemon {
	const struct door *door;
	uint64_t *random;
	struct store *store;
	struct decoder *decoder;
	struct tail *tail;
	struct live *live;
	int64_t commit_at_ms;
};

static void look_on(const struct daemon *d, bool opened)
{
	if (d->door->watch)
		d->door->watch(d->store, opened, d->door->context);
}

static void daemon_start(struct daemon *d)
{
	int64_t committed = 0;
	d->store = door_store(d->door, STORE_WRITE);
	good(store_fact(d->store, FACT_COMMITTED_SEQUENCE, &committed), d->store, "fact");
	int r = tail_open(d->door->config->journal.tail, (uint64_t)committed,
		d->door->config->journal.tail_bound_bytes, &d->tail);
	ck_assert_msg(r == 0, "tail: %s", strerror(-r));
	d->decoder = decoder_new(d->door->config);
	d->live = live_new(d->store, d->decoder, d->tail);
	look_on(d, true);
}

static void daemon_end(struct daemon *d)
{
	live_free(d->live);
	decoder_free(d->decoder);
	tail_close(d->tail);
	store_close(d->store);
}

static void commit(struct daemon *d)
{
	good(live_commit(d->live), d->store, "commit");
	d->commit_at_ms =
		clock_now_ms() + unit_random_between(d->random, 20000, 100 * MS_PER_MIN);
}

static void derive(struct daemon *d, int turns)
{
	int r = 0;
	while (r == 0 && live_behind(d->live) && turns-- > 0)
		r = live_derive(d->live, clock_now_ms());
	ck_assert_msg(
		r == 0 || r == DERIVER_CLEAN, "derive: %d: %s", r, store_error(d->store));
}

/* What the main loop does in a turn and at a tick; each part now and then comes late. */
static void turn(struct daemon *d)
{
	if (!plant_chance(d->random, 10))
		while (live_take(d->live))
			;
	if (!plant_chance(d->random, 10))
		good(live_close(d->live, clock_now_ms()), d->store, "close");
	if (!plant_chance(d->random, 30))
		good(live_look_outside(d->live), d->store, "look outside");
	if (plant_chance(d->random, 50))
		good(live_tidy(d->live), d->store, "tidy");
	if (clock_now_ms() >= d->commit_at_ms)
		commit(d);
	derive(d, (int)unit_random_between(d->random, 0, 4));
	look_on(d, false);
}

/* Time goes by in ticks, now and then in a leap: the machine slept. */
static void pass_until(struct daemon *d, int64_t until_ms)
{
	while (clock_now_ms() < until_ms) {
		int64_t most = plant_chance(d->random, 2)    ? 5 * MS_PER_HOUR
			       : plant_chance(d->random, 30) ? 10 * MS_PER_MIN
							     : MS_PER_MIN;
		int64_t tick = unit_random_between(d->random, 1, most);
		int64_t left = until_ms - clock_now_ms();
		clock_test_advance(tick < left ? tick : left);
		turn(d);
	}
}

static void maybe_restart(struct daemon *d)
{
	size_t kind = plant_choose(d->random, 400);
	if (kind > 2)
		return;
	if (kind == 1) { /* in good order */
		while (live_take(d->live))
			;
		good(live_close(d->live, clock_now_ms()), d->store, "close");
		commit(d);
	}
	daemon_end(d); /* else a crash */
	daemon_start(d);
}

static int mark_dirty(int64_t from_ms, int64_t to_ms, void *context)
{
	return store_dirty_readings(context, from_ms, to_ms);
}

/* What an import beside the daemon does: its own connection, one transaction. */
static void file_beside(const struct door *door, const struct plant *plant,
	const size_t *records, size_t count)
{
	struct store *store = door_store(door, STORE_WRITE);
	struct decoder *decoder = decoder_new(door->config);
	int64_t id = 0;
	good(store_begin(store), store, "begin");
	good(store_import_begin(store, "beside", records[0] + 1, &id), store, "import");
	struct filer *filer = filer_new(store, decoder, id);
	for (size_t i = 0; i < count; i++) {
		struct record record = plant_record(plant, records[i]);
		good(filer_add(filer, &record), store, "file");
	}
	good(filer_flush(filer), store, "flush");
	good(filer_spans(filer, mark_dirty, store), store, "dirty");
	good(store_import_done(store, id, (int64_t)count, 0), store, "done");
	good(store_commit(store), store, "commit beside");
	filer_free(filer);
	decoder_free(decoder);
	store_close(store);
}

static void settle(struct daemon *d)
{
	while (live_take(d->live))
		;
	do {
		good(live_look_outside(d->live), d->store, "look outside");
		derive(d, 1000);
		ck_assert_msg(
			!live_behind(d->live), "derivation does not come to an end");
		good(live_close(d->live, clock_now_ms()), d->store, "close");
		commit(d);
	} while (live_behind(d->live) || live_uncommitted(d->live));
}

void door_live(const struct door *door, const struct plant *plant, uint64_t *random,
	int beside, int64_t end_ms)
{
	_cleanup_(freep) size_t *kept = xmalloc(plant->count * sizeof(*kept));
	struct daemon d = {.door = door, .random = random};
	size_t waiting = 0;

	clock_test_start(plant->records[0].t_ms - 1000, 1000000);
	daemon_start(&d);
	for (size_t i = 0; i < plant->count; i++) {
		struct record record = plant_record(plant, i);
		pass_until(&d, record.t_ms);
		if (plant_chance(random, beside)) {
			kept[waiting++] = i;
		} else {
			record.boot_ms = clock_boot_ms();
			ck_assert_int_eq(tail_append(d.tail, &record), 0);
		}
		if (waiting > 0 && plant_chance(random, 1)) {
			file_beside(door, plant, kept, waiting);
			waiting = 0;
			look_on(&d, false);
		}
		maybe_restart(&d);
	}
	if (waiting > 0)
		file_beside(door, plant, kept, waiting);
	pass_until(&d, end_ms);
	settle(&d);
	look_on(&d, false);
	daemon_end(&d);
}

/* ---- rebuild ---- */

void door_rebuild(const struct door *door, bool forget, int64_t now_ms)
{
	static const char *const derived[] = {"settlements", "events", "minutes",
		"energy_minutes", "hours", "energy_hours", "days", "energy_days",
		"checkpoints", "days_made",
		"facts WHERE name LIKE 'span\\_%' ESCAPE '\\'"};
	struct store *store = door_store(door, STORE_WRITE);
	struct decoder *decoder = decoder_new(door->config);
	struct deriver *deriver = deriver_new(store, decoder);
	int64_t first = 0, last = 0, days = 0;

	clock_test_start(now_ms, now_ms);
	for (size_t i = 0; forget && i < ARRAY_LEN(derived); i++) {
		_cleanup_(freep) char *sql = xasprintf("DELETE FROM %s", derived[i]);
		ck_assert_int_eq(
			sqlite3_exec(store_handle(store), sql, NULL, NULL, NULL), 0);
	}
	good(store_journal_span(store, &first, &last), store, "span");
	good(store_dirty_add(store, first, last + 1), store, "dirty");
	good(derive_all(store, deriver, now_ms, NULL, &days), store, "derive");
	deriver_free(deriver);
	decoder_free(decoder);
	store_close(store);
}

/* ---- what came out ---- */

int64_t door_derived_until_ms(const struct door *door)
{
	struct store *store = door_store(door, STORE_READ);
	int64_t until = 0;
	good(store_fact(store, FACT_DERIVED_UNTIL_MS, &until), store, "fact");
	store_close(store);
	return until;
}

/* Start of the local day that is open at an instant: days before it are whole. */
static int64_t open_day_minute(int64_t until_ms)
{
	return calendar_day_start(calendar_date(until_ms)) / MS_PER_MIN;
}

static void dump_rows(sqlite3 *db, const char *table, const char *key, int64_t below,
	struct buffer *out)
{
	sqlite3_stmt *rows = NULL;
	/* Every column by name, in the names' order. */
	_cleanup_(freep) char *columns =
		xasprintf("SELECT group_concat('''' || name || '=''||coalesce(' || name "
			  "|| ',''-'')', "
			  "'||'' ''||') FROM (SELECT name FROM pragma_table_info('%s') "
			  "ORDER BY name)",
			table);
	ck_assert_int_eq(sqlite3_prepare_v2(db, columns, -1, &rows, NULL), SQLITE_OK);
	ck_assert_int_eq(sqlite3_step(rows), SQLITE_ROW);
	_cleanup_(freep) char *sql =
		xasprintf("SELECT %s FROM %s WHERE %s < %lld ORDER BY %s, 1",
			(const char *)sqlite3_column_text(rows, 0), table, key,
			(long long)below, key);
	(void)sqlite3_finalize(rows);
	int r = sqlite3_prepare_v2(db, sql, -1, &rows, NULL);
	ck_assert_msg(r == SQLITE_OK, "%s: %s", sql, sqlite3_errmsg(db));
	while ((r = sqlite3_step(rows)) == SQLITE_ROW)
		buffer_addf(out, "%s %s\n", table,
			(const char *)sqlite3_column_text(rows, 0));
	ck_assert_int_eq(r, SQLITE_DONE);
	(void)sqlite3_finalize(rows);
}

void door_dump(const struct door *door, int64_t until_ms, struct buffer *out)
{
	struct store *store = door_store(door, STORE_READ);
	sqlite3 *db = store_handle(store);
	int64_t minute = until_ms / MS_PER_MIN, day = open_day_minute(until_ms);

	dump_rows(db, "minutes", "minute", minute, out);
	dump_rows(db, "energy_minutes", "slot", minute * 16, out);
	dump_rows(db, "hours", "hour", minute / 60, out);
	dump_rows(db, "energy_hours", "hour", minute / 60, out);
	dump_rows(db, "days", "start_minute", day, out);
	dump_rows(db, "energy_days", "start_minute", day, out);
	dump_rows(db, "settlements", "made_ms", minute * MS_PER_MIN, out);
	dump_rows(db, "events", "made_ms", minute * MS_PER_MIN, out);
	store_close(store);
}

static size_t line_start(const char *text, size_t at)
{
	while (at > 0 && text[at - 1] != '\n')
		at--;
	return at;
}

/* Where the earliest span begins that a later reading closed: minutes from there on
 * depend on that reading. */
static int64_t open_from_ms(const struct door *door, int64_t until_ms)
{
	struct store *store = door_store(door, STORE_READ);
	_cleanup_(freep) char *sql =
		xasprintf("SELECT coalesce(min(begin_ms), %lld) FROM settlements "
			  "WHERE made_ms >= %lld AND begin_ms < %lld",
			(long long)until_ms, (long long)until_ms, (long long)until_ms);
	sqlite3_stmt *get = NULL;
	ck_assert_int_eq(
		sqlite3_prepare_v2(store_handle(store), sql, -1, &get, NULL), SQLITE_OK);
	ck_assert_int_eq(sqlite3_step(get), SQLITE_ROW);
	int64_t from_ms = sqlite3_column_int64(get, 0);
	(void)sqlite3_finalize(get);
	store_close(store);
	return from_ms;
}

/* As much of a line as a message can take. */
static int shown(const char *line)
{
	size_t length = strcspn(line, "\n");
	return length < 1500 ? (int)length : 1500;
}

void doors_compare(const struct door *one, const struct door *two, const char *what)
{
	struct buffer left = {0}, right = {0};
	int64_t until = door_derived_until_ms(one), other = door_derived_until_ms(two);
	size_t at = 0;

	until = until < other ? until : other;
	int64_t open = open_from_ms(one, until), other_open = open_from_ms(two, until);
	until = open < other_open ? open : other_open;
	door_dump(one, until, &left);
	door_dump(two, until, &right);
	const char *a = buffer_text(&left), *b = buffer_text(&right);
	while (a[at] && a[at] == b[at])
		at++;
	size_t start = line_start(a, at);
	ck_assert_msg(left.length == right.length && at == left.length,
		"%s differs before minute %lld (one derived to %lld, two to "
		"%lld):\n%.*s\n%.*s\n",
		what, (long long)(until / MS_PER_MIN),
		(long long)(door_derived_until_ms(one) / MS_PER_MIN),
		(long long)(door_derived_until_ms(two) / MS_PER_MIN), shown(a + start),
		a + start, shown(b + start), b + start);
	buffer_release(&left);
	buffer_release(&right);
}

void door_check(const struct door *door, const char *what)
{
	struct store *store = door_store(door, STORE_READ);
	struct buffer lines = {0};
	size_t count = 0;
	good(store_checks(store, &lines, &count), store, "checks");
	ck_assert_msg(count == 0, "%s: %s", what, buffer_text(&lines));
	buffer_release(&lines);
	store_close(store);
}
