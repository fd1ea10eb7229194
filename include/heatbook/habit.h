/*
 * Whether an immersion heater was meant to be on: each use of it against what it had
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
	HABIT_UNKNOWN /* its day was not looked at, or too few before it; no use */
};

/* Less within a use is none. */
#define HABIT_LEAST_MIN 5
/* A heater that is on again so soon is in use all along: its thermostat stops it. */
#define HABIT_PAUSE_MIN 60
/* Nothing is too often before so many days are known. */
#define HABIT_HISTORY_DAYS 14

/* A use of a heater on a local day; one beyond midnight is of both days. */
struct heater_use {
	size_t day;
	int64_t at_min;  /* from the day's begin */
	int64_t end_min; /* behind its last minute */
	double j;        /* that it took */
};

struct heater_uses {
	struct heater_use *items; /* by day and begin */
	enum habit *habits;       /* of each */
	size_t count, room;
};

/* Of a day, from `start_min` on, by its EVIDENCE_IMMERSION, unless that is too short for
 * one. */
struct evidence;
void heater_uses_add(struct heater_uses *uses, size_t day, int64_t start_min,
	const struct evidence *item);
/* Each against the days before its own, that follow each other; those that were not
 * `looked` at tell nothing. A plant that heats so every week, or every day, is meant to;
 * what is unusual for two months becomes usual. Sorts the uses. */
void habits_judge(const bool *looked, struct heater_uses *uses);
void heater_uses_release(struct heater_uses *uses);

struct store;
/* Habits of the uses of a span's days, by meter. */
struct immersion_habits {
	int64_t *start_min; /* of local days, in order */
	size_t count;
	struct heater_uses *heaters; /* by meter; empty: it is no immersion heater's */
	size_t meters;
};
/* By the evidence of these days and of 400 before them; of those that nobody looked at
 * yet `budget` at most are looked at, the last first. 0, or the store's code. */
int immersion_habits_ask(struct store *store, int64_t from_ms, int64_t to_ms,
	size_t budget, struct immersion_habits *ret);
void immersion_habits_release(struct immersion_habits *habits);
/* Of the use that an instant lies in; HABIT_UNKNOWN where it lies in none. */
enum habit immersion_habit(
	const struct immersion_habits *habits, int meter, int64_t t_ms);

#endif
