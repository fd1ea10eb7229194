/*
 * What the parts of the check's report share: what was said, and what to look for. Not
 * for other rooms.
 */
#ifndef BASE_ANSWERS_H
#define BASE_ANSWERS_H

#include <heatbook/config.h>
#include <heatbook/rules.h>

struct answers {
	const struct config *config;
	struct buffer *out;
	struct rules_needed rules; /* what they tell */
	unsigned wanted;           /* roles that some question lacks, a bit each */
	bool meter_wanted;
};

/* "question:", padded, and the answer. */
void PRINTF_LIKE(3, 4)
	answer_say(struct answers *r, const char *question, const char *format, ...);
/* A question that is answered once all roles are there; else these are asked for. */
void answer_roles(struct answers *r, const char *question, const char *answered,
	const enum role *roles, size_t count);
/* Adds which of these roles are lacking, if any is, and asks for them. */
void answer_needs(
	struct answers *r, const enum role *roles, size_t count, struct buffer *into);
bool answer_has(const struct answers *r, enum role role);
/* Asks for what fills the role, if nothing does. */
void answer_want(struct answers *r, enum role role);
/* Is there all that heat is worked out from, by [plant] heat_source? */
bool answer_heat_known(const struct answers *r);
/* By power or by register. */
bool answer_is_metered(const struct meter_config *meter);

/* ---- the questions, in their order ---- */

/* Heat, electricity, devices, efficiency, uncertainty (answers_energy.c). */
void answers_energy(struct answers *r);
/* The split by mode, hot water, defrosts, cycling, rest (answers_modes.c). */
void answers_modes(struct answers *r);
/* Weather, rooms, the circuit, the energy balance, the house (answers_house.c). */
void answers_house(struct answers *r);
/* What is watched (answers_notices.c). */
void answers_notices(struct answers *r);

#endif
