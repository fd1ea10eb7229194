/*
 * Clocks of sources, by the events that their own times made (own_clock.h): off by the
 * same in hour after hour, or standing still.
 *
 * What is late for another reason is no clock: batches make no such events, and of a
 * backlog each hour is an hour less late than the one before, so neighbours do not agree.
 * Where times mark the beginning of what a value covers they lie behind by their own
 * spacing, which is as it should be. Zones differ by multiples of 15 minutes (the tz
 * database: by no others today); a clock that nobody sets drifts, or was set wrong, by
 * anything.
 */
#include "finding.h"

#include <heatbook/calendar.h>

#include <math.h>
#include <string.h>

enum { HOURS_LEAST = 3, OFF_LEAST_S = 120, NEIGHBOURS_S = 120 };
enum {
	ZONE_S = 900,
	ZONE_NEAR_S = 60,
	DRIFT_S_A_DAY = 60, /* 700 ppm; quartz is ten times better, own judgement */
	BEGIN_NEAR_S = 5,
	SELDOM_S = 1800
};
#define NEIGHBOURS_MS (2 * MS_PER_HOUR)
#define JOINED_MS     (7 * MS_PER_DAY)

/* "60 minutes", "5.5 hours", "3 days". */
static char *span_text(double seconds)
{
	static const struct {
		double s;
		const char *name;
	} units[] = {{86400.0, "days"}, {3600.0, "hours"}, {60.0, "minutes"}};
	size_t u = 0;
	while (u + 1 < ARRAY_LEN(units) && fabs(seconds) < 2.9 * units[u].s)
		u++;
	double size = fabs(seconds) / units[u].s;
	bool whole = fabs(size - round(size)) < 0.05;
	return xasprintf("%.*f %s", whole ? 0 : 1, size, units[u].name);
}

static int source_of(const struct finding_input *in, const struct event *e)
{
	return e->subject == EVENT_SUBJECT_GONE || e->is_meter
		       ? -1
		       : in->config->channels[e->subject].source;
}

/* The channels that take their time from the payload. */
static void add_names(const struct finding_input *in, int source, const char *between,
	struct buffer *out)
{
	size_t begin = out->length;
	for (size_t c = 0; c < in->config->channel_count; c++) {
		const struct channel_config *channel = &in->config->channels[c];
		if (channel->source == source && channel->time == TIME_PAYLOAD)
			buffer_addf(out, "%s%s", out->length > begin ? between : "",
				channel->name);
	}
}

static struct finding clock_finding(const struct finding_input *in,
	enum finding_kind kind, int source, int64_t since_ms, int64_t until_ms)
{
	struct finding f = {.kind = kind,
		.since_ms = since_ms,
		.until_ms = until_ms,
		.unit = "min",
		.effect = (double)NAN};
	(void)snprintf(
		f.subject, sizeof(f.subject), "%s", in->config->sources[source].name);
	f.lasts =
		!in->rows_follow && in->day_count > 0 &&
		in->days[in->day_count - 1].end_min * MS_PER_MIN < until_ms + MS_PER_DAY;
	return f;
}

/* What helps where each message came soon after its values: what came is in the journal
 * with its arrival. */
static char *remedy_of(
	const struct finding_input *in, int source, int64_t since_ms, const char *first)
{
	char date[16];
	struct buffer names = {0};
	add_names(in, source, ", ", &names);
	(void)finding_date(since_ms / MS_PER_MIN, date);
	char *text = xasprintf(
		"%s Until then, and for the time that is past: set time = arrival in the "
		"sections of %s, then heatbookd rebuild --from %s; the messages are in "
		"the journal with the time of their arrival.",
		first, buffer_text(&names), date);
	buffer_release(&names);
	return text;
}

/* ---- off ---- */

/* Hours of one clock whose neighbours agree. */
struct stretch {
	int source;
	int64_t first_ms, last_ms; /* where its first and last hour begin */
	size_t hours;
	double first_s, last_s, least_s, most_s;
};

struct stretches {
	struct stretch *items;
	size_t count, room;
};

/* Of a source that speaks once an hour each hour must say so: what is delivered in twos
 * is late by another hour each second time. */
static bool goes_on(const struct stretch *s, int source, const struct event *e)
{
	int64_t most_ms = e->before >= SELDOM_S ? MS_PER_HOUR : NEIGHBOURS_MS;
	return s->source == source && e->t_ms > s->last_ms &&
	       e->t_ms - s->last_ms <= most_ms &&
	       fabs(e->after - s->last_s) <= NEIGHBOURS_S;
}

static void take_off(struct stretches *list, int source, const struct event *e)
{
	const struct stretch begun = {
		source, e->t_ms, e->t_ms, 1, e->after, e->after, e->after, e->after};
	for (size_t i = list->count; i-- > 0;) {
		struct stretch *s = &list->items[i];
		if (!goes_on(s, source, e))
			continue;
		s->last_ms = e->t_ms;
		s->last_s = e->after;
		s->least_s = fmin(s->least_s, e->after);
		s->most_s = fmax(s->most_s, e->after);
		s->hours++;
		return;
	}
	if (list->count == list->room) {
		list->room = list->room ? 2 * list->room : 16;
		list->items = xrealloc(list->items, list->room, sizeof(*list->items));
	}
	list->items[list->count++] = begun;
}

/* Where what it wrote may begin: the hour of the change is not told, since its times are
 * of both kinds, and a clock that falls behind writes over what was there. */
static int64_t touched_ms(const struct stretch *s)
{
	return s->first_ms - MS_PER_HOUR - (int64_t)(fmax(s->first_s, 0.0) * 1000.0);
}

/* How fast a clock drifted, s a ms; what is shorter than a day says little of it. */
static double drift_of(const struct stretch *s)
{
	int64_t lasted_ms = s->last_ms - s->first_ms;
	return lasted_ms < MS_PER_DAY ? 0.0
				      : (s->last_s - s->first_s) / (double)lasted_ms;
}

/* Is that the same clock, some time later? Then it is where its drift has brought it: a
 * clock that was set in between, and wrong again, is another finding. */
static bool is_later(const struct stretch *before, const struct stretch *s)
{
	int64_t gap_ms = s->first_ms - before->last_ms;
	double days = (double)gap_ms / (double)MS_PER_DAY;
	double expected_s = before->last_s + drift_of(before) * (double)gap_ms;
	return before->source == s->source && gap_ms > 0 && gap_ms <= JOINED_MS &&
	       fabs(s->first_s - expected_s) <= NEIGHBOURS_S + DRIFT_S_A_DAY * days;
}

/* Long enough ones that belong together become one; the others go. */
static void join(struct stretches *list)
{
	size_t kept = 0;
	for (size_t i = 0; i < list->count; i++) {
		struct stretch s = list->items[i], *before = NULL;
		if (s.hours < HOURS_LEAST)
			continue;
		for (size_t k = kept; k-- > 0 && !before;)
			if (is_later(&list->items[k], &s))
				before = &list->items[k];
		if (!before) {
			list->items[kept++] = s;
			continue;
		}
		before->last_ms = s.last_ms;
		before->last_s = s.last_s;
		before->least_s = fmin(before->least_s, s.least_s);
		before->most_s = fmax(before->most_s, s.most_s);
		before->hours += s.hours;
	}
	list->count = kept;
}

static char *off_remedy(
	const struct finding_input *in, const struct stretch *s, double size_s)
{
	bool steady = s->most_s - s->least_s <= NEIGHBOURS_S;
	double zones = round(size_s / ZONE_S);
	if (steady && zones != 0.0 && fabs(size_s - zones * ZONE_S) <= ZONE_NEAR_S)
		return remedy_of(in, s->source, touched_ms(s),
			"A multiple of 15 minutes is a time zone error in what writes "
			"the "
			"times, mostly the gateway: set its zone, or let it write UTC or "
			"the offset from it.");
	return remedy_of(in, s->source, touched_ms(s),
		steady ? "This is no error of the time zone: the clock of what writes "
			 "the "
			 "times was set wrong, or is not set any more. Let it be set "
			 "over "
			 "the network."
		       : "The clock of what writes the times drifts: nothing sets it. "
			 "Let "
			 "it be set over the network.");
}

static void add_off(const struct finding_input *in, const struct stretch *s,
	struct finding_list *list)
{
	char from[32], to[32];
	bool steady = s->most_s - s->least_s <= NEIGHBOURS_S;
	double size_s = steady ? s->least_s : s->last_s;
	struct finding f = clock_finding(
		in, FINDING_CLOCK_OFF, s->source, s->first_ms, s->last_ms + MS_PER_HOUR);
	if (fabs(size_s) < OFF_LEAST_S)
		return;
	time_text_local(f.since_ms, from);
	time_text_local(f.until_ms, to);
	_cleanup_(freep) char *size = span_text(size_s), *first = span_text(s->first_s);
	f.size = size_s / 60.0;
	f.evidence = xasprintf(
		"From %s to %s the times in its messages lay %s %s their arrival, by the "
		"least of each of %zu hours%s%s.%s",
		from, to, size, size_s > 0.0 ? "behind" : "ahead of", s->hours,
		steady ? "" : "; it began with ", steady ? "" : first,
		size_s > 0.0 ? " All that they tell stands at a time at which it was not."
			     : " What is more than 2 minutes ahead is refused.");
	f.remedy = off_remedy(in, s, size_s);
	finding_add(list, &f);
}

/* Times that mark where what a value covers begins. */
static bool marks_begin(const struct event *e)
{
	return fabs(e->after - e->before) <= 0.1 * e->before + BEGIN_NEAR_S;
}

/* What is observed once or twice an hour and told before the next time: that takes as
 * long as it does, and says nothing of the clock. */
static bool takes_its_time(const struct event *e)
{
	return e->before >= SELDOM_S && e->after > 0.0 && e->after < e->before;
}

static void find_off(const struct finding_input *in, struct finding_list *list)
{
	struct stretches stretches = {0};
	for (size_t i = 0; i < in->event_count; i++) {
		const struct event *e = &in->events[i];
		int source = source_of(in, e);
		if (e->kind == EVENT_CLOCK_OFF && source >= 0 && !marks_begin(e) &&
			!takes_its_time(e))
			take_off(&stretches, source, e);
	}
	join(&stretches);
	for (size_t i = 0; i < stretches.count; i++)
		add_off(in, &stretches.items[i], list);
	free(stretches.items);
}

/* ---- standing still ---- */

struct still {
	int64_t since_ms, until_ms;
	double longest_s;
	size_t times;
	bool moved;
};

/* The arrival of words that are only repeated would make old ones new. */
static char *still_remedy(
	const struct finding_input *in, int source, const struct still *s)
{
	char date[16];
	struct buffer names = {0};
	if (s->moved)
		return remedy_of(in, source, s->since_ms,
			"The clock of what writes the times stands still: restart it, "
			"and see that it is set over the network.");
	add_names(in, source, ", ", &names);
	(void)finding_date(s->since_ms / MS_PER_MIN, date);
	char *text = xasprintf(
		"What publishes repeats its last word: see whether it still hears its "
		"sensors, and restart it. Where it writes the time of the last "
		"observation or change by design, nothing is wrong with it: set "
		"stale_after in the sections that this concerns, of %s, to longer than "
		"these lie apart, then heatbookd rebuild --from %s.",
		buffer_text(&names), date);
	buffer_release(&names);
	return text;
}

static void add_still(const struct finding_input *in, int source, const struct still *s,
	struct finding_list *list)
{
	char from[32], to[32];
	struct finding f =
		clock_finding(in, FINDING_CLOCK_STUCK, source, s->since_ms, s->until_ms);
	if (s->times == 0)
		return;
	time_text_local(s->since_ms, from);
	time_text_local(s->until_ms, to);
	_cleanup_(freep) char *longest = span_text(s->longest_s);
	_cleanup_(freep) char *times =
		s->times > 1 ? xasprintf("%zu times, for up to %s", s->times, longest)
			     : xasprintf("for %s", longest);
	f.size = s->longest_s / 60.0;
	f.evidence = xasprintf("From %s to %s its messages came on and bore one and the "
			       "same time %s, %s.",
		from, to, times,
		s->moved ? "with values that went on changing: only the last of them is "
			   "known, as of that time"
			 : "always with the same values, longer than these hold after "
			   "that time");
	f.remedy = still_remedy(in, source, s);
	finding_add(list, &f);
}

static void take_still(struct still *s, const struct event *e)
{
	int64_t until_ms = e->t_ms + (int64_t)(e->after * 1000.0);
	if (s->times == 0)
		*s = (struct still){.since_ms = e->t_ms, .until_ms = until_ms};
	s->until_ms = until_ms > s->until_ms ? until_ms : s->until_ms;
	s->longest_s = fmax(s->longest_s, e->after);
	s->times++;
	s->moved |= e->before > 0.0;
}

static void find_still(
	const struct finding_input *in, int source, struct finding_list *list)
{
	struct still still = {0};
	for (size_t i = 0; i < in->event_count; i++) {
		const struct event *e = &in->events[i];
		if (e->kind != EVENT_CLOCK_STUCK || source_of(in, e) != source)
			continue;
		if (still.times && e->t_ms - still.until_ms > MS_PER_DAY) {
			add_still(in, source, &still, list);
			still.times = 0;
		}
		take_still(&still, e);
	}
	add_still(in, source, &still, list);
}

void find_clocks(const struct finding_input *in, struct finding_list *list)
{
	find_off(in, list);
	for (size_t s = 0; s < in->config->source_count; s++)
		find_still(in, (int)s, list);
}
