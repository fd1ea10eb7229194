/*
 * The doors by which records become rows, under the test clock: imports of whole files or
 * pieces, the live way with restarts and crashes, an import beside it, its own export, a
 * rebuild. And what came out, as text.
 */
#ifndef DOORS_H
#define DOORS_H

#include "plant.h"

#include <heatbook/store.h>

/* Who looks on while the live way runs: after each turn, and with `opened` when the store
 * was opened (again), before anything else; never within a transaction. */
typedef void door_watch(struct store *store, bool opened, void *context);

/* A place of its own: directory, configuration, no store yet, nobody who looks on. */
struct door {
	char *directory;
	struct config *config;
	door_watch *watch; /* NULL: nobody */
	void *context;
};
void door_open(const struct plant *plant, struct door *ret);
void door_close(struct door *door);
struct store *door_store(const struct door *door, enum store_mode mode);

/* Imports the records `order[0..count)` as one journal file; the clock stands at
 * `now_ms`. */
void door_import(const struct door *door, const struct plant *plant, const size_t *order,
	size_t count, int64_t now_ms);
/* All of them in order. */
void door_import_all(const struct door *door, const struct plant *plant, int64_t now_ms);
/* Imports what another door exports. */
void door_import_export(const struct door *from, const struct door *to, int64_t now_ms);

/* Appends the records to the tail as their time comes and lets the live way run to
 * `end_ms`, with random turns, commits, restarts and crashes; `beside` percent of the
 * records come by a second connection that files them, as an import beside the daemon
 * does. */
void door_live(const struct door *door, const struct plant *plant, uint64_t *random,
	int beside, int64_t end_ms);

/* Makes everything dirty and derives it; `forget`: after all that was derived is deleted.
 */
void door_rebuild(const struct door *door, bool forget, int64_t now_ms);

/* End of the last derived minute. */
int64_t door_derived_until_ms(const struct door *door);
/* Every row of minutes, hours and days (channels and energies) that ends by `until_ms`.
 */
void door_dump(const struct door *door, int64_t until_ms, struct buffer *out);
/* Fails the test with the first line that differs; `what` names the comparison. */
void doors_compare(const struct door *one, const struct door *two, const char *what);
/* Fails the test unless the laws as SQL hold. */
void door_check(const struct door *door, const char *what);

#endif
