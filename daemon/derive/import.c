/*
 * The import: archives' records into chunks of a source of their own, dirty spans,
 * derivation.
 *
 * An archive is known by a digest of its content: the same one twice changes nothing, one
 * that was broken off begins anew. While a daemon runs, it derives what was filed; the
 * import waits for it and shows its progress.
 */
#include <heatbook/import.h>

#include "import_lines.h"

#include <heatbook/clock.h>
#include <heatbook/deriver.h>
#include <heatbook/filer.h>

/* Commits of what was filed lie so far apart: short transactions beside a running daemon.
 */
#define COMMIT_MS      100
#define RECORDS_A_LOOK 1024 /* at the clock */

struct import {
	struct import_lines lines;
	struct store *store;
	struct decoder *decoder;
	struct filer *filer; /* of the archive at hand */
	int64_t id;          /* of it */
	int64_t commit_ms;   /* of the last commit, monotonic */
	uint64_t records_before, rejected_before;
};

static int mark_dirty(int64_t from_ms, int64_t to_ms, void *context)
{
	struct import *im = context;
	struct import_report *report = im->lines.report;
	if (!report->any || from_ms < report->first_ms)
		report->first_ms = from_ms;
	if (!report->any || to_ms - 1 > report->last_ms)
		report->last_ms = to_ms - 1;
	report->any = true;
	return store_dirty_readings(im->store, from_ms, to_ms);
}

/* Ends a transaction with the chunks that are full, or at last with all, and the spans
 * that they touch; begins the next. What is held back is not lost by a death: an import
 * that is not whole begins anew. */
static int commit_filed(struct import *im, bool last)
{
	const struct import_report *report = im->lines.report;
	int r = last ? filer_flush(im->filer) : 0;
	if (r == 0)
		r = filer_spans(im->filer, mark_dirty, im);
	if (r == 0 && last)
		r = store_import_done(im->store, im->id,
			(int64_t)(report->records - im->records_before),
			(int64_t)(report->rejected - im->rejected_before));
	if (r == 0)
		r = store_commit(im->store);
	if (r != 0 || last)
		return r;
	store_give_way();
	im->commit_ms = clock_mono_ms();
	return store_begin(im->store);
}

static int take(const struct record *record, void *context)
{
	struct import *im = context;
	int r = filer_add(im->filer, record);
	if (r == 0 && im->lines.report->records % RECORDS_A_LOOK == 0 &&
		clock_mono_ms() - im->commit_ms >= COMMIT_MS)
		r = commit_filed(im, false);
	return r;
}

static int file_whole(struct import *im, struct input *in)
{
	im->records_before = im->lines.report->records;
	im->rejected_before = im->lines.report->rejected;
	im->filer = filer_new(im->store, im->decoder, im->id);
	filer_pack_aside(im->filer);
	im->commit_ms = clock_mono_ms();
	int r = import_read(&im->lines, in);
	if (r == 0)
		r = commit_filed(im, true);
	filer_free(im->filer);
	return r;
}

static void tell_known(struct import *im)
{
	_cleanup_(freep) char *text =
		xasprintf("%s: was imported before; nothing to do", im->lines.name);
	im->lines.report->known++;
	progress_tell(&im->lines.request->progress,
		&(struct progress){.stage = PROGRESS_NOTE, .name = text});
}

static int file_input(struct import *im, struct input *in)
{
	uint64_t digest;
	int r = input_digest(in, &digest);
	if (r != 0)
		return r;
	r = store_begin(im->store);
	if (r == 0)
		r = store_import_begin(im->store, im->lines.name,
			import_digest(&im->lines, digest), &im->id);
	bool known = r == STORE_KNOWN;
	if (r == 0)
		r = file_whole(im, in);
	if (r != 0)
		store_rollback(im->store);
	if (known)
		tell_known(im);
	return known ? 0 : r;
}

static int file_archive(struct import *im, const char *path, char why[320])
{
	struct input *in;
	int r = import_open(&im->lines, path, &in);
	if (r == 0) {
		r = file_input(im, in);
		import_close(&im->lines, in);
	}
	if ((r < 0 || r == IMPORT_REFUSED) && !why[0])
		import_explain(&im->lines, store_error(im->store), r, why);
	return r;
}

static int file_all(struct import *im, char why[320])
{
	const struct import_request *request = im->lines.request;
	int r = store_open(im->lines.config, STORE_WRITE, &im->store, why);
	if (r != 0)
		return r;
	r = store_in_bulk(im->store);
	im->decoder = decoder_new(im->lines.config);
	struct deriver *deriver = deriver_new(im->store, im->decoder);
	for (size_t i = 0; r == 0 && i < request->count; i++)
		r = file_archive(im, request->paths[i], why);
	/* Only now: while files are read, no other thread may ask for times (table.h). */
	deriver_work_ahead(deriver);
	/* What was filed before a failure counts, too; a daemon takes it up by itself. */
	if (r == 0)
		r = import_derive(
			im->store, deriver, &request->progress, im->lines.report, why);
	else
		(void)import_derive_here(
			im->store, deriver, &request->progress, im->lines.report);
	int ended = store_bulk_end(im->store);
	r = r != 0 ? r : ended;
	if (r != 0 && !why[0])
		import_explain_store(im->store, r, why);
	deriver_free(deriver);
	decoder_free(im->decoder);
	store_close(im->store);
	return r;
}

int import_archives(const struct config *config, const struct import_request *request,
	struct import_report *ret, char why[static 320])
{
	struct import im = {0};
	why[0] = '\0';
	int r = import_lines_begin(&im.lines, config, request, ret, take, &im);
	if (r == 0)
		r = file_all(&im, why);
	import_lines_end(&im.lines);
	return r;
}
