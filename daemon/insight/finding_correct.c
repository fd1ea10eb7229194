/*
 * The section of the configuration that a finding proposes. It is found in rows, and rows
 * may be corrected already: of one channel one correction is in force at a time, so that
 * what is left is proposed as a sum with that one, and said is which section is to end.
 * Where no section would do (rows that wait for a rebuild, a correction that covers some
 * of the days only), there is none, and said is why.
 */
#include "finding.h"

#include <heatbook/correction.h>

#include <math.h>
#include <string.h>

struct proposal {
	const struct finding_input *in;
	int channel;
	double factor, offset;
	int64_t from_ms, to_ms;
	char from[16], to[16];
	const struct correction_config *before; /* the first that touches the span */
	size_t touching;
};

static void look_for_others(struct proposal *p)
{
	const struct config *config = p->in->config;
	for (size_t i = 0; i < config->correction_count; i++) {
		const struct correction_config *c = &config->corrections[i];
		if (c->channel != p->channel ||
			!correction_touches(c, p->from_ms, p->to_ms))
			continue;
		p->before = p->before ? p->before : c;
		p->touching++;
	}
}

double finding_offset_before(const struct finding_input *in, int channel, struct run run)
{
	struct proposal p = {.in = in,
		.channel = channel,
		.from_ms = in->days[run.first].start_min * MS_PER_MIN,
		.to_ms = in->days[run.last].end_min * MS_PER_MIN};
	look_for_others(&p);
	return p.before ? p.before->offset : 0.0;
}

static bool replaces(const struct proposal *p)
{
	return p->before && p->before->from_ms == p->from_ms &&
	       p->before->to_ms == p->to_ms;
}

/* Is the name one that stays? */
static bool is_taken(const struct proposal *p, const char *name)
{
	const struct config *config = p->in->config;
	for (size_t i = 0; i < config->correction_count; i++)
		if (strcmp(config->corrections[i].name, name) == 0 &&
			!(replaces(p) && p->before == &config->corrections[i]))
			return true;
	return false;
}

static bool is_none(const struct proposal *p)
{
	return p->factor == 1.0 && fabs(p->offset) < 0.005;
}

static char *section_of(const struct proposal *p, const struct finding *finding)
{
	const struct channel_config *channel = &p->in->config->channels[p->channel];
	bool warmth = channel->dimension == DIMENSION_TEMPERATURE;
	struct buffer text = {0};
	char name[64];
	int length = snprintf(
		name, sizeof(name), "%s_%s", finding_name(finding->kind), p->from);
	for (char *c = name; *c; c++)
		*c = *c == '-' ? '_' : *c;
	if (is_taken(p, name))
		(void)snprintf(name + length, sizeof(name) - (size_t)length, "_sum");
	buffer_addf(&text, "[correction %s]\nchannel = %s\n", name, channel->name);
	if (p->factor != 1.0)
		buffer_addf(&text, "factor = %g\n", p->factor);
	if (fabs(p->offset) >= 0.005)
		buffer_addf(&text, "offset = %+.2f %s\n", p->offset,
			warmth ? "K" : unit_own(channel->dimension)->symbol);
	buffer_addf(&text, "from = %s\n", p->from);
	if (p->to_ms != INT64_MAX)
		buffer_addf(&text, "to = %s\n", p->to);
	char *section = xstrdup(buffer_text(&text));
	buffer_release(&text);
	return section;
}

/* Of a fault that is older than what was looked at. */
static char *advise_older(char *advice, const struct finding *finding, const char *from)
{
	if (!finding->began_before)
		return advice;
	char *longer = xasprintf("%s (it was so already on %s, the first day that was "
				 "looked at: let from be the day on which it began, if "
				 "you know it)",
		advice, from);
	free(advice);
	return longer;
}

/* What makes room for a section that holds the sum with the correction before. */
static char *room_for(const struct proposal *p)
{
	const char *name = p->before->name;
	bool begins = p->before->from_ms < p->from_ms;
	bool goes_on = p->before->to_ms > p->to_ms;
	if (begins && goes_on)
		return xasprintf("end [correction %s] with to = %s and copy it to a "
				 "section that begins with from = %s",
			name, p->from, p->to);
	if (goes_on)
		return xasprintf("let [correction %s] begin with from = %s", name, p->to);
	if (begins)
		return xasprintf("end [correction %s] with to = %s", name, p->from);
	return xasprintf("take [correction %s] out", name);
}

static char *advise_sum(const struct proposal *p)
{
	_cleanup_(freep) char *room = room_for(p);
	if (is_none(p))
		return xasprintf("%s, as nothing is to be corrected in these days, and "
				 "rebuild them",
			room);
	return xasprintf("%s, paste this section, which holds the sum of both, and "
			 "rebuild these days",
		room);
}

char *finding_propose(const struct finding_input *in, struct finding *finding,
	int channel, struct run run, double factor, double offset)
{
	struct proposal p = {.in = in,
		.channel = channel,
		.factor = factor,
		.offset = offset,
		.from_ms = in->days[run.first].start_min * MS_PER_MIN,
		.to_ms = in->days[run.last].end_min * MS_PER_MIN};
	(void)finding_date(in->days[run.first].start_min, p.from);
	(void)finding_date(in->days[run.last].end_min, p.to);
	if (finding->lasts)
		p.to_ms = INT64_MAX;
	look_for_others(&p);
	if (!p.before) {
		finding->correction = section_of(&p, finding);
		return advise_older(xstrdup("paste this section and rebuild these days"),
			finding, p.from);
	}
	if (in->older.count > in->older.sealed)
		return xasprintf("rebuild these days and ask again: [correction %s] is "
				 "of them, and an earlier configuration made some rows",
			p.before->name);
	if (in->older.count > 0)
		return xasprintf("see which of these days are sealed: rows of some were "
				 "made before [correction %s] and stay as they are",
			p.before->name);
	if (p.touching > 1 || p.before->from_ms > p.from_ms || p.before->to_ms < p.to_ms)
		return xasprintf("put [correction %s] right by hand and rebuild: it is "
				 "of some of these days only, and what was found is "
				 "what it and others left",
			p.before->name);
	p.factor *= p.before->factor;
	p.offset += p.before->offset * factor;
	if (!is_none(&p))
		finding->correction = section_of(&p, finding);
	return advise_older(advise_sum(&p), finding, p.from);
}
