/*
 * Which meters make a system boundary. See boundary.h for what H1 … H4 are.
 *
 * What a boundary needs: the devices of its definition, and those joined to its name by
 * "+", that the plant has. Devices of the plant: as configured; else compressor,
 * circulation and whatever a meter feeds, and, when no meter feeds backup_heater or
 * immersion, both of these: a plant may well have them, and then no figure of ours may
 * claim to include them. `source` is a device of its own only where the owner says so or
 * a meter feeds it; else it counts as compressor.
 *
 * A meter counts for the devices that it serves: without those of the meters behind it,
 * whose electricity is taken off (`less`). Meters of the same device set belong together
 * (two supplies of one unit); of these an apparent meter is left out where a true one
 * stands beside it. A boundary is covered by device sets that do not overlap, so that
 * nothing is counted twice: with the fewest devices beyond it, then with the fewest
 * apparent sets, then with the fewest sets. Only if no such cover exists are overlapping
 * sets taken together. Devices beyond the boundary become part of the name.
 *
 * A heater in line that the boundary leaves out must be metered alone, since its heat
 * comes off. So must an immersion heater that it includes, since no heat meter sees what
 * it gives: H3 and H4 without that would pass for worse than they are, by nobody knows
 * how much. Where it shares the unit's meter, H2+immersion is what is left: it has a name
 * of its own, says wherever it is answered that it lacks that heat, and is a least value.
 *
 * All of it is a pure function of the configuration; nothing is kept.
 */
#include <heatbook/boundary.h>

#include <string.h>

#define DEVICE_SETS 32 /* sets of five devices */

/* In the order in which names bear them. */
static const enum device devices[] = {DEVICE_COMPRESSOR, DEVICE_SOURCE,
	DEVICE_BACKUP_HEATER, DEVICE_IMMERSION, DEVICE_CIRCULATION};

#define H1_DEVICES ((unsigned)DEVICE_COMPRESSOR)
#define H2_DEVICES (H1_DEVICES | DEVICE_SOURCE)
#define H3_DEVICES (H2_DEVICES | DEVICE_BACKUP_HEATER | DEVICE_IMMERSION)
#define H4_DEVICES (H3_DEVICES | DEVICE_CIRCULATION)

static const struct definition {
	const char *name;
	unsigned devices;
} definitions[] = {
	{"H1", H1_DEVICES}, {"H2", H2_DEVICES}, {"H3", H3_DEVICES}, {"H4", H4_DEVICES}};

/* The meters by device set. */
struct sets {
	unsigned meters[DEVICE_SETS]; /* bit i = config.meters[i] */
	bool apparent[DEVICE_SETS];   /* it has no true meter */
};

struct cover {
	unsigned chosen; /* bit s = device set s */
	unsigned devices;
	int cost;
};

#define COST_EXTRA    10000
#define COST_APPARENT 100
#define COST_SET      1

unsigned meter_serves(const struct config *config, size_t meter)
{
	unsigned feeds = config->meters[meter].feeds, rest = feeds;
	int at = config->meters[meter].less;
	/* A line that is longer than there are meters runs in a circle: a fault. */
	for (size_t n = 0; at >= 0 && n < config->meter_count; n++) {
		rest &= ~config->meters[at].feeds;
		at = config->meters[at].less;
	}
	return rest ? rest : feeds;
}

static unsigned fed_by_meters(const struct config *config)
{
	unsigned fed = 0;
	for (size_t i = 0; i < config->meter_count; i++)
		fed |= config->meters[i].feeds;
	return fed;
}

struct plant_devices plant_devices(const struct config *config)
{
	const unsigned heaters = DEVICE_BACKUP_HEATER | DEVICE_IMMERSION;
	unsigned fed = fed_by_meters(config);
	if (config->plant.devices)
		return (struct plant_devices){
			config->plant.devices | fed | DEVICE_COMPRESSOR, 0};
	return (struct plant_devices){fed | DEVICE_COMPRESSOR | DEVICE_CIRCULATION,
		fed & heaters ? 0 : heaters};
}

bool plant_lacks(const struct config *config, enum device device)
{
	return config->plant.devices && !(config->plant.devices & device);
}

static unsigned all_devices(const struct config *config)
{
	struct plant_devices has = plant_devices(config);
	return has.sure | has.perhaps;
}

static struct sets sets_of(const struct config *config)
{
	struct sets sets = {0};
	unsigned truly[DEVICE_SETS] = {0};
	for (size_t i = 0; i < config->meter_count; i++) {
		unsigned set = config->meters[i].serves % DEVICE_SETS;
		sets.meters[set] |= 1u << i;
		if (!config->meters[i].apparent)
			truly[set] |= 1u << i;
	}
	sets.meters[0] = 0;
	for (size_t s = 1; s < DEVICE_SETS; s++) {
		sets.apparent[s] = !truly[s];
		if (truly[s])
			sets.meters[s] = truly[s];
	}
	return sets;
}

/* Tries every way to cover `need` by sets that do not overlap; keeps the cheapest. */
static void cover_exactly(const struct sets *sets, unsigned need,
	const struct cover *so_far, struct cover *best)
{
	unsigned open = need & ~so_far->devices;
	if (!open) {
		if (so_far->cost < best->cost)
			*best = *so_far;
		return;
	}
	unsigned first = open & -open;
	for (unsigned s = 1; s < DEVICE_SETS; s++) {
		if (!sets->meters[s] || !(s & first) || (s & so_far->devices))
			continue;
		int extras = __builtin_popcount(s & ~need);
		struct cover next = {so_far->chosen | 1u << s, so_far->devices | s,
			so_far->cost + COST_SET + extras * COST_EXTRA +
				(sets->apparent[s] ? COST_APPARENT : 0)};
		cover_exactly(sets, need, &next, best);
	}
}

/* Sets inside the boundary, then those that feed what is left open and more. */
static struct cover cover_overlapping(const struct sets *sets, unsigned need)
{
	struct cover cover = {0};
	for (unsigned s = 1; s < DEVICE_SETS; s++) {
		if (!sets->meters[s] || (s & ~need))
			continue;
		cover.chosen |= 1u << s;
		cover.devices |= s;
	}
	unsigned open = need & ~cover.devices;
	for (unsigned s = 1; s < DEVICE_SETS; s++) {
		if (!sets->meters[s] || !(s & open))
			continue;
		cover.chosen |= 1u << s;
		cover.devices |= s;
	}
	return cover;
}

static struct cover cover_of(const struct sets *sets, unsigned need)
{
	const struct cover none = {0};
	struct cover best = {.cost = INT32_MAX};
	cover_exactly(sets, need, &none, &best);
	return best.chosen ? best : cover_overlapping(sets, need);
}

static unsigned meters_feeding_only(const struct config *config, enum device device)
{
	struct sets sets = sets_of(config);
	return sets.meters[device];
}

/* Devices joined by `glue`, the last by `last_glue`. */
static void join(
	unsigned set, const char *glue, const char *last_glue, char *out, size_t size)
{
	size_t used = strlen(out);
	bool first = true;
	for (size_t i = 0; i < ARRAY_LEN(devices); i++) {
		if (!(set & devices[i]))
			continue;
		set &= ~(unsigned)devices[i];
		const char *before = first ? "" : set ? glue : last_glue;
		int n = snprintf(
			out + used, size - used, "%s%s", before, device_name(devices[i]));
		used += n > 0 ? (size_t)n : 0;
		if (used >= size)
			return;
		first = false;
	}
}

static unsigned fed_by_any(const struct sets *sets)
{
	unsigned fed = 0;
	for (unsigned s = 1; s < DEVICE_SETS; s++)
		fed |= sets->meters[s] ? s : 0;
	return fed;
}

/* Has the plant a heater in line, whose heat is in what the heat source measures, and
 * which the boundary leaves out? Not so sure that it is taken for granted where no
 * configuration says so. */
static bool heats_beyond(const struct config *config, unsigned within)
{
	unsigned has =
		config->plant.devices ? config->plant.devices : fed_by_meters(config);
	return has & DEVICE_BACKUP_HEATER & ~within;
}

/* 0, or BOUNDARY_REFUSED with the needed devices that no meter feeds: where the heat of a
 * heater in line must come off, that no meter feeds alone. */
static int resolve(const struct config *config, const struct definition *definition,
	unsigned joined, struct boundary *ret, unsigned *ret_missing)
{
	struct sets sets = sets_of(config);
	unsigned need = (definition->devices & all_devices(config)) | joined;
	unsigned missing = need & ~fed_by_any(&sets);
	if (missing) {
		*ret_missing = missing;
		return BOUNDARY_REFUSED;
	}
	struct cover cover = cover_of(&sets, need);
	struct boundary b = {0};
	for (unsigned s = 1; s < DEVICE_SETS; s++)
		b.meters |= cover.chosen & 1u << s ? sets.meters[s] : 0;
	unsigned extras = cover.devices & ~definition->devices;
	(void)snprintf(
		b.name, sizeof(b.name), "%s%s", definition->name, extras ? "+" : "");
	join(extras, "+", "+", b.name, sizeof(b.name));
	if (heats_beyond(config, cover.devices | definition->devices)) {
		b.heat_less = meters_feeding_only(config, DEVICE_BACKUP_HEATER);
		*ret_missing = DEVICE_BACKUP_HEATER;
		if (!b.heat_less)
			return BOUNDARY_REFUSED;
	}
	if (cover.devices & DEVICE_IMMERSION) {
		b.heat_plus = meters_feeding_only(config, DEVICE_IMMERSION);
		b.heat_lacks = b.heat_plus ? 0 : DEVICE_IMMERSION;
	}
	if (b.heat_lacks & definition->devices) {
		*ret_missing = DEVICE_IMMERSION;
		return BOUNDARY_REFUSED;
	}
	b.needs = b.meters | b.heat_less | b.heat_plus;
	*ret = b;
	return 0;
}

/* H1 is for plants whose source fan or pump is a device of its own, metered apart. */
static bool tells_h1(const struct config *config, const struct boundary *h1)
{
	if (!(all_devices(config) & DEVICE_SOURCE))
		return false;
	for (size_t i = 0; i < config->meter_count; i++)
		if (h1->meters & 1u << i && config->meters[i].serves & DEVICE_SOURCE)
			return false;
	return true;
}

/* Where the heater in line shares its meter with an immersion heater neither's heat can
 * be told, and all that can be said is H2 with both. */
static int resolve_with_heaters(const struct config *config, struct boundary *ret)
{
	unsigned joined = 0, missing;
	for (size_t i = 0; i < config->meter_count; i++)
		if (config->meters[i].serves & DEVICE_BACKUP_HEATER)
			joined |= config->meters[i].serves;
	return joined ? resolve(config, &definitions[1], joined, ret, &missing)
		      : BOUNDARY_REFUSED;
}

size_t boundary_list(
	const struct config *config, struct boundary ret[static BOUNDARIES_MOST])
{
	size_t count = 0;
	unsigned missing;
	for (size_t i = 0; i < ARRAY_LEN(definitions); i++) {
		if (resolve(config, &definitions[i], 0, &ret[count], &missing) != 0)
			continue;
		if (definitions[i].devices == H1_DEVICES &&
			!tells_h1(config, &ret[count]))
			continue;
		count++;
	}
	if (count == 0 && resolve_with_heaters(config, &ret[0]) == 0)
		count++;
	return count;
}

unsigned boundary_beside(const struct config *config, size_t meter)
{
	unsigned beside = 0;
	if (!config->meters[meter].apparent)
		return 0;
	for (size_t i = 0; i < config->meter_count; i++)
		if (!config->meters[i].apparent &&
			config->meters[i].serves == config->meters[meter].serves)
			beside |= 1u << i;
	return beside;
}

/* "; offered: H2, H4" */
static void say_offered(const struct config *config, char why[static 256])
{
	struct boundary list[BOUNDARIES_MOST];
	size_t count = boundary_list(config, list), used = strlen(why);
	const char *before = "; offered: ";
	if (!count)
		(void)snprintf(why + used, 256 - used, "; none is offered");
	for (size_t i = 0; i < count; i++) {
		used = strlen(why);
		(void)snprintf(why + used, 256 - used, "%s%s", before, list[i].name);
		before = ", ";
	}
}

static bool is_word(const char *text, size_t length, const char *word)
{
	return strlen(word) == length && memcmp(text, word, length) == 0;
}

static unsigned device_find(const char *text, size_t length)
{
	for (size_t i = 0; i < ARRAY_LEN(devices); i++)
		if (is_word(text, length, device_name(devices[i])))
			return devices[i];
	return 0;
}

/* The definition and the devices of a name like "H2+circulation". A blank counts as "+",
 * as which it arrives from a query string that was not escaped. NULL = not such a name.
 */
static const struct definition *parse(const char *name, unsigned *ret_joined)
{
	const struct definition *found = NULL;
	unsigned joined = 0;
	size_t n = strcspn(name, "+ ");
	for (size_t i = 0; i < ARRAY_LEN(definitions); i++)
		if (is_word(name, n, definitions[i].name))
			found = &definitions[i];
	while (found && name[n]) {
		name += n + 1;
		n = strcspn(name, "+ ");
		unsigned device = device_find(name, n);
		if (!device)
			return NULL;
		joined |= device;
	}
	*ret_joined = joined;
	return found;
}

static int refuse(const struct config *config, char why[static 256])
{
	say_offered(config, why);
	return BOUNDARY_REFUSED;
}

static void say_missing(const struct config *config, const char *name, unsigned missing,
	char why[static 256])
{
	const char *what = ", which no meter feeds";
	if (fed_by_meters(config) & missing & DEVICE_BACKUP_HEATER)
		what = " apart, whose heat must be taken off, and which no meter feeds "
		       "alone";
	else if (fed_by_meters(config) & missing)
		what = " apart, whose electricity counts as heat, and which no meter "
		       "feeds alone";
	else if (missing & plant_devices(config).perhaps)
		what = ", which no meter feeds and devices of [plant] does not rule out";
	(void)snprintf(why, 256, "%.40s needs ", name);
	join(missing, ", ", " and ", why, 256);
	(void)snprintf(why + strlen(why), 256 - strlen(why), "%s", what);
}

static int find_widest(
	const struct config *config, struct boundary *ret, char why[static 256])
{
	struct boundary list[BOUNDARIES_MOST];
	size_t count = boundary_list(config, list);
	unsigned missing = 0;
	if (count) {
		*ret = list[count - 1];
		return 0;
	}
	if (!(fed_by_meters(config) & DEVICE_COMPRESSOR))
		(void)snprintf(why, 256, "no meter feeds the compressor: no efficiency");
	else if (resolve(config, &definitions[1], 0, ret, &missing) != 0)
		say_missing(config, "H2", missing, why);
	return BOUNDARY_REFUSED;
}

static bool is_h1(const char *name)
{
	return is_word(name, strcspn(name, "+ "), "H1");
}

static int refuse_h1(const struct config *config, char why[static 256])
{
	(void)snprintf(why, 256,
		all_devices(config) & DEVICE_SOURCE
			? "H1 leaves out the source fan or pump, which no meter tells "
			  "apart from the compressor"
			: "H1 leaves out the source fan or pump, which the meter of the "
			  "compressor includes in an air-source unit");
	return refuse(config, why);
}

int boundary_find(const struct config *config, const char *name, struct boundary *ret,
	char why[static 256])
{
	unsigned joined, missing;
	if (!name)
		return find_widest(config, ret, why);
	if (is_h1(name) && !(all_devices(config) & DEVICE_SOURCE))
		return refuse_h1(config, why);
	const struct definition *definition = parse(name, &joined);
	if (!definition) {
		(void)snprintf(why, 256,
			"no boundary has this name (H1 to H4, or one of them joined "
			"with "
			"devices, as in H2+circulation)");
		return refuse(config, why);
	}
	unsigned absent = joined & ~all_devices(config);
	if (absent) {
		(void)snprintf(why, 256, "the plant has no ");
		join(absent, ", no ", " and no ", why, 256);
		return refuse(config, why);
	}
	struct boundary found;
	if (resolve(config, definition, joined, &found, &missing) != 0) {
		say_missing(config, name, missing, why);
		return refuse(config, why);
	}
	if (is_h1(name) && !(joined & DEVICE_SOURCE) && !tells_h1(config, &found))
		return refuse_h1(config, why);
	*ret = found;
	return 0;
}
