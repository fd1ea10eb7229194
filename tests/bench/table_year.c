/*
 * A year of a house's readings as a wide CSV table: a row each 10 s, eight channels, as a
 * logger of a gateway's values writes it. Numbers wander like those of a plant (a daily
 * wave, cycles, noise); they are invented and prove nothing.
 *
 * With "register" a ninth column counts the unit's energy, kWh in hundredths.
 *
 * Usage: table_year DAYS [register] > FILE
 */
#include <math.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>

#define BEGIN_S INT64_C(1735689600) /* 2025-01-01T00:00:00Z */
#define DAY_S   86400
#define STEP_S  10
#define CYCLE_S 2700
#define DECIMAL 10

static uint64_t state = 1;
static int has_register;
static double kwh = 5000.0;

/* Evenly from -1 to 1; Knuth's generator (MMIX; from memory). */
static double noise(void)
{
	state = state * UINT64_C(6364136223846793005) + UINT64_C(1442695040888963407);
	return (double)(state >> 11) / (double)(UINT64_C(1) << 52) - 1.0;
}

static void write_row(int64_t t_s)
{
	double day = 2.0 * M_PI * (double)(t_s % DAY_S) / DAY_S;
	double year = 2.0 * M_PI * (double)(t_s - BEGIN_S) / (365.25 * DAY_S);
	double outdoor = 9.0 - 9.0 * cos(year) - 4.0 * cos(day) + 0.3 * noise();
	int runs = outdoor < 16.0 && t_s % CYCLE_S < CYCLE_S * 2 / 3;
	double target = 45.0 - 0.7 * outdoor;
	double flow = runs ? target + noise() : target - 6.0 + noise();
	double back = flow - (runs ? 5.0 + 0.2 * noise() : 0.1);
	double lpm = runs ? 17.5 + 0.4 * noise() : 0.0;
	double power = runs ? 1900.0 - 35.0 * outdoor + 60.0 * noise() : 12.0 + noise();
	double hertz = runs ? 52.0 - outdoor + noise() : 0.0;
	(void)printf("%lld,%.2f,%.2f,%.2f,%.2f,%.1f,%.1f,%.2f,%.2f", (long long)t_s,
		outdoor, flow, back, lpm, power, hertz, 20.5 + 0.5 * noise(),
		1.6 + 0.05 * noise());
	kwh += power * STEP_S / 3.6e6;
	if (has_register)
		(void)printf(",%.2f", floor(kwh * 100.0) / 100.0);
	(void)putchar('\n');
}

int main(int argc, char **argv)
{
	long days = argc > 1 ? strtol(argv[1], NULL, DECIMAL) : 0;
	if (days < 1) {
		(void)fputs("usage: table_year DAYS [register] > FILE\n", stderr);
		return 2;
	}
	has_register = argc > 2;
	(void)fputs("epoch,outdoor_temperature,flow_temperature,return_temperature,"
		    "flow_rate,unit_power,compressor_frequency,room_temperature,"
		    "water_pressure",
		stdout);
	(void)puts(has_register ? ",unit_register" : "");
	for (int64_t t_s = BEGIN_S; t_s < BEGIN_S + days * DAY_S; t_s += STEP_S)
		write_row(t_s);
	return fflush(stdout) == 0 ? 0 : 1;
}
