/*
 * Messages of a day in one transaction, derived, and numbers of the rows that come out.
 */
#ifndef COUNTED_H
#define COUNTED_H

#include "filed.h"

#include <math.h>

#define AT(minute) (DAY * MS_PER_DAY + (int64_t)(minute)*MS_PER_MIN)
#define MINUTE(m)  (DAY * MIN_PER_DAY + (int64_t)(m))
#define HOLDS      "[source a]\ntopics = a/#\nsilent_after = none\n"
#define HELD       "stale_after = none\n"

/* Files messages in one transaction. */
struct sending {
	struct filed *f;
	struct filer *filer;
};

static inline struct sending begin_sending(struct filed *f)
{
	ck_assert_int_eq(store_begin(f->store), 0);
	return (struct sending){f, filer_new(f->store, f->decoder, 0)};
}

static inline void send_at(
	struct sending *s, int64_t t_ms, const char *topic, double value)
{
	char text[32];
	(void)snprintf(text, sizeof(text), "%.10g", value);
	struct record record = message(t_ms, topic, text);
	ck_assert_int_eq(filer_add(s->filer, &record), 0);
}

static inline void end_sending(struct sending *s)
{
	ck_assert_int_eq(filer_flush(s->filer), 0);
	ck_assert_int_eq(filer_spans(s->filer, mark_dirty, s->f->store), 0);
	ck_assert_int_eq(store_commit(s->f->store), 0);
	filer_free(s->filer);
}

/* A message: minute of the first day, topic, value. */
struct said {
	double minute;
	const char *topic;
	double value;
};

static inline void expect_checks(struct filed *f)
{
	struct buffer lines = {0};
	size_t broken = 0;
	ck_assert_int_eq(store_checks(f->store, &lines, &broken), 0);
	ck_assert_msg(broken == 0, "%s", buffer_text(&lines));
	buffer_release(&lines);
}

static inline struct filed derived(
	const char *plant, const struct said *said, size_t count, int64_t until_minute)
{
	struct filed f = filed_new(plant);
	struct sending s = begin_sending(&f);
	for (size_t i = 0; i < count; i++)
		send_at(&s, AT(0) + llround(said[i].minute * MS_PER_MIN), said[i].topic,
			said[i].value);
	end_sending(&s);
	derive_until(&f, MINUTE(until_minute));
	expect_checks(&f);
	return f;
}

/* A number of the rows of minutes [from, to). */
static inline int64_t rows(struct filed *f, const char *what, int64_t from, int64_t to)
{
	_cleanup_(freep) char *sql =
		xasprintf("SELECT %s FROM energy_minutes WHERE slot >= %lld AND slot < "
			  "%lld",
			what, (long long)MINUTE(from) * 16, (long long)MINUTE(to) * 16);
	return sql_number(f->store, sql);
}

#endif
