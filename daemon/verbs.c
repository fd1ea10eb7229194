/*
 * The verbs that run once: check, rebuild. What they print on
 * standard output is the answer, on standard error how it went.
 */
#include "verbs.h"

#include "progress.h"

#include <heatbook/archive.h>
#include <heatbook/calendar.h>
#include <heatbook/clock.h>
#include <heatbook/deriver.h>
#include <heatbook/store.h>

#include <errno.h>
#include <string.h>
#include <unistd.h>

int verb_check(const struct verb_call *call)
{
	struct buffer report = {0};

	if (call->count > 0)
		return verb_misused("check takes no operand");
	for (size_t i = 0; i < call->notes->count; i++)
		(void)printf("note: %s\n", call->notes->lines[i]);
	config_check_report(call->config, &report);
	(void)printf("%s: no fault\n%s", call->config->path, buffer_text(&report));
	buffer_release(&report);
	return EXIT_DONE;
}

static int mark_span(struct store *store, bool sealed, int64_t from_ms, int64_t to_ms)
{
	if (from_ms >= to_ms)
		return 0;
	int r = store_begin(store);
	if (r == 0 && sealed)
		r = store_unseal(store, floor_div(from_ms, MS_PER_DAY),
			floor_div(to_ms - 1, MS_PER_DAY) + 1);
	if (r == 0)
		r = store_dirty_add(store, from_ms, to_ms);
	if (r == 0)
		r = store_commit(store);
	if (r != 0)
		store_rollback(store);
	return r;
}

/* Rows that the journal can no longer make are kept; that must not go unsaid. */
static int say_sealed(struct store *store, int64_t from_ms, int64_t to_ms)
{
	int64_t count, first, last;
	int r = store_sealed_days(store, floor_div(from_ms, MS_PER_DAY),
		floor_div(to_ms - 1, MS_PER_DAY) + 1, &count, &first, &last);
	if (r == 0)
		verb_say_sealed(count, first, last);
	return r;
}

static int rebuild(struct store *store, struct deriver *deriver, bool sealed,
	int64_t from_ms, int64_t to_ms)
{
	struct progress_line line;
	const struct progress_to progress = {progress_show, &line};
	int64_t days = 0;

	progress_begin(&line);
	int r = mark_span(store, sealed, from_ms, to_ms);
	if (r == 0)
		r = derive_all(store, deriver, clock_now_ms(), &progress, &days);
	progress_end(&line);
	if (r == 0) {
		(void)printf("%lld days derived\n", (long long)days);
		r = from_ms < to_ms ? say_sealed(store, from_ms, to_ms) : 0;
	}
	return r == 0 ? EXIT_DONE : verb_failed(store_error(store));
}

/* Everything reaches from the first to the last of records and rows: an older mapping may
 * have held values where this one does not. */
static int widen_to_rows(struct store *store, int64_t *first_ms, int64_t *last_ms)
{
	int64_t first, last;
	int r = store_minute_span(store, &first, &last);
	if (r != 0)
		return r == STORE_NONE ? 0 : r;
	if (first * MS_PER_MIN < *first_ms)
		*first_ms = first * MS_PER_MIN;
	if ((last + 1) * MS_PER_MIN > *last_ms)
		*last_ms = (last + 1) * MS_PER_MIN;
	return 0;
}

int verb_rebuild(const struct verb_call *call)
{
	int64_t first_ms = 0, last_ms = -1;
	struct store *store;
	int64_t from_ms = 0, to_ms = 0;
	char why[256];
	int lock;

	if (call->count > 0 || (call->from && !verb_date(call->from, 0, &from_ms)) ||
		(call->to && !verb_date(call->to, 1, &to_ms)))
		return verb_misused(
			"rebuild takes --from and --to, local dates like 2026-01-31");
	int r = deriver_lock(call->config, &lock);
	if (r < 0)
		(void)snprintf(why, sizeof(why),
			"%.180s.lock: %s; make its directory writable for this user",
			call->config->store.file, strerror(-r));
	if (r != 0)
		return verb_failed(r < 0 ? why
					 : "the daemon (or an import) is deriving; stop "
					   "it, then rebuild");
	r = store_open(call->config, STORE_WRITE, &store, why);
	if (r != 0) {
		(void)close(lock); /* releases it */
		return verb_failed(why);
	}
	struct decoder *decoder = decoder_new(call->config);
	struct deriver *deriver = deriver_new(store, decoder);
	deriver_read_ahead(deriver);
	/* Spans of the mapping in force first: they say how far everything reaches. */
	while ((r = deriver_respan(deriver)) == 0)
		;
	if (r == DERIVER_CLEAN)
		r = store_journal_span(store, &first_ms, &last_ms);
	r = r == STORE_NONE ? 0 : r;
	r = r == 0 ? widen_to_rows(store, &first_ms, &last_ms) : r;
	if (!call->from)
		from_ms = first_ms;
	if (!call->to)
		to_ms = last_ms + 1;
	r = r == 0 ? rebuild(store, deriver, call->sealed, from_ms, to_ms)
		   : verb_failed(store_error(store));
	deriver_free(deriver);
	decoder_free(decoder);
	store_close(store);
	(void)close(lock);
	return r;
}
