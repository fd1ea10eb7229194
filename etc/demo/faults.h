/*
 * Faults of the demo plant, each dated, each with what heatbook is to find. Three kinds:
 *
 *  - of the plant: it really does otherwise (plant rules), and its truth with it;
 *  - of a sensor or register: what is said differs from what is so (fault_steps.c);
 *  - of messages on their way (fault_messages.c).
 *
 * The latter two leave plant and truth alone. Chance comes from a stream of its own
 * (streams.h), so no fault shifts weather, occupants or another fault.
 */
#ifndef DEMO_FAULTS_H
#define DEMO_FAULTS_H

#include "messages.h"

#include <stdio.h>

enum fault_name {
	FAULT_RETURN_LOW,
	FAULT_IMMERSION_DAILY,
	FAULT_FLOW_FALLING,
	FAULT_PRESSURE_LEAK,
	FAULT_BROKER_AWAY,
	FAULT_RETAINED_REPLAYED,
	FAULT_REGISTER_RESET,
	FAULT_REGISTER_WRAP,
	FAULT_CLAMP_REVERSED,
	FAULT_POWER_CUT,
	FAULT_SENSOR_FROZEN,
	FAULT_INTEGER_TEMPERATURES,
	FAULT_SLOW_SOURCE,
	FAULT_EFFICIENCY_LOW,
	FAULT_OUTDOOR_SUN,
	FAULT_BAD_PAYLOADS,
	FAULT_POWER_LATE,
	FAULT_EMITTERS_SHUT,
	FAULT_FROSTY_STANDSTILL,
	FAULTS
};

/* In force on [from_s, to_s); an instant where both are the same. */
struct fault {
	bool on;
	int64_t from_s, to_s;
};

struct faults {
	struct fault fault[FAULTS];
	/* J, set by faults_prepare(): the unit's register shows its true value plus one
	 * of these. */
	double before_wrap_j, after_wrap_j, after_reset_j;
};

/* Switches on "all" or names between commas, at their dates in the demo year, which
 * begins on 1 July 2024. What is apart, the plant in order but in need, is not in "all":
 * the year with all faults stays the one it was. 0, or -1 when a name is none.
 * zone_open() first. */
int faults_choose(struct faults *faults, const char *list);
/* Switches on one where it is wanted: NAME=FROM/TO, or NAME=TIME for an instant. 0 or -1.
 */
int faults_place(struct faults *faults, const char *text);
/* Whether any is on. */
bool faults_any(const struct faults *faults);
/* Whether one is on and in force. */
bool fault_holds(const struct faults *faults, enum fault_name name, int64_t t_s);

/* The plant's own, as rules; at most FAULTS of them. Answers how many. */
size_t faults_rules(const struct faults *faults, struct plant_rule *ret_rules);
/* After the rules are in `settings`: simulates the plant up to what happens to registers.
 * 0, or -1 when a wrap is to follow a reset, which cannot be. */
int faults_prepare(struct faults *faults, const struct plant_settings *settings);
/* The list of those that are on, as CSV: name,from_epoch_s,to_epoch_s,finding,subject,
 * within_s,least,most. `finding` is "none" where nothing is to be found; `within_s`
 * counts from the fault's begin; `least` and `most` bound the size that is found of all
 * of it. */
void faults_list(const struct faults *faults, FILE *out);
/* Every fault at its dates, those apart, too. */
void faults_all(struct faults *faults);

/* What sensors and registers say of a step (fault_steps.c). */
struct fault_memory {
	bool frozen;
	double frozen_c;
};
struct plant_step faults_say(const struct faults *faults, struct fault_memory *memory,
	const struct plant_step *step);

/* The way of the messages (fault_messages.c). */
struct fault_way;
struct fault_way *fault_way_new(
	const struct faults *faults, uint64_t seed, message_sink *sink, void *context);
void fault_way_free(struct fault_way *way);
/* The messages of a step as they come out at the end of the way. Their instants go on,
 * but for those that a fault puts out of order. */
void fault_way_step(struct fault_way *way, const struct plant_step *step);
/* From when on steps must be given so that messages from `t_s` on are what they are in
 * one long run. */
int64_t fault_way_begin(const struct faults *faults, int64_t t_s);

#endif
