/*
 * Electricity meters from powers and registers that share a subject. See view.h.
 *
 * The subject is what is left of topic and key without the words of quantities: "l1",
 * "l2" and "energy" below "meter/unit" are of the unit. Phases that stand side by side
 * make a sum unless their total is there too. Whose meter it is words tell; a meter
 * without such a word is the heat pump's only if it rises when the compressor runs, or if
 * no other electricity is heard.
 */
#include "view.h"

#include <math.h>
#include <string.h>

#define GROUPS_MOST  64
#define MEMBERS_MOST 16
#define RUNS_W       300  /* and twice what it takes at rest */
#define SOLE_MOST_W  15e3 /* a single meter above that is a whole house's */

struct group {
	const char *subject;
	size_t powers[MEMBERS_MOST], registers[MEMBERS_MOST];
	size_t power_count, register_count;
	uint64_t concepts;
	unsigned feeds;
	bool sure;
	struct buffer why;
};

static const uint64_t no_meter =
	BIT(C_HEAT) | BIT(C_APPARENT) | BIT(C_TARGET) | BIT(C_EXPORT) | BIT(C_BRINE);

static bool is_electricity(const struct view *v, enum dimension dimension)
{
	if (!v->free || !v->number || v->dimension != dimension ||
		v->trail.near & no_meter || v->trail.far & BIT(C_EXPORT))
		return false;
	if (dimension == DIMENSION_ENERGY)
		return v->place->falls == 0 && v->place->least >= 0;
	return true;
}

static bool is_bare_phase(const struct view *v)
{
	return v->number && v->dimension == DIMENSION_COUNT &&
	       v->trail.near & BIT(C_PHASE);
}

/* Are the phases beside each other all at a supply's voltage (EN 50160: 230 V less or
 * more a tenth), with a power beside them that is their own? Else a load that happens to
 * lie there would be taken for volts. */
static bool are_volts(const struct views *views, const struct view *phase)
{
	bool power = false;
	for (size_t i = 0; i < views->count; i++) {
		const struct view *v = &views->items[i];
		if (v->parent != phase->parent)
			continue;
		power |= v->number && v->dimension == DIMENSION_POWER &&
			 !(is_bare_phase(v));
		if (is_bare_phase(v) && (v->place->least < 207 || v->place->most > 253))
			return false;
	}
	return power;
}

/* Phases without a quantity's word: power, unless all else speaks against it. */
static void settle_phases(struct views *views)
{
	enum dimension *found = xcalloc(views->count, sizeof(*found));
	for (size_t i = 0; i < views->count; i++) {
		const struct view *v = &views->items[i];
		uint64_t all = v->trail.near | v->trail.far;
		found[i] = v->dimension;
		if (!is_bare_phase(v))
			continue;
		if (are_volts(views, v))
			found[i] = DIMENSION_VOLTAGE;
		else if (all & (BIT(C_METER) | BIT(C_POWER) | BIT(C_UNIT)) ||
			 v->place->most > 100)
			found[i] = DIMENSION_POWER;
	}
	for (size_t i = 0; i < views->count; i++)
		views->items[i].dimension = found[i];
	free(found);
}

static struct group *group_of(struct group *groups, size_t *count, const struct view *v)
{
	for (size_t i = 0; i < *count; i++)
		if (strcmp(groups[i].subject, v->trail.subject) == 0)
			return &groups[i];
	if (*count == GROUPS_MOST)
		return NULL;
	groups[*count] = (struct group){.subject = v->trail.subject};
	return &groups[(*count)++];
}

static void gather(struct views *views, struct group *groups, size_t *count)
{
	for (size_t i = 0; i < views->count; i++) {
		struct view *v = &views->items[i];
		bool power = is_electricity(v, DIMENSION_POWER);
		if (!power && !is_electricity(v, DIMENSION_ENERGY))
			continue;
		struct group *g = group_of(groups, count, v);
		size_t *n = g ? power ? &g->power_count : &g->register_count : NULL;
		if (!g || *n == MEMBERS_MOST)
			continue;
		(power ? g->powers : g->registers)[(*n)++] = i;
		g->concepts |= v->trail.near | v->trail.far;
	}
}

/* Of several members: the total where there is one, the phases where they are several,
 * else the first. */
static size_t choose(const struct views *views, size_t *members, size_t count)
{
	size_t phases = 0, others = 0, other = 0;
	for (size_t i = 0; i < count; i++) {
		uint64_t near = views->items[members[i]].trail.near;
		bool phase = near & BIT(C_PHASE) && !(near & BIT(C_TOTAL));
		if (phase) {
			size_t swap = members[phases];
			members[phases++] = members[i];
			members[i] = swap;
		}
	}
	others = count - phases;
	for (size_t i = phases; i < count; i++)
		if (views->items[members[i]].trail.near & BIT(C_TOTAL) || i == phases)
			other = members[i];
	if (others > 0) {
		members[0] = other;
		return 1;
	}
	return phases > 3 ? 3 : phases;
}

/* ---- whose it is ---- */

static const struct {
	uint64_t concepts;
	unsigned feeds;
	const char *what;
} devices[] = {
	{BIT(C_IMMERSION), DEVICE_IMMERSION, "the immersion heater"},
	{BIT(C_BACKUP), DEVICE_BACKUP_HEATER, "the back-up heater"},
	{BIT(C_PUMP), DEVICE_CIRCULATION, "a circulation pump"},
	{BIT(C_UNIT) | BIT(C_COMPRESSOR), DEVICE_COMPRESSOR, "the heat pump"},
};

static void find_device(struct group *g)
{
	for (size_t i = 0; i < ARRAY_LEN(devices) && !g->feeds; i++) {
		if (!(g->concepts & devices[i].concepts))
			continue;
		g->feeds = devices[i].feeds;
		g->sure = true;
		buffer_addf(&g->why, "the words say %s", devices[i].what);
	}
}

/* Mean of a group's power in W while the compressor runs, or rests; NaN unknown. */
static double mean_while(const struct views *views, const struct group *g,
	const struct place *hz, bool runs)
{
	double sum = 0;
	size_t n = 0;
	for (size_t m = 0; m < g->power_count; m++) {
		const struct place *p = views->items[g->powers[m]].place;
		const struct view *v = &views->items[g->powers[m]];
		const struct unit *unit = v->unit ? v->unit : unit_own(DIMENSION_POWER);
		double own = 0;
		size_t k = 0, at = 0;
		for (size_t i = 0; i < p->sample_count; i++) {
			while (at + 1 < hz->sample_count &&
				hz->samples[at + 1].t_ms <= p->samples[i].t_ms)
				at++;
			if (!hz->sample_count || (hz->samples[at].value > 0) != runs)
				continue;
			own += v->origin == UNIT_HEARD
				       ? p->samples[i].value
				       : unit_to_own(unit, p->samples[i].value);
			k++;
		}
		if (k == 0)
			return (double)NAN;
		sum += own / (double)k;
		n++;
	}
	return n ? sum : (double)NAN;
}

static bool runs_along(struct views *views, struct group *g)
{
	const struct view *hz = views_role(views, ROLE_COMPRESSOR_FREQUENCY);
	if (!hz || g->power_count == 0)
		return false;
	double on = mean_while(views, g, hz->place, true);
	double off = mean_while(views, g, hz->place, false);
	if (isnan(on) || isnan(off) || on < RUNS_W || on < 2 * off)
		return false;
	buffer_addf(&g->why,
		"no word tells whose: %.0f W while the compressor runs, "
		"%.0f W while it rests",
		on, off);
	return true;
}

static bool is_sole(const struct views *views, const struct group *groups, size_t count,
	struct group *g)
{
	for (size_t i = 0; i < count; i++)
		if (&groups[i] != g && groups[i].power_count + groups[i].register_count)
			return false;
	for (size_t m = 0; m < g->power_count; m++)
		if (views->items[g->powers[m]].place->most > SOLE_MOST_W)
			return false;
	if (g->concepts & BIT(C_ELSEWHERE))
		return false;
	buffer_add_text(
		&g->why, "no word tells whose, but no other electricity is heard");
	return true;
}

static void find_compressor(struct views *views, struct group *groups, size_t count)
{
	for (size_t i = 0; i < count; i++)
		if (groups[i].feeds & DEVICE_COMPRESSOR)
			return;
	for (size_t i = 0; i < count; i++) {
		struct group *g = &groups[i];
		if (g->feeds || g->concepts & BIT(C_ELSEWHERE) ||
			!(runs_along(views, g) || is_sole(views, groups, count, g)))
			continue;
		g->feeds = DEVICE_COMPRESSOR;
		g->sure = true;
		return;
	}
}

/* The pump of the circuit hangs on the unit's supply unless it has a meter of its own
 * (common practice of the trade). */
static void add_pump(struct group *groups, size_t count, const struct config *config)
{
	for (size_t i = 0; i < count; i++)
		if (groups[i].feeds & DEVICE_CIRCULATION)
			return;
	for (size_t i = 0; i < config->meter_count; i++)
		if (config->meters[i].feeds & DEVICE_CIRCULATION)
			return;
	for (size_t i = 0; i < count; i++)
		if (groups[i].feeds & DEVICE_COMPRESSOR) {
			groups[i].feeds |= DEVICE_CIRCULATION;
			buffer_add_text(&groups[i].why,
				"; the circuit's pump is taken to hang on its supply");
			return;
		}
}

/* Two groups of one device, the one with power and the other with a register, are one
 * meter. */
static void merge(struct group *groups, size_t count)
{
	for (size_t i = 0; i < count; i++)
		for (size_t k = 0; k < count; k++) {
			struct group *a = &groups[i], *b = &groups[k];
			if (i == k || !a->feeds || a->feeds != b->feeds ||
				!a->power_count || a->register_count || b->power_count ||
				!b->register_count)
				continue;
			memcpy(a->registers, b->registers, sizeof(a->registers));
			a->register_count = b->register_count;
			b->register_count = 0;
			b->feeds = 0;
		}
}

/* ---- writing down ---- */

static void name_member(struct views *views, size_t index, const char *meter,
	const char *quantity, size_t number, bool sure)
{
	struct view *v = &views->items[index];
	char wish[128];
	if (number)
		(void)snprintf(wish, sizeof(wish), "%s_%s_%zu", meter, quantity, number);
	else
		(void)snprintf(wish, sizeof(wish), "%s_%s", meter, quantity);
	if (v->origin == UNIT_NONE) {
		v->unit = unit_by_range(v, v->dimension, false);
		v->origin = UNIT_BY_RANGE;
	}
	struct buffer why = {0};
	view_evidence(v, v->unit, &why);
	view_assign(v, ROLE_PLAIN, v->unit, buffer_text(&why));
	buffer_release(&why);
	v->guess->kind = sure ? GUESS_CHANNEL : GUESS_UNSURE;
	view_name(views, v, wish);
}

/* The register's resolution: the power of ten at or below its least change. */
static double step_of(const struct views *views, const struct guess_meter *m)
{
	double step = 0;
	for (size_t i = 0; i < m->register_count; i++) {
		const struct view *v = &views->items[m->registers[i]];
		double change = v->place->step;
		if (v->origin != UNIT_HEARD)
			change = unit_to_own(v->unit, change);
		if (change > 0 && (step <= 0 || change < step))
			step = change;
	}
	return step > 0 ? pow(10, floor(log10(step) + 1e-6)) : 0;
}

static const char *last_level(const char *subject)
{
	const char *level = strrchr(subject, '/');
	return level ? level + 1 : subject;
}

static void name_meter(const struct views *views, const struct group *g,
	char name[static GUESS_NAME_MOST])
{
	char plain[64];
	words_plain(last_level(g->subject), plain, sizeof(plain));
	bool letter = plain[0] >= 'a' && plain[0] <= 'z';
	(void)snprintf(name, GUESS_NAME_MOST, "%s%.30s", letter ? "" : "meter",
		letter || !plain[0] ? plain : "");
	if (!letter && plain[0])
		(void)snprintf(name, GUESS_NAME_MOST, "meter_%.30s", plain);
	for (unsigned n = 2;; n++) {
		bool taken = config_meter(views->config, name) >= 0;
		for (size_t i = 0; i < views->guesses->meter_count; i++)
			taken |= strcmp(views->guesses->meters[i].name, name) == 0;
		if (!taken)
			return;
		(void)snprintf(name, GUESS_NAME_MOST, "%.30s_%u",
			plain[0] && letter ? plain : "meter", n);
	}
}

static void write_group(struct views *views, struct group *g)
{
	struct guesses *guesses = views->guesses;
	if (views->config->meter_count + guesses->meter_count >= METERS_MOST ||
		g->power_count + g->register_count == 0)
		return;
	struct guess_meter m = {.feeds = g->feeds, .sure = g->sure};
	name_meter(views, g, m.name);
	m.power_count = choose(views, g->powers, g->power_count);
	m.register_count = choose(views, g->registers, g->register_count);
	memcpy(m.power, g->powers, m.power_count * sizeof(*m.power));
	memcpy(m.registers, g->registers, m.register_count * sizeof(*m.registers));
	for (size_t i = 0; i < m.power_count; i++)
		name_member(views, m.power[i], m.name, "power",
			m.power_count > 1 ? i + 1 : 0, m.sure);
	for (size_t i = 0; i < m.register_count; i++)
		name_member(views, m.registers[i], m.name, "register",
			m.register_count > 1 ? i + 1 : 0, m.sure);
	m.step_kwh = step_of(views, &m);
	if (m.power_count > 1)
		buffer_addf(
			&g->why, "; %zu phases side by side make a sum", m.power_count);
	if (!g->feeds)
		buffer_add_text(&g->why, "nothing tells what it feeds");
	if (!m.power_count)
		buffer_add_text(&g->why,
			"; a power channel is wanted: this version works "
			"electricity out from power");
	m.reason = xstrdup(buffer_text(&g->why));
	guesses->meters[guesses->meter_count++] = m;
}

static int rank_of(const struct group *g)
{
	return g->feeds & DEVICE_COMPRESSOR ? 0 : g->sure ? 1 : 2;
}

void views_meters(struct views *views)
{
	struct group *groups = xcalloc(GROUPS_MOST, sizeof(*groups));
	size_t count = 0;
	settle_phases(views);
	gather(views, groups, &count);
	for (size_t i = 0; i < count; i++)
		find_device(&groups[i]);
	find_compressor(views, groups, count);
	add_pump(groups, count, views->config);
	merge(groups, count);
	/* The heat pump's first, then what is sure: they find room before the rest. */
	for (int rank = 0; rank < 3; rank++)
		for (size_t i = 0; i < count; i++)
			if (rank_of(&groups[i]) == rank)
				write_group(views, &groups[i]);
	for (size_t i = 0; i < count; i++)
		buffer_release(&groups[i].why);
	free(groups);
}
