/*
 * Meters of a configuration: what they sum, feed and serve, registers that rule them or
 * the heat, and the limits of error that follow from classes.
 */
#include "configured.h"

#include <heatbook/boundary.h>

TEST(meters_take_sums_and_their_class_sets_the_limit)
{
	/* Electricity meters: MID classes from Directive 2014/32/EU Annex V, Table 2
	 * (read); 1 and 2 from IEC 62053-21 (from memory). */
	static const struct {
		const char *keys;
		double limit;
	} limits[] = {{"class = 1\n", 1.0}, {"class = 2\n", 2.0}, {"class = A\n", 3.5},
		{"class = B\n", 2}, {"class = C\n", 1}, {"", 2},
		{"class = C\nlimit = 4 %\n", 4}, {"limit = 1.5\n", 1.5}};
	for (size_t i = 0; i < ARRAY_LEN(limits); i++) {
		_cleanup_(freep) char *text =
			xasprintf("[channel a]\ntopic = x\nunit = W\n[channel b]\ntopic "
				  "= y\nunit = kW\n"
				  "[meter all]\nfeeds = compressor, circulation\npower = "
				  "b+ a\nless = one\n"
				  "%s[meter one]\nfeeds = immersion\napparent = yes\n",
				limits[i].keys);
		struct faults notes = {0};
		_cleanup_(config_freep) struct config *c =
			configured_noting(text, &notes);
		const struct meter_config *m = &c->meters[0];
		ck_assert_double_eq(m->limit_percent, limits[i].limit);
		ck_assert_uint_eq(m->power_count, 2);
		ck_assert_int_eq(m->power[0], 1);
		ck_assert_int_eq(m->power[1], 0);
		ck_assert_uint_eq(m->feeds, DEVICE_COMPRESSOR | DEVICE_CIRCULATION);
		ck_assert_int_eq(m->less, config_meter(c, "one"));
		ck_assert(!m->apparent && c->meters[1].apparent);
		ck_assert_ptr_nonnull(strstr(notes.lines[notes.count - 1],
			": meter one has neither power nor register: "
			"its electricity stays unknown"));
		faults_release(&notes);
	}
}
END

/* What is behind a meter is none of its own electricity, down to the end of the line;
 * two supplies of one device stay both of it. */
TEST(a_meter_serves_what_the_meters_behind_it_do_not)
{
	enum { C = DEVICE_COMPRESSOR, I = DEVICE_IMMERSION, P = DEVICE_CIRCULATION };
	static const char text[] =
		"[meter all]\nfeeds = compressor, immersion, circulation\nless = unit\n"
		"[meter unit]\nfeeds = compressor\nless = rod\n"
		"[meter rod]\nfeeds = immersion\n"
		"[meter twin]\nfeeds = compressor\nless = unit\n";
	static const unsigned serves[] = {P, C, I, C};
	struct faults notes = {0};
	_cleanup_(config_freep) struct config *c = configured_noting(text, &notes);
	for (size_t i = 0; i < ARRAY_LEN(serves); i++)
		ck_assert_uint_eq(c->meters[i].serves, serves[i]);
	ck_assert_uint_eq(c->meters[0].feeds, C | I | P);
	faults_release(&notes);
}
END

#define PAIR                                                                             \
	"[channel flow_temperature]\ntopic = x/f\n%s[channel "                           \
	"return_temperature]\ntopic = "                                                  \
	"x/r\n%s[channel flow_rate]\ntopic = x/q\n%s"

TEST(limits_of_heat_are_stated_or_by_class)
{
	/* Platinum at 40 °C (IEC 60751): A 0.23 K, B 0.5 K; matched: 0.5 % and 0.03·3 K
	 * (EN 1434-1); flow of class 2 at a tenth: 2 + 0.02·10 %. */
	static const struct {
		const char *plant, *flow_c, *return_c, *lpm;
		double k, percent, flow_percent;
	} rows[] = {
		{"", "", "", "", 0.3, 0, 3},
		{"", "class = platinum_a\n", "class = platinum_b\n", "", 0.55036352, 0,
			3},
		{"", "limit = 0.5 °C\n", "limit = 1.8 °F\n", "limit = 1.5 %\n",
			1.1180339887, 0, 1.5},
		{"", "", "class = digital\n", "class = flow_2\n", 0.5431390245, 0, 2.2},
		{"", "class = strapped\nlimit = 0.4\n", "limit = 0.3\n",
			"class = pump_speed\n", 0.5, 0, 10},
		{"pair_class = matched_3\n", "", "limit = 0.3\n", "class = vortex\n",
			0.09, 0.5, 3},
		{"pair_class = matched_3\n", "class = platinum_b\n",
			"class = platinum_b\n", "", 0.09, 0.5, 3},
		{"pair_class = matched_10\npair_limit = 0.2 K\nflow_limit = 4\n", "", "",
			"class = flow_1\n", 0.2, 0, 4},
	};
	for (size_t i = 0; i < ARRAY_LEN(rows); i++) {
		_cleanup_(freep) char *text = xasprintf("[plant]\nzone = UTC\n%s" PAIR,
			rows[i].plant, rows[i].flow_c, rows[i].return_c, rows[i].lpm);
		_cleanup_(config_freep) struct config *c = configured(text);
		const struct plant_config *p = &c->plant;
		ck_assert_double_eq_tol(p->pair_limit.k, rows[i].k, 1e-8);
		ck_assert_double_eq(p->pair_limit.percent, rows[i].percent);
		ck_assert_double_eq_tol(
			p->flow_limit_percent, rows[i].flow_percent, 1e-12);
		ck_assert_double_eq(p->source_limit_percent, 0);
		ck_assert_int_eq(c->channels[0].strapped,
			strstr(rows[i].flow_c, "strapped") != NULL);
	}
}
END

	static void
	same_class(const char *got, const char *wanted)
{
	ck_assert_pstr_eq(got, wanted);
}

/* As IEC 60751, EN 1434-1, IEC 62053-21 and EN 50470-3 name them (from memory). A limit
 * beside a class overrides its limit, and not what the instrument is. */
TEST(classes_are_known_by_their_standards)
{
	static const char text[] =
		"[plant]\nzone = UTC\nheat_source = %s\n%s[channel heat_power]\n"
		"topic = x/h\nunit = W\n" PAIR "[channel p]\ntopic = x/p\nunit = W\n"
		"[meter a]\nfeeds = compressor\npower = p\nclass = B\n"
		"[meter b]\nfeeds = immersion\npower = p\nclass = 1\nlimit = 3 %%\n"
		"[meter c]\nfeeds = circulation\npower = p\nclass = clamp\n"
		"[meter d]\nfeeds = source\npower = p\n";
	static const char *const meters[] = {"EN 50470-3 class B", "IEC 62053-21 class 1",
		"clamps around the conductors", NULL};
	_cleanup_(freep) char *pair = xasprintf(text, "computed",
		"pair_class = matched_5\npair_limit = 0.2 K\n", "class = platinum_b\n",
		"", "class = flow_2\nlimit = 4 %\n");
	_cleanup_(freep) char *heat =
		xasprintf(text, "power", "heat_class = 2\n", "", "", "");
	_cleanup_(config_freep) struct config *c = configured(pair);
	_cleanup_(config_freep) struct config *h = configured(heat);
	same_class(c->plant.pair_class, "EN 1434 matched pair from 5 K");
	same_class(c->plant.heat_class, NULL);
	same_class(h->plant.heat_class, "EN 1434 class 2");
	same_class(h->plant.pair_class, NULL);
	same_class(c->channels[config_role(c, ROLE_FLOW_TEMPERATURE)].class,
		"IEC 60751 class B");
	same_class(c->channels[config_role(c, ROLE_RETURN_TEMPERATURE)].class, NULL);
	const struct channel_config *flow = &c->channels[config_role(c, ROLE_FLOW_RATE)];
	same_class(flow->class, "EN 1434 class 2");
	ck_assert_double_eq(flow->limit, 4);
	for (size_t i = 0; i < ARRAY_LEN(meters); i++)
		same_class(c->meters[i].class, meters[i]);
	ck_assert_double_eq(c->meters[1].limit_percent, 3);
}
END

/* As of a pair by default, 0.3 K and 3 %; what a meter says of itself, 10 %. */
TEST(limits_of_the_sources_side_are_stated_or_those_by_default)
{
	static const struct {
		const char *entering, *leaving, *lpm, *heat;
		double k, flow_percent, heat_percent;
	} rows[] = {
		{"", "", "", "", 0.3, 3, 10},
		{"limit = 0.3 K\n", "limit = 0.4 K\n", "limit = 5 %\n", "limit = 2 %\n",
			0.5, 5, 2},
		{"class = platinum_a\n", "class = platinum_b\n", "class = flow_2\n", "",
			0.55036352, 2.2, 10},
	};
	for (size_t i = 0; i < ARRAY_LEN(rows); i++) {
		_cleanup_(freep) char *text = xasprintf(
			"[plant]\npair_limit = 1 K\nflow_limit = 9 %%\n"
			"[channel source_entering_temperature]\ntopic = a\n%s"
			"[channel source_leaving_temperature]\ntopic = b\n%s"
			"[channel source_flow_rate]\ntopic = c\n%s"
			"[channel source_heat_power]\ntopic = d\n%s",
			rows[i].entering, rows[i].leaving, rows[i].lpm, rows[i].heat);
		_cleanup_(config_freep) struct config *c = configured(text);
		ck_assert_double_eq_tol(c->plant.source.pair_limit_k, rows[i].k, 1e-8);
		ck_assert_double_eq_tol(
			c->plant.source.flow_limit_percent, rows[i].flow_percent, 1e-12);
		ck_assert_double_eq_tol(
			c->plant.source.heat_limit_percent, rows[i].heat_percent, 1e-12);
	}
}
END

TEST(apparent_power_is_less_certain_unless_a_register_rules)
{
	static const struct {
		const char *lines;
		double limit;
	} rows[] = {{"power = a\napparent = yes\n", 20},
		{"power = a\nregister = r\napparent = yes\n", 2},
		{"power = a\napparent = yes\nlimit = 6 %\n", 6},
		{"power = a\napparent = yes\nclass = clamp\n", 20},
		{"power = a\nclass = clamp\n", 3}};
	for (size_t i = 0; i < ARRAY_LEN(rows); i++) {
		_cleanup_(freep) char *text = xasprintf(
			"[plant]\nzone = UTC\n[channel a]\ntopic = x\nunit = W\n"
			"[channel r]\ntopic = y\nunit = kWh\n"
			"[meter m]\nfeeds = compressor\n%s",
			rows[i].lines);
		_cleanup_(config_freep) struct config *c = configured(text);
		ck_assert_double_eq(c->meters[0].limit_percent, rows[i].limit);
	}
}
END

TEST(a_register_rules_its_meter)
{
	static const char meters[] =
		"[plant]\nzone = UTC\n[channel a]\ntopic = x\nunit = kWh\n"
		"[channel b]\ntopic = y\nunit = Wh\n[meter one]\nfeeds = "
		"compressor\nregister = a\nkind = daily\n"
		"step = 10 Wh\nmodulus = 65536 kWh\nmost_power = 9 kW\n"
		"[meter two]\nfeeds = circulation\nregister = a + b\n";
	struct faults notes = {0};
	_cleanup_(config_freep) struct config *c = configured_noting(meters, &notes);
	const struct register_config *r = &c->meters[0].counted.counting;
	ck_assert_msg(notes.count == 0, "%s", notes.lines[0]);
	ck_assert(c->meters[0].counted.counts && c->meters[1].counted.counts);
	ck_assert_int_eq(r->kind, REGISTER_DAILY);
	ck_assert_int_eq(r->step_j, 36000);
	ck_assert_int_eq(r->modulus_j, INT64_C(65536) * 3600000);
	ck_assert_double_eq(r->most_w, 9000);
	ck_assert_int_eq(c->meters[1].counted.counting.kind, REGISTER_COUNTS_ON);
	ck_assert_int_eq(c->meters[1].counted.counting.modulus_j, 0);
	ck_assert(!c->meters[0].difference && !c->meters[1].difference);
	_cleanup_(freep) char *text = xasprintf("%sless = one\n", meters);
	_cleanup_(config_freep) struct config *d = configured_noting(text, &notes);
	ck_assert(d->meters[0].counted.counts && d->meters[1].counted.counts);
	ck_assert(!d->meters[0].difference && d->meters[1].difference);
	ck_assert_uint_eq(notes.count, 0);
	faults_release(&notes);
}
END

TEST(a_heat_register_rules_the_heat_where_the_plant_says_so)
{
	static const char channel[] =
		"[channel heat_register]\ntopic = h\nunit = MWh\nkind = daily\n"
		"step = 1 kWh\nmodulus = 1000 MWh\nmost_power = 9 kW\nfalls = yes\n";
	struct faults notes = {0};
	_cleanup_(freep) char *text =
		xasprintf("[plant]\nzone = UTC\nheat_source = register\n%s", channel);
	_cleanup_(config_freep) struct config *c = configured_noting(text, &notes);
	const struct counted *counted = config_counted(c, COUNTED_HEAT);
	ck_assert_msg(notes.count == 0, "%s", notes.lines[0]);
	ck_assert_ptr_nonnull(counted);
	ck_assert_uint_eq(counted->register_count, 1);
	ck_assert_int_eq(counted->registers[0], 0);
	ck_assert_int_eq(counted->counting.kind, REGISTER_DAILY);
	ck_assert_int_eq(counted->counting.step_j, 3600000);
	ck_assert_int_eq(counted->counting.modulus_j, INT64_C(3600000000000));
	ck_assert_double_eq(counted->counting.most_w, 9000);
	ck_assert(counted->counting.falls);
	ck_assert_str_eq(config_counted_name(c, COUNTED_HEAT), "0");
	ck_assert(config_is_register(c, 0));
	_cleanup_(freep) char *other = xasprintf("[plant]\nzone = UTC\n%s", channel);
	_cleanup_(config_freep) struct config *d = configured_noting(other, &notes);
	ck_assert_ptr_null(config_counted(d, COUNTED_HEAT));
	ck_assert_uint_eq(notes.count, 1);
	ck_assert_ptr_nonnull(strstr(notes.lines[0], "with heat_source = register"));
	faults_release(&notes);
}
END

/* All but a heater, of which the list decides something. */
TEST(a_fed_device_that_is_not_listed_is_there_with_a_hint)
{
	static const char text[] =
		"[plant]\nzone = UTC\ndevices = compressor, immersion\n"
		"[channel w]\ntopic = f\nunit = W\n"
		"[meter m]\nfeeds = compressor, circulation\npower = w\n";
	struct faults notes = {0};
	_cleanup_(config_freep) struct config *c = configured_noting(text, &notes);
	ck_assert_uint_eq(notes.count, 1);
	ck_assert_str_eq(notes.lines[0],
		"test.conf:8: meter m feeds circulation, which devices of [plant] does "
		"not "
		"list: it is taken to be there; add it to devices");
	ck_assert_uint_eq(plant_devices(c).sure,
		DEVICE_COMPRESSOR | DEVICE_IMMERSION | DEVICE_CIRCULATION);
	faults_release(&notes);
}
END

TESTS(meters_take_sums_and_their_class_sets_the_limit,
	a_meter_serves_what_the_meters_behind_it_do_not,
	limits_of_heat_are_stated_or_by_class, classes_are_known_by_their_standards,
	limits_of_the_sources_side_are_stated_or_those_by_default,
	apparent_power_is_less_certain_unless_a_register_rules,
	a_register_rules_its_meter,
	a_heat_register_rules_the_heat_where_the_plant_says_so,
	a_fed_device_that_is_not_listed_is_there_with_a_hint)
