/*
 * See fold.h. Everything is sized once by the configuration, but for the lists of states
 * and of sets of known meters, which grow to the few that occur.
 */
#include "fold.h"

#include <heatbook/mode.h>
#include <heatbook/query.h>

#include <string.h>

/* Holds any sum of 63-bit values times milliseconds of centuries. */
__extension__ typedef __int128 wide_sum;

struct state_time {
	int64_t code;
	int64_t ms;
};

struct channel_fold {
	bool is_state;
	const struct state_names *names; /* by code */
	bool has_extremes;
	int64_t ms; /* known */
	wide_sum weighted;
	struct state_time *states;
	size_t state_count, state_room;
	bool ranged;
	int64_t least, most;
};

/* What of an energy was not seen as it flowed. */
enum { SPREAD_J, BRIDGED_J, BRIDGED_MS, APART_COUNT };
struct apart_fold {
	bool seen[APART_COUNT];
	int64_t sums[APART_COUNT];
};

struct energy_fold {
	int64_t mode, known;
	int64_t ms, heat_ms, sensitivity;
	bool heat_seen;
	int64_t heat_j;
	uint32_t meter_seen;
	int64_t meter_j[METERS_MOST];
	int64_t meter_ms[METERS_MOST];
	struct apart_fold apart[COUNTED_MOST]; /* of what registers count */
};

struct fold {
	size_t channel_count, meter_count;
	size_t laid[COUNTED_MOST], laid_count; /* quantities with columns apart */
	struct channel_fold *channels;
	bool any;
	struct energy_fold *energies;
	size_t energy_count, energy_room;
};

struct fold *fold_new(const struct store *s)
{
	const struct config *config = s->config;
	struct fold *f = xcalloc(1, sizeof(*f));
	f->channel_count = config->channel_count;
	f->meter_count = config->meter_count;
	f->channels = xcalloc(f->channel_count, sizeof(*f->channels));
	for (size_t c = 0; c < f->channel_count; c++) {
		f->channels[c].is_state = config->channels[c].map_count > 0;
		f->channels[c].names = &s->states[c].names;
		f->channels[c].has_extremes = config->channels[c].extremes;
	}
	for (size_t q = 0; q < COUNTED_MOST; q++)
		if (config_is_laid(config, q))
			f->laid[f->laid_count++] = q;
	return f;
}

void fold_free(struct fold *f)
{
	if (!f)
		return;
	for (size_t c = 0; c < f->channel_count; c++)
		free(f->channels[c].states);
	free(f->channels);
	free(f->energies);
	free(f);
}

void fold_reset(struct fold *f)
{
	f->any = false;
	f->energy_count = 0;
	for (size_t c = 0; c < f->channel_count; c++) {
		f->channels[c].ms = 0;
		f->channels[c].weighted = 0;
		f->channels[c].state_count = 0;
		f->channels[c].ranged = false;
	}
}

/* A known time of NULL is the whole minute. */
static int64_t known_ms(struct row_view row, int column)
{
	return row.known[column] ? row.values[column] : MS_PER_MIN;
}

static void add_state(struct channel_fold *c, int64_t code, int64_t ms)
{
	size_t i = 0;
	while (i < c->state_count && c->states[i].code != code)
		i++;
	if (i == c->state_room) {
		c->state_room = c->state_room ? 2 * c->state_room : 8;
		c->states = xrealloc(c->states, c->state_room, sizeof(*c->states));
	}
	if (i == c->state_count)
		c->states[c->state_count++] = (struct state_time){code, 0};
	c->states[i].ms += ms;
}

static void add_value(struct channel_fold *c, struct row_view row, int column)
{
	if (!row.known[column])
		return;
	int64_t value = row.values[column];
	int64_t ms = known_ms(row, column + 1);
	c->ms += ms;
	if (c->is_state)
		add_state(c, value, ms);
	else
		c->weighted += (wide_sum)value * ms;
}

static void add_extremes(struct channel_fold *c, struct row_view row, int column)
{
	if (!row.known[column] || !row.known[column + 1])
		return;
	int64_t least = row.values[column];
	int64_t most = row.values[column + 1];
	c->least = c->ranged && c->least < least ? c->least : least;
	c->most = c->ranged && c->most > most ? c->most : most;
	c->ranged = true;
}

void fold_minute(struct fold *f, struct row_view row)
{
	int column = 1; /* behind the minute */
	f->any = true;
	for (size_t c = 0; c < f->channel_count; c++, column += 2)
		add_value(&f->channels[c], row, column);
	for (size_t c = 0; c < f->channel_count; c++) {
		if (!f->channels[c].has_extremes)
			continue;
		add_extremes(&f->channels[c], row, column);
		column += 2;
	}
}

/* Beyond 63 bits there is no energy of a house: the sum stays at the end of the range. */
static void add(int64_t *sum, int64_t more)
{
	if (__builtin_add_overflow(*sum, more, sum))
		*sum = more > 0 ? INT64_MAX : INT64_MIN;
}

static struct energy_fold *energy_of(struct fold *f, int64_t mode, int64_t known)
{
	for (size_t i = 0; i < f->energy_count; i++)
		if (f->energies[i].mode == mode && f->energies[i].known == known)
			return &f->energies[i];
	if (f->energy_count == f->energy_room) {
		f->energy_room = f->energy_room ? 2 * f->energy_room : MODE_COUNT;
		f->energies = xrealloc(f->energies, f->energy_room, sizeof(*f->energies));
	}
	struct energy_fold *e = &f->energies[f->energy_count++];
	memset(e, 0, sizeof(*e));
	e->mode = mode;
	e->known = known;
	return e;
}

static void add_apart(struct apart_fold *a, struct row_view row, int column)
{
	for (int i = 0; i < APART_COUNT; i++) {
		if (!row.known[column + i])
			continue;
		a->seen[i] = true;
		add(&a->sums[i], row.values[column + i]);
	}
}

void fold_energy(struct fold *f, struct row_view row)
{
	struct energy_fold *e = energy_of(f, row.values[0] & 15, row.values[1]);
	e->ms += known_ms(row, 2);
	if (!!row.known[3]) {
		e->heat_seen = true;
		add(&e->heat_j, row.values[3]);
		e->heat_ms += known_ms(row, 4);
	}
	if (row.known[5])
		add(&e->sensitivity, row.values[5]);
	for (size_t m = 0; m < f->meter_count; m++) {
		int column = 6 + 2 * (int)m;
		if (!row.known[column])
			continue;
		e->meter_seen |= UINT32_C(1) << m;
		add(&e->meter_j[m], row.values[column]);
		e->meter_ms[m] += known_ms(row, column + 1);
	}
	int column = 6 + 2 * (int)f->meter_count;
	for (size_t i = 0; i < f->laid_count; i++, column += APART_COUNT)
		add_apart(&e->apart[f->laid[i]], row, column);
}

bool fold_any(const struct fold *f)
{
	return f->any;
}

size_t fold_energies(const struct fold *f)
{
	return f->energy_count;
}

/* Halves away from zero. */
static int64_t rounded(wide_sum sum, int64_t by)
{
	wide_sum half = by / 2;
	return (int64_t)((sum < 0 ? sum - half : sum + half) / by);
}

/* Of equals the last by name counts; codes tell where names do not. */
static bool is_later(const struct state_names *names, int64_t code, int64_t other)
{
	size_t a = (size_t)code, b = (size_t)other; /* -1 is beyond them */
	if (a < names->count && b < names->count)
		return strcmp(names->names[a], names->names[b]) > 0;
	return code > other;
}

static int64_t longest(const struct channel_fold *c)
{
	struct state_time best = c->states[0];
	for (size_t i = 1; i < c->state_count; i++) {
		const struct state_time *s = &c->states[i];
		if (s->ms > best.ms ||
			(s->ms == best.ms && is_later(c->names, s->code, best.code)))
			best = *s;
	}
	return best.code;
}

static void bind(sqlite3_stmt *add, int at, bool known, int64_t value)
{
	/* Fails for wrong numbers only; what is not known is NULL. */
	(void)(known ? sqlite3_bind_int64(add, at, value) : sqlite3_bind_null(add, at));
}

int fold_bind(const struct fold *f, sqlite3_stmt *add, int at)
{
	for (size_t i = 0; i < f->channel_count; i++, at += 2) {
		const struct channel_fold *c = &f->channels[i];
		bool known = c->ms > 0;
		int64_t value = 0;
		if (known)
			value = c->is_state ? longest(c) : rounded(c->weighted, c->ms);
		bind(add, at, known, value);
		bind(add, at + 1, known, c->ms);
	}
	for (size_t i = 0; i < f->channel_count; i++) {
		const struct channel_fold *c = &f->channels[i];
		if (!c->has_extremes)
			continue;
		bind(add, at++, c->ranged, c->least);
		bind(add, at++, c->ranged, c->most);
	}
	return at;
}

void fold_bind_energy(const struct fold *f, size_t index, sqlite3_stmt *add, int at)
{
	const struct energy_fold *e = &f->energies[index];
	bind(add, at++, true, e->mode);
	bind(add, at++, true, e->known);
	bind(add, at++, true, e->ms);
	bind(add, at++, e->heat_seen, e->heat_j);
	bind(add, at++, true, e->heat_ms);
	bind(add, at++, true, e->sensitivity);
	for (size_t m = 0; m < f->meter_count; m++) {
		bind(add, at++, e->meter_seen & UINT32_C(1) << m, e->meter_j[m]);
		bind(add, at++, true, e->meter_ms[m]);
	}
	for (size_t l = 0; l < f->laid_count; l++) {
		const struct apart_fold *apart = &e->apart[f->laid[l]];
		for (int i = 0; i < APART_COUNT; i++)
			bind(add, at++, apart->seen[i], apart->sums[i]);
	}
}
