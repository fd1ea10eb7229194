/*
 * A copy of the store to work in, in a directory of its own that goes with it: at the
 * latest when another one is made in the same place, should its process be killed.
 */
#ifndef HEATBOOK_WORK_COPY_H
#define HEATBOOK_WORK_COPY_H

#include <heatbook/config.h>

struct work_copy {
	struct config config; /* that of the store, but for store.file: the copy */
	char *directory;      /* NULL: it could not be made */
	int lock_fd;          /* of the directory: it is in use */
};

/* `place` names the directory but for its last six letters. 0; -errno where it cannot be
 * made, with `directory` NULL; else what store_copy() answers and says. To be removed in
 * any case. */
int work_copy_make(const struct config *config, const char *place, struct work_copy *ret,
	char why[static 256]);
/* 0, or -errno where the directory is left. */
int work_copy_remove(struct work_copy *copy);

#endif
