/*
 * Whether an immersion heater was meant to be on: its use of a day against what it had
 * been used for before. Pure, but for immersion_habits_ask(). Heatbook's own rule: nobody
 * publishes one.
 */
#ifndef HEATBOOK_HABIT_H
#define HEATBOOK_HABIT_H

#include <heatbook/base.h>

enum habit {
	HABIT_USUAL,
	/* It had run on two days or more of the week before, at that time of day, oftener
	 * than in a week of the two months before that. */
	HABIT_TOO_OFTEN,
	/* At a time of day that it had not had in the two months before. */
	HABIT_OTHER_TIME,
	HABIT_UNKNOWN /* the day was not looked at, or too few before it */
};

/* Less in a day is no use. */
#define HABIT_LEAST_MIN 5
/* Nothing is too often before so many days are known. */
#define HABIT_HISTORY_DAYS 14

/* A local day of one heater. */
struct heater_day {
	bool looked;    /* else nothing is known of it */
	bool used;      /* for HABIT_LEAST_MIN at least */
	int64_t at_min; /* its longest run, from the day's begin */
};

/* Of days that follow each other, each against those before it. A plant that heats so
 * every week, or every day, is meant to; what is unusual for two months becomes usual. */
void habits_judge(const struct heater_day *days, size_t count, enum habit *ret);

struct store;
/* Habits of the days of a span, by meter. */
struct immersion_habits {
	int64_t *start_min; /* of local days, in order */
	size_t count;
	enum habit **habits; /* by meter; NULL: it is no immersion heater's */
	size_t meters;
};
/* By the evidence of these days and of 400 before them; of those that nobody looked at
 * yet `budget` at most are looked at, the last first. 0, or the store's code. */
int immersion_habits_ask(struct store *store, int64_t from_ms, int64_t to_ms,
	size_t budget, struct immersion_habits *ret);
void immersion_habits_release(struct immersion_habits *habits);
/* Of the local day that holds an instant; HABIT_UNKNOWN where it is none of these. */
enum habit immersion_habit(
	const struct immersion_habits *habits, int meter, int64_t t_ms);

#endif
