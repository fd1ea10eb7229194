/* Kept rows as tables that SQL reads. */
#ifndef STORE_KEPT_TABLE_H
#define STORE_KEPT_TABLE_H

#include "database.h"

/* Gives a connection `kept_minutes_made` and `kept_energies_made`: what its store keeps
 * and has not written, in order. SQLite's code. */
int kept_tables(struct store *store);

#endif
