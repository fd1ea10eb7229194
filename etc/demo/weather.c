/*
 * Weather at nodes ten minutes apart, straight lines between them.
 *
 * Outdoor temperature: a yearly wave, a first-order autoregressive deviation (3.4 K, 65
 * h) and a daily wave of 2.2 K in winter to 4.2 K in summer with its peak at 15 h.
 * Humidity falls when the day warms and has a deviation of its own. Sun: solar elevation
 * at 51 degrees north times the day's clearness. Nature keeps no daylight-saving time:
 * hours are those of UTC + 1.
 *
 * All parameters are invented; the elevation is the textbook formula with the declination
 * as a plain cosine of the date.
 */
#include "weather.h"

#include "streams.h"

#define NODE_S         600
#define YEAR_D         365.2425
#define SOLAR_AHEAD_S  3600
#define FIRST_JANUARY  INT64_C(1704063600) /* 1 January 2024, 0 h of UTC + 1 */
#define OUTDOOR_K      3.4
#define OUTDOOR_TAU_H  65.0
#define HUMIDITY_PCT   9.0
#define HUMIDITY_TAU_H 20.0
#define SUN_MOST_KW    1.2
#define LATITUDE       (51.0 * M_PI / 180.0)

/* Clearness 0.1..1, drawn for each noon, straight lines between. */
static double clearness(uint64_t seed, double day)
{
	double noon = floor(day - 0.5);
	double part = day - 0.5 - noon;
	double a = stream_even(seed, STREAM_CLOUDS, (int64_t)noon);
	double b = stream_even(seed, STREAM_CLOUDS, (int64_t)noon + 1);
	return 0.1 + 0.9 * (a + part * (b - a));
}

static double sun_kw(uint64_t seed, double day, double hour, double season)
{
	double declination = -0.409 * season;
	double sine = sin(LATITUDE) * sin(declination) +
		      cos(LATITUDE) * cos(declination) * cos((hour - 12.0) * M_PI / 12.0);
	if (sine <= 0.0)
		return 0.0;
	/* Upright windows flatten the seasons: the root of the sine stands for that. */
	return SUN_MOST_KW * clearness(seed, day) * sqrt(sine);
}

static struct air air_at_node(
	const struct weather *w, int64_t node, double slow_k, double slow_rh)
{
	double day = (double)(node * NODE_S - FIRST_JANUARY) / 86400.0;
	double hour = fmod((double)(node * NODE_S + SOLAR_AHEAD_S) / 3600.0, 24.0);
	double season = cos(2.0 * M_PI * (day - 18.0) / YEAR_D); /* 1 in mid-January */
	double wave = (3.2 - season) * cos(2.0 * M_PI * (hour - 15.0) / 24.0);
	double humidity = 79.0 + 6.0 * season - 2.6 * wave + slow_rh;
	return (struct air){
		.outdoor_c = 9.4 - 8.6 * season + slow_k + wave,
		.humidity_pct = fmin(99.0, fmax(55.0, humidity)),
		.sun_kw = sun_kw(w->seed, day, hour, season),
	};
}

/* One step of a stationary first-order deviation. */
static double deviate(const struct weather *w, enum stream stream, double old,
	double sigma, double tau_h)
{
	double keep = exp(-NODE_S / (tau_h * 3600.0));
	return keep * old + sigma * sqrt(1.0 - keep * keep) *
				    stream_normal(w->seed, stream, w->node + 1);
}

static void next_node(struct weather *w)
{
	w->node++;
	w->before = w->after;
	w->slow_k = deviate(w, STREAM_OUTDOOR, w->slow_k, OUTDOOR_K, OUTDOOR_TAU_H);
	w->slow_rh =
		deviate(w, STREAM_HUMIDITY, w->slow_rh, HUMIDITY_PCT, HUMIDITY_TAU_H);
	w->after = air_at_node(w, w->node + 1, w->slow_k, w->slow_rh);
}

void weather_init(struct weather *weather, uint64_t seed, int64_t t_s)
{
	*weather = (struct weather){.seed = seed, .node = t_s / NODE_S - 1};
	weather->slow_k = OUTDOOR_K * stream_normal(seed, STREAM_OUTDOOR, weather->node);
	weather->after = air_at_node(weather, weather->node + 1, weather->slow_k, 0.0);
	next_node(weather);
}

struct air weather_at(struct weather *weather, int64_t t_s)
{
	while (t_s >= (weather->node + 1) * NODE_S)
		next_node(weather);
	const struct air *a = &weather->before, *b = &weather->after;
	double part = (double)(t_s - weather->node * NODE_S) / NODE_S;
	return (struct air){
		.outdoor_c = a->outdoor_c + part * (b->outdoor_c - a->outdoor_c),
		.humidity_pct =
			a->humidity_pct + part * (b->humidity_pct - a->humidity_pct),
		.sun_kw = a->sun_kw + part * (b->sun_kw - a->sun_kw),
	};
}
