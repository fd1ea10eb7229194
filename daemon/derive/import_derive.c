/*
 * After records were filed or taken out: their days are derived, here or by the daemon
 * that runs, for which is waited.
 */
#include "import_lines.h"

#include <heatbook/clock.h>
#include <heatbook/deriver.h>

#include <string.h>
#include <unistd.h>

struct wait {
	const struct progress_to *progress;
	int64_t most;
};

static bool tell(int64_t left, void *context)
{
	struct wait *wait = context;
	wait->most = left > wait->most ? left : wait->most;
	if (left > 0)
		progress_tell(
			wait->progress, &(struct progress){.stage = PROGRESS_WAITING,
						.done = wait->most - left,
						.total = wait->most});
	return false;
}

void import_explain_store(struct store *store, int r, char why[static 320])
{
	const char *error = store_error(store);
	(void)snprintf(why, 320, "%s: %.200s", store_config(store)->store.file,
		r < 0 && !error[0] ? strerror(-r) : error);
}

static int derive_with(struct store *store, struct deriver *deriver,
	const struct progress_to *progress, struct import_report *report, int lock)
{
	report->by_daemon = false;
	int r = derive_all(store, deriver, clock_now_ms(), progress, &report->days);
	(void)close(lock); /* releases it */
	return r;
}

int import_derive_here(struct store *store, struct deriver *deriver,
	const struct progress_to *progress, struct import_report *report)
{
	int lock;
	int r = deriver_lock(store_config(store), &lock);
	return r == 0 ? derive_with(store, deriver, progress, report, lock) : r;
}

int import_derive(struct store *store, struct deriver *deriver,
	const struct progress_to *progress, struct import_report *report,
	char why[static 320])
{
	struct wait wait = {.progress = progress};
	int lock;
	int r = import_derive_here(store, deriver, progress, report);
	if (r == DERIVER_TAKEN) {
		report->by_daemon = true;
		r = deriver_await(store, tell, &wait, &lock, why);
		if (r == DERIVER_FREE) /* it ended before */
			r = derive_with(store, deriver, progress, report, lock);
	}
	if (r == 0 && report->any)
		r = deriver_name_sealed(
			store, report->first_ms, report->last_ms + 1, &report->sealed);
	return r;
}
