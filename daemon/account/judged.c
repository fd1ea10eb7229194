/*
 * The accountant's side of the rules: the row of a minute that they judge, and where that
 * minute's slots go once they have.
 *
 * A slot that becomes unassigned counts as observed only where some energy was known in
 * it, as in any other unassigned time. Joules that registers may rule are rounded before,
 * slot by slot: slots that become one mode then add up to exactly what registers were
 * told that rows hold.
 */
#include "accountant.h"

#include <math.h>

/* Of less than that a mean says little. */
#define KNOWN_LEAST_MS (MS_PER_MIN / 2)

static double mean_of(
	const struct accountant *a, const struct minute_channel *channels, enum role role)
{
	int c = a->role[role];
	return c >= 0 && channels[c].known_ms >= KNOWN_LEAST_MS ? channels[c].mean
								: (double)NAN;
}

/* As metered, or as assumed while water moved. */
static double mean_flow(const struct accountant *a, const struct minute_channel *channels)
{
	int64_t known_ms = a->open.moved_ms + a->open.still_ms;
	double assumed_lpm = a->config->plant.assumed_flow_lpm;
	if (assumed_lpm <= 0.0)
		return mean_of(a, channels, ROLE_FLOW_RATE);
	return known_ms < KNOWN_LEAST_MS
		       ? (double)NAN
		       : assumed_lpm * (double)a->open.moved_ms / (double)known_ms;
}

static double share_on(int64_t on_ms, int64_t off_ms, bool any_is_on)
{
	if (on_ms + off_ms < KNOWN_LEAST_MS)
		return (double)NAN;
	return (any_is_on ? on_ms > 0 : on_ms > off_ms) ? 1.0 : 0.0;
}

/* Mean power of the meters that a question is about; NaN when one of them says nothing.
 */
static double power_w(const struct accountant *a, rules_reads *reads)
{
	double sum_w = (double)NAN;
	for (size_t m = 0; m < a->config->meter_count; m++) {
		double j = 0.0;
		int64_t ms = 0;
		if (!reads(a->config, m))
			continue;
		for (size_t i = 0; i < SLOT_COUNT; i++) {
			j += a->open.slots[i].meter_j[m];
			ms += a->open.slots[i].meter_ms[m];
		}
		if (ms < KNOWN_LEAST_MS)
			return (double)NAN;
		sum_w = (isnan(sum_w) ? 0.0 : sum_w) + j * 1000.0 / (double)ms;
	}
	return sum_w;
}

bool accountant_row(const struct accountant *a, const struct minute_channel *channels,
	int64_t minute, struct rules_row *ret)
{
	bool outside = a->role[ROLE_OUTDOOR_TEMPERATURE] >= 0;
	const struct rules_row row = {
		.minute = minute,
		.running = a->rules.needed.compressor
				   ? (double)NAN
				   : share_on(a->open.ran_ms, a->open.stood_ms, true),
		.power_w = power_w(a, rules_reads_compressor),
		.immersion_w = power_w(a, rules_reads_immersion),
		.flow_c = mean_of(a, channels, ROLE_FLOW_TEMPERATURE),
		.return_c = mean_of(a, channels, ROLE_RETURN_TEMPERATURE),
		.flow_lpm = mean_flow(a, channels),
		.outdoor_c = outside ? mean_of(a, channels, ROLE_OUTDOOR_TEMPERATURE)
				     : (double)INFINITY,
		.target_c = mean_of(a, channels, ROLE_TARGET_FLOW_TEMPERATURE),
		.cylinder_c = mean_of(a, channels, ROLE_CYLINDER_TEMPERATURE),
		.moved = share_on(a->open.moved_ms, a->open.still_ms, false),
	};
	const double told[] = {row.running, row.power_w, row.immersion_w, row.flow_c,
		row.return_c, row.flow_lpm, row.target_c, row.cylinder_c};
	bool any = false;
	for (size_t i = 0; i < ARRAY_LEN(told); i++)
		any = any || !isnan(told[i]);
	*ret = row;
	return any;
}

static double rounded(double j)
{
	return (double)whole_joules(j) + 0.0; /* no negative zero */
}

void accountant_round(struct accountant *a)
{
	for (size_t i = 0; i < a->slot_count; i++) {
		struct minute_mode *slot = &a->open.slots[i];
		if (!slot->seen)
			continue;
		for (size_t m = 0; m < a->config->meter_count; m++) {
			slot->meter_j[m] = rounded(slot->meter_j[m]);
			slot->gross_j[m] = rounded(slot->gross_j[m]);
		}
		if (a->counted[COUNTED_HEAT])
			slot->heat_j = rounded(slot->heat_j);
	}
}

/* Standing by rule is of whole minutes. */
static enum mode standing(struct accountant *a, const struct rules_verdict *v)
{
	const struct rules_row *row = &v->row;
	bool returns = a->role[ROLE_RETURN_TEMPERATURE] >= 0;
	int64_t t_ms = row->minute * MS_PER_MIN, until_ms;
	/* Also for whoever changes an input at this very instant. */
	if (v->stopped)
		a->memory.stop_ms = a->memory_before.stop_ms = t_ms;
	const struct mode_inputs in = {
		.operating = FLAG_ABSENT,
		.flow = isnan(row->moved)  ? FLAG_UNKNOWN
			: row->moved > 0.0 ? FLAG_ON
					   : FLAG_OFF,
		.outdoor_c = row->outdoor_c,
		.return_c = returns ? row->return_c : (double)INFINITY,
	};
	/* Flags alone tell what follows cooling, and have gone on since that minute. */
	struct mode_memory memory = a->memory;
	memory.cooled_ms = NEVER_MS;
	return mode_standing(&a->config->modes, &memory, &in, t_ms, &until_ms);
}

static enum mode resolve(const struct accountant *a, const struct rules_verdict *v,
	enum mode at_rest, int slot)
{
	const struct rules_needed *needed = &a->rules.needed;
	if (needed->compressor && v->compressor != FLAG_ON)
		return v->compressor == FLAG_OFF ? at_rest : MODE_UNASSIGNED;
	if (needed->defrost && v->defrost != FLAG_OFF)
		return v->defrost == FLAG_ON ? MODE_DEFROST : MODE_UNASSIGNED;
	switch (slot) {
	case SLOT_SERVICE:
		if (v->hot_water == FLAG_UNKNOWN)
			return MODE_UNASSIGNED;
		return v->hot_water == FLAG_ON ? MODE_HOT_WATER : MODE_HEATING;
	case SLOT_HEATING:
		return MODE_HEATING;
	case SLOT_HOT_WATER:
		return MODE_HOT_WATER;
	case SLOT_COOLING:
		return MODE_COOLING;
	default:
		return MODE_UNASSIGNED;
	}
}

static void add(const struct accountant *a, const struct minute_mode *from,
	struct minute_mode *to)
{
	to->seen = to->seen || from->seen;
	to->ms += from->ms;
	to->heat_j += from->heat_j;
	to->heat_ms += from->heat_ms;
	to->sensitivity_j_per_k += from->sensitivity_j_per_k;
	to->meter_seen |= from->meter_seen;
	for (size_t m = 0; m < a->config->meter_count; m++) {
		to->meter_j[m] += from->meter_j[m];
		to->meter_ms[m] += from->meter_ms[m];
		to->gross_j[m] += from->gross_j[m];
		to->gross_ms[m] += from->gross_ms[m];
	}
}

void accountant_judged(
	struct accountant *a, const struct rules_verdict *verdict, struct open_minute *m)
{
	enum mode at_rest = standing(a, verdict);
	if (!m)
		return;
	for (int slot = MODE_COUNT; slot < SLOT_COUNT; slot++) {
		enum mode mode = resolve(a, verdict, at_rest, slot);
		int64_t bare_ms = m->bare_ms[slot - MODE_COUNT];
		if (m->slots[slot].seen)
			add(a, &m->slots[slot], &m->slots[mode]);
		if (mode != MODE_UNASSIGNED && bare_ms > 0) {
			m->slots[mode].ms += bare_ms;
			m->slots[mode].seen = true;
		}
	}
}

enum mode accountant_mode(const struct accountant *a)
{
	const struct rules_memory *m = &a->rules.memory;
	struct rules_verdict now = {.compressor = (enum flag)m->compressor.on,
		.defrost = (enum flag)m->defrost.on,
		.hot_water = (enum flag)m->service.on};
	if (a->slot < MODE_COUNT)
		return (enum mode)a->slot;
	enum mode at_rest = a->flow == FLAG_OFF || a->flow == FLAG_ABSENT
				    ? MODE_STANDBY
				    : MODE_UNASSIGNED;
	return resolve(a, &now, at_rest, a->slot);
}
