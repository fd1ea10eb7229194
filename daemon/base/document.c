/*
 * Text into sections and entries. See document.h.
 *
 * inih splits lines into key and value and drops comments. As Debian builds it, it gives
 * no line numbers, cuts lines at 200 bytes and section names at 50, appends indented
 * lines to the value before, and knows no empty section. So it is fed line by line by a
 * reader that counts, refuses what would be cut or merged, and keeps the sections itself;
 * a refused line is handed over as a blank one. A line that inih makes no entry of is
 * noticed at the next.
 *
 * The entries' values are not read here; unknown names and doubles are faults.
 */
#include "document.h"

#include "value.h"

#include <ini.h>
#include <string.h>

#define LINE_MOST    197 /* inih's 200 less CR, LF and NUL */
#define SECTION_MOST 64

struct reader {
	const char *text;
	size_t left;
	int line;
	bool awaits_entry; /* the line handed over must come back as an entry */
	struct document *document;
	struct remarks *faults;
};

void remark(struct remarks *remarks, int line, const char *format, ...)
{
	struct remark r = {.line = line};
	va_list args;
	va_start(args, format);
	if (vasprintf(&r.text, format, args) < 0)
		abort(); /* out of memory or a wrong format of our own */
	va_end(args);
	remarks->items =
		xrealloc(remarks->items, remarks->count + 1, sizeof(*remarks->items));
	remarks->items[remarks->count++] = r;
}

/* By line, in order of finding within a line. */
void remarks_sort(struct remarks *remarks)
{
	for (size_t i = 1; i < remarks->count; i++)
		for (size_t k = i;
			k > 0 && remarks->items[k - 1].line > remarks->items[k].line;
			k--) {
			struct remark r = remarks->items[k];
			remarks->items[k] = remarks->items[k - 1];
			remarks->items[k - 1] = r;
		}
}

void remarks_release(struct remarks *remarks)
{
	for (size_t i = 0; i < remarks->count; i++)
		free(remarks->items[i].text);
	free(remarks->items);
	*remarks = (struct remarks){0};
}

size_t name_distance(const char *a, const char *b)
{
	size_t row[34], n = strlen(a), m = strlen(b);
	if (n > 32 || m > 32)
		return 99;
	for (size_t j = 0; j <= m; j++)
		row[j] = j;
	for (size_t i = 1; i <= n; i++) {
		size_t corner = row[0];
		row[0] = i;
		for (size_t j = 1; j <= m; j++) {
			size_t best = corner + (a[i - 1] != b[j - 1]);
			corner = row[j];
			if (row[j] + 1 < best)
				best = row[j] + 1;
			if (row[j - 1] + 1 < best)
				best = row[j - 1] + 1;
			row[j] = best;
		}
	}
	return row[m];
}

static void unknown_key(struct reader *r, const struct section *s, const char *key)
{
	const struct section_declaration *declared = section_declaration(s->kind);
	size_t nearest_distance = NAMES_NEAR + 1;
	const char *nearest = NULL;
	struct buffer known = {0};
	for (const struct option *o = declared->options; o->key; o++) {
		buffer_addf(&known, "%s%s", known.length ? ", " : "", o->key);
		size_t d = name_distance(key, o->key);
		if (d < nearest_distance) {
			nearest_distance = d;
			nearest = o->key;
		}
	}
	remark(r->faults, r->line, "[%s] has no key '%s'%s%s%s; known: %s",
		declared->name, key, nearest ? ", did you mean '" : "",
		nearest ? nearest : "", nearest ? "'?" : "", buffer_text(&known));
	buffer_release(&known);
}

static void unknown_section(struct reader *r, const char *name)
{
	struct buffer known = {0};
	for (int i = 0; i < SECTION_COUNT; i++) {
		const struct section_declaration *s =
			section_declaration((enum section_kind)i);
		buffer_addf(&known, "%s%s%s", i ? ", " : "", s->name,
			s->example ? " NAME" : "");
	}
	remark(r->faults, r->line, "unknown section [%s]; known: %s", name,
		buffer_text(&known));
	buffer_release(&known);
}

/* Kind and name of a section's heading "kind name"; faults make it ignored. */
static void name_section(struct reader *r, struct section *s, const char *heading)
{
	char why[WHY_SIZE];
	size_t word = strcspn(heading, " \t");
	const char *name = heading + word + strspn(heading + word, " \t");
	int kind = 0;
	s->name = xstrdup(name);
	s->ignored = true;
	for (; kind < SECTION_COUNT; kind++) {
		const char *known = section_declaration((enum section_kind)kind)->name;
		if (strlen(known) == word && memcmp(known, heading, word) == 0)
			break;
	}
	if (kind == SECTION_COUNT) {
		s->kind = SECTION_COUNT;
		unknown_section(r, heading);
		return;
	}
	s->kind = (enum section_kind)kind;
	const struct section_declaration *d = section_declaration(s->kind);
	if (!d->example && *name)
		remark(r->faults, r->line, "[%s] takes no name: it stands once", d->name);
	else if (d->example && !*name)
		remark(r->faults, r->line, "[%s] needs a name, such as [%s %s]", d->name,
			d->name, d->example);
	else if (*name && !value_name(name, why))
		remark(r->faults, r->line, "[%s]: %s", heading, why);
	else
		s->ignored = false;
	for (size_t i = 0; i + 1 < r->document->count && !s->ignored; i++) {
		const struct section *other = &r->document->sections[i];
		if (other->kind != s->kind || strcmp(other->name, name) != 0)
			continue;
		remark(r->faults, r->line, "[%s] is given twice; first in line %d",
			heading, other->line);
		s->ignored = true;
	}
}

/* A line that begins with [. */
static void take_section(struct reader *r, const char *line, size_t length)
{
	struct document *d = r->document;
	d->sections = xrealloc(d->sections, d->count + 1, sizeof(*d->sections));
	struct section *s = &d->sections[d->count++];
	*s = (struct section){.kind = SECTION_COUNT, .ignored = true, .line = r->line};
	const char *end = memchr(line, ']', length);
	size_t inner = end ? (size_t)(end - line - 1) : 0;
	size_t after = end ? inner + 2 : length;
	while (after < length && (line[after] == ' ' || line[after] == '\t'))
		after++;
	s->name = NULL;
	if (!end || (after < length && line[after] != ';' && line[after] != '#')) {
		remark(r->faults, r->line,
			"not understood: a section is [%s] alone on its line",
			"kind NAME");
		return;
	}
	if (inner > SECTION_MOST) {
		remark(r->faults, r->line, "section name is %zu bytes long; at most %d",
			inner, SECTION_MOST);
		return;
	}
	size_t lead = strspn(line + 1, " \t");
	lead = lead < inner ? lead : inner;
	while (inner > lead && (line[inner] == ' ' || line[inner] == '\t'))
		inner--;
	_cleanup_(freep) char *heading = xstrndup(line + 1 + lead, inner - lead);
	name_section(r, s, heading);
}

/* Whether the line is to be handed over as it stands. Else it is blank to inih. */
static bool take_line(struct reader *r, const char *line, size_t length)
{
	size_t lead = 0;
	while (lead < length && (line[lead] == ' ' || line[lead] == '\t'))
		lead++;
	for (size_t i = 0; i < length; i++)
		if ((unsigned char)line[i] < 0x20 && line[i] != '\t') {
			remark(r->faults, r->line, "holds the control byte 0x%02x",
				(unsigned)(unsigned char)line[i]);
			return false;
		}
	if (length > LINE_MOST) {
		remark(r->faults, r->line, "line is %zu bytes long; at most %d", length,
			LINE_MOST);
		return false;
	}
	if (lead == length || line[lead] == ';' || line[lead] == '#')
		return false;
	if (lead > 0) {
		remark(r->faults, r->line,
			"begins with blanks; a key or section begins its "
			"line, and a value does not go on in the next");
		return false;
	}
	if (line[0] == '[') {
		take_section(r, line, length);
		return false;
	}
	return true;
}

static void end_line(struct reader *r)
{
	if (r->awaits_entry)
		remark(r->faults, r->line, "not understood: must be key = value");
	r->awaits_entry = false;
}

/* An ini_reader: one line, or NULL at the end. */
static char *next_line(char *into, int size, void *context)
{
	struct reader *r = context;
	end_line(r);
	if (r->left == 0)
		return NULL;
	const char *line = r->text;
	const char *newline = memchr(line, '\n', r->left);
	size_t length = newline ? (size_t)(newline - line) : r->left;
	size_t taken = length + (newline ? 1 : 0);
	r->text += taken;
	r->left -= taken;
	r->line++;
	if (length > 0 && line[length - 1] == '\r')
		length--;
	if (!take_line(r, line, length) || length + 2 > (size_t)size)
		length = 0;
	r->awaits_entry = length > 0;
	memcpy(into, line, length);
	into[length] = '\n';
	into[length + 1] = '\0';
	return into;
}

/* An ini_handler: one entry of the last section. */
static int take_entry(
	void *context, const char *section, const char *key, const char *value)
{
	struct reader *r = context;
	struct document *d = r->document;
	(void)section; /* the reader keeps the sections */
	r->awaits_entry = false;
	if (d->count == 0) {
		remark(r->faults, r->line, "'%s' stands before the first section", key);
		return 1;
	}
	struct section *s = &d->sections[d->count - 1];
	if (s->kind == SECTION_COUNT)
		return 1;
	const struct option *option = option_find(s->kind, key);
	if (!option) {
		unknown_key(r, s, key);
		return 1;
	}
	for (size_t i = 0; i < s->count; i++)
		if (strcmp(s->entries[i].key, key) == 0) {
			remark(r->faults, r->line,
				"'%s' is given twice; first in line %d", key,
				s->entries[i].line);
			return 1;
		}
	s->entries = xrealloc(s->entries, s->count + 1, sizeof(*s->entries));
	s->entries[s->count++] = (struct entry){.option = option,
		.key = xstrdup(key),
		.value = xstrdup(value),
		.line = r->line};
	return 1;
}

void document_read(struct document *document, const char *text, size_t length,
	struct remarks *faults)
{
	struct reader r = {
		.text = text, .left = length, .document = document, .faults = faults};
	if (length >= 3 && memcmp(text, "\xef\xbb\xbf", 3) == 0) {
		r.text += 3;
		r.left -= 3;
	}
	/* Its answer is the first line it could not split: end_line() told all of them.
	 */
	(void)ini_parse_stream(next_line, &r, take_entry, &r);
}

void document_release(struct document *document)
{
	for (size_t i = 0; i < document->count; i++) {
		struct section *s = &document->sections[i];
		for (size_t k = 0; k < s->count; k++) {
			free(s->entries[k].key);
			free(s->entries[k].value);
		}
		free(s->entries);
		free(s->name);
	}
	free(document->sections);
	*document = (struct document){0};
}

const struct section *document_next(
	const struct document *d, enum section_kind kind, const struct section *former)
{
	for (size_t i = former ? (size_t)(former - d->sections) + 1 : 0; i < d->count;
		i++)
		if (d->sections[i].kind == kind && !d->sections[i].ignored)
			return &d->sections[i];
	return NULL;
}

const struct section *document_section(const struct document *d, enum section_kind kind)
{
	return document_next(d, kind, NULL);
}

const struct entry *section_entry(const struct section *section, const char *key)
{
	for (size_t i = 0; section && i < section->count; i++)
		if (strcmp(section->entries[i].key, key) == 0)
			return &section->entries[i];
	return NULL;
}
