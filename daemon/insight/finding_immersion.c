/*
 * An immersion heater that runs oftener than it used to, or at another time (habit.h).
 */
#include "finding.h"

#include <heatbook/calendar.h>
#include <heatbook/habit.h>

#include <math.h>

struct heater {
	const struct finding_input *in;
	int meter;
	bool *looked, *unplanned; /* by day */
	struct heater_uses uses;
};

static void take_uses(struct heater *h)
{
	for (size_t d = 0; d < h->in->day_count; d++) {
		const struct finding_day *day = &h->in->days[d];
		h->looked[d] = day->looked;
		for (size_t i = 0; i < day->count; i++)
			if (day->items[i].kind == EVIDENCE_IMMERSION &&
				day->items[i].subject == h->meter)
				heater_uses_add(
					&h->uses, d, day->start_min, &day->items[i]);
	}
}

static void heater_init(struct heater *h, const struct finding_input *in, int meter)
{
	*h = (struct heater){.in = in, .meter = meter};
	h->looked = xcalloc(2 * in->day_count + 1, sizeof(*h->looked));
	h->unplanned = h->looked + in->day_count;
	take_uses(h);
	habits_judge(h->looked, &h->uses);
	for (size_t i = 0; i < h->uses.count; i++)
		if (h->uses.habits[i] != HABIT_USUAL)
			h->unplanned[h->uses.items[i].day] = true;
}

static void heater_release(struct heater *h)
{
	heater_uses_release(&h->uses);
	free(h->looked);
}

static int is_unplanned(const struct finding_day *day, const void *context)
{
	const struct heater *h = context;
	return h->unplanned[day - h->in->days];
}

/* What was unplanned of a run of days, in days; uses that were usual lie between, on the
 * same days as well. */
struct unplanned {
	double j;
	size_t often, elsewhen;
	int64_t first_elsewhen_min;
};

static struct unplanned unplanned_of(const struct heater *h, struct run run)
{
	struct unplanned sum = {0};
	size_t often_day = SIZE_MAX, elsewhen_day = SIZE_MAX;
	for (size_t i = 0; i < h->uses.count; i++) {
		const struct heater_use *use = &h->uses.items[i];
		enum habit habit = h->uses.habits[i];
		if (use->day < run.first || use->day > run.last || habit == HABIT_USUAL)
			continue;
		sum.j += use->j;
		if (habit == HABIT_TOO_OFTEN) {
			sum.often += use->day != often_day;
			often_day = use->day;
			continue;
		}
		if (sum.elsewhen == 0)
			sum.first_elsewhen_min =
				h->in->days[use->day].start_min + use->at_min;
		sum.elsewhen += use->day != elsewhen_day;
		elsewhen_day = use->day;
	}
	return sum;
}

static char *unplanned_text(const struct unplanned *sum)
{
	struct buffer text = {0};
	char first[32];
	if (sum->often)
		buffer_addf(&text,
			"On %zu days it ran though it had run on two days or more of the "
			"week before, at that time of day, oftener than in a week of the "
			"two months before that. ",
			sum->often);
	if (sum->elsewhen) {
		time_text_local(sum->first_elsewhen_min * MS_PER_MIN, first);
		first[10] = ' ';
		buffer_addf(&text,
			"On %zu days it ran at a time of day that it had not had in the "
			"two months before, first at %.16s. ",
			sum->elsewhen, first);
	}
	buffer_addf(&text, "That took %.1f kWh.", sum->j / J_PER_KWH);
	char *result = xstrdup(buffer_text(&text));
	buffer_release(&text);
	return result;
}

/* Heat for electricity of hot water on a run's days; NaN: the unit made none. */
static double unit_cop(const struct finding_input *in, struct run run)
{
	double heat_j = 0.0, electricity_j = 0.0;
	for (size_t d = run.first; d <= run.last; d++) {
		const struct evidence *e =
			finding_item(&in->days[d], EVIDENCE_EFFICIENCY, MODE_HOT_WATER);
		heat_j += e ? e->values[0] : 0.0;
		electricity_j += e ? e->values[1] : 0.0;
	}
	return electricity_j > 0.0 ? heat_j / electricity_j : (double)NAN;
}

/* The unit would have made the same heat, as it made hot water on these days; where it
 * makes none, the cylinder would have had less of it. */
static double effect_of(
	const struct finding_input *in, struct run now, double j, bool heat_counts)
{
	double cop = unit_cop(in, now);
	if (cop > 1.0)
		return finding_effect(in, now, heat_counts ? 0.0 : -j, j - j / cop);
	return finding_effect(in, now, heat_counts ? j : 0.0, j);
}

static void add_immersion(
	const struct heater *h, struct run run, struct finding_list *list)
{
	const struct finding_input *in = h->in;
	unsigned bit = 1u << h->meter;
	struct unplanned sum = unplanned_of(h, run);
	struct run now = finding_in_season(in, run);
	double now_j = unplanned_of(h, now).j;
	struct finding f = finding_new(
		in, FINDING_IMMERSION_UNPLANNED, in->config->meters[h->meter].name, run);
	f.size = sum.j / J_PER_KWH;
	f.unit = "kW.h";
	if (in->boundary.meters & bit)
		f.effect = effect_of(in, now, now_j, in->boundary.heat_plus & bit);
	f.evidence = unplanned_text(&sum);
	f.remedy =
		xstrdup("See its timer and whether the control asks for it (a boost that "
			"was left on, a unit that does not reach the cylinder's "
			"target alone). What it heats costs as much as it draws. If "
			"these are runs against germs (a scheduled disinfection), do "
			"not change them because of this finding.");
	finding_add(list, &f);
}

void find_immersion(const struct finding_input *in, struct finding_list *list)
{
	for (size_t m = 0; m < in->config->meter_count; m++) {
		struct heater heater;
		struct run run;
		size_t at = 0;
		heater_init(&heater, in, (int)m);
		while (finding_run(in, is_unplanned, &heater, 3, &at, &run))
			add_immersion(&heater, run, list);
		heater_release(&heater);
	}
}
