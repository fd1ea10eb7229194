/*
 * See worker.h. One list under one mutex; calls on a mutex of the default kind do not
 * fail.
 */
#include "worker.h"

#include <heatbook/base.h>

#include <pthread.h>
#include <signal.h>

struct worker {
	pthread_t thread;
	pthread_mutex_t mutex;
	pthread_cond_t changed;
	bool ending;
	struct work *first, *last; /* given and not done */
};

static void *run(void *context)
{
	struct worker *w = context;
	(void)pthread_mutex_lock(&w->mutex);
	while (w->first || !w->ending) {
		struct work *work = w->first;
		if (!work) {
			(void)pthread_cond_wait(&w->changed, &w->mutex);
			continue;
		}
		(void)pthread_mutex_unlock(&w->mutex);
		work->run(work);
		(void)pthread_mutex_lock(&w->mutex);
		w->first = work->next;
		work->done = true;
		(void)pthread_cond_broadcast(&w->changed);
	}
	(void)pthread_mutex_unlock(&w->mutex);
	return NULL;
}

struct worker *worker_new(void)
{
	struct worker *w = xcalloc(1, sizeof(*w));
	sigset_t all, before;

	(void)pthread_mutex_init(&w->mutex, NULL);
	(void)pthread_cond_init(&w->changed, NULL);
	(void)sigfillset(&all);
	(void)pthread_sigmask(SIG_SETMASK, &all, &before);
	int error = pthread_create(&w->thread, NULL, run, w);
	(void)pthread_sigmask(SIG_SETMASK, &before, NULL);
	if (error == 0)
		return w;
	free(w);
	return NULL;
}

void worker_free(struct worker *w)
{
	if (!w)
		return;
	(void)pthread_mutex_lock(&w->mutex);
	w->ending = true;
	(void)pthread_cond_broadcast(&w->changed);
	(void)pthread_mutex_unlock(&w->mutex);
	(void)pthread_join(w->thread, NULL);
	(void)pthread_cond_destroy(&w->changed);
	(void)pthread_mutex_destroy(&w->mutex);
	free(w);
}

void worker_give(struct worker *w, struct work *work, void (*how)(struct work *))
{
	*work = (struct work){.run = how};
	(void)pthread_mutex_lock(&w->mutex);
	if (w->first)
		w->last->next = work;
	else
		w->first = work;
	w->last = work;
	(void)pthread_cond_broadcast(&w->changed);
	(void)pthread_mutex_unlock(&w->mutex);
}

void worker_wait(struct worker *w, const struct work *work)
{
	(void)pthread_mutex_lock(&w->mutex);
	while (!work->done)
		(void)pthread_cond_wait(&w->changed, &w->mutex);
	(void)pthread_mutex_unlock(&w->mutex);
}

void worker_wait_all(struct worker *w)
{
	(void)pthread_mutex_lock(&w->mutex);
	while (w->first)
		(void)pthread_cond_wait(&w->changed, &w->mutex);
	(void)pthread_mutex_unlock(&w->mutex);
}
