/*
 * The sections [site], [tariff], [carbon] and [other_heat]: what electricity costs and
 * emits, and what another source of heat would. See tariff.h.
 *
 * What holds by dates is refused where two sections would hold on one day, and noted
 * where days between two have none: these are counted as unpriced. A tariff's windows
 * must not overlap, and must leave no part of the week without a price.
 *
 * Dates are local days, so that the zone must be in force before they are read.
 */
#include "config_load.h"

#include <heatbook/calendar.h>
#include <heatbook/tariff.h>

#include <math.h>
#include <string.h>

static const char *const days_of_week[] = {"Mo", "Tu", "We", "Th", "Fr", "Sa", "Su"};

/* ---- what all sections share ---- */

/* False: told. */
static bool read_day(
	struct loader *l, const struct section *s, const char *key, int64_t *ret_ms)
{
	const struct entry *e = section_entry(s, key);
	if (!e || !*e->value || time_parse_day(e->value, 0, ret_ms) == 0)
		return true;
	entry_fault(l, s, e,
		"must be a local date such as 2026-01-31: prices change at midnight");
	return false;
}

static struct dated read_dates(struct loader *l, const struct section *s)
{
	struct dated dated = {INT64_MIN, INT64_MAX};
	bool from = read_day(l, s, "from", &dated.from_ms);
	bool to = read_day(l, s, "to", &dated.to_ms);
	if (from && to && dated.from_ms >= dated.to_ms)
		remark(&l->faults, s->line,
			"[%s %s]: from must lie before to, which is not part of it",
			section_declaration(s->kind)->name, s->name);
	return dated;
}

/* The index of a channel of that dimension, -1 without one or with the fault told. */
static int read_channel(struct loader *l, const struct section *s, const char *key,
	enum dimension dimension)
{
	const struct entry *e = section_entry(s, key);
	if (!e || !*e->value)
		return -1;
	int channel = config_channel(l->config, e->value);
	if (channel < 0) {
		entry_fault(l, s, e, "there is no [channel %s]", e->value);
		return -1;
	}
	const struct channel_config *c = &l->config->channels[channel];
	if (c->dimension == dimension)
		return channel;
	entry_fault(l, s, e, "channel %s is %s; must be %s, for example in %s", e->value,
		dimension_phrase(c->dimension), dimension_phrase(dimension),
		unit_own(dimension)->symbol);
	return -1;
}

/* A quantity of the entry, NaN without one; what is wrong with it was told already. */
static double read_own(const struct section *s, const char *key)
{
	const struct entry *e = section_entry(s, key);
	double value = (double)NAN;
	char why[WHY_SIZE];
	if (e && !value_quantity(e->value, e->option->dimension, NULL, &value, why))
		return (double)NAN;
	return value;
}

static void date_text(int64_t t_ms, char text[static 16])
{
	calendar_date_text(calendar_date(t_ms), text);
}

/* What is asked of a dated section of any kind. */
struct held {
	const char *name;
	int line;
	struct dated dated;
};

/* Two that follow each other by their beginning. `what` is had by no day in between. */
static void check_pair(struct loader *l, enum section_kind kind, struct held a,
	struct held b, const char *what)
{
	const char *kind_name = section_declaration(kind)->name;
	char first[16], last[16];
	if (b.dated.from_ms < a.dated.to_ms) {
		struct held later = b.line > a.line ? b : a;
		struct held former = b.line > a.line ? a : b;
		remark(&l->faults, later.line,
			"[%s %s] and [%s %s] (line %d) hold on the same days; let one "
			"end (to) where the other begins (from)",
			kind_name, later.name, kind_name, former.name, former.line);
	} else if (b.dated.from_ms > a.dated.to_ms) {
		date_text(a.dated.to_ms, first);
		date_text(b.dated.from_ms, last);
		remark(&l->notes, b.line,
			"[%s %s] ends (to) on %s and [%s %s] begins (from) on %s: days "
			"in between have no %s",
			kind_name, a.name, first, kind_name, b.name, last, what);
	}
}

/* Puts what lies at the end of a list among the others, which are in order already; after
 * those that are neither before nor after it. */
static void sort_last(
	void *items, size_t count, size_t size, int (*order)(const void *, const void *))
{
	char *base = items;
	size_t at = count - 1;
	while (at > 0 && order(base + (at - 1) * size, base + (count - 1) * size) > 0)
		at--;
	_cleanup_(freep) char *last = xcalloc(1, size);
	memcpy(last, base + (count - 1) * size, size);
	memmove(base + (at + 1) * size, base + at * size, (count - 1 - at) * size);
	memcpy(base + at * size, last, size);
}

static int order_dates(struct dated a, struct dated b)
{
	return (a.from_ms > b.from_ms) - (a.from_ms < b.from_ms);
}

/* ---- [tariff] ---- */

/* The day that a text begins with, or -1. */
static int parse_day(const char *text, size_t length)
{
	for (int d = 0; length >= 2 && d < 7; d++)
		if (strncmp(text, days_of_week[d], 2) == 0)
			return d;
	return -1;
}

/* "Mo-Fr", "Sa,Su", "Fr-Mo": days as bits, 0 when it is none. */
static unsigned parse_days(const char *text, size_t length)
{
	unsigned days = 0;
	for (;;) {
		int first = parse_day(text, length), last = first;
		bool range = length >= 3 && text[2] == '-';
		size_t taken = range ? 5 : 2;
		if (range)
			last = parse_day(text + 3, length - 3);
		if (first < 0 || last < 0)
			return 0;
		for (int d = first; d != last; d = (d + 1) % 7)
			days |= 1U << d;
		days |= 1U << last;
		text += taken;
		length -= taken;
		if (length == 0)
			return days;
		if (*text != ',')
			return 0;
		text++;
		length--;
	}
}

/* "06:30", up to 24:00. */
static bool parse_clock(const char *text, int *ret_min)
{
	for (int i = 0; i < 5; i++)
		if (i == 2 ? text[i] != ':' : text[i] < '0' || text[i] > '9')
			return false;
	int hour = 10 * (text[0] - '0') + text[1] - '0';
	int minute = 10 * (text[3] - '0') + text[4] - '0';
	*ret_min = 60 * hour + minute;
	return minute < 60 && *ret_min <= 1440;
}

/* "22:00-06:00". */
static bool parse_times(const char *text, size_t length, struct tariff_window *w)
{
	return length == 11 && text[5] == '-' && parse_clock(text, &w->from_min) &&
	       parse_clock(text + 6, &w->to_min) && w->from_min < 1440 && w->to_min > 0 &&
	       w->from_min != w->to_min;
}

bool value_window(const char *text, struct tariff_window *ret, char why[static WHY_SIZE])
{
	struct tariff_window w = {.days = 0x7f};
	size_t word = strcspn(text, " \t");
	if (text[0] < '0' || text[0] > '9') {
		w.days = parse_days(text, word);
		text += word + strspn(text + word, " \t");
		word = strcspn(text, " \t");
	}
	if (w.days == 0 || !parse_times(text, word, &w)) {
		(void)snprintf(why, WHY_SIZE,
			"must be days (of Mo Tu We Th Fr Sa Su; every day without), "
			"times "
			"and a price: Mo-Fr 22:00-06:00 0.22, Sa,Su 00:00-24:00 0.24");
		return false;
	}
	text += word + strspn(text + word, " \t");
	if (!value_quantity(text, DIMENSION_PRICE, NULL, &w.price, why))
		return false;
	*ret = w;
	return true;
}

static void week_text(int week_min, char text[static 16])
{
	int minute = week_min % 1440;
	(void)snprintf(text, 16, "%s %02d:%02d", days_of_week[week_min / 1440],
		minute / 60, minute % 60);
}

/* Lays a window over the week. Where another one lies the first such time is told. */
static void lay_window(struct loader *l, const struct section *s,
	const struct tariff_config *t, size_t i)
{
	const struct tariff_window *w = &t->windows[i];
	int length = w->to_min - w->from_min + (w->to_min <= w->from_min ? 1440 : 0);
	for (int day = 0; day < 7; day++)
		for (int m = 0; m < length && w->days & 1U << day; m++) {
			unsigned char *at =
				&t->week[(day * 1440 + w->from_min + m) % WEEK_MIN];
			if (*at && *at != i + 1) {
				char text[16];
				week_text((int)(at - t->week), text);
				remark(&l->faults, w->line,
					"[tariff %s] window.%s and window.%s (line %d) "
					"are both of %s; let one end where the other "
					"begins",
					s->name, w->name, t->windows[*at - 1].name,
					t->windows[*at - 1].line, text);
				return;
			}
			*at = (unsigned char)(i + 1);
		}
}

static void read_windows(
	struct loader *l, const struct section *s, struct tariff_config *t)
{
	t->windows = xcalloc(TARIFF_WINDOWS_MOST, sizeof(*t->windows));
	t->week = xcalloc(WEEK_MIN, 1);
	for (size_t i = 0; i < s->count; i++) {
		const struct entry *e = &s->entries[i];
		char why[WHY_SIZE];
		struct tariff_window w;
		if (e->option->type != OPTION_WINDOW || !*e->value)
			continue;
		if (t->window_count == TARIFF_WINDOWS_MOST) {
			entry_fault(l, s, e, "at most %d windows", TARIFF_WINDOWS_MOST);
			return;
		}
		if (!value_window(e->value, &w, why))
			continue; /* told already */
		w.name = xstrdup(strchr(e->key, '.') + 1);
		w.line = e->line;
		t->windows[t->window_count++] = w;
		lay_window(l, s, t, t->window_count - 1);
	}
}

/* Exactly one of a price channel and prices, and these for all of the week. */
static void check_prices(
	struct loader *l, const struct section *s, const struct tariff_config *t)
{
	const struct entry *channel = section_entry(s, "price_channel");
	if (channel && (section_entry(s, "price") || t->window_count > 0)) {
		entry_fault(l, s, channel,
			"the channel tells the price of each minute; leave out price and "
			"windows");
		return;
	}
	if (channel || section_entry(s, "price"))
		return;
	if (t->window_count == 0) {
		remark(&l->faults, s->line,
			"[tariff %s] has no price; give it price, windows or "
			"price_channel",
			s->name);
		return;
	}
	const unsigned char *gap = memchr(t->week, 0, WEEK_MIN);
	if (!gap)
		return;
	char from[16], to[16];
	int begin = (int)(gap - t->week), end = begin;
	while (end < WEEK_MIN && t->week[end] == 0)
		end++;
	week_text(begin, from);
	week_text(end % WEEK_MIN, to);
	remark(&l->faults, s->line,
		"[tariff %s] has no price from %s to %s; give it price = … for what no "
		"window covers",
		s->name, from, to);
}

static void load_tariff(
	struct loader *l, const struct section *s, struct tariff_config *t)
{
	*t = (struct tariff_config){.name = xstrdup(s->name), .line = s->line};
	load_fields(l, SECTION_TARIFF, s, t);
	t->dated = read_dates(l, s);
	t->price = read_own(s, "price");
	t->feed_in = read_own(s, "feed_in");
	t->price_channel = read_channel(l, s, "price_channel", DIMENSION_PRICE);
	read_windows(l, s, t);
	check_prices(l, s, t);
}

static int order_tariffs(const void *a, const void *b)
{
	const struct tariff_config *first = a, *second = b;
	return order_dates(first->dated, second->dated);
}

static void load_tariffs(struct loader *l)
{
	struct cost_config *c = l->config->cost;
	const struct section *s = NULL;
	while ((s = document_next(&l->document, SECTION_TARIFF, s))) {
		c->tariffs =
			xrealloc(c->tariffs, c->tariff_count + 1, sizeof(*c->tariffs));
		load_tariff(l, s, &c->tariffs[c->tariff_count++]);
		sort_last(
			c->tariffs, c->tariff_count, sizeof(*c->tariffs), order_tariffs);
	}
	for (size_t i = 1; i < c->tariff_count; i++) {
		const struct tariff_config *a = &c->tariffs[i - 1], *b = &c->tariffs[i];
		check_pair(l, SECTION_TARIFF, (struct held){a->name, a->line, a->dated},
			(struct held){b->name, b->line, b->dated}, "price");
	}
}

/* ---- [carbon] ---- */

static void load_carbon(
	struct loader *l, const struct section *s, struct carbon_config *c)
{
	*c = (struct carbon_config){.name = xstrdup(s->name), .line = s->line};
	load_fields(l, SECTION_CARBON, s, c);
	c->dated = read_dates(l, s);
	c->intensity_g = read_own(s, "intensity");
	c->intensity_channel =
		read_channel(l, s, "intensity_channel", DIMENSION_INTENSITY);
	const struct entry *fixed = section_entry(s, "intensity");
	const struct entry *channel = section_entry(s, "intensity_channel");
	if (fixed && channel)
		entry_fault(l, s, channel,
			"and intensity are two words for one; leave one out");
	else if (!fixed && !channel)
		remark(&l->faults, s->line,
			"[carbon %s] needs intensity = 380 g/kWh, or intensity_channel",
			s->name);
}

static int order_carbons(const void *a, const void *b)
{
	const struct carbon_config *first = a, *second = b;
	return order_dates(first->dated, second->dated);
}

static void load_carbons(struct loader *l)
{
	struct cost_config *c = l->config->cost;
	const struct section *s = NULL;
	while ((s = document_next(&l->document, SECTION_CARBON, s))) {
		c->carbons =
			xrealloc(c->carbons, c->carbon_count + 1, sizeof(*c->carbons));
		load_carbon(l, s, &c->carbons[c->carbon_count++]);
		sort_last(
			c->carbons, c->carbon_count, sizeof(*c->carbons), order_carbons);
	}
	for (size_t i = 1; i < c->carbon_count; i++) {
		const struct carbon_config *a = &c->carbons[i - 1], *b = &c->carbons[i];
		check_pair(l, SECTION_CARBON, (struct held){a->name, a->line, a->dated},
			(struct held){b->name, b->line, b->dated}, "intensity");
	}
}

/* ---- [other_heat] ---- */

static void load_other(
	struct loader *l, const struct section *s, struct other_heat_config *o)
{
	*o = (struct other_heat_config){.name = xstrdup(s->name), .line = s->line};
	load_fields(l, SECTION_OTHER_HEAT, s, o);
	o->dated = read_dates(l, s);
	o->price = read_own(s, "price");
	o->efficiency_percent = read_own(s, "efficiency");
	o->intensity_g = read_own(s, "intensity");
	const struct entry *source = section_entry(s, "source");
	char why[WHY_SIZE];
	if (source && *source->value && !value_name(source->value, why))
		entry_fault(l, s, source, "%s", why);
	if (!o->source)
		o->source = xstrdup(s->name);
	if (!section_entry(s, "price"))
		remark(&l->faults, s->line,
			"[other_heat %s] needs price: what a kWh of its fuel costs",
			s->name);
	if (!section_entry(s, "efficiency"))
		remark(&l->faults, s->line,
			"[other_heat %s] needs efficiency: how much heat a kWh of its "
			"fuel delivers, such as 88 %%",
			s->name);
}

static int order_others(const void *a, const void *b)
{
	const struct other_heat_config *first = a, *second = b;
	int order = strcmp(first->source, second->source);
	return order != 0 ? order : order_dates(first->dated, second->dated);
}

static void count_sources(struct loader *l)
{
	const struct cost_config *c = l->config->cost;
	size_t sources = 0;
	for (size_t i = 0; i < c->other_count; i++)
		if (other_heat_begins(c, i) && ++sources == OTHERS_MOST + 1)
			remark(&l->faults, c->others[i].line,
				"[other_heat %s]: at most %d other sources of heat",
				c->others[i].name, OTHERS_MOST);
}

static void load_others(struct loader *l)
{
	struct cost_config *c = l->config->cost;
	const struct section *s = NULL;
	while ((s = document_next(&l->document, SECTION_OTHER_HEAT, s))) {
		c->others = xrealloc(c->others, c->other_count + 1, sizeof(*c->others));
		load_other(l, s, &c->others[c->other_count++]);
		sort_last(c->others, c->other_count, sizeof(*c->others), order_others);
	}
	for (size_t i = 1; i < c->other_count; i++) {
		const struct other_heat_config *a = &c->others[i - 1], *b = &c->others[i];
		if (strcmp(a->source, b->source) == 0)
			check_pair(l, SECTION_OTHER_HEAT,
				(struct held){a->name, a->line, a->dated},
				(struct held){b->name, b->line, b->dated}, "price");
	}
}

/* ---- [site] ---- */

static void load_site(struct loader *l)
{
	struct site_config *site = &l->config->cost->site;
	const struct section *s = document_section(&l->document, SECTION_SITE);
	load_fields(l, SECTION_SITE, s, site);
	site->line = s ? s->line : 0;
	site->import_channel = read_channel(l, s, "import", DIMENSION_POWER);
	site->export_channel = read_channel(l, s, "export", DIMENSION_POWER);
	site->generation_channel = read_channel(l, s, "generation", DIMENSION_POWER);
	if (s && !section_entry(s, "import") &&
		(section_entry(s, "export") || section_entry(s, "generation")))
		remark(&l->faults, s->line,
			"[site] needs import: without it nobody knows what was bought");
}

/* What own electricity would have earned decides what it costs. */
static void check_feed_in(struct loader *l)
{
	const struct cost_config *c = l->config->cost;
	for (size_t i = 0; i < c->tariff_count && site_splits(&c->site); i++)
		if (isnan(c->tariffs[i].feed_in))
			remark(&l->notes, c->tariffs[i].line,
				"[tariff %s] has no feed_in: what of own generation is "
				"used counts as 0",
				c->tariffs[i].name);
}

void load_cost(struct loader *l)
{
	l->config->cost = xcalloc(1, sizeof(*l->config->cost));
	load_site(l);
	load_tariffs(l);
	load_carbons(l);
	load_others(l);
	count_sources(l);
	check_feed_in(l);
}
