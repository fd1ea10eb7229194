/*
 * What a reload must know of a configuration beside the one in force: whether it keeps
 * what is fixed from start to stop, and whether a section says what it said before.
 *
 * Fixed is what other programs and stored rows hold on to: the zone that closed days were
 * summed by (and which threads read from the environment), the files, the address.
 */
#include "config_load.h"

#include <assert.h>
#include <string.h>

static const void *section_fields(const struct config *config, enum section_kind kind)
{
	switch (kind) {
	case SECTION_PLANT:
		return &config->plant;
	case SECTION_JOURNAL:
		return &config->journal;
	case SECTION_STORE:
		return &config->store;
	case SECTION_HTTP:
		return &config->http;
	case SECTION_BROKER:
	case SECTION_CHANNEL:
	case SECTION_SOURCE:
	case SECTION_METER:
	case SECTION_DECLARED:
	case SECTION_CORRECTION:
	case SECTION_CHANGE:
	case SECTION_SITE:
	case SECTION_TARIFF:
	case SECTION_CARBON:
	case SECTION_OTHER_HEAT:
	case SECTION_NOTICE:
	case SECTION_MODES:
	case SECTION_PAYLOAD:
	case SECTION_TABLE:
	case SECTION_PUBLISH:
	case SECTION_COUNT:
		break;
	}
	assert(false); /* nothing there is fixed */
	return NULL;
}

static bool same_field(const struct option *o, const void *a, const void *b)
{
	const char *left = (const char *)a + o->offset;
	const char *right = (const char *)b + o->offset;
	switch ((unsigned)o->type) {
	case OPTION_TEXT:
		return strcmp(*(char *const *)left, *(char *const *)right) == 0;
	case OPTION_INTEGER:
		return *(const int *)left == *(const int *)right;
	case OPTION_SIZE:
	case OPTION_SPAN:
		return *(const int64_t *)left == *(const int64_t *)right;
	default:
		assert(false); /* no option of another type is fixed */
		return false;
	}
}

static void refuse(struct loader *l, const struct option *o)
{
	const struct section *s = document_section(&l->document, o->section);
	const struct entry *e = section_entry(s, o->key);
	if (e)
		entry_fault(l, s, e, "takes effect at a start only; restart heatbookd");
	else
		remark(&l->faults, s ? s->line : 1,
			"[%s] %s is back at its default, which takes effect at a start "
			"only; restart heatbookd",
			section_declaration(o->section)->name, o->key);
}

bool config_keeps_fixed(struct loader *l, const struct config *former)
{
	bool all = true;
	for (const struct option *o = option_next(NULL); o; o = option_next(o)) {
		if (!o->fixed || same_field(o, section_fields(former, o->section),
					 section_fields(l->config, o->section)))
			continue;
		refuse(l, o);
		all = false;
	}
	return all;
}

uint64_t config_section_digest(const struct document *document, enum section_kind kind)
{
	const struct section *s = document_section(document, kind);
	uint64_t sum = 0;
	for (size_t i = 0; s && i < s->count; i++) {
		const struct entry *e = &s->entries[i];
		uint64_t one = digest64(0, e->key, strlen(e->key) + 1);
		sum += digest64(one, e->value, strlen(e->value) + 1);
	}
	return sum;
}
