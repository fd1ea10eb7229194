/*
 * The pass over time. See engine.h.
 *
 * Each channel is integrated lazily: only when its value changes, its hold ends or the
 * minute closes. A hold ends at the next reading, at the channel's own limit, or at the
 * death of its source, which every sign of life pushes back; so the end is worked out
 * when time is about to pass it, and `bound_ms` (never later than the earliest end) keeps
 * that cheap.
 *
 * Invariants: readings come in canonical order; now_ms never goes back; the open minute
 * begins at a whole minute; an unknown channel's value and time are zero, so that equal
 * states are equal bytes; values held are corrected, those of the state are as they were
 * said.
 */
#include "accountant.h"
#include "corrector.h"
#include "signal.h"

#include <assert.h>
#include <errno.h>
#include <math.h>
#include <string.h>

struct source_life {
	int64_t last_ms; /* last sign of life, or NEVER_MS */
	bool gone;       /* its Will said so; the next sign of life revives it */
};

struct engine {
	const struct config *config;
	minute_sink *sink;
	void *context;

	int64_t now_ms;
	int64_t minute; /* the open one */
	int64_t bound_ms;
	struct signal *signals;
	struct held *held; /* corrected */
	struct corrector corrector;
	struct source_life *sources;
	struct minute_channel *out;
	struct accountant accountant;
};

struct engine *engine_new(const struct config *config, minute_sink *sink, void *context)
{
	struct engine *e = xcalloc(1, sizeof(*e));
	size_t n = config->channel_count;

	e->config = config;
	e->sink = sink;
	e->context = context;
	e->signals = xcalloc(n, sizeof(*e->signals));
	e->held = xcalloc(n, sizeof(*e->held));
	e->out = xcalloc(n, sizeof(*e->out));
	e->sources = xcalloc(config->source_count, sizeof(*e->sources));
	for (size_t c = 0; c < n; c++)
		signal_init(&e->signals[c], &config->channels[c]);
	accountant_init(&e->accountant, config);
	corrector_init(&e->corrector, config);
	engine_start(e, 0);
	return e;
}

void engine_on_settlement(struct engine *e, settlement_sink *sink, void *context)
{
	e->accountant.settled = sink;
	e->accountant.settled_context = context;
}

void engine_free(struct engine *e)
{
	if (!e)
		return;
	for (size_t c = 0; c < e->config->channel_count; c++)
		signal_release(&e->signals[c]);
	accountant_release(&e->accountant);
	corrector_release(&e->corrector);
	free(e->signals);
	free(e->held);
	free(e->out);
	free(e->sources);
	free(e);
}

void engine_start(struct engine *e, int64_t minute)
{
	e->minute = minute;
	e->now_ms = minute * MS_PER_MIN;
	e->bound_ms = INT64_MAX;
	for (size_t c = 0; c < e->config->channel_count; c++) {
		signal_reset(&e->signals[c]);
		e->held[c] = (struct held){false, 0.0};
	}
	for (size_t s = 0; s < e->config->source_count; s++)
		e->sources[s] = (struct source_life){NEVER_MS, false};
	accountant_reset(&e->accountant, e->now_ms);
	corrector_move(&e->corrector, e->now_ms);
}

int64_t engine_now_ms(const struct engine *e)
{
	return e->now_ms;
}

/* When the source's silence ends its holds: INT64_MAX never, NEVER_MS already. */
static int64_t source_end_ms(const struct engine *e, int source)
{
	if (source < 0)
		return INT64_MAX;
	const struct source_life *life = &e->sources[source];
	int64_t silent = e->config->sources[source].silent_after_ms;
	if (life->gone || life->last_ms == NEVER_MS)
		return NEVER_MS;
	return silent < 0 ? INT64_MAX : life->last_ms + silent;
}

static int64_t hold_end_ms(const struct engine *e, size_t c)
{
	const struct signal *signal = &e->signals[c];
	if (signal->exact)
		return signal->end_ms;
	int64_t source = source_end_ms(e, signal->source);
	return signal->end_ms < source ? signal->end_ms : source;
}

/* Something about channel `c` changes now: its value, or that it has none. */
static void change_for(struct engine *e, size_t c, bool known, double value, int64_t t_ms,
	struct term term)
{
	bool input = e->accountant.is_input[c];
	if (input)
		accountant_book(&e->accountant, e->held, t_ms);
	signal_integrate(&e->signals[c], &e->held[c], t_ms);
	e->held[c] = (struct held){
		known, known ? corrector_take(&e->corrector, c, value) : 0.0};
	signal_hold(&e->signals[c], known, t_ms, term);
	if (known && hold_end_ms(e, c) < e->bound_ms)
		e->bound_ms = hold_end_ms(e, c);
	if (input)
		accountant_changed(&e->accountant, e->held, t_ms);
	if (!known && e->accountant.is_register[c])
		accountant_register(&e->accountant, e->held, c, t_ms);
}

static void change(struct engine *e, size_t c, bool known, double value, int64_t t_ms)
{
	struct term usual = {.source = e->config->channels[c].source};
	change_for(e, c, known, value, t_ms, usual);
}

/* What was said holds on and is corrected otherwise from now on. */
static void correct(struct engine *e, int64_t t_ms)
{
	corrector_move(&e->corrector, t_ms);
	for (size_t c = 0; c < e->config->channel_count; c++) {
		bool input = e->accountant.is_input[c];
		if (!e->held[c].known)
			continue;
		double value = corrector_value(&e->corrector, c);
		if (value == e->held[c].value)
			continue;
		if (input)
			accountant_book(&e->accountant, e->held, t_ms);
		signal_integrate(&e->signals[c], &e->held[c], t_ms);
		e->held[c].value = value;
		if (input)
			accountant_changed(&e->accountant, e->held, t_ms);
	}
}

static void find_bound(struct engine *e)
{
	e->bound_ms = INT64_MAX;
	for (size_t c = 0; c < e->config->channel_count; c++) {
		if (!e->held[c].known)
			continue;
		int64_t end = hold_end_ms(e, c);
		if (end < e->bound_ms)
			e->bound_ms = end;
	}
}

static void end_holds(struct engine *e, int64_t t_ms)
{
	for (size_t c = 0; c < e->config->channel_count; c++)
		if (e->held[c].known && hold_end_ms(e, c) <= t_ms)
			change(e, c, false, 0.0, t_ms);
}

static void close_minute(struct engine *e)
{
	int64_t end_ms = (e->minute + 1) * MS_PER_MIN;
	bool any = false;

	accountant_book(&e->accountant, e->held, end_ms);
	for (size_t c = 0; c < e->config->channel_count; c++) {
		signal_integrate(&e->signals[c], &e->held[c], end_ms);
		signal_close(&e->signals[c], &e->out[c]);
		any |= e->out[c].known_ms > 0;
	}
	if (any || accountant_anything(&e->accountant)) {
		struct minute minute = {
			.minute = e->minute,
			.channels = e->out,
			.modes = e->accountant.modes,
			.known = accountant_known(&e->accountant),
		};
		if (e->sink)
			e->sink(&minute, e->context);
	}
	accountant_next_minute(&e->accountant);
	e->minute++;
}

bool engine_quiet(const struct engine *e)
{
	for (size_t c = 0; c < e->config->channel_count; c++)
		if (e->held[c].known)
			return false;
	return true;
}

/* Nothing holds and nothing was known in the open minute: time can be skipped. */
static bool empty(const struct engine *e)
{
	for (size_t c = 0; c < e->config->channel_count; c++)
		if (e->held[c].known || e->signals[c].known_ms > 0)
			return false;
	return !accountant_anything(&e->accountant);
}

static void skip_to(struct engine *e, int64_t t_ms)
{
	e->minute = floor_div(t_ms, MS_PER_MIN);
	accountant_skip(&e->accountant, t_ms);
	for (size_t c = 0; c < e->config->channel_count; c++)
		e->signals[c].since_ms = t_ms;
}

void engine_advance(struct engine *e, int64_t t_ms)
{
	while (e->now_ms < t_ms) {
		int64_t edge = (e->minute + 1) * MS_PER_MIN;
		int64_t next = edge;

		accountant_rates(&e->accountant, e->held, e->now_ms);
		if (e->bound_ms <= next || e->bound_ms <= e->now_ms)
			find_bound(e);
		if (e->bound_ms < next)
			next = e->bound_ms;
		if (e->accountant.until_ms < next)
			next = e->accountant.until_ms;
		if (e->corrector.next_ms < next)
			next = e->corrector.next_ms;
		if (next < e->now_ms)
			next = e->now_ms; /* a limit that a new configuration made shorter
					   */
		if (next > t_ms)
			break;
		e->now_ms = next;
		if (e->accountant.until_ms <= next) {
			accountant_book(&e->accountant, e->held, next);
			e->accountant.fresh = false;
		}
		if (e->bound_ms <= next)
			end_holds(e, next);
		if (e->corrector.next_ms <= next)
			correct(e, next);
		if (next == edge)
			close_minute(e);
		if (t_ms - next > MS_PER_MIN && empty(e))
			skip_to(e, floor_div(t_ms, MS_PER_MIN) * MS_PER_MIN);
	}
	e->now_ms = t_ms > e->now_ms ? t_ms : e->now_ms;
}

static void release_waiting(struct engine *e, int source, int64_t t_ms)
{
	for (size_t c = 0; c < e->config->channel_count; c++) {
		struct signal *signal = &e->signals[c];
		if (!signal->waiting || e->config->channels[c].source != source)
			continue;
		signal->waiting = false;
		change(e, c, true, signal->waiting_value, t_ms);
	}
}

static void alive(struct engine *e, int source, int64_t t_ms)
{
	if (source < 0)
		return;
	struct source_life *life = &e->sources[source];
	if (!life->gone && life->last_ms == t_ms)
		return; /* another reading of the same record: nothing waits */
	life->gone = false;
	life->last_ms = t_ms;
	release_waiting(e, source, t_ms);
}

static void gone(struct engine *e, int source, int64_t t_ms)
{
	e->sources[source].gone = true;
	for (size_t c = 0; c < e->config->channel_count; c++) {
		struct signal *signal = &e->signals[c];
		if (e->config->channels[c].source == source)
			signal->waiting = false;
		if (e->held[c].known && !signal->exact && signal->source == source)
			change(e, c, false, 0.0, t_ms);
	}
}

/* The clock was set forward: what was true in the time stepped over nobody knows, and who
 * was alive before it says nothing about what follows. */
static void stepped_forward(struct engine *e, int64_t t_ms)
{
	for (size_t s = 0; s < e->config->source_count; s++)
		e->sources[s].last_ms = NEVER_MS;
	for (size_t c = 0; c < e->config->channel_count; c++) {
		e->signals[c].waiting = false;
		if (e->held[c].known)
			change(e, c, false, 0.0, t_ms);
	}
}

/* What a register says now, or at the time that its payload names. */
static void count(struct engine *e, const struct reading *r)
{
	if (r->kind == READING_VALUE && e->accountant.is_register[r->channel])
		accountant_register(&e->accountant, e->held, r->channel, r->t_ms);
}

/* A retained word: of unknown age. A state counts from now if its source is alive, else
 * from the source's next sign of life; a gauge never (unless it bears its own time). */
static void feed_retained(struct engine *e, const struct reading *r)
{
	const struct channel_config *channel = &e->config->channels[r->channel];
	struct signal *signal = &e->signals[r->channel];

	if (channel->retained == RETAINED_IGNORE && channel->time == TIME_ARRIVAL)
		return;
	signal->waiting = false;
	if (r->kind == READING_NOVALUE) {
		change(e, r->channel, false, 0.0, r->t_ms);
		return;
	}
	if (source_end_ms(e, channel->source) > r->t_ms) {
		change(e, r->channel, true, r->value, r->t_ms);
		if (channel->time == TIME_PAYLOAD)
			count(e, r);
		return;
	}
	signal->waiting = true;
	signal->waiting_value = r->value;
}

void engine_feed(struct engine *e, const struct reading *r)
{
	assert(r->t_ms >= e->now_ms);
	engine_advance(e, r->t_ms);
	if (r->kind == READING_FACT) {
		if (r->channel == RECORD_CLOCK_STEP && r->value > 0)
			stepped_forward(e, r->t_ms);
		return;
	}
	if (r->kind == READING_ALIVE) {
		alive(e, r->channel, r->t_ms);
		return;
	}
	if (r->kind == READING_GONE) {
		gone(e, r->channel, r->t_ms);
		return;
	}
	int source = r->table ? r->table - 1 : e->config->channels[r->channel].source;
	if (!r->retained)
		alive(e, source, r->t_ms);
	if (r->kind == READING_BAD)
		return;
	if (r->retained) {
		feed_retained(e, r);
		return;
	}
	e->signals[r->channel].waiting = false;
	change_for(e, r->channel, r->kind == READING_VALUE, r->value, r->t_ms,
		(struct term){source, r->exact_ms});
	count(e, r);
}

bool engine_channel(
	const struct engine *e, size_t channel, double *ret_value, int64_t *ret_t_ms)
{
	if (!e->held[channel].known)
		return false;
	*ret_value = e->held[channel].value;
	*ret_t_ms = e->signals[channel].t_ms;
	return true;
}

enum mode engine_instant(
	const struct engine *e, double *ret_heat_w, double *ret_electricity_w)
{
	struct accountant now = e->accountant; /* a look changes nothing */
	double electricity = (double)NAN;

	now.fresh = false;
	accountant_rates(&now, e->held, e->now_ms);
	for (size_t m = 0; m < e->config->meter_count; m++)
		if (!isnan(now.meter_w[m]))
			electricity =
				(isnan(electricity) ? 0.0 : electricity) + now.meter_w[m];
	*ret_heat_w = now.heat_w;
	*ret_electricity_w = electricity;
	return now.mode;
}

/* The state's bytes: a format number, then channels and sources in the configuration's
 * order, each by name, the compressor's memory, then registers by their meters' names.
 * States are kept by name, too: their numbers are the configuration's. Format 1 kept the
 * numbers; before format 3 a channel's own source and limit bounded every hold, before
 * format 4 no register was kept. */
#define STATE_FORMAT 4

struct state_channel {
	double value;
	double waiting_value;
	int64_t t_ms;
	uint8_t known;
	uint8_t waiting;
	uint8_t named; /* the names of both values follow, "" for what is no named state
			*/
};

static void save_name(struct buffer *out, const char *name)
{
	uint8_t length = (uint8_t)strlen(name);
	buffer_add(out, &length, 1);
	buffer_add(out, name, length);
}

static bool is_named(const struct channel_config *channel, double value)
{
	return channel->map_count && value >= 0.0;
}

static void save_state_name(
	struct buffer *out, const struct channel_config *channel, double value, bool held)
{
	bool named = held && is_named(channel, value);
	save_name(out, named ? channel->states[(size_t)value] : "");
}

/* What bounds a hold that is not bounded as usual: how long it is exactly, or 0, and the
 * name of the table that it comes from, or "". */
static void save_term(const struct engine *e, size_t c, struct buffer *out)
{
	const struct signal *s = &e->signals[c];
	int64_t exact_ms = s->exact ? s->end_ms - s->t_ms : 0;
	bool usual = s->exact || s->source == e->config->channels[c].source;
	buffer_add(out, &exact_ms, sizeof(exact_ms));
	save_name(out, usual ? "" : e->config->sources[s->source].name);
}

static void save_channel(const struct engine *e, size_t c, struct buffer *out)
{
	const struct channel_config *channel = &e->config->channels[c];
	const struct signal *s = &e->signals[c];
	const struct held *held = &e->held[c];
	struct state_channel state;

	memset(&state, 0, sizeof(state)); /* padding too: bytes are compared */
	if (held->known && !is_named(channel, held->value))
		state.value = e->corrector.raw[c];
	if (s->waiting && !is_named(channel, s->waiting_value))
		state.waiting_value = s->waiting_value;
	state.t_ms = held->known ? s->t_ms : 0;
	state.known = held->known;
	state.waiting = s->waiting;
	state.named = channel->map_count > 0;
	save_name(out, channel->name);
	buffer_add(out, &state, sizeof(state));
	save_term(e, c, out);
	if (!state.named)
		return;
	save_state_name(out, channel, held->value, held->known);
	save_state_name(out, channel, s->waiting_value, s->waiting);
}

static void save_registers(const struct engine *e, struct buffer *out)
{
	const struct config *config = e->config;
	uint32_t count = 0;
	for (size_t m = 0; m < config->meter_count; m++)
		count += config->meters[m].counts;
	buffer_add(out, &count, sizeof(count));
	for (size_t m = 0; m < config->meter_count; m++) {
		if (!config->meters[m].counts)
			continue;
		save_name(out, config->meters[m].name);
		buffer_add(out, &e->accountant.registers[m].state,
			sizeof(struct register_state));
	}
}

void engine_save(const struct engine *e, struct buffer *out)
{
	uint32_t head[3] = {STATE_FORMAT, (uint32_t)e->config->channel_count,
		(uint32_t)e->config->source_count};

	assert(e->now_ms == e->minute * MS_PER_MIN);
	buffer_add(out, head, sizeof(head));
	for (size_t c = 0; c < e->config->channel_count; c++)
		save_channel(e, c, out);
	for (size_t s = 0; s < e->config->source_count; s++) {
		int64_t life[2] = {e->sources[s].last_ms, e->sources[s].gone};
		save_name(out, e->config->sources[s].name);
		buffer_add(out, life, sizeof(life));
	}
	int64_t memory[2] = {
		e->accountant.memory.on_until_ms, e->accountant.memory.stop_ms};
	buffer_add(out, memory, sizeof(memory));
	save_registers(e, out);
}

struct reader {
	const unsigned char *at, *end;
	bool broken;
};

static void take(struct reader *r, void *into, size_t length)
{
	if (r->broken || (size_t)(r->end - r->at) < length) {
		r->broken = true;
		memset(into, 0, length);
		return;
	}
	memcpy(into, r->at, length);
	r->at += length;
}

static void take_name(struct reader *r, char name[static 256])
{
	uint8_t length;
	take(r, &length, 1);
	take(r, name, length);
	name[length] = '\0';
}

static int channel_index(const struct config *config, const char *name)
{
	for (size_t c = 0; c < config->channel_count; c++)
		if (strcmp(config->channels[c].name, name) == 0)
			return (int)c;
	return -1;
}

static int source_index(const struct config *config, const char *name)
{
	for (size_t s = 0; s < config->source_count; s++)
		if (strcmp(config->sources[s].name, name) == 0)
			return (int)s;
	return -1;
}

static int meter_index(const struct config *config, const char *name)
{
	for (size_t m = 0; m < config->meter_count; m++)
		if (strcmp(config->meters[m].name, name) == 0)
			return (int)m;
	return -1;
}

/* A state that the map has lost is none any more. */
static bool is_value(const struct channel_config *channel, double value)
{
	if (!channel->map_count)
		return isfinite(value);
	return value >= STATE_UNKNOWN && value < (double)channel->state_count &&
	       value == floor(value);
}

/* The configuration's number of a named state; NaN when it has none. */
static void name_value(
	const struct channel_config *channel, const char *name, double *value)
{
	if (!name[0])
		return;
	*value = (double)NAN;
	for (size_t i = 0; i < channel->state_count; i++)
		if (strcmp(channel->states[i], name) == 0)
			*value = (double)i;
}

/* False: it is bounded by the life of a table that is no longer configured. */
static bool restore_term(struct engine *e, struct reader *r, struct term *ret)
{
	char table[256];
	take(r, &ret->exact_ms, sizeof(ret->exact_ms));
	take_name(r, table);
	if (table[0])
		ret->source = source_index(e->config, table);
	return !table[0] || ret->source >= 0;
}

static void restore_channel(struct engine *e, struct reader *r, uint32_t format)
{
	char name[256], value[256] = "", waiting[256] = "";
	struct state_channel state;

	take_name(r, name);
	int c = channel_index(e->config, name);
	struct term term = {.source = c < 0 ? -1 : e->config->channels[c].source};
	take(r, &state, sizeof(state));
	bool bounded = format < 3 || restore_term(e, r, &term);
	if (format > 1 && state.named) {
		take_name(r, value);
		take_name(r, waiting);
	}
	if (c < 0 || r->broken)
		return; /* a channel that is no longer configured */
	struct signal *signal = &e->signals[c];
	name_value(signal->config, value, &state.value);
	name_value(signal->config, waiting, &state.waiting_value);
	signal->waiting = state.waiting && is_value(signal->config, state.waiting_value);
	signal->waiting_value = signal->waiting ? state.waiting_value : 0.0;
	if (!state.known || !bounded || !is_value(signal->config, state.value))
		return;
	e->held[c] = (struct held){
		true, corrector_take(&e->corrector, (size_t)c, state.value)};
	signal_hold(signal, true, state.t_ms, term);
	signal->since_ms = e->now_ms;
}

static void restore_source(struct engine *e, struct reader *r)
{
	int64_t life[2];
	char name[256];

	take_name(r, name);
	take(r, life, sizeof(life));
	int s = source_index(e->config, name);
	if (s >= 0 && !r->broken)
		e->sources[s] = (struct source_life){life[0], life[1] != 0};
}

static void restore_registers(struct engine *e, struct reader *r)
{
	struct register_state state;
	char name[256];
	uint32_t count;

	take(r, &count, sizeof(count));
	for (uint32_t i = 0; i < count && !r->broken; i++) {
		take_name(r, name);
		take(r, &state, sizeof(state));
		int m = meter_index(e->config, name);
		if (m >= 0 && e->config->meters[m].counts && !r->broken)
			e->accountant.registers[m].state = state;
	}
}

int engine_restore(struct engine *e, int64_t minute, const void *bytes, size_t length)
{
	struct reader r = {.at = bytes, .end = (const unsigned char *)bytes + length};
	uint32_t head[3];
	int64_t memory[2];

	engine_start(e, minute);
	take(&r, head, sizeof(head));
	if (head[0] < 1 || head[0] > STATE_FORMAT)
		return -EBADMSG;
	for (uint32_t i = 0; i < head[1] && !r.broken; i++)
		restore_channel(e, &r, head[0]);
	for (uint32_t i = 0; i < head[2] && !r.broken; i++)
		restore_source(e, &r);
	take(&r, memory, sizeof(memory));
	if (head[0] > 3)
		restore_registers(e, &r);
	if (r.broken || r.at != r.end) {
		engine_start(e, minute);
		return -EBADMSG;
	}
	accountant_changed(&e->accountant, e->held, e->now_ms);
	e->accountant.memory = (struct mode_memory){memory[0], memory[1]};
	e->accountant.before_ms = NEVER_MS;
	e->bound_ms = NEVER_MS; /* to be found */
	return 0;
}
