/*
 * See stamper.h.
 *
 * The clocks are read before the mutex is taken, so that nobody's append delays another's
 * stamp; who then finds a step reads them again under the mutex, since the reading may be
 * older than a step that the other has seen. The mutex is held over the append: a record
 * that was stamped while records were held is in the tail before their restamp is.
 *
 * Invariants, under the mutex: `offset_ms` is the clock's offset as last followed; the
 * stamper's time is the clock's plus a lead that shrinks by half a millisecond each
 * millisecond; stamps before `unsure_until_ms` are unsure; while `waiting` every record
 * is, and the tail holds it.
 */
#include <heatbook/stamper.h>

#include <heatbook/calendar.h>
#include <heatbook/clock.h>
#include <heatbook/log.h>

#include <assert.h>
#include <pthread.h>
#include <string.h>

#define STEP_LEAST_MS INT64_C(2000)
#define SLEW_MOST_MS  INT64_C(120000)

struct stamper {
	struct tail *tail;
	int64_t wait_ms;
	int64_t born_boot_ms;

	pthread_mutex_t mutex;
	int64_t offset_ms;
	int64_t lead_ms, lead_boot_ms; /* so much at that boot time */
	int64_t last_ms;               /* latest stamp that is not unsure */
	int64_t closed_until_ms;
	int64_t unsure_until_ms;
	enum clock_kept kept;
	bool waiting;
	bool waits_for_set; /* else for the clock to pass unsure_until_ms alone */
	struct stamper_state said;
};

const char *clock_state_name(enum clock_state state)
{
	static const char *const names[] = {
		[CLOCK_STATE_GOOD] = "synchronised",
		[CLOCK_STATE_UNKEPT] = "not synchronised",
		[CLOCK_STATE_WAITING] = "waiting to be set",
		[CLOCK_STATE_SLEWING] = "smoothing a step back",
		[CLOCK_STATE_BEHIND] = "behind closed minutes",
		[CLOCK_STATE_UNSET] = "not set",
	};
	assert(state < ARRAY_LEN(names));
	return names[state];
}

static const char *kept_name(enum clock_kept kept)
{
	return kept == CLOCK_KEPT       ? "synchronised"
	       : kept == CLOCK_NOT_KEPT ? "not synchronised"
					: "not told";
}

static int64_t lead_at(const struct stamper *s, int64_t boot_ms)
{
	int64_t lead = s->lead_ms - (boot_ms - s->lead_boot_ms) / 2;
	return lead > 0 ? lead : 0;
}

static int64_t time_at(const struct stamper *s, struct instant_pair at)
{
	return at.now_ms + lead_at(s, at.boot_ms);
}

static void set_lead(struct stamper *s, struct instant_pair at, int64_t lead_ms)
{
	s->lead_ms = lead_ms;
	s->lead_boot_ms = at.boot_ms;
}

static bool is_unsure(const struct stamper *s, int64_t t_ms)
{
	return s->waiting || t_ms < s->unsure_until_ms || t_ms < STAMP_LEAST_MS ||
	       t_ms >= STAMP_END_MS;
}

/* ---- steps ---- */

/* For the log. */
static long long whole_seconds(int64_t span_ms)
{
	return (long long)(span_ms + 500) / 1000;
}

static void append_step(struct stamper *s, int64_t t_ms, int64_t boot_ms, int64_t step_ms,
	int64_t until_ms)
{
	struct record record = {.kind = RECORD_CLOCK_STEP,
		.t_ms = t_ms,
		.boot_ms = boot_ms,
		.unsure = is_unsure(s, t_ms),
		.number = {step_ms, until_ms},
		.topic = ""};
	int r = tail_append(s->tail, &record);
	if (r < 0)
		log_errno(LOG_LEVEL_ERROR, r, "a step of the clock is not recorded");
}

/* Behind every stamp given: at one instant facts come first, and what was stamped before
 * the step must not seem to follow it. */
static void step_forward(
	struct stamper *s, struct instant_pair at, int64_t before_ms, int64_t step_ms)
{
	set_lead(s, at, 0);
	append_step(s, before_ms > s->last_ms ? before_ms : s->last_ms + 1, at.boot_ms,
		step_ms, 0);
	log_warning("clock: it was set forward by %lld s; what was in force ends there, "
		    "the time between is a gap",
		whole_seconds(step_ms));
}

static void step_back(
	struct stamper *s, struct instant_pair at, int64_t before_ms, int64_t back_ms)
{
	if (back_ms <= SLEW_MOST_MS) {
		append_step(s, before_ms, at.boot_ms, -back_ms, 0);
		set_lead(s, at, back_ms);
		log_warning("clock: it was set back by %lld s; this is smoothed out",
			whole_seconds(back_ms));
		return;
	}
	if (s->closed_until_ms > s->unsure_until_ms)
		s->unsure_until_ms = s->closed_until_ms;
	append_step(s, before_ms, at.boot_ms, -back_ms, s->unsure_until_ms);
	set_lead(s, at, 0);
	log_warning("clock: it was set back by %lld s", whole_seconds(back_ms));
}

static void take_step(struct stamper *s, struct instant_pair at, int64_t moved_ms)
{
	int64_t before_ms = at.boot_ms + s->offset_ms + lead_at(s, at.boot_ms);
	int64_t step_ms = at.now_ms - before_ms;

	s->offset_ms += moved_ms;
	s->said.step_ms = moved_ms;
	s->said.stepped_ms = at.now_ms;
	if (s->waiting)
		log_notice("clock: it was set %s by %lld s while records wait for that",
			moved_ms > 0 ? "forward" : "back",
			whole_seconds(moved_ms > 0 ? moved_ms : -moved_ms));
	else if (step_ms > STEP_LEAST_MS)
		step_forward(s, at, before_ms, step_ms);
	else if (moved_ms < 0)
		step_back(s, at, before_ms, -step_ms);
	else /* the clock comes to meet a smoothing */
		set_lead(s, at, step_ms < 0 ? -step_ms : 0);
}

static bool is_step(const struct stamper *s, struct instant_pair at, int64_t *ret_moved)
{
	*ret_moved = at.now_ms - at.boot_ms - s->offset_ms;
	return *ret_moved > STEP_LEAST_MS || *ret_moved < -STEP_LEAST_MS;
}

/* Sees a step between the last reading of the clocks and this one, and returns the one
 * that counts. */
static struct instant_pair watch(struct stamper *s, struct instant_pair at)
{
	int64_t moved_ms;
	if (!is_step(s, at, &moved_ms))
		return at;
	at = clock_pair();
	if (is_step(s, at, &moved_ms))
		take_step(s, at, moved_ms);
	return at;
}

/* ---- waiting ---- */

/* A clock shortly before the last closed minute is as good as one that was set back a
 * little: it is led over that minute's end. */
static void lead_over_closed(struct stamper *s, struct instant_pair at)
{
	int64_t behind_ms = s->unsure_until_ms - at.now_ms;
	if (behind_ms <= 0 || behind_ms > SLEW_MOST_MS)
		return;
	set_lead(s, at, behind_ms);
	append_step(s, s->unsure_until_ms, at.boot_ms, -behind_ms, 0);
	log_warning("clock: it shows a time %lld s before the last closed minute's end; "
		    "this is smoothed out",
		whole_seconds(behind_ms));
}

static void restamp(struct stamper *s, struct instant_pair at)
{
	const char *why = kept_name(s->kept);
	struct record record = {.kind = RECORD_RESTAMP,
		.t_ms = time_at(s, at),
		.boot_ms = at.boot_ms,
		.number = {at.now_ms - at.boot_ms, s->unsure_until_ms},
		.topic = "",
		.payload = (const unsigned char *)why,
		.payload_length = strlen(why)};
	record.unsure = is_unsure(s, record.t_ms);
	int r = tail_restamp(s->tail, &record);
	if (r < 0)
		log_errno(LOG_LEVEL_ERROR, r, "the clock's being set is not recorded");
}

static bool wait_is_over(const struct stamper *s, struct instant_pair at)
{
	bool set = !s->waits_for_set || s->kept != CLOCK_NOT_KEPT ||
		   at.boot_ms >= s->wait_ms;
	bool passed = s->unsure_until_ms - at.now_ms <= SLEW_MOST_MS ||
		      at.boot_ms - s->born_boot_ms >= s->wait_ms;
	return set && passed;
}

static uint64_t held(const struct stamper *s)
{
	struct tail_state tail;
	tail_state(s->tail, &tail);
	return tail.last_sequence - tail.free_sequence;
}

static void end_waiting(struct stamper *s, struct instant_pair at)
{
	log_notice("clock: the wait is over (%s); %llu records are stamped by it",
		kept_name(s->kept), (unsigned long long)held(s));
	s->waiting = false;
	s->offset_ms = at.now_ms - at.boot_ms;
	restamp(s, at);
	lead_over_closed(s, at);
}

/* ---- the state in words ---- */

static enum clock_state state_at(const struct stamper *s, struct instant_pair at)
{
	int64_t t_ms = time_at(s, at);
	if (s->waiting)
		return CLOCK_STATE_WAITING;
	if (t_ms < STAMP_LEAST_MS || t_ms >= STAMP_END_MS)
		return CLOCK_STATE_UNSET;
	if (t_ms < s->unsure_until_ms)
		return CLOCK_STATE_BEHIND;
	if (lead_at(s, at.boot_ms) > 0)
		return CLOCK_STATE_SLEWING;
	return s->kept == CLOCK_NOT_KEPT ? CLOCK_STATE_UNKEPT : CLOCK_STATE_GOOD;
}

static void say_state(const struct stamper *s)
{
	char until[32];
	switch (s->said.state) {
	case CLOCK_STATE_WAITING:
		log_warning("clock: %s; records wait to be stamped, at most %lld min",
			s->waits_for_set
				? "not synchronised"
				: "it shows a time before the last closed minute",
			(long long)(s->wait_ms / MS_PER_MIN));
		break;
	case CLOCK_STATE_BEHIND:
		time_text_utc(s->unsure_until_ms, until);
		log_warning(
			"clock: minutes are closed up to %s, which it has yet to "
			"reach; until then records are kept and feed no row; if it was "
			"ahead before, see --clock-right-since in heatbookd(8)",
			until);
		break;
	case CLOCK_STATE_UNSET:
		log_warning("clock: it is not set; records are kept and feed no row");
		break;
	case CLOCK_STATE_UNKEPT:
		log_notice("clock: not synchronised; its time is taken as it is");
		break;
	case CLOCK_STATE_GOOD:
	case CLOCK_STATE_SLEWING: /* was said with the step */
	default:
		break;
	}
}

static void note_state(struct stamper *s, struct instant_pair at)
{
	enum clock_state before = s->said.state;
	s->said.state = state_at(s, at);
	if (s->said.state == before)
		return;
	s->said.since_ms = time_at(s, at);
	if (s->said.state == CLOCK_STATE_GOOD)
		log_notice("clock: %s", kept_name(s->kept));
	else
		say_state(s);
}

/* ---- the calls ---- */

struct stamper *stamper_new(struct tail *tail, int64_t wait_ms, int64_t derived_until_ms)
{
	struct stamper *s = xcalloc(1, sizeof(*s));
	struct instant_pair at = clock_pair();
	int64_t told_ms = tail_closed_until_ms(tail);

	s->tail = tail;
	s->wait_ms = wait_ms;
	s->born_boot_ms = at.boot_ms;
	(void)pthread_mutex_init(&s->mutex, NULL); /* cannot fail without attributes */
	s->offset_ms = at.now_ms - at.boot_ms;
	s->kept = clock_kept();
	s->closed_until_ms = told_ms > derived_until_ms ? told_ms : derived_until_ms;
	s->unsure_until_ms = s->closed_until_ms;
	s->waits_for_set = s->kept == CLOCK_NOT_KEPT && at.boot_ms < wait_ms;
	s->waiting = !wait_is_over(s, at);
	if (s->waiting)
		tail_hold(tail);
	else if (tail_loose(tail))
		restamp(s, at); /* those that an earlier process held */
	if (!s->waiting)
		lead_over_closed(s, at);
	s->said.since_ms = time_at(s, at);
	note_state(s, at);
	return s;
}

void stamper_free(struct stamper *s)
{
	if (!s)
		return;
	(void)pthread_mutex_destroy(&s->mutex);
	free(s);
}

int stamper_append(struct stamper *s, struct record *record)
{
	struct instant_pair at = clock_pair();
	(void)pthread_mutex_lock(&s->mutex); /* fails only when misused */
	at = watch(s, at);
	record->t_ms = time_at(s, at);
	record->boot_ms = at.boot_ms;
	record->unsure = is_unsure(s, record->t_ms);
	if (record->kind == RECORD_START)
		record->number[0] = clock_boot_number();
	if (!record->unsure && record->t_ms > s->last_ms)
		s->last_ms = record->t_ms;
	int r = tail_append(s->tail, record);
	(void)pthread_mutex_unlock(&s->mutex);
	return r;
}

void stamper_look(struct stamper *s, int64_t closed_until_ms)
{
	enum clock_kept kept = clock_kept();
	struct instant_pair at = clock_pair();
	(void)pthread_mutex_lock(&s->mutex); /* fails only when misused */
	s->kept = kept;
	if (closed_until_ms > s->closed_until_ms)
		s->closed_until_ms = closed_until_ms;
	at = watch(s, at);
	s->offset_ms = at.now_ms - at.boot_ms; /* a drift is followed */
	if (s->waiting && wait_is_over(s, at))
		end_waiting(s, at);
	note_state(s, at);
	(void)pthread_mutex_unlock(&s->mutex);
}

int64_t stamper_now_ms(struct stamper *s)
{
	struct instant_pair at = clock_pair();
	(void)pthread_mutex_lock(&s->mutex); /* fails only when misused */
	at = watch(s, at);
	int64_t t_ms = time_at(s, at);
	(void)pthread_mutex_unlock(&s->mutex);
	return t_ms;
}

void stamper_state(struct stamper *s, struct stamper_state *ret)
{
	struct instant_pair at = clock_pair();
	(void)pthread_mutex_lock(&s->mutex); /* fails only when misused */
	at = watch(s, at);
	note_state(s, at);
	*ret = s->said;
	ret->unsure_until_ms = s->unsure_until_ms;
	ret->held = held(s);
	(void)pthread_mutex_unlock(&s->mutex);
}
