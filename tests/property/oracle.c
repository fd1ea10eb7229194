/*
 * See oracle.h. What each rule rests on:
 *
 * - A word is in force until the next word of its channel, its limit, or the death of its
 *   source by silence or Will. A source that falls silent for exactly its limit is dead
 * at that instant.
 * - A retained word of a channel that takes them counts from its own instant if the
 * source is alive then, else from the next sign of life, unless the source's Will says
 * gone first.
 * - Of several messages after a subscription the last one counts (oracle_burst.c).
 * - Modes in the order defrost, compressor's state, flow; a run has one stop: the first
 *   instant at which the compressor is known to stand, at most 3 min after it was known
 * to run.
 * - Where no flag is configured, rules over whole minutes tell, forwards over all minutes
 *   with all that follow at hand.
 * - A channel that goes along lines goes straight from a value to the next one, if that
 *   comes soon enough and the first held up to it (oracle_lines.c).
 * - A rate is known only while all its inputs are; energy is rate times time.
 */
#include "oracle_work.h"

#include <heatbook/decoder.h>
#include <heatbook/heat.h>

#define SEEN_RUNNING_MS (3 * MS_PER_MIN)
/* Rules look no further. */
#define LOOKED_AHEAD_MS (5 * MS_PER_MIN)

/* ---- what is in force ---- */

static bool is_sign(const struct work *w, const struct reading *r, int source)
{
	if (r->kind == READING_ALIVE)
		return r->channel == source;
	return r->kind >= READING_VALUE && !r->retained &&
	       w->config->channels[r->channel].source == source;
}

static bool is_gone(const struct reading *r, int source)
{
	return r->kind == READING_GONE && r->channel == source;
}

/* Is the source alive at `t_ms`, by the readings up to number `at`? */
static bool is_alive(const struct work *w, int source, ptrdiff_t at, int64_t t_ms)
{
	int64_t silent = w->config->sources[source].silent_after_ms;
	for (; at >= 0; at--) {
		const struct reading *r = &w->readings.items[at];
		if (is_gone(r, source))
			return false;
		if (is_sign(w, r, source))
			return silent < 0 || t_ms - r->t_ms < silent;
	}
	return false;
}

/* Did the source live from reading `from` to the instant `t_ms` after reading `to`? */
static bool lived(
	const struct work *w, int source, ptrdiff_t from, ptrdiff_t to, int64_t t_ms)
{
	for (ptrdiff_t i = from + 1; i <= to; i++) {
		const struct reading *r = &w->readings.items[i];
		if (is_gone(r, source) || !is_alive(w, source, i - 1, r->t_ms))
			return false;
	}
	return is_alive(w, source, to, t_ms);
}

/* The last word of a channel among the readings up to number `at`, or -1. */
ptrdiff_t oracle_last_word(const struct work *w, size_t channel, ptrdiff_t at)
{
	const struct channel_config *c = &w->config->channels[channel];
	for (; at >= 0; at--) {
		const struct reading *r = &w->readings.items[at];
		if ((r->kind != READING_VALUE && r->kind != READING_NOVALUE) ||
			r->channel != channel)
			continue;
		if (!r->retained || c->retained == RETAINED_STATE ||
			c->time == TIME_PAYLOAD)
			return at;
	}
	return -1;
}

/* The reading from which a retained word counts: itself, or the first sign of life after
 * it; -1 when it does not count by reading `to`. */
static ptrdiff_t counts_from(
	const struct work *w, int source, ptrdiff_t word, ptrdiff_t to)
{
	if (is_alive(w, source, word, w->readings.items[word].t_ms))
		return word;
	for (ptrdiff_t i = word + 1; i <= to; i++) {
		if (is_gone(&w->readings.items[i], source))
			return -1;
		if (is_sign(w, &w->readings.items[i], source))
			return i;
	}
	return -1;
}

/* The value in force right after reading `at`, at the instant `t_ms`. */
bool oracle_in_force(
	const struct work *w, size_t channel, ptrdiff_t at, int64_t t_ms, double *ret)
{
	const struct channel_config *c = &w->config->channels[channel];
	ptrdiff_t word = oracle_last_word(w, channel, at), from = word;
	if (word < 0 || w->readings.items[word].kind == READING_NOVALUE)
		return false;
	if (w->readings.items[word].retained)
		from = counts_from(w, c->source, word, at);
	if (from < 0)
		return false;
	if (c->stale_after_ms >= 0 &&
		t_ms >= w->readings.items[from].t_ms + c->stale_after_ms)
		return false;
	if (!lived(w, c->source, from, at, t_ms))
		return false;
	*ret = w->readings.items[word].value;
	return true;
}

/* ---- pieces ---- */

static int by_instant(const void *a, const void *b)
{
	int64_t left = *(const int64_t *)a, right = *(const int64_t *)b;
	return (left > right) - (left < right);
}

static void add_instant(struct work *w, int64_t t_ms)
{
	if ((w->instant_count & (w->instant_count - 1)) == 0)
		w->instants =
			xrealloc(w->instants, w->instant_count ? 2 * w->instant_count : 1,
				sizeof(*w->instants));
	w->instants[w->instant_count++] = t_ms;
}

static void sort_instants(struct work *w)
{
	size_t kept = 0;
	qsort(w->instants, w->instant_count, sizeof(*w->instants), by_instant);
	for (size_t i = 0; i < w->instant_count; i++)
		if (kept == 0 || w->instants[kept - 1] != w->instants[i])
			w->instants[kept++] = w->instants[i];
	w->instant_count = kept;
}

/* Every instant at which anything may change: readings, all limits after each, the end of
 * overrun after each of these, and the minutes' edges. */
static void find_instants(struct work *w, int64_t from_ms, int64_t to_ms)
{
	const struct config *config = w->config;
	for (size_t i = 0; i < w->readings.count; i++) {
		const struct reading *r = &w->readings.items[i];
		int source = r->kind == READING_ALIVE ? r->channel : -1;
		if (r->kind >= READING_VALUE)
			source = config->channels[r->channel].source;
		add_instant(w, r->t_ms);
		if (source < 0)
			continue;
		add_instant(w, r->t_ms + config->sources[source].silent_after_ms);
		for (size_t c = 0; c < config->channel_count; c++)
			if (config->channels[c].source == source)
				add_instant(
					w, r->t_ms + config->channels[c].stale_after_ms);
	}
	sort_instants(w);
	for (size_t i = 0, n = w->instant_count; i < n; i++)
		add_instant(w, w->instants[i] + config->modes.overrun_ms);
	for (int64_t t = from_ms; t <= to_ms; t += MS_PER_MIN)
		add_instant(w, t);
	sort_instants(w);
}

static void find_pieces(struct work *w, int64_t from_ms, int64_t to_ms)
{
	ptrdiff_t at = -1, count = (ptrdiff_t)w->readings.count;
	w->pieces = xcalloc(w->instant_count + 1, sizeof(*w->pieces));
	for (size_t i = 0; i + 1 < w->instant_count; i++) {
		int64_t t_ms = w->instants[i];
		while (at + 1 < count && w->readings.items[at + 1].t_ms <= t_ms)
			at++;
		if (t_ms < from_ms || t_ms >= to_ms)
			continue;
		struct piece *p = &w->pieces[w->piece_count++];
		p->t_ms = t_ms;
		p->end_ms = w->instants[i + 1];
		for (size_t c = 0; c < w->config->channel_count; c++)
			p->known[c] = oracle_in_force(w, c, at, t_ms, &p->value[c]);
		oracle_draw(w, p, at);
	}
}

/* ---- modes ---- */

enum tell oracle_tell(
	const struct work *w, const struct piece *p, enum role role, double above)
{
	int c = config_role(w->config, role);
	if (c < 0)
		return TELL_ABSENT;
	if (!p->known[c])
		return TELL_UNKNOWN;
	if (w->config->channels[c].map_count && p->value[c] < 0)
		return TELL_UNKNOWN;
	return p->value[c] > above ? TELL_YES : TELL_NO;
}

enum tell oracle_runs(const struct work *w, size_t piece)
{
	return oracle_tell(w, &w->pieces[piece], ROLE_COMPRESSOR_FREQUENCY, 0.0);
}

/* Is it the case while which a flow is assumed? */
static enum tell assumed(const struct work *w, const struct piece *p)
{
	const struct plant_config *plant = &w->config->plant;
	int c = plant->assumed_channel;
	if (!p->known[c] || (plant->assumed_state >= 0 && p->value[c] < 0))
		return TELL_UNKNOWN;
	return (plant->assumed_state >= 0 ? p->value[c] == plant->assumed_state
					  : p->value[c] > 0)
		       ? TELL_YES
		       : TELL_NO;
}

enum tell oracle_flows(const struct work *w, const struct piece *p)
{
	enum tell pump = oracle_tell(w, p, ROLE_CIRCULATION_PUMP, 0.0);
	enum tell flow = w->config->plant.assumed_flow_lpm > 0
				 ? assumed(w, p)
				 : oracle_tell(w, p, ROLE_FLOW_RATE,
					   w->config->plant.least_flow_lpm);
	return pump == TELL_NO || flow == TELL_ABSENT ? pump : flow;
}

/* Is there a stop less than the overrun time before the piece? */
static bool after_stop(const struct work *w, size_t piece)
{
	int64_t t_ms = w->pieces[piece].t_ms;
	for (size_t i = piece + 1; i-- > 1;) {
		if (w->pieces[i].t_ms <= t_ms - w->config->modes.overrun_ms)
			return false;
		if (oracle_runs(w, i) != TELL_NO || oracle_runs(w, i - 1) == TELL_NO)
			continue; /* no begin of standing */
		size_t j = i - 1;
		while (j > 0 && oracle_runs(w, j) == TELL_UNKNOWN)
			j--;
		if (oracle_runs(w, j) == TELL_YES &&
			w->pieces[i].t_ms - w->pieces[j].end_ms <= SEEN_RUNNING_MS)
			return true;
	}
	return false;
}

static enum mode named(const struct work *w, const struct piece *p, bool standing)
{
	int c = config_role(w->config, ROLE_OPERATING_MODE);
	switch ((enum operating_mode)p->value[c]) {
	case OPERATING_OFF:
	case OPERATING_STANDBY:
		return MODE_STANDBY;
	case OPERATING_DEFROST:
		return MODE_DEFROST;
	case OPERATING_OVERRUN:
		return MODE_OVERRUN;
	case OPERATING_FREEZE_PROTECTION:
		return MODE_FREEZE_PROTECTION;
	case OPERATING_HEATING:
		return standing ? MODE_COUNT : MODE_HEATING;
	case OPERATING_HOT_WATER:
		return standing ? MODE_COUNT : MODE_HOT_WATER;
	case OPERATING_COOLING:
		return standing && !oracle_moves(w, p) ? MODE_COUNT : MODE_COOLING;
	case OPERATING_COUNT:
	default:
		return MODE_COUNT;
	}
}

/* By the word, but for what cooling left. */
static enum mode worded(const struct work *w, size_t piece, bool standing)
{
	enum mode mode = named(w, &w->pieces[piece], standing);
	bool rests = mode == MODE_STANDBY || mode == MODE_OVERRUN;
	return rests && oracle_after_cooling(w, piece) ? MODE_COOLING : mode;
}

static double number(const struct work *w, const struct piece *p, enum role role)
{
	int c = config_role(w->config, role);
	return c >= 0 && p->known[c] ? p->value[c] : (double)NAN;
}

/* Without a sensor nothing is cold. */
static enum tell cold(
	const struct work *w, const struct piece *p, enum role role, double below)
{
	double value = number(w, p, role);
	if (config_role(w->config, role) < 0)
		return TELL_NO;
	if (isnan(value))
		return TELL_UNKNOWN;
	return value < below ? TELL_YES : TELL_NO;
}

static enum mode standing_mode(const struct work *w, size_t piece)
{
	const struct piece *p = &w->pieces[piece];
	enum tell flow = oracle_flows(w, p);
	if (oracle_tell(w, p, ROLE_OPERATING_MODE, -1.0) == TELL_YES &&
		named(w, p, true) != MODE_COUNT)
		return worded(w, piece, true);
	if (flow == TELL_UNKNOWN)
		return MODE_UNASSIGNED;
	if (oracle_after_cooling(w, piece))
		return MODE_COOLING;
	if (flow != TELL_YES)
		return MODE_STANDBY;
	if (after_stop(w, piece))
		return MODE_OVERRUN;
	const struct modes_config *limits = &w->config->modes;
	enum tell outdoors =
		cold(w, p, ROLE_OUTDOOR_TEMPERATURE, limits->freeze_outdoor_c);
	enum tell pipe = cold(w, p, ROLE_RETURN_TEMPERATURE, limits->freeze_return_c);
	if (outdoors == TELL_YES && pipe == TELL_YES)
		return MODE_FREEZE_PROTECTION;
	bool warm = outdoors == TELL_NO || pipe == TELL_NO;
	return warm ? MODE_STANDBY : MODE_UNASSIGNED;
}

/* At rest by a rule: of the whole minute. */
static enum mode standing_minute(const struct work *w, size_t minute)
{
	const struct seen *m = &w->seen[minute];
	const struct modes_config *limits = &w->config->modes;
	bool air = config_role(w->config, ROLE_OUTDOOR_TEMPERATURE) >= 0;
	bool pipe = config_role(w->config, ROLE_RETURN_TEMPERATURE) >= 0;
	if (m->moved != TELL_YES)
		return m->moved == TELL_NO ? MODE_STANDBY : MODE_UNASSIGNED;
	for (size_t s = minute + 1; s-- > 0;)
		if (w->seen[s].stop &&
			(int64_t)(minute - s) * MS_PER_MIN < limits->overrun_ms)
			return MODE_OVERRUN;
	if (!air || !pipe || m->air_c >= limits->freeze_outdoor_c ||
		m->back_c >= limits->freeze_return_c)
		return MODE_STANDBY;
	return isnan(m->air_c) || isnan(m->back_c) ? MODE_UNASSIGNED
						   : MODE_FREEZE_PROTECTION;
}

/* By flags alone: MODE_COUNT where the compressor runs and a rule must tell for what. */
static enum mode by_flags(const struct work *w, size_t piece, enum tell run)
{
	const struct piece *p = &w->pieces[piece];
	enum tell operating = oracle_tell(w, p, ROLE_OPERATING_MODE, -1.0);
	if (run == TELL_YES && w->rule_water)
		return MODE_COUNT;
	if (operating == TELL_YES)
		return run == TELL_ABSENT ? worded(w, piece, false) : named(w, p, false);
	if (run == TELL_ABSENT || operating == TELL_UNKNOWN)
		return MODE_UNASSIGNED;
	if (oracle_tell(w, p, ROLE_VALVE, -1.0) != TELL_YES)
		return MODE_UNASSIGNED;
	return number(w, p, ROLE_VALVE) > 0 ? MODE_HOT_WATER : MODE_HEATING;
}

static enum mode chosen(enum tell word, enum mode yes, enum mode no)
{
	return word == TELL_YES ? yes : word == TELL_NO ? no : MODE_UNASSIGNED;
}

enum mode oracle_mode_of(const struct work *w, size_t piece)
{
	const struct piece *p = &w->pieces[piece];
	size_t minute = (size_t)(floor_div(p->t_ms, MS_PER_MIN) - w->first);
	const struct seen *m = w->seen ? &w->seen[minute] : NULL;
	enum tell defrost = oracle_tell(w, p, ROLE_DEFROST, 0.0),
		  run = oracle_runs(w, piece);
	enum tell operating = oracle_tell(w, p, ROLE_OPERATING_MODE, -1.0);
	if (defrost == TELL_YES)
		return MODE_DEFROST;
	if (defrost == TELL_UNKNOWN || run == TELL_UNKNOWN)
		return MODE_UNASSIGNED;
	if (run == TELL_NO)
		return standing_mode(w, piece);
	if (run == TELL_ABSENT && w->rule_run) {
		if (operating == TELL_YES && named(w, p, true) != MODE_COUNT)
			return worded(w, piece, true);
		if (!m || m->run != TELL_YES)
			return m && m->run == TELL_NO ? standing_minute(w, minute)
						      : MODE_UNASSIGNED;
		run = TELL_YES;
	}
	enum mode mode = by_flags(w, piece, run);
	bool rests = mode == MODE_STANDBY || mode == MODE_OVERRUN ||
		     mode == MODE_FREEZE_PROTECTION || mode == MODE_DEFROST ||
		     (mode == MODE_COOLING && named(w, p, false) != MODE_COOLING);
	bool by_word = run == TELL_ABSENT && operating != TELL_YES;
	if (w->rule_defrost && !rests && !by_word && m && m->defrost != TELL_NO)
		return m->defrost == TELL_YES ? MODE_DEFROST : MODE_UNASSIGNED;
	if (mode == MODE_COUNT)
		return chosen(m ? m->water : TELL_UNKNOWN, MODE_HOT_WATER, MODE_HEATING);
	return mode;
}

/* ---- energies ---- */

/* Along lines a piece's heat is that of so many short ones. */
#define SLICES 32

static double along(
	const struct work *w, const struct piece *p, enum role role, double part)
{
	int c = config_role(w->config, role);
	return c >= 0 && p->known[c] ? p->begin[c] + (p->end[c] - p->begin[c]) * part
				     : (double)NAN;
}

static void heat_of(
	const struct work *w, const struct piece *p, double *ret_w, double *ret_s)
{
	const struct plant_config *plant = &w->config->plant;
	const struct heat_setting setting = {
		.mixture = mixture_of(plant->fluid, plant->fluid_percent),
		.flow_sensor_pipe = plant->flow_sensor_pipe,
		.least_flow_lpm = plant->least_flow_lpm,
		.mass_flow = plant->assumed_mass};
	double bar = plant->pressure_bar;
	*ret_s = 0.0;
	*ret_w = number(w, p, ROLE_HEAT_POWER);
	if (plant->heat_source == HEAT_POWER)
		return;
	*ret_w = 0.0;
	if (oracle_tell(w, p, ROLE_CIRCULATION_PUMP, 0.0) == TELL_NO)
		return;
	if (plant->pressure_channel >= 0)
		bar = p->known[plant->pressure_channel]
			      ? p->value[plant->pressure_channel] + 1.0
			      : (double)NAN;
	double lpm = number(w, p, ROLE_FLOW_RATE);
	if (plant->assumed_flow_lpm > 0)
		lpm = assumed(w, p) == TELL_UNKNOWN ? (double)NAN
		      : assumed(w, p) == TELL_YES   ? plant->assumed_flow_lpm
						    : 0.0;
	*ret_w = *ret_s = 0.0;
	for (int i = 0; i < SLICES; i++) {
		double watts, sensitivity, part = (i + 0.5) / SLICES;
		heat_flow(&setting, lpm, along(w, p, ROLE_FLOW_TEMPERATURE, part),
			along(w, p, ROLE_RETURN_TEMPERATURE, part), bar, &watts,
			&sensitivity);
		*ret_w += watts / SLICES;
		*ret_s += sensitivity / SLICES;
	}
}

unsigned oracle_serves(const struct config *config, int meter)
{
	unsigned own = config->meters[meter].feeds, rest = own;
	for (int m = config->meters[meter].less; m >= 0; m = config->meters[m].less)
		rest &= ~config->meters[m].feeds;
	return rest ? rest : own;
}

double oracle_meter_w(const struct work *w, const struct piece *p, int meter)
{
	const struct meter_config *m = &w->config->meters[meter];
	double sum = 0.0;
	for (size_t i = 0; i < m->power_count; i++)
		sum += p->known[m->power[i]] ? p->value[m->power[i]] : (double)NAN;
	if (m->less < 0)
		return sum;
	const struct meter_config *less = &w->config->meters[m->less];
	for (size_t i = 0; i < less->power_count; i++)
		sum -= p->known[less->power[i]] ? p->value[less->power[i]] : (double)NAN;
	return sum;
}

static void book_energies(
	const struct work *w, size_t piece, struct oracle_minute *minute)
{
	const struct piece *p = &w->pieces[piece];
	enum mode mode = oracle_mode_of(w, piece);
	struct oracle_mode *m = &minute->modes[mode];
	int64_t ms = p->end_ms - p->t_ms;
	double heat_w, sensitivity, seconds = (double)ms / 1000.0;
	bool anything = mode != MODE_UNASSIGNED;

	heat_of(w, p, &heat_w, &sensitivity);
	if (!isnan(heat_w)) {
		anything = true;
		m->heat_ms += ms;
		m->heat_j += heat_w * seconds;
		m->sensitivity += sensitivity * seconds;
	}
	for (size_t i = 0; i < w->config->meter_count; i++) {
		double power = oracle_meter_w(w, p, (int)i);
		if (isnan(power))
			continue;
		anything = true;
		m->meter_ms[i] += ms;
		m->meter_seen[i] = true;
		bool immersion = oracle_serves(w->config, (int)i) == DEVICE_IMMERSION;
		struct oracle_mode *to =
			immersion && power != 0.0 ? &minute->modes[MODE_HOT_WATER] : m;
		to->meter_j[i] += power * seconds;
		to->meter_seen[i] = true;
		to->row = true;
	}
	m->ms += anything ? ms : 0;
	m->row |= anything;
}

static void book_channels(
	const struct work *w, const struct piece *p, struct oracle_minute *minute)
{
	int64_t ms = p->end_ms - p->t_ms;
	for (size_t c = 0; c < w->config->channel_count; c++) {
		struct oracle_channel *to = &minute->channels[c];
		double least = fmin(p->begin[c], p->end[c]);
		double most = fmax(p->begin[c], p->end[c]);
		if (!p->known[c])
			continue;
		if (w->config->channels[c].map_count)
			to->state_ms[(int)p->value[c] + 1] += ms;
		if (to->known_ms == 0 || least < to->least)
			to->least = least;
		if (to->known_ms == 0 || most > to->most)
			to->most = most;
		to->known_ms += ms;
		to->sum += (least + most) / 2 * (double)ms;
	}
}

/* ---- all ---- */

static void read_all(struct work *w, const struct plant *plant)
{
	struct decoder *decoder = decoder_new(w->config);
	struct record record;
	for (size_t i = 0; i < plant->count; i++) {
		record = plant_record(plant, i);
		record_write(&record, &w->frames);
	}
	const unsigned char *at = (const unsigned char *)w->frames.data;
	for (size_t left = w->frames.length, size; left > 0; left -= size, at += size) {
		size = record_read(at, left, &record);
		decoder_decode(decoder, at, &w->readings);
	}
	readings_sort(&w->readings);
	oracle_drop_superseded(w);
	decoder_free(decoder);
}

void oracle_make(struct oracle *o, const struct config *config, const struct plant *plant,
	int64_t until_minute)
{
	struct work w = {.config = config};
	read_all(&w, plant);
	o->first = floor_div(w.readings.items[0].t_ms, MS_PER_MIN);
	o->count = until_minute > o->first ? (size_t)(until_minute - o->first) : 0;
	o->minutes = xcalloc(o->count + 1, sizeof(*o->minutes));
	int64_t from_ms = o->first * MS_PER_MIN, to_ms = until_minute * MS_PER_MIN;
	int64_t beyond_ms = to_ms + LOOKED_AHEAD_MS; /* lines look at all readings */
	find_instants(&w, from_ms, beyond_ms);
	find_pieces(&w, from_ms, beyond_ms);
	w.first = o->first;
	oracle_judge(&w, o->count + LOOKED_AHEAD_MS / MS_PER_MIN);
	for (size_t i = 0; i < w.piece_count && w.pieces[i].t_ms < to_ms; i++) {
		int64_t minute = floor_div(w.pieces[i].t_ms, MS_PER_MIN) - o->first;
		book_channels(&w, &w.pieces[i], &o->minutes[minute]);
		book_energies(&w, i, &o->minutes[minute]);
	}
	free(w.seen);
	free(w.pieces);
	free(w.instants);
	readings_release(&w.readings);
	buffer_release(&w.frames);
}

void oracle_release(struct oracle *o)
{
	free(o->minutes);
}
