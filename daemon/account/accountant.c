/*
 * Heat, electricity and mode from the signals in force.
 *
 * Rates are worked out once after each change of an input and hold until the next: the
 * product of flow and enthalpy difference is formed at every instant at which a factor
 * changes, never from averages. A rate is known only while all its inputs are. Signs
 * survive: a defrost that draws heat from the house is negative heat in its own mode.
 *
 * Where temperatures go along lines, the product is formed along these: a piece's heat is
 * the mean of what two instants of it say (Gauss and Legendre's, exact for a cubic), so
 * that only what water's enthalpy bends more in a piece is lost. Modes go by what was
 * said.
 *
 * Immersion electricity is booked to hot water whatever the plant does, since its heat
 * goes to the cylinder; the time for which it is known belongs to the mode in force, so
 * that observed times of the modes still add up to the minute.
 *
 * Where rules must tell the mode, time and energy go to slots until the minute is judged
 * (judged.c).
 *
 * Here heat and electricity are what power says; what registers say is told beside it
 * (accountant_counted.c).
 */
#include "accountant.h"

#include <math.h>
#include <stddef.h>
#include <string.h>

/* A gauge reading plus one atmosphere as the trade rounds it: absolute = gauge + 1 bar.
 */
#define GAUGE_TO_ABSOLUTE_BAR 1.0

static void mark(struct accountant *a, int channel)
{
	if (channel >= 0)
		a->is_input[channel] = true;
}

static void init_registers(struct accountant *a)
{
	for (size_t q = 0; q < COUNTED_MOST; q++) {
		const struct counted *c = config_counted(a->config, q);
		a->counted[q] = c;
		if (c)
			register_init(&a->registers[q], &c->counting);
		for (size_t i = 0; c && i < c->register_count; i++) {
			mark(a, c->registers[i]);
			a->is_register[c->registers[i]] = true;
			a->is_increment[c->registers[i]] |=
				c->counting.kind == REGISTER_INCREMENT;
		}
	}
}

void accountant_init(struct accountant *a, const struct config *config)
{
	static const enum role inputs[] = {ROLE_FLOW_TEMPERATURE, ROLE_RETURN_TEMPERATURE,
		ROLE_FLOW_RATE, ROLE_OUTDOOR_TEMPERATURE, ROLE_COMPRESSOR_FREQUENCY,
		ROLE_OPERATING_MODE, ROLE_VALVE, ROLE_DEFROST, ROLE_HEAT_POWER,
		ROLE_CIRCULATION_PUMP};

	*a = (struct accountant){.config = config};
	a->is_input = xcalloc(config->channel_count, sizeof(*a->is_input));
	a->is_register = xcalloc(config->channel_count, sizeof(*a->is_register));
	a->is_increment = xcalloc(config->channel_count, sizeof(*a->is_increment));
	int flow = config_role(config, ROLE_FLOW_RATE);
	a->heat = (struct heat_setting){
		.mixture = mixture_of(config->plant.fluid, config->plant.fluid_percent),
		.flow_sensor_pipe = config->plant.flow_sensor_pipe,
		.least_flow_lpm = config->plant.least_flow_lpm,
		.mass_flow = config->plant.assumed_mass ||
			     (flow >= 0 && config->channels[flow].unit->mass),
	};
	for (size_t r = 0; r < ROLE_COUNT; r++)
		a->role[r] = config_role(config, (enum role)r);
	for (size_t i = 0; i < ARRAY_LEN(inputs); i++)
		mark(a, a->role[inputs[i]]);
	mark(a, config->plant.pressure_channel);
	if (config->plant.assumed_flow_lpm > 0.0)
		mark(a, config->plant.assumed_channel);
	for (size_t m = 0; m < config->meter_count; m++)
		for (size_t i = 0; i < config->meters[m].power_count; i++)
			mark(a, config->meters[m].power[i]);
	init_registers(a);
	rules_init(&a->rules, config, rules_needed(config));
	a->cools = config_names_mode(config, OPERATING_COOLING);
	a->slot_count = rules_any(a->rules.needed) ? SLOT_COUNT : MODE_COUNT;
	accountant_reset(a, 0);
}

void accountant_release(struct accountant *a)
{
	free(a->is_input);
	free(a->is_register);
	free(a->is_increment);
}

void accountant_reset(struct accountant *a, int64_t t_ms)
{
	a->memory = (struct mode_memory){NEVER_MS, NEVER_MS, NEVER_MS};
	rules_reset(&a->rules);
	a->before_ms = NEVER_MS;
	a->compressor =
		a->role[ROLE_COMPRESSOR_FREQUENCY] < 0 ? FLAG_ABSENT : FLAG_UNKNOWN;
	a->work = WORK_NONE;
	a->fresh = false;
	a->since_ms = t_ms;
	a->until_ms = INT64_MAX;
	for (size_t q = 0; q < COUNTED_MOST; q++)
		if (a->counted[q])
			register_reset(&a->registers[q], floor_div(t_ms, MS_PER_MIN));
	accountant_next_minute(a);
}

static double value_of(const struct held *held, int channel)
{
	return channel >= 0 && held[channel].known ? held[channel].value : (double)NAN;
}

/* A temperature that makes nothing freeze where it is not measured. */
static double warmth(const struct accountant *a, const struct held *held, enum role role)
{
	return a->role[role] < 0 ? (double)INFINITY : value_of(held, a->role[role]);
}

static enum flag flag_above(const struct accountant *a, const struct held *held,
	enum role role, double threshold)
{
	int channel = a->role[role];
	if (channel < 0)
		return FLAG_ABSENT;
	if (!held[channel].known)
		return FLAG_UNKNOWN;
	if (a->config->channels[channel].map_count && held[channel].value < 0)
		return FLAG_UNKNOWN; /* a word that the map does not know */
	return held[channel].value > threshold ? FLAG_ON : FLAG_OFF;
}

/* A state channel's code: ON when it is known, with the code in *ret. */
static enum flag state_of(
	const struct accountant *a, const struct held *held, enum role role, int *ret)
{
	enum flag flag = flag_above(a, held, role, -1.0);
	if (flag == FLAG_ON)
		*ret = (int)held[a->role[role]].value;
	return flag;
}

/* Is it the case while which a flow is assumed? */
static enum flag assumed_flag(const struct accountant *a, const struct held *held)
{
	const struct plant_config *plant = &a->config->plant;
	const struct held *h = &held[plant->assumed_channel];
	if (!h->known || (plant->assumed_state >= 0 && h->value < 0))
		return FLAG_UNKNOWN;
	bool flows = plant->assumed_state < 0 ? h->value > 0.0
					      : (int)h->value == plant->assumed_state;
	return flows ? FLAG_ON : FLAG_OFF;
}

/* As metered, or as assumed. */
static double flow_lpm(const struct accountant *a, const struct held *held)
{
	const struct plant_config *plant = &a->config->plant;
	if (plant->assumed_flow_lpm <= 0.0)
		return value_of(held, a->role[ROLE_FLOW_RATE]);
	enum flag flows = assumed_flag(a, held);
	if (flows == FLAG_UNKNOWN)
		return (double)NAN;
	return flows == FLAG_ON ? plant->assumed_flow_lpm : 0.0;
}

/* Does water move? The pump's own flag first: off means no flow whatever a meter reads.
 */
static enum flag flow_flag(const struct accountant *a, const struct held *held)
{
	enum flag pump = flag_above(a, held, ROLE_CIRCULATION_PUMP, 0.0);
	if (pump != FLAG_OFF && a->config->plant.assumed_flow_lpm > 0.0)
		return assumed_flag(a, held);
	if (pump == FLAG_OFF || a->role[ROLE_FLOW_RATE] < 0)
		return pump;
	return flag_above(a, held, ROLE_FLOW_RATE, a->config->plant.least_flow_lpm);
}

static struct mode_inputs inputs_of(const struct accountant *a, const struct held *held)
{
	struct mode_inputs in = {
		.defrost = flag_above(a, held, ROLE_DEFROST, 0.0),
		.compressor = a->compressor,
		.flow = flow_flag(a, held),
		.outdoor_c = warmth(a, held, ROLE_OUTDOOR_TEMPERATURE),
		.return_c = warmth(a, held, ROLE_RETURN_TEMPERATURE),
	};
	in.operating = state_of(a, held, ROLE_OPERATING_MODE, &in.operating_mode);
	in.valve = state_of(a, held, ROLE_VALVE, &in.valve_position);
	return in;
}

static void rate_mode(struct accountant *a, const struct held *held, int64_t t_ms)
{
	const struct mode_inputs in = inputs_of(a, held);
	a->flow = in.flow;
	a->slot = mode_slot(
		&a->config->modes, a->rules.needed, &a->memory, &in, t_ms, &a->until_ms);
}

struct pair {
	double flow_c, return_c;
};

static void rate_computed_heat(
	struct accountant *a, const struct held *held, struct pair pair)
{
	const struct plant_config *plant = &a->config->plant;

	if (flag_above(a, held, ROLE_CIRCULATION_PUMP, 0.0) == FLAG_OFF) {
		a->heat_w = 0.0;
		return;
	}
	double bar = plant->pressure_bar;
	if (plant->pressure_channel >= 0)
		bar = value_of(held, plant->pressure_channel) + GAUGE_TO_ABSOLUTE_BAR;
	heat_flow(&a->heat, flow_lpm(a, held), pair.flow_c, pair.return_c, bar,
		&a->heat_w, &a->sensitivity_w_per_k);
}

/* A register rules what heat there was; power or thermometers only say when. Where it
 * never falls, no minute of it does, and an offset of the thermometers changes nothing.
 */
static void rate_heat(struct accountant *a, const struct held *held, struct pair pair)
{
	enum heat_source source = a->config->plant.heat_source;
	bool by_power = source == HEAT_POWER ||
			(source == HEAT_REGISTER && a->role[ROLE_HEAT_POWER] >= 0);

	a->sensitivity_w_per_k = 0.0;
	if (by_power)
		a->heat_w = value_of(held, a->role[ROLE_HEAT_POWER]);
	else
		rate_computed_heat(a, held, pair);
	if (source != HEAT_REGISTER)
		return;
	a->sensitivity_w_per_k = 0.0;
	if (!a->config->plant.heat.counting.falls && a->heat_w < 0.0)
		a->heat_w = 0.0;
}

static struct pair pair_said(const struct accountant *a, const struct held *held)
{
	return (struct pair){value_of(held, a->role[ROLE_FLOW_TEMPERATURE]),
		value_of(held, a->role[ROLE_RETURN_TEMPERATURE])};
}

static bool on_line(const struct accountant *a, const struct held *held, enum role role)
{
	int channel = a->role[role];
	return channel >= 0 && held[channel].known && a->lines[channel].on;
}

static double along(
	const struct accountant *a, const struct held *held, enum role role, double at_ms)
{
	return on_line(a, held, role) ? line_value(&a->lines[a->role[role]], at_ms)
				      : value_of(held, a->role[role]);
}

/* The mean rates of a piece in which temperatures go along lines. They stay in force up
 * to the next piece, which is along the same lines or begins with a change. */
static void rate_piece(
	struct accountant *a, const struct held *held, int64_t from_ms, int64_t to_ms)
{
	static const double nodes[] = {
		0.21132486540518713, 0.78867513459481287}; /* (1 ± 1/√3) / 2 */
	double heat_w = 0.0, sensitivity = 0.0;

	if (!on_line(a, held, ROLE_FLOW_TEMPERATURE) &&
		!on_line(a, held, ROLE_RETURN_TEMPERATURE))
		return;
	for (size_t i = 0; i < ARRAY_LEN(nodes); i++) {
		double at_ms = (double)from_ms + nodes[i] * (double)(to_ms - from_ms);
		struct pair pair = {along(a, held, ROLE_FLOW_TEMPERATURE, at_ms),
			along(a, held, ROLE_RETURN_TEMPERATURE, at_ms)};
		rate_heat(a, held, pair);
		heat_w += 0.5 * a->heat_w;
		sensitivity += 0.5 * a->sensitivity_w_per_k;
	}
	a->heat_w = heat_w;
	a->sensitivity_w_per_k = sensitivity;
}

static double meter_sum_w(const struct meter_config *meter, const struct held *held)
{
	double sum = meter->power_count ? 0.0 : (double)NAN;
	for (size_t i = 0; i < meter->power_count; i++)
		sum += value_of(held, meter->power[i]);
	return sum;
}

static void rate_meters(struct accountant *a, const struct held *held)
{
	const struct config *config = a->config;
	for (size_t m = 0; m < config->meter_count; m++)
		a->meter_w[m] = meter_sum_w(&config->meters[m], held);
	for (size_t m = 0; m < config->meter_count; m++) {
		int less = config->meters[m].less;
		a->gross_w[m] =
			config->meters[m].difference ? a->meter_w[m] : (double)NAN;
		if (less >= 0)
			a->meter_w[m] -= meter_sum_w(&config->meters[less], held);
	}
}

void accountant_rates(struct accountant *a, const struct held *held, int64_t t_ms)
{
	if (a->fresh)
		return;
	rate_mode(a, held, t_ms);
	rate_heat(a, held, pair_said(a, held));
	rate_meters(a, held);
	a->fresh = true;
}

static bool immersion_only(const struct meter_config *meter)
{
	return meter->serves == DEVICE_IMMERSION;
}

static void book_meter(struct accountant *a, size_t m, int64_t ms)
{
	double joules = a->meter_w[m] * (double)ms / 1000.0;
	bool elsewhere = immersion_only(&a->config->meters[m]) && joules != 0.0;
	struct minute_mode *time = &a->open.slots[a->slot];
	struct minute_mode *energy = elsewhere ? &a->open.slots[MODE_HOT_WATER] : time;

	if (a->counted[m] && !a->config->meters[m].difference)
		register_power(&a->registers[m], joules, ms);
	time->meter_ms[m] += ms;
	time->meter_seen |= 1u << m;
	energy->meter_j[m] += joules;
	energy->meter_seen |= 1u << m;
	energy->seen = true;
	time->seen = true;
}

/* What a register behind or before it rules, and so the store works out. */
static void book_gross(struct accountant *a, size_t m, int64_t ms)
{
	double joules = a->gross_w[m] * (double)ms / 1000.0;
	struct minute_mode *mode = &a->open.slots[a->slot];
	if (a->counted[m])
		register_power(&a->registers[m], joules, ms);
	mode->gross_j[m] += joules;
	mode->gross_ms[m] += ms;
}

static enum flag ran(const struct accountant *a)
{
	if (a->compressor != FLAG_ABSENT)
		return a->compressor;
	if (a->slot == MODE_UNASSIGNED)
		return FLAG_UNKNOWN;
	bool rests = a->slot == MODE_STANDBY || a->slot == MODE_OVERRUN ||
		     a->slot == MODE_FREEZE_PROTECTION;
	return rests ? FLAG_OFF : FLAG_ON;
}

/* What flags say of the minute, for the rules. */
static void book_flags(struct accountant *a, int64_t ms)
{
	enum flag runs = ran(a);
	if (a->flow == FLAG_ON)
		a->open.moved_ms += ms;
	else if (a->flow != FLAG_UNKNOWN)
		a->open.still_ms += ms;
	if (runs == FLAG_ON)
		a->open.ran_ms += ms;
	else if (runs == FLAG_OFF)
		a->open.stood_ms += ms;
}

void accountant_book_piece(struct accountant *a, const struct held *held, int64_t t_ms)
{
	int64_t ms = t_ms - a->since_ms;
	accountant_rates(a, held, a->since_ms);
	if (a->lines)
		rate_piece(a, held, a->since_ms, t_ms);
	a->since_ms = t_ms;

	struct minute_mode *mode = &a->open.slots[a->slot];
	bool any = a->slot != MODE_UNASSIGNED && a->slot < MODE_COUNT;
	if (!isnan(a->heat_w)) {
		double joules = a->heat_w * (double)ms / 1000.0;
		if (a->counted[COUNTED_HEAT])
			register_power(&a->registers[COUNTED_HEAT], joules, ms);
		mode->heat_j += joules;
		mode->sensitivity_j_per_k += a->sensitivity_w_per_k * (double)ms / 1000.0;
		mode->heat_ms += ms;
		any = true;
	}
	for (size_t m = 0; m < a->config->meter_count; m++) {
		if (!isnan(a->gross_w[m])) {
			book_gross(a, m, ms);
			any = true;
		}
		if (isnan(a->meter_w[m]))
			continue;
		book_meter(a, m, ms);
		any = true;
	}
	if (any) {
		mode->ms += ms;
		mode->seen = true;
	} else if (a->slot >= MODE_COUNT)
		a->open.bare_ms[a->slot - MODE_COUNT] += ms;
	if (a->slot_count > MODE_COUNT)
		book_flags(a, ms);
}

void accountant_change(struct accountant *a, const struct held *held, int64_t t_ms)
{
	enum flag compressor = flag_above(a, held, ROLE_COMPRESSOR_FREQUENCY, 0.0);
	if (a->before_ms != t_ms) {
		a->before_ms = t_ms;
		a->memory_before = a->memory;
		a->compressor_before = a->compressor;
		a->work_before = a->work;
	}
	/* What ran for no time at all did not run. */
	a->memory = a->memory_before;
	if (compressor != a->compressor_before)
		mode_compressor(&a->memory, a->compressor_before, compressor, t_ms);
	a->compressor = compressor;
	a->fresh = false;
	if (!a->cools)
		return;
	const struct mode_inputs in = inputs_of(a, held);
	a->work = mode_work(&in);
	mode_worked(&a->memory, a->work_before, a->work, t_ms);
}

void open_minute_clear(struct open_minute *to)
{
	memset(to, 0, offsetof(struct open_minute, slots));
	for (size_t i = 0; i < SLOT_COUNT; i++)
		if (to->slots[i].seen)
			to->slots[i] = (struct minute_mode){.seen = false};
}

void open_minute_copy(struct open_minute *to, const struct open_minute *from)
{
	memcpy(to, from, offsetof(struct open_minute, slots));
	for (size_t i = 0; i < SLOT_COUNT; i++)
		if (from->slots[i].seen || to->slots[i].seen)
			to->slots[i] = from->slots[i];
}

unsigned accountant_known(const struct accountant *a)
{
	unsigned known = 0;
	int64_t heat_ms = 0;
	for (size_t i = 0; i < a->slot_count; i++)
		heat_ms += a->open.slots[i].heat_ms;
	if (heat_ms == MS_PER_MIN)
		known |= KNOWN_HEAT;
	for (size_t m = 0; m < a->config->meter_count; m++) {
		int64_t ms = 0;
		for (size_t i = 0; i < a->slot_count; i++)
			ms += a->open.slots[i].meter_ms[m];
		if (ms == MS_PER_MIN)
			known |= KNOWN_METER(m);
	}
	return known;
}

bool accountant_anything(const struct accountant *a)
{
	for (size_t i = 0; i < a->slot_count; i++)
		if (a->open.slots[i].seen)
			return true;
	return false;
}

int64_t whole_joules(double joules)
{
	if (fabs(joules) < WHOLE_MOST)
		return llround(joules);
	return joules > 0 ? (int64_t)WHOLE_MOST : -(int64_t)WHOLE_MOST;
}

/* Joules as the open minute's rows will hold them. */
static int64_t rounded_rows(const struct accountant *a, size_t q)
{
	bool gross = q != COUNTED_HEAT && a->config->meters[q].difference;
	int64_t sum = 0;
	for (size_t i = 0; i < a->slot_count; i++) {
		const struct minute_mode *slot = &a->open.slots[i];
		sum += whole_joules(q == COUNTED_HEAT ? slot->heat_j
				    : gross           ? slot->gross_j[q]
						      : slot->meter_j[q]);
	}
	return sum;
}

void accountant_next_minute(struct accountant *a)
{
	for (size_t q = 0; q < COUNTED_MOST; q++) {
		if (!a->counted[q])
			continue;
		register_rows(&a->registers[q], rounded_rows(a, q));
		register_minute(&a->registers[q], floor_div(a->since_ms, MS_PER_MIN));
	}
	open_minute_clear(&a->open);
}

void accountant_skip(struct accountant *a, int64_t t_ms)
{
	a->since_ms = t_ms;
	accountant_next_minute(a);
}
