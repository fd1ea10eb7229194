/*
 * The live way's retention: once a UTC day what is past its age goes, a small turn a
 * call, and one line in the log says so. See live.h.
 *
 * A clock that is far ahead makes everything old. So a run takes no more than a month off
 * the journal and off the minutes, and the owner who sees the line has time.
 */
#include "live_state.h"

#include <heatbook/age.h>
#include <heatbook/calendar.h>
#include <heatbook/log.h>

#define MOST_A_RUN_MS (31 * MS_PER_DAY)

/* The cut at a midnight, so that days go whole; not more than a month after what there
 * was when the run began. */
static int64_t cut_ms(int64_t now_ms, int64_t keep_ms, int64_t begin_ms)
{
	int64_t cut = floor_div(now_ms - keep_ms, MS_PER_DAY) * MS_PER_DAY;
	int64_t most = (floor_div(begin_ms, MS_PER_DAY) * MS_PER_DAY) + MOST_A_RUN_MS;
	return cut < most ? cut : most;
}

static int begin_run(struct live *l, int64_t now_ms)
{
	int64_t first_ms = 0, last_ms, first = 0;
	struct age_run run = {.day = floor_div(now_ms, MS_PER_DAY), .running = true};
	int r = store_journal_span(l->store, &first_ms, &last_ms);
	if (r != 0 && r != STORE_NONE)
		return r;
	run.journal_ms =
		r == 0 ? cut_ms(now_ms, l->config->journal.keep_ms, first_ms) : INT64_MIN;
	r = store_first_row(l->store, &first);
	if (r != 0 && r != STORE_NONE)
		return r;
	bool some = r == 0 && l->config->store.keep_minutes_ms >= 0;
	run.minutes_ms = some ? cut_ms(now_ms, l->config->store.keep_minutes_ms,
					first * MS_PER_MIN)
			      : INT64_MIN;
	l->age = run;
	return 0;
}

static void say_end(const struct age_run *run)
{
	char journal[32], minutes[32];
	time_text_utc(run->journal_until_ms, journal);
	time_text_local(run->minutes_until_ms, minutes);
	if (run->chunks && run->days)
		log_notice("past their age: live records before %.10s (%lld chunks, %lld "
			   "bytes) and minutes before %.10s (%lld days) were dropped",
			journal, (long long)run->chunks, (long long)run->bytes, minutes,
			(long long)run->days);
	else if (run->chunks)
		log_notice("past their age: live records before %.10s (%lld chunks, %lld "
			   "bytes) were dropped",
			journal, (long long)run->chunks, (long long)run->bytes);
	else if (run->days)
		log_notice(
			"past their age: minutes before %.10s (%lld days) were dropped",
			minutes, (long long)run->days);
}

static int age_some(struct live *l)
{
	struct age_run *run = &l->age;
	struct aged aged = {0};
	int r = STORE_CLEAN;

	if (!run->journal_done) {
		r = store_age_journal(l->store, run->journal_ms, &aged);
		run->journal_done = r == STORE_CLEAN;
		if (r == 0 && aged.until_ms > run->journal_until_ms)
			run->journal_until_ms = aged.until_ms;
	} else {
		r = store_age_minutes(l->store, run->minutes_ms, &aged);
		run->running = r != STORE_CLEAN;
		if (r == 0)
			run->minutes_until_ms = aged.until_ms;
	}
	run->chunks += aged.chunks;
	run->bytes += aged.bytes;
	run->days += aged.days;
	return r == STORE_CLEAN ? 0 : r;
}

int live_age(struct live *l, int64_t now_ms)
{
	int r = 0;
	if (l->behind || l->closed < 0)
		return 0; /* what is still to be derived needs its records */
	if (!l->age.running) {
		if (floor_div(now_ms, MS_PER_DAY) == l->age.day)
			return 0;
		r = begin_run(l, now_ms);
	} else {
		r = age_some(l);
		if (r == 0 && !l->age.running)
			say_end(&l->age);
	}
	if (r != 0) { /* again tomorrow */
		l->age.running = false;
		l->age.day = floor_div(now_ms, MS_PER_DAY);
	}
	return live_told(l, r);
}
