/*
 * The import: archive lines into chunks of a source of their own, dirty spans,
 * derivation.
 *
 * An archive is known by a digest of its content: the same one twice changes nothing, one
 * that was broken off begins anew. Standard input is spooled to a file first, since its
 * digest is wanted before its records. While a daemon runs, it derives what was filed;
 * the import waits for it and shows its progress.
 */
#include <heatbook/archive.h>

#include "input.h"

#include <heatbook/clock.h>
#include <heatbook/deriver.h>
#include <heatbook/filer.h>

#include <errno.h>
#include <string.h>
#include <sys/file.h>
#include <time.h>
#include <unistd.h>

/* A minute closes this long after its end, so that what was late by a moment still
 * counts. */
#define GRACE_MS 10000
/* Records between commits of what was filed: short transactions beside a running daemon.
 */
#define RECORDS_A_COMMIT 50000

struct import {
	const struct config *config;
	struct store *store;
	struct decoder *decoder;
	struct deriver *deriver;
	enum archive_form form;
	import_progress *progress;
	void *context;
	struct import_report *report;
	uint64_t records_before, rejected_before, lines_before; /* of earlier archives */
	char *why;
};

int64_t closed_minute(int64_t now_ms)
{
	return floor_div(now_ms - GRACE_MS, MS_PER_MIN);
}

int64_t derivable_minute(int64_t derived_minute, int64_t now_ms)
{
	int64_t closed = closed_minute(now_ms);
	bool ahead = derived_minute > closed && derived_minute <= closed + MIN_PER_DAY;
	return ahead ? derived_minute : closed;
}

static void say(import_progress *progress, void *context, bool final, const char *format,
	...) PRINTF_LIKE(4, 5);
static void say(
	import_progress *progress, void *context, bool final, const char *format, ...)
{
	char line[200];
	va_list args;
	if (!progress)
		return;
	va_start(args, format);
	(void)vsnprintf(line, sizeof(line), format, args);
	va_end(args);
	progress(line, final, context);
}

static int spool_input(FILE **ret)
{
	char block[8192];
	size_t n;
	FILE *spool = tmpfile();
	if (!spool)
		return -errno;
	while ((n = fread(block, 1, sizeof(block), stdin)) > 0)
		if (fwrite(block, 1, n, spool) != n)
			break;
	if (ferror(stdin) || ferror(spool) || fflush(spool) != 0) {
		int error = errno ? errno : EIO;
		(void)fclose(spool); /* given up */
		return -error;
	}
	rewind(spool);
	*ret = spool;
	return 0;
}

static void note_rejected(struct import *im, const char *path, uint64_t line_number,
	const char *why, const char *line, size_t length)
{
	struct import_report *report = im->report;
	if (report->rejected++ > 0)
		return;
	int n = snprintf(report->first_rejected, sizeof(report->first_rejected),
		"%s:%llu: %s: ", path, (unsigned long long)line_number, why);
	for (size_t i = 0;
		i < length && i < 60 && n + 2 < (int)sizeof(report->first_rejected);
		i++, n++)
		report->first_rejected[n] =
			line[i] >= ' ' && line[i] <= '~' ? line[i] : '?';
	report->first_rejected[n] = '\0';
}

static void reject_long(
	struct import *im, const char *path, const char *line, size_t length)
{
	im->report->lines++;
	note_rejected(im, path, im->report->lines - im->lines_before,
		"is longer than any message", line, length);
}

static int mark_dirty(int64_t from_ms, int64_t to_ms, void *context)
{
	return store_dirty_add(context, from_ms, to_ms);
}

/* Ends a transaction with what was filed and the spans that it touches; begins the next.
 */
static int commit_filed(struct import *im, struct filer *filer, bool last, int64_t id)
{
	int r = filer_flush(filer);
	if (r == 0)
		r = filer_spans(filer, mark_dirty, im->store);
	if (r == 0 && last) {
		r = store_import_done(im->store, id,
			(int64_t)(im->report->records - im->records_before),
			(int64_t)(im->report->rejected - im->rejected_before));
	}
	if (r == 0)
		r = store_commit(im->store);
	if (r != 0 || last)
		return r;
	store_give_way();
	return store_begin(im->store);
}

static int file_line(struct import *im, struct filer *filer, const char *path,
	const char *line, size_t length, struct buffer *scratch)
{
	struct record record;
	const char *why = "";

	im->report->lines++;
	switch (archive_line(im->form, line, length, scratch, &record, &why)) {
	case 0:
		im->report->records++;
		return filer_add(filer, &record);
	case ARCHIVE_SKIPPED:
		im->report->skipped++;
		return 0;
	default:
		note_rejected(im, path, im->report->lines - im->lines_before, why, line,
			length);
		return 0;
	}
}

/* Every line to its end; a commit now and then. */
static int file_lines(struct import *im, struct filer *filer, const char *path,
	struct input *in, int64_t id)
{
	struct buffer scratch = {0};
	const char *line;
	size_t length;
	int r = 0, found;

	while (r == 0 && (found = input_line(in, &line, &length)) != INPUT_END) {
		if (found < 0)
			r = found;
		else if (found == INPUT_LONG)
			reject_long(im, path, line, length);
		else
			r = file_line(im, filer, path, line, length, &scratch);
		if (r == 0 && im->report->lines % RECORDS_A_COMMIT == 0) {
			say(im->progress, im->context, false, "%s: %llu lines filed",
				path, (unsigned long long)im->report->lines);
			r = commit_filed(im, filer, false, id);
		}
	}
	buffer_release(&scratch);
	return r;
}

static int file_input(struct import *im, const char *path, struct input *in)
{
	uint64_t digest;
	int64_t id = 0;

	int r = input_digest(in, &digest);
	if (r != 0)
		return r;
	r = store_begin(im->store);
	if (r == 0)
		r = store_import_begin(im->store, path, digest + (uint64_t)im->form, &id);
	if (r == STORE_KNOWN) {
		store_rollback(im->store);
		im->report->known++;
		say(im->progress, im->context, true,
			"%s: was imported before; nothing to do", path);
		return 0;
	}
	struct filer *filer = filer_new(im->store, im->decoder, id);
	if (r == 0)
		r = file_lines(im, filer, path, in, id);
	if (r == 0)
		r = commit_filed(im, filer, true, id);
	if (r != 0)
		store_rollback(im->store);
	filer_free(filer);
	return r;
}

/* What went wrong with an archive. */
static void explain(struct import *im, const char *path, int r)
{
	const char *why = strerror(-r);
	if (r == -EBADMSG)
		why = "its compressed data is damaged or cut short; nothing of it was "
		      "kept";
	else if (r == -EFBIG)
		why = "its compression needs too much memory; unpack it into a pipe: "
		      "`zstd -dc "
		      "--long=31 FILE | heatbookd import -c … -`";
	else if (r == -EIO && store_error(im->store)[0])
		why = store_error(im->store);
	(void)snprintf(im->why, 320, "%.100s: %.200s", path, why);
}

static int file_archive(struct import *im, const char *path)
{
	bool input = strcmp(path, "-") == 0;
	const char *name = input ? "standard input" : path;
	FILE *f = NULL;
	int r = 0;

	im->report->archives++;
	im->records_before = im->report->records;
	im->rejected_before = im->report->rejected;
	im->lines_before = im->report->lines;
	if (input)
		r = spool_input(&f);
	else if (!(f = fopen(path, "re")))
		r = -errno;
	if (r == 0) {
		struct input *in = input_new(f);
		r = file_input(im, name, in);
		input_free(in);
	}
	if (r < 0 && !im->why[0])
		explain(im, name, r);
	return r;
}

int derive_all(struct store *store, struct deriver *deriver, int64_t now_ms,
	import_progress *progress, void *context, int64_t *ret_days)
{
	int64_t until_ms = 0, until_minute = 0, days = 0, left = 0;
	int r;

	while ((r = deriver_respan(deriver)) == 0)
		say(progress, context, false, "reading the journal with the new mapping");
	if (r == DERIVER_CLEAN)
		r = store_fact(store, FACT_DERIVED_UNTIL_MS, &until_ms);
	/* A clock that was set back leaves nothing behind underived. */
	if (r == 0)
		until_minute = derivable_minute(until_ms / MS_PER_MIN, now_ms);
	/* What holds at the end of the last derivation runs on to its limits. */
	if (r == 0 && until_ms > 0 && until_ms < until_minute * MS_PER_MIN)
		r = store_dirty_add(store, until_ms, until_minute * MS_PER_MIN);
	while (r == 0 && (r = deriver_step(deriver, until_minute)) == 0) {
		days++;
		if (days % 10 == 0 && store_dirty_days(store, &left) == 0)
			say(progress, context, false, "derived %lld days, %lld to go",
				(long long)days, (long long)left);
	}
	if (r != DERIVER_CLEAN)
		return r;
	*ret_days = days;
	if (until_ms >= until_minute * MS_PER_MIN)
		return 0;
	r = store_begin(store);
	if (r == 0 && until_ms > 0)
		r = store_rollup(
			store, until_ms / MS_PER_MIN, until_minute, until_minute);
	if (r == 0)
		r = store_set_fact(
			store, FACT_DERIVED_UNTIL_MS, until_minute * MS_PER_MIN);
	if (r == 0)
		r = store_commit(store);
	if (r != 0)
		store_rollback(store);
	return r;
}

static int wait_for_daemon(struct import *im)
{
	const struct timespec pause = {.tv_nsec = 200000000};
	int64_t days = 1, before = -1;
	int lock;

	im->report->by_daemon = true;
	for (;;) {
		int r = store_dirty_days(im->store, &days);
		if (r != 0 || days == 0)
			return r;
		if (days != before)
			say(im->progress, im->context, false,
				"the running daemon derives: %lld days to go",
				(long long)days);
		before = days;
		(void)nanosleep(&pause, NULL); /* a signal only shortens the wait */
		if (deriver_lock(im->config, &lock) == 0) {
			(void)close(
				lock); /* the daemon ended: it derives when it starts */
			return 0;
		}
	}
}

static int derive_filed(struct import *im)
{
	int lock;
	int r = deriver_lock(im->config, &lock);
	if (r == DERIVER_TAKEN)
		return wait_for_daemon(im);
	if (r != 0)
		return r;
	r = derive_all(im->store, im->deriver, clock_now_ms(), im->progress, im->context,
		&im->report->days);
	im->report->sealed = deriver_sealed(im->deriver);
	(void)close(lock); /* releases it */
	return r;
}

int import_archives(const struct config *config, const char *const *paths, size_t count,
	enum archive_form form, import_progress *progress, void *context,
	struct import_report *ret, char why[static 320])
{
	struct import im = {.config = config,
		.form = form,
		.progress = progress,
		.context = context,
		.report = ret,
		.why = why};

	*ret = (struct import_report){0};
	why[0] = '\0';
	int r = store_open(config, STORE_WRITE, &im.store, why);
	if (r != 0)
		return r;
	im.decoder = decoder_new(config);
	im.deriver = deriver_new(im.store, im.decoder);
	for (size_t i = 0; r == 0 && i < count; i++)
		r = file_archive(&im, paths[i]);
	int derived = derive_filed(&im); /* what was filed before a failure counts too */
	if (r == 0)
		r = derived;
	if (r != 0 && !why[0])
		(void)snprintf(why, 320, "%s: %.200s", config->store.file,
			store_error(im.store));
	deriver_free(im.deriver);
	decoder_free(im.decoder);
	store_close(im.store);
	return r;
}
