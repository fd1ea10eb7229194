/*
 * See rebuild.h.
 *
 * A rebuild is a dirty span, and dirty spans survive whatever happens: only what one was
 * asked for has to be remembered, so that the same request goes on where the last one
 * was broken off instead of beginning again. That is a fact in the store, a digest of
 * span, mapping and sealing, written with the span and taken away at the end.
 */
#include <heatbook/rebuild.h>

#include <heatbook/calendar.h>
#include <heatbook/clock.h>
#include <heatbook/deriver.h>

#include <errno.h>
#include <string.h>
#include <unistd.h>

#define WARM_UP_DAYS 2

struct rebuild {
	const struct config *config;
	const struct rebuild_request *request;
	struct rebuild_report *report;
	struct store *store;
	struct decoder *decoder;
	struct deriver *deriver;
	int64_t from_ms, to_ms; /* what of it has records or rows */
	int64_t days_before;    /* dirty at the beginning */
	char *why;
};

static int64_t key_of(const struct rebuild *b)
{
	const int64_t parts[] = {b->request->from_ms, b->request->to_ms,
		b->request->sealed, (int64_t)b->config->mapping_digest};
	int64_t key = (int64_t)digest64(0, parts, sizeof(parts));
	return key ? key : 1;
}

/* What of the span lies between the first and the last of records and rows, in whole UTC
 * days: so that each is of one mapping. */
static int find_span(struct rebuild *b)
{
	int64_t first_ms = 0, end_ms = 0;
	int r = store_span(b->store, &first_ms, &end_ms);
	int64_t from_ms = b->request->from_ms, to_ms = b->request->to_ms;
	b->from_ms = from_ms > first_ms ? from_ms : first_ms;
	b->from_ms = floor_div(b->from_ms, MS_PER_DAY) * MS_PER_DAY;
	b->to_ms = to_ms < end_ms ? to_ms : end_ms;
	return r == STORE_NONE ? 0 : r;
}

/* Is there a part of this very rebuild that is still to be done, and nothing before it
 * that another mapping made meanwhile? */
static int find_rest(struct rebuild *b, bool *ret)
{
	int64_t key, from_ms, to_ms;
	struct older_days older = {0};
	*ret = false;
	int r = store_fact(b->store, FACT_REBUILD, &key);
	if (r != 0 || key != key_of(b))
		return r == STORE_NONE ? 0 : r;
	r = store_dirty_next(b->store, &from_ms, &to_ms);
	if (r != 0 || from_ms < b->from_ms || from_ms >= b->to_ms)
		return r == STORE_CLEAN ? 0 : r;
	r = store_older_days(b->store, b->from_ms, from_ms, &older);
	*ret = r == 0 && older.count == older.sealed;
	return r;
}

/* The states of the days before are dropped where another mapping made them; a sealed
 * day's cannot be made again. */
static int warm_up(struct rebuild *b)
{
	int64_t day = floor_div(b->from_ms, MS_PER_DAY), sealed = 0;
	bool older = true;
	int r = 0;
	for (int i = 0; r == 0 && i < WARM_UP_DAYS && older; i++, day--) {
		r = store_day_is_older(b->store, day - 1, &older);
		if (r == 0)
			r = store_sealed_until(b->store, day - 1, &sealed);
		older = older && sealed == 0;
		if (r == 0 && older)
			r = store_checkpoint_drop(b->store, day);
	}
	return r;
}

static int mark(struct rebuild *b)
{
	int r = find_rest(b, &b->report->went_on);
	if (r != 0 || b->report->went_on || b->from_ms >= b->to_ms)
		return r;
	r = store_set_fact(b->store, FACT_REBUILD, key_of(b));
	if (r == 0 && b->request->sealed)
		r = store_unseal(b->store, floor_div(b->from_ms, MS_PER_DAY),
			floor_div(b->to_ms - 1, MS_PER_DAY) + 1);
	if (r == 0)
		r = warm_up(b);
	return r == 0 ? store_dirty_add(b->store, b->from_ms, b->to_ms) : r;
}

static int in_transaction(struct rebuild *b, int (*work)(struct rebuild *b))
{
	int r = store_begin(b->store);
	if (r == 0)
		r = work(b);
	if (r == 0)
		r = store_commit(b->store);
	if (r != 0)
		store_rollback(b->store);
	return r;
}

static int forget(struct rebuild *b)
{
	return store_set_fact(b->store, FACT_REBUILD, 0);
}

/* Asked in transactions, too: nothing is told here, since whoever reads may be slow. */
static bool asked_to_end(void *context)
{
	struct rebuild *b = context;
	if (b->request->stop && b->request->stop(b->request->context))
		b->report->ended = true;
	return b->report->ended;
}

static void tell_left(struct rebuild *b, enum progress_stage stage, int64_t left)
{
	b->report->left = left;
	b->report->days = b->days_before > left ? b->days_before - left : 0;
	const struct progress now = {
		.stage = stage, .done = b->report->days, .total = b->report->days + left};
	progress_tell(&b->request->progress, &now);
}

static void tell_deriving(const struct progress *progress, void *context)
{
	struct rebuild *b = context;
	int64_t left = b->report->left;
	if (progress->stage != PROGRESS_DERIVING) {
		progress_tell(&b->request->progress, progress);
		return;
	}
	(void)store_dirty_days(b->store, &left); /* else as it was */
	tell_left(b, PROGRESS_DERIVING, left);
}

static bool waits_on(int64_t left, void *context)
{
	tell_left(context, PROGRESS_WAITING, left);
	return asked_to_end(context);
}

/* With the lock. */
static int derive_here(struct rebuild *b)
{
	const struct progress_to progress = {.call = tell_deriving, .context = b};
	int64_t days = 0;
	int r = derive_all(b->store, b->deriver, clock_now_ms(), &progress, &days);
	if (r == DERIVER_ENDED) {
		tell_deriving(&(struct progress){.stage = PROGRESS_DERIVING}, b);
		return 0;
	}
	if (r == 0) { /* not the days that were only fed for the sake of their state */
		b->report->days = b->days_before;
		b->report->left = 0;
	}
	return r;
}

/* Whoever has the lock derives what is marked; should it end before, it is done here. */
static int wait_for_other(struct rebuild *b)
{
	int lock = -1;
	b->report->by_other = true;
	int r = deriver_await(b->store, waits_on, b, &lock, b->why);
	if (r == DERIVER_ENDED)
		return 0;
	if (r != DERIVER_FREE)
		return r;
	b->report->by_other = false;
	r = derive_here(b);
	(void)close(lock); /* releases it */
	return r;
}

static int say(struct rebuild *b, int r, const char *what)
{
	(void)snprintf(b->why, 320, "%s", what);
	return r;
}

/* Another process would derive with its own mapping. */
static int check_other(struct rebuild *b)
{
	struct deriver_holder holder;
	if (deriver_holder(b->config, &holder) != 0)
		return say(b, -EBUSY,
			"another heatbookd is deriving, and it cannot be told with which "
			"mapping; stop it, then rebuild");
	if (holder.mapping != b->config->mapping_digest)
		return say(b, -EBUSY,
			"the running heatbookd has another mapping in force than this "
			"configuration; make it read the file again (systemctl reload "
			"heatbookd) or stop it, then rebuild");
	return 0;
}

/* Spans of the mapping in force first: they say how far everything reaches. */
static int respan(struct rebuild *b)
{
	int r;
	while ((r = deriver_respan(b->deriver)) == 0)
		;
	return r == DERIVER_CLEAN ? 0 : r;
}

static int run(struct rebuild *b, bool alone)
{
	deriver_ends_when(b->deriver, asked_to_end, b);
	int r = alone ? respan(b) : check_other(b);
	if (r == DERIVER_ENDED)
		return 0;
	if (r == 0)
		r = find_span(b);
	if (r == 0)
		r = in_transaction(b, mark);
	if (r == 0)
		r = store_dirty_days(b->store, &b->days_before);
	if (r == 0)
		r = alone ? derive_here(b) : wait_for_other(b);
	return r == 0 && !b->report->ended ? in_transaction(b, forget) : r;
}

/* ---- the frame ---- */

static int run_on_store(struct rebuild *b, bool alone)
{
	b->decoder = decoder_new(b->config);
	b->deriver = deriver_new(b->store, b->decoder);
	deriver_work_ahead(b->deriver);
	int r = store_in_bulk(b->store);
	if (r == 0)
		r = run(b, alone);
	if (r == 0)
		r = store_bulk_end(b->store);
	if (r == 0)
		r = deriver_name_sealed(
			b->store, b->from_ms, b->to_ms, &b->report->sealed);
	if (r != 0 && !b->why[0])
		(void)snprintf(b->why, 320, "%s", store_error(b->store));
	deriver_free(b->deriver);
	decoder_free(b->decoder);
	return r;
}

int rebuild_span(const struct config *config, const struct rebuild_request *request,
	struct rebuild_report *ret, char why[static 320])
{
	struct rebuild b = {
		.config = config, .request = request, .report = ret, .why = why};
	int lock = -1;

	*ret = (struct rebuild_report){0};
	why[0] = '\0';
	int r = deriver_lock(config, &lock);
	if (r < 0) {
		(void)snprintf(why, 320,
			"%.180s.lock: %s; make its directory writable for this user",
			config->store.file, strerror(-r));
		return r;
	}
	bool alone = r == 0;
	r = store_open(config, STORE_WRITE, &b.store, why);
	if (r == 0) {
		r = run_on_store(&b, alone);
		store_close(b.store);
	}
	if (lock >= 0)
		(void)close(lock); /* releases it */
	return r;
}
