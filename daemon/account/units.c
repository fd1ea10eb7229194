/*
 * The unit table, and the look-up of a spelling in it.
 *
 * A spelling is compared after blanks are dropped and the signs that come in several
 * encodings are made one: degree sign (UTF-8, its Latin-1 byte, the ordinal sign that is
 * typed in its place) and the one-character degree units become "deg"; a raised 3 (UTF-8,
 * Latin-1, ^3, **3) becomes "3". The table of spellings holds what is left. Letter case
 * is ignored except where another case is or could be another unit (m and M as prefix, K,
 * A): there a wrong case names no unit rather than a guessed one.
 *
 * Factors are exact: each is a quotient of two doubles that hold the defining integers or
 * decimals. Definitions: SI brochure (9th ed.); international pound, inch, US gallon 231
 * in³ = 3.785411784 L (NIST SP 811 App. B: from memory); UCUM codes from its published
 * tables (from memory); the "/" and "%RH" spellings from the SenML unit registry (RFC
 * 8428: from memory).
 *
 * Mass flow: kg/s, kg/min and kg/h are converted at a nominal 1 kg/L, which is up to 1.2
 * % off in volume at 50 °C. They are marked `mass`, so that heat is m'·Δh and exact: only
 * the L/min that is shown is nominal. A K is a difference; kelvins of a thermometer are
 * configured as °C with offset −273.15.
 *
 * Prices are of any currency, which is a text and never converted; a cent, or a penny, is
 * a hundredth. What a kilowatt-hour emits is carbon dioxide or what counts as much; the
 * spellings do not tell which.
 *
 * Gauge pressure, apparent power (VA) and imperial gallons are left out on purpose:
 * without more words they would be taken for something else.
 */
#include <heatbook/units.h>

#include <assert.h>
#include <string.h>

#define SPELLING_MOST 24 /* bytes of a normalised spelling, with its NUL */

enum unit_index {
	UNIT_NUMBER,
	UNIT_CELSIUS,
	UNIT_FAHRENHEIT,
	UNIT_KELVIN,
	UNIT_L_MIN,
	UNIT_L_H,
	UNIT_L_S,
	UNIT_M3_H,
	UNIT_M3_MIN,
	UNIT_M3_S,
	UNIT_GPM,
	UNIT_KG_S,
	UNIT_KG_MIN,
	UNIT_KG_H,
	UNIT_BAR,
	UNIT_MBAR,
	UNIT_PA,
	UNIT_HPA,
	UNIT_KPA,
	UNIT_MPA,
	UNIT_PSI,
	UNIT_WATT,
	UNIT_KW,
	UNIT_MEGAWATT,
	UNIT_MILLIWATT,
	UNIT_KWH,
	UNIT_WH,
	UNIT_MWH,
	UNIT_JOULE,
	UNIT_KJ,
	UNIT_MEGAJOULE,
	UNIT_GJ,
	UNIT_VOLT,
	UNIT_MV,
	UNIT_KV,
	UNIT_AMPERE,
	UNIT_MA,
	UNIT_HERTZ,
	UNIT_KHZ,
	UNIT_RPM,
	UNIT_PERCENT,
	UNIT_FRACTION,
	UNIT_STATE,
	UNIT_PRICE_KWH,
	UNIT_PRICE_MWH,
	UNIT_CENT_KWH,
	UNIT_G_KWH,
	UNIT_KG_KWH,
	UNIT_COUNT
};

static const struct unit units[UNIT_COUNT] = {
	[UNIT_NUMBER] = {"", "1", DIMENSION_NUMBER, 1, 1, 0, false},
	[UNIT_CELSIUS] = {"°C", "Cel", DIMENSION_TEMPERATURE, 1, 1, 0, false},
	[UNIT_FAHRENHEIT] = {"°F", "[degF]", DIMENSION_TEMPERATURE, 5, 9, -160.0 / 9.0,
		false},
	[UNIT_KELVIN] = {"K", "K", DIMENSION_TEMPERATURE_DIFFERENCE, 1, 1, 0, false},
	[UNIT_L_MIN] = {"L/min", "L/min", DIMENSION_FLOW, 1, 1, 0, false},
	[UNIT_L_H] = {"L/h", "L/h", DIMENSION_FLOW, 1, 60, 0, false},
	[UNIT_L_S] = {"L/s", "L/s", DIMENSION_FLOW, 60, 1, 0, false},
	[UNIT_M3_H] = {"m³/h", "m3/h", DIMENSION_FLOW, 1000, 60, 0, false},
	[UNIT_M3_MIN] = {"m³/min", "m3/min", DIMENSION_FLOW, 1000, 1, 0, false},
	[UNIT_M3_S] = {"m³/s", "m3/s", DIMENSION_FLOW, 60000, 1, 0, false},
	[UNIT_GPM] = {"gpm (US)", "[gal_us]/min", DIMENSION_FLOW, 3.785411784, 1, 0,
		false},
	[UNIT_KG_S] = {"kg/s", "kg/s", DIMENSION_FLOW, 60, 1, 0, true},
	[UNIT_KG_MIN] = {"kg/min", "kg/min", DIMENSION_FLOW, 1, 1, 0, true},
	[UNIT_KG_H] = {"kg/h", "kg/h", DIMENSION_FLOW, 1, 60, 0, true},
	[UNIT_BAR] = {"bar", "bar", DIMENSION_PRESSURE, 1, 1, 0, false},
	[UNIT_MBAR] = {"mbar", "mbar", DIMENSION_PRESSURE, 1, 1000, 0, false},
	[UNIT_PA] = {"Pa", "Pa", DIMENSION_PRESSURE, 1, 100000, 0, false},
	[UNIT_HPA] = {"hPa", "hPa", DIMENSION_PRESSURE, 1, 1000, 0, false},
	[UNIT_KPA] = {"kPa", "kPa", DIMENSION_PRESSURE, 1, 100, 0, false},
	[UNIT_MPA] = {"MPa", "MPa", DIMENSION_PRESSURE, 10, 1, 0, false},
	/* 0.45359237 kg · 9.80665 m/s² / (0.0254 m)², in bar */
	[UNIT_PSI] = {"psi", "[psi]", DIMENSION_PRESSURE, 4.4482216152605, 64.516, 0,
		false},
	[UNIT_WATT] = {"W", "W", DIMENSION_POWER, 1, 1, 0, false},
	[UNIT_KW] = {"kW", "kW", DIMENSION_POWER, 1000, 1, 0, false},
	[UNIT_MEGAWATT] = {"MW", "MW", DIMENSION_POWER, 1000000, 1, 0, false},
	[UNIT_MILLIWATT] = {"mW", "mW", DIMENSION_POWER, 1, 1000, 0, false},
	[UNIT_KWH] = {"kWh", "kW.h", DIMENSION_ENERGY, 1, 1, 0, false},
	[UNIT_WH] = {"Wh", "W.h", DIMENSION_ENERGY, 1, 1000, 0, false},
	[UNIT_MWH] = {"MWh", "MW.h", DIMENSION_ENERGY, 1000, 1, 0, false},
	[UNIT_JOULE] = {"J", "J", DIMENSION_ENERGY, 1, 3600000, 0, false},
	[UNIT_KJ] = {"kJ", "kJ", DIMENSION_ENERGY, 1, 3600, 0, false},
	[UNIT_MEGAJOULE] = {"MJ", "MJ", DIMENSION_ENERGY, 10, 36, 0, false},
	[UNIT_GJ] = {"GJ", "GJ", DIMENSION_ENERGY, 10000, 36, 0, false},
	[UNIT_VOLT] = {"V", "V", DIMENSION_VOLTAGE, 1, 1, 0, false},
	[UNIT_MV] = {"mV", "mV", DIMENSION_VOLTAGE, 1, 1000, 0, false},
	[UNIT_KV] = {"kV", "kV", DIMENSION_VOLTAGE, 1000, 1, 0, false},
	[UNIT_AMPERE] = {"A", "A", DIMENSION_CURRENT, 1, 1, 0, false},
	[UNIT_MA] = {"mA", "mA", DIMENSION_CURRENT, 1, 1000, 0, false},
	[UNIT_HERTZ] = {"Hz", "Hz", DIMENSION_FREQUENCY, 1, 1, 0, false},
	[UNIT_KHZ] = {"kHz", "kHz", DIMENSION_FREQUENCY, 1000, 1, 0, false},
	[UNIT_RPM] = {"rpm", "{rev}/min", DIMENSION_FREQUENCY, 1, 60, 0, false},
	[UNIT_PERCENT] = {"%", "%", DIMENSION_RATIO, 1, 1, 0, false},
	/* of one */
	[UNIT_FRACTION] = {"/", "1", DIMENSION_RATIO, 100, 1, 0, false},
	[UNIT_STATE] = {"", "1", DIMENSION_STATE, 1, 1, 0, false},
	[UNIT_PRICE_KWH] = {"currency/kWh", "{currency}/kW.h", DIMENSION_PRICE, 1, 1, 0,
		false},
	[UNIT_PRICE_MWH] = {"currency/MWh", "{currency}/MW.h", DIMENSION_PRICE, 1, 1000,
		0, false},
	[UNIT_CENT_KWH] = {"ct/kWh", "{cent}/kW.h", DIMENSION_PRICE, 1, 100, 0, false},
	[UNIT_G_KWH] = {"g/kWh", "g/kW.h", DIMENSION_INTENSITY, 1, 1, 0, false},
	[UNIT_KG_KWH] = {"kg/kWh", "kg/kW.h", DIMENSION_INTENSITY, 1000, 1, 0, false},
};

/* Normalised. `exact`: letter case is significant. */
static const struct spelling {
	const char *text;
	enum unit_index unit;
	bool exact;
} spellings[] = {
	{"", UNIT_NUMBER, false},
	{"1", UNIT_NUMBER, false},
	{"degC", UNIT_CELSIUS, false},
	{"Cel", UNIT_CELSIUS, false},
	{"C", UNIT_CELSIUS, false},
	{"celsius", UNIT_CELSIUS, false},
	{"degreeC", UNIT_CELSIUS, false},
	{"degreesC", UNIT_CELSIUS, false},
	{"degF", UNIT_FAHRENHEIT, false},
	{"[degF]", UNIT_FAHRENHEIT, false},
	{"F", UNIT_FAHRENHEIT, false},
	{"fahrenheit", UNIT_FAHRENHEIT, false},
	{"degreeF", UNIT_FAHRENHEIT, false},
	{"degreesF", UNIT_FAHRENHEIT, false},
	{"K", UNIT_KELVIN, true},
	{"kelvin", UNIT_KELVIN, false},
	{"L/min", UNIT_L_MIN, false},
	{"lpm", UNIT_L_MIN, false},
	{"ltr/min", UNIT_L_MIN, false},
	{"litre/min", UNIT_L_MIN, false},
	{"liter/min", UNIT_L_MIN, false},
	{"litres/min", UNIT_L_MIN, false},
	{"liters/min", UNIT_L_MIN, false},
	{"dm3/min", UNIT_L_MIN, false},
	{"L/h", UNIT_L_H, false},
	{"lph", UNIT_L_H, false},
	{"L/hr", UNIT_L_H, false},
	{"ltr/h", UNIT_L_H, false},
	{"litre/h", UNIT_L_H, false},
	{"liter/h", UNIT_L_H, false},
	{"litres/h", UNIT_L_H, false},
	{"liters/h", UNIT_L_H, false},
	{"dm3/h", UNIT_L_H, false},
	{"L/s", UNIT_L_S, false},
	{"lps", UNIT_L_S, false},
	{"ltr/s", UNIT_L_S, false},
	{"litre/s", UNIT_L_S, false},
	{"liter/s", UNIT_L_S, false},
	{"dm3/s", UNIT_L_S, false},
	{"m3/h", UNIT_M3_H, false},
	{"m3/hr", UNIT_M3_H, false},
	{"m3/min", UNIT_M3_MIN, false},
	{"m3/s", UNIT_M3_S, false},
	{"gpm(US)", UNIT_GPM, false},
	{"gpm", UNIT_GPM, false},
	{"USgpm", UNIT_GPM, false},
	{"gpmUS", UNIT_GPM, false},
	{"gal/min", UNIT_GPM, false},
	{"gal(US)/min", UNIT_GPM, false},
	{"[gal_us]/min", UNIT_GPM, false},
	{"kg/s", UNIT_KG_S, false},
	{"kg/min", UNIT_KG_MIN, false},
	{"kg/h", UNIT_KG_H, false},
	{"kg/hr", UNIT_KG_H, false},
	{"bar", UNIT_BAR, false},
	{"mbar", UNIT_MBAR, true},
	{"Pa", UNIT_PA, false},
	{"pascal", UNIT_PA, false},
	{"hPa", UNIT_HPA, false},
	{"kPa", UNIT_KPA, false},
	{"MPa", UNIT_MPA, true},
	{"psi", UNIT_PSI, false},
	{"[psi]", UNIT_PSI, false},
	{"lbf/in2", UNIT_PSI, false},
	{"W", UNIT_WATT, false},
	{"watt", UNIT_WATT, false},
	{"watts", UNIT_WATT, false},
	{"kW", UNIT_KW, false},
	{"MW", UNIT_MEGAWATT, true},
	{"mW", UNIT_MILLIWATT, true},
	{"kWh", UNIT_KWH, false},
	{"kW.h", UNIT_KWH, false},
	{"kWhr", UNIT_KWH, false},
	{"Wh", UNIT_WH, false},
	{"W.h", UNIT_WH, false},
	{"Whr", UNIT_WH, false},
	{"MWh", UNIT_MWH, true},
	{"MW.h", UNIT_MWH, true},
	{"J", UNIT_JOULE, false},
	{"joule", UNIT_JOULE, false},
	{"kJ", UNIT_KJ, false},
	{"MJ", UNIT_MEGAJOULE, true},
	{"GJ", UNIT_GJ, false},
	{"V", UNIT_VOLT, false},
	{"volt", UNIT_VOLT, false},
	{"volts", UNIT_VOLT, false},
	{"mV", UNIT_MV, true},
	{"kV", UNIT_KV, false},
	{"A", UNIT_AMPERE, true},
	{"amp", UNIT_AMPERE, false},
	{"amps", UNIT_AMPERE, false},
	{"ampere", UNIT_AMPERE, false},
	{"mA", UNIT_MA, true},
	{"Hz", UNIT_HERTZ, false},
	{"hertz", UNIT_HERTZ, false},
	{"1/s", UNIT_HERTZ, false},
	{"kHz", UNIT_KHZ, false},
	{"rpm", UNIT_RPM, false},
	{"{rev}/min", UNIT_RPM, false},
	{"r/min", UNIT_RPM, false},
	{"rev/min", UNIT_RPM, false},
	{"1/min", UNIT_RPM, false},
	{"/min", UNIT_RPM, false},
	{"min-1", UNIT_RPM, false},
	{"%", UNIT_PERCENT, false},
	{"percent", UNIT_PERCENT, false},
	{"pct", UNIT_PERCENT, false},
	{"%RH", UNIT_PERCENT, false},
	{"/", UNIT_FRACTION, false},
	{"currency/kWh", UNIT_PRICE_KWH, false},
	{"{currency}/kW.h", UNIT_PRICE_KWH, false},
	{"currency/MWh", UNIT_PRICE_MWH, true},
	{"{currency}/MW.h", UNIT_PRICE_MWH, true},
	{"ct/kWh", UNIT_CENT_KWH, false},
	{"cent/kWh", UNIT_CENT_KWH, false},
	{"cents/kWh", UNIT_CENT_KWH, false},
	{"{cent}/kW.h", UNIT_CENT_KWH, false},
	{"\xc2\xa2/kWh", UNIT_CENT_KWH, false}, /* cent sign */
	{"p/kWh", UNIT_CENT_KWH, false},        /* pence */
	{"g/kWh", UNIT_G_KWH, false},
	{"g/kW.h", UNIT_G_KWH, false},
	{"gCO2/kWh", UNIT_G_KWH, false},
	{"gCO2e/kWh", UNIT_G_KWH, false},
	{"gCO2eq/kWh", UNIT_G_KWH, false},
	{"kg/MWh", UNIT_G_KWH, true},
	{"kgCO2/MWh", UNIT_G_KWH, true},
	{"kg/kWh", UNIT_KG_KWH, false},
	{"kg/kW.h", UNIT_KG_KWH, false},
	{"kgCO2/kWh", UNIT_KG_KWH, false},
	{"t/MWh", UNIT_KG_KWH, true},
};

/* Byte sequences that mean the same. */
static const struct sign {
	const char *bytes;
	const char *text;
} signs[] = {
	{"\xe2\x84\x83", "degC"}, /* U+2103 */
	{"\xe2\x84\x89", "degF"}, /* U+2109 */
	{"\xc2\xb0", "deg"},      /* degree sign */
	{"\xc2\xba", "deg"},      /* masculine ordinal */
	{"\xc2\xb3", "3"},
	{"\xc2\xb2", "2"},
	{"\xe2\x82\x82", "2"}, /* lowered, as in CO₂ */
	{"\xc2\xa0", ""},      /* no-break space */
	{"\xb0", "deg"},       /* Latin-1 from here */
	{"\xba", "deg"},
	{"\xb3", "3"},
	{"\xb2", "2"},
	{"\xa0", ""},
	{"**3", "3"},
	{"^3", "3"},
	{"^2", "2"},
	{" ", ""},
	{"\t", ""},
};

static const struct sign *sign_at(const char *text, size_t length)
{
	for (size_t i = 0; i < ARRAY_LEN(signs); i++) {
		size_t n = strlen(signs[i].bytes);
		if (n <= length && memcmp(text, signs[i].bytes, n) == 0)
			return &signs[i];
	}
	return NULL;
}

/* False when the text is too long to be a unit or holds a NUL. */
static bool normalise(const char *text, size_t length, char out[static SPELLING_MOST])
{
	size_t used = 0;
	while (length > 0) {
		const struct sign *sign = sign_at(text, length);
		const char *piece = sign ? sign->text : text;
		size_t taken = sign ? strlen(sign->bytes) : 1;
		size_t made = sign ? strlen(sign->text) : 1;
		if (used + made >= SPELLING_MOST || *text == '\0')
			return false;
		memcpy(out + used, piece, made);
		used += made;
		text += taken;
		length -= taken;
	}
	out[used] = '\0';
	return true;
}

/* ASCII only and without locale; bytes above 127 stay. */
static char lower(char c)
{
	return c >= 'A' && c <= 'Z' ? (char)(c - 'A' + 'a') : c;
}

static bool same_but_case(const char *a, const char *b)
{
	for (; *a && lower(*a) == lower(*b); a++, b++)
		;
	return *a == *b;
}

/* "EUR/kWh", "€/MWh": a currency's code of three capital letters (ISO 4217), or a sign.
 */
static const struct unit *price_unit(const char *spelling)
{
	static const char capitals[] = "ABCDEFGHIJKLMNOPQRSTUVWXYZ";
	static const char *const currency_signs[] = {"\xe2\x82\xac", "$", "\xc2\xa3"};
	size_t length = strspn(spelling, capitals) == 3 ? 3 : 0;
	for (size_t i = 0; length == 0 && i < ARRAY_LEN(currency_signs); i++) {
		size_t n = strlen(currency_signs[i]);
		length = strncmp(spelling, currency_signs[i], n) == 0 ? n : 0;
	}
	if (length > 0 && same_but_case(spelling + length, "/kWh"))
		return &units[UNIT_PRICE_KWH];
	if (length > 0 && strcmp(spelling + length, "/MWh") == 0)
		return &units[UNIT_PRICE_MWH];
	return NULL;
}

const struct unit *unit_find(const char *text, size_t length)
{
	char spelling[SPELLING_MOST];
	if (!normalise(text, length, spelling))
		return NULL;
	for (size_t i = 0; i < ARRAY_LEN(spellings); i++) {
		const struct spelling *s = &spellings[i];
		if (s->exact ? strcmp(s->text, spelling) == 0
			     : same_but_case(s->text, spelling))
			return &units[s->unit];
	}
	return price_unit(spelling);
}

bool unit_is_own(const struct unit *unit)
{
	return unit->factor == 1.0 && unit->divisor == 1.0 && unit->offset == 0.0;
}

double unit_to_own(const struct unit *unit, double value)
{
	value *= unit->factor;
	if (unit->divisor != 1.0) /* most are 1, and a division takes long */
		value /= unit->divisor;
	return value + unit->offset;
}

/* What a dimension is kept in: unit, stored steps a unit, decimals of a step. */
static const struct {
	const struct unit *own;
	int scale;
	int decimals;
} dimensions[DIMENSION_COUNT] = {
	[DIMENSION_NUMBER] = {&units[UNIT_NUMBER], 1000, 3},
	[DIMENSION_TEMPERATURE] = {&units[UNIT_CELSIUS], 100, 2},
	[DIMENSION_TEMPERATURE_DIFFERENCE] = {&units[UNIT_KELVIN], 100, 2},
	[DIMENSION_FLOW] = {&units[UNIT_L_MIN], 100, 2},
	[DIMENSION_PRESSURE] = {&units[UNIT_BAR], 100, 2},
	[DIMENSION_POWER] = {&units[UNIT_WATT], 1, 0},
	[DIMENSION_ENERGY] = {&units[UNIT_KWH], 1000, 3},
	[DIMENSION_VOLTAGE] = {&units[UNIT_VOLT], 10, 1},
	[DIMENSION_CURRENT] = {&units[UNIT_AMPERE], 1000, 3},
	[DIMENSION_FREQUENCY] = {&units[UNIT_HERTZ], 10, 1},
	[DIMENSION_RATIO] = {&units[UNIT_PERCENT], 10, 1},
	[DIMENSION_STATE] = {&units[UNIT_STATE], 1, 0},
	[DIMENSION_PRICE] = {&units[UNIT_PRICE_KWH], 1000000, 6},
	[DIMENSION_INTENSITY] = {&units[UNIT_G_KWH], 10, 1},
};

const struct unit *unit_own(enum dimension dimension)
{
	assert(dimension < DIMENSION_COUNT);
	return dimensions[dimension].own;
}

int unit_scale(enum dimension dimension)
{
	assert(dimension < DIMENSION_COUNT);
	return dimensions[dimension].scale;
}

int unit_decimals(enum dimension dimension)
{
	assert(dimension < DIMENSION_COUNT);
	return dimensions[dimension].decimals;
}
