/*
 * Days of a store that answers from memory: what is found on each is what the test sets.
 */
#ifndef FAKE_FOUND_DAYS_H
#define FAKE_FOUND_DAYS_H

#include <heatbook/calendar.h>
#include <heatbook/found_days.h>

static struct {
	uint64_t open; /* of every day that is told */
	int result;
} fake_found;

void found_days_begin(struct found_days *found)
{
	found->kept[0].end_min = INT64_MIN;
}

void found_days_release(struct found_days *found)
{
	(void)found;
}

void found_days_revised(struct found_days *found, int64_t minute)
{
	(void)minute;
	found_days_begin(found);
}

int64_t found_day_told(int64_t minute, int64_t *ret_until)
{
	int64_t told_ms = (minute - FOUND_TOLD_MIN) * MS_PER_MIN;
	int64_t start_ms = calendar_day_start(calendar_date(told_ms));
	*ret_until = start_ms / MS_PER_MIN + MIN_PER_DAY + FOUND_TOLD_MIN;
	return start_ms / MS_PER_MIN;
}

int found_days_ask(struct found_days *found, struct store *store, int64_t end_min,
	int more, size_t budget, struct found_day *ret)
{
	(void)found;
	(void)store;
	(void)more;
	(void)budget;
	*ret = (struct found_day){
		.end_min = end_min, .open = fake_found.open, .known = true};
	return fake_found.result;
}

#endif
