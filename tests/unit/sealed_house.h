/*
 * A meter with a register, days of which are sealed.
 */
#ifndef SEALED_HOUSE_H
#define SEALED_HOUSE_H

#include "counted.h"

#include <heatbook/age.h>
#include <heatbook/event.h>
#include <heatbook/verify.h>

#define KWH INT64_C(3600000)
#define METER                                                                            \
	"[channel r]\ntopic = a/r\nunit = kWh\n" HELD "[meter unit]\nfeeds = "           \
	"compressor\n"
#define ALONE "[plant]\nzone = UTC\n" HOLDS METER "register = r\n"
#define SHAPED                                                                           \
	"[plant]\nzone = UTC\n" HOLDS "[channel p]\ntopic = a/p\nunit = W\n" HELD METER  \
	"register = r\npower = p\n"

/* What the meter has in minutes [from, to) from the first day's beginning. */
static inline int64_t booked(struct filed *f, int64_t from, int64_t to)
{
	return rows(f, "coalesce(sum(e_unit_j), 0)", from, to);
}

/* What is named as in no row. */
static inline int64_t unplaced(struct filed *f)
{
	return sql_number(f->store,
		"SELECT coalesce(sum(CAST(round(after * 3600000) AS INTEGER)), 0) "
		"FROM events WHERE kind = 13");
}

static inline void seal(struct filed *f, int64_t day, int64_t until_minute)
{
	_cleanup_(freep) char *sql =
		xasprintf("INSERT OR REPLACE INTO aged VALUES (%lld, %lld, 0)",
			(long long)(DAY + day), (long long)MINUTE(until_minute));
	sql_run(f->store, sql);
}

static inline void say(struct filed *f, double minute, const char *topic, double value)
{
	struct sending s = begin_sending(f);
	send_at(&s, AT(0) + llround(minute * MS_PER_MIN), topic, value);
	end_sending(&s);
}

static inline void derive_all_anew(struct filed *f, int64_t from, int64_t until)
{
	ck_assert_int_eq(store_begin(f->store), 0);
	ck_assert_int_eq(store_dirty_add(f->store, AT(from), AT(until)), 0);
	ck_assert_int_eq(store_commit(f->store), 0);
	derive_until(f, MINUTE(until));
	expect_checks(f);
}

static inline void count_difference(const struct difference *d, void *context)
{
	(void)context;
	ck_abort_msg("%s %s %s: %s, made %s", d->table, d->row,
		d->column ? d->column : "", d->stored, d->made);
}

static inline void count_line(const char *line, void *context)
{
	(void)context;
	ck_abort_msg("%s", line);
}

/* The verb finds nothing; so many days were made again. */
static inline void expect_verified(struct filed *f, int64_t until, uint64_t days)
{
	struct verify_options options = {.all = true,
		.scratch = f->stored->directory,
		.found = count_difference,
		.line = count_line};
	struct verify_report report = {0};
	char why[320] = "";
	ck_assert_int_eq(store_set_fact(f->store, FACT_DERIVED_UNTIL_MS, AT(until)), 0);
	ck_assert_msg(
		verify_store(f->stored->config, &options, &report, why) == 0, "%s", why);
	ck_assert_uint_eq(report.findings, 0);
	ck_assert_uint_eq(report.days, days);
}

/* Rows of [from, to) as one number. */
static inline int64_t rows_hash(struct filed *f, int64_t from, int64_t to)
{
	return rows(f,
		"coalesce(sum((slot % 999983 + 1) * (coalesce(e_unit_j, 0) % 7919 + 1)), "
		"0)",
		from, to);
}

#endif
