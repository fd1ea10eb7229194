/*
 * The rows of the option table, a table a section; sections.c lists them. See options.h.
 *
 * Order is the order of the printed reference. Ranges are in the own unit of the
 * dimension, milliseconds or bytes. A default is a text that goes through the same reader
 * as the owner's lines, so that what is printed is what happens.
 */
#ifndef HEATBOOK_OPTION_ROWS_H
#define HEATBOOK_OPTION_ROWS_H

#include <heatbook/config.h>
#include <heatbook/notice.h>
#include <heatbook/options.h>
#include <heatbook/tariff.h>

#define AT(section, field) .offset = (int)offsetof(struct section##_config, field)
#define NOWHERE            .offset = (-1)
#define RANGE(low, high)   .least = (low), .most = (high)
#define HOUR               3600e3
#define DAY                86400e3

#define OPTIONS_END                                                                      \
	{                                                                                \
		.key = NULL                                                              \
	}

/* Each ends with OPTIONS_END. */
extern const struct option plant_options[];
extern const struct option broker_options[];
extern const struct option channel_options[];
extern const struct option source_options[];
extern const struct option meter_options[];
extern const struct option declared_options[];
extern const struct option correction_options[];
extern const struct option change_options[];
extern const struct option site_options[];
extern const struct option tariff_options[];
extern const struct option carbon_options[];
extern const struct option other_heat_options[];
extern const struct option notice_options[];
extern const struct option modes_options[];
extern const struct option payload_options[];
extern const struct option table_options[];
extern const struct option journal_options[];
extern const struct option store_options[];
extern const struct option http_options[];
extern const struct option publish_options[];

#endif
