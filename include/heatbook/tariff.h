/*
 * What electricity costs and emits, and what another source of heat would: the sections
 * [site], [tariff], [carbon] and [other_heat] of the configuration.
 *
 * All of it is dated by whole local days: of each kind (of [other_heat]: of each source)
 * at most one section is in force on a day, and where none is nothing is known. Money is
 * in one currency, which is a text for display and never converted. Nothing of it decides
 * a row: figures of cost are worked out of rows.
 */
#ifndef HEATBOOK_TARIFF_H
#define HEATBOOK_TARIFF_H

#include <heatbook/base.h>

/* [from, to) by local midnights; without either it holds on that side for ever. */
struct dated {
	int64_t from_ms, to_ms;
};

/* Part of a week with a price of its own, by the clock on the wall: an hour that a day
 * lacks has none of it, one that it has twice counts twice. */
struct tariff_window {
	char *name;
	unsigned days; /* bit 0 = Monday: on which it begins */
	int from_min;  /* of the day, 0 to 1439 */
	int to_min;    /* 1 to 1440, not included; at or before from_min: of the next day
			*/
	double price;  /* a kWh */
	int line;
};

#define WEEK_MIN            10080
#define TARIFF_WINDOWS_MOST 48

struct tariff_config {
	char *name;
	struct dated dated;
	double price;      /* a kWh, beside windows; NaN without */
	int price_channel; /* in place of both; -1 without */
	struct tariff_window *windows;
	size_t window_count;
	/* By minute of the week, Monday 00:00 first: 1 + the window's index, 0 = none. */
	unsigned char *week;
	double feed_in; /* what a kWh earns that is fed into the grid; NaN = not said */
	double standing_day;  /* a day, whatever is drawn */
	double standing_year; /* a calendar year, shared by its days alike */
	int line;
};

struct carbon_config {
	char *name;
	struct dated dated;
	double intensity_g; /* a kWh from the grid; NaN where a channel tells it */
	int intensity_channel;
	double own_g; /* a kWh of own generation */
	int line;
};

#define OTHERS_MOST 8 /* sources */

struct other_heat_config {
	char *name;
	char *source; /* a name; sections of one follow each other in time */
	struct dated dated;
	double price;              /* a kWh of fuel */
	double efficiency_percent; /* heat delivered from it */
	double intensity_g;        /* a kWh of fuel; NaN = not said */
	int line;
};

/* Where the house meets the grid. Channels of power, -1 without. */
struct site_config {
	char *currency;
	int import_channel; /* below 0 it exports, where no other channel tells that */
	int export_channel;
	int generation_channel;
	int line; /* 0: there is no such section */
};

struct cost_config {
	struct site_config site;
	struct tariff_config *tariffs; /* by beginning */
	size_t tariff_count;
	struct carbon_config *carbons; /* by beginning */
	size_t carbon_count;
	struct other_heat_config *others; /* by source and beginning */
	size_t other_count;
};

struct config;
/* Those in force at an instant, or NULL. */
const struct tariff_config *tariff_at(const struct config *config, int64_t t_ms);
const struct carbon_config *carbon_at(const struct config *config, int64_t t_ms);
/* The fixed price in a minute of the week; NaN where there is none. */
double tariff_price(const struct tariff_config *tariff, int week_min);
/* Of the sources, each named once, those that differ from the one before in the list. */
bool other_heat_begins(const struct cost_config *cost, size_t i);
/* The section of the source of `others[i]` that is in force at an instant, or NULL. */
const struct other_heat_config *other_heat_at(
	const struct cost_config *cost, size_t i, int64_t t_ms);
/* Is own generation told apart? */
bool site_splits(const struct site_config *site);

void cost_config_free(struct cost_config *cost);

#endif
