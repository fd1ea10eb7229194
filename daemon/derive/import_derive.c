/*
 * After records were filed or taken out: their days are derived, here or by the daemon
 * that runs, for which is waited.
 */
#include "import_lines.h"

#include <heatbook/clock.h>
#include <heatbook/deriver.h>

#include <string.h>
#include <time.h>
#include <unistd.h>

#define LOOK_NS 200000000

static int wait_for_daemon(struct store *store, const struct progress_to *progress,
	struct import_report *report)
{
	const struct timespec pause = {.tv_nsec = LOOK_NS};
	int64_t days, most = 0;
	int lock;

	report->by_daemon = true;
	for (;;) {
		int r = store_dirty_days(store, &days);
		if (r != 0 || days == 0)
			return r;
		most = days > most ? days : most;
		progress_tell(progress, &(struct progress){.stage = PROGRESS_WAITING,
						.done = most - days,
						.total = most});
		(void)nanosleep(&pause, NULL); /* a signal only shortens the wait */
		if (deriver_lock(store_config(store), &lock) == 0) {
			/* The daemon ended: it derives when it starts. */
			(void)close(lock);
			return 0;
		}
	}
}

void import_explain_store(struct store *store, int r, char why[static 320])
{
	const char *error = store_error(store);
	(void)snprintf(why, 320, "%s: %.200s", store_config(store)->store.file,
		r < 0 && !error[0] ? strerror(-r) : error);
}

static int name_sealed(struct store *store, struct import_report *report)
{
	if (!report->any)
		return 0;
	return store_sealed_days(store, floor_div(report->first_ms, MS_PER_DAY),
		floor_div(report->last_ms, MS_PER_DAY) + 1, &report->sealed,
		&report->sealed_first, &report->sealed_last);
}

int import_derive(struct store *store, struct deriver *deriver,
	const struct progress_to *progress, struct import_report *report)
{
	int lock;
	int r = deriver_lock(store_config(store), &lock);
	if (r == DERIVER_TAKEN) {
		r = wait_for_daemon(store, progress, report);
		return r == 0 ? name_sealed(store, report) : r;
	}
	if (r != 0)
		return r;
	r = derive_all(store, deriver, clock_now_ms(), progress, &report->days);
	(void)close(lock); /* releases it */
	return r == 0 ? name_sealed(store, report) : r;
}
