/*
 * The configuration file as sections and entries, each with its line: checked against the
 * option table for what stands where, not yet for what it says.
 */
#ifndef HEATBOOK_BASE_DOCUMENT_H
#define HEATBOOK_BASE_DOCUMENT_H

#include <heatbook/options.h>

/* Faults and notes with their lines, so that they can be told in the order of the file.
 */
struct remark {
	int line;
	char *text;
};
struct remarks {
	struct remark *items;
	size_t count;
};
void remark(struct remarks *remarks, int line, const char *format, ...) PRINTF_LIKE(3, 4);
void remarks_sort(struct remarks *remarks);
void remarks_release(struct remarks *remarks);

struct entry {
	const struct option *option;
	char *key; /* as written; differs from the option's for columns */
	char *value;
	int line;
};

/* Sections that cannot be used (unknown, given twice, badly named) have `ignored` set. */
struct section {
	enum section_kind kind;
	char *name; /* "" where the kind takes none */
	bool ignored;
	int line;
	struct entry *entries;
	size_t count;
};

struct document {
	struct section *sections;
	size_t count;
};

void document_read(struct document *document, const char *text, size_t length,
	struct remarks *faults);
void document_release(struct document *document);

/* The next section of a kind, in the order of the file; the first after NULL, NULL after
 * the last. Those that are ignored are passed over. */
const struct section *document_next(
	const struct document *d, enum section_kind kind, const struct section *former);
/* Edit distance (Levenshtein) of two short names; 99 when either is long. Up to
 * NAMES_NEAR one may be meant by the other. */
size_t name_distance(const char *a, const char *b);
enum { NAMES_NEAR = 2 };

/* The section that stands once, or NULL. */
const struct section *document_section(const struct document *d, enum section_kind kind);
/* The section's entry for a key, or NULL; `section` may be NULL. */
const struct entry *section_entry(const struct section *section, const char *key);

#endif
