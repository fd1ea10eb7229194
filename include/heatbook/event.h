/*
 * What happened to an instrument, or was found about it, at one instant: told by the
 * engine while readings pass, kept by the store as a row, read by whoever explains a
 * figure (store_events()).
 *
 * Events are derived like minutes: they follow from the configuration and the readings in
 * order alone, and a day's are replaced when the day is derived again.
 */
#ifndef HEATBOOK_EVENT_H
#define HEATBOOK_EVENT_H

#include <heatbook/base.h>

/* Numbers are those of the store's rows: none is ever given another meaning. `before` and
 * `after` are, of registers, the last reading that was believed (of increments what they
 * had added up to) and the one told of, kWh. */
enum event_kind {
	/* It began anew near nothing: what it counted since then may be added. */
	EVENT_REGISTER_RESET = 0,
	/* It goes on elsewhere: another meter, or one that was set. */
	EVENT_REGISTER_REPLACED = 1,
	/* It went over its modulus. */
	EVENT_REGISTER_WRAPPED = 2,
	/* A reading that cannot be: negative, beyond the modulus, more than an increment
	 * can bring, or more than step and power allow so soon: either it is far from all
	 * others, which then went on as before, or these reached it later, and it is in
	 * the account. One an hour at most is told. */
	EVENT_REGISTER_REFUSED = 3,
	/* Of a channel: words that are no value came; `after` is the first one's reason
	 * (enum bad_reason). One an hour at most is told. */
	EVENT_PAYLOAD_BAD = 4,
	/* Link facts, of nothing in particular: the connection broke, the broker granted
	 * the subscriptions, the daemon began and ended, messages were not accepted for
	 * want of space (`after`: how many), the clock stepped (`after`: ms). */
	EVENT_LINK_LOST = 5,
	EVENT_LINK_SUBSCRIBED = 6,
	EVENT_STARTED = 7,
	EVENT_STOPPED = 8,
	EVENT_MESSAGES_REFUSED = 9,
	EVENT_CLOCK_STEPPED = 10,
	/* Of a channel: all its own times of the UTC hour that begins then lay at least
	 * `after` s behind the arrival of their messages (below 0: ahead; a minute at
	 * least), and much the same for all of them: what comes in batches tells nothing;
	 * `before`: how far they lay apart on average, s. Once for all channels of a
	 * source that say the same. Rows of tables tell nothing: their stamps are
	 * their own times. */
	EVENT_CLOCK_OFF = 11,
	/* Of a channel: messages that came for `after` s all bore the one time at which
	 * it happened; `before`: 1 where their values differ; else 0, and what they said
	 * had ceased to hold. Once a source and hour. */
	EVENT_CLOCK_STUCK = 12,
	/* What a register counted in minutes that are sealed, since their journal is gone
	 * or damaged, and these do not hold: `after`, kWh; below 0 what they hold more
	 * than it counted. It is in no row beside them: rows and this add up to what the
	 * register counted. At the last of such minutes; `before` is none. */
	EVENT_REGISTER_UNPLACED = 13,
	EVENT_KINDS
};

/* "register_reset" …; "?" for a number that this program does not know. */
const char *event_kind_name(enum event_kind kind);

/* No subject, or one that is configured no more. */
#define EVENT_SUBJECT_GONE UINT16_MAX

struct event {
	enum event_kind kind;
	int64_t t_ms;     /* when it happened, UTC … */
	int64_t made_ms;  /* … and the reading that made it certain, at or after it */
	uint16_t subject; /* the configuration's index of a meter, or of a channel;
			     EVENT_SUBJECT_GONE where there is none */
	bool is_meter;
	double before, after; /* in the kind's own unit; NaN = none */
};

typedef void event_sink(const struct event *event, void *context);

/* An event as it is stored. Its subject goes by name, since it may be configured no more;
 * then event.subject is EVENT_SUBJECT_GONE. */
typedef void event_visit(const struct event *event, const char *subject, void *context);

#endif
