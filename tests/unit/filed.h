/*
 * A store with a decoder and a deriver, and messages filed into its journal.
 */
#ifndef FILED_H
#define FILED_H

#include "stored.h"

#include <heatbook/deriver.h>
#include <heatbook/filer.h>

#define DAY INT64_C(20454) /* 2026-01-01 */

struct filed {
	struct stored *stored;
	struct store *store;
	struct decoder *decoder;
	struct deriver *deriver;
};

static inline void filed_begin(struct filed *f)
{
	f->store = f->stored->store;
	f->decoder = decoder_new(f->stored->config);
	f->deriver = deriver_new(f->store, f->decoder);
}

static inline void filed_end(struct filed *f)
{
	deriver_free(f->deriver);
	decoder_free(f->decoder);
}

static inline struct filed filed_new(const char *text)
{
	struct filed f = {.stored = stored_new(text)};
	filed_begin(&f);
	return f;
}

/* The same store under another configuration. */
static inline void filed_reconfigure(struct filed *f, const char *text)
{
	filed_end(f);
	stored_reopen(f->stored, text);
	filed_begin(f);
}

static inline void filed_free(struct filed *f)
{
	filed_end(f);
	stored_free(f->stored);
}

static inline struct record message(int64_t t_ms, const char *topic, const char *payload)
{
	return (struct record){.kind = RECORD_MESSAGE,
		.t_ms = t_ms,
		.boot_ms = -1,
		.topic = topic,
		.topic_length = strlen(topic),
		.payload = (const unsigned char *)payload,
		.payload_length = strlen(payload)};
}

static inline int mark_dirty(int64_t from_ms, int64_t to_ms, void *store)
{
	return store_dirty_add(store, from_ms, to_ms);
}

/* Files one message and makes its span dirty. */
static inline void file_message(
	struct filed *f, int64_t t_ms, const char *topic, const char *payload)
{
	struct filer *filer = filer_new(f->store, f->decoder, 0);
	struct record record = message(t_ms, topic, payload);
	ck_assert_int_eq(store_begin(f->store), 0);
	ck_assert_int_eq(filer_add(filer, &record), 0);
	ck_assert_int_eq(filer_flush(filer), 0);
	ck_assert_int_eq(filer_spans(filer, mark_dirty, f->store), 0);
	ck_assert_int_eq(store_commit(f->store), 0);
	filer_free(filer);
}

/* Derives until nothing is dirty before the end; the steps that it took. */
static inline int derive_until(struct filed *f, int64_t until_minute)
{
	int steps = 0, r;
	while ((r = deriver_step(f->deriver, until_minute)) == 0)
		ck_assert_int_lt(++steps, 1000);
	ck_assert_msg(r == DERIVER_CLEAN, "%d: %s", r, store_error(f->store));
	return steps;
}

#endif
