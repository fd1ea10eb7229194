/*
 * Units: spellings, conversions, stored steps.
 *
 * Reference values: definitions of the inch, pound and US gallon (NIST SP 811 App. B:
 * from memory) and of °F; the list of spellings is the documented one.
 */
#include "unit.h"

#include <heatbook/units.h>

static const struct unit *find(const char *text)
{
	return unit_find(text, strlen(text));
}

TEST(every_documented_spelling_is_converted)
{
	static const struct {
		const char *text;
		enum dimension dimension;
		double value, own;
	} rows[] = {
		{"°C", DIMENSION_TEMPERATURE, 45.25, 45.25},
		{"degC", DIMENSION_TEMPERATURE, -3.5, -3.5},
		{"Cel", DIMENSION_TEMPERATURE, 20, 20},
		{"C", DIMENSION_TEMPERATURE, 20, 20},
		{"℃", DIMENSION_TEMPERATURE, 20, 20},
		{"\xb0"
		 "C",
			DIMENSION_TEMPERATURE, 20, 20},
		{"ºC", DIMENSION_TEMPERATURE, 20, 20},
		{" ° C ", DIMENSION_TEMPERATURE, 20, 20},
		{"°F", DIMENSION_TEMPERATURE, 32, 0},
		{"\xb0"
		 "F",
			DIMENSION_TEMPERATURE, 212, 100},
		{"[degF]", DIMENSION_TEMPERATURE, -40, -40},
		{"degF", DIMENSION_TEMPERATURE, 104, 40},
		{"K", DIMENSION_TEMPERATURE_DIFFERENCE, 5, 5},
		{"L/min", DIMENSION_FLOW, 17.5, 17.5},
		{"l/min", DIMENSION_FLOW, 17.5, 17.5},
		{"L/h", DIMENSION_FLOW, 1050, 17.5},
		{"l/h", DIMENSION_FLOW, 60, 1},
		{"L/s", DIMENSION_FLOW, 0.5, 30},
		{"m³/h", DIMENSION_FLOW, 1.2, 20},
		{"m3/h", DIMENSION_FLOW, 1.2, 20},
		{"m^3/h", DIMENSION_FLOW, 1.2, 20},
		{"m\xb3/h", DIMENSION_FLOW, 1.2, 20},
		{"m³/s", DIMENSION_FLOW, 0.0005, 30},
		{"gpm", DIMENSION_FLOW, 1, 3.785411784},
		{"gpm (US)", DIMENSION_FLOW, 10, 37.85411784},
		{"[gal_us]/min", DIMENSION_FLOW, 2, 7.570823568},
		{"kg/s", DIMENSION_FLOW, 0.3, 18},
		{"kg/h", DIMENSION_FLOW, 1080, 18},
		{"bar", DIMENSION_PRESSURE, 1.6, 1.6},
		{"mbar", DIMENSION_PRESSURE, 1600, 1.6},
		{"kPa", DIMENSION_PRESSURE, 160, 1.6},
		{"hPa", DIMENSION_PRESSURE, 1600, 1.6},
		{"Pa", DIMENSION_PRESSURE, 160000, 1.6},
		{"MPa", DIMENSION_PRESSURE, 0.16, 1.6},
		{"psi", DIMENSION_PRESSURE, 14.5037737730, 1},
		{"W", DIMENSION_POWER, 812, 812},
		{"kW", DIMENSION_POWER, 1.25, 1250},
		{"mW", DIMENSION_POWER, 1500, 1.5},
		{"MW", DIMENSION_POWER, 0.001, 1000},
		{"Wh", DIMENSION_ENERGY, 1500, 1.5},
		{"kWh", DIMENSION_ENERGY, 1.5, 1.5},
		{"kW.h", DIMENSION_ENERGY, 1.5, 1.5},
		{"MWh", DIMENSION_ENERGY, 0.0015, 1.5},
		{"J", DIMENSION_ENERGY, 3.6e6, 1},
		{"kJ", DIMENSION_ENERGY, 3600, 1},
		{"MJ", DIMENSION_ENERGY, 3.6, 1},
		{"GJ", DIMENSION_ENERGY, 0.0036, 1},
		{"V", DIMENSION_VOLTAGE, 230, 230},
		{"mV", DIMENSION_VOLTAGE, 230000, 230},
		{"A", DIMENSION_CURRENT, 6, 6},
		{"mA", DIMENSION_CURRENT, 6000, 6},
		{"Hz", DIMENSION_FREQUENCY, 50, 50},
		{"rpm", DIMENSION_FREQUENCY, 3000, 50},
		{"%", DIMENSION_RATIO, 42, 42},
		{"%RH", DIMENSION_RATIO, 42, 42},
		{"/", DIMENSION_RATIO, 0.42, 42},
		{"EUR/kWh", DIMENSION_PRICE, 0.31, 0.31},
		{"€/kWh", DIMENSION_PRICE, 0.31, 0.31},
		{"currency/kWh", DIMENSION_PRICE, 0.31, 0.31},
		{"ct/kWh", DIMENSION_PRICE, 31, 0.31},
		{"¢/kWh", DIMENSION_PRICE, 31, 0.31},
		{"SEK/MWh", DIMENSION_PRICE, 310, 0.31},
		{"$/MWh", DIMENSION_PRICE, 310, 0.31},
		{"g/kWh", DIMENSION_INTENSITY, 380, 380},
		{"gCO₂/kWh", DIMENSION_INTENSITY, 380, 380},
		{"kg/MWh", DIMENSION_INTENSITY, 380, 380},
		{"kg/kWh", DIMENSION_INTENSITY, 0.38, 380},
		{"t/MWh", DIMENSION_INTENSITY, 0.38, 380},
		{"", DIMENSION_NUMBER, 7, 7},
		{"1", DIMENSION_NUMBER, 7, 7},
	};
	for (size_t i = 0; i < ARRAY_LEN(rows); i++) {
		const struct unit *unit = find(rows[i].text);
		ck_assert_msg(unit != NULL, "'%s' is not known", rows[i].text);
		ck_assert_msg(unit->dimension == rows[i].dimension, "'%s': dimension %d",
			rows[i].text, (int)unit->dimension);
		double own = unit_to_own(unit, rows[i].value);
		ck_assert_msg(
			fabs(own - rows[i].own) <= 1e-10 * fmax(1, fabs(rows[i].own)),
			"%g %s: %.15g", rows[i].value, rows[i].text, own);
	}
}
END

TEST(exact_rationals_stay_exact)
{
	ck_assert(unit_to_own(find("°F"), 32) == 0.0);
	ck_assert(unit_to_own(find("gpm (US)"), 1) == 3.785411784);
	ck_assert(unit_to_own(find("L/h"), 60) == 1.0);
	ck_assert(unit_to_own(find("MJ"), 36) == 10.0);
	/* The factor of psi: 0.45359237 · 9.80665 / 0.0254² Pa. */
	ck_assert_double_eq_tol(unit_to_own(find("psi"), 1e5), 6894.75729316836134, 1e-9);
}
END

TEST(case_is_significant_only_where_it_must_be)
{
	static const struct {
		const char *text;
		const char *symbol; /* NULL = no unit */
	} rows[] = {
		{"KWH", "kWh"},
		{"kw", "kW"},
		{"w", "W"},
		{"HZ", "Hz"},
		{"BAR", "bar"},
		{"M3/H", "m³/h"},
		{"LPM", "L/min"},
		{"RPM", "rpm"},
		{"DEGC", "°C"},
		{"mW", "mW"},
		{"MW", "MW"},
		{"Mw", NULL},
		{"EUR/mWh", NULL},
		{"eur/kWh", NULL},
		{"kg/mWh", NULL},
		{"mw", NULL},
		{"mj", NULL},
		{"mwh", NULL},
		{"k", NULL},
		{"a", NULL},
	};
	for (size_t i = 0; i < ARRAY_LEN(rows); i++) {
		const struct unit *unit = find(rows[i].text);
		ck_assert_msg(rows[i].symbol
				      ? unit && !strcmp(unit->symbol, rows[i].symbol)
				      : !unit,
			"%s: %s", rows[i].text, unit ? unit->symbol : "none");
	}
}
END

TEST(unknown_units_are_refused)
{
	static const char *const texts[] = {"furlong", "VA", "gpm (UK)", "bar(g)", "°",
		"°X", "kWh/m²", "C/min", "a unit of more than twenty-four bytes", "^",
		"\xff\xff"};
	for (size_t i = 0; i < ARRAY_LEN(texts); i++)
		ck_assert_msg(!find(texts[i]), "'%s' was taken for %s", texts[i],
			find(texts[i])->symbol);
	ck_assert_ptr_null(unit_find("W\0h", 3));
	ck_assert_ptr_null(unit_find("kW\0", 3));
}
END

TEST(only_length_bytes_are_read)
{
	static const char text[] = {'k', 'W', 'h'};
	ck_assert_str_eq(unit_find(text, 3)->symbol, "kWh");
	ck_assert_str_eq(unit_find(text, 2)->symbol, "kW");
}
END

TEST(mass_flows_are_marked)
{
	ck_assert(find("kg/s")->mass);
	ck_assert(find("kg/min")->mass);
	ck_assert(find("kg/h")->mass);
	ck_assert(!find("m³/h")->mass);
	ck_assert(!find("L/min")->mass);
}
END

TEST(own_units_convert_to_themselves_and_are_found_by_their_names)
{
	for (int d = 0; d < DIMENSION_COUNT; d++) {
		const struct unit *own = unit_own((enum dimension)d);
		ck_assert_int_eq((int)own->dimension, d);
		ck_assert(unit_to_own(own, 12.34) == 12.34);
		if (d != DIMENSION_STATE) {
			ck_assert_ptr_eq(find(own->symbol), own);
			ck_assert_ptr_eq(find(own->ucum), own);
		}
	}
}
END

TEST(stored_steps_and_decimals_agree)
{
	for (int d = 0; d < DIMENSION_COUNT; d++) {
		double steps = pow(10, unit_decimals((enum dimension)d));
		ck_assert_int_eq(unit_scale((enum dimension)d), (int)lround(steps));
	}
	ck_assert_int_eq(unit_scale(DIMENSION_TEMPERATURE), 100);
	ck_assert_int_eq(unit_scale(DIMENSION_FLOW), 100);
	ck_assert_int_eq(unit_scale(DIMENSION_PRESSURE), 100);
	ck_assert_int_eq(unit_scale(DIMENSION_POWER), 1);
	ck_assert_int_eq(unit_scale(DIMENSION_FREQUENCY), 10);
	ck_assert_int_eq(unit_scale(DIMENSION_RATIO), 10);
	ck_assert_int_eq(unit_scale(DIMENSION_VOLTAGE), 10);
	ck_assert_int_eq(unit_scale(DIMENSION_ENERGY), 1000);
	ck_assert_int_eq(unit_scale(DIMENSION_CURRENT), 1000);
	ck_assert_int_eq(unit_scale(DIMENSION_NUMBER), 1000);
	ck_assert_int_eq(unit_scale(DIMENSION_STATE), 1);
}
END

TESTS(every_documented_spelling_is_converted, exact_rationals_stay_exact,
	case_is_significant_only_where_it_must_be, unknown_units_are_refused,
	only_length_bytes_are_read, mass_flows_are_marked,
	own_units_convert_to_themselves_and_are_found_by_their_names,
	stored_steps_and_decimals_agree)
