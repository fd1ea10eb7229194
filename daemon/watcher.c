/*
 * See watcher.h. Where notices stand follows from rows (notices.h), so a start comes to
 * what was said before it, as soon as rows are made up to the present; until then
 * nothing is said. Rows that were written anew are taken again.
 */
#include "watcher.h"

#include <heatbook/clock.h>
#include <heatbook/log.h>
#include <heatbook/store.h>

#define DAYS_A_TURN 4
#define WAIT_MS     (30 * MS_PER_MIN) /* ten years are looked at by then */

static void heed_revisions(struct watcher *w, const struct news *news)
{
	uint64_t since = w->revisions;
	w->revisions = news->revision_count;
	if (news->revision_count - since > NEWS_REVISIONS_MOST) {
		notices_revised(w->notices, 0);
		return;
	}
	for (; since < news->revision_count; since++)
		notices_revised(
			w->notices, news->revisions[since % NEWS_REVISIONS_MOST].from);
}

/* Says once that it fails. Days that are still to be looked at for what is found are no
 * failure, unless nobody seems to look at them. */
static void note(struct watcher *w, struct store *store, int r)
{
	int64_t now = clock_mono_ms();
	bool waits = r == FOUND_DAYS_WAIT;
	bool fails = r != 0 && r != NOTICES_MORE && !waits;
	if (!waits)
		w->waits_since_ms = now;
	else if (now - w->waits_since_ms > WAIT_MS)
		fails = true;
	if (fails && !w->failed)
		log_warning("notices wait: %s",
			waits ? "days are still to be looked at for what is found"
			      : store_error(store));
	w->failed = fails;
}

void watcher_tick(struct watcher *w, const struct config *config, struct store *store,
	const struct news *news, bool behind)
{
	int64_t closed = news->closed > 0 ? news->closed : 0;
	if (behind)
		return;
	/* Where no minute was ever closed nothing is raised. */
	if (w->notices && notices_at(w->notices) == 0 && closed > 0)
		watcher_end(w);
	if (!w->notices) {
		w->notices = notices_new(config, closed, NULL, NULL);
		w->revisions = news->revision_count;
		w->waits_since_ms = clock_mono_ms();
	}
	heed_revisions(w, news);
	int r = notices_turn(w->notices, store, closed, DAYS_A_TURN);
	w->stands = r == 0;
	note(w, store, r);
}

const struct notices *watcher_notices(const struct watcher *w)
{
	return w->stands ? w->notices : NULL;
}

void watcher_end(struct watcher *w)
{
	notices_free(w->notices);
	*w = (struct watcher){0};
}
