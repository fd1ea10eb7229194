/*
 * The [correction] sections: what one channel said for some time is to be believed
 * otherwise.
 *
 * Spans of one channel must not overlap: two that do would add up to a third that nobody
 * wrote down. A register is not corrected, since a step in what counts on would pass for
 * energy. Corrections are kept by channel and beginning, whatever their order in the
 * file.
 *
 * Dates are local days, so that the zone must be in force before they are read.
 */
#include "config_load.h"

#include <heatbook/calendar.h>
#include <heatbook/correction.h>

#include <math.h>
#include <string.h>

/* The channel's index, or -1 with the fault told. */
static int find_channel(struct loader *l, const struct section *section)
{
	const struct config *config = l->config;
	const struct entry *e = section_entry(section, "channel");
	if (!e) {
		remark(&l->faults, section->line,
			"[correction %s] needs a channel: the one that it corrects",
			section->name);
		return -1;
	}
	int channel = config_channel(config, e->value);
	if (channel < 0)
		entry_fault(l, section, e, "there is no [channel %s]", e->value);
	else if (config->channels[channel].map_count)
		entry_fault(l, section, e,
			"the channel holds states; a correction is of numbers, correct "
			"the channel's map instead");
	else if (config_is_register(config, (size_t)channel))
		entry_fault(l, section, e,
			"the channel is a register, which counts on: a correction would "
			"be a step in it; give the channel a scale instead");
	else
		return channel;
	return -1;
}

static void read_offset(
	struct loader *l, const struct section *section, struct correction_config *c)
{
	const struct entry *e = section_entry(section, "offset");
	char why[WHY_SIZE];
	if (!e || !*e->value || c->channel < 0)
		return;
	const struct channel_config *channel = &l->config->channels[c->channel];
	if (!value_difference(
		    e->value, channel->dimension, channel->unit, &c->offset, why))
		entry_fault(l, section, e, "%s", why);
	else if (c->offset > VALUE_MOST || c->offset < -VALUE_MOST)
		entry_fault(l, section, e, "must be within ±%g", VALUE_MOST);
}

bool load_edge(
	struct loader *l, const struct section *section, const char *key, int64_t *ret_ms)
{
	const struct entry *e = section_entry(section, key);
	const char *why = "";
	if (!e || !*e->value)
		return true;
	if (time_parse_day(e->value, 0, ret_ms) == 0 ||
		time_parse_rfc3339(e->value, ret_ms, &why) == 0)
		return true;
	entry_fault(l, section, e,
		"must be a local date such as 2026-01-31, or a time with its offset "
		"such as 2026-01-31T14:30:00+01:00 (RFC 3339)");
	return false;
}

static void read_span(
	struct loader *l, const struct section *section, struct correction_config *c)
{
	if (!section_entry(section, "from")) {
		remark(&l->faults, section->line,
			"[correction %s] needs from: the day from which it holds; what "
			"was never right is the scale and offset of [channel]",
			section->name);
		return;
	}
	bool read = load_edge(l, section, "from", &c->from_ms);
	if (load_edge(l, section, "to", &c->to_ms) && read && c->from_ms >= c->to_ms)
		remark(&l->faults, section->line,
			"[correction %s]: from must lie before to, which is not part of "
			"it",
			section->name);
}

static void load_correction(
	struct loader *l, const struct section *section, struct correction_config *c)
{
	*c = (struct correction_config){.name = xstrdup(section->name),
		.to_ms = INT64_MAX,
		.line = section->line};
	load_fields(l, SECTION_CORRECTION, section, c);
	c->channel = find_channel(l, section);
	read_offset(l, section, c);
	read_span(l, section, c);
	const struct entry *e = section_entry(section, "factor");
	if (e && *e->value && c->factor == 0.0)
		entry_fault(l, section, e,
			"makes all of it 0; must not be 0: leave the channel out "
			"instead");
	if (!e && !section_entry(section, "offset"))
		remark(&l->faults, section->line,
			"[correction %s] changes nothing; give it an offset or a factor",
			section->name);
}

static bool stands_before(
	const struct correction_config *a, const struct correction_config *b)
{
	if (a->channel != b->channel)
		return a->channel < b->channel;
	return a->from_ms < b->from_ms;
}

static void sort(struct correction_config *items, size_t count)
{
	for (size_t i = 1; i < count; i++)
		for (size_t k = i; k > 0 && stands_before(&items[k], &items[k - 1]);
			k--) {
			struct correction_config c = items[k];
			items[k] = items[k - 1];
			items[k - 1] = c;
		}
}

static void refuse_overlaps(struct loader *l)
{
	const struct config *config = l->config;
	for (size_t i = 1; i < config->correction_count; i++) {
		const struct correction_config *a = &config->corrections[i - 1];
		const struct correction_config *b = &config->corrections[i];
		if (a->channel < 0 || a->channel != b->channel || b->from_ms >= a->to_ms)
			continue;
		bool later = b->line > a->line;
		remark(&l->faults, later ? b->line : a->line,
			"[correction %s] and [correction %s] (line %d) correct channel "
			"%s "
			"at the same time; let one end where the other begins",
			later ? b->name : a->name, later ? a->name : b->name,
			later ? a->line : b->line, config->channels[a->channel].name);
	}
}

void load_corrections(struct loader *l)
{
	struct config *c = l->config;
	const struct section *s = NULL;
	while ((s = document_next(&l->document, SECTION_CORRECTION, s))) {
		c->corrections = xrealloc(
			c->corrections, c->correction_count + 1, sizeof(*c->corrections));
		load_correction(l, s, &c->corrections[c->correction_count++]);
	}
	sort(c->corrections, c->correction_count);
	refuse_overlaps(l);
}

void correction_describe(const struct config *config, const struct correction_config *c,
	struct buffer *out, const char *between)
{
	const struct channel_config *channel = &config->channels[c->channel];
	bool warmth = channel->dimension == DIMENSION_TEMPERATURE;
	char from[32], to[32];
	time_text_local(c->from_ms, from);
	time_text_local(c->to_ms, to);
	buffer_addf(out, "%s: %s", c->name, channel->name);
	if (c->factor != 1.0)
		buffer_addf(out, " × %g", c->factor);
	if (c->offset != 0.0)
		buffer_addf(out, " %s %g %s", c->offset < 0 ? "-" : "+", fabs(c->offset),
			warmth ? "K" : unit_own(channel->dimension)->symbol);
	buffer_addf(out, "%sfrom %s%s%s", between, from,
		c->to_ms == INT64_MAX ? "" : " to ", c->to_ms == INT64_MAX ? "" : to);
}
