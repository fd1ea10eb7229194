/*
 * The pass over time. See engine.h; the carried state's bytes are engine_state.c's.
 *
 * Each channel is integrated lazily: only when its value changes, its hold ends or the
 * minute closes. A hold ends at the next reading, at the channel's own limit, or at the
 * death of its source, which every sign of life pushes back; so the end is worked out
 * when time is about to pass it, and `bound_ms` (never later than the earliest end) keeps
 * that cheap.
 *
 * After a subscription readings are held for some seconds (burst.h), so that time stands
 * still until it is known which of them count; who asks is told of the time that passed.
 *
 * Where channels go along lines between readings, the engine goes some minutes behind
 * these (between.h).
 *
 * Where rules must tell modes, a closed minute waits for those that follow until it is
 * judged, and is given to the sink RULES_LAG_MIN later. What waits is no carried state:
 * who restores a state at a minute's edge does not get the minutes before it.
 *
 * Invariants: readings come in canonical order; now_ms never goes back; the open minute
 * begins at a whole minute; an unknown channel's value and time are zero, so that equal
 * states are equal bytes; values held are corrected, those of the state are as they were
 * said.
 */
#include "engine_core.h"

#include <assert.h>
#include <math.h>
#include <string.h>

/* When the source's silence ends its holds: INT64_MAX never, NEVER_MS already. */
static int64_t source_end_ms(const struct engine *e, int source)
{
	if (source < 0)
		return INT64_MAX;
	const struct source_life *life = &e->sources[source];
	int64_t silent = e->config->sources[source].silent_after_ms;
	if (life->gone || life->last_ms == NEVER_MS)
		return NEVER_MS;
	return silent < 0 ? INT64_MAX : life->last_ms + silent;
}

static int64_t hold_end_ms(const struct engine *e, size_t c)
{
	const struct signal *signal = &e->signals[c];
	if (signal->exact)
		return signal->end_ms;
	int64_t source = source_end_ms(e, signal->source);
	return signal->end_ms < source ? signal->end_ms : source;
}

static bool on_line(const struct engine *e, size_t c)
{
	return e->between && between_lines(e->between)[c].on;
}

/* At each reading: most plants have no line at all. */
static inline void integrate(struct engine *e, size_t c, int64_t t_ms)
{
	if (on_line(e, c))
		signal_integrate_line(
			&e->signals[c], &e->held[c], &between_lines(e->between)[c], t_ms);
	else
		signal_integrate(&e->signals[c], &e->held[c], t_ms);
}

/* An increment that counts for just the time that it holds. */
static bool is_part(const struct engine *e, size_t c)
{
	return e->accountant.is_increment[c] && e->held[c].known && e->signals[c].exact;
}

/* The last word of an instant replaces those before it: they count nothing. */
static void end_part(struct engine *e, size_t c, int64_t t_ms)
{
	const struct signal *signal = &e->signals[c];
	const struct register_part part = {signal->t_ms, t_ms, t_ms < signal->end_ms};
	if (is_part(e, c) && part.begin_ms < t_ms)
		accountant_part_ends(&e->accountant, e->held, c, &part);
}

/* Something about channel `c` changes now: its value, or that it has none. */
static void change_for(struct engine *e, size_t c, bool known, double value, int64_t t_ms,
	struct term term)
{
	bool input = e->accountant.is_input[c];
	if (input)
		accountant_book(&e->accountant, e->held, t_ms);
	integrate(e, c, t_ms);
	end_part(e, c, t_ms);
	e->held[c] = (struct held){
		known, known ? corrector_take(&e->corrector, c, value) : 0.0};
	signal_hold(&e->signals[c], known, t_ms, term);
	if (known && hold_end_ms(e, c) < e->bound_ms)
		e->bound_ms = hold_end_ms(e, c);
	if (input)
		accountant_changed(&e->accountant, e->held, c, t_ms);
	if (!known && e->accountant.is_register[c])
		accountant_register(&e->accountant, e->held, c, t_ms);
	if (e->between || e->scouts)
		between_changed(e, c, value, t_ms);
}

static void change(struct engine *e, size_t c, bool known, double value, int64_t t_ms)
{
	struct term usual = {.source = e->config->channels[c].source};
	change_for(e, c, known, value, t_ms, usual);
}

/* What was said holds on and is corrected otherwise from now on. */
static void correct(struct engine *e, int64_t t_ms)
{
	corrector_move(&e->corrector, t_ms);
	for (size_t c = 0; c < e->config->channel_count; c++) {
		bool input = e->accountant.is_input[c];
		if (!e->held[c].known)
			continue;
		double value = corrector_value(&e->corrector, c);
		if (value == e->held[c].value && !on_line(e, c))
			continue;
		if (input)
			accountant_book(&e->accountant, e->held, t_ms);
		integrate(e, c, t_ms);
		e->held[c].value = value;
		if (input)
			accountant_changed(&e->accountant, e->held, c, t_ms);
	}
	if (e->between)
		between_correct(e);
}

static void find_bound(struct engine *e)
{
	e->bound_ms = INT64_MAX;
	for (size_t c = 0; c < e->config->channel_count; c++) {
		if (!e->held[c].known)
			continue;
		int64_t end = hold_end_ms(e, c);
		if (end < e->bound_ms)
			e->bound_ms = end;
	}
}

static void end_holds(struct engine *e, int64_t t_ms, bool parts)
{
	for (size_t c = 0; c < e->config->channel_count; c++)
		if (e->held[c].known && hold_end_ms(e, c) <= t_ms &&
			(parts || !is_part(e, c)))
			change(e, c, false, 0.0, t_ms);
}

static void give(struct engine *e, int64_t minute, unsigned known,
	const struct minute_channel *channels, const struct minute_mode *modes)
{
	const struct minute made = {minute, channels, modes, known};
	if (e->sink)
		e->sink(&made, e->context);
}

/* Judges what is old enough; the minutes of a restored state that were given before have
 * rows in it, but nothing that waits. */
static void judge(struct engine *e)
{
	int64_t minute = e->minute - RULES_LAG_MIN;
	struct rules_verdict verdict = rules_judge(&e->accountant.rules, minute);
	struct waiting_minute *first = e->waiting[0];
	bool waits = e->waiting_count > 0 && first->minute == minute;

	accountant_judged(&e->accountant, &verdict, waits ? &first->accounts : NULL);
	if (!waits)
		return;
	give(e, minute, first->known, first->channels, first->accounts.slots);
	e->waiting_count--;
	/* NOLINTNEXTLINE(bugprone-sizeof-expression): pointers */
	memmove(e->waiting, e->waiting + 1, RULES_LAG_MIN * sizeof(*e->waiting));
	e->waiting[RULES_LAG_MIN] = first; /* to be used again */
}

/* The open minute is closed: its row is what earlier ones are judged by. */
static void wait_for_judgement(struct engine *e, bool any)
{
	struct rules_row row;
	if (accountant_row(&e->accountant, e->out, e->minute, &row))
		rules_add(&e->accountant.rules, &row);
	accountant_round(&e->accountant);
	if (any) {
		struct waiting_minute *w = e->waiting[e->waiting_count++];
		w->minute = e->minute;
		w->known = accountant_known(&e->accountant);
		open_minute_copy(&w->accounts, &e->accountant.open);
		memcpy(w->channels, e->out,
			e->config->channel_count * sizeof(*w->channels));
	}
	judge(e);
}

static bool all_judged(const struct engine *e)
{
	return e->waiting_count == 0 && rules_idle(&e->accountant.rules);
}

static void close_minute(struct engine *e)
{
	int64_t end_ms = (e->minute + 1) * MS_PER_MIN;
	bool any = false;

	accountant_book(&e->accountant, e->held, end_ms);
	for (size_t c = 0; c < e->config->channel_count; c++) {
		integrate(e, c, end_ms);
		signal_close(&e->signals[c], &e->out[c]);
		any |= e->out[c].known_ms > 0;
	}
	any |= accountant_anything(&e->accountant);
	if (e->waiting)
		wait_for_judgement(e, any);
	else if (any)
		give(e, e->minute, accountant_known(&e->accountant), e->out,
			e->accountant.open.slots);
	accountant_next_minute(&e->accountant);
	e->minute++;
}

bool engine_holds_nothing(const struct engine *e)
{
	if (!all_judged(e))
		return false;
	for (size_t c = 0; c < e->config->channel_count; c++)
		if (e->held[c].known)
			return false;
	return true;
}

/* Nothing holds and nothing was known in the open minute: time can be skipped. */
static bool empty(const struct engine *e)
{
	for (size_t c = 0; c < e->config->channel_count; c++)
		if (e->held[c].known || e->signals[c].known_ms > 0)
			return false;
	return !accountant_anything(&e->accountant) && all_judged(e);
}

static void skip_to(struct engine *e, int64_t t_ms)
{
	e->minute = floor_div(t_ms, MS_PER_MIN);
	accountant_skip(&e->accountant, t_ms);
	for (size_t c = 0; c < e->config->channel_count; c++)
		e->signals[c].since_ms = t_ms;
}

static void advance(struct engine *e, int64_t t_ms)
{
	while (e->now_ms < t_ms) {
		int64_t edge = (e->minute + 1) * MS_PER_MIN;
		int64_t next = edge;

		accountant_rates(&e->accountant, e->held, e->now_ms);
		if (e->bound_ms <= next || e->bound_ms <= e->now_ms)
			find_bound(e);
		if (e->bound_ms < next)
			next = e->bound_ms;
		if (e->accountant.until_ms < next)
			next = e->accountant.until_ms;
		if (e->corrector.next_ms < next)
			next = e->corrector.next_ms;
		if (next < e->now_ms)
			next = e->now_ms; /* a limit that a new configuration made shorter
					   */
		if (next > t_ms)
			break;
		e->now_ms = next;
		if (e->accountant.until_ms <= next) {
			accountant_book(&e->accountant, e->held, next);
			e->accountant.fresh = false;
		}
		bool ends = e->bound_ms <= next;
		if (ends)
			end_holds(e, next, next < edge);
		if (e->corrector.next_ms <= next)
			correct(e, next);
		if (next == edge)
			close_minute(e);
		if (ends && next == edge)
			end_holds(e, next, true); /* of rows up to the edge */
		if (t_ms - next > MS_PER_MIN && empty(e))
			skip_to(e, floor_div(t_ms, MS_PER_MIN) * MS_PER_MIN);
	}
	e->now_ms = t_ms > e->now_ms ? t_ms : e->now_ms;
	if (e->clocks.due_ms <= e->now_ms)
		own_clocks_close(&e->clocks, e->accountant.happened,
			e->accountant.happened_context);
}

static void release_waiting(struct engine *e, int source, int64_t t_ms)
{
	for (size_t c = 0; c < e->config->channel_count; c++) {
		struct signal *signal = &e->signals[c];
		if (!signal->waiting || e->config->channels[c].source != source)
			continue;
		signal->waiting = false;
		change(e, c, true, signal->waiting_value, t_ms);
	}
}

static void revive(struct engine *e, int source, int64_t t_ms)
{
	struct source_life *life = &e->sources[source];
	life->gone = false;
	life->last_ms = t_ms;
	release_waiting(e, source, t_ms);
}

static inline void alive(struct engine *e, int source, int64_t t_ms)
{
	/* Of another reading of the same record nothing waits. */
	if (source >= 0 &&
		(e->sources[source].gone || e->sources[source].last_ms != t_ms))
		revive(e, source, t_ms);
}

static void gone(struct engine *e, int source, int64_t t_ms)
{
	e->sources[source].gone = true;
	for (size_t c = 0; c < e->config->channel_count; c++) {
		struct signal *signal = &e->signals[c];
		if (e->config->channels[c].source == source)
			signal->waiting = false;
		if (e->held[c].known && !signal->exact && signal->source == source)
			change(e, c, false, 0.0, t_ms);
	}
}

/* The clock was set forward: what was true in the time stepped over nobody knows, and who
 * was alive before it says nothing about what follows. */
static void stepped_forward(struct engine *e, int64_t t_ms)
{
	for (size_t s = 0; s < e->config->source_count; s++)
		e->sources[s].last_ms = NEVER_MS;
	for (size_t c = 0; c < e->config->channel_count; c++) {
		e->signals[c].waiting = false;
		if (e->held[c].known)
			change(e, c, false, 0.0, t_ms);
	}
}

/* What a register says now, or at the time that its payload names. */
static void count(struct engine *e, const struct reading *r)
{
	if (r->kind != READING_VALUE || !e->accountant.is_register[r->channel])
		return;
	if (is_part(e, r->channel))
		accountant_part_begins(&e->accountant, r->channel, r->t_ms);
	else
		accountant_register(&e->accountant, e->held, r->channel, r->t_ms);
}

/* A retained word: of unknown age. A state counts from now if its source is alive, else
 * from the source's next sign of life; a gauge never (unless it bears its own time). */
static void feed_retained(struct engine *e, const struct reading *r)
{
	const struct channel_config *channel = &e->config->channels[r->channel];
	struct signal *signal = &e->signals[r->channel];

	if (channel->retained == RETAINED_IGNORE && channel->time == TIME_ARRIVAL)
		return;
	signal->waiting = false;
	if (r->kind == READING_NOVALUE) {
		change(e, r->channel, false, 0.0, r->t_ms);
		return;
	}
	if (source_end_ms(e, channel->source) > r->t_ms) {
		change(e, r->channel, true, r->value, r->t_ms);
		if (channel->time == TIME_PAYLOAD)
			count(e, r);
		return;
	}
	signal->waiting = true;
	signal->waiting_value = r->value;
}

static void tell(const struct engine *e, enum event_kind kind, int64_t t_ms,
	uint16_t subject, double after)
{
	const struct event event = {.kind = kind,
		.t_ms = t_ms,
		.made_ms = t_ms,
		.subject = subject,
		.before = (double)NAN,
		.after = after};
	if (e->accountant.happened)
		e->accountant.happened(&event, e->accountant.happened_context);
}

/* Of link facts only the clock's step forward decides rows; all are told. */
static void take_fact(struct engine *e, const struct reading *r)
{
	static const int kinds[RECORD_KIND_COUNT] = {
		[RECORD_START] = EVENT_STARTED,
		[RECORD_STOP] = EVENT_STOPPED,
		[RECORD_SUBSCRIBED] = EVENT_LINK_SUBSCRIBED,
		[RECORD_LOST] = EVENT_LINK_LOST,
		[RECORD_REFUSED] = EVENT_MESSAGES_REFUSED,
		[RECORD_CLOCK_STEP] = EVENT_CLOCK_STEPPED,
	};
	if (r->channel == RECORD_CLOCK_STEP && r->value > 0)
		stepped_forward(e, r->t_ms);
	if (r->channel < RECORD_KIND_COUNT && kinds[r->channel])
		tell(e, (enum event_kind)kinds[r->channel], r->t_ms, EVENT_SUBJECT_GONE,
			r->value);
}

static void take_bad(struct engine *e, const struct reading *r)
{
	int64_t hour = floor_div(r->t_ms, MS_PER_HOUR);
	if (e->told_hour[r->channel] == hour)
		return;
	e->told_hour[r->channel] = hour;
	tell(e, EVENT_PAYLOAD_BAD, r->t_ms, r->channel, (double)r->reason);
}

/* What is no word of a channel. */
static void take_sign(struct engine *e, const struct reading *r)
{
	if (r->kind == READING_FACT)
		take_fact(e, r);
	else if (r->kind == READING_ALIVE)
		alive(e, r->channel, r->t_ms);
	else
		gone(e, r->channel, r->t_ms);
}

static void take(struct engine *e, const struct reading *r)
{
	if (r->t_ms > e->now_ms)
		advance(e, r->t_ms);
	if (r->kind < READING_VALUE) {
		take_sign(e, r);
		return;
	}
	const struct channel_config *channel = &e->config->channels[r->channel];
	int source = r->table ? r->table - 1 : channel->source;
	if (!r->retained)
		alive(e, source, r->t_ms);
	if (r->own_time)
		own_clocks_take(&e->clocks, r);
	if (r->kind == READING_BAD)
		take_bad(e, r);
	if (r->retained) {
		if (r->kind != READING_BAD)
			feed_retained(e, r);
		return;
	}
	enum reading_kind kind = doubt_judge(&e->doubts[r->channel], channel,
		e->held[r->channel].known, e->corrector.raw[r->channel], r);
	if (kind == READING_BAD)
		return;
	e->signals[r->channel].waiting = false;
	change_for(e, r->channel, kind == READING_VALUE, r->value, r->t_ms,
		(struct term){source, r->own_time ? 0 : r->exact_ms});
	if (kind == READING_VALUE)
		count(e, r);
}

/* What was held since a subscription is taken, but for what was superseded. */
static void end_burst(struct engine *e)
{
	int64_t told_ms = e->burst.told_ms;
	for (size_t i = 0; i < e->burst.count; i++)
		if (!e->burst.held[i].superseded)
			take(e, &e->burst.held[i].reading);
	burst_reset(&e->burst);
	if (told_ms > e->now_ms)
		advance(e, told_ms);
}

static inline void take_on(struct engine *e, const struct reading *r)
{
	if (e->burst.count == 0 && !burst_begins(r)) {
		take(e, r);
		return;
	}
	if (burst_holds(&e->burst, r))
		return;
	end_burst(e);
	if (!burst_holds(&e->burst, r))
		take(e, r);
}

void engine_take_on(struct engine *e, const struct reading *r)
{
	take_on(e, r);
}

void engine_feed(struct engine *e, const struct reading *r)
{
	assert(r->t_ms >= engine_told_ms(e));
	if (e->between)
		between_feed(e, r);
	else
		take_on(e, r);
}

void engine_pass(struct engine *e, int64_t t_ms)
{
	if (e->burst.count > 0 && burst_lasts(&e->burst, t_ms))
		return;
	if (e->burst.count > 0)
		end_burst(e);
	advance(e, t_ms);
}

void engine_advance(struct engine *e, int64_t t_ms)
{
	if (e->between)
		between_advance(e, t_ms);
	else
		engine_pass(e, t_ms);
}
