/*
 * Which values of its rows a client wants, by the parameter `values`: an answer then has
 * these and no others, and may have more rows.
 */
#ifndef HEATBOOK_HTTP_WANTED_H
#define HEATBOOK_HTTP_WANTED_H

#include "face.h"
#include "sheet.h"

#define WANTED_MOST 32

struct wanted {
	char *text; /* the list, cut at its commas; NULL: all are wanted */
	const char *names[WANTED_MOST];
	size_t count;
};

/* Reads the parameter; a name that is none of `allowed` (WANTED_MOST at most), or that
 * stands twice, is a problem: false. */
bool wanted_read(const struct request *request, const char *const *allowed, size_t count,
	struct reply *reply, struct wanted *ret);
void wanted_release(struct wanted *wanted);
bool wanted_has(const struct wanted *wanted, const char *name);

/* Drops the columns of a sheet that are not wanted; those without a name for it stay. */
void wanted_keep(const struct wanted *wanted, struct sheet *sheet);

#endif
