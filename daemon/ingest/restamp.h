/*
 * Which restamp of a tail reaches which of its records; used by tail.c and peek.c only.
 *
 * A restamp reaches the unsure records before it, back to the restamp before, or to where
 * another boot of the machine began. What it reaches is shown, filed and exported with
 * the stamp that follows from its boot time; bytes in the tail are never changed.
 */
#ifndef HEATBOOK_INGEST_RESTAMP_H
#define HEATBOOK_INGEST_RESTAMP_H

#include <heatbook/record.h>

struct restamp {
	uint64_t after, before; /* reaches the sequence numbers between them */
	int64_t offset_ms, closed_until_ms;
};

struct restamps {
	struct restamp *items; /* by sequence number */
	size_t count;
	uint64_t after;       /* the next one reaches what follows */
	uint64_t first_loose; /* first unsure record there, 0 for none */
	int64_t boot_number;  /* of the last START that said it */
	int64_t boot_ms;      /* of the last record */
};

/* Takes note of a record, in the order of the tail. */
void restamps_note(
	struct restamps *restamps, const struct record *record, uint64_t sequence);
/* No restamp to come reaches a record up to `sequence`. */
void restamps_bar(struct restamps *restamps, uint64_t sequence);
/* Gives a record that a restamp reaches its right stamp. */
void restamps_amend(
	const struct restamps *restamps, struct record *record, uint64_t sequence);
/* Forgets those that reach nothing above `committed`. */
void restamps_forget(struct restamps *restamps, uint64_t committed);
void restamps_release(struct restamps *restamps);

#endif
