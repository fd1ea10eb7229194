/*
 * How far something long has come, for whoever shows it. It is told often; how often it
 * is shown, and how, is the listener's.
 */
#ifndef HEATBOOK_PROGRESS_H
#define HEATBOOK_PROGRESS_H

#include <heatbook/base.h>

enum progress_stage {
	PROGRESS_FILING,   /* done, total: bytes of the archives as they lie in their
			      files; total 0 = not known; count: lines so far */
	PROGRESS_MAPPING,  /* the journal is read with a new mapping; no numbers */
	PROGRESS_DERIVING, /* done, total: days */
	PROGRESS_WAITING,  /* the same; the running daemon derives */
	PROGRESS_COUNTING, /* done, total: of what `name` says */
	PROGRESS_NOTE      /* `name` is a sentence to be told in any case */
};

struct progress {
	enum progress_stage stage;
	const char *name; /* of the archive, or what the stage says */
	int64_t done, total;
	uint64_t count;
};

/* May be NULL where it is asked for: nobody listens. */
typedef void progress_call(const struct progress *progress, void *context);
struct progress_to {
	progress_call *call;
	void *context;
};

static inline void progress_tell(
	const struct progress_to *to, const struct progress *progress)
{
	if (to && to->call)
		to->call(progress, to->context);
}

#endif
