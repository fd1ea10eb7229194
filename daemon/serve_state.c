/*
 * What the daemon knows of itself at a moment, for those who ask it: the present from its
 * memory alone, or besides what the store is asked for.
 */
#include "serve.h"

#include <heatbook/clock.h>

static void fill_clock(struct daemon *d, struct live_state *ret)
{
	struct stamper_state clock;
	stamper_state(d->stamper, &clock);
	ret->clock_state = clock_state_name(clock.state);
	ret->clock_since_ms = clock.since_ms;
	ret->clock_step_ms = clock.step_ms;
	ret->clock_stepped_ms = clock.stepped_ms;
	ret->clock_held = clock.held;
	ret->clock_broken =
		clock.state == CLOCK_STATE_BEHIND || clock.state == CLOCK_STATE_UNSET;
	if (clock.state == CLOCK_STATE_BEHIND)
		ret->clock_unsure_until_ms = clock.unsure_until_ms;
}

static void fill_link(struct daemon *d, struct live_state *ret)
{
	d->link = (struct subscriber_state){.state = LINK_OFF, .last_message_ms = -1};
	if (d->subscriber)
		subscriber_state(d->subscriber, &d->link);
	ret->broker_state = link_state_name(d->link.state);
	ret->broker_since_ms = d->link.since_ms;
	ret->broker_cause = d->link.cause;
	ret->messages = d->before.messages + d->link.messages;
	ret->last_message_ms = d->link.last_message_ms;
}

static void fill_tail(struct daemon *d, struct live_state *ret)
{
	struct tail_state tail;
	tail_state(d->tail, &tail);
	ret->refused = tail.refused;
	ret->tail_bytes = tail.bytes;
	ret->tail_bound_bytes = tail.bound_bytes;
}

/* What cannot be told stays 0. */
static void fill_store(struct daemon *d, struct live_state *ret)
{
	(void)store_damaged(d->store, ret->damaged, DAMAGED_SHOWN, &ret->damaged_shown,
		&ret->damaged_count);
	ret->store_bytes = store_bytes(d->store);
	(void)store_fact(d->store, FACT_JOURNAL_BYTES, &ret->journal_bytes);
	(void)store_minute_span(d->store, &ret->first_minute, &ret->last_minute);
	(void)store_dirty_days(d->store, &ret->dirty_days);
	(void)store_older_days(d->store, 0, INT64_MAX, &ret->older);
	ret->schema = store_schema(d->store);
}

void serve_keep_counts(struct daemon *d)
{
	struct live_state live = {0};
	live_present(d->live, stamper_now_ms(d->stamper), &live);
	d->before.unmatched += live.unmatched;
	d->before.repeated_keys += live.repeated_keys;
	d->before.bad += live.bad;
}

void serve_keep_messages(struct daemon *d)
{
	struct subscriber_state link = {0};
	if (d->subscriber)
		subscriber_state(d->subscriber, &link);
	d->before.messages += link.messages;
}

void serve_state(enum live_part part, struct live_state *ret, void *context)
{
	struct daemon *d = context;

	*ret = (struct live_state){.now_ms = stamper_now_ms(d->stamper)};
	ret->started_ms = ret->now_ms - (clock_boot_ms() - d->started_boot_ms);
	live_present(d->live, ret->now_ms, ret);
	ret->unmatched += d->before.unmatched;
	ret->repeated_keys += d->before.repeated_keys;
	ret->bad += d->before.bad;
	fill_link(d, ret);
	fill_tail(d, ret);
	fill_clock(d, ret);
	ret->commit_fault = d->commit_fault;
	ret->derive_fault = d->derive_fault[0] ? d->derive_fault : d->close_fault;
	ret->turn_ms_longest = d->turn_ms_longest > d->turn_ms_before ? d->turn_ms_longest
								      : d->turn_ms_before;
	ret->growth = d->growth;
	ret->store_damage = store_damage(d->store);
	if (part == LIVE_ALL)
		fill_store(d, ret);
}

void serve_present(struct live_state *ret, void *context)
{
	serve_state(LIVE_PRESENT, ret, context);
}
