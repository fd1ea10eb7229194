/*
 * Where a verb writes its answer: standard output, or a file that gets its name only when
 * all of it is written and on the device.
 */
#ifndef OUTPUT_H
#define OUTPUT_H

#include <heatbook/base.h>

struct output {
	FILE *file;
	const char *path; /* NULL: standard output */
	char *partial;    /* the name until then */
};

/* 0 or -errno with `why`. */
int output_open(const char *path, struct output *ret, char why[static 320]);
/* Ends it: with `good` the file gets its name, without it goes. Answers 0 or -errno with
 * `why`. */
int output_close(struct output *output, bool good, char why[static 320]);

#endif
