/*
 * See ahead.h. One thread, one list of jobs. The caller writes the list while the thread
 * is idle; from then on each job belongs to the thread until it is done. The thread's
 * signals are the main thread's business.
 */
#include "ahead.h"

#include <pthread.h>
#include <signal.h>

/* A day of an import is a chunk or two; more wait their turn. Bounds the memory, too. */
#define JOBS_MOST 3

struct job {
	int64_t chunk;
	struct buffer packed;
	struct loaded *loaded; /* NULL when it cannot be read, or was taken */
	bool done;
};

struct ahead {
	struct decoder *decoder;
	pthread_t thread;
	pthread_mutex_t mutex;
	pthread_cond_t changed;
	bool ending;
	int64_t from_ms, to_ms;
	struct job jobs[JOBS_MOST];
	size_t count;
};

static void run_job(struct ahead *a, struct job *job)
{
	struct loaded *l = xcalloc(1, sizeof(*l));
	if (store_chunk_open(&job->packed, &l->bytes) == 0 &&
		loaded_decode(l, a->decoder, a->from_ms, a->to_ms) == 0) {
		job->loaded = l;
		return;
	}
	loaded_free(l);
}

static struct job *next_job(struct ahead *a)
{
	for (size_t i = 0; i < a->count; i++)
		if (!a->jobs[i].done)
			return &a->jobs[i];
	return NULL;
}

/* Calls on a mutex of the default kind do not fail. */
static void *run(void *context)
{
	struct ahead *a = context;
	(void)pthread_mutex_lock(&a->mutex);
	while (!a->ending) {
		struct job *job = next_job(a);
		if (!job) {
			(void)pthread_cond_wait(&a->changed, &a->mutex);
			continue;
		}
		(void)pthread_mutex_unlock(&a->mutex);
		run_job(a, job);
		(void)pthread_mutex_lock(&a->mutex);
		job->done = true;
		(void)pthread_cond_broadcast(&a->changed);
	}
	(void)pthread_mutex_unlock(&a->mutex);
	return NULL;
}

struct ahead *ahead_new(const struct config *config)
{
	struct ahead *a = xcalloc(1, sizeof(*a));
	sigset_t all, before;

	a->decoder = decoder_new(config);
	(void)pthread_mutex_init(&a->mutex, NULL);
	(void)pthread_cond_init(&a->changed, NULL);
	(void)sigfillset(&all);
	(void)pthread_sigmask(SIG_SETMASK, &all, &before);
	int error = pthread_create(&a->thread, NULL, run, a);
	(void)pthread_sigmask(SIG_SETMASK, &before, NULL);
	if (error == 0)
		return a;
	decoder_free(a->decoder);
	free(a);
	return NULL;
}

/* Waits for the thread; the jobs are the caller's then. */
static void wait_for_all(struct ahead *a)
{
	while (next_job(a))
		(void)pthread_cond_wait(&a->changed, &a->mutex);
}

static void drop_jobs(struct ahead *a)
{
	for (size_t i = 0; i < a->count; i++) {
		loaded_free(a->jobs[i].loaded);
		buffer_release(&a->jobs[i].packed);
	}
	a->count = 0;
}

void ahead_free(struct ahead *a)
{
	if (!a)
		return;
	(void)pthread_mutex_lock(&a->mutex);
	wait_for_all(a);
	a->ending = true;
	(void)pthread_cond_broadcast(&a->changed);
	(void)pthread_mutex_unlock(&a->mutex);
	(void)pthread_join(a->thread, NULL);
	drop_jobs(a);
	decoder_free(a->decoder);
	(void)pthread_cond_destroy(&a->changed);
	(void)pthread_mutex_destroy(&a->mutex);
	free(a);
}

void ahead_begin(struct ahead *a, struct store *store, int64_t from_ms, int64_t to_ms)
{
	struct chunk_ref *refs = NULL;
	size_t count = 0;

	if (!a || store_chunks(store, from_ms, to_ms, &refs, &count) != 0)
		return; /* told when it is read in time */
	(void)pthread_mutex_lock(&a->mutex);
	wait_for_all(a);
	drop_jobs(a);
	a->from_ms = from_ms;
	a->to_ms = to_ms;
	for (size_t i = 0; i < count && a->count < JOBS_MOST; i++) {
		struct job *job = &a->jobs[a->count];
		*job = (struct job){.chunk = refs[i].id};
		if (store_chunk_copy(store, refs[i].id, &job->packed) != 0) {
			buffer_release(&job->packed);
			break;
		}
		a->count++;
	}
	(void)pthread_cond_broadcast(&a->changed);
	(void)pthread_mutex_unlock(&a->mutex);
	free(refs);
}

struct loaded *ahead_take(struct ahead *a, int64_t chunk, int64_t from_ms, int64_t to_ms)
{
	struct loaded *loaded = NULL;
	if (!a)
		return NULL;
	(void)pthread_mutex_lock(&a->mutex);
	for (size_t i = 0; i < a->count; i++) {
		struct job *job = &a->jobs[i];
		if (job->chunk != chunk || a->from_ms != from_ms || a->to_ms != to_ms)
			continue;
		while (!job->done)
			(void)pthread_cond_wait(&a->changed, &a->mutex);
		loaded = job->loaded;
		job->loaded = NULL;
	}
	(void)pthread_mutex_unlock(&a->mutex);
	return loaded;
}
