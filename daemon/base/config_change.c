/*
 * The [change] sections: what the owner changed, and when.
 *
 * They are notes: no row hangs on them, so they are no part of the mapping and a reload
 * takes them up at once. A change may lie ahead. Changes are kept by their instants,
 * whatever their order in the file; two at one instant would leave no day between them,
 * and nobody could tell which of the two helped.
 *
 * Dates are local days, so that the zone must be in force before they are read.
 */
#include "config_load.h"

#include <heatbook/calendar.h>

#include <string.h>

static void load_change(
	struct loader *l, const struct section *section, struct change_config *c)
{
	*c = (struct change_config){
		.name = xstrdup(section->name), .line = section->line};
	load_fields(l, SECTION_CHANGE, section, c);
	if (!section_entry(section, "at"))
		remark(&l->faults, section->line,
			"[change %s] needs at: the day since which it is so",
			section->name);
	(void)load_edge(l, section, "at", &c->at_ms); /* told */
}

static void sort(struct change_config *items, size_t count)
{
	for (size_t i = 1; i < count; i++)
		for (size_t k = i; k > 0 && items[k].at_ms < items[k - 1].at_ms; k--) {
			struct change_config c = items[k];
			items[k] = items[k - 1];
			items[k - 1] = c;
		}
}

/* With a bad date there are faults anyway. */
static void refuse_twins(struct loader *l)
{
	const struct config *config = l->config;
	for (size_t i = 1; i < config->change_count && l->faults.count == 0; i++) {
		const struct change_config *a = &config->changes[i - 1];
		const struct change_config *b = &config->changes[i];
		if (a->at_ms == b->at_ms)
			remark(&l->faults, b->line,
				"[change %s] is at the same instant as [change %s] (line "
				"%d); make one section of both",
				b->name, a->name, a->line);
	}
}

void load_changes(struct loader *l)
{
	struct config *c = l->config;
	const struct section *s = NULL;
	while ((s = document_next(&l->document, SECTION_CHANGE, s))) {
		c->changes =
			xrealloc(c->changes, c->change_count + 1, sizeof(*c->changes));
		load_change(l, s, &c->changes[c->change_count++]);
	}
	sort(c->changes, c->change_count);
	refuse_twins(l);
}

void change_describe(const struct change_config *change, struct buffer *out)
{
	char at[32];
	time_text_local(change->at_ms, at);
	buffer_addf(out, "%s: %s%sat %s", change->name, change->what ? change->what : "",
		change->what && *change->what ? ", " : "", at);
}

void changes_free(struct change_config *changes, size_t count)
{
	for (size_t i = 0; i < count; i++) {
		free(changes[i].name);
		free(changes[i].what);
	}
	free(changes);
}
