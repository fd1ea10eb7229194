/*
 * What registers tell of themselves by events: that a meter's words are of another kind
 * than configured, and that what was unknown for a time was what a register said and the
 * account did not believe.
 */
#include "finding.h"

#include <heatbook/calendar.h>

enum { A_DAY_MOST = 3, DAILY_LEAST = 2 };
#define MIDNIGHT_MS   (2 * MS_PER_HOUR) /* a daily register's clock may be off */
#define UNBELIEVED_MS MS_PER_HOUR       /* of what is mad one an hour is told */

struct words {
	size_t resets, at_midnight;
	size_t refused, grew;
	double last;
};

static void take(const struct event *e, struct words *w)
{
	if (e->kind == EVENT_REGISTER_RESET) {
		int64_t day_ms = calendar_day_start(calendar_date(e->t_ms));
		w->resets++;
		w->at_midnight += e->t_ms - day_ms < MIDNIGHT_MS;
	} else if (e->kind == EVENT_REGISTER_REFUSED) {
		w->grew += w->refused > 0 && e->after > w->last;
		w->refused++;
		w->last = e->after;
	}
}

static bool is_of(const struct event *e, const struct event *like)
{
	return e->subject == like->subject && e->is_meter == like->is_meter;
}

const char *finding_kind_error(const struct finding_input *in, const struct event *like,
	int64_t since_ms, int64_t until_ms)
{
	const struct register_config *r =
		like->is_meter ? &in->config->meters[like->subject].counted.counting
			       : &in->config->plant.heat.counting;
	size_t most = A_DAY_MOST * (size_t)((until_ms - since_ms) / MS_PER_DAY + 1);
	struct words w = {0};

	for (size_t i = 0; i < in->event_count; i++)
		if (is_of(&in->events[i], like) && in->events[i].t_ms >= since_ms &&
			in->events[i].t_ms <= until_ms)
			take(&in->events[i], &w);
	if (r->kind == REGISTER_COUNTS_ON && w.resets > most)
		return "increment";
	if (r->kind == REGISTER_COUNTS_ON && w.resets >= DAILY_LEAST &&
		4 * w.at_midnight >= 3 * w.resets)
		return "daily";
	/* One fall may be a new beginning. */
	if (r->kind == REGISTER_INCREMENT && w.refused > most && w.grew + 2 >= w.refused)
		return "register";
	return NULL;
}

char *finding_kind_remedy(
	const struct finding_input *in, const struct event *like, const char *kind)
{
	const char *why = *kind == 'd' ? "It begins at 0 again at local midnight"
			  : *kind == 'i'
				  ? "It falls to next to nothing again and again, as "
				    "words do that say how much since the one before"
				  : "What it says grows from word to word, as a register "
				    "does that counts on";
	return xasprintf("%s: set kind = %s in [%s %s] and rebuild these days.", why,
		kind, like->is_meter ? "meter" : "channel",
		like->is_meter ? in->config->meters[like->subject].name
			       : in->config->channels[like->subject].name);
}

bool finding_was_unbelieved(
	const struct finding_input *in, bool heat, int64_t from_ms, int64_t to_ms)
{
	for (size_t i = 0; i < in->event_count; i++) {
		const struct event *e = &in->events[i];
		bool about = e->kind == EVENT_REGISTER_REFUSED ||
			     e->kind == EVENT_REGISTER_REPLACED;
		if (about && e->is_meter != heat && e->subject != EVENT_SUBJECT_GONE &&
			e->t_ms >= from_ms - UNBELIEVED_MS &&
			e->t_ms <= to_ms + MS_PER_MIN)
			return true;
	}
	return false;
}
