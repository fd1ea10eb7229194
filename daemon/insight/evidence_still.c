/*
 * A register that stands still while energy flows: its reader repeats an old reading.
 *
 * What flows is told by what stands beside it: of a meter its own power, of heat what the
 * pipes or the heat meter's power say. A register alone is held against the other side,
 * of which it had to have its part: electricity of a tenth of the heat at least, heat of
 * as much as the electricity. Steps are the configured ones, or as large as the day's own
 * changes are: a register of whole units of ten stands for hours by itself. Own
 * judgement, all of it.
 */
#include "evidence.h"

#include <math.h>

enum { STEPS_LEAST = 3 };
#define LEAST_J       (0.2 * J_PER_KWH)
#define LEAST_PART_J  (2.0 * J_PER_KWH) /* of a stretch that a day's edge cuts */
#define MOST_FACTOR   10.0
#define MISSING_SHARE 0.5

/* Minutes of a quantity; NaN where nothing is known. */
struct told {
	double *kwh;     /* its registers together */
	double *said_w;  /* what stands beside it */
	double *least_w; /* what flowed at least, by that or by the other side */
};

static void add_channels(
	const struct day_view *view, const int *channels, size_t count, double *sum)
{
	for (size_t k = 0; k < count; k++) {
		const double *values = day_values(view->day, channels[k]);
		for (size_t i = 0; i < view->count; i++)
			sum[i] = (k ? sum[i] : 0.0) + values[i];
	}
}

static void pipes_w(const struct day_view *view, double *ret)
{
	for (size_t i = 0; view->flow_c && view->return_c && i < view->count; i++) {
		double lpm = view->rate_lpm ? view->rate_lpm[i] : (double)NAN;
		ret[i] = W_PER_LPM_K * lpm * (view->flow_c[i] - view->return_c[i]);
	}
}

static void told_of_heat(const struct day_view *view, struct told *t)
{
	int power = config_role(view->day->config, ROLE_HEAT_POWER);
	if (power >= 0)
		add_channels(view, &power, 1, t->said_w);
	else
		pipes_w(view, t->said_w);
	for (size_t i = 0; i < view->count; i++) {
		bool beside = view->running[i] == 1 && !isnan(view->unit_w[i]);
		t->least_w[i] = !isnan(t->said_w[i]) ? t->said_w[i]
				: beside             ? view->unit_w[i]
						     : (double)NAN;
	}
}

static void told_of_meter(const struct day_view *view, size_t m, struct told *t)
{
	const struct meter_config *meter = &view->day->config->meters[m];
	add_channels(view, meter->power, meter->power_count, t->said_w);
	for (size_t i = 0; i < view->count; i++) {
		const struct day_booked *b = &view->day->booked[i];
		bool warms = meter->serves & DEVICE_COMPRESSOR && view->running[i] != 0 &&
			     b->heat_ms >= MS_PER_MIN / 2;
		t->least_w[i] = !isnan(t->said_w[i]) ? t->said_w[i]
				: warms              ? b->heat_j / (60.0 * MOST_FACTOR)
						     : (double)NAN;
	}
}

/* ---- the day ---- */

struct day_sum {
	double least_j;  /* over minutes in which the register is known */
	double rose_j;   /* what the register rose by */
	double change_j; /* the least by which it did, of readings that held */
};

static double joules(double w)
{
	return w > 0.0 ? 60.0 * w : 0.0; /* NaN, too */
}

static struct day_sum sum_of(const struct day_view *view, const struct told *t)
{
	struct day_sum sum = {.change_j = INFINITY};
	double last = (double)NAN, held = (double)NAN;
	for (size_t i = 0; i < view->count; i++) {
		double kwh = t->kwh[i];
		if (isnan(kwh))
			continue;
		sum.least_j += joules(t->least_w[i]);
		if (kwh > last)
			sum.rose_j += (kwh - last) * J_PER_KWH;
		if (i > 0 && kwh == t->kwh[i - 1]) {
			if (kwh > held)
				sum.change_j =
					fmin(sum.change_j, (kwh - held) * J_PER_KWH);
			held = kwh;
		}
		last = kwh;
	}
	return sum;
}

struct stretch {
	size_t from, to;
	double least_j;
};

/* The one value in which most flowed. */
static struct stretch longest(const struct day_view *view, const struct told *t)
{
	struct stretch best = {0}, now = {0};
	for (size_t i = 0; i <= view->count; i++) {
		if (i == view->count || t->kwh[i] != t->kwh[now.from]) {
			now.to = i;
			if (now.least_j > best.least_j)
				best = now;
			now = (struct stretch){.from = i};
		}
		if (i < view->count && !isnan(t->kwh[i]))
			now.least_j += joules(t->least_w[i]);
	}
	return best;
}

static bool is_still(const struct day_view *view, const struct stretch *s,
	const struct day_sum *day, int64_t step_j)
{
	double change_j = isinf(day->change_j) ? 0.0 : day->change_j;
	double steps_j = STEPS_LEAST * fmax((double)step_j, change_j);
	bool whole = s->least_j >= day->least_j / 2.0 && s->least_j >= LEAST_J;
	bool cut = (s->from == 0 || s->to == view->count) && s->least_j >= LEAST_PART_J;
	return (whole || cut) && s->least_j >= steps_j &&
	       day->least_j - day->rose_j >= MISSING_SHARE * s->least_j;
}

/* Sums over the stretch; NaN where nothing of it is known. */
static double sum_j(const double *w, const struct stretch *s)
{
	double j = (double)NAN;
	for (size_t i = s->from; i < s->to; i++)
		if (!isnan(w[i]))
			j = (isnan(j) ? 0.0 : j) + 60.0 * w[i];
	return j;
}

static void add_still(const struct day_view *view, size_t quantity, const struct told *t,
	const struct stretch *s, double share)
{
	bool is_heat = quantity == COUNTED_HEAT;
	const struct counted *c = config_counted(view->day->config, quantity);
	struct evidence item = evidence_new(view, EVIDENCE_STILL, c->registers[0]);
	double other_j = is_heat ? sum_j(view->unit_w, s) : 0.0, booked_j = 0.0;
	for (size_t i = s->from; i < s->to; i++) {
		const struct day_booked *b = &view->day->booked[i];
		double j = is_heat ? b->heat_j : day_meter_j(view->day, quantity)[i];
		booked_j += isnan(j) ? 0.0 : j;
		other_j += is_heat ? 0.0 : b->heat_j;
	}
	item.at_min += (int64_t)s->from;
	item.minutes = (int64_t)(s->to - s->from);
	item.values[0] = t->kwh[s->from];
	item.values[1] = sum_j(t->said_w, s);
	item.values[2] = other_j;
	item.values[3] = booked_j;
	item.values[4] = share;
	evidence_add(view->list, &item);
}

static void look_register(const struct day_view *view, size_t quantity,
	const struct counted *c, struct told *t)
{
	add_channels(view, c->registers, c->register_count, t->kwh);
	if (quantity == COUNTED_HEAT)
		told_of_heat(view, t);
	else
		told_of_meter(view, quantity, t);
	const struct day_sum day = sum_of(view, t);
	const struct stretch s = longest(view, t);
	if (is_still(view, &s, &day, c->counting.step_j))
		add_still(view, quantity, t, &s, s.least_j / day.least_j);
}

/* Increments may well be equal; a difference is booked of two registers. */
static bool may_stand(const struct config *config, size_t quantity)
{
	const struct counted *c = config_counted(config, quantity);
	bool difference = quantity != COUNTED_HEAT && quantity < config->meter_count &&
			  config->meters[quantity].difference;
	return c && c->counting.kind != REGISTER_INCREMENT && !difference;
}

void look_at_still(const struct day_view *view)
{
	size_t n = view->count;
	for (size_t q = 0; q < COUNTED_MOST; q++) {
		if (!may_stand(view->day->config, q))
			continue;
		double *values = xmalloc((3 * n + 1) * sizeof(*values));
		struct told t = {values, values + n, values + 2 * n};
		for (size_t i = 0; i < 3 * n; i++)
			values[i] = (double)NAN;
		look_register(view, q, config_counted(view->day->config, q), &t);
		free(values);
	}
}
