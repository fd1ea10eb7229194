/*
 * The one table of faults: names, dates in the demo year, what is to be found of each and
 * how soon. The first year of the plant was chosen since nothing else changes in it; the
 * faults keep clear of each other and of both days on which the clocks change. The pair
 * is at fault in May since a rest check needs rest, which deep winter does not give it.
 */
#include "faults.h"

#include "zone.h"

#include <string.h>

#define HOUR_S      3600
#define DAY_S       (24 * HOUR_S)
#define MODULUS_J   (65536.0 * 3.6e6)
#define NAME_LENGTH 32

static const struct {
	const char *name;
	const char *from, *to; /* local date-times of the demo year */
	const char *finding;
	const char *subject; /* channel, meter or source; empty: the plant */
	int within_s;
	int rule;           /* of the plant, or NO_RULE */
	double least, most; /* of the finding's size, in its own unit */
	bool apart;         /* not in "all" */
} table[FAULTS] = {
#define NO_RULE (-1)
	[FAULT_RETURN_LOW] = {"return_low", "2025-05-01", "2025-06-01", "pair_offset",
		"return_temperature", 14 * DAY_S, NO_RULE, 0.28, 0.32},
	[FAULT_IMMERSION_DAILY] = {"immersion_daily", "2025-02-03", "2025-02-17",
		"immersion_unplanned", "immersion", DAY_S, RULE_IMMERSION_DAILY, 31.0,
		32.0},
	[FAULT_FLOW_FALLING] = {"flow_falling", "2024-11-01", "2024-12-13",
		"flow_falling", "flow_rate", 28 * DAY_S, RULE_FLOW_FALLING, 16.0, 21.0},
	[FAULT_PRESSURE_LEAK] = {"pressure_leak", "2025-06-02", "2025-06-30",
		"pressure_falling", "water_pressure", 14 * DAY_S, NO_RULE, 0.40, 0.60},
	[FAULT_BROKER_AWAY] = {"broker_away", "2024-12-28T09:00:00+01:00",
		"2024-12-28T14:00:00+01:00", "missing_minutes", "", 6 * HOUR_S, NO_RULE,
		285.0, 300.0},
	[FAULT_RETAINED_REPLAYED] = {"retained_replayed", "2024-09-05", "2024-09-06",
		"none", "", 0, NO_RULE},
	[FAULT_REGISTER_RESET] = {"register_reset", "2025-02-18T10:20:00+01:00",
		"2025-02-18T10:20:00+01:00", "register_reset", "unit", HOUR_S, NO_RULE,
		-66000.0, -1.0},
	[FAULT_REGISTER_WRAP] = {"register_wrap", "2024-09-24T15:00:00+02:00",
		"2024-09-24T15:00:00+02:00", "register_wrapped", "unit", DAY_S, NO_RULE,
		-65536.1, -65535.0},
	[FAULT_CLAMP_REVERSED] = {"clamp_reversed", "2024-12-17", "2024-12-24",
		"power_reversed", "unit_power_2", DAY_S, NO_RULE, -600.0, -250.0},
	[FAULT_POWER_CUT] = {"power_cut", "2024-12-15T11:00:00+01:00",
		"2024-12-15T13:00:00+01:00", "power_cut", "", 3 * HOUR_S, RULE_POWER_CUT,
		105.0, 121.0},
	[FAULT_SENSOR_FROZEN] = {"sensor_frozen", "2024-12-26T06:20:00+01:00",
		"2024-12-26T07:00:00+01:00", "channel_frozen", "flow_temperature", HOUR_S,
		NO_RULE, 35.0, 41.0},
	[FAULT_INTEGER_TEMPERATURES] = {"integer_temperatures", "2025-02-19",
		"2025-02-26", "resolution_coarse", "flow_temperature", DAY_S, NO_RULE,
		1.0, 1.0},
	[FAULT_SLOW_SOURCE] = {"slow_source", "2025-04-01", "2025-04-22", "source_slow",
		"flow_temperature", DAY_S, NO_RULE, 4.5, 5.5},
	[FAULT_EFFICIENCY_LOW] = {"efficiency_low", "2025-03-01", "2025-07-01",
		"efficiency_fell", "", 28 * DAY_S, RULE_EFFICIENCY_LOW, -7.0, -5.0},
	[FAULT_OUTDOOR_SUN] = {"outdoor_sun", "2024-08-10", "2024-08-31",
		"outdoor_in_sun", "outdoor_temperature", 14 * DAY_S, NO_RULE, 5.0, 9.0},
	[FAULT_BAD_PAYLOADS] = {"bad_payloads", "2024-09-10", "2024-09-12", "payload_bad",
		"", DAY_S, NO_RULE, 40.0, 500.0},
	[FAULT_POWER_LATE] = {"power_late", "2024-10-07", "2024-10-21", "source_skewed",
		"house", 3 * DAY_S, NO_RULE, 10.0, 13.0},
	[FAULT_EMITTERS_SHUT] = {"emitters_shut", "2024-10-22", "2024-10-26", "none", "",
		0, RULE_EMITTERS_SHUT, .apart = true},
	[FAULT_FROSTY_STANDSTILL] = {"frosty_standstill", "2025-01-20", "2025-01-23",
		"none", "", 0, RULE_STANDSTILL, .apart = true},
};

static int find(const char *name, size_t length)
{
	for (int i = 0; i < FAULTS; i++)
		if (strlen(table[i].name) == length &&
			!memcmp(table[i].name, name, length))
			return i;
	return -1;
}

/* The table's dates are valid: a unit test reads them all. */
static int switch_on(struct faults *faults, int name, const char *from, const char *to)
{
	struct fault *fault = &faults->fault[name];
	if (zone_parse(from, &fault->from_s) < 0 || zone_parse(to, &fault->to_s) < 0)
		return -1;
	fault->on = true;
	return fault->from_s % PLANT_STEP_S == 0 && fault->to_s % PLANT_STEP_S == 0 &&
			       fault->from_s >= PLANT_ORIGIN_S &&
			       fault->from_s <= fault->to_s
		       ? 0
		       : -1;
}

void faults_all(struct faults *faults)
{
	for (int i = 0; i < FAULTS; i++)
		(void)switch_on(faults, i, table[i].from, table[i].to);
}

int faults_choose(struct faults *faults, const char *list)
{
	if (!strcmp(list, "all")) {
		for (int i = 0; i < FAULTS; i++)
			if (!table[i].apart)
				(void)switch_on(faults, i, table[i].from, table[i].to);
		return 0;
	}
	for (;;) {
		size_t length = strcspn(list, ",");
		int name = find(list, length);
		if (name < 0 ||
			switch_on(faults, name, table[name].from, table[name].to) < 0)
			return -1;
		if (!list[length])
			return 0;
		list += length + 1;
	}
}

int faults_place(struct faults *faults, const char *text)
{
	char from[NAME_LENGTH];
	const char *equals = strchr(text, '=');
	int name = equals ? find(text, (size_t)(equals - text)) : -1;
	if (name < 0)
		return -1;
	const char *slash = strchr(equals, '/');
	size_t length = strcspn(equals + 1, "/");
	if (length >= sizeof(from))
		return -1;
	memcpy(from, equals + 1, length);
	from[length] = '\0';
	return switch_on(faults, name, from, slash ? slash + 1 : from);
}

bool faults_any(const struct faults *faults)
{
	for (int i = 0; i < FAULTS; i++)
		if (faults->fault[i].on)
			return true;
	return false;
}

bool fault_holds(const struct faults *faults, enum fault_name name, int64_t t_s)
{
	const struct fault *fault = &faults->fault[name];
	return fault->on && t_s >= fault->from_s && t_s < fault->to_s;
}

size_t faults_rules(const struct faults *faults, struct plant_rule *ret_rules)
{
	size_t count = 0;
	for (int i = 0; i < FAULTS; i++)
		if (faults->fault[i].on && table[i].rule != NO_RULE)
			ret_rules[count++] = (struct plant_rule){
				.kind = (enum plant_rule_kind)table[i].rule,
				.from_s = faults->fault[i].from_s,
				.to_s = faults->fault[i].to_s};
	return count;
}

static double unit_joules_at(const struct plant_settings *settings, int64_t t_s)
{
	struct plant plant;
	plant_init(&plant, settings);
	plant_run_to(&plant, t_s);
	return plant.unit_j;
}

int faults_prepare(struct faults *faults, const struct plant_settings *settings)
{
	const struct fault *wrap = &faults->fault[FAULT_REGISTER_WRAP];
	const struct fault *reset = &faults->fault[FAULT_REGISTER_RESET];
	if (wrap->on && reset->on && wrap->from_s >= reset->from_s)
		return -1;
	if (wrap->on) {
		faults->after_wrap_j = -unit_joules_at(settings, wrap->from_s);
		faults->before_wrap_j = faults->after_wrap_j + MODULUS_J;
	}
	if (reset->on)
		faults->after_reset_j = -unit_joules_at(settings, reset->from_s);
	return 0;
}

void faults_list(const struct faults *faults, FILE *out)
{
	(void)fprintf(out, "name,from_epoch_s,to_epoch_s,finding,subject,within_s,"
			   "least,most\n");
	for (int i = 0; i < FAULTS; i++)
		if (faults->fault[i].on)
			(void)fprintf(out, "%s,%lld,%lld,%s,%s,%d,%g,%g\n", table[i].name,
				(long long)faults->fault[i].from_s,
				(long long)faults->fault[i].to_s, table[i].finding,
				table[i].subject, table[i].within_s, table[i].least,
				table[i].most);
}
