/*
 * A stamper on a tail of its own with a test clock, for tests of stamps.
 */
#ifndef STAMP_BENCH_H
#define STAMP_BENCH_H

#include "scratch.h"

#include <heatbook/clock.h>
#include <heatbook/log.h>
#include <heatbook/stamper.h>

#include <pthread.h>

#define NOON    INT64_C(1767268800000) /* 2026-01-01T12:00:00Z */
#define BOOT    INT64_C(60000)         /* the machine has been up for a minute */
#define WAIT    (15 * MS_PER_MIN)
#define SECONDS INT64_C(1000)

struct bench {
	char *dir;
	struct tail *tail;
	struct stamper *stamper;
	struct record record; /* the last one read */
	uint64_t sequence;
};

/* A clock at noon that the kernel calls so. */
static inline struct bench bench_new(enum clock_kept kept)
{
	struct bench b = {.dir = scratch_new()};
	log_set_handler(drop_line, NULL);
	clock_test_start(NOON, BOOT);
	clock_test_keep(kept);
	b.tail = tail_opened(b.dir, 0, ROOMY);
	return b;
}

static inline void born(struct bench *b, int64_t wait_ms, int64_t derived_until_ms)
{
	b->stamper = stamper_new(b->tail, wait_ms, derived_until_ms);
}

static inline void dies(struct bench *b)
{
	stamper_free(b->stamper);
	tail_close(b->tail);
	b->stamper = NULL;
	b->tail = NULL;
}

static inline void bench_free(struct bench *b)
{
	dies(b);
	scratch_remove(b->dir);
	clock_test_stop();
	log_set_handler(NULL, NULL);
}

static inline void appends(struct bench *b, enum record_kind kind, const char *payload)
{
	struct record record = {.kind = kind,
		.topic = "t",
		.topic_length = 1,
		.payload = (const unsigned char *)payload,
		.payload_length = strlen(payload)};
	ck_assert_int_eq(stamper_append(b->stamper, &record), 0);
}

static inline void hears(struct bench *b, const char *payload)
{
	appends(b, RECORD_MESSAGE, payload);
}

static inline void expect_none(struct bench *b)
{
	ck_assert_int_eq(tail_read(b->tail, &b->record, &b->sequence), TAIL_EMPTY);
}

static inline void expect(
	struct bench *b, enum record_kind kind, int64_t t_ms, bool unsure)
{
	ck_assert_int_eq(tail_read(b->tail, &b->record, &b->sequence), 0);
	ck_assert_str_eq(record_kind_name(b->record.kind), record_kind_name(kind));
	ck_assert_int_eq(b->record.t_ms, t_ms);
	ck_assert_int_eq(b->record.unsure, unsure);
}

static inline struct stamper_state state_of(struct bench *b)
{
	struct stamper_state state;
	stamper_state(b->stamper, &state);
	return state;
}

#endif
