/*
 * Compressor, defrost and hot water by rule.
 *
 * - The compressor runs above compressor_on of electricity and stands below the share
 *   compressor_off of that; between both it is as it was, if that is known, and else
 *   unknown: a rest that draws much is not told from a run that draws little. Two rows
 *   confirm either.
 * - A defrost draws heat: while the compressor runs and more than a share of the nominal
 *   flow moves, the flow pipe is colder than the return by more than defrost_difference,
 *   and outdoors it is colder than defrost_outdoor. Two rows confirm it, one ends it. Not
 *   without an outdoor sensor: in summer the same pattern is cooling.
 * - Hot water is made while the compressor runs and, where hot_water_flow is configured,
 *   the flow rate is nearer to it than to the nominal one. That changes with the valve;
 *   pipes stay hot for minutes. Elsewhere: the flow is hotter than its target by more
 *   than hot_water_above, or, only while the immersion heater is known to be off, by its
 *   meter or because the owner says that there is none, the cylinder has become warmer
 *   by more than cylinder_rise within five minutes. Three rows confirm it, three end it;
 *   a defrost leaves it as it was, a standing compressor ends it.
 *
 * What is confirmed begins with the first of its rows. A row that does not tell leaves a
 * rule's word as it was, but is itself unknown; more than three in a row end the word,
 * and what follows must be confirmed anew. Confirming rows must follow each other without
 * a gap. The five minutes of the cylinder end a row after the judged one, so that the
 * beginning is found neither early nor late.
 */
#include <heatbook/rules.h>

#include <heatbook/boundary.h>

#include <math.h>
#include <string.h>

#define GAP_BRIDGED_MIN 3
#define COMPRESSOR_ROWS 2
#define DEFROST_ROWS    2
#define SERVICE_ROWS    3
#define CYLINDER_MIN    5
/* What a meter may show of a heater that is off. */
#define IMMERSION_OFF_W 10.0

/* ---- by the configuration ---- */

static bool has(const struct config *config, enum role role)
{
	return config_role(config, role) >= 0;
}

/* Two meters of the same devices would count them twice: the true one tells. */
bool rules_reads_power(const struct config *config, size_t meter)
{
	unsigned beside = boundary_beside(config, meter);
	for (size_t m = 0; m < config->meter_count; m++)
		if (beside & 1U << m && config_meter_has_power(config, m))
			return false;
	return config_meter_has_power(config, meter);
}

bool rules_reads_compressor(const struct config *config, size_t meter)
{
	unsigned serves = config->meters[meter].serves;
	return rules_reads_power(config, meter) && (serves & DEVICE_COMPRESSOR) &&
	       !(serves & (DEVICE_IMMERSION | DEVICE_BACKUP_HEATER));
}

bool rules_reads_immersion(const struct config *config, size_t meter)
{
	return rules_reads_power(config, meter) &&
	       config->meters[meter].serves == DEVICE_IMMERSION;
}

static bool any_meter(const struct config *config, rules_reads *reads)
{
	for (size_t m = 0; m < config->meter_count; m++)
		if (reads(config, m))
			return true;
	return false;
}

struct rules_needed rules_possible(const struct config *config)
{
	bool water = has(config, ROLE_FLOW_TEMPERATURE);
	bool rate = has(config, ROLE_FLOW_RATE);
	bool moves = rate || config->plant.assumed_flow_lpm > 0.0;
	bool rod_told = plant_lacks(config, DEVICE_IMMERSION) ||
			any_meter(config, rules_reads_immersion);
	bool cylinder = has(config, ROLE_CYLINDER_TEMPERATURE) && rod_told;
	return (struct rules_needed){
		.compressor = any_meter(config, rules_reads_compressor),
		.defrost = water && moves && has(config, ROLE_RETURN_TEMPERATURE) &&
			   has(config, ROLE_OUTDOOR_TEMPERATURE),
		.service = (water && has(config, ROLE_TARGET_FLOW_TEMPERATURE)) ||
			   (rate && config->modes.hot_water_lpm > 0.0) || cylinder,
	};
}

struct rules_needed rules_needed(const struct config *config)
{
	struct rules_needed needed = rules_possible(config);
	bool stands = config_names_mode(config, OPERATING_OFF) ||
		      config_names_mode(config, OPERATING_STANDBY);
	bool turning = has(config, ROLE_COMPRESSOR_FREQUENCY) || stands;
	bool runs = turning || needed.compressor;
	needed.compressor = needed.compressor && !turning;
	needed.defrost = needed.defrost && runs && !has(config, ROLE_DEFROST) &&
			 !config_names_mode(config, OPERATING_DEFROST);
	needed.service = needed.service && runs && !has(config, ROLE_VALVE) &&
			 !has(config, ROLE_OPERATING_MODE);
	return needed;
}

bool rules_any(struct rules_needed needed)
{
	return needed.compressor || needed.defrost || needed.service;
}

bool rules_tell(struct rules_needed needed, enum mode mode)
{
	const bool told[MODE_COUNT] = {
		[MODE_HEATING] = needed.compressor || needed.service,
		[MODE_HOT_WATER] = needed.compressor || needed.service,
		[MODE_DEFROST] = needed.defrost,
		[MODE_COOLING] = needed.compressor,
		[MODE_FREEZE_PROTECTION] = needed.compressor,
		[MODE_OVERRUN] = needed.compressor,
		[MODE_STANDBY] = needed.compressor,
	};
	return told[mode];
}

/* ---- rows ---- */

void rules_init(
	struct rules *rules, const struct config *config, struct rules_needed needed)
{
	memset(rules, 0, sizeof(*rules));
	rules->config = &config->modes;
	rules->nominal_lpm = config->plant.nominal_lpm;
	rules->no_immersion = plant_lacks(config, DEVICE_IMMERSION);
	rules->needed = needed;
	rules_reset(rules);
}

void rules_reset(struct rules *rules)
{
	const struct rules_word none = {NEVER_MS, FLAG_UNKNOWN};
	memset(&rules->memory, 0, sizeof(rules->memory));
	rules->memory.electric = FLAG_UNKNOWN;
	rules->memory.compressor = none;
	rules->memory.defrost = none;
	rules->memory.service = none;
}

void rules_add(struct rules *rules, const struct rules_row *row)
{
	struct rules_memory *m = &rules->memory;
	if (m->count == RULES_ROWS) {
		memmove(m->rows, m->rows + 1, (RULES_ROWS - 1) * sizeof(*m->rows));
		m->count--;
		m->judged--;
	}
	m->rows[m->count++] = *row;
}

bool rules_idle(const struct rules *rules)
{
	return rules->memory.judged == rules->memory.count;
}

static const struct rules_row *row_of(const struct rules *rules, int64_t minute)
{
	for (int64_t i = 0; i < rules->memory.count; i++)
		if (rules->memory.rows[i].minute == minute)
			return &rules->memory.rows[i];
	return NULL;
}

/* ---- what one row says, unconfirmed ---- */

static enum flag above(double value, double threshold)
{
	if (isnan(value) || isnan(threshold))
		return FLAG_UNKNOWN;
	return value > threshold ? FLAG_ON : FLAG_OFF;
}

static enum flag either(enum flag a, enum flag b)
{
	if (a == FLAG_ON || b == FLAG_ON)
		return FLAG_ON;
	return a == FLAG_OFF || b == FLAG_OFF ? FLAG_OFF : FLAG_UNKNOWN;
}

static enum flag both(enum flag a, enum flag b)
{
	if (a == FLAG_OFF || b == FLAG_OFF)
		return FLAG_OFF;
	return a == FLAG_ON && b == FLAG_ON ? FLAG_ON : FLAG_UNKNOWN;
}

/* Between the two thresholds it is as it was before, unknown if that was. */
static enum flag electric(
	const struct rules *rules, const struct rules_row *row, enum flag before)
{
	double on_w = rules->config->compressor_on_w;
	double off_w = on_w * rules->config->compressor_off_percent / 100.0;
	if (isnan(row->power_w))
		return FLAG_UNKNOWN;
	if (row->power_w > on_w)
		return FLAG_ON;
	return row->power_w < off_w ? FLAG_OFF : before;
}

static enum flag running(const struct rules *rules, const struct rules_row *row)
{
	if (rules->needed.compressor)
		return electric(rules, row, FLAG_ON);
	return above(row->running, 0.5);
}

static enum flag draws_heat(const struct rules *rules, const struct rules_row *row)
{
	double least_lpm =
		rules->nominal_lpm * rules->config->defrost_flow_percent / 100.0;
	enum flag cold = above(rules->config->defrost_outdoor_c, row->outdoor_c);
	enum flag backward =
		above(row->return_c - row->flow_c, rules->config->defrost_difference_k);
	enum flag moves = above(row->flow_lpm, least_lpm);
	return both(both(running(rules, row), cold), both(backward, moves));
}

static enum flag second_flow(const struct rules *rules, const struct rules_row *row)
{
	double level = rules->config->hot_water_lpm;
	if (level <= 0.0 || isnan(row->flow_lpm))
		return FLAG_UNKNOWN;
	return fabs(row->flow_lpm - level) < fabs(row->flow_lpm - rules->nominal_lpm)
		       ? FLAG_ON
		       : FLAG_OFF;
}

/* Unknown while the immersion heater is not known to be off all the time. */
static enum flag cylinder(const struct rules *rules, const struct rules_row *row)
{
	const struct rules_row *first = row_of(rules, row->minute + 1 - CYLINDER_MIN);
	const struct rules_row *last = row_of(rules, row->minute + 1);
	if (!first || !last || last - first != CYLINDER_MIN)
		return FLAG_UNKNOWN; /* a row is missing */
	for (const struct rules_row *r = first; r <= last && !rules->no_immersion; r++)
		if (above(r->immersion_w, IMMERSION_OFF_W) != FLAG_OFF)
			return FLAG_UNKNOWN;
	return above(
		last->cylinder_c - first->cylinder_c, rules->config->cylinder_rise_k);
}

static enum flag makes_hot_water(const struct rules *rules, const struct rules_row *row)
{
	enum flag hot =
		above(row->flow_c - row->target_c, rules->config->hot_water_above_k);
	enum flag any = second_flow(rules, row);
	if (any == FLAG_UNKNOWN)
		any = either(hot, cylinder(rules, row));
	return both(running(rules, row), any);
}

/* ---- what rows say together ---- */

typedef enum flag opinion(const struct rules *rules, const struct rules_row *row);

/* `raw` of this row and of the ones right after it. */
static bool confirmed(const struct rules *rules, const struct rules_row *row,
	opinion *say, enum flag raw, int rows)
{
	for (int i = 1; i < rows; i++) {
		const struct rules_row *next = row_of(rules, row->minute + i);
		if (!next || say(rules, next) != raw)
			return false;
	}
	return true;
}

/* Too long after the last row that told anything the word is forgotten. */
static enum flag word_before(const struct rules_word *word, int64_t minute)
{
	bool lapsed =
		word->minute == NEVER_MS || minute - word->minute > GAP_BRIDGED_MIN + 1;
	return lapsed ? FLAG_UNKNOWN : (enum flag)word->on;
}

/* Answers the rule's word of a row that says `raw`. */
static enum flag speak(struct rules *rules, struct rules_word *word,
	const struct rules_row *row, opinion *say, enum flag raw, int rows)
{
	if (raw == FLAG_UNKNOWN)
		return FLAG_UNKNOWN;
	enum flag now = word_before(word, row->minute);
	if (now != raw && confirmed(rules, row, say, raw, rows))
		now = raw;
	*word = (struct rules_word){row->minute, now};
	return now;
}

/* By power: what lies between the thresholds follows the row before it, so each row that
 * confirms is asked by what the one before it said. */
static enum flag speak_compressor(struct rules *rules, const struct rules_row *row)
{
	struct rules_memory *m = &rules->memory;
	enum flag before = word_before(&m->compressor, row->minute) == FLAG_UNKNOWN
				   ? FLAG_UNKNOWN
				   : (enum flag)m->electric;
	enum flag raw = electric(rules, row, before), next = raw;
	if (raw == FLAG_UNKNOWN)
		return FLAG_UNKNOWN;
	m->electric = raw;
	enum flag now = word_before(&m->compressor, row->minute);
	bool holds = true;
	for (int i = 1; holds && i < COMPRESSOR_ROWS; i++) {
		const struct rules_row *r = row_of(rules, row->minute + i);
		next = r ? electric(rules, r, next) : FLAG_UNKNOWN;
		holds = next == raw;
	}
	if (now != raw && holds)
		now = raw;
	m->compressor = (struct rules_word){row->minute, now};
	return now;
}

static enum flag speak_defrost(
	struct rules *rules, const struct rules_row *row, enum flag compressor)
{
	struct rules_word *word = &rules->memory.defrost;
	enum flag raw = both(compressor, draws_heat(rules, row));
	return speak(
		rules, word, row, draws_heat, raw, raw == FLAG_ON ? DEFROST_ROWS : 1);
}

static enum flag speak_service(struct rules *rules, const struct rules_row *row,
	enum flag compressor, enum flag defrost)
{
	struct rules_word *word = &rules->memory.service;
	if (compressor == FLAG_OFF) {
		*word = (struct rules_word){row->minute, FLAG_OFF};
		return FLAG_OFF;
	}
	if (defrost == FLAG_ON) {
		enum flag now = word_before(word, row->minute);
		word->minute = now == FLAG_UNKNOWN ? word->minute : row->minute;
		return now;
	}
	return speak(rules, word, row, makes_hot_water,
		both(compressor, makes_hot_water(rules, row)), SERVICE_ROWS);
}

static struct rules_verdict judge(struct rules *rules, const struct rules_row *row)
{
	enum flag before = word_before(&rules->memory.compressor, row->minute);
	struct rules_verdict v = {.defrost = FLAG_OFF, .row = *row};
	v.compressor = rules->needed.compressor ? speak_compressor(rules, row)
						: running(rules, row);
	if (rules->needed.defrost)
		v.defrost = speak_defrost(rules, row, v.compressor);
	v.hot_water = rules->needed.service
			      ? speak_service(rules, row, v.compressor, v.defrost)
			      : FLAG_UNKNOWN;
	v.stopped =
		rules->needed.compressor && before == FLAG_ON && v.compressor == FLAG_OFF;
	return v;
}

struct rules_verdict rules_judge(struct rules *rules, int64_t minute)
{
	struct rules_memory *m = &rules->memory;
	const double nan = (double)NAN;
	struct rules_verdict nothing = {FLAG_UNKNOWN, FLAG_UNKNOWN, FLAG_UNKNOWN, false,
		{minute, nan, nan, nan, nan, nan, nan, nan, nan, nan, nan}};
	struct rules_verdict last = nothing;
	while (m->judged < m->count && m->rows[m->judged].minute <= minute)
		last = judge(rules, &m->rows[m->judged++]);
	return last.row.minute == minute ? last : nothing;
}
