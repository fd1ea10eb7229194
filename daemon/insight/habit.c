/* See habit.h. Findings and the answer to /v1/immersion judge by this alone. */
#include <heatbook/habit.h>

#include <heatbook/clock.h>
#include <heatbook/evidence.h>

#include <stdlib.h>

enum { WEEK = 7, OFTEN_DAYS = 2 };
enum { USUAL_DAYS = 3, USUAL_BACK_DAYS = 9 * WEEK, USUAL_WITHIN_MIN = 180 };

/* Minutes between two times of day. */
static int64_t apart_min(int64_t a, int64_t b)
{
	int64_t d = llabs((long long)(a - b)) % MIN_PER_DAY;
	return d < MIN_PER_DAY - d ? d : MIN_PER_DAY - d;
}

/* Days before a use's own that were looked at, and those with a use at its time of day:
 * of the week before it, and of the two months before that week. */
struct past {
	size_t known, known_earlier;
	size_t week, earlier;
	size_t usual, usual_alike; /* with uses that were usual, and such at that time */
};

struct day_uses {
	bool alike, usual, usual_alike;
};

/* What a day's uses were; *at moves from behind them to the first of them. */
static struct day_uses uses_of(
	const struct heater_uses *uses, size_t day, size_t use, size_t *at)
{
	struct day_uses found = {0};
	for (; *at > 0 && uses->items[*at - 1].day == day; --*at) {
		const struct heater_use *other = &uses->items[*at - 1];
		bool usual = uses->habits[*at - 1] == HABIT_USUAL;
		bool alike = apart_min(uses->items[use].at_min, other->at_min) <=
			     USUAL_WITHIN_MIN;
		found.alike |= alike;
		found.usual |= usual;
		found.usual_alike |= alike && usual;
	}
	return found;
}

static struct past past_of(const bool *looked, const struct heater_uses *uses, size_t use)
{
	struct past past = {0};
	size_t day = uses->items[use].day, at = use;
	(void)uses_of(uses, day, use, &at); /* those of its own day */
	for (size_t i = day; i-- > 0 && day - i <= USUAL_BACK_DAYS;) {
		bool lately = day - i <= WEEK;
		struct day_uses found = uses_of(uses, i, use, &at);
		past.known += looked[i];
		past.known_earlier += looked[i] && !lately;
		past.week += found.alike && lately;
		past.earlier += found.alike && !lately;
		past.usual += found.usual;
		past.usual_alike += found.usual_alike;
	}
	return past;
}

/* Too often is a day more than in a week of the two months before. */
static enum habit habit_of(const bool *looked, const struct heater_uses *uses, size_t use)
{
	struct past past = past_of(looked, uses, use);
	double a_week = past.known_earlier
				? WEEK * (double)past.earlier / (double)past.known_earlier
				: 0.0;
	if (past.known >= HABIT_HISTORY_DAYS && past.week >= OFTEN_DAYS &&
		(double)past.week > a_week + 1.0)
		return HABIT_TOO_OFTEN;
	return past.usual >= USUAL_DAYS && past.usual_alike == 0 ? HABIT_OTHER_TIME
								 : HABIT_USUAL;
}

static int by_begin(const void *a, const void *b)
{
	const struct heater_use *x = a, *y = b;
	if (x->day != y->day)
		return x->day < y->day ? -1 : 1;
	return x->at_min < y->at_min ? -1 : x->at_min > y->at_min;
}

void habits_judge(const bool *looked, struct heater_uses *uses)
{
	if (uses->count)
		qsort(uses->items, uses->count, sizeof(*uses->items), by_begin);
	uses->habits = xrealloc(uses->habits, uses->count + 1, sizeof(*uses->habits));
	for (size_t i = 0; i < uses->count; i++)
		uses->habits[i] = habit_of(looked, uses, i);
}

void heater_uses_add(struct heater_uses *uses, size_t day, int64_t start_min,
	const struct evidence *item)
{
	if (item->minutes < HABIT_LEAST_MIN)
		return;
	if (uses->count == uses->room) {
		uses->room = uses->room ? 2 * uses->room : 64;
		uses->items = xrealloc(uses->items, uses->room, sizeof(*uses->items));
	}
	int64_t at_min = item->at_min - start_min;
	uses->items[uses->count++] = (struct heater_use){.day = day,
		.at_min = at_min,
		.end_min = at_min + (int64_t)item->values[1],
		.j = item->values[0]};
}

void heater_uses_release(struct heater_uses *uses)
{
	free(uses->items);
	free(uses->habits);
	*uses = (struct heater_uses){0};
}

/* ---- of a span ---- */

void immersion_habits_release(struct immersion_habits *habits)
{
	for (size_t m = 0; habits->heaters && m < habits->meters; m++)
		heater_uses_release(&habits->heaters[m]);
	free(habits->heaters);
	free(habits->start_min);
	*habits = (struct immersion_habits){0};
}

/* The last of days that began by then; `minute` is none before the first. */
static size_t day_of(const struct immersion_habits *habits, int64_t minute)
{
	size_t low = 0, high = habits->count;
	while (high - low > 1) {
		size_t middle = low + (high - low) / 2;
		if (habits->start_min[middle] <= minute)
			low = middle;
		else
			high = middle;
	}
	return low;
}

enum habit immersion_habit(const struct immersion_habits *habits, int meter, int64_t t_ms)
{
	int64_t minute = floor_div(t_ms, MS_PER_MIN);
	if (meter < 0 || (size_t)meter >= habits->meters || habits->count == 0 ||
		minute < habits->start_min[0])
		return HABIT_UNKNOWN;
	size_t day = day_of(habits, minute);
	int64_t at_min = minute - habits->start_min[day];
	const struct heater_uses *uses = &habits->heaters[meter];
	for (size_t i = 0; i < uses->count; i++) {
		const struct heater_use *use = &uses->items[i];
		if (use->day == day && use->at_min <= at_min && at_min < use->end_min)
			return uses->habits[i];
	}
	return HABIT_UNKNOWN;
}
