/*
 * See finding.h. Each file finds one idea; here are the order of the list, and what all
 * need: runs of days that say the same, and the effect on a season's factor.
 */
#include "finding.h"

#include <heatbook/calendar.h>

#include <math.h>
#include <string.h>

/* ---- the list ---- */

void finding_add(struct finding_list *list, const struct finding *finding)
{
	if (list->count == list->room) {
		list->room = list->room ? 2 * list->room : 16;
		list->items = xrealloc(list->items, list->room, sizeof(*list->items));
	}
	list->items[list->count++] = *finding;
}

void finding_release(struct finding *finding)
{
	free(finding->evidence);
	free(finding->remedy);
	free(finding->correction);
}

void findings_release(struct finding_list *list)
{
	for (size_t i = 0; i < list->count; i++)
		finding_release(&list->items[i]);
	free(list->items);
	*list = (struct finding_list){0};
}

static double weight(const struct finding *f)
{
	return isnan(f->effect) ? 0.0 : fabs(f->effect);
}

/* What weighs most first, then what is latest; whole order, so that qsort() decides
 * nothing. */
static int by_weight(const void *left, const void *right)
{
	const struct finding *a = left, *b = right;
	if (weight(a) != weight(b))
		return weight(a) < weight(b) ? 1 : -1;
	if (a->until_ms != b->until_ms)
		return a->until_ms < b->until_ms ? 1 : -1;
	if (a->since_ms != b->since_ms)
		return a->since_ms < b->since_ms ? 1 : -1;
	if (a->kind != b->kind)
		return a->kind < b->kind ? -1 : 1;
	return strcmp(a->subject, b->subject);
}

void findings_of(const struct finding_input *in, struct finding_list *list)
{
	static finding_look *const looks[] = {find_pair_offset, find_return_above,
		find_power_reversed, find_register, find_apparent, find_flow_zero,
		find_flow_falling, find_pressure_falling, find_efficiency, find_belief,
		find_balance, find_immersion, find_frozen, find_silent, find_coarse,
		find_slow, find_skewed, find_flag_late, find_clocks, find_words, find_sun,
		find_missing, find_standing, find_repeats, find_events, find_facts,
		find_pump_off, find_signs, find_contradicted, find_phases};
	for (size_t i = 0; i < ARRAY_LEN(looks); i++)
		looks[i](in, list);
	if (list->count)
		qsort(list->items, list->count, sizeof(*list->items), by_weight);
}

/* ---- days ---- */

const struct evidence *finding_item(
	const struct finding_day *day, enum evidence_kind kind, int subject)
{
	for (size_t i = 0; i < day->count; i++)
		if (day->items[i].kind == kind &&
			(subject < 0 || day->items[i].subject == subject))
			return &day->items[i];
	return NULL;
}

enum { ABOUT_DAYS = 3 };

double finding_spacing(const struct finding_input *in, size_t day, int channel)
{
	double spacing = 0.0;
	size_t first = day > ABOUT_DAYS ? day - ABOUT_DAYS : 0;
	for (size_t d = first; d <= day + ABOUT_DAYS && d < in->day_count; d++)
		for (size_t i = 0; i < in->days[d].count; i++) {
			const struct evidence *e = &in->days[d].items[i];
			if (e->kind == EVIDENCE_SLOW &&
				(channel < 0 || e->subject == channel) &&
				e->values[0] > spacing)
				spacing = e->values[0];
		}
	return spacing;
}

bool finding_run(const struct finding_input *in, day_test *test, const void *context,
	size_t gap, size_t *at, struct run *ret)
{
	size_t i = *at, since = 0;
	bool open = i == 0;
	for (; i < in->day_count; i++) {
		int says = test(&in->days[i], context);
		if (says == 1)
			break;
		open = open && says != 0;
	}
	*at = i;
	if (i == in->day_count)
		return false;
	*ret = (struct run){.first = i, .last = i, .open = open};
	for (; i < in->day_count && since <= gap; i++) {
		since++;
		if (test(&in->days[i], context) == 1) {
			ret->last = i;
			ret->hits++;
			since = 0;
		}
	}
	*at = ret->last + 1;
	return true;
}

struct finding finding_new(const struct finding_input *in, enum finding_kind kind,
	const char *subject, struct run run)
{
	struct finding f = {.kind = kind,
		.since_ms = in->days[run.first].start_min * MS_PER_MIN,
		.until_ms = in->days[run.last].end_min * MS_PER_MIN,
		.lasts = !in->rows_follow && run.last + 2 >= in->day_count,
		.began_before = in->rows_precede && run.open,
		.size = (double)NAN,
		.unit = "",
		.effect = (double)NAN};
	(void)snprintf(f.subject, sizeof(f.subject), "%s", subject);
	return f;
}

const char *finding_date(int64_t min, char text[static 16])
{
	calendar_date_text(calendar_date(min * MS_PER_MIN), text);
	return text;
}

/* ---- the season's factor ---- */

struct run finding_season(const struct finding_input *in, size_t at)
{
	struct run season = {.first = at, .last = at};
	struct date begin =
		calendar_season(calendar_date(in->days[at].start_min * MS_PER_MIN),
			in->config->plant.season_start);
	int64_t from = calendar_day_start(begin) / MS_PER_MIN;
	int64_t to = calendar_day_start(calendar_add(begin, 1, 0, 0)) / MS_PER_MIN;
	while (season.first > 0 && in->days[season.first - 1].start_min >= from)
		season.first--;
	while (season.last + 1 < in->day_count &&
		in->days[season.last + 1].start_min < to)
		season.last++;
	return season;
}

struct run finding_in_season(const struct finding_input *in, struct run run)
{
	struct run season = finding_season(in, run.last);
	if (run.first < season.first)
		run.first = season.first;
	return run;
}

double finding_effect(const struct finding_input *in, struct run run, double heat_j,
	double electricity_j)
{
	double heat = 0.0, electricity = 0.0;
	struct run season = finding_season(in, run.last);
	for (size_t i = season.first; i <= season.last; i++) {
		heat += (double)in->days[i].paired_heat_j;
		electricity += (double)in->days[i].paired_electricity_j;
	}
	if (electricity <= 0.0 || electricity - electricity_j <= 0.0)
		return (double)NAN;
	return heat / electricity - (heat - heat_j) / (electricity - electricity_j);
}

int finding_meter_of(const struct finding_input *in, int channel)
{
	for (size_t m = 0; m < in->config->meter_count; m++)
		for (size_t p = 0; p < in->config->meters[m].power_count; p++)
			if (in->config->meters[m].power[p] == channel)
				return (int)m;
	return -1;
}

double finding_factor_without(
	const struct finding_input *in, struct run run, size_t behind)
{
	struct run season = finding_season(in, run.last);
	double heat = 0.0, electricity = 0.0;
	for (size_t d = season.first; d <= season.last; d++) {
		if ((d >= run.first && d <= run.last + behind) ||
			finding_any_stands(in, &in->days[d]))
			continue;
		heat += (double)in->days[d].paired_heat_j;
		electricity += (double)in->days[d].paired_electricity_j;
	}
	return heat > 0.0 && electricity > 0.0 ? heat / electricity : (double)NAN;
}
