/*
 * What the files of laying share: lay.c (spans into minutes, what these shall hold),
 * lay_rows.c (rows in and out), lay_difference.c (a meter before another), lay_sealed.c
 * (what sealed minutes hold of a span) and lay_balance.c (what they hold too much). Not
 * for others.
 */
#ifndef STORE_LAY_H
#define STORE_LAY_H

#include "settle.h"

#include <heatbook/mode.h>
#include <heatbook/settlement.h>

/* One quantity's part of a row. */
struct part_row {
	bool seen; /* it has joules, perhaps 0 */
	int64_t j, ms;
	bool changed; /* power_… differ from it, or it is apart */
	bool power_seen;
	int64_t power_j, power_ms;
	bool is_spread, is_bridged;
	int64_t spread_j, bridged_j, bridged_ms;
};

struct slot {
	bool exists;
	int64_t known;
	int64_t ms; /* in the mode */
	struct part_row now;
	/* What power said of what the spans count: of a difference, before anything is
	 * taken off. */
	int64_t shape_j, shape_ms;
};

/* What meters behind hold in a minute, all of them together. */
struct behind {
	size_t members; /* that are there for all of it */
	int64_t j, spread_j, bridged_j, bridged_ms;
	bool laid; /* a span changed one of them */
};

struct minute_rows {
	struct slot slots[MODE_COUNT];
	/* What the spans over it bring. */
	bool touched;
	int64_t covered_ms, power_j; /* by spans, and what power said there */
	int64_t shaped_j, spread_j, bridged_j;
	int64_t spread_ms, seen_ms; /* spread time, and of it known by power */
	bool is_bridged;
	int64_t bridged_ms;
	/* Of a difference: what is taken off, and of that what a span's amount already
	 * is less by. */
	struct behind behind;
	int64_t net_behind_j;
};

/* What power said, its amount (of each row apart, without sign), and for how long. */
struct power {
	int64_t j, amount_j, ms;
};

/* What was summed of the span laid last, for the next block that it reaches into: else a
 * span of years would be summed once for each of its days. */
struct carried {
	bool any;
	int64_t begin_ms, end_ms, kind;
	struct power all;    /* of its whole minutes, */
	struct power before; /* and of those before `until` */
	int64_t until;
	bool behind_known; /* then of a difference: */
	int64_t behind_j;
	bool net;
};

/* A span's minutes: whole ones [inner, inner_end), and cut ones at its ends. */
struct frame {
	int64_t first, last, inner, inner_end;
};

/* A span as it is laid. */
struct laying {
	const struct settlement *q;
	struct frame frame;
	enum settlement_kind kind; /* as it can be laid */
	int64_t j;                 /* that is shared: all, or what power did not see */
	int64_t whole;
	int64_t weight; /* of the minutes before */
	bool net;       /* of a difference: less what is behind, all of which is known */
};

/* What a span is shared by: its joules, and what power said in all its minutes that may
 * have some of them and in those before the block, with their time. */
struct weights {
	int64_t j;
	struct power all, before;
	int64_t span_ms, before_ms;
};

/* Minutes of a span that stay as they are. */
struct sealed_part {
	int64_t from, to;
	int64_t j; /* what they hold */
	struct power power;
	int64_t ms;
};
struct sealed {
	struct sealed_part *parts; /* in order, with others between them */
	size_t count, room;
	int64_t j;
	bool gone; /* some of the minutes are */
};

/* So far from sealed minutes others may make up for them. */
#define SEALS_REACH_MIN (7 * MIN_PER_DAY)

/* What is taken off a span beside what sealed minutes hold of it. */
struct taking {
	int64_t begin_ms, end_ms, j;
};

enum { ROWS, POWER, CHANGE, ADD, DROP, BOOKED, BOOKED_HOUR, GROSS, STATEMENTS };

struct layer {
	struct store *s;
	size_t quantity; /* config_counted() */
	bool difference;
	enum mode home; /* of energy that no mode is known for */
	bool immersion;
	sqlite3_stmt *statements[STATEMENTS];
	size_t chain[METERS_MOST]; /* the meters behind, nearest first */
	sqlite3_stmt *behind[METERS_MOST];
	size_t chain_count;
	int64_t from, to; /* minutes of the block */
	struct minute_rows *minutes;
	bool any; /* something in the block is, or was, booked by a span */
	struct carried carried;
	bool seals; /* sealed days, or such whose minutes are gone, are near: */
	int64_t near_from, near_to; /* so far spans reach that may matter */
	struct sealed sealed;       /* of the span that `carried` is of */
	struct taking *takings;
	size_t taking_count;
};

/* lay_rows.c */
int layer_prepare(struct layer *l);
void layer_release(struct layer *l);
/* The rows of [from, to) into `minutes`, of which nothing is booked yet. */
int layer_read(struct layer *l);
/* Adds the first columns of a statement's one row about minutes [from, to). */
int layer_sum(struct layer *l, int statement, int64_t from, int64_t to, int64_t *sums,
	size_t count);
int layer_write_minute(
	struct layer *l, int64_t minute, const struct part_row out[MODE_COUNT]);

/* lay.c: parts of `j`: by weights (without any: all to one place); as power went, what
 * differs from it by the amounts of power; and the minute's time by mode. */
void lay_divide(int64_t j, const int64_t weights[MODE_COUNT], size_t home,
	int64_t ret[MODE_COUNT]);
void lay_divide_by_power(int64_t j, const int64_t power_j[MODE_COUNT], size_t home,
	int64_t ret[MODE_COUNT]);
void lay_time_weights(const struct minute_rows *rows, int64_t ret[MODE_COUNT]);

struct frame frame_of(const struct settlement *q);
int64_t weigh(enum settlement_kind kind, const struct power *power, int64_t span_ms);
/* The part of a span before an instant. */
int64_t span_before_ms(const struct settlement *q, int64_t t_ms);
/* What power said in a span before a minute. */
int power_before(struct layer *l, const struct settlement *q, const struct frame *f,
	int64_t minute, struct power *ret);

/* Adds what power said in whole minutes. */
int power_between(struct layer *l, int64_t from, int64_t to, struct power *sum);
/* A span as it is laid where nothing is sealed, from its beginning. */
int lay_whole(struct layer *l, const struct settlement *q, struct laying *ret);

/* lay_sealed.c */
int sealed_prepare(struct layer *l, int64_t from_minute, int64_t to_minute);
void sealed_release(struct layer *l);
/* The parts of a span, given as it would be laid as a whole, that stay; none where they
 * hold what they then would and nothing else is taken off it. */
int sealed_read(struct layer *l, const struct laying *whole, bool is_taken);
/* What they hold comes off *rest_j. */
int sealed_rest(struct layer *l, const struct settlement *q, int64_t *rest_j);
/* Adds what whole minutes hold, of which those before `gone` are gone; what the minute
 * holds of a span that begins in it; of one that ends in it. */
int sealed_booked(struct layer *l, int64_t from, int64_t to, int64_t gone, int64_t *sum);
int sealed_first(struct layer *l, const struct settlement *q, int64_t minute,
	int64_t gone, int64_t *sum);
int sealed_last(
	struct layer *l, const struct settlement *q, int64_t minute, int64_t *sum);
/* Takes them off; `until` is where the block begins. */
void sealed_take_off(const struct layer *l, int64_t until, struct weights *w);

/* lay_balance.c: what comes off which span where seals are near; what is left is named
 * as an event. */
int balance_prepare(struct layer *l);
void balance_release(struct layer *l);
int64_t balance_taken(const struct layer *l, const struct settlement *q);

/* lay_difference.c */
int difference_prepare(struct layer *l);
void difference_release(struct layer *l);
/* What is behind, of the block's minutes. */
int difference_read(struct layer *l);
/* What is behind takes in [begin_ms, end_ms); *ret_whole: all of it is known. */
int difference_between(struct layer *l, int64_t begin_ms, int64_t end_ms, int64_t *ret_j,
	bool *ret_whole);
/* Of a minute, what is behind takes in [from_ms, to_ms) of its 60,000 ms. */
int64_t difference_part(const struct behind *behind, int64_t from_ms, int64_t to_ms);
/* What the rows shall say, given what power says and what is known of the whole: its
 * joules and known time. False: as power says. */
bool difference_book(const struct layer *l, const struct minute_rows *rows,
	int64_t whole_j, int64_t whole_ms, struct part_row ret[MODE_COUNT]);

#endif
