/*
 * One quantity's part of the energy rows: read, and written where it changes. See lay.h.
 *
 * A row that a span changed keeps what power said beside what is booked. A minute's rows
 * share what they know; the quantity's own bit follows from its booked time. Rows that
 * only a span made go when nothing is left in them.
 */
#include "lay.h"

#include <string.h>

int layer_prepare(struct layer *l)
{
	const enum sql_id ids[] = {[ROWS] = SQL_SETTLE_ROWS,
		[POWER] = l->difference ? SQL_DIFFERENCE_POWER : SQL_SETTLE_POWER,
		[CHANGE] = SQL_SETTLE_CHANGE,
		[ADD] = SQL_SETTLE_ADD,
		[DROP] = SQL_SETTLE_DROP,
		[BOOKED] = SQL_SETTLE_BOOKED,
		[BOOKED_HOUR] = SQL_SETTLE_BOOKED_HOUR,
		[GROSS] = SQL_DIFFERENCE_ROWS};
	const char *name = config_counted_name(l->s->config, l->quantity);
	int rc = SQLITE_OK;
	for (int i = 0; rc == SQLITE_OK && i < STATEMENTS; i++) {
		struct buffer text = {0};
		if (i == GROSS && !l->difference)
			continue;
		sql_expand(l->s->config, ids[i], name, &text);
		rc = sqlite3_prepare_v3(
			l->s->db, buffer_text(&text), -1, 0, &l->statements[i], NULL);
		buffer_release(&text);
	}
	return rc == SQLITE_OK ? 0 : store_failed(l->s, rc, "spans of registers");
}

void layer_release(struct layer *l)
{
	for (int i = 0; i < STATEMENTS; i++)
		(void)sqlite3_finalize(l->statements[i]); /* its error was answered */
}

/* ---- rows in ---- */

static bool is_null(sqlite3_stmt *row, int column)
{
	return sqlite3_column_type(row, column) == SQLITE_NULL;
}

static int64_t time_beside(sqlite3_stmt *row, int column)
{
	if (is_null(row, column))
		return 0;
	return is_null(row, column + 1) ? MS_PER_MIN
					: sqlite3_column_int64(row, column + 1);
}

static struct slot *slot_of(struct layer *l, int64_t at)
{
	return &l->minutes[floor_div(at, 16) - l->from].slots[at % 16];
}

static void read_slot(struct layer *l, sqlite3_stmt *row)
{
	struct slot *slot = slot_of(l, sqlite3_column_int64(row, 0));
	struct part_row *p = &slot->now;

	*slot = (struct slot){.exists = true,
		.known = sqlite3_column_int64(row, 1),
		.ms = sqlite3_column_int64(row, 2)};
	p->seen = !is_null(row, 3);
	p->j = sqlite3_column_int64(row, 3);
	p->ms = time_beside(row, 3);
	p->changed = !is_null(row, 6);
	p->power_seen = p->changed ? !is_null(row, 5) : p->seen;
	p->power_j = sqlite3_column_int64(row, p->changed ? 5 : 3);
	p->power_ms = p->changed ? sqlite3_column_int64(row, 6) : p->ms;
	p->is_spread = !is_null(row, 7);
	p->spread_j = sqlite3_column_int64(row, 7);
	p->is_bridged = !is_null(row, 9);
	p->bridged_j = sqlite3_column_int64(row, 8);
	p->bridged_ms = sqlite3_column_int64(row, 9);
	slot->shape_j = l->difference ? 0 : p->power_j;
	slot->shape_ms = l->difference ? 0 : p->power_ms;
	l->any |= p->changed;
}

static int read_rows(struct layer *l, sqlite3_stmt *rows,
	void (*take)(struct layer *l, sqlite3_stmt *row))
{
	int rc;
	bind_int(rows, ":from_minute", l->from);
	bind_int(rows, ":to_minute", l->to);
	while ((rc = sqlite3_step(rows)) == SQLITE_ROW)
		take(l, rows);
	(void)sqlite3_reset(rows);
	return rc == SQLITE_DONE ? 0 : store_failed(l->s, rc, "minutes");
}

static void read_gross(struct layer *l, sqlite3_stmt *row)
{
	struct slot *slot = slot_of(l, sqlite3_column_int64(row, 0));
	slot->shape_j = sqlite3_column_int64(row, 1);
	slot->shape_ms = sqlite3_column_int64(row, 2);
}

int layer_read(struct layer *l)
{
	memset(l->minutes, 0, (size_t)(l->to - l->from) * sizeof(*l->minutes));
	l->any = false;
	int r = read_rows(l, l->statements[ROWS], read_slot);
	if (r == 0 && l->difference)
		r = read_rows(l, l->statements[GROSS], read_gross);
	return r;
}

int layer_sum(struct layer *l, int statement, int64_t from, int64_t to, int64_t *sums,
	size_t count)
{
	sqlite3_stmt *get = l->statements[statement];
	if (from >= to)
		return 0;
	bind_int(get, ":from_minute", from);
	bind_int(get, ":to_minute", to);
	int rc = sqlite3_step(get);
	if (rc != SQLITE_ROW)
		return store_failed(l->s, rc, "minutes");
	for (size_t i = 0; i < count; i++)
		sums[i] += sqlite3_column_int64(get, (int)i);
	(void)sqlite3_reset(get);
	return 0;
}

/* ---- rows out ---- */

static void bind_if(sqlite3_stmt *statement, const char *name, bool known, int64_t value)
{
	if (known)
		bind_int(statement, name, value);
}

static int write_slot(struct layer *l, int64_t slot, bool exists, int64_t known,
	const struct part_row *o)
{
	sqlite3_stmt *write = l->statements[exists ? CHANGE : ADD];
	(void)sqlite3_clear_bindings(write);
	bind_int(write, ":slot", slot);
	bind_int(write, ":known", known);
	bind_if(write, ":j", o->seen, o->j);
	bind_if(write, ":ms", o->seen && o->ms != MS_PER_MIN, o->ms);
	bind_if(write, ":power_j", o->changed && o->power_seen, o->power_j);
	bind_if(write, ":power_ms", o->changed, o->power_ms);
	bind_if(write, ":spread_j", o->is_spread, o->spread_j);
	bind_if(write, ":bridged_j", o->is_bridged, o->bridged_j);
	bind_if(write, ":bridged_ms", o->is_bridged, o->bridged_ms);
	int r = store_run(l->s, write);
	if (r != 0 || !exists || o->seen)
		return r;
	bind_int(l->statements[DROP], ":slot", slot);
	return store_run(l->s, l->statements[DROP]);
}

/* What the minute's rows know of all else; its own bit by what is booked. */
static int64_t known_of(const struct layer *l, const struct minute_rows *rows,
	const struct part_row out[MODE_COUNT])
{
	int64_t known = 0, ms = 0, bit = INT64_C(1) << l->s->meter_bit[l->quantity];
	for (size_t i = 0; i < MODE_COUNT; i++) {
		known |= rows->slots[i].exists ? rows->slots[i].known : 0;
		ms += out[i].ms;
	}
	return ms == MS_PER_MIN ? known | bit : known & ~bit;
}

static bool same(const struct part_row *a, const struct part_row *b)
{
	return a->seen == b->seen && a->j == b->j && a->ms == b->ms &&
	       a->changed == b->changed && a->is_spread == b->is_spread &&
	       a->spread_j == b->spread_j && a->is_bridged == b->is_bridged &&
	       a->bridged_j == b->bridged_j && a->bridged_ms == b->bridged_ms;
}

int layer_write_minute(
	struct layer *l, int64_t minute, const struct part_row out[MODE_COUNT])
{
	const struct minute_rows *rows = &l->minutes[minute - l->from];
	int64_t known = known_of(l, rows, out);
	int r = 0;

	for (size_t i = 0; r == 0 && i < MODE_COUNT; i++) {
		const struct slot *slot = &rows->slots[i];
		bool stays = slot->exists
				     ? slot->known == known && same(&slot->now, &out[i])
				     : !out[i].seen;
		if (!stays)
			r = write_slot(l, minute * 16 + (int64_t)i, slot->exists, known,
				&out[i]);
	}
	return r;
}
