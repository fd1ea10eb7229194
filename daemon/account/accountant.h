/*
 * The accountant: rates from the signals in force, integrated over pieces of constant
 * inputs, booked to modes. Used by the engine alone.
 */
#ifndef ACCOUNT_ACCOUNTANT_H
#define ACCOUNT_ACCOUNTANT_H

#include "line.h"
#include "modes.h"
#include "register.h"

#include <heatbook/engine.h>
#include <heatbook/heat.h>
#include <heatbook/rules.h>

/* A channel's value as the engine holds it now. */
struct held {
	bool known;
	double value;
};

/* What was booked in the minute that is open, or not judged yet. */
struct open_minute {
	/* Time in slots beyond the modes in which nothing is known but flags: observed
	 * only if a mode comes of it. */
	int64_t bare_ms[SLOT_COUNT - MODE_COUNT];
	int64_t moved_ms, still_ms;           /* by the flow */
	int64_t ran_ms, stood_ms;             /* by flags, where no rule tells */
	struct minute_mode slots[SLOT_COUNT]; /* one that was not seen is all zero */
};

/* `to` becomes empty, or as `from`. Slots are large and few of them are seen. */
void open_minute_clear(struct open_minute *to);
void open_minute_copy(struct open_minute *to, const struct open_minute *from);

struct accountant {
	const struct config *config;
	struct rules rules;
	size_t slot_count;    /* those beyond the modes are used where rules are needed */
	int role[ROLE_COUNT]; /* channel of each role, or -1 */
	struct heat_setting heat;
	bool *is_input;           /* per channel: does a change of it end a piece? */
	bool *is_register;        /* per channel: does anything count by it? */
	bool *is_increment;       /* per channel: by adding up what it says? */
	const struct line *lines; /* per channel; NULL: all hold */

	struct mode_memory memory;
	enum flag compressor;
	bool cools; /* the operating mode may say so; else `work` is not looked at */
	enum work work;
	/* All before the first change at `before_ms`, since of equal times the last
	 * wins. */
	int64_t before_ms;
	struct mode_memory memory_before;
	enum flag compressor_before;
	enum work work_before;

	/* Rates in force since `since_ms`; stale until accountant_rates() when !fresh. */
	bool fresh;
	int64_t since_ms;
	int64_t until_ms; /* the mode changes by time alone */
	int slot;         /* enum mode, or enum slot */
	enum flag flow;   /* does water move? */
	double heat_w;    /* NaN = unknown */
	double sensitivity_w_per_k;
	double meter_w[METERS_MOST];
	double gross_w[METERS_MOST]; /* of differences: before `less` is taken off */

	struct open_minute open;
	const struct counted *counted[COUNTED_MOST]; /* NULL: not by registers */
	struct register_account registers[COUNTED_MOST];
	settlement_sink *settled; /* or NULL */
	void *settled_context;
	event_sink *happened; /* or NULL */
	void *happened_context;
};

void accountant_init(struct accountant *a, const struct config *config);
void accountant_release(struct accountant *a);
/* Forgets everything; pieces begin at `t_ms`. */
void accountant_reset(struct accountant *a, int64_t t_ms);

/* Works out the rates from the values held at `t_ms`, if they are stale. */
void accountant_rates(struct accountant *a, const struct held *held, int64_t t_ms);
/* Books the piece up to `t_ms` at the rates in force. Inputs of one record change at one
 * instant, so that most calls have nothing to book: these cost no call. */
void accountant_book_piece(struct accountant *a, const struct held *held, int64_t t_ms);
static inline void accountant_book(
	struct accountant *a, const struct held *held, int64_t t_ms)
{
	if (t_ms > a->since_ms)
		accountant_book_piece(a, held, t_ms);
}
/* An input changes at `t_ms`: call accountant_book() before the change, this after it. */
void accountant_change(struct accountant *a, const struct held *held, int64_t t_ms);
static inline void accountant_changed(
	struct accountant *a, const struct held *held, size_t channel, int64_t t_ms)
{
	/* Another input of the same record: nothing has been worked out since. */
	bool again = a->before_ms == t_ms && !a->fresh && !a->cools &&
		     a->role[ROLE_COMPRESSOR_FREQUENCY] != (int)channel;
	if (!again)
		accountant_change(a, held, t_ms);
}

/* A register channel was read, or has no value any more, at `t_ms`; after
 * accountant_changed(). Spans that close are answered to `settled`, events
 * to `happened`. */
void accountant_register(
	struct accountant *a, const struct held *held, size_t channel, int64_t t_ms);

/* What a row says of an increment counts for the span that it covers: from where the span
 * begins (after accountant_changed()) to where it ends (before the channel has another
 * value, or none; everything is booked up to there). */
void accountant_part_begins(struct accountant *a, size_t channel, int64_t t_ms);
void accountant_part_ends(struct accountant *a, const struct held *held, size_t channel,
	const struct register_part *part);

/* Spans of registers that are not over (engine_open_spans()). */
size_t accountant_open_spans(
	const struct accountant *a, struct open_span ret[static COUNTED_MOST]);

/* Which quantities the open minute knows for all of it (KNOWN_HEAT …). */
unsigned accountant_known(const struct accountant *a);
bool accountant_anything(const struct accountant *a);
void accountant_next_minute(struct accountant *a);
/* For the rules: the minute's row out of its accounts and its channels' means (false:
 * nothing of it tells), and its joules rounded as rows hold them, so that slots which
 * become one mode add up to what registers were told. */
bool accountant_row(const struct accountant *a, const struct minute_channel *channels,
	int64_t minute, struct rules_row *ret);
void accountant_round(struct accountant *a);
/* What was booked to slots goes to modes; without a minute (NULL) only the memory moves
 * on. */
void accountant_judged(
	struct accountant *a, const struct rules_verdict *verdict, struct open_minute *m);
/* The mode now as far as rules have confirmed it. */
enum mode accountant_mode(const struct accountant *a);
/* Nothing is known from here to a later minute's beginning. */
void accountant_skip(struct accountant *a, int64_t t_ms);

#endif
