/*
 * The rules of energy registers.
 *
 * A reading is compared with the last one that was believed: d = v - last, and what is
 * believed at most is the meter's greatest power times the time between, and two steps.
 *
 *  - below zero, or at or above the modulus: not a reading;
 *  - 0 <= d <= limit: believed;
 *  - a fall of up to two steps, or of four units in the last place of a 32-bit float:
 *    jitter, the last reading stands;
 *  - a fall of up to the limit, where the register is said to fall: believed;
 *  - over the modulus, where one is configured: added. None is ever guessed;
 *  - everything else waits: three readings that agree with each other, or two that lie
 *    ten minutes apart, are the register's new beginning, and nothing is added for the
 *    time before the first of them; one that fits the last believed reading drops them.
 *    Where the open span as a whole can hold what they say, the last reading was an old
 *    one that the meter's reader repeated: they are believed instead. It can by the
 *    greatest power times its time and two steps; where power gives it a shape, by twice
 *    what power said and two steps. A step is then what the readings show it to be: they
 *    lie one tenth of a kilowatt-hour apart, one whole or ten, both on multiples of it,
 *    also where the modulus lies between them.
 *
 * The open span begins at a reading and closes at a change: at the first one with 20
 * steps or more, or after three hours. Without usable power (known for less than half of
 * the span) it closes at any report after a day: an unused device then is known to have
 * used nothing. Where reports were absent beyond their limit and power was not there
 * either, the span ends at the last report before and the time between is bridged.
 *
 * Increments that say for which span they count (rows of a table) are exact: none is
 * partial, and a gap between them ends the open span at the one and begins it at the
 * other. One of 20 steps or more stands alone, so that an hour in which little was used
 * takes nothing of the next, and after an hour the span closes, also when nothing was
 * used.
 *
 * What began anew, went over its modulus or was refused is told as an event.
 *
 * Nothing is ever carried beyond a reading. Of readings of one instant the larger counts
 * within two steps; one further off waits.
 */
#include "register.h"

#include <heatbook/calendar.h>

#include <math.h>
#include <string.h>

#define NEVER            INT64_MIN
#define STEPS_ENOUGH     20
#define STEPS_JITTER     2
#define STEPS_SLACK      2
#define TIMES_POWER_MOST 2.0 /* own judgement: no meter is off by as much */
#define PLACES_JITTER    4.0f
#define CLOSES_AFTER_MS  (3 * MS_PER_HOUR)
#define PARTS_CLOSE_MS   MS_PER_HOUR /* a step then is some watts at most */
#define SETTLES_AFTER_MS MS_PER_DAY
#define WAITS_MOST       3
#define WAITS_MS         (10 * MS_PER_MIN)
#define TURNS_WITHIN_MS  MS_PER_HOUR /* a daily register's clock may be so late */
#define TELLS_EVERY_MS   MS_PER_HOUR /* a register that is mad does not fill the store */

int64_t settlement_share(int64_t j, int64_t weight, int64_t whole)
{
	__extension__ typedef __int128 wide;
	wide product = (wide)j * weight, quotient = product / whole;
	bool below = product % whole != 0 && (product < 0) != (whole < 0);
	return (int64_t)(below ? quotient - 1 : quotient);
}

void register_init(struct register_account *a, const struct register_config *config)
{
	a->config = config;
	register_reset(a, 0);
}

void register_reset(struct register_account *a, int64_t minute)
{
	memset(&a->state, 0, sizeof(a->state));
	a->state.lapsed_ms = a->state.wait_lapsed_ms = a->state.refused_ms = NEVER;
	register_minute(a, minute);
}

void register_minute(struct register_account *a, int64_t minute)
{
	a->minute = minute;
	a->minute_j = 0.0;
	a->minute_ms = 0;
}

static void mark_rows(struct register_mark *m, int64_t minute, int64_t j)
{
	if (m->t_ms <= minute * MS_PER_MIN)
		m->rows_j += j;
}

void register_rows(struct register_account *a, int64_t j)
{
	struct register_state *s = &a->state;
	if (!s->begun)
		return;
	mark_rows(&s->begin, a->minute, j);
	mark_rows(&s->last, a->minute, j);
	if (s->waiting)
		mark_rows(&s->wait, a->minute, j);
}

static void mark_power(struct register_mark *m, int64_t minute, double joules, int64_t ms)
{
	m->since_j += joules;
	m->since_ms += ms;
	if (floor_div(m->t_ms, MS_PER_MIN) != minute)
		return;
	m->head_j += joules;
	m->head_ms += ms;
}

void register_power(struct register_account *a, double joules, int64_t ms)
{
	struct register_state *s = &a->state;
	a->minute_j += joules;
	a->minute_ms += ms;
	if (!s->begun)
		return;
	mark_power(&s->begin, a->minute, joules, ms);
	mark_power(&s->last, a->minute, joules, ms);
	if (s->waiting)
		mark_power(&s->wait, a->minute, joules, ms);
}

void register_lapse(struct register_account *a, int64_t t_ms)
{
	struct register_state *s = &a->state;
	if (s->begun && s->lapsed_ms == NEVER)
		s->lapsed_ms = t_ms;
	if (s->waiting && s->wait_lapsed_ms == NEVER)
		s->wait_lapsed_ms = t_ms;
}

static struct register_mark mark_at(
	const struct register_account *a, int64_t t_ms, int64_t total_j)
{
	return (struct register_mark){.t_ms = t_ms,
		.total_j = total_j,
		.before_j = a->minute_j,
		.before_ms = a->minute_ms};
}

static int64_t most_j(const struct register_config *r, int64_t ms)
{
	double most = r->most_w * (double)ms / 1000.0;
	return most < 4e18 ? (int64_t)most : INT64_C(4000000000000000000);
}

static int64_t limit_j(const struct register_config *r, int64_t ms)
{
	return most_j(r, ms) + STEPS_SLACK * r->step_j;
}

static bool is_jitter(const struct register_config *r, int64_t last_j, int64_t fall_j)
{
	float last = (float)last_j;
	double place = (double)(nextafterf(last, HUGE_VALF) - last);
	double most = (double)PLACES_JITTER * place;
	return fall_j <= STEPS_JITTER * r->step_j || (double)fall_j <= most;
}

/* Could `raw_j` follow `last_j` so much later? */
static bool agrees(
	const struct register_config *r, int64_t last_j, int64_t raw_j, int64_t ms)
{
	int64_t d = raw_j - last_j;
	if (d >= 0 || r->falls)
		return llabs(d) <= limit_j(r, ms);
	return is_jitter(r, last_j, -d);
}

struct closing {
	struct register_account *a;
	int64_t t_ms;
	const struct register_sinks *sinks;
	int64_t made_ms;
	bool part; /* an increment that says for which span it counts */
};

/* ---- events ---- */

static void happened(const struct closing *c, enum event_kind kind, int64_t t_ms,
	int64_t before_j, int64_t after_j)
{
	const struct event e = {.kind = kind,
		.t_ms = t_ms,
		.made_ms = c->made_ms,
		.before = (double)before_j / J_PER_KWH,
		.after = (double)after_j / J_PER_KWH};
	c->sinks->happened(&e, c->sinks->context);
}

static void refuse(const struct closing *c, int64_t t_ms, int64_t raw_j)
{
	struct register_state *s = &c->a->state;
	if (s->refused_ms != NEVER && c->t_ms - s->refused_ms < TELLS_EVERY_MS)
		return;
	s->refused_ms = c->t_ms;
	happened(c, EVENT_REGISTER_REFUSED, t_ms, s->raw_j, raw_j);
}

/* Those that waited turned out to be none. */
static void refuse_waiting(const struct closing *c)
{
	const struct register_state *s = &c->a->state;
	if (s->waiting)
		refuse(c, s->wait.t_ms, s->wait_from_j);
}

/* ---- spans ---- */

/* The parts of power in the first and the last minute of a span. */
static void set_edges(struct settlement *s, const struct register_mark *from,
	const struct register_mark *to)
{
	bool one = floor_div(from->t_ms, MS_PER_MIN) == floor_div(to->t_ms, MS_PER_MIN);
	s->head_j = llround(one ? to->before_j - from->before_j : from->head_j);
	s->head_ms = one ? to->before_ms - from->before_ms : from->head_ms;
	s->tail_j = one ? 0 : llround(to->before_j);
	s->tail_ms = one ? 0 : to->before_ms;
}

static void settle(const struct closing *c, enum settlement_kind kind,
	const struct register_mark *from, const struct register_mark *to, int64_t from_j,
	int64_t to_j)
{
	bool counts = kind < SETTLEMENT_RESET;
	struct settlement s = {.made_ms = c->made_ms,
		.kind = (int64_t)kind,
		.begin_ms = from->t_ms,
		.end_ms = to->t_ms,
		.j = counts ? to->total_j - from->total_j : 0,
		.from_j = from_j,
		.to_j = to_j,
		.power_j = from->rows_j - to->rows_j,
		.power_ms = from->since_ms - to->since_ms,
		.first = counts && c->a->state.first};
	if (from->t_ms >= to->t_ms && counts)
		return;
	set_edges(&s, from, to);
	c->sinks->settled(&s, c->sinks->context);
}

/* Was power known for half of the time between two marks, and does it give a shape? */
static bool has_shape(const struct register_mark *from, const struct register_mark *to)
{
	int64_t known_ms = from->since_ms - to->since_ms;
	return known_ms > 0 && 2 * known_ms >= to->t_ms - from->t_ms;
}

static void settle_by_power(const struct closing *c, const struct register_mark *from,
	const struct register_mark *to, int64_t to_j)
{
	settle(c, has_shape(from, to) ? SETTLEMENT_SHAPED : SETTLEMENT_SPREAD, from, to,
		c->a->state.from_j, to_j);
}

/* The open span ends at the last believed reading, if there is anything to it. */
static void close_at_last(const struct closing *c)
{
	const struct register_state *s = &c->a->state;
	if (s->last.t_ms > s->begin.t_ms)
		settle_by_power(c, &s->begin, &s->last, s->raw_j);
}

static void open_at(struct register_state *s, const struct register_mark *mark)
{
	s->begin = *mark;
	s->from_j = s->raw_j;
	s->first = 0;
}

/* Equal states shall be equal bytes. */
static void forget_waiting(struct register_state *s)
{
	s->waiting = 0;
	s->wait_raw_j = s->wait_from_j = s->wait_ms = 0;
	s->wait_lapsed_ms = NEVER;
	memset(&s->wait, 0, sizeof(s->wait));
}

/* May the open span end with a change of `d_j` that makes it `counted_j`? */
static bool is_enough(const struct closing *c, int64_t d_j, int64_t counted_j)
{
	int64_t span_ms = c->t_ms - c->a->state.begin.t_ms;
	bool plenty = llabs(counted_j) >= STEPS_ENOUGH * c->a->config->step_j;
	if (c->part)
		return span_ms > 0 && (plenty || span_ms >= PARTS_CLOSE_MS);
	return d_j != 0 && span_ms > 0 && (plenty || span_ms >= CLOSES_AFTER_MS);
}

/* A reading was believed: `s->last` still is the one before. */
static void take(const struct closing *c, int64_t raw_j, int64_t d_j)
{
	struct register_account *a = c->a;
	struct register_state *s = &a->state;
	struct register_mark now = mark_at(a, c->t_ms, s->last.total_j + d_j);
	int64_t span_ms = now.t_ms - s->begin.t_ms;
	bool lapsed = s->lapsed_ms != NEVER && s->lapsed_ms < c->t_ms;

	s->lapsed_ms = NEVER;
	if (!agrees(a->config, s->wait_raw_j, raw_j, c->t_ms - s->wait_ms))
		refuse_waiting(c);
	forget_waiting(s);
	if (lapsed && !has_shape(&s->last, &now)) {
		close_at_last(c);
		if (s->last.t_ms > s->begin.t_ms)
			s->first = 0;
		settle(c, SETTLEMENT_BRIDGED, &s->last, &now, s->raw_j, raw_j);
		s->raw_j = raw_j;
		open_at(s, &now);
		s->last = now;
		return;
	}
	s->raw_j = raw_j;
	s->last = now;
	bool enough = is_enough(c, d_j, now.total_j - s->begin.total_j);
	if (!enough && (span_ms < SETTLES_AFTER_MS || has_shape(&s->begin, &now)))
		return;
	settle_by_power(c, &s->begin, &now, raw_j);
	open_at(s, &now);
}

/* ---- rules ---- */

/* The meter counts in larger steps than it is said to, where two readings say so. */
static int64_t step_seen_j(const struct register_config *r, int64_t from_j, int64_t to_j)
{
	static const int64_t steps_j[] = {360000, 3600000, 36000000};
	for (size_t i = 0; i < ARRAY_LEN(steps_j); i++)
		if (to_j - from_j == steps_j[i] && from_j % steps_j[i] == 0 &&
			steps_j[i] > r->step_j)
			return steps_j[i];
	return r->step_j;
}

/* From the last tenth of the modulus to its first one, in whole numbers. */
static bool goes_over(const struct closing *c, int64_t raw_j)
{
	int64_t modulus_j = c->a->config->modulus_j;
	return modulus_j > 0 && c->a->state.raw_j > modulus_j / 10 * 9 &&
	       raw_j < modulus_j / 10;
}

/* Could the open span hold `d_j` on top of what it does? An exchanged meter could pass
 * for one that was not read for a while; where power is known it seldom can. */
static bool span_can_hold(const struct closing *c, int64_t d_j)
{
	const struct register_state *s = &c->a->state;
	const struct register_config *r = c->a->config;
	const struct register_mark now = {.t_ms = c->t_ms};
	int64_t step_j = step_seen_j(r, s->raw_j, s->raw_j + d_j);
	int64_t j = s->last.total_j - s->begin.total_j + d_j - STEPS_SLACK * step_j;

	if (d_j <= 0 || j > most_j(r, c->t_ms - s->begin.t_ms))
		return false;
	return !has_shape(&s->begin, &now) ||
	       (double)j <= TIMES_POWER_MOST * s->begin.since_j;
}

/* Readings that waited are the new beginning: what they counted themselves is added. */
static void begin_anew(const struct closing *c, int64_t raw_j)
{
	struct register_state *s = &c->a->state;
	int64_t total_j = s->last.total_j, old_j = s->raw_j;
	bool near_nothing =
		s->wait_from_j < old_j &&
		s->wait_from_j <= limit_j(c->a->config, s->wait.t_ms - s->last.t_ms);

	if (s->last.total_j != s->begin.total_j)
		close_at_last(c);
	settle(c, near_nothing ? SETTLEMENT_RESET : SETTLEMENT_REPLACED, &s->last,
		&s->wait, old_j, s->wait_from_j);
	happened(c, near_nothing ? EVENT_REGISTER_RESET : EVENT_REGISTER_REPLACED,
		s->wait.t_ms, old_j, s->wait_from_j);
	s->wait.total_j = total_j;
	s->raw_j = s->wait_from_j;
	open_at(s, &s->wait);
	s->last = s->begin;
	s->lapsed_ms = s->wait_lapsed_ms;
	forget_waiting(s);
	int64_t d = raw_j - s->raw_j;
	bool counts = d > 0 || c->a->config->falls;
	take(c, counts ? raw_j : s->raw_j, counts ? d : 0);
}

static enum register_verdict wait(const struct closing *c, int64_t raw_j)
{
	struct register_state *s = &c->a->state;
	bool goes_on = s->waiting &&
		       agrees(c->a->config, s->wait_raw_j, raw_j, c->t_ms - s->wait_ms);

	if (goes_on && c->t_ms == s->wait_ms)
		return REGISTER_WAITS; /* the same again */
	if (!goes_on) {
		refuse_waiting(c);
		s->wait = mark_at(c->a, c->t_ms, 0);
		s->wait_from_j = raw_j;
		s->waiting = 0;
		s->wait_lapsed_ms = NEVER;
	}
	s->waiting++;
	s->wait_raw_j = raw_j;
	s->wait_ms = c->t_ms;
	if (s->waiting < WAITS_MOST &&
		(s->waiting < 2 || c->t_ms - s->wait.t_ms < WAITS_MS))
		return REGISTER_WAITS;
	bool over = goes_over(c, raw_j);
	int64_t d_j = raw_j - s->raw_j + (over ? c->a->config->modulus_j : 0);
	if (span_can_hold(c, d_j)) {
		if (over)
			happened(c, EVENT_REGISTER_WRAPPED, s->wait.t_ms, s->raw_j,
				s->wait_from_j);
		forget_waiting(s);
		take(c, raw_j, d_j);
		return over ? REGISTER_WRAPPED : REGISTER_TAKEN;
	}
	begin_anew(c, raw_j);
	return REGISTER_ANEW;
}

/* No day makes in less than half of the time just what yesterday had: it is yesterday's
 * reading, which the meter's reader repeats. */
static bool says_again(const struct register_account *a, int64_t t_ms,
	int64_t midnight_ms, int64_t raw_j)
{
	const struct register_mark *last = &a->state.last;
	int64_t before_ms = calendar_day_start(calendar_date(midnight_ms - 1));
	return raw_j > 0 && raw_j == a->state.raw_j && last->t_ms > before_ms &&
	       2 * (t_ms - midnight_ms) < last->t_ms - before_ms;
}

/* Where a daily register began to count what it shows now, or NEVER when it did not
 * begin anew since the last reading. */
static int64_t turned_ms(const struct register_account *a, int64_t t_ms, int64_t raw_j)
{
	const struct register_state *s = &a->state;
	int64_t midnight_ms = calendar_day_start(calendar_date(t_ms));
	int64_t fall_j = s->raw_j - raw_j;
	bool fell = fall_j > 0 && !is_jitter(a->config, s->raw_j, fall_j);

	if (s->last.t_ms < midnight_ms && says_again(a, t_ms, midnight_ms, raw_j))
		return NEVER;
	if (s->last.t_ms < midnight_ms)
		return fell || t_ms - midnight_ms >= TURNS_WITHIN_MS ? midnight_ms
								     : NEVER;
	return fell && t_ms - midnight_ms < 2 * TURNS_WITHIN_MS ? s->last.t_ms : NEVER;
}

/* Between the last reading and midnight nobody counted. */
static enum register_verdict turn(const struct closing *c, int64_t from_ms, int64_t raw_j)
{
	struct register_state *s = &c->a->state;
	struct register_mark from = s->last;

	close_at_last(c);
	if (from_ms != from.t_ms) { /* on a minute's edge */
		from = (struct register_mark){.t_ms = from_ms, .total_j = from.total_j};
		from.since_j = s->last.since_j;
		from.rows_j = s->last.rows_j;
		from.since_ms = s->last.since_ms;
		if (from.since_ms > c->t_ms - from_ms)
			from.since_ms = c->t_ms - from_ms;
	}
	s->raw_j = 0;
	open_at(s, &from);
	s->last = from;
	take(c, raw_j, raw_j);
	return REGISTER_TURNED;
}

/* Each message counts from the one before it. Of one instant each value counts, and once:
 * the same again is a message that was delivered twice. How long they counted is not
 * known then. Of the first instant of all none does. */
static enum register_verdict add_increment(const struct closing *c, int64_t raw_j)
{
	struct register_state *s = &c->a->state;
	int64_t ms = c->t_ms - s->last.t_ms;

	if (ms == 0) {
		bool same = raw_j == s->last.total_j - s->instant_j;
		if (same || (s->first && s->begin.t_ms == c->t_ms))
			return REGISTER_TAKEN;
		if (raw_j > limit_j(c->a->config, CLOSES_AFTER_MS)) {
			refuse(c, c->made_ms, raw_j);
			return REGISTER_REFUSED;
		}
		s->instant_j = s->last.total_j;
		s->last.total_j += raw_j;
		s->raw_j += raw_j;
		return REGISTER_TAKEN;
	}
	if (raw_j > limit_j(c->a->config, ms)) {
		refuse(c, c->made_ms, raw_j);
		return REGISTER_REFUSED;
	}
	s->instant_j = s->last.total_j;
	take(c, s->raw_j + raw_j, raw_j);
	return REGISTER_TAKEN;
}

void register_part_begins(
	struct register_account *a, int64_t t_ms, const struct register_sinks *sinks)
{
	const struct closing c = {a, t_ms, sinks, t_ms, true};
	struct register_state *s = &a->state;

	s->lapsed_ms = NEVER;
	if (s->begun && s->last.t_ms == t_ms)
		return;
	if (s->begun)
		close_at_last(&c);
	s->begun = 1;
	s->last = mark_at(a, t_ms, s->last.total_j);
	open_at(s, &s->last);
}

enum register_verdict register_part_ends(struct register_account *a,
	const struct register_part *part, int64_t j, const struct register_sinks *sinks)
{
	int64_t t_ms = part->end_ms;
	const struct closing c = {a, t_ms, sinks, t_ms - !part->cut, true};
	struct register_state *s = &a->state;

	if (!s->begun || s->last.t_ms != part->begin_ms)
		return REGISTER_REFUSED; /* another configuration held it */
	if (j < 0) {
		refuse(&c, c.made_ms, j);
		return REGISTER_BAD;
	}
	if (j >= STEPS_ENOUGH * a->config->step_j && s->last.t_ms > s->begin.t_ms &&
		j <= limit_j(a->config, t_ms - s->last.t_ms)) {
		close_at_last(&c);
		open_at(s, &s->last);
	}
	return add_increment(&c, j);
}

static enum register_verdict judge(const struct closing *c, int64_t raw_j)
{
	struct register_account *a = c->a;
	struct register_state *s = &a->state;
	const struct register_config *r = a->config;
	int64_t d = raw_j - s->raw_j, ms = c->t_ms - s->last.t_ms;

	if (r->kind == REGISTER_DAILY) {
		int64_t from_ms = turned_ms(a, c->t_ms, raw_j);
		if (from_ms != NEVER && raw_j <= limit_j(r, c->t_ms - from_ms))
			return turn(c, from_ms, raw_j);
	}
	if (d >= 0 && d <= limit_j(r, ms)) {
		take(c, raw_j, d);
		return REGISTER_TAKEN;
	}
	if (d < 0 && is_jitter(r, s->raw_j, -d)) {
		take(c, s->raw_j, 0);
		return REGISTER_JITTER;
	}
	if (r->falls && d < 0 && -d <= limit_j(r, ms)) {
		take(c, raw_j, d);
		return REGISTER_TAKEN;
	}
	if (goes_over(c, raw_j) && d + r->modulus_j <= limit_j(r, ms)) {
		happened(c, EVENT_REGISTER_WRAPPED, c->t_ms, s->raw_j, raw_j);
		take(c, raw_j, d + r->modulus_j);
		return REGISTER_WRAPPED;
	}
	return wait(c, raw_j);
}

enum register_verdict register_report(struct register_account *a, int64_t t_ms,
	int64_t raw_j, const struct register_sinks *sinks)
{
	const struct closing c = {a, t_ms, sinks, t_ms, false};
	struct register_state *s = &a->state;

	if (raw_j < 0 || (a->config->modulus_j > 0 && raw_j >= a->config->modulus_j)) {
		refuse(&c, t_ms, raw_j);
		return REGISTER_BAD;
	}
	if (s->begun)
		return a->config->kind == REGISTER_INCREMENT ? add_increment(&c, raw_j)
							     : judge(&c, raw_j);
	s->begun = 1;
	s->raw_j = a->config->kind == REGISTER_INCREMENT ? 0 : raw_j;
	s->last = mark_at(a, t_ms, 0);
	open_at(s, &s->last);
	s->first = 1;
	return REGISTER_FIRST;
}
