/*
 * Whether anything changed that answers are made of. See query.h.
 *
 * SQLite counts the rows that a connection changes, in whatever table and by whichever
 * statement, so that no writer of the store has to remember to say it. Rows of a
 * transaction that is rolled back are counted, too, which costs an answer that is made
 * again. Of other processes it tells when one has committed.
 *
 * Pending minutes are counted apart. One comes each minute, and it changes no answer that
 * ends before it.
 */
#include "database.h"

int store_generation(struct store *s, struct generation *ret)
{
	struct generation g = {.pending = s->pending_rows,
		.pending_from = s->pending_from,
		.written = sqlite3_total_changes64(s->db) - s->pending_rows};
	int r = store_outside_version(s, &g.outside);
	if (r == 0)
		*ret = g;
	return r;
}

void generation_note_pending(struct store *s, int64_t minute, int64_t changes_before)
{
	s->pending_rows += sqlite3_total_changes64(s->db) - changes_before;
	if (minute < s->pending_from)
		s->pending_from = minute;
}

bool generation_holds(const struct generation *then, const struct generation *now,
	int64_t before_minute)
{
	if (then->written != now->written || then->outside != now->outside)
		return false;
	return then->pending == now->pending || now->pending_from >= before_minute;
}
