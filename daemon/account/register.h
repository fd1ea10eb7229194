/*
 * One meter's energy register over time: which readings are believed, and which spans
 * between them are over. Used by the accountant; see register.c for the rules.
 *
 * Everything is whole joules and milliseconds but the integrals of power, whose pieces
 * end where the data say so. The state is plain numbers without padding: equal states are
 * equal bytes.
 */
#ifndef ACCOUNT_REGISTER_H
#define ACCOUNT_REGISTER_H

#include <heatbook/config.h>
#include <heatbook/event.h>
#include <heatbook/settlement.h>

/* An instant of the register, and what power said about its minute and since. */
struct register_mark {
	int64_t t_ms;
	int64_t total_j; /* counted since the account began; never falls */
	double before_j; /* by power, in its minute before it */
	double head_j;   /* in its minute after it */
	double since_j;  /* all since it */
	int64_t rows_j;  /* of the whole minutes since it, each rounded as rows are */
	int64_t before_ms, head_ms, since_ms; /* for which power was known */
};

struct register_state {
	int64_t begun;          /* 0: no reading yet, and all below is 0 */
	int64_t first;          /* the open span begins with the first reading ever */
	int64_t raw_j;          /* the register at `last` */
	int64_t from_j;         /* and at `begin` */
	int64_t lapsed_ms;      /* reports ended there since `last`, or INT64_MIN … */
	int64_t wait_lapsed_ms; /* … and since `wait` */
	int64_t waiting;        /* readings that wait, 0 … 2 */
	int64_t wait_raw_j, wait_from_j, wait_ms; /* the last and the first of them */
	int64_t instant_j;                        /* total before the last increment */
	struct register_mark begin;               /* of the open span */
	struct register_mark last;                /* last reading that was believed */
	struct register_mark wait;                /* first one that waits */
	int64_t refused_ms; /* when a refused reading was told of last, or INT64_MIN */
};

struct register_account {
	const struct register_config *config;
	struct register_state state;
	int64_t minute; /* the open one, and power in it so far */
	double minute_j;
	int64_t minute_ms;
};

void register_init(struct register_account *a, const struct register_config *config);
void register_reset(struct register_account *a, int64_t minute);
/* The open minute ends and `minute` begins. */
void register_minute(struct register_account *a, int64_t minute);

/* What the open minute's rows hold, before it ends: whole joules. */
void register_rows(struct register_account *a, int64_t j);

/* Power was `joules` in a piece of `ms` within the open minute. */
void register_power(struct register_account *a, double joules, int64_t ms);
/* Reports end at `t_ms`: the hold's limit, the source's death, no value. */
void register_lapse(struct register_account *a, int64_t t_ms);

/* What was made of a reading. */
enum register_verdict {
	REGISTER_BAD,     /* negative, or beyond the modulus */
	REGISTER_FIRST,   /* nothing to compare with */
	REGISTER_TAKEN,   /* grew by no more than is believed, or not at all */
	REGISTER_JITTER,  /* fell by next to nothing: the last one stands */
	REGISTER_WRAPPED, /* went over the modulus */
	REGISTER_TURNED,  /* a daily register began its day */
	REGISTER_WAITS,   /* neither believed nor refused yet */
	REGISTER_ANEW,    /* readings that waited are the new beginning */
	REGISTER_REFUSED  /* an increment that is too large */
};

/* Who is told of spans that close, and of events (without their subject). */
struct register_sinks {
	settlement_sink *settled;
	event_sink *happened;
	void *context;
};

/* The span of its own that an increment counts for. One that is over by itself ends with
 * the millisecond before its end, so that a day that it ends with has made it; one that
 * another word cuts short ends with that word. */
struct register_part {
	int64_t begin_ms, end_ms;
	bool cut;
};
/* It begins; and ends, with its whole joules. What lies between such spans nobody
 * counted. */
void register_part_begins(
	struct register_account *a, int64_t t_ms, const struct register_sinks *sinks);
enum register_verdict register_part_ends(struct register_account *a,
	const struct register_part *part, int64_t j, const struct register_sinks *sinks);

/* A reading, whole joules, at or after all before it. */
enum register_verdict register_report(struct register_account *a, int64_t t_ms,
	int64_t raw_j, const struct register_sinks *sinks);

#endif
