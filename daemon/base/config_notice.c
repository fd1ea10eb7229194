/*
 * The [notice] sections: what the owner wants to be told of, from which level on and for
 * how long.
 *
 * One table says what may be watched. A threshold is in the unit of what is watched; the
 * level that ends a notice lies on the other side of it, or is the same, since otherwise
 * it would be raised and cleared at once. What is found begins and ends with whole days
 * by rules of its own, so that a notice of it has neither levels nor a while.
 */
#include "config_load.h"

#include <heatbook/finding_kind.h>
#include <heatbook/notice.h>

#include <string.h>

#define PART_LEAST 4   /* letters of a name's part that make another one near */
#define TEXT_MOST  160 /* bytes: all of them must fit into one message */

enum takes {
	TAKES_CHANNEL,
	TAKES_STATE,
	TAKES_ANY_CHANNEL,
	TAKES_METER,
	TAKES_KIND,
	TAKES_NOTHING
};

/* What is watched: its words, what they are followed by, and the dimension of its
 * threshold where it has one that is not the channel's. */
static const struct {
	const char *words;
	enum takes takes;
	bool compares;
	enum dimension dimension;
} watches[NOTICE_WATCHES] = {
	[NOTICE_VALUE] = {"value", TAKES_CHANNEL, true, DIMENSION_NUMBER},
	[NOTICE_STATE] = {"state", TAKES_STATE, false, DIMENSION_STATE},
	[NOTICE_MISSING] = {"missing", TAKES_ANY_CHANNEL, false, DIMENSION_STATE},
	[NOTICE_POWER] = {"power", TAKES_METER, true, DIMENSION_POWER},
	[NOTICE_DAY_HEAT] = {"day heat", TAKES_NOTHING, true, DIMENSION_ENERGY},
	[NOTICE_DAY_ELECTRICITY] = {"day electricity", TAKES_NOTHING, true,
		DIMENSION_ENERGY},
	[NOTICE_DAY_EFFICIENCY] = {"day efficiency", TAKES_NOTHING, true,
		DIMENSION_NUMBER},
	[NOTICE_DAY_KNOWN] = {"day known", TAKES_NOTHING, true, DIMENSION_RATIO},
	[NOTICE_FINDING] = {"finding", TAKES_KIND, false, DIMENSION_STATE},
};
#define WATCHES                                                                          \
	"value CHANNEL, state CHANNEL:STATE, missing CHANNEL, power METER, day heat, "   \
	"day electricity, day efficiency, day known, finding KIND or finding any"

/* A section on its way into its struct. */
struct one {
	struct loader *l;
	const struct section *s;
	struct notice_config *n;
	bool faulty;
};

static bool find_channel(struct one *o, const struct entry *e, const char *name)
{
	o->n->subject = config_channel(o->l->config, name);
	if (o->n->subject < 0)
		entry_fault(o->l, o->s, e, "there is no [channel %s]", name);
	return o->n->subject >= 0;
}

static bool find_value(struct one *o, const struct entry *e, const char *name)
{
	const struct config *config = o->l->config;
	if (!find_channel(o, e, name))
		return false;
	const struct channel_config *channel = &config->channels[o->n->subject];
	if (channel->map_count)
		entry_fault(o->l, o->s, e,
			"the channel holds states; watch one of them: state %s:%s", name,
			channel->states[0]);
	else if (config_is_register(config, (size_t)o->n->subject))
		entry_fault(o->l, o->s, e,
			"the channel is a register, which counts on; watch a power, or "
			"day electricity");
	else
		return true;
	return false;
}

static bool find_state(struct one *o, const struct entry *e, const char *rest)
{
	const char *colon = strchr(rest, ':');
	if (!colon) {
		entry_fault(o->l, o->s, e,
			"'%s' must be CHANNEL:STATE, such as operating_mode:hot_water",
			rest);
		return false;
	}
	_cleanup_(freep) char *name = xstrndup(rest, (size_t)(colon - rest));
	if (!find_channel(o, e, name))
		return false;
	const struct channel_config *channel = &o->l->config->channels[o->n->subject];
	for (size_t i = 0; i < channel->state_count; i++)
		if (strcmp(channel->states[i], colon + 1) == 0) {
			o->n->state = xstrdup(colon + 1);
			return true;
		}
	struct buffer known = {0};
	for (size_t i = 0; i < channel->state_count; i++)
		buffer_addf(&known, "%s%s", i ? ", " : "", channel->states[i]);
	entry_fault(o->l, o->s, e, "channel %s has no state '%s'%s%s", name, colon + 1,
		channel->state_count ? "; it has "
				     : "; it holds numbers, watch its value",
		buffer_text(&known));
	buffer_release(&known);
	return false;
}

static bool find_meter(struct one *o, const struct entry *e, const char *name)
{
	o->n->subject = config_meter(o->l->config, name);
	if (o->n->subject < 0)
		entry_fault(o->l, o->s, e, "there is no [meter %s]", name);
	return o->n->subject >= 0;
}

/* Names with a part in common, or all but the same: what was meant is among them. */
static bool is_near(const char *name, const char *kind)
{
	if (name_distance(name, kind) <= NAMES_NEAR)
		return true;
	for (const char *part = name; *part; part += *part == '_') {
		size_t length = strcspn(part, "_");
		_cleanup_(freep) char *word = xstrndup(part, length);
		if (length >= PART_LEAST && strstr(kind, word))
			return true;
		part += length;
	}
	return false;
}

static void unknown_kind(struct one *o, const struct entry *e, const char *name)
{
	struct buffer near = {0}, all = {0};
	for (int k = 0; k < FINDING_KINDS; k++) {
		const char *kind = finding_name((enum finding_kind)k);
		if (!finding_has_days((enum finding_kind)k))
			continue;
		buffer_addf(&all, ", %s", kind);
		if (is_near(name, kind))
			buffer_addf(&near, "%s%s", near.length ? " or " : "", kind);
	}
	if (near.length)
		entry_fault(o->l, o->s, e,
			"nothing is found under '%s'; did you mean %s?", name,
			buffer_text(&near));
	else
		entry_fault(o->l, o->s, e,
			"nothing is found under '%s'; it must be any%s", name,
			buffer_text(&all));
	buffer_release(&near);
	buffer_release(&all);
}

static bool find_kind(struct one *o, const struct entry *e, const char *name)
{
	o->n->subject = finding_of_name(name);
	if (strcmp(name, "any") == 0)
		return true;
	if (o->n->subject < 0)
		unknown_kind(o, e, name);
	else if (!finding_has_days((enum finding_kind)o->n->subject))
		entry_fault(o->l, o->s, e,
			"%s is told of what is stored, and no day of its own shows it; "
			"see /v1/findings",
			name);
	else
		return true;
	return false;
}

static bool find_subject(struct one *o, const struct entry *e, const char *rest)
{
	switch (watches[o->n->watch].takes) {
	case TAKES_CHANNEL:
		return find_value(o, e, rest);
	case TAKES_STATE:
		return find_state(o, e, rest);
	case TAKES_ANY_CHANNEL:
		return find_channel(o, e, rest);
	case TAKES_METER:
		return find_meter(o, e, rest);
	case TAKES_KIND:
		return find_kind(o, e, rest);
	case TAKES_NOTHING:
		break;
	}
	return true;
}

/* False with the fault told. */
static bool read_watch(struct one *o)
{
	const struct entry *e = section_entry(o->s, "watch");
	o->n->subject = -1;
	if (!e || !*e->value) {
		remark(&o->l->faults, o->s->line,
			"[notice %s] needs watch, what it looks at: " WATCHES,
			o->s->name);
		return false;
	}
	for (size_t i = 0; i < NOTICE_WATCHES; i++) {
		size_t length = strlen(watches[i].words);
		bool takes = watches[i].takes != TAKES_NOTHING;
		if (strncmp(e->value, watches[i].words, length) != 0 ||
			e->value[length] != (takes ? ' ' : '\0'))
			continue;
		o->n->watch = (enum notice_watch)i;
		o->n->compares = watches[i].compares;
		o->n->dimension = watches[i].dimension;
		o->n->watches = xstrdup(e->value);
		const char *rest = e->value + length;
		if (!find_subject(o, e, rest + strspn(rest, " ")))
			return false;
		if (i == NOTICE_VALUE)
			o->n->dimension = o->l->config->channels[o->n->subject].dimension;
		return true;
	}
	entry_fault(o->l, o->s, e, "must be " WATCHES);
	return false;
}

/* A level in the unit of what is watched. False where there is none, or none that can be
 * read, which is told. */
static bool read_level(struct one *o, const char *key, double *ret)
{
	const struct entry *e = section_entry(o->s, key);
	const struct notice_config *n = o->n;
	const struct unit *bare = NULL;
	char why[WHY_SIZE];
	if (!e || !*e->value)
		return false;
	if (!n->compares) {
		entry_fault(o->l, o->s, e,
			"%s is a yes or no and has no threshold; leave the line out",
			n->watches);
		return false;
	}
	if (n->watch == NOTICE_VALUE)
		bare = o->l->config->channels[n->subject].unit;
	if (value_quantity(e->value, n->dimension, bare, ret, why))
		return true;
	entry_fault(o->l, o->s, e, "%s", why);
	o->faulty = true;
	return false;
}

static void check_clears(struct one *o)
{
	const struct notice_config *n = o->n;
	const struct entry *e = section_entry(o->s, "clears");
	if (n->above ? n->clears <= n->raises : n->clears >= n->raises)
		return;
	entry_fault(o->l, o->s, e,
		"lies %s the threshold; a notice that is raised %s it ends %s it, or at "
		"it",
		n->above ? "above" : "below", n->above ? "above" : "below",
		n->above ? "below" : "above");
}

static void read_levels(struct one *o)
{
	struct notice_config *n = o->n;
	double above = 0.0, below = 0.0;
	bool has_above = read_level(o, "above", &above);
	bool has_below = read_level(o, "below", &below);
	n->above = has_above || !n->compares;
	n->raises = has_above ? above : has_below ? below : 0.5; /* of 0 and 1 */
	n->clears = n->raises;
	bool has_clears = read_level(o, "clears", &n->clears);
	if (!n->compares || o->faulty)
		return;
	if (has_above == has_below)
		remark(&o->l->faults, o->s->line,
			"[notice %s] needs one threshold: above or below%s", o->s->name,
			has_above ? ", not both; make a second notice of the other" : "");
	else if (has_clears)
		check_clears(o);
}

static void check_span(struct one *o, const char *key, int64_t ms)
{
	const struct entry *e = section_entry(o->s, key);
	if (e && o->n->watch == NOTICE_FINDING)
		entry_fault(o->l, o->s, e,
			"what is found begins and ends with whole days, by rules of its "
			"own; leave the line out");
	else if (e && ms % MS_PER_MIN)
		entry_fault(o->l, o->s, e,
			"must be whole minutes: a notice goes by closed minutes");
}

/* How long it must have been so, both ways. */
static void read_spans(struct one *o)
{
	struct notice_config *n = o->n;
	check_span(o, "for", n->for_ms);
	check_span(o, "clears_for", n->clears_for_ms);
	if (n->watch == NOTICE_FINDING)
		n->for_ms = n->clears_for_ms = MS_PER_MIN;
	else if (n->clears_for_ms == 0)
		n->clears_for_ms = n->for_ms;
}

static void add_level(struct buffer *out, double level, enum dimension dimension)
{
	const char *symbol = unit_own(dimension)->symbol;
	buffer_addf(out, " %g%s%s", level, *symbol ? " " : "", symbol);
}

/* "value water_pressure below 1 bar" */
static void add_rule(struct buffer *out, const struct notice_config *n)
{
	buffer_add_text(out, n->watches);
	if (!n->compares)
		return;
	buffer_add_text(out, n->above ? " above" : " below");
	add_level(out, n->raises, n->dimension);
}

/* What is said unless the owner has words for it. */
static char *own_text(const struct notice_config *n)
{
	struct buffer b = {0};
	if (n->watch == NOTICE_FINDING)
		return xstrdup(n->subject < 0
				       ? "something was found"
				       : finding_title((enum finding_kind)n->subject));
	add_rule(&b, n);
	char *text = xstrdup(buffer_text(&b));
	buffer_release(&b);
	return text;
}

static void add_while(struct buffer *out, int64_t ms)
{
	char text[32];
	value_span_text((double)ms, text);
	buffer_addf(out, " for %s", text);
}

void notice_describe(const struct notice_config *n, struct buffer *out)
{
	buffer_addf(out, "%s: ", n->name);
	add_rule(out, n);
	if (n->watch == NOTICE_FINDING)
		return;
	add_while(out, n->for_ms);
	buffer_add_text(out, n->compares ? ", until" : ", until otherwise");
	if (n->compares)
		add_level(out, n->clears, n->dimension);
	add_while(out, n->clears_for_ms);
}

static void load_notice(
	struct loader *l, const struct section *section, struct notice_config *n)
{
	struct one o = {.l = l, .s = section, .n = n};
	*n = (struct notice_config){
		.name = xstrdup(section->name), .line = section->line};
	load_fields(l, SECTION_NOTICE, section, n);
	const struct entry *text = section_entry(section, "text");
	if (text && strlen(text->value) > TEXT_MOST)
		entry_fault(l, section, text, "must have %d bytes at most", TEXT_MOST);
	bool watches_one = read_watch(&o);
	read_spans(&o);
	if (!watches_one)
		return;
	read_levels(&o);
	if (!n->text)
		n->text = own_text(n);
}

void load_notices(struct loader *l)
{
	struct config *c = l->config;
	const struct section *s = NULL;
	while ((s = document_next(&l->document, SECTION_NOTICE, s))) {
		if (c->notice_count == NOTICES_MOST) {
			remark(&l->faults, s->line, "more than %d notices", NOTICES_MOST);
			return;
		}
		c->notices =
			xrealloc(c->notices, c->notice_count + 1, sizeof(*c->notices));
		load_notice(l, s, &c->notices[c->notice_count++]);
	}
}

void notice_release(struct notice_config *n)
{
	free(n->name);
	free(n->watches);
	free(n->text);
	free(n->state);
}
