/*
 * Evidence: what one local day's minutes say about the state of sensors, meters and
 * plant, in some dozen numbers. It is made once when the day is over, kept, and made
 * again when the day's rows change; findings (finding.h) are worked out of the evidence
 * of many days, so that asking over years costs days, not minutes.
 *
 * A pure function of the day's rows and the configuration, but for how often a source
 * reports, which its journal tells (look.c). Nothing of it enters a row of the account.
 */
#ifndef HEATBOOK_EVIDENCE_H
#define HEATBOOK_EVIDENCE_H

#include <heatbook/day.h>

/* Grows when evidence is made otherwise: days of an earlier form are looked at again. */
#define EVIDENCE_FORM 17

/* What a row of evidence says; numbers are stored, for ever. */
enum evidence_kind {
	/* The day was looked at: `minutes` is the form. */
	EVIDENCE_LOOKED = 0,
	/* At rest, a stretch of minutes with the compressor off for 10 min, water
	 * circulating for 5 and the valve settled, no known heater on, and the control
	 * not at work: mean difference of the pair (K), the greatest of its minutes, and
	 * the flow's mean (L/min; NaN: not metered). */
	EVIDENCE_REST = 1,
	/* Of a channel that is a meter's power: it was negative while the compressor
	 * ran: mean W, and J over those minutes. */
	EVIDENCE_POWER_NEGATIVE = 2,
	/* Compressor running for minutes without any flow: electricity of them, J. */
	EVIDENCE_FLOW_ZERO = 3,
	/* Return above flow outside of defrost: mean difference (K), heat booked (J), 1
	 * when no water flowed. */
	EVIDENCE_RETURN_ABOVE = 4,
	/* Of a channel: its longest time without any change while what belongs to it
	 * moved: value, how much that was, heat booked (J), the unit's electricity (J),
	 * enum frozen_by; by flow, as the sixth, minutes in which water rested. */
	EVIDENCE_FROZEN = 5,
	/* Of a channel: its grid (own unit), share of levels on it; of flow and power the
	 * usual level. */
	EVIDENCE_COARSE = 6,
	/* Of a channel, from its first change on: spacing of its changes, min; how many
	 * there were. What the journal knows to have been said oftener is none. */
	EVIDENCE_SLOW = 7,
	/* Of a channel: a word that no map names was in force. */
	EVIDENCE_STATE_UNKNOWN = 8,
	/* Flow rate while the compressor runs, by service (where no flag tells it, by the
	 * mode that rules told): median in heating (L/min) and in hot water, minutes in
	 * hot water; in all, the share of minutes in which it was not what it was in the
	 * minute before. */
	EVIDENCE_FLOW = 9,
	/* Pressure: mean (bar), mean water temperature (°C), least, most; by how much the
	 * water's temperature moved (K). */
	EVIDENCE_PRESSURE = 10,
	/* Of a meter against the compressor: its steps come so many minutes later, by
	 * cross-correlation: share of steps that meet at that shift, and at none; how
	 * many there were. */
	EVIDENCE_SKEW = 11,
	/* Outdoor temperature: its highest hump, above what it was an hour and a half
	 * before and after (K), at at_min; mean (°C). */
	EVIDENCE_OUTDOOR = 12,
	/* Whole minutes of heating (subject "heating") or hot water: heat J, electricity
	 * J, electricity J by a published fit, heat-weighted lift K, electricity J of the
	 * ideal machine, outdoor °C. */
	EVIDENCE_EFFICIENCY = 13,
	/* A stretch of minutes of which something is unknown: what (the bits below), the
	 * electricity that registers bridged in it (J), W that the unit drew
	 * at least on that day. */
	EVIDENCE_MISSING = 14,
	/* Of a meter with a register and power, minutes in which both were known: J by
	 * the register, J by power. */
	EVIDENCE_REGISTER = 15,
	/* Of an immersion heater's meter, a use of it (HABIT_PAUSE_MIN), minutes on: J
	 * of these, minutes from its begin, which is at_min, to its end. */
	EVIDENCE_IMMERSION = 16,
	/* Of hot water or defrost: its flag's beginnings come so many minutes later than
	 * those by rule (the middle of the day's): how many both saw, how many rules
	 * saw, the largest lag, how many the flag saw. */
	EVIDENCE_FLAG = 17,
	/* While the compressor runs and for ten minutes after, minutes in which all three
	 * are known: heat J delivered, electricity J, heat J taken from the source; what
	 * a kelvin of either pair makes of heat, J/K, that of the source's NaN where its
	 * heat is said by a meter. */
	EVIDENCE_BALANCE = 18,
	/* Of a channel: unknown for so many minutes in which others were known. */
	EVIDENCE_SILENT = 19,
	/* Of a meter of apparent power beside a true one, minutes in which both were
	 * known: J of it and of the true one with the compressor running, and at rest. */
	EVIDENCE_APPARENT = 20,
	/* Of heat by a register, minutes in which heat's power, or flow and temperatures,
	 * gave its shape and were not negative: J by the register, J by these. */
	EVIDENCE_HEAT_REGISTER = 21,
	/* Of the first channel of a register: one reading while energy flowed: kWh, J
	 * that flowed by what stands beside it (NaN: nothing does), J of the other side
	 * of the plant, J booked, share of the day's. */
	EVIDENCE_STILL = 22,
	/* Of the first number of a source: none of its numbers changed for an hour and
	 * a half: how many; heat booked, the unit's
	 * electricity, J; minutes of running. */
	EVIDENCE_REPEATED = 23,
	/* The compressor ran and metered water flowed while the pump's flag said off, so
	 * that no heat was booked: the unit's electricity of these minutes, J, and heat J
	 * by flow and temperatures. */
	EVIDENCE_PUMP_OFF = 24,
	/* Of defrost or cooling where a heat meter says the heat: J booked, J by what
	 * stands beside it (heat's power, flow and temperatures; NaN: nothing does). */
	EVIDENCE_SIGN = 25,
	/* Of a channel of states: minutes in which its word was not what the plant did:
	 * the state, enum contradicted_by, heat booked (J), the unit's electricity (J).
	 */
	EVIDENCE_CONTRADICTED = 26,
	/* Of one of several channels that make a meter's power, minutes in which the
	 * compressor ran and all were known: its mean W, that at rest, both of the
	 * others together, minutes at rest. */
	EVIDENCE_PHASE = 27,
	/* Of heating, hot water or defrosts, in a bin of outdoor and flow temperature
	 * that begins in that minute: the bin's middle, °C and °C (NaN: one is unknown);
	 * at the unit's boundary, as far as heat and its meters are known: heat J,
	 * electricity J, what a kelvin of the pair makes of it, J/K; where the lift is
	 * COP_LEAST_LIFT_K and more, which is a bin of its own, the ideal machine's
	 * electricity, J; of a defrost, which goes by the temperatures before it, the
	 * mode that it is of. */
	EVIDENCE_CONDITIONS = 28,
	/* A window of steady heating, where it may frost with whole cycles of defrosts,
	 * at the unit's boundary: means of outdoor and flow temperature (°C), the
	 * difference of the pair that its heat is of (K; NaN: none is measured), heat J,
	 * electricity J, compressor frequency (Hz; NaN: not told). */
	EVIDENCE_STEADY = 29,
	/* Of heating, five rows that begin a minute after each other, which is all that
	 * at_min says of them (enum emission_row). */
	EVIDENCE_EMISSION = 30,
	/* The cylinder at 60 °C or above, as it is shown with one decimal: for so many
	 * minutes, the last of which is at_min (none: the day's first): its highest
	 * temperature (°C), minutes for which it was known. */
	EVIDENCE_CYLINDER = 31,
	EVIDENCE_KINDS
};
/* Days' facts of cost (cost.h) and of the weather (store_outdoor_keep()) have rows of
 * their own in the same table. */
#define EVIDENCE_COST    32
#define EVIDENCE_WEATHER 33

/* Rows of EVIDENCE_EMISSION. */
enum emission_row {
	/* Whole minutes of heating, everything known: heat J, the unit's electricity J,
	 * and weighted by heat the flow, the return, what heat is taken from (outdoor
	 * air, or what enters the unit on that side), the room (°C; the last three NaN
	 * where nothing tells). */
	EMISSION_WHOLE,
	/* Of these, minutes behind 20 of undisturbed heating: mean heat W, mean water
	 * temperature °C, room °C, by how much the water becomes warmer (K/h), heat W
	 * that nine of ten of them lie above. */
	EMISSION_SETTLED,
	/* Of these, minutes behind five, at a lift of 15 K at least: sums of products of
	 * what they differ by from the day's mean: of flow °C, source °C, ln of heat in
	 * kW, its square, ln of the share of Carnot's quotient, in the order ff fs fp fq
	 * fy ss | sp sq sy pp pq py | qq qy yy. */
	EMISSION_PRODUCTS,
	EMISSION_ROWS = EMISSION_PRODUCTS + 3
};

/* Bins of EVIDENCE_CONDITIONS are so wide, about their middles. */
#define CONDITION_OUTDOOR_K 1.0
#define CONDITION_FLOW_K    5.0

/* What shows that a channel stood still. */
enum frozen_by {
	FROZEN_BY_PIPE,     /* the other pipe moved by so many K */
	FROZEN_BY_AIR,      /* no air is that still */
	FROZEN_BY_STANDING, /* pipes without flow cool; the return's value */
	FROZEN_BY_STARTS,   /* the compressor started and stopped so often */
	FROZEN_BY_TAP,      /* hot water was made for so many minutes */
	FROZEN_BY_PUMP      /* a flow, across so many starts and stops */
};

/* What a state's word is held against. */
enum contradicted_by {
	CONTRADICTED_BY_RUNNING, /* it says that the unit rests */
	CONTRADICTED_BY_VALVE,   /* that names the other service */
	CONTRADICTED_BY_FLOW,    /* hot water by a flow colder than the cylinder */
	CONTRADICTED_BY_HEAT,    /* cooling that warms the water */
	CONTRADICTED_BY_LENGTH   /* a defrost of an hour */
};

/* EVIDENCE_SLOW begins there: what is quicker is seen by the minute. */
enum { SEEN_SLOW_MIN = 3 };

/* Bits of EVIDENCE_MISSING's first value. */
enum {
	MISSING_HEAT = 1,
	MISSING_ELECTRICITY = 2,
	MISSING_ALL = 4,
	/* Heat, although flow and temperatures were known: one of them lay below what the
	 * fluid's heat is known for, or above. */
	MISSING_COLD = 8,
	MISSING_HOT = 16
};

/* "power_negative", for who reads rows. */
const char *evidence_name(enum evidence_kind kind);

/* Whose name a row bears. */
enum evidence_subject { SUBJECT_NONE, SUBJECT_CHANNEL, SUBJECT_METER, SUBJECT_MODE };
enum evidence_subject evidence_subject(enum evidence_kind kind);

#define EVIDENCE_VALUES 6

struct evidence {
	enum evidence_kind kind;
	int subject;    /* index of the channel or meter, enum mode, or -1 */
	int64_t at_min; /* where it begins, or the day's first minute */
	int64_t minutes;
	double values[EVIDENCE_VALUES]; /* finite, or NaN where the kind has no such */
};

struct evidence_list {
	struct evidence *items;
	size_t count, room;
};
void evidence_add(struct evidence_list *list, const struct evidence *item);
void evidence_release(struct evidence_list *list);

/* Minutes of a day that a register and power know, for EVIDENCE_REGISTER and that of
 * heat; of spans that are over. */
struct register_day {
	int64_t minutes;
	double register_j, power_j;
};

/* Looks at a day; `registers` by what is counted (config_counted()), or NULL where none
 * is known. Adds to the list, a row EVIDENCE_LOOKED first. */
void evidence_of(const struct day_minutes *day, const struct register_day *registers,
	struct evidence_list *list);

/* ---- kept in the store (daemon/store/evidence.c) ---- */

struct store;
typedef void evidence_visit(
	int64_t start_min, const struct evidence *item, void *context);
/* Evidence of days that begin in [from, to), in the order of days; of channels and meters
 * that are not configured any more nothing is told. */
int store_evidence(struct store *store, int64_t from_min, int64_t to_min,
	evidence_visit *visit, void *context);
/* Of one kind, and EVIDENCE_LOOKED. */
int store_evidence_of(struct store *store, enum evidence_kind kind, int64_t from_min,
	int64_t to_min, evidence_visit *visit, void *context);
/* Puts a day's in place of what there was; within the caller's transaction. */
int store_evidence_put(
	struct store *store, int64_t start_min, const struct evidence_list *list);
/* Local days of [from, to) that are closed, still have their minutes, and were not looked
 * at in this form, the last ones first, at most `most`. */
int store_evidence_missing(struct store *store, int64_t from_min, int64_t to_min,
	struct day_span *ret, size_t most, size_t *ret_count);
/* Those that were looked at in this form and still have their minutes, the first ones
 * first. */
int store_evidence_looked(struct store *store, int64_t from_min, int64_t to_min,
	struct day_span *ret, size_t most, size_t *ret_count);
/* By what is counted; zeros where nothing counts it, or nothing is beside. */
int store_register_day(struct store *store, int64_t start_min, int64_t end_min,
	struct register_day ret[static COUNTED_MOST]);

#endif
