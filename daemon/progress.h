/*
 * Progress on standard error: on a terminal one line that is written again and again,
 * else a line now and then.
 */
#ifndef PROGRESS_H
#define PROGRESS_H

#include <heatbook/progress.h>

struct progress_line {
	bool terminal;
	bool drawn; /* a line stands on the terminal, without its end */
	bool began; /* of the stage at hand */
	enum progress_stage stage;
	int64_t stage_ms, shown_ms; /* monotonic: since when, and shown last */
	int64_t first_done;         /* of the stage: what was done when it began */
};

void progress_begin(struct progress_line *line);
/* A progress_call; the context is the line. */
void progress_show(const struct progress *progress, void *context);
/* Takes the line off the terminal. */
void progress_end(struct progress_line *line);

#endif
