/*
 * The option table: the kinds of section, in the order of the printed reference, and an
 * option by its section and key. See options.h; the rows are in the tables that
 * option_rows.h lists.
 */
#include "option_rows.h"

#include <string.h>

static const struct section_declaration sections[SECTION_COUNT] = {
	[SECTION_PLANT] = {"plant", NULL,
		"The heat pump, its water circuit and where it stands.", plant_options},
	[SECTION_BROKER] = {"broker", NULL,
		"The message broker. Without a host nothing is subscribed and imported "
		"data is "
		"served.",
		broker_options},
	[SECTION_CHANNEL] = {"channel", "flow_temperature",
		"One quantity or state that is kept, and where in the messages it is "
		"found. A "
		"channel that bears a role's name has that role.",
		channel_options},
	[SECTION_SOURCE] = {"source", "gateway",
		"A device that publishes: when it falls silent, its channels become "
		"unknown. "
		"Topics that no section names belong to a source named by their first "
		"level.",
		source_options},
	[SECTION_METER] = {"meter", "unit", "An electricity meter and what it feeds.",
		meter_options},
	[SECTION_DECLARED] = {"declared", "a7_w35",
		"A point at which the unit's maker declares its efficiency, as of EN "
		"14511: the owner's copy of the data sheet, held against steady running "
		"by /v1/declared. A section a point; more of them let it look between.",
		declared_options},
	[SECTION_CORRECTION] = {"correction", "strap_on_sensor",
		"What a channel said for some time is believed otherwise: value × factor "
		"+ "
		"offset. Days that were made without it are made anew by rebuild.",
		correction_options},
	[SECTION_CHANGE] = {"change", "flatter_curve",
		"Something that was changed at the plant or the house, and when: days "
		"before and after are compared, and /v1/changes says whether it helped. "
		"Sums are not touched by it.",
		change_options},
	[SECTION_SITE] = {"site", NULL,
		"Where the house meets the grid: what is bought, and what of its own "
		"generation is used. Powers are means of minutes.",
		site_options},
	[SECTION_TARIFF] = {"tariff", "basic",
		"What electricity costs, from one local day to another. Of several "
		"tariffs one follows the other.",
		tariff_options},
	[SECTION_CARBON] = {"carbon", "grid",
		"What a kWh of electricity emits, from one local day to another.",
		carbon_options},
	[SECTION_OTHER_HEAT] = {"other_heat", "oil_boiler",
		"Another source of heat, which the cost of the same heat is compared "
		"with.",
		other_heat_options},
	[SECTION_NOTICE] = {"notice", "low_pressure",
		"Something that you want to be told of when it has been so for a while. "
		"It is listed at /v1/notices and published, once when it is raised and "
		"once when it has ended. Minutes of which nothing is known change "
		"nothing.",
		notice_options},
	[SECTION_MODES] = {"modes", NULL,
		"Thresholds of the rules that tell modes where no channel tells them.",
		modes_options},
	[SECTION_PAYLOAD] = {"payload", NULL,
		"What payloads of every channel have in common.", payload_options},
	[SECTION_TABLE] = {"table", "year",
		"A form of CSV table that import reads, and which of its columns feed "
		"which channels. Lines end in LF or CR LF, quotes as in RFC 4180. A "
		"table is its own source.",
		table_options},
	[SECTION_JOURNAL] = {"journal", NULL, "The raw record of every message.",
		journal_options},
	[SECTION_STORE] = {"store", NULL, "The database.", store_options},
	[SECTION_HTTP] = {"http", NULL, "The HTTP face.", http_options},
	[SECTION_PUBLISH] = {"publish", NULL,
		"What heatbook says to the broker itself, under a prefix of its own and "
		"nowhere else. Without a prefix it publishes nothing.",
		publish_options},
};

const struct section_declaration *section_declaration(enum section_kind kind)
{
	return &sections[kind];
}

const struct option *option_next(const struct option *option)
{
	if (!option)
		return sections[0].options;
	if (option[1].key)
		return option + 1;
	int next = (int)option->section + 1;
	return next < SECTION_COUNT ? sections[next].options : NULL;
}

const struct option *option_find(enum section_kind section, const char *key)
{
	for (const struct option *o = sections[section].options; o->key; o++) {
		size_t before = strcspn(o->key, ".") + 1; /* of a NAME */
		bool pattern = o->type == OPTION_COLUMN || o->type == OPTION_WINDOW;
		if (pattern ? strncmp(o->key, key, before) == 0
			    : strcmp(o->key, key) == 0)
			return o;
	}
	return NULL;
}
