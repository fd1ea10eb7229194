/*
 * The oracle's side of modes by rule: forwards over all minutes, with all that follow at
 * hand. Written from the rules at the top of daemon/account/rules.c, in another form.
 */
#include "oracle_work.h"

static bool map_names(const struct config *config, enum operating_mode mode)
{
	int c = config_role(config, ROLE_OPERATING_MODE);
	for (size_t i = 0; c >= 0 && i < config->channels[c].map_count; i++)
		if (config->channels[c].map[i].state == (int)mode)
			return true;
	return false;
}

static bool tells(const struct config *config, int meter)
{
	const struct meter_config *m = &config->meters[meter];
	return m->power_count && (m->less < 0 || config->meters[m->less].power_count);
}

/* What a true meter tells of the same devices is not told again by an apparent one. */
static bool told_truly(const struct config *config, int m)
{
	bool truly = false;
	for (int i = 0; i < (int)config->meter_count; i++)
		truly |= !config->meters[i].apparent && tells(config, i) &&
			 oracle_serves(config, i) == oracle_serves(config, m);
	return truly && config->meters[m].apparent;
}

static bool of_unit(const struct config *config, int m)
{
	unsigned serves = oracle_serves(config, m);
	return tells(config, m) && !told_truly(config, m) &&
	       (serves & DEVICE_COMPRESSOR) && !(serves & DEVICE_IMMERSION) &&
	       !(serves & DEVICE_BACKUP_HEATER);
}

static bool of_rod(const struct config *config, int m)
{
	return tells(config, m) && !told_truly(config, m) &&
	       oracle_serves(config, m) == DEVICE_IMMERSION;
}

/* Listed devices are all that there are. */
static bool without_rod(const struct work *w)
{
	unsigned listed = w->config->plant.devices;
	return listed != 0 && (listed & DEVICE_IMMERSION) == 0;
}

static bool channel(const struct work *w, enum role role)
{
	return config_role(w->config, role) >= 0;
}

static void find_rules(struct work *w)
{
	bool unit = false, rod = false;
	for (size_t i = 0; i < w->config->meter_count; i++) {
		unit |= of_unit(w->config, (int)i);
		rod |= of_rod(w->config, (int)i);
	}
	bool word = map_names(w->config, OPERATING_OFF) ||
		    map_names(w->config, OPERATING_STANDBY);
	bool turns = channel(w, ROLE_COMPRESSOR_FREQUENCY) || word;
	bool flow = channel(w, ROLE_FLOW_TEMPERATURE), rate = channel(w, ROLE_FLOW_RATE);
	bool moves = rate || w->config->plant.assumed_flow_lpm > 0;
	w->rule_run = unit && !turns;
	w->rule_defrost = (unit || turns) && !channel(w, ROLE_DEFROST) &&
			  !map_names(w->config, OPERATING_DEFROST) && flow && moves &&
			  channel(w, ROLE_RETURN_TEMPERATURE) &&
			  channel(w, ROLE_OUTDOOR_TEMPERATURE);
	w->rule_water = (unit || turns) && !channel(w, ROLE_VALVE) &&
			!channel(w, ROLE_OPERATING_MODE) &&
			((flow && channel(w, ROLE_TARGET_FLOW_TEMPERATURE)) ||
				(rate && w->config->modes.hot_water_lpm > 0) ||
				((rod || without_rod(w)) &&
					channel(w, ROLE_CYLINDER_TEMPERATURE)));
}

static enum tell more(int64_t yes_ms, int64_t no_ms, bool any)
{
	if (yes_ms + no_ms < MS_PER_MIN / 2)
		return TELL_UNKNOWN;
	return yes_ms > (any ? 0 : no_ms) ? TELL_YES : TELL_NO;
}

/* Did the unit run in a piece, by flags? */
static enum tell ran(const struct work *w, size_t piece)
{
	enum tell run = oracle_runs(w, piece);
	enum mode mode = oracle_mode_of(w, piece);
	if (run != TELL_ABSENT)
		return run;
	if (mode == MODE_UNASSIGNED)
		return TELL_UNKNOWN;
	bool rests = mode == MODE_STANDBY || mode == MODE_OVERRUN ||
		     mode == MODE_FREEZE_PROTECTION;
	return rests ? TELL_NO : TELL_YES;
}

static double minute_number(const struct work *w, size_t from, size_t to, enum role role)
{
	int c = config_role(w->config, role);
	double sum = 0;
	int64_t known_ms = 0;
	for (size_t i = from; c >= 0 && i < to; i++) {
		const struct piece *p = &w->pieces[i];
		if (!p->known[c])
			continue;
		sum += (p->begin[c] + p->end[c]) / 2 * (double)(p->end_ms - p->t_ms);
		known_ms += p->end_ms - p->t_ms;
	}
	return known_ms < MS_PER_MIN / 2 ? (double)NAN : sum / (double)known_ms;
}

static double minute_w(const struct work *w, size_t from, size_t to,
	bool (*counts)(const struct config *config, int meter))
{
	double all = (double)NAN;
	for (size_t m = 0; m < w->config->meter_count; m++) {
		double j = 0;
		int64_t ms = 0;
		for (size_t i = from; i < to; i++) {
			const struct piece *p = &w->pieces[i];
			double power = oracle_meter_w(w, p, (int)m);
			if (isnan(power))
				continue;
			j += power * (double)(p->end_ms - p->t_ms);
			ms += p->end_ms - p->t_ms;
		}
		if (!counts(w->config, (int)m))
			continue;
		if (ms < MS_PER_MIN / 2)
			return (double)NAN;
		all = (isnan(all) ? 0 : all) + j / (double)ms;
	}
	return all;
}

static double minute_lpm(
	const struct work *w, size_t from, size_t to, int64_t moved, int64_t still)
{
	if (w->config->plant.assumed_flow_lpm <= 0)
		return minute_number(w, from, to, ROLE_FLOW_RATE);
	if (moved + still < MS_PER_MIN / 2)
		return (double)NAN;
	return w->config->plant.assumed_flow_lpm * (double)moved /
	       (double)(moved + still);
}

static struct seen see(const struct work *w, size_t from, size_t to)
{
	int64_t moved = 0, still = 0, on = 0, off = 0;
	for (size_t i = from; i < to; i++) {
		int64_t ms = w->pieces[i].end_ms - w->pieces[i].t_ms;
		enum tell flow = oracle_flows(w, &w->pieces[i]);
		enum tell run = w->rule_run ? TELL_UNKNOWN : ran(w, i);
		moved += flow == TELL_YES ? ms : 0;
		still += flow == TELL_NO || flow == TELL_ABSENT ? ms : 0;
		on += run == TELL_YES ? ms : 0;
		off += run == TELL_NO ? ms : 0;
	}
	struct seen m = {.ran = more(on, off, true),
		.moved = more(moved, still, false),
		.unit_w = minute_w(w, from, to, of_unit),
		.rod_w = minute_w(w, from, to, of_rod),
		.out_c = minute_number(w, from, to, ROLE_FLOW_TEMPERATURE),
		.back_c = minute_number(w, from, to, ROLE_RETURN_TEMPERATURE),
		.lpm = minute_lpm(w, from, to, moved, still),
		.air_c = minute_number(w, from, to, ROLE_OUTDOOR_TEMPERATURE),
		.target_c = minute_number(w, from, to, ROLE_TARGET_FLOW_TEMPERATURE),
		.cylinder_c = minute_number(w, from, to, ROLE_CYLINDER_TEMPERATURE)};
	m.any = m.ran != TELL_UNKNOWN || !isnan(m.unit_w) || !isnan(m.rod_w) ||
		!isnan(m.out_c) || !isnan(m.back_c) || !isnan(m.lpm) ||
		!isnan(m.target_c) || !isnan(m.cylinder_c);
	return m;
}

static enum tell is_more(double value, double than)
{
	if (isnan(value) || isnan(than))
		return TELL_UNKNOWN;
	return value > than ? TELL_YES : TELL_NO;
}

static enum tell electric(const struct work *w, size_t at, enum tell before)
{
	const struct modes_config *c = &w->config->modes;
	double watts = w->seen[at].unit_w;
	double least = c->compressor_on_w * c->compressor_off_percent / 100.0;
	enum tell runs = is_more(watts, c->compressor_on_w);
	enum tell rests = is_more(least, watts);
	if (runs == TELL_NO && rests == TELL_NO)
		return before; /* neither is said: nothing is added to what is known */
	return rests == TELL_YES ? TELL_NO : runs;
}

static enum tell turning(const struct work *w, size_t at)
{
	return w->rule_run ? electric(w, at, TELL_YES) : w->seen[at].ran;
}

static enum tell all_of(const enum tell *parts, size_t count)
{
	enum tell all = TELL_YES;
	for (size_t i = 0; i < count; i++) {
		if (parts[i] == TELL_NO)
			return TELL_NO;
		all = parts[i] == TELL_UNKNOWN ? TELL_UNKNOWN : all;
	}
	return all;
}

static enum tell draws(const struct work *w, size_t at)
{
	const struct seen *m = &w->seen[at];
	const struct modes_config *c = &w->config->modes;
	const enum tell parts[] = {turning(w, at),
		is_more(c->defrost_outdoor_c, m->air_c),
		is_more(m->back_c - m->out_c, c->defrost_difference_k),
		is_more(m->lpm,
			w->config->plant.nominal_lpm * c->defrost_flow_percent / 100.0)};
	return all_of(parts, ARRAY_LEN(parts));
}

static bool cold_rod(const struct work *w, size_t at)
{
	return without_rod(w) || is_more(w->seen[at].rod_w, 10.0) == TELL_NO;
}

static enum tell rises(const struct work *w, size_t at)
{
	if (at < 4 || at + 1 >= w->minutes)
		return TELL_UNKNOWN;
	for (size_t i = at - 4; i <= at + 1; i++)
		if (!w->seen[i].any || !cold_rod(w, i))
			return TELL_UNKNOWN;
	return is_more(w->seen[at + 1].cylinder_c - w->seen[at - 4].cylinder_c,
		w->config->modes.cylinder_rise_k);
}

static enum tell warms(const struct work *w, size_t at)
{
	const struct seen *m = &w->seen[at];
	double level = w->config->modes.hot_water_lpm;
	enum tell near = TELL_UNKNOWN;
	if (level > 0)
		near = is_more(fabs(m->lpm - w->config->plant.nominal_lpm),
			fabs(m->lpm - level));
	const enum tell signs[] = {
		is_more(m->out_c - m->target_c, w->config->modes.hot_water_above_k),
		rises(w, at)};
	enum tell any = near;
	for (size_t i = 0; near == TELL_UNKNOWN && i < ARRAY_LEN(signs); i++)
		any = signs[i] > any ? signs[i] : any;
	const enum tell parts[] = {turning(w, at), any};
	return all_of(parts, ARRAY_LEN(parts));
}

/* A rule's word as it goes from minute to minute. */
struct word {
	ptrdiff_t at; /* minute that it was last told in, or -1 */
	enum tell said;
};

static enum tell still_said(const struct word *word, size_t at)
{
	bool lapsed = word->at < 0 || (ptrdiff_t)at - word->at > 4;
	return lapsed ? TELL_UNKNOWN : word->said;
}

typedef enum tell minute_tell(const struct work *w, size_t at);

static enum tell go_on(struct word *word, const struct work *w, size_t at, enum tell raw,
	minute_tell *next, size_t rows)
{
	if (raw == TELL_UNKNOWN)
		return TELL_UNKNOWN;
	bool agree = true;
	for (size_t i = 1; i < rows; i++)
		agree = agree && at + i < w->minutes && w->seen[at + i].any &&
			next(w, at + i) == raw;
	*word = (struct word){(ptrdiff_t)at, agree ? raw : still_said(word, at)};
	return word->said;
}

struct words {
	struct word run, defrost, water;
	enum tell raw_run;
};

static void say_run(struct work *w, struct words *words, size_t at)
{
	struct seen *m = &w->seen[at];
	enum tell before = still_said(&words->run, at);
	enum tell was = before == TELL_UNKNOWN ? TELL_UNKNOWN : words->raw_run;
	m->run = w->rule_run ? electric(w, at, was) : m->ran;
	if (!w->rule_run || m->run == TELL_UNKNOWN)
		return;
	words->raw_run = m->run;
	bool agree = at + 1 < w->minutes && electric(w, at + 1, m->run) == m->run;
	m->run = agree ? m->run : before;
	words->run = (struct word){(ptrdiff_t)at, m->run};
	m->stop = before == TELL_YES && m->run == TELL_NO;
}

static void say_all(struct work *w)
{
	struct words words = {{-1, 0}, {-1, 0}, {-1, 0}, TELL_UNKNOWN};
	for (size_t at = 0; at < w->minutes; at++) {
		struct seen *m = &w->seen[at];
		m->run = m->defrost = m->water = TELL_UNKNOWN;
		if (!m->any)
			continue;
		say_run(w, &words, at);
		const enum tell draw[] = {m->run, draws(w, at)};
		const enum tell warm[] = {m->run, warms(w, at)};
		enum tell raw = all_of(draw, 2);
		m->defrost = w->rule_defrost ? go_on(&words.defrost, w, at, raw, draws,
						       raw == TELL_YES ? 2 : 1)
					     : TELL_NO;
		if (m->run == TELL_NO) {
			words.water = (struct word){(ptrdiff_t)at, TELL_NO};
			m->water = TELL_NO;
		} else if (m->defrost == TELL_YES) {
			m->water = still_said(&words.water, at);
			if (m->water != TELL_UNKNOWN)
				words.water.at = (ptrdiff_t)at;
		} else
			m->water = go_on(&words.water, w, at, all_of(warm, 2), warms, 3);
	}
}

void oracle_judge(struct work *w, size_t minutes)
{
	find_rules(w);
	if (!w->rule_run && !w->rule_defrost && !w->rule_water)
		return;
	struct seen *seen = xcalloc(minutes, sizeof(*seen));
	for (size_t i = 0, from = 0; i < minutes; i++) {
		size_t to = from;
		int64_t end_ms = (w->first + (int64_t)i + 1) * MS_PER_MIN;
		while (to < w->piece_count && w->pieces[to].t_ms < end_ms)
			to++;
		seen[i] = see(w, from, to);
		from = to;
	}
	w->minutes = minutes;
	w->seen = seen;
	say_all(w);
}
