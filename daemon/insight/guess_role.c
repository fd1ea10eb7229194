/*
 * Which place is the channel of which role. See view.h.
 *
 * Each role has a rule: words one of which must be there, words that must all be there,
 * words that help, words that forbid, and the range in which its values lie in a home
 * (common practice of the trade; generous, since a wrong refusal costs more than a wrong
 * guess that says what it is). The best score of all pairs of place and role is given
 * away first. What words do not tell is then tried by company: a temperature that lies
 * above its neighbour is the flow.
 */
#include "view.h"

#include <math.h>
#include <string.h>

#define PLACES                                                                           \
	(BIT(C_BRINE) | BIT(C_REFRIGERANT) | BIT(C_ELSEWHERE) | BIT(C_ROOM) |            \
		BIT(C_LIVING) | BIT(C_CYLINDER) | BIT(C_OUTDOOR) | BIT(C_TARGET) |       \
		BIT(C_APPARENT) | BIT(C_EXPORT))
#define OTHER_THAN_TEMPERATURE                                                           \
	(BIT(C_RATE) | BIT(C_PRESSURE) | BIT(C_HUMIDITY) | BIT(C_POWER) |                \
		BIT(C_ENERGY) | BIT(C_FREQUENCY) | BIT(C_VOLTAGE) | BIT(C_CURRENT) |     \
		BIT(C_PERCENT) | BIT(C_PHASE) | BIT(C_PUMP) | BIT(C_VALVE) |             \
		BIT(C_MODE) | BIT(C_DEFROST))
#define FOREIGN (BIT(C_BRINE) | BIT(C_REFRIGERANT) | BIT(C_ELSEWHERE))
#define WARM_PIPE                                                                        \
	(FOREIGN | OTHER_THAN_TEMPERATURE | BIT(C_ROOM) | BIT(C_LIVING) |                \
		BIT(C_CYLINDER) | BIT(C_OUTDOOR) | BIT(C_TARGET))

/* Of the side that heat is taken from. */
#define SOURCE_PIPE                                                                      \
	(BIT(C_REFRIGERANT) | BIT(C_ELSEWHERE) | OTHER_THAN_TEMPERATURE | BIT(C_ROOM) |  \
		BIT(C_LIVING) | BIT(C_CYLINDER) | BIT(C_OUTDOOR) | BIT(C_TARGET))

static const struct rule {
	enum role role;
	uint64_t any, all, helps, forbids;
	double least, most; /* own unit */
	bool by_unit;       /* the dimension alone is a hint */
} rules[] = {
	{ROLE_FLOW_TEMPERATURE, BIT(C_FLOW), 0, BIT(C_WATER) | BIT(C_TEMPERATURE),
		WARM_PIPE | BIT(C_RETURN), 3, 85},
	{ROLE_RETURN_TEMPERATURE, BIT(C_RETURN), 0, BIT(C_WATER) | BIT(C_TEMPERATURE),
		WARM_PIPE | BIT(C_FLOW), 3, 80},
	{ROLE_FLOW_RATE, BIT(C_RATE), 0, BIT(C_WATER) | BIT(C_FLOW),
		FOREIGN | BIT(C_TARGET) | BIT(C_OUTDOOR) | BIT(C_TEMPERATURE), 0, 150,
		true},
	{ROLE_WATER_PRESSURE, BIT(C_PRESSURE), 0, BIT(C_WATER),
		FOREIGN | BIT(C_OUTDOOR) | BIT(C_TARGET) | BIT(C_TEMPERATURE), 0, 6},
	{ROLE_OUTDOOR_TEMPERATURE, BIT(C_OUTDOOR), 0, BIT(C_TEMPERATURE),
		FOREIGN | OTHER_THAN_TEMPERATURE | BIT(C_ROOM) | BIT(C_TARGET) |
			BIT(C_CYLINDER),
		-45, 50},
	{ROLE_OUTDOOR_HUMIDITY, BIT(C_HUMIDITY), BIT(C_OUTDOOR), 0,
		FOREIGN | BIT(C_ROOM) | BIT(C_LIVING), 0, 100.5},
	{ROLE_ROOM_TEMPERATURE, BIT(C_ROOM) | BIT(C_LIVING), 0,
		BIT(C_TEMPERATURE) | BIT(C_LIVING),
		FOREIGN | OTHER_THAN_TEMPERATURE | BIT(C_OUTDOOR) | BIT(C_TARGET) |
			BIT(C_CYLINDER) | BIT(C_FLOW) | BIT(C_RETURN),
		3, 40},
	{ROLE_CYLINDER_TEMPERATURE, BIT(C_CYLINDER), 0, BIT(C_TEMPERATURE),
		FOREIGN | OTHER_THAN_TEMPERATURE | BIT(C_TARGET) | BIT(C_FLOW) |
			BIT(C_RETURN) | BIT(C_IN) | BIT(C_OUT),
		3, 95},
	{ROLE_TARGET_FLOW_TEMPERATURE, BIT(C_TARGET), 0,
		BIT(C_FLOW) | BIT(C_WATER) | BIT(C_TEMPERATURE),
		FOREIGN | OTHER_THAN_TEMPERATURE | BIT(C_ROOM) | BIT(C_LIVING) |
			BIT(C_CYLINDER) | BIT(C_OUTDOOR) | BIT(C_RETURN),
		15, 75},
	{ROLE_COMPRESSOR_FREQUENCY, BIT(C_FREQUENCY), 0, BIT(C_COMPRESSOR),
		BIT(C_BRINE) | BIT(C_ELSEWHERE) | BIT(C_PUMP) | BIT(C_PHASE) |
			BIT(C_METER) | BIT(C_TARGET) | BIT(C_OUTDOOR),
		0, 200, true},
	{ROLE_HEAT_POWER, BIT(C_POWER), BIT(C_HEAT), BIT(C_WATER),
		BIT(C_BRINE) | BIT(C_ELSEWHERE) | BIT(C_IMMERSION) | BIT(C_BACKUP) |
			BIT(C_METER) | BIT(C_APPARENT) | BIT(C_TARGET) | BIT(C_PHASE),
		-15000, 60000},
	{ROLE_HEAT_REGISTER, BIT(C_ENERGY), BIT(C_HEAT), BIT(C_WATER),
		BIT(C_BRINE) | BIT(C_ELSEWHERE) | BIT(C_IMMERSION) | BIT(C_BACKUP) |
			BIT(C_TARGET) | BIT(C_PHASE),
		0, 1e9},
	{ROLE_SOURCE_ENTERING_TEMPERATURE, BIT(C_IN) | BIT(C_RETURN), BIT(C_BRINE),
		BIT(C_TEMPERATURE), SOURCE_PIPE | BIT(C_OUT) | BIT(C_FLOW), -20, 35},
	{ROLE_SOURCE_LEAVING_TEMPERATURE, BIT(C_OUT) | BIT(C_FLOW), BIT(C_BRINE),
		BIT(C_TEMPERATURE), SOURCE_PIPE | BIT(C_IN) | BIT(C_RETURN), -25, 35},
	{ROLE_SOURCE_FLOW_RATE, BIT(C_RATE), BIT(C_BRINE), BIT(C_WATER) | BIT(C_FLOW),
		BIT(C_REFRIGERANT) | BIT(C_ELSEWHERE) | BIT(C_TARGET) | BIT(C_OUTDOOR) |
			BIT(C_TEMPERATURE),
		0, 300, true},
	{ROLE_SOURCE_HEAT_POWER, BIT(C_POWER), BIT(C_HEAT) | BIT(C_BRINE), BIT(C_WATER),
		BIT(C_REFRIGERANT) | BIT(C_ELSEWHERE) | BIT(C_IMMERSION) | BIT(C_BACKUP) |
			BIT(C_METER) | BIT(C_APPARENT) | BIT(C_TARGET) | BIT(C_PHASE),
		-15000, 60000},
	{ROLE_OPERATING_MODE, BIT(C_MODE), 0, 0, BIT(C_ELSEWHERE) | BIT(C_VALVE), 0, 0},
	{ROLE_VALVE, BIT(C_VALVE), 0, BIT(C_CYLINDER), BIT(C_ELSEWHERE) | BIT(C_PERCENT),
		0, 0},
	{ROLE_DEFROST, BIT(C_DEFROST), 0, 0, BIT(C_ELSEWHERE), 0, 0},
	{ROLE_CIRCULATION_PUMP, BIT(C_PUMP), 0, BIT(C_WATER),
		FOREIGN | BIT(C_CYLINDER) | BIT(C_PERCENT), 0, 0},
};

struct view *views_role(struct views *views, enum role role)
{
	for (size_t i = 0; i < views->count; i++)
		if (views->items[i].guess->kind == GUESS_CHANNEL &&
			views->items[i].guess->role == role)
			return &views->items[i];
	return NULL;
}

bool role_taken(const struct views *views, enum role role)
{
	if (config_role(views->config, role) >= 0)
		return true;
	for (size_t i = 0; i < views->count; i++)
		if (views->items[i].guess->kind == GUESS_CHANNEL &&
			views->items[i].guess->role == role)
			return true;
	return false;
}

void view_evidence(const struct view *v, const struct unit *unit, struct buffer *out)
{
	const char *near = v->trail.evidence[0], *far = v->trail.evidence[1];
	if (near || far)
		buffer_addf(out, "by the word%s %s%s%s", near && far ? "s" : "",
			near ? near : far, near && far ? " and " : "",
			near && far ? far : "");
	if (!unit)
		return;
	double least, most;
	view_range(v, unit, &least, &most);
	buffer_addf(out, "%s%.6g to %.6g %s", out->length ? "; " : "", least, most,
		unit_own(unit->dimension)->symbol);
	if (v->origin != UNIT_HEARD)
		buffer_addf(out, "; the unit is %s",
			v->origin == UNIT_IN_KEY ? "the key's" : "a guess too");
}

void view_assign(struct view *v, enum role role, const struct unit *unit, const char *why)
{
	v->guess->kind = GUESS_CHANNEL;
	v->guess->role = role;
	v->guess->unit = unit;
	(void)snprintf(v->guess->name, GUESS_NAME_MOST, "%s", role_name(role));
	free(v->guess->reason);
	v->guess->reason = xstrdup(why);
	v->free = false;
}

/* ---- by company ---- */

static bool means_flow_word(const struct view *v)
{
	const char *word = v->trail.evidence[0];
	return word && (strcmp(word, "flow") == 0);
}

/* Another number of the same parent with one of these concepts in its last level. */
static const struct view *neighbour(
	const struct views *views, const struct view *v, uint64_t concepts)
{
	for (size_t i = 0; i < views->count; i++) {
		const struct view *other = &views->items[i];
		if (other != v && other->parent == v->parent && other->number &&
			other->trail.near & concepts)
			return other;
	}
	return NULL;
}

static double middle(const struct view *v)
{
	return (v->place->least + v->place->most) / 2;
}

/* "flow" beside a return of about the same size is its temperature, else a rate. */
static void settle_flow(const struct views *views, struct view *v)
{
	const uint64_t told = BIT(C_TEMPERATURE) | BIT(C_RATE);
	if (!(v->trail.near & BIT(C_FLOW)) || v->trail.near & told || !means_flow_word(v))
		return;
	bool rate = v->dimension == DIMENSION_FLOW;
	if (v->dimension == DIMENSION_COUNT) {
		const struct view *back = neighbour(views, v, BIT(C_RETURN) | BIT(C_IN));
		rate = back ? fabs(middle(back) - middle(v)) > 15
			    : v->place->least < 1 && v->place->most < 70;
	}
	if (!rate)
		return;
	v->trail.near = (v->trail.near & ~BIT(C_FLOW)) | BIT(C_RATE);
	v->dimension = DIMENSION_FLOW;
}

/* Outlet and inlet of water, or outdoors and indoors? */
static void settle_side(const struct views *views, struct view *v)
{
	uint64_t all = v->trail.near | v->trail.far;
	bool out = v->trail.near & BIT(C_OUT);
	if (!(v->trail.near & (BIT(C_OUT) | BIT(C_IN))) || !v->number ||
		all & (BIT(C_BRINE) | BIT(C_FLOW) | BIT(C_RETURN) | BIT(C_OUTDOOR) |
			      BIT(C_ROOM)))
		return;
	const struct view *other = neighbour(
		views, v, out ? BIT(C_IN) | BIT(C_RETURN) : BIT(C_OUT) | BIT(C_FLOW));
	bool water = all & BIT(C_WATER);
	if (!water && other) {
		double own = middle(v), beside = middle(other);
		double outside = out ? own : beside, inside = out ? beside : own;
		/* Warmer outside the unit than inside: a pipe. */
		water = outside > inside - 1;
	}
	if (water)
		v->trail.near |= BIT(out ? C_FLOW : C_RETURN);
	else
		v->trail.near |= BIT(out ? C_OUTDOOR : C_ROOM);
}

void views_ambiguous(struct views *views)
{
	for (size_t i = 0; i < views->count; i++) {
		settle_flow(views, &views->items[i]);
		settle_side(views, &views->items[i]);
	}
}

/* ---- scores ---- */

static const struct unit *unit_for(
	const struct views *views, const struct view *v, enum dimension dimension)
{
	return v->unit ? v->unit
		       : unit_by_range(v, dimension, views->guesses->fahrenheit);
}

/* A grid's 50 or 60 Hz never stands still; a compressor does, or it names itself. */
static bool is_mains(const struct view *v)
{
	return !((v->trail.near | v->trail.far) & BIT(C_COMPRESSOR)) &&
	       v->place->least > 45 && v->place->most < 65 &&
	       v->place->most - v->place->least < 2;
}

/* 0 = not at all. */
static int score_number(
	const struct views *views, const struct view *v, const struct rule *rule)
{
	enum dimension wanted = role_dimension(rule->role);
	uint64_t all = v->trail.near | v->trail.far;
	bool named = v->dimension == wanted;
	int score = 0;
	if (!v->number || (v->dimension != DIMENSION_COUNT && !named))
		return 0;
	if (v->trail.near & rule->any)
		score = 10;
	else if (all & rule->any && named)
		score = 7;
	else if (rule->by_unit && v->origin == UNIT_HEARD && named)
		score = 4;
	if (score == 0 || (all & rule->all) != rule->all)
		return 0;
	const struct unit *unit = unit_for(views, v, wanted);
	double least, most;
	if (v->unit && v->unit->dimension != wanted)
		return 0;
	least = v->origin == UNIT_HEARD ? v->place->least
					: unit_to_own(unit, v->place->least);
	most = v->origin == UNIT_HEARD ? v->place->most
				       : unit_to_own(unit, v->place->most);
	if (least < rule->least || most > rule->most)
		return 0;
	if (rule->role == ROLE_COMPRESSOR_FREQUENCY && is_mains(v))
		return 0;
	if (rule->role == ROLE_HEAT_REGISTER && v->place->falls)
		return 0;
	score += v->unit ? 3 : named;
	return score;
}

static int score_state(const struct view *v, const struct rule *rule)
{
	uint64_t all = v->trail.near | v->trail.far;
	char map[GUESS_MAP_MOST];
	struct buffer reason = {0};
	int score = v->trail.near & rule->any ? 10 : all & rule->any ? 6 : 0;
	/* A mode's words give it away whatever it is called. */
	if (rule->role == ROLE_OPERATING_MODE && score == 0 && !v->number &&
		!(all & BIT(C_VALVE)))
		score = 3;
	if (!v->state || (v->place->unit && v->number))
		score = 0;
	if (score && !state_map(v, rule->role, map, &reason))
		score = 0;
	if (score && rule->role == ROLE_OPERATING_MODE && v->number)
		score = 0; /* numbers of modes mean something to their maker only */
	buffer_release(&reason);
	return score;
}

static int score_of(
	const struct views *views, const struct view *v, const struct rule *rule)
{
	uint64_t all = v->trail.near | v->trail.far;
	bool states = role_dimension(rule->role) == DIMENSION_STATE;
	if (!v->free || v->trail.near & rule->forbids ||
		v->trail.far & rule->forbids & PLACES)
		return 0;
	int score = states ? score_state(v, rule) : score_number(views, v, rule);
	if (score == 0)
		return 0;
	for (uint64_t bits = all & rule->helps; bits; bits &= bits - 1)
		score += 2;
	if (v->trail.near & rule->helps & BIT(C_LIVING))
		score += 2;
	/* Something that spoke often is likelier to be alive. */
	return score * 2 + (v->place->count > 1);
}

static void give(struct views *views, struct view *v, const struct rule *rule)
{
	struct buffer why = {0};
	const struct unit *unit = NULL;
	if (role_dimension(rule->role) != DIMENSION_STATE) {
		unit = unit_for(views, v, role_dimension(rule->role));
		if (v->origin == UNIT_NONE)
			v->origin = UNIT_BY_RANGE;
		v->unit = unit;
		v->dimension = unit->dimension;
	}
	view_evidence(v, unit, &why);
	if (!unit) {
		struct buffer heard = {0};
		(void)state_map(v, rule->role, v->guess->map, &heard); /* it scored */
		buffer_add_text(&why, buffer_text(&heard));
		buffer_release(&heard);
	}
	view_assign(v, rule->role, unit, buffer_text(&why));
	buffer_release(&why);
}

static void assign_by_words(struct views *views)
{
	size_t n = views->count * ARRAY_LEN(rules);
	int *scores = xcalloc(n, sizeof(*scores));
	for (size_t i = 0; i < n; i++)
		scores[i] = score_of(views, &views->items[i / ARRAY_LEN(rules)],
			&rules[i % ARRAY_LEN(rules)]);
	for (;;) {
		size_t best = n;
		for (size_t i = 0; i < n; i++)
			if (scores[i] > 0 && (best == n || scores[i] > scores[best]) &&
				views->items[i / ARRAY_LEN(rules)].free &&
				!role_taken(views, rules[i % ARRAY_LEN(rules)].role))
				best = i;
		if (best == n)
			break;
		give(views, &views->items[best / ARRAY_LEN(rules)],
			&rules[best % ARRAY_LEN(rules)]);
	}
	free(scores);
}

/* ---- flow and return by each other ---- */

#define PAIR_MARGIN_K   0.5
#define PAIR_SHARE      0.9
#define PAIR_LEAST_C    10
#define PAIR_MOST_C     80
#define PAIR_MOST_APART 15

/* May it be the water of a heating circuit, as far as its words go? */
static bool may_be_pipe(const struct views *views, const struct view *v)
{
	uint64_t all = v->trail.near | v->trail.far;
	if (!v->free || !v->number || (v->trail.near & WARM_PIPE) ||
		all & (WARM_PIPE & PLACES) || v->place->sample_count < 4)
		return false;
	if (v->dimension != DIMENSION_COUNT && v->dimension != DIMENSION_TEMPERATURE)
		return false;
	const struct unit *unit = unit_for(views, v, DIMENSION_TEMPERATURE);
	bool heard = v->origin == UNIT_HEARD;
	double least = heard ? v->place->least : unit_to_own(unit, v->place->least);
	double most = heard ? v->place->most : unit_to_own(unit, v->place->most);
	return least >= PAIR_LEAST_C && most <= PAIR_MOST_C && most - least > 1;
}

static bool lies_above(const struct view *a, const struct view *b)
{
	double share = share_above(a->place, b->place, PAIR_MARGIN_K);
	double apart = middle(a) - middle(b);
	return !isnan(share) && share >= PAIR_SHARE && apart > 0 &&
	       apart < PAIR_MOST_APART;
}

static void give_pipe(
	struct views *views, struct view *v, enum role role, const struct view *beside)
{
	struct buffer why = {0};
	const struct unit *unit = unit_for(views, v, DIMENSION_TEMPERATURE);
	if (v->origin == UNIT_NONE)
		v->origin = UNIT_BY_RANGE;
	v->unit = unit;
	v->dimension = DIMENSION_TEMPERATURE;
	view_evidence(v, unit, &why);
	buffer_addf(&why, "; no word tells it: it lies %s %s beside it",
		role == ROLE_FLOW_TEMPERATURE ? "above" : "below",
		*beside->guess->name ? beside->guess->name : "its neighbour");
	view_assign(v, role, unit, buffer_text(&why));
	buffer_release(&why);
}

/* One of the two is known: its partner stands beside it. */
static void find_partner(struct views *views, enum role known, enum role wanted)
{
	struct view *have = views_role(views, known);
	if (!have || role_taken(views, wanted))
		return;
	for (size_t i = 0; i < views->count; i++) {
		struct view *v = &views->items[i];
		bool flow = wanted == ROLE_FLOW_TEMPERATURE;
		if (v->parent != have->parent || !may_be_pipe(views, v) ||
			!(flow ? lies_above(v, have) : lies_above(have, v)))
			continue;
		give_pipe(views, v, wanted, have);
		return;
	}
}

static void find_pair(struct views *views)
{
	if (role_taken(views, ROLE_FLOW_TEMPERATURE) ||
		role_taken(views, ROLE_RETURN_TEMPERATURE))
		return;
	for (size_t i = 0; i < views->count; i++) {
		struct view *a = &views->items[i];
		if (!may_be_pipe(views, a))
			continue;
		for (size_t k = 0; k < views->count; k++) {
			struct view *b = &views->items[k];
			if (k == i || a->parent != b->parent || !may_be_pipe(views, b) ||
				!lies_above(a, b))
				continue;
			give_pipe(views, a, ROLE_FLOW_TEMPERATURE, b);
			give_pipe(views, b, ROLE_RETURN_TEMPERATURE, a);
			return;
		}
	}
}

/* What flow and return do beside each other, for or against the guess. */
static void check_pair(struct views *views)
{
	struct view *flow = views_role(views, ROLE_FLOW_TEMPERATURE);
	struct view *back = views_role(views, ROLE_RETURN_TEMPERATURE);
	if (!flow || !back)
		return;
	double share = share_above(flow->place, back->place, PAIR_MARGIN_K);
	if (isnan(share))
		return;
	char *was = flow->guess->reason;
	flow->guess->reason = xasprintf("%s; above the return in %.0f %% of moments%s",
		was, share * 100, share < 0.3 ? ": are the two swapped?" : "");
	free(was);
}

/* ---- what enters from the source, and what leaves ---- */

#define SOURCE_MARGIN_K 0.5
#define SOURCE_TELLS    0.8

static void add_reason(struct view *v, const char *word, double share)
{
	char *was = v->guess->reason;
	v->guess->reason = xasprintf("%s; it is the %s one of both in %.0f %% of moments",
		was, word, share * 100);
	free(was);
}

static void exchange(struct view *a, struct view *b)
{
	_cleanup_(freep) char *why_a = a->guess->reason, *why_b = b->guess->reason;
	enum role role_a = a->guess->role, role_b = b->guess->role;
	a->guess->reason = b->guess->reason = NULL;
	view_assign(a, role_b, a->unit, why_a);
	view_assign(b, role_a, b->unit, why_b);
}

/* "Out" of the ground is into the unit, and "flow" is said of either; but heat is taken
 * of what enters, so that it leaves colder. */
static void check_source(struct views *views)
{
	struct view *in = views_role(views, ROLE_SOURCE_ENTERING_TEMPERATURE);
	struct view *out = views_role(views, ROLE_SOURCE_LEAVING_TEMPERATURE);
	views->guesses->source = in && out;
	if (!in || !out)
		return;
	double share = share_above(in->place, out->place, SOURCE_MARGIN_K);
	if (isnan(share) || (share < SOURCE_TELLS && share > 1 - SOURCE_TELLS))
		return;
	if (share < SOURCE_TELLS) {
		struct view *was = in;
		exchange(in, out);
		in = out;
		out = was;
		share = 1 - share;
	}
	add_reason(in, "warmer", share);
	add_reason(out, "colder", share);
}

void views_roles(struct views *views)
{
	assign_by_words(views);
	find_partner(views, ROLE_FLOW_TEMPERATURE, ROLE_RETURN_TEMPERATURE);
	find_partner(views, ROLE_RETURN_TEMPERATURE, ROLE_FLOW_TEMPERATURE);
	find_pair(views);
	check_pair(views);
	check_source(views);
	views->guesses->heat_power = role_taken(views, ROLE_HEAT_POWER) &&
				     !(role_taken(views, ROLE_FLOW_TEMPERATURE) &&
					     role_taken(views, ROLE_RETURN_TEMPERATURE) &&
					     role_taken(views, ROLE_FLOW_RATE));
}
