/*
 * What an answer says of a heater in line that warms the water while the compressor
 * rests.
 *
 * Reference: estimate.h; figures by hand.
 */
#include "configured.h"

#include <heatbook/estimate.h>

#include <math.h>

enum { UNIT, HEATER };

static const char plant[] =
	"[plant]\ndevices = compressor, backup_heater\n"
	"[channel unit_power]\ntopic = a/1\nunit = W\n"
	"[channel heater_power]\ntopic = a/2\nunit = W\n"
	"[meter unit]\nfeeds = compressor\npower = unit_power\n"
	"[meter heater]\nfeeds = backup_heater\npower = heater_power\n";

TEST(a_heater_alone_is_beside_the_modes)
{
	static const struct {
		const char *boundary;
		enum mode mode;
		double alone_kwh, spread_kwh;
		bool told;
	} rows[] = {
		{"H3", MODE_STANDBY, 3.0, 0.0, true},
		{"H3", MODE_OVERRUN, 1.0, 0.0, true},
		{"H3", MODE_FREEZE_PROTECTION, 1.0, 0.0, true},
		{"H3", MODE_STANDBY, 0.99, 0.0, false}, /* of 100 kWh */
		{"H3", MODE_STANDBY, 3.0, 2.5, false},
		{"H3", MODE_DEFROST, 3.0, 0.0, false}, /* beside the compressor */
		{"H2", MODE_STANDBY, 3.0, 0.0, false}, /* its heat is taken off */
	};
	_cleanup_(config_freep) struct config *config = configured(plant);
	for (size_t i = 0; i < ARRAY_LEN(rows); i++) {
		struct energy_bucket b = {0};
		struct boundary boundary;
		struct estimate e;
		char why[256];
		ck_assert_int_eq(
			boundary_find(config, rows[i].boundary, &boundary, why), 0);
		b.modes[MODE_HEATING].meter_j[UNIT] = 70 * (int64_t)J_PER_KWH;
		b.modes[MODE_HOT_WATER].meter_j[UNIT] = 20 * (int64_t)J_PER_KWH;
		b.modes[MODE_HOT_WATER].meter_j[HEATER] = 10 * (int64_t)J_PER_KWH;
		b.modes[rows[i].mode].meter_j[HEATER] =
			llround(rows[i].alone_kwh * J_PER_KWH);
		b.modes[rows[i].mode].meter_spread_j[HEATER] =
			llround(rows[i].spread_kwh * J_PER_KWH);
		bool told = estimate_apart(config, &boundary, &b, &e);
		ck_assert_msg(told == rows[i].told, "row %zu", i);
		if (!told)
			continue;
		_cleanup_(freep) char *words = xasprintf(
			"%.1f kWh while the compressor rested, with", rows[i].alone_kwh);
		ck_assert_int_eq(e.meter, HEATER);
		ck_assert_ptr_nonnull(strstr(e.why, words));
		ck_assert_uint_lt(strlen(e.why), sizeof(e.why) - 1);
	}
}
END

TESTS(a_heater_alone_is_beside_the_modes)
