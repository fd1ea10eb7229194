/*
 * All notices of a configuration, carried along the minutes of a store: where each stands
 * at a minute, and what was raised before. It follows from rows alone, so that a restart,
 * a rebuild and a question about the past all come to the same; nothing is stored.
 *
 * Where rows begin nothing is raised. To begin later, minutes before are looked through
 * until each notice is known not to have been raised there, 400 days back at most.
 */
#ifndef HEATBOOK_NOTICES_H
#define HEATBOOK_NOTICES_H

#include <heatbook/boundary.h>
#include <heatbook/config.h>
#include <heatbook/found_days.h>
#include <heatbook/notice.h>

struct store;
struct notices;

#define NOTICES_BACK_DAYS 400

/* What a notice changed to: raised or cleared since a minute. */
typedef void notices_visit(size_t notice, enum notice_change change,
	const struct notice_state *state, void *context);

/* That begin to stand at a minute. `visit` (or NULL) is called for every change, those
 * before that minute included. */
struct notices *notices_new(
	const struct config *config, int64_t minute, notices_visit *visit, void *context);
void notices_free(struct notices *notices);

/* Goes on to `minute`, whose rows and those before are there, by so many local days in
 * this turn. 0: there; NOTICES_MORE: call it again; FOUND_DAYS_WAIT: more days than that
 * are to be looked at for findings; else -errno or a code of query.h. */
enum { NOTICES_MORE = 16 };
int notices_turn(
	struct notices *notices, struct store *store, int64_t minute, size_t days);
/* Rows from this minute on may be others now: the next turn takes them again. */
void notices_revised(struct notices *notices, int64_t minute);

/* Goes back to the first midnight that is kept of the last days, if any is. */
void notices_back(struct notices *notices);
/* Frees what was read for turns that follow, which may be long after. */
void notices_rest(struct notices *notices);

/* Where one stands, after the last turn. */
const struct notice_state *notices_state(const struct notices *notices, size_t notice);
/* Is one raised longer than was looked back: since `since` or before? */
bool notices_before(const struct notices *notices, size_t notice);
/* The minute up to which they stand. */
int64_t notices_at(const struct notices *notices);

/* What each watches in each minute of [from, to), which lie in one local day: notice by
 * notice, (to - from) values each; NaN = unknown. Of those with `skipped` (or NULL: of
 * none) nothing is read; what is found is asked for as `found` says (NULL: none watches
 * it). FOUND_DAYS_WAIT, before anything else is read, or the codes of query_series(). */
int notice_values(struct store *store, const struct config *config,
	const struct boundary *boundary, const bool *skipped,
	const struct found_asking *found, int64_t from, int64_t to, double *ret);

#endif
