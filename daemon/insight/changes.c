/*
 * Noted changes and the days around them. See changes.h.
 *
 * Heat and electricity of a day are those of the same minutes (paired), of the modes that
 * warm rooms: heating, overrun, freeze protection and defrosts, net. What a register
 * alone tells is of no mode: then only electricity in all is compared. A day counts from
 * 95 % of its time on, like a day of the signature.
 */
#include <heatbook/changes.h>

#include <heatbook/calendar.h>

#include <math.h>
#include <time.h>

#define KNOWN_LEAST 0.95
#define J_PER_KWH   3.6e6
#define DAY_S       86400

static int64_t day_number(int64_t t_ms)
{
	struct date date = calendar_date(t_ms);
	struct tm tm = {.tm_year = date.year - 1900,
		.tm_mon = date.month - 1,
		.tm_mday = date.day};
	return (int64_t)timegm(&tm) / DAY_S;
}

int64_t change_day_start(int64_t day)
{
	time_t t = (time_t)(day * DAY_S);
	struct tm tm;
	(void)gmtime_r(&t, &tm); /* of years within any sense */
	return calendar_day_start(
		(struct date){tm.tm_year + 1900, tm.tm_mon + 1, tm.tm_mday});
}

/* ---- what a plant's days can tell ---- */

struct told {
	bool heat;        /* for the rooms */
	bool electricity; /* for the rooms */
	bool whole;
	bool outdoor;
};

static bool all_have_power(const struct config *config, const struct boundary *boundary)
{
	for (size_t m = 0; m < config->meter_count; m++)
		if (boundary->needs & 1U << m && !config_meter_has_power(config, m))
			return false;
	return true;
}

static struct told told_by(const struct config *config, const struct boundary *boundary)
{
	bool by_register = config->plant.heat_source == HEAT_REGISTER;
	struct told told = {.whole = boundary->meters != 0,
		.outdoor = config_role(config, ROLE_OUTDOOR_TEMPERATURE) >= 0,
		.heat = !by_register || config_role(config, ROLE_HEAT_POWER) >= 0};
	if (!by_register && config->plant.heat_source == HEAT_COMPUTED)
		told.heat = config_role(config, ROLE_FLOW_TEMPERATURE) >= 0 &&
			    config_role(config, ROLE_RETURN_TEMPERATURE) >= 0;
	if (config->plant.heat_source == HEAT_POWER)
		told.heat = config_role(config, ROLE_HEAT_POWER) >= 0;
	told.electricity = told.whole && told.heat && all_have_power(config, boundary);
	return told;
}

static void say_untold(const struct config *config, const struct told *told,
	struct insight_answer *answer)
{
	if (config_role(config, ROLE_ROOM_TEMPERATURE) < 0)
		insight_lacks(answer,
			"[channel room_temperature]: whether heat was saved "
			"by colder rooms is not known");
	if (!told->outdoor)
		insight_lacks(answer,
			"[channel outdoor_temperature]: without the weather "
			"days cannot be compared");
	if (!told->heat)
		insight_lacks(answer,
			"heat by the minute: the channels that [plant] heat_source needs "
			"(a register alone does not tell which mode took its heat)");
	if (!told->whole)
		insight_lacks(answer,
			"[meter] of the unit: what the change did to electricity is not "
			"known");
	else if (told->heat && !told->electricity)
		insight_lacks(answer,
			"power of each [meter]: a register alone does not tell which "
			"mode "
			"took its electricity, so only electricity in all is compared");
}

/* ---- days ---- */

static double kwh(int64_t j)
{
	return (double)j / J_PER_KWH;
}

static bool known_enough(const struct insight_day *day, const struct told *told,
	const struct boundary *boundary)
{
	if (told->whole && told->heat)
		return insight_share(day, day->whole.paired_ms) >= KNOWN_LEAST;
	if (told->heat)
		return insight_share(day, day->whole.heat_ms) >= KNOWN_LEAST;
	for (size_t m = 0; m < METERS_MOST; m++)
		if (boundary->meters & 1U << m &&
			insight_share(day, day->meter_ms[m]) < KNOWN_LEAST)
			return false;
	return true;
}

static double whole_kwh(const struct insight_day *day, const struct told *told,
	const struct boundary *boundary)
{
	if (!told->whole)
		return (double)NAN;
	if (told->heat)
		return kwh(day->whole.paired_electricity_j);
	int64_t sum_j = 0;
	for (size_t m = 0; m < METERS_MOST; m++)
		if (boundary->meters & 1U << m)
			sum_j += day->meter_j[m];
	return kwh(sum_j);
}

static struct comparison_day day_of(const struct insight_day *day,
	const struct insight_day *before, const struct told *told,
	const struct boundary *boundary)
{
	struct insight_part space = insight_space(day);
	int64_t heat_j = told->whole ? space.paired_heat_j : space.heat_j;
	return (struct comparison_day){.day = day_number(day->start_ms),
		.outdoor_c = day->outdoor_c,
		.outdoor_before_c = before->outdoor_c,
		.heat_kwh = told->heat ? kwh(heat_j) : (double)NAN,
		.electricity_kwh =
			told->electricity ? kwh(space.paired_electricity_j) : (double)NAN,
		.whole_kwh = whole_kwh(day, told, boundary),
		.room_c = insight_share(day, day->room_ms) >= KNOWN_LEAST ? day->room_c
									  : (double)NAN};
}

struct span_ms {
	int64_t from, to;
};

/* The caller frees them. */
static size_t side_of(const struct insight_days *days, const struct told *told,
	struct span_ms span, struct change_days *ret, struct comparison_day **ret_days)
{
	struct comparison_day *out = xcalloc(days->count + 1, sizeof(*out));
	size_t n = 0;
	for (size_t i = 1; i < days->count; i++) {
		const struct insight_day *day = &days->days[i], *before = day - 1;
		if (day->start_ms < span.from || day->end_ms > span.to ||
			day->observed_ms == 0)
			continue;
		ret->days++;
		if (insight_share(day, day->outdoor_ms) < KNOWN_LEAST ||
			insight_share(before, before->outdoor_ms) < KNOWN_LEAST)
			ret->no_weather++;
		else if (!known_enough(day, told, &days->boundary))
			ret->little++;
		else
			out[n++] = day_of(day, before, told, &days->boundary);
	}
	*ret_days = out;
	return n;
}

/* ---- one change ---- */

/* Whole days before and after; where a change is amid a day that day is neither. */
static struct span_ms before_of(const struct config *config, size_t i)
{
	const struct change_config *c = &config->changes[i];
	struct date day = calendar_date(c->at_ms);
	struct span_ms span = {calendar_day_start(calendar_add(day, 0, 0, -CHANGES_DAYS)),
		calendar_day_start(day)};
	if (i > 0 && c[-1].at_ms > span.from)
		span.from = c[-1].at_ms;
	return span;
}

static struct span_ms after_of(const struct config *config, size_t i, int64_t now_ms)
{
	const struct change_config *c = &config->changes[i];
	struct date day = calendar_date(c->at_ms);
	struct span_ms span = {
		c->at_ms, calendar_day_start(calendar_add(day, 0, 0, CHANGES_DAYS))};
	if (i + 1 < config->change_count && c[1].at_ms < span.to)
		span.to = c[1].at_ms;
	if (now_ms < span.to)
		span.to = now_ms;
	return span;
}

static void say_left_out(
	const struct change_days *days, const char *side, struct insight_answer *answer)
{
	if (days->little + days->no_weather == 0)
		return;
	insight_lacks(answer,
		"of %zu days %s it %zu are known for less than 95 %% of their heat and "
		"electricity, %zu of their outdoor temperature or that of the day before",
		days->days, side, days->little, days->no_weather);
}

static void judge(const struct insight_days *days, const struct told *told, size_t i,
	int64_t now_ms, struct change_judged *ret)
{
	const struct config *config = days->config;
	const struct change_config *change = &config->changes[i];
	struct span_ms first = before_of(config, i), second = after_of(config, i, now_ms);
	*ret = (struct change_judged){.change = change,
		.from_ms = first.from,
		.to_ms = second.to > change->at_ms ? second.to : first.to};
	say_untold(config, told, &ret->answer);
	_cleanup_(freep) struct comparison_day *before = NULL, *after = NULL;
	size_t before_count = side_of(days, told, first, &ret->before, &before);
	size_t after_count = side_of(days, told, second, &ret->after, &after);
	if (now_ms <= change->at_ms)
		insight_lacks(&ret->answer, "time: the change lies ahead");
	if (!told->outdoor || (!told->heat && !told->whole))
		before_count = after_count = 0;
	comparison_judge((struct comparison_side){before, before_count},
		(struct comparison_side){after, after_count}, &ret->comparison,
		&ret->answer);
	if (ret->comparison.verdict == COMPARISON_NOT_KNOWN) {
		say_left_out(&ret->before, "before", &ret->answer);
		say_left_out(&ret->after, "after", &ret->answer);
	}
}

/* The changes that are asked for. */
static void chosen(
	const struct config *config, size_t which, size_t *ret_first, size_t *ret_end)
{
	*ret_first = which == CHANGES_ALL ? 0 : which;
	*ret_end = which == CHANGES_ALL ? config->change_count : which + 1;
}

void changes_span(const struct config *config, size_t which, int64_t now_ms,
	int64_t *ret_from_ms, int64_t *ret_to_ms)
{
	size_t first, end;
	chosen(config, which, &first, &end);
	*ret_from_ms = *ret_to_ms = now_ms;
	if (first == end)
		return;
	/* A day more, for its weather. */
	struct date from = calendar_date(before_of(config, first).from);
	*ret_from_ms = calendar_day_start(calendar_add(from, 0, 0, -1));
	*ret_to_ms = after_of(config, end - 1, now_ms).to;
	if (*ret_to_ms <= *ret_from_ms)
		*ret_to_ms = calendar_day_start(from);
}

void changes_judge(const struct insight_days *days, size_t which, int64_t now_ms,
	struct changes *ret)
{
	struct told told = told_by(days->config, &days->boundary);
	size_t first, end;
	chosen(days->config, which, &first, &end);
	*ret = (struct changes){.version = days->version, .older = days->older};
	changes_span(days->config, which, now_ms, &ret->from_ms, &ret->to_ms);
	ret->items = xcalloc(end - first + 1, sizeof(*ret->items));
	for (size_t i = first; i < end; i++)
		judge(days, &told, i, now_ms, &ret->items[ret->count++]);
}

void changes_release(struct changes *changes)
{
	for (size_t i = 0; i < changes->count; i++) {
		comparison_release(&changes->items[i].comparison);
		insight_release(&changes->items[i].answer);
	}
	free(changes->items);
	*changes = (struct changes){0};
}
