/*
 * The table reader: hand-made rows with their verdicts (tests/data/ugly_rows.txt, whose
 * first lines tell its form), what only shows in whole files, and local times against
 * tests/data/time_ambiguous_local.csv (computed with Python's zoneinfo). Quoting: RFC
 * 4180, section 2.
 */
#include <heatbook/calendar.h>
#include <heatbook/table.h>

#include "unit.h"

/* 2026-11-28T06:00:00Z */
#define NOW INT64_C(1795845600000)

struct outcome {
	struct buffer text; /* a line for each row and rejected line, in their order */
	struct buffer said;
	struct table_counts counts;
	int result;
};

static int take_row(const struct record *row, void *context)
{
	struct outcome *o = context;
	char stamp[32];
	time_text_utc(row->t_ms, stamp);
	buffer_addf(&o->text, "%s", stamp);
	if (row->number[0])
		buffer_addf(&o->text, "/%lld", (long long)row->number[0]);
	buffer_addf(&o->text, " %.*s\n", (int)row->payload_length,
		(const char *)row->payload);
	ck_assert_int_eq(row->kind, RECORD_ROW);
	ck_assert_int_eq(row->boot_ms, -1);
	ck_assert_uint_ge(row->head_length, 2);
	return 0;
}

static void take_rejected(
	uint64_t line, const char *why, const char *text, size_t length, void *context)
{
	struct outcome *o = context;
	buffer_addf(&o->text, "reject %llu: %s: %.*s\n", (unsigned long long)line, why,
		(int)length, text);
}

static struct config *configured(const char *table)
{
	struct config *config = NULL;
	struct faults faults = {0};
	_cleanup_(freep) char *text = xasprintf("[plant]\nzone = UTC\n[channel a]\n"
						"[channel b]\n[table t]\n%s",
		table);
	int r = config_parse("t.conf", text, strlen(text), &config, &faults, NULL);
	ck_assert_msg(r == 0, "%s in\n%s", faults.count ? faults.lines[0] : "?", text);
	return config;
}

/* The whole file through a reader of that section. */
static struct outcome outcome_of(const char *table, const char *text, size_t length)
{
	_cleanup_(config_freep) struct config *config = configured(table);
	struct outcome o = {.result = 0};
	const struct table_sink sink = {take_row, take_rejected, &o};
	struct table_reader *reader = NULL;
	int r = table_reader_new(&config->tables[0], NULL, "UTC", NOW, &sink, &reader);
	ck_assert_int_eq(r, 0);
	for (const char *at = text, *end = text + length; at < end && r == 0;) {
		const char *next = memchr(at, '\n', (size_t)(end - at));
		r = table_reader_line(reader, at, (size_t)((next ? next : end) - at));
		at = next ? next + 1 : end;
	}
	o.result = r == 0 ? table_reader_end(reader) : r;
	o.counts = table_reader_counts(reader);
	buffer_add_text(&o.said, table_reader_said(reader));
	(void)buffer_text(&o.text);
	(void)buffer_text(&o.said);
	table_reader_free(reader);
	return o;
}

static void outcome_release(struct outcome *o)
{
	buffer_release(&o->text);
	buffer_release(&o->said);
}

/* ---- the data file ---- */

/* \n \r \t \\ \xHH */
static void add_plain(struct buffer *b, const char *text, size_t length)
{
	for (size_t i = 0; i < length; i++) {
		char c = text[i];
		if (c == '\\' && i + 1 < length) {
			c = text[++i];
			char hex[3] = {text[i + 1 < length ? i + 1 : i],
				text[i + 2 < length ? i + 2 : i], '\0'};
			if (c == 'x') {
				c = (char)strtoul(hex, NULL, 16);
				i += 2;
			} else
				c = (char)(c == 'n'   ? '\n'
					   : c == 'r' ? '\r'
					   : c == 't' ? '\t'
						      : c);
		}
		buffer_add(b, &c, 1);
	}
}

struct verdict {
	char *text;
	size_t length, lines; /* what it wants, physical lines that it covers */
	int line;             /* in the data file */
};

struct group {
	struct buffer config, file;
	char *said; /* wanted, or NULL */
	struct verdict *verdicts;
	size_t count;
	int line;
};

/* The row's text as one line of the outcome has it. */
static const char *wanted_row(const char *outcome, const struct verdict *v)
{
	const char *end = strchr(outcome, ' ');
	size_t stamp = end ? (size_t)(end - outcome) : 0;
	return stamp == v->length && memcmp(outcome, v->text, stamp) == 0 ? end : NULL;
}

static const char *after_row(const char *at, const struct verdict *v)
{
	for (size_t i = 0; i < v->lines; i++)
		at += strcspn(at, "\n") + 1;
	return at;
}

static void check_verdicts(struct group *g)
{
	struct outcome o =
		outcome_of(buffer_text(&g->config), g->file.data, g->file.length);
	const char *at = buffer_text(&o.text);
	uint64_t line = 1, skipped = 0;
	if (g->said)
		ck_assert_msg(strstr(buffer_text(&o.said), g->said) != NULL,
			"line %d: said '%s'", g->line, buffer_text(&o.said));
	for (size_t i = 0; i < g->count; i++) {
		const struct verdict *v = &g->verdicts[i];
		if (strncmp(v->text, "skip", 4) == 0)
			skipped++;
		else if (strncmp(v->text, "reject ", 7) == 0) {
			_cleanup_(freep) char *want =
				xasprintf("reject %llu: ", (unsigned long long)line);
			size_t n = strcspn(at, "\n");
			_cleanup_(freep) char *got = xstrndup(at, n);
			ck_assert_msg(strncmp(got, want, strlen(want)) == 0 &&
					      strstr(got, v->text + 7),
				"line %d: wanted %s, got %s", v->line, v->text, got);
			at = after_row(at, v);
		} else if (v->text[0] >= '0' && v->text[0] <= '9') {
			ck_assert_msg(wanted_row(at, v) != NULL,
				"line %d: wanted %s, got %.60s", v->line, v->text, at);
			at = after_row(at, v);
		} else
			ck_assert_msg(strncmp(v->text, "refuse", 6) == 0,
				"line %d: no verdict", v->line);
		line += v->lines;
	}
	bool refused = g->count > 0 && strcmp(g->verdicts[0].text, "refuse") == 0;
	ck_assert_msg(o.result == (refused ? TABLE_REFUSED : 0), "line %d: %d, said %s",
		g->line, o.result, buffer_text(&o.said));
	if (!refused)
		ck_assert_msg(*at == '\0' && o.counts.skipped == skipped,
			"line %d: more came, or other lines were skipped (%llu, not "
			"%llu): %s",
			g->line, (unsigned long long)o.counts.skipped,
			(unsigned long long)skipped, at);
	outcome_release(&o);
}

static void group_reset(struct group *g)
{
	for (size_t i = 0; i < g->count; i++)
		free(g->verdicts[i].text);
	free(g->verdicts);
	free(g->said);
	buffer_release(&g->config);
	buffer_release(&g->file);
	*g = (struct group){0};
}

/* "verdict | line | why" */
static void add_verdict(struct group *g, char *line, int number)
{
	char *text = strstr(line, " | "), *why = text ? strstr(text + 3, " | ") : NULL;
	while (why && strstr(why + 3, " | "))
		why = strstr(why + 3, " | "); /* the line itself may hold it */
	ck_assert_msg(why && strlen(why) > 6, "line %d: no sentence of why", number);
	*text = '\0';
	size_t from = g->file.length;
	add_plain(&g->file, text + 3, (size_t)(why - text - 3));
	size_t lines = 1;
	for (size_t i = from; i < g->file.length; i++)
		lines += g->file.data[i] == '\n';
	buffer_add_text(&g->file, "\n");
	g->verdicts = xrealloc(g->verdicts, g->count + 1, sizeof(*g->verdicts));
	g->verdicts[g->count++] =
		(struct verdict){xstrdup(line), strlen(line), lines, number};
}

TEST(each_row_gets_its_verdict)
{
	FILE *f = fopen(data_path("ugly_rows.txt"), "re");
	ck_assert_ptr_nonnull(f);
	char *line = NULL;
	size_t size = 0, rows = 0, groups = 0;
	struct group g = {.line = 0};
	int number = 0;
	ssize_t n;
	while ((n = getline(&line, &size, f)) > 0) {
		number++;
		line[strcspn(line, "\n")] = '\0';
		if (line[0] == '%' || !line[0])
			continue;
		if (strncmp(line, "== ", 3) == 0) {
			if (g.line)
				check_verdicts(&g);
			group_reset(&g);
			g.line = number;
			groups++;
		} else if (strncmp(line, "said ", 5) == 0)
			g.said = xstrdup(line + 5);
		else if (strncmp(line, ": ", 2) == 0)
			buffer_addf(&g.config, "%s\n", line + 2);
		else {
			add_verdict(&g, line, number);
			rows++;
		}
	}
	check_verdicts(&g);
	group_reset(&g);
	free(line);
	(void)fclose(f); /* only read */
	ck_assert_uint_gt(groups, 20);
	ck_assert_uint_gt(rows, 150);
}
END

TESTS(each_row_gets_its_verdict)
