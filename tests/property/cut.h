/*
 * Power cuts for SQLite: a VFS that is the system's own, but remembers for each file what
 * is on the device (its content at the last xSync) and what was written since. At a cut
 * nothing is written any more, every call fails; cut_restore() then makes the files what
 * a device may hold after it: of what was not synchronised a random part, sector by
 * sector, in no order.
 *
 * Only files below a directory are touched. One thread.
 */
#ifndef CUT_H
#define CUT_H

#include <heatbook/base.h>

/* Becomes the default VFS for files whose path begins with `directory`. The power goes
 * off at write or synchronisation number `after` from now on; 0: never. */
void cut_begin(const char *directory, uint64_t seed, uint64_t after);
/* How many writes and synchronisations there were since. */
uint64_t cut_count(void);
void cut_now(void);
/* Is the power off? */
bool cut_happened(void);
/* Writes and synchronisations are refused with a code (SQLITE_FULL, SQLITE_IOERR_WRITE)
 * from now on; 0: no longer. */
void cut_refuse(int code);
/* Power off, if it is not yet; files become what the device holds, those that it does not
 * know go. Connections must be closed. The power is on again. */
void cut_restore(void);
/* Back to the system's VFS. */
void cut_end(void);

#endif
