/*
 * The carried state as bytes, and back. See engine.h.
 *
 * Everything goes by name, so that a state survives a changed configuration: what is no
 * longer configured is passed over, what is new begins unknown. Values are those that
 * were said, before corrections, so that equal states are equal bytes under any of them.
 */
#include "engine_core.h"

#include <assert.h>
#include <errno.h>
#include <math.h>
#include <string.h>

/* The state's bytes: a format number, then channels and sources in the configuration's
 * order, each by name, the compressor's memory, then registers by what they count.
 * States are kept by name, too: their numbers are the configuration's. Format 1 kept the
 * numbers; before format 3 a channel's own source and limit bounded every hold, before
 * format 4 no register was kept, before format 5 of registers not when a refused reading
 * was told of last, before format 6 nothing of rules, before format 7 no doubt about a
 * channel's readings, and before format 8 not when cooling ended. */
#define STATE_FORMAT 8

struct state_channel {
	double value;
	double waiting_value;
	int64_t t_ms;
	uint8_t known;
	uint8_t waiting;
	uint8_t named;   /* the names of both values follow, "" for what is no named state
			  */
	uint8_t beyond;  /* struct doubt */
	uint8_t no_line; /* struct signal; 0 in older states, where it was padding */
	int64_t code_ms, beyond_ms; /* likewise; since format 7 */
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
	state.beyond = e->doubts[c].beyond;
	state.no_line = s->no_line;
	state.code_ms = e->doubts[c].code_ms;
	state.beyond_ms = e->doubts[c].beyond_ms;
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
	uint32_t count = 0;
	for (size_t q = 0; q < COUNTED_MOST; q++)
		count += config_counted(e->config, q) != NULL;
	buffer_add(out, &count, sizeof(count));
	for (size_t q = 0; q < COUNTED_MOST; q++) {
		if (!config_counted(e->config, q))
			continue;
		save_name(out, config_counted_name(e->config, q));
		buffer_add(out, &e->accountant.registers[q].state,
			sizeof(struct register_state));
	}
}

/* Only where rules are needed: else nothing of it tells. */
static void save_rules(const struct engine *e, struct buffer *out)
{
	uint32_t length = e->waiting ? sizeof(struct rules_memory) : 0;
	buffer_add(out, &length, sizeof(length));
	buffer_add(out, &e->accountant.rules.memory, length);
}

/* What was said, and what of it was booked, which may stand a little behind. */
static void save(const struct engine *e, const struct engine *books, struct buffer *out)
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
	const struct mode_memory *m = &e->accountant.memory;
	int64_t memory[3] = {m->on_until_ms, m->stop_ms, m->cooled_ms};
	buffer_add(out, memory, sizeof(memory));
	save_registers(books, out);
	save_rules(books, out);
}

void engine_save(const struct engine *e, struct buffer *out)
{
	save(e, e, out);
}

void engine_save_present(const struct engine *e, struct buffer *out)
{
	save(e->between ? between_scout(e->between) : e, e, out);
}

bool engine_midnight(struct engine *e, int64_t day, struct buffer *out, bool *ret_quiet)
{
	if (e->between)
		return between_midnight(e, day, out, ret_quiet);
	if (e->now_ms != day * MS_PER_DAY)
		return false;
	engine_save(e, out);
	*ret_quiet = engine_quiet(e);
	return true;
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

/* COUNTED_MOST: it counts no more. */
static size_t counted_index(const struct config *config, const char *name)
{
	for (size_t q = 0; q < COUNTED_MOST; q++)
		if (config_counted(config, q) &&
			strcmp(config_counted_name(config, q), name) == 0)
			return q;
	return COUNTED_MOST;
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
	struct state_channel state = {.code_ms = NEVER_MS, .beyond_ms = NEVER_MS};

	take_name(r, name);
	int c = channel_index(e->config, name);
	struct term term = {.source = c < 0 ? -1 : e->config->channels[c].source};
	take(r, &state,
		format < 7 ? offsetof(struct state_channel, code_ms) : sizeof(state));
	bool bounded = format < 3 || restore_term(e, r, &term);
	if (format > 1 && state.named) {
		take_name(r, value);
		take_name(r, waiting);
	}
	if (c < 0 || r->broken)
		return; /* a channel that is no longer configured */
	struct signal *signal = &e->signals[c];
	e->doubts[c] = (struct doubt){state.code_ms, state.beyond_ms, state.beyond};
	name_value(signal->config, value, &state.value);
	name_value(signal->config, waiting, &state.waiting_value);
	signal->waiting = state.waiting && is_value(signal->config, state.waiting_value);
	signal->waiting_value = signal->waiting ? state.waiting_value : 0.0;
	if (!state.known || !bounded || !is_value(signal->config, state.value))
		return;
	e->held[c] = (struct held){
		true, corrector_take(&e->corrector, (size_t)c, state.value)};
	signal_hold(signal, true, state.t_ms, term);
	signal->no_line = state.no_line;
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

static void restore_registers(struct engine *e, struct reader *r, uint32_t format)
{
	size_t length = format < 5 ? offsetof(struct register_state, refused_ms)
				   : sizeof(struct register_state);
	struct register_state state = {.refused_ms = NEVER_MS};
	char name[256];
	uint32_t count;

	take(r, &count, sizeof(count));
	for (uint32_t i = 0; i < count && !r->broken; i++) {
		take_name(r, name);
		take(r, &state, length);
		size_t q = counted_index(e->config, name);
		if (q < COUNTED_MOST && !r->broken)
			e->accountant.registers[q].state = state;
	}
}

static bool sound(const struct rules_memory *m)
{
	return m->count >= 0 && m->count <= RULES_ROWS && m->judged >= 0 &&
	       m->judged <= m->count && m->count - m->judged <= RULES_LAG_MIN;
}

static void restore_rules(struct engine *e, struct reader *r)
{
	struct rules_memory memory;
	uint32_t length;

	take(r, &length, sizeof(length));
	if (length == 0 || r->broken)
		return;
	r->broken = length != sizeof(memory);
	take(r, &memory, sizeof(memory));
	r->broken = r->broken || !sound(&memory);
	if (e->waiting && !r->broken)
		e->accountant.rules.memory = memory;
}

int engine_restore(struct engine *e, int64_t minute, const void *bytes, size_t length)
{
	struct reader r = {.at = bytes, .end = (const unsigned char *)bytes + length};
	uint32_t head[3];
	int64_t memory[3] = {NEVER_MS, NEVER_MS, NEVER_MS};

	engine_start(e, minute);
	take(&r, head, sizeof(head));
	if (head[0] < 1 || head[0] > STATE_FORMAT)
		return -EBADMSG;
	for (uint32_t i = 0; i < head[1] && !r.broken; i++)
		restore_channel(e, &r, head[0]);
	for (uint32_t i = 0; i < head[2] && !r.broken; i++)
		restore_source(e, &r);
	take(&r, memory, head[0] > 7 ? sizeof(memory) : 2 * sizeof(memory[0]));
	if (head[0] > 3)
		restore_registers(e, &r, head[0]);
	if (head[0] > 5)
		restore_rules(e, &r);
	if (r.broken || r.at != r.end) {
		engine_start(e, minute);
		return -EBADMSG;
	}
	accountant_change(&e->accountant, e->held, e->now_ms);
	e->accountant.memory = (struct mode_memory){memory[0], memory[1], memory[2]};
	e->accountant.before_ms = NEVER_MS;
	e->bound_ms = NEVER_MS; /* to be found */
	return e->between ? between_restore(e, minute, bytes, length) : 0;
}
