/*
 * The accountant: rates from the signals in force, integrated over pieces of constant
 * inputs, booked to modes. Used by the engine alone.
 */
#ifndef ACCOUNT_ACCOUNTANT_H
#define ACCOUNT_ACCOUNTANT_H

#include "modes.h"
#include "register.h"

#include <heatbook/engine.h>
#include <heatbook/heat.h>

/* A channel's value as the engine holds it now. */
struct held {
	bool known;
	double value;
};

struct accountant {
	const struct config *config;
	int role[ROLE_COUNT]; /* channel of each role, or -1 */
	struct heat_setting heat;
	bool *is_input;    /* per channel: does a change of it end a piece? */
	bool *is_register; /* per channel: does anything count by it? */

	struct mode_memory memory;
	enum flag compressor;
	/* Both before the first change at `before_ms`, since of equal times the last
	 * wins. */
	int64_t before_ms;
	struct mode_memory memory_before;
	enum flag compressor_before;

	/* Rates in force since `since_ms`; stale until accountant_rates() when !fresh. */
	bool fresh;
	int64_t since_ms;
	int64_t until_ms; /* the mode changes by time alone */
	enum mode mode;
	double heat_w; /* NaN = unknown */
	double sensitivity_w_per_k;
	double meter_w[METERS_MOST];
	double gross_w[METERS_MOST]; /* of differences: before `less` is taken off */

	struct minute_mode modes[MODE_COUNT];        /* of the open minute */
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
/* Books the piece up to `t_ms` at the rates in force. */
void accountant_book(struct accountant *a, const struct held *held, int64_t t_ms);
/* An input changes at `t_ms`: call accountant_book() before the change, this after it. */
void accountant_changed(struct accountant *a, const struct held *held, int64_t t_ms);

/* A register channel was read, or has no value any more, at `t_ms`; after
 * accountant_changed(). Spans that close are answered to `settled`, events
 * to `happened`. */
void accountant_register(
	struct accountant *a, const struct held *held, size_t channel, int64_t t_ms);

/* Which quantities the open minute knows for all of it (KNOWN_HEAT …). */
unsigned accountant_known(const struct accountant *a);
bool accountant_anything(const struct accountant *a);
void accountant_next_minute(struct accountant *a);
/* Nothing is known from here to a later minute's beginning. */
void accountant_skip(struct accountant *a, int64_t t_ms);

#endif
