/* See habit.h. Findings and the answer to /v1/immersion judge by this alone. */
#include <heatbook/habit.h>

#include <heatbook/clock.h>

#include <stdlib.h>

enum { WEEK = 7, OFTEN_DAYS = 2 };
enum { USUAL_RUNS = 3, USUAL_BACK_DAYS = 9 * WEEK, USUAL_WITHIN_MIN = 180 };

/* Minutes between two times of day. */
static int64_t apart_min(int64_t a, int64_t b)
{
	int64_t d = llabs((long long)(a - b)) % MIN_PER_DAY;
	return d < MIN_PER_DAY - d ? d : MIN_PER_DAY - d;
}

/* Days before one that were looked at, and those with a run at its time of day: of the
 * week before it, and of the two months before that week. */
struct past {
	size_t known, known_earlier;
	size_t week, earlier;
	size_t usual, usual_alike; /* runs that were usual, and these at that time */
};

static struct past past_of(
	const struct heater_day *days, const enum habit *habits, size_t at)
{
	struct past past = {0};
	for (size_t i = at; i-- > 0 && at - i <= USUAL_BACK_DAYS;) {
		bool lately = at - i <= WEEK;
		past.known += days[i].looked;
		past.known_earlier += days[i].looked && !lately;
		if (!days[i].used)
			continue;
		bool alike =
			apart_min(days[at].at_min, days[i].at_min) <= USUAL_WITHIN_MIN;
		past.week += alike && lately;
		past.earlier += alike && !lately;
		past.usual += habits[i] == HABIT_USUAL;
		past.usual_alike += alike && habits[i] == HABIT_USUAL;
	}
	return past;
}

/* Too often is a day more than in a week of the two months before. */
static enum habit habit_of(
	const struct heater_day *days, const enum habit *habits, size_t at)
{
	if (!days[at].used)
		return HABIT_USUAL;
	struct past past = past_of(days, habits, at);
	double a_week = past.known_earlier
				? WEEK * (double)past.earlier / (double)past.known_earlier
				: 0.0;
	if (past.known >= HABIT_HISTORY_DAYS && past.week >= OFTEN_DAYS &&
		(double)past.week > a_week + 1.0)
		return HABIT_TOO_OFTEN;
	return past.usual >= USUAL_RUNS && past.usual_alike == 0 ? HABIT_OTHER_TIME
								 : HABIT_USUAL;
}

void habits_judge(const struct heater_day *days, size_t count, enum habit *ret)
{
	for (size_t i = 0; i < count; i++)
		ret[i] = habit_of(days, ret, i);
}

void immersion_habits_release(struct immersion_habits *habits)
{
	for (size_t m = 0; habits->habits && m < habits->meters; m++)
		free(habits->habits[m]);
	free(habits->habits);
	free(habits->start_min);
	*habits = (struct immersion_habits){0};
}

enum habit immersion_habit(const struct immersion_habits *habits, int meter, int64_t t_ms)
{
	size_t low = 0, high = habits->count;
	int64_t minute = floor_div(t_ms, MS_PER_MIN);
	if (meter < 0 || (size_t)meter >= habits->meters || !habits->habits[meter] ||
		high == 0 || minute < habits->start_min[0])
		return HABIT_UNKNOWN;
	while (high - low > 1) {
		size_t middle = low + (high - low) / 2;
		if (habits->start_min[middle] <= minute)
			low = middle;
		else
			high = middle;
	}
	return habits->habits[meter][low];
}
