/*
 * A thread that does pieces of work one after the other, in the order in which they were
 * given. Its signals are the main thread's business. For imports and rebuilds, which have
 * nothing else to do; the daemon works without.
 */
#ifndef DERIVE_WORKER_H
#define DERIVE_WORKER_H

#include <stdbool.h>

/* Stands first in what it works on. From worker_give() until worker_wait() returned, it
 * and all that `run` touches belong to the thread. */
struct work {
	void (*run)(struct work *work);
	struct work *next;
	bool done;
};

struct worker;

/* NULL when there can be no thread. */
struct worker *worker_new(void);
/* Waits for all that was given. `worker` may be NULL. */
void worker_free(struct worker *worker);
/* Any thread may give and wait, but for the worker's own. */
void worker_give(struct worker *worker, struct work *work, void (*run)(struct work *));
void worker_wait(struct worker *worker, const struct work *work);
void worker_wait_all(struct worker *worker);

#endif
