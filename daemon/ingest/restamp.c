/* See restamp.h. A tail holds a handful of restamps at most: one a start of the daemon.
 */
#include "restamp.h"

#include <string.h>

void restamps_bar(struct restamps *r, uint64_t sequence)
{
	r->after = sequence;
	r->first_loose = 0;
}

/* A START tells the boot; where it cannot, boot time that fell tells another one. */
static bool boot_changed(const struct restamps *r, const struct record *start)
{
	if (start->number[0] || r->boot_number)
		return start->number[0] != r->boot_number;
	return start->boot_ms < r->boot_ms;
}

void restamps_note(struct restamps *r, const struct record *record, uint64_t sequence)
{
	if (record->kind == RECORD_START) {
		if (boot_changed(r, record))
			restamps_bar(r, sequence - 1);
		r->boot_number = record->number[0];
	}
	if (record->kind == RECORD_RESTAMP) {
		r->items = xrealloc(r->items, r->count + 1, sizeof(*r->items));
		r->items[r->count++] = (struct restamp){
			r->after, sequence, record->number[0], record->number[1]};
		restamps_bar(r, sequence);
	} else if (record->unsure && !r->first_loose) {
		r->first_loose = sequence;
	}
	r->boot_ms = record->boot_ms;
}

void restamps_amend(const struct restamps *r, struct record *record, uint64_t sequence)
{
	for (size_t i = 0; record->unsure && i < r->count; i++) {
		const struct restamp *restamp = &r->items[i];
		if (sequence <= restamp->after || sequence >= restamp->before)
			continue;
		record->t_ms = record->boot_ms + restamp->offset_ms;
		record->unsure = record->t_ms < restamp->closed_until_ms ||
				 record->t_ms < STAMP_LEAST_MS ||
				 record->t_ms >= STAMP_END_MS;
		return;
	}
}

void restamps_forget(struct restamps *r, uint64_t committed)
{
	size_t kept = 0;
	for (size_t i = 0; i < r->count; i++)
		if (r->items[i].before > committed)
			r->items[kept++] = r->items[i];
	r->count = kept;
}

void restamps_release(struct restamps *r)
{
	free(r->items);
	*r = (struct restamps){0};
}
