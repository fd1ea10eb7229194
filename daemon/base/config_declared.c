/*
 * The [declared] sections: at which temperatures the unit's maker says which efficiency.
 *
 * A point is of no use without both temperatures and the quotient. Two of the same pair
 * of temperatures would contradict each other. Points are kept by outdoor and by flow
 * temperature, whatever their order in the file; no row depends on them.
 */
#include "config_load.h"

static void want(struct loader *l, const struct section *section, const char *key,
	const char *what)
{
	if (!section_entry(section, key))
		remark(&l->faults, section->line, "[declared %s] needs %s: %s",
			section->name, key, what);
}

static void load_point(
	struct loader *l, const struct section *section, struct declared_config *point)
{
	*point = (struct declared_config){
		.name = xstrdup(section->name), .line = section->line};
	load_fields(l, SECTION_DECLARED, section, point);
	want(l, section, "outdoor", "the temperature of the air that it was declared at");
	want(l, section, "flow_temperature", "that of the water that left the unit");
	want(l, section, "cop", "heat over electricity, as the data sheet says");
}

static bool stands_before(
	const struct declared_config *a, const struct declared_config *b)
{
	if (a->outdoor_c < b->outdoor_c || a->outdoor_c > b->outdoor_c)
		return a->outdoor_c < b->outdoor_c;
	return a->flow_c < b->flow_c;
}

static void sort(struct declared_config *points, size_t count)
{
	for (size_t i = 1; i < count; i++)
		for (size_t k = i; k > 0 && stands_before(&points[k], &points[k - 1]);
			k--) {
			struct declared_config point = points[k];
			points[k] = points[k - 1];
			points[k - 1] = point;
		}
}

static void refuse_twins(struct loader *l)
{
	const struct config *c = l->config;
	for (size_t i = 1; i < c->declared_count; i++) {
		const struct declared_config *a = &c->declared[i - 1];
		const struct declared_config *b = &c->declared[i];
		if (stands_before(a, b))
			continue;
		bool later = b->line > a->line;
		remark(&l->faults, later ? b->line : a->line,
			"[declared %s] and [declared %s] (line %d) are of the same "
			"temperatures, %g °C outside and %g °C flow; keep one of them",
			later ? b->name : a->name, later ? a->name : b->name,
			later ? a->line : b->line, b->outdoor_c, b->flow_c);
	}
}

void load_declared(struct loader *l)
{
	struct config *c = l->config;
	size_t faults = l->faults.count;
	const struct section *s = NULL;
	while ((s = document_next(&l->document, SECTION_DECLARED, s))) {
		c->declared = xrealloc(
			c->declared, c->declared_count + 1, sizeof(*c->declared));
		load_point(l, s, &c->declared[c->declared_count++]);
	}
	sort(c->declared, c->declared_count);
	if (l->faults.count == faults) /* temperatures that were not read are no twins */
		refuse_twins(l);
}
