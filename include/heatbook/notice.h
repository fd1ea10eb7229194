/*
 * A notice: one thing that the owner wants to be told of ([notice NAME]), raised when it
 * has been so for a while and cleared when it has been otherwise for a while, with room
 * between both levels, so that what wavers about a threshold is said once.
 *
 * It goes by whole minutes as rows hold them, one after the other, and by nothing else:
 * the same minutes give the same notices, whoever looks and whenever.
 */
#ifndef HEATBOOK_NOTICE_H
#define HEATBOOK_NOTICE_H

#include <heatbook/base.h>
#include <heatbook/units.h>

#define NOTICES_MOST 64

/* What may be watched (daemon/base/config_notice.c has its words). Values are of a
 * minute; those of a yes or no are 1 and 0. */
enum notice_watch {
	NOTICE_VALUE,   /* a channel's mean */
	NOTICE_STATE,   /* is a state the one that a channel held longest? */
	NOTICE_MISSING, /* is nothing known of a channel? Never unknown itself */
	NOTICE_POWER,   /* a meter's mean power */
	/* Of the plant's local day so far, at the widest boundary. */
	NOTICE_DAY_HEAT,
	NOTICE_DAY_ELECTRICITY,
	NOTICE_DAY_EFFICIENCY,
	NOTICE_DAY_KNOWN, /* share of it in which heat and electricity were known */
	/* Is something of a kind (any kind) found, as the days that are over show it? */
	NOTICE_FINDING,
	NOTICE_WATCHES
};

struct notice_config {
	char *name;
	char *watches; /* as written: "value water_pressure" */
	char *text;    /* what is said */
	enum notice_watch watch;
	int subject;   /* channel, meter or enum finding_kind; -1: the plant, any kind */
	char *state;   /* its name, or NULL */
	bool compares; /* false: a yes or no, which has no threshold */
	bool above;    /* it is raised above the threshold, else below */
	double raises; /* threshold; … */
	double clears; /* … and level at which it ends, itself included; own unit */
	enum dimension dimension;
	int64_t for_ms;        /* whole minutes that it must have been so, and … */
	int64_t clears_for_ms; /* … otherwise */
	int line;
};
/* Frees what it points to. */
void notice_release(struct notice_config *notice);
/* "NAME: value water_pressure below 1 bar for 10 min, until 1.2 bar for 10 min". */
void notice_describe(const struct notice_config *notice, struct buffer *out);

/* Where a notice stands after some minutes. Minutes since 1970. */
struct notice_state {
	bool raised;
	int64_t since; /* first minute of what raised it; of what cleared it where it
			* is not raised; -1: there was neither yet */
	int64_t run, run_from; /* known minutes in a row that speak for the other */
	int64_t unknown_since; /* -1: the last minute was known */
	double value;          /* of the last minute, NaN where that was unknown */
};
void notice_begin(struct notice_state *ret);

/* The next minute. One that is unknown (NaN) speaks for nothing: it neither raises nor
 * clears, and does not interrupt what did before it. */
enum notice_change { NOTICE_STAYS, NOTICE_RAISED, NOTICE_CLEARED };
enum notice_change notice_take(const struct notice_config *notice,
	struct notice_state *state, int64_t minute, double value);

/* Looking back instead, from a minute to the ones before it: does what is there settle
 * that the notice was not raised, whatever was before? `run` begins with 0 and goes on
 * from call to call. */
bool notice_settles(const struct notice_config *notice, int64_t *run, double value);

#endif
