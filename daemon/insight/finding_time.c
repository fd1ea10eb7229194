/*
 * Minutes that are missing, each stretch by what is missing in it, and power cuts.
 *
 * A power cut is told from an outage of messages by registers: what goes on without
 * messages goes on counting. Where the unit's standby would have shown in the register
 * and did not, it had no power.
 */
#include "finding.h"

#include "evidence.h"

#include <heatbook/calendar.h>
#include <heatbook/mixture.h>

#include <math.h>

enum { OUTAGE_LEAST_MIN = 15, JOINED_MIN = 10, TOGETHER_MIN = 2 * MIN_PER_DAY };

struct outage {
	int64_t from_min, to_min;
	int what;        /* bits of EVIDENCE_MISSING, */
	int64_t minutes; /* in so many of its minutes all of them */
	double bridged_j;
	double idle_w; /* what the unit draws at least; NaN unknown */
};

struct outages {
	struct outage *items;
	size_t count, room;
};

static void push(struct outages *list, const struct outage *part)
{
	if (list->count == list->room) {
		list->room = list->room ? 2 * list->room : 32;
		list->items = xrealloc(list->items, list->room, sizeof(*list->items));
	}
	list->items[list->count++] = *part;
}

/* The last one, where it reaches up to this part. */
static struct outage *before_part(struct outages *list, const struct outage *part)
{
	struct outage *last = list->count ? &list->items[list->count - 1] : NULL;
	return last && part->from_min - last->to_min <= JOINED_MIN ? last : NULL;
}

/* The word stays that of `into`: minutes in which less was missing are not its own. */
static void take_in(struct outage *into, const struct outage *other)
{
	into->from_min =
		into->from_min < other->from_min ? into->from_min : other->from_min;
	into->to_min = into->to_min > other->to_min ? into->to_min : other->to_min;
	if ((other->what & into->what) == into->what)
		into->minutes += other->minutes;
	into->bridged_j += other->bridged_j;
	into->idle_w = fmin(into->idle_w, other->idle_w);
}

static int64_t length_of(const struct outage *o)
{
	return o->to_min - o->from_min;
}

static bool is_short(const struct outage *o)
{
	return length_of(o) < OUTAGE_LEAST_MIN;
}

/* Parts of which the same is missing are one. */
static void add_part(struct outages *list, const struct outage *part)
{
	struct outage *last = before_part(list, part);
	if (last && last->what == part->what)
		take_in(last, part);
	else if (part->what)
		push(list, part);
}

/* What is unknown for too short a time to be told of by itself, since the limits of
 * holds differ, belongs to the longer part beside it; what is unknown for longer stands
 * apart, by its own word. */
static void add_outage_part(struct outages *list, const struct outage *part)
{
	struct outage *last = before_part(list, part);
	if (last && (last->what == part->what ||
			    (is_short(part) && length_of(part) <= length_of(last)))) {
		take_in(last, part);
	} else if (last && is_short(last)) {
		struct outage longer = *part;
		take_in(&longer, last);
		*last = longer;
	} else {
		push(list, part);
	}
}

/* A day that nobody looked at and of which nothing is known is one outage. */
static void collect(const struct finding_input *in, int asked, struct outages *list)
{
	for (size_t d = 0; d < in->day_count; d++) {
		const struct finding_day *day = &in->days[d];
		if (!day->looked && !day->known) {
			const struct outage whole = {day->start_min, day->end_min,
				asked & ~(MISSING_COLD | MISSING_HOT),
				day->end_min - day->start_min, 0.0, (double)NAN};
			add_part(list, &whole);
		}
		for (size_t i = 0; i < day->count; i++) {
			const struct evidence *e = &day->items[i];
			if (e->kind != EVIDENCE_MISSING)
				continue;
			const struct outage part = {e->at_min, e->at_min + e->minutes,
				(int)e->values[0] & asked, e->minutes, e->values[1],
				e->values[2]};
			add_part(list, &part);
		}
	}
}

/* What a register shows at least: two of its steps. */
static double least_shown_j(const struct config *config)
{
	double most = 0.0;
	for (size_t m = 0; m < config->meter_count; m++)
		if (config->meters[m].counted.counts &&
			config->meters[m].feeds & DEVICE_COMPRESSOR)
			most = fmax(most,
				2.0 * (double)config->meters[m].counted.counting.step_j);
	return most;
}

static bool is_cut(const struct finding_input *in, const struct outage *o)
{
	double shown_j = least_shown_j(in->config);
	double minutes = (double)length_of(o);
	return shown_j > 0.0 && o->what & MISSING_ALL && o->bridged_j < shown_j / 2.0 &&
	       o->idle_w * 60.0 * minutes > shown_j;
}

static const char *what_text(int what)
{
	if (what & MISSING_ALL)
		return "nothing at all";
	return what & MISSING_HEAT ? what & MISSING_ELECTRICITY
					     ? "neither heat nor electricity"
					     : "no heat"
				   : "no electricity";
}

/* Holds last so long at most after the last message, by usual limits. */
#define HOLD_MS (20 * MS_PER_MIN)

/* Messages came, but their own times are of another time: what these clocks say is a
 * finding of its own (finding_clock.c). */
static const char *clock_reason(const struct finding_input *in, const struct outage *o)
{
	int64_t from_ms = o->from_min * MS_PER_MIN, to_ms = o->to_min * MS_PER_MIN;
	for (size_t i = 0; i < in->event_count; i++) {
		const struct event *e = &in->events[i];
		int64_t off_ms = isnan(e->after) ? 0 : (int64_t)(e->after * 1000.0);
		bool behind = off_ms > 0 && e->t_ms >= from_ms - 2 * MS_PER_HOUR &&
			      e->t_ms < from_ms && to_ms - from_ms <= off_ms;
		bool ahead =
			off_ms < 0 && e->t_ms >= from_ms - MS_PER_HOUR && e->t_ms < to_ms;
		if (e->kind == EVENT_CLOCK_OFF && (behind || ahead))
			return behind ? "the times in its source's messages are behind, "
					"and the last ones bear earlier times"
				      : "messages came whose times are ahead, and were "
					"refused";
		if (e->kind == EVENT_CLOCK_STUCK && e->t_ms <= from_ms &&
			e->t_ms >= from_ms - HOLD_MS && e->t_ms + off_ms > from_ms)
			return "messages came, but the times in them stood still";
	}
	return NULL;
}

/* Why nothing was heard, by the link facts about its begin; NULL where none tells. */
static const char *reason_of(const struct finding_input *in, const struct outage *o)
{
	int64_t from_ms = o->from_min * MS_PER_MIN, to_ms = o->to_min * MS_PER_MIN;
	const char *reason = NULL;
	for (size_t i = 0; i < in->event_count; i++) {
		const struct event *e = &in->events[i];
		bool about =
			e->t_ms >= from_ms - HOLD_MS && e->t_ms <= to_ms + MS_PER_MIN;
		if (!about)
			continue;
		if (e->kind == EVENT_LINK_LOST && e->t_ms <= from_ms + MS_PER_MIN)
			reason = "the connection to the broker was lost";
		else if (e->kind == EVENT_STOPPED && e->t_ms <= from_ms + MS_PER_MIN)
			reason = "heatbook had been stopped";
		else if (e->kind == EVENT_STARTED && !reason)
			reason = "heatbook was not running, nor had it been stopped: "
				 "its machine was off or went down";
		else if (e->kind == EVENT_CLOCK_STEPPED && e->after > 0.0)
			reason = "the clock was set forward";
		else if (e->kind == EVENT_MESSAGES_REFUSED)
			reason = "there was no space left for messages";
	}
	return reason;
}

/* ---- known, and beyond what the fluid's heat is known for ---- */

static const char *liquid(const struct plant_config *plant)
{
	return plant->fluid == FLUID_WATER ? "water"
	       : plant->fluid == FLUID_PROPYLENE_GLYCOL
		       ? "the mixture with propylene glycol"
		       : "the mixture with ethylene glycol";
}

/* NULL where it has nothing to do with it. */
static char *fluid_reason(const struct finding_input *in, int what)
{
	const struct plant_config *plant = &in->config->plant;
	if (what & MISSING_HOT)
		return xasprintf("flow and temperatures were known, one of these above "
				 "%.0f °C, where %s of a heating circuit is no liquid",
			MIXTURE_MOST_C, liquid(plant));
	if (what & MISSING_COLD)
		return xasprintf("flow and temperatures were known, one of these below "
				 "%.1f °C, where %s %s",
			mixture_least_c(plant->fluid, plant->fluid_percent),
			liquid(plant),
			mixture_least_c(plant->fluid, plant->fluid_percent) ==
					mixture_freezes_c(
						plant->fluid, plant->fluid_percent)
				? "freezes"
				: "leaves the tables");
	return NULL;
}

static char *fluid_remedy(const struct finding_input *in, int what)
{
	if (what & MISSING_HOT)
		return xstrdup("No heat pump's circuit is as hot: see the unit of both "
			       "temperatures (°F?), scale, and the sensor. Put it right "
			       "and rebuild these days.");
	if (in->config->plant.fluid == FLUID_WATER)
		return xstrdup(
			"If it flowed all the same, the circuit holds antifreeze: "
			"say so by fluid and fluid_percent in [plant], as the last "
			"service's refractometer said, and rebuild. If it is "
			"water, the sensor reads wrong, or the circuit was in "
			"danger of frost: ask a heating engineer.");
	return xstrdup(
		"If it flowed all the same, it holds more than fluid_percent says, "
		"or another fluid: have the concentration measured, put fluid and "
		"fluid_percent right and rebuild. Else the sensor reads wrong.");
}

#define CLOCK_REMEDY                                                                     \
	"The finding about these times says what helps; the messages are in the "        \
	"journal."
#define OUTAGE_REMEDY                                                                    \
	"See broker, network and gateway of that time; an archive of its messages can "  \
	"still be imported. Totals say how much of their time is known."

#define SILENT_REMEDY                                                                    \
	"A register alone tells it, and its reports lay further apart than they hold. "  \
	"If it reports so seldom by design, set stale_after of its channel and "         \
	"silent_after of its source to more than twice its interval (of a table: "       \
	"interval), and rebuild these days. Else see broker, network and gateway of "    \
	"that time; an archive of its messages can still be imported."
#define UNBELIEVED_REMEDY                                                                \
	"The finding about what the register said tells what helps; its words are in "   \
	"the journal."

/* What registers alone count is known once their span closes: bits of EVIDENCE_MISSING.
 */
static int counted_alone(const struct config *config)
{
	int bits = config->plant.heat.counts &&
				   config_role(config, ROLE_HEAT_POWER) < 0 &&
				   config_role(config, ROLE_FLOW_RATE) < 0
			   ? MISSING_HEAT
			   : 0;
	for (size_t m = 0; m < config->meter_count; m++)
		if (config->meters[m].counted.counts &&
			config->meters[m].power_count == 0)
			bits |= MISSING_ELECTRICITY;
	return bits;
}

/* Is it only what registers alone tell? */
static bool is_alone(const struct finding_input *in, const struct outage *o)
{
	int bits = o->what & (MISSING_HEAT | MISSING_ELECTRICITY);
	return bits && !(bits & ~counted_alone(in->config));
}

/* The register spoke, but was not believed: an event tells of it. */
static bool is_unbelieved(const struct finding_input *in, const struct outage *o)
{
	bool heat = o->what & MISSING_HEAT;
	return is_alone(in, o) && !(o->what & MISSING_ALL) &&
	       finding_was_unbelieved(
		       in, heat, o->from_min * MS_PER_MIN, o->to_min * MS_PER_MIN);
}

static const char *remedy_of(
	const struct finding_input *in, const struct outage *o, const char *clock)
{
	if (clock)
		return CLOCK_REMEDY;
	if (is_unbelieved(in, o))
		return UNBELIEVED_REMEDY;
	return is_alone(in, o) && !reason_of(in, o) ? SILENT_REMEDY : OUTAGE_REMEDY;
}

static void add_outage(
	const struct finding_input *in, const struct outage *o, struct finding_list *list)
{
	char from[32], to[32];
	bool cut = is_cut(in, o);
	struct finding f = {.kind = cut ? FINDING_POWER_CUT : FINDING_MISSING_MINUTES,
		.since_ms = o->from_min * MS_PER_MIN,
		.until_ms = o->to_min * MS_PER_MIN,
		.size = (double)o->minutes,
		.unit = "min",
		.effect = (double)NAN};
	f.lasts = !in->rows_follow && o->to_min >= in->days[in->day_count - 1].end_min;
	time_text_local(f.since_ms, from);
	time_text_local(f.until_ms, to);
	if (cut) {
		f.evidence =
			xasprintf("From %s to %s nothing was heard, and the register "
				  "did not go on, though the unit draws %.0f W when "
				  "idle.",
				from, to, o->idle_w);
		f.remedy =
			xstrdup("Nothing is to be done about the account: no heat was "
				"made and none is missing. If it comes again without a "
				"reason, have the supply looked at by an electrician.");
	} else {
		const char *clock = clock_reason(in, o);
		const char *reason = clock ? clock : reason_of(in, o);
		_cleanup_(freep) char *part =
			o->minutes == length_of(o)
				? xstrdup("")
				: xasprintf(" for %lld of %lld minutes",
					  (long long)o->minutes, (long long)length_of(o));
		_cleanup_(freep) char *fluid = fluid_reason(in, o->what);
		if (fluid)
			reason = fluid;
		else if (!reason && is_unbelieved(in, o))
			reason = "what its register said was not believed";
		f.evidence = xasprintf("From %s to %s %s is known%s%s%s%s.", from, to,
			what_text(o->what), part,
			o->bridged_j > 0.0 ? "; electricity was bridged by the register"
					   : "",
			reason ? ": " : "", reason ? reason : "");
		f.remedy = fluid ? fluid_remedy(in, o->what)
				 : xstrdup(remedy_of(in, o, clock));
	}
	finding_add(list, &f);
}

/* A register's span closes after three hours, and of what stands still after a day, at
 * the next report: see daemon/account/register.c. */
enum { OPEN_MOST_MIN = MIN_PER_DAY + 60 };

/* The parts that reach up to from_min and of which these bits are missing: the first of
 * them, and *from_min where it begins. */
static size_t up_to(const struct outages *parts, size_t end, int bits, int64_t *from_min)
{
	for (; end > 0; end--) {
		const struct outage *part = &parts->items[end - 1];
		if (!(part->what & bits) || *from_min - part->to_min > JOINED_MIN)
			break;
		*from_min = part->from_min;
	}
	return end;
}

/* What a span that is open yet will tell is not missing: up to where anything is known.
 */
static void leave_open(const struct finding_input *in, int bit, struct outages *parts)
{
	int64_t end_min = in->days[in->day_count - 1].end_min;
	size_t end = up_to(parts, parts->count, MISSING_ALL, &end_min);
	int64_t from_min = end_min;
	size_t first = up_to(parts, end, bit, &from_min);
	if (end_min - from_min > OPEN_MOST_MIN)
		return;
	for (size_t i = first; i < end; i++)
		parts->items[i].what &= ~bit;
}

static void leave_open_spans(const struct finding_input *in, struct outages *parts)
{
	int bits = counted_alone(in->config);
	if (in->rows_follow || parts->count == 0)
		return;
	if (bits & MISSING_HEAT)
		leave_open(in, MISSING_HEAT, parts);
	if (bits & MISSING_ELECTRICITY)
		leave_open(in, MISSING_ELECTRICITY, parts);
}

static bool beyond_fluid(const struct finding_day *day)
{
	for (size_t i = 0; i < day->count; i++)
		if (day->items[i].kind == EVIDENCE_MISSING &&
			(int)day->items[i].values[0] & (MISSING_COLD | MISSING_HOT))
			return true;
	return false;
}

/* Outages of heat say nothing where no heat can be known. */
static int asked_for(const struct finding_input *in)
{
	for (size_t d = 0; d < in->day_count; d++)
		if (in->days[d].heat_ms > 0 || beyond_fluid(&in->days[d]))
			return MISSING_HEAT | MISSING_ELECTRICITY | MISSING_ALL |
			       MISSING_COLD | MISSING_HOT;
	return MISSING_ELECTRICITY | MISSING_ALL;
}

/* Stretches that events explain are one as long as they come again within days. */
static void join_unbelieved(const struct finding_input *in, struct outages *outages)
{
	struct outage *open = NULL;
	size_t kept = 0;
	for (size_t i = 0; i < outages->count; i++) {
		const struct outage o = outages->items[i];
		bool unbelieved = !is_short(&o) && is_unbelieved(in, &o);
		if (unbelieved && open && open->what == o.what &&
			o.from_min - open->to_min <= TOGETHER_MIN) {
			take_in(open, &o);
			continue;
		}
		outages->items[kept] = o;
		if (unbelieved)
			open = &outages->items[kept];
		kept++;
	}
	outages->count = kept;
}

void find_missing(const struct finding_input *in, struct finding_list *list)
{
	struct outages parts = {0}, outages = {0};
	collect(in, asked_for(in), &parts);
	leave_open_spans(in, &parts);
	for (size_t i = 0; i < parts.count; i++)
		if (parts.items[i].what)
			add_outage_part(&outages, &parts.items[i]);
	join_unbelieved(in, &outages);
	for (size_t i = 0; i < outages.count; i++) {
		const struct outage *o = &outages.items[i];
		if (o->what & MISSING_ALL && !in->rows_follow &&
			o->to_min >= in->days[in->day_count - 1].end_min)
			continue; /* what is known ends there */
		if (!is_short(o))
			add_outage(in, o, list);
	}
	free(parts.items);
	free(outages.items);
}
