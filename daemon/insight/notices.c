/*
 * Notices along a store's minutes. See notices.h.
 *
 * Three things are done in turns of whole local days: looking back until it is settled
 * where to begin, going forward from there, and, where rows were written anew, going back
 * to a state that was kept at a midnight before them.
 */
#include <heatbook/notices.h>

#include <heatbook/calendar.h>
#include <heatbook/query.h>

#include <math.h>
#include <string.h>

#define KEPT_DAYS 3 /* what registers and late messages write anew is mostly younger */

/* The states at a midnight. */
struct kept {
	int64_t minute; /* -1: none */
	struct notice_state *states;
};

struct notices {
	const struct config *config;
	struct boundary boundary;
	notices_visit *visit;
	void *context;

	int64_t *runs;   /* looking back: what settles each; -1: it is settled */
	int64_t *ends;   /* minute at which what settles it ends */
	int64_t *starts; /* minute from which on each is to be gone through */
	bool looks_back;
	int64_t first; /* minute at which rows begin */
	int64_t begin; /* minute at which the walk began, or will */
	bool whole;    /* rows begin there */

	struct notice_state *states;
	int64_t at;
	struct kept kept[KEPT_DAYS]; /* the n-th day at n % KEPT_DAYS */
	struct found_days found;
};

static void look_back_from(struct notices *n, int64_t minute)
{
	for (size_t i = 0; i < n->config->notice_count; i++) {
		notice_begin(&n->states[i]);
		n->runs[i] = 0;
		n->starts[i] = minute;
	}
	for (size_t i = 0; i < KEPT_DAYS; i++)
		n->kept[i].minute = -1;
	n->looks_back = true;
	n->whole = false;
	n->begin = n->at = minute;
	n->first = -1;
}

struct notices *notices_new(
	const struct config *config, int64_t minute, notices_visit *visit, void *context)
{
	struct notices *n = xcalloc(1, sizeof(*n));
	size_t count = config->notice_count;
	char why[256];
	n->config = config;
	n->visit = visit;
	n->context = context;
	if (boundary_find(config, NULL, &n->boundary, why) != 0)
		n->boundary = (struct boundary){0}; /* heat alone is known then */
	n->states = xcalloc(count, sizeof(*n->states));
	n->runs = xcalloc(count, sizeof(*n->runs));
	n->ends = xcalloc(count, sizeof(*n->ends));
	n->starts = xcalloc(count, sizeof(*n->starts));
	for (size_t i = 0; i < KEPT_DAYS; i++)
		n->kept[i].states = xcalloc(count, sizeof(*n->states));
	found_days_begin(&n->found);
	look_back_from(n, minute);
	return n;
}

void notices_free(struct notices *n)
{
	if (!n)
		return;
	found_days_release(&n->found);
	for (size_t i = 0; i < KEPT_DAYS; i++)
		free(n->kept[i].states);
	free(n->states);
	free(n->runs);
	free(n->ends);
	free(n->starts);
	free(n);
}

static int64_t day_begin(int64_t minute)
{
	return calendar_day_start(calendar_date(minute * MS_PER_MIN)) / MS_PER_MIN;
}

static int64_t day_end(int64_t minute)
{
	struct date next = calendar_add(calendar_date(minute * MS_PER_MIN), 0, 0, 1);
	return calendar_day_start(next) / MS_PER_MIN;
}

/* How many days more are wanted in the direction of the walk: up to its end; looking back
 * as many as so far, since twice as far may be enough. */
static int found_more(const struct notices *n, int64_t from, int64_t end)
{
	int64_t until, most = FOUND_DAYS_MORE;
	int64_t ahead = found_day_told(end - 1, &until) - found_day_told(from, &until);
	int64_t span = n->looks_back ? n->begin - n->at : ahead;
	int64_t more = (span + MIN_PER_DAY / 2) / MIN_PER_DAY;
	more = more < most ? more : most;
	return (int)(more > -most ? more : -most);
}

/* `end`: of the walk. */
static int read_day(struct notices *n, struct store *store, int64_t from, int64_t to,
	int64_t end, size_t budget, double **ret)
{
	bool skipped[NOTICES_MOST];
	double *values = xmalloc(
		(n->config->notice_count * (size_t)(to - from) + 1) * sizeof(*values));
	for (size_t i = 0; i < n->config->notice_count; i++)
		skipped[i] = n->looks_back ? n->runs[i] < 0 : to <= n->starts[i];
	const struct found_asking found = {&n->found, found_more(n, from, end), budget};
	int r = notice_values(
		store, n->config, &n->boundary, skipped, &found, from, to, values);
	if (r != 0) {
		free(values);
		return r;
	}
	*ret = values;
	return 0;
}

/* True once each notice is settled. */
static bool settle(struct notices *n, const double *values, int64_t from)
{
	int64_t minutes = n->begin - from;
	bool all = true;
	for (size_t i = 0; i < n->config->notice_count; i++) {
		if (n->runs[i] >= 0)
			n->starts[i] = from;
		const double *own = values + (int64_t)i * minutes;
		for (int64_t k = minutes; k-- > 0 && n->runs[i] >= 0;) {
			bool begins = n->runs[i] == 0;
			bool settled = notice_settles(
				&n->config->notices[i], &n->runs[i], own[k]);
			if (begins)
				n->ends[i] = from + k + 1;
			if (settled)
				n->runs[i] = -1;
		}
		all = all && n->runs[i] < 0;
	}
	return all;
}

/* The day before what was looked through. */
static int look_back(struct notices *n, struct store *store, size_t budget)
{
	double *values;
	int64_t rows_end;
	int r = n->first < 0 ? store_row_span(store, &n->first, &rows_end) : 0;
	if (r == STORE_NONE)
		n->first = n->begin;
	else if (r != 0)
		return r;
	int64_t last = n->at - NOTICES_BACK_DAYS * MIN_PER_DAY;
	if (n->begin <= n->first || n->begin <= last) {
		n->looks_back = false;
		n->whole = n->begin <= n->first;
	} else {
		int64_t from = day_begin(n->begin - 1);
		r = read_day(n, store, from, n->begin, n->begin, budget, &values);
		if (r != 0)
			return r;
		n->looks_back = !settle(n, values, from);
		n->begin = from;
		free(values);
	}
	if (!n->looks_back)
		n->at = n->begin;
	return 0;
}

static void keep(struct notices *n)
{
	int64_t day = floor_div(n->at + MIN_PER_DAY / 2, MIN_PER_DAY);
	struct kept *kept = &n->kept[day % KEPT_DAYS];
	kept->minute = n->at;
	memcpy(kept->states, n->states, n->config->notice_count * sizeof(*n->states));
}

static void take_minute(struct notices *n, const double *values, int64_t k, int64_t count)
{
	for (size_t i = 0; i < n->config->notice_count; i++) {
		if (n->at < n->starts[i])
			continue;
		enum notice_change change = notice_take(&n->config->notices[i],
			&n->states[i], n->at, values[(int64_t)i * count + k]);
		if (change != NOTICE_STAYS && n->visit)
			n->visit(i, change, &n->states[i], n->context);
	}
	n->at++;
}

/* The rest of the local day, or up to `minute`. */
static int go_on(struct notices *n, struct store *store, int64_t minute, size_t budget)
{
	double *values;
	int64_t end = day_end(n->at), to = end < minute ? end : minute;
	int64_t count = to - n->at;
	int r = read_day(n, store, n->at, to, minute, budget, &values);
	if (r != 0)
		return r;
	if (n->at == day_begin(n->at))
		keep(n);
	for (int64_t k = 0; k < count; k++)
		take_minute(n, values, k, count);
	free(values);
	return 0;
}

int notices_turn(struct notices *n, struct store *store, int64_t minute, size_t days)
{
	int r = 0;
	if (n->config->notice_count == 0)
		n->looks_back = false, n->at = minute;
	for (size_t i = 0; r == 0 && i < days; i++) {
		if (n->looks_back)
			r = look_back(n, store, days);
		else if (n->at < minute)
			r = go_on(n, store, minute, days);
		else
			return 0;
	}
	return r != 0 ? r : n->looks_back || n->at < minute ? NOTICES_MORE : 0;
}

/* May minutes that settled one be others now? */
static bool is_unsettled(const struct notices *n, int64_t minute)
{
	for (size_t i = 0; i < n->config->notice_count; i++)
		if (n->runs[i] < 0 && minute < n->ends[i])
			return true;
	return false;
}

/* Before the days that are mostly written anew, as far as midnights of them are kept:
 * what settles one is then not of them, and the next revision finds its midnight. */
static int64_t before_revisions(const struct notices *n, int64_t minute)
{
	int64_t most = day_begin(n->at - (KEPT_DAYS - 1) * MIN_PER_DAY);
	return day_begin(minute > most ? minute : most);
}

static void go_back(struct notices *n, const struct kept *kept)
{
	n->at = kept->minute;
	memcpy(n->states, kept->states, n->config->notice_count * sizeof(*n->states));
	for (size_t i = 0; i < KEPT_DAYS; i++)
		if (n->kept[i].minute > n->at)
			n->kept[i].minute = -1;
}

void notices_revised(struct notices *n, int64_t minute)
{
	const struct kept *best = NULL;
	found_days_revised(&n->found, minute);
	if (n->looks_back || minute >= n->at)
		return;
	for (size_t i = 0; i < KEPT_DAYS && !is_unsettled(n, minute); i++)
		if (n->kept[i].minute >= 0 && n->kept[i].minute <= minute &&
			(!best || n->kept[i].minute > best->minute))
			best = &n->kept[i];
	if (!best) {
		look_back_from(n, before_revisions(n, minute));
		return;
	}
	go_back(n, best);
}

void notices_back(struct notices *n)
{
	const struct kept *first = NULL;
	for (size_t i = 0; i < KEPT_DAYS; i++)
		if (n->kept[i].minute >= 0 &&
			(!first || n->kept[i].minute < first->minute))
			first = &n->kept[i];
	if (first)
		go_back(n, first);
}

void notices_rest(struct notices *n)
{
	found_days_revised(&n->found, INT64_MIN);
}

const struct notice_state *notices_state(const struct notices *n, size_t notice)
{
	return &n->states[notice];
}

bool notices_before(const struct notices *n, size_t notice)
{
	const struct notice_state *s = &n->states[notice];
	bool settled = n->runs[notice] < 0;
	return s->raised && s->since == n->starts[notice] && !settled && !n->whole;
}

int64_t notices_at(const struct notices *n)
{
	return n->at;
}
