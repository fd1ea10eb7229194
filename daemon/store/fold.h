/*
 * Sums of minute rows over one hour or day; used by rollup.c only.
 *
 * Means weigh by known time: sums of value times milliseconds are exact integers of 128
 * bits, so neither order nor length of the span changes a mean. The state of a span is
 * the one that held longest, of equals the last by name.
 */
#ifndef STORE_FOLD_H
#define STORE_FOLD_H

#include "database.h"

struct fold;

struct fold *fold_new(const struct store *s);
void fold_free(struct fold *fold);
void fold_reset(struct fold *fold);

/* Adds a row of minutes_of_span or energy_of_span. */
void fold_minute(struct fold *fold, struct row_view row);
void fold_energy(struct fold *fold, struct row_view row);

/* Binds channels and extremes from parameter `at` on, in the order of the configuration;
 * returns the next parameter. False of fold_any(): there was no minute. */
bool fold_any(const struct fold *fold);
int fold_bind(const struct fold *fold, sqlite3_stmt *add, int at);

/* One row a mode and known set. */
size_t fold_energies(const struct fold *fold);
void fold_bind_energy(const struct fold *fold, size_t index, sqlite3_stmt *add, int at);

#endif
