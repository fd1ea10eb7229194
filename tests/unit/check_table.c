/*
 * The table reader: hand-made rows with their verdicts (tests/data/ugly_rows.txt, whose
 * first lines tell its form), what only shows in whole files, and local times against
 * tests/data/time_ambiguous_local.csv (computed with Python's zoneinfo). Quoting: RFC
 * 4180, section 2.
 */
#include "table_outcome.h"

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
	while (getline(&line, &size, f) > 0) {
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

	/* ---- whole files ---- */

	static void
	add_stamp(struct buffer *b, bool us, int64_t t_s)
{
	char text[64];
	time_t t = (time_t)t_s;
	struct tm tm;
	ck_assert_ptr_nonnull(localtime_r(&t, &tm));
	size_t n = us ? strftime(text, sizeof(text), "%m/%d/%Y %H:%M", &tm)
		      : strftime(text, sizeof(text), "%Y-%m-%d %H:%M:%S", &tm);
	ck_assert_uint_gt(n, 0);
	buffer_addf(b, "%s,1.5\n", text);
}

/* Every five minutes around the hour, as the zone's clock shows them. */
static void through_the_hour(const char *zone, int64_t from_s, int64_t to_s)
{
	struct buffer file = {0};
	char stamp[32];
	_cleanup_(freep) char *table = xasprintf("zone = %s\ncolumn.a = a\n", zone);
	buffer_add_text(&file, "t,a\n");
	ck_assert_int_eq(calendar_set_zone(zone), 0);
	for (int64_t t_s = from_s - 7200; t_s <= to_s + 7200; t_s += 300)
		add_stamp(&file, false, t_s);
	struct outcome o = outcome_of(table, file.data, file.length);
	const char *at = buffer_text(&o.text);
	for (int64_t t_s = from_s - 7200; t_s <= to_s + 7200; t_s += 300) {
		time_text_utc(t_s * 1000, stamp);
		ck_assert_msg(strncmp(at, stamp, strlen(stamp)) == 0, "%s: %s, got %.40s",
			zone, stamp, at);
		at += strcspn(at, "\n") + 1;
	}
	outcome_release(&o);
	buffer_release(&file);
}

static void local_time(char **f, size_t count, void *context)
{
	size_t *kinds = context;
	ck_assert_uint_eq(count, 7);
	int64_t first = strtoll(f[3], NULL, 10), second = strtoll(f[4], NULL, 10);
	_cleanup_(freep) char *table = xasprintf("zone = %s\ncolumn.a = a\n", f[0]);
	_cleanup_(freep) char *file = xasprintf("t,a\n%s,1\n", f[1]);
	struct outcome o = outcome_of(table, file, strlen(file));
	char stamp[32];
	time_text_utc(first * 1000, stamp);
	if (strcmp(f[2], "nonexistent") == 0) {
		kinds[0]++;
		ck_assert_ptr_nonnull(strstr(buffer_text(&o.text),
			"reject 2: bears a local time that its zone's clock was set "
			"forward over"));
		through_the_hour(f[0], second, first);
	} else {
		kinds[1]++;
		ck_assert_msg(strncmp(buffer_text(&o.text), stamp, strlen(stamp)) == 0,
			"%s %s: %s", f[0], f[1], buffer_text(&o.text));
		ck_assert_uint_eq(o.counts.twice, strcmp(f[2], "ambiguous") == 0);
		through_the_hour(f[0], first, second);
	}
	outcome_release(&o);
}

TEST(local_times_go_by_the_zone_and_the_order_of_lines)
{
	size_t kinds[2] = {0};
	ck_assert_uint_ge(data_rows("time_ambiguous_local.csv", local_time, kinds), 9);
	ck_assert(kinds[0] >= 4 && kinds[1] >= 5);
}
END

/* Twelve days tell nothing of what is day and what is month; the thirteenth does. */
TEST(rows_that_tell_day_and_month_may_come_late)
{
	struct buffer file = {0};
	char stamp[40];
	ck_assert_int_eq(calendar_set_zone("UTC"), 0);
	buffer_add_text(&file, "t,a\n");
	const int64_t from_s = 1767225600; /* 2026-01-01 */
	for (int64_t i = 0; i < 1440 * 13; i++)
		add_stamp(&file, true, from_s + 60 * i);
	struct outcome o = outcome_of("column.a = a\n", file.data, file.length);
	ck_assert_int_eq(o.result, 0);
	ck_assert_uint_eq(o.counts.rows, 1440 * 13);
	time_text_utc((from_s + 1440 * 60) * 1000, stamp);
	ck_assert_ptr_nonnull(strstr(buffer_text(&o.text), stamp));
	ck_assert_ptr_nonnull(strstr(buffer_text(&o.said), "MM/DD/YYYY"));
	outcome_release(&o);
	buffer_release(&file);
}
END

TEST(rows_that_never_tell_are_refused_within_bounds)
{
	_cleanup_(config_freep) struct config *config = configured("column.a = a\n");
	struct outcome o = {.result = 0};
	const struct table_sink sink = {take_row, take_rejected, &o};
	struct table_reader *reader = NULL;
	ck_assert_int_eq(
		table_reader_new(&config->tables[0], NULL, "UTC", NOW, &sink, &reader),
		0);
	int r = table_reader_line(reader, "t,a", 3);
	size_t bytes = 0;
	while (r == 0 && bytes < (64U << 20)) {
		static const char line[] = "01/02/2026 00:00,1.5";
		r = table_reader_line(reader, line, sizeof(line) - 1);
		bytes += sizeof(line) - 1;
	}
	ck_assert_int_eq(r, TABLE_REFUSED);
	ck_assert_uint_lt(bytes, 4U << 20);
	ck_assert_ptr_nonnull(strstr(table_reader_said(reader), "set time_form"));
	ck_assert_int_eq(table_reader_line(reader, "", 0), TABLE_REFUSED);
	ck_assert_int_eq(table_reader_end(reader), TABLE_REFUSED);
	ck_assert_uint_eq(o.text.length, 0);
	table_reader_free(reader);
	outcome_release(&o);
}
END

#define WIDE 600 /* columns: their delimiters are more than a byte counts */

	/* A row of so many cells, and one character at a place behind its time. */
	static void
	add_wide(struct buffer *file, size_t cells, char odd, size_t place)
{
	size_t begin = file->length;
	buffer_add_text(file, "1767225600");
	for (size_t i = 1; i < cells; i++)
		buffer_add_text(file, ",5");
	if (odd)
		file->data[begin + sizeof("1767225600") + 2 * place] = odd;
	buffer_add_text(file, "\n");
}

TEST(wide_rows_are_counted_and_looked_through_to_their_end)
{
	struct buffer file = {0};
	buffer_add_text(&file, "t,a");
	for (int i = 2; i < WIDE; i++)
		buffer_addf(&file, ",c%d", i);
	buffer_add_text(&file, "\n");
	for (size_t place = 0; place + 1 < WIDE; place++) {
		add_wide(&file, WIDE, 0, 0);
		add_wide(&file, WIDE, '\t', place);
		add_wide(&file, WIDE, '\x01', place);
	}
	add_wide(&file, WIDE - 256, 0, 0); /* as many in its last byte */
	add_wide(&file, WIDE + 256, 0, 0);
	struct outcome o = outcome_of("column.a = a\n", file.data, file.length);
	ck_assert_int_eq(o.result, 0);
	ck_assert_uint_eq(o.counts.rows, 2 * (WIDE - 1));
	ck_assert_uint_eq(o.counts.rejected, WIDE - 1 + 2);
	ck_assert_ptr_nonnull(
		strstr(buffer_text(&o.text), "has 344 cells where 600 are due"));
	ck_assert_ptr_nonnull(
		strstr(buffer_text(&o.text), "has 856 cells where 600 are due"));
	outcome_release(&o);
	buffer_release(&file);
}
END

/* Each row that opens a quote is lost alone. */
TEST(quotes_that_never_close_lose_their_own_lines_only)
{
	struct buffer file = {0};
	ck_assert_int_eq(calendar_set_zone("UTC"), 0);
	buffer_add_text(&file, "t,a\n");
	size_t good = 0, bad = 0;
	for (int64_t i = 0; i < 20000; i++)
		if (i % 100 == 37) {
			buffer_add_text(&file, "2026-01-01 00:00:00,\"oops\n");
			bad++;
		} else {
			add_stamp(&file, false, 1767225600 + i);
			good++;
		}
	struct outcome o = outcome_of("column.a = a\n", file.data, file.length);
	ck_assert_int_eq(o.result, 0);
	ck_assert_uint_eq(o.counts.rows, good);
	ck_assert_uint_eq(o.counts.rejected, bad);
	outcome_release(&o);
	buffer_release(&file);
}
END

TEST(a_row_longer_than_any_is_rejected)
{
	struct buffer file = {0};
	buffer_add_text(&file, "t,a\n2026-01-31 14:05,");
	for (int i = 0; i < ROW_MOST; i++)
		buffer_add(&file, "1", 1);
	buffer_add_text(&file, "\n2026-01-31 14:06,1\n");
	struct outcome o = outcome_of("column.a = a\n", file.data, file.length);
	ck_assert_uint_eq(o.counts.rows, 1);
	ck_assert_uint_eq(o.counts.rejected, 1);
	ck_assert_ptr_nonnull(strstr(buffer_text(&o.text), "is longer than any row"));
	outcome_release(&o);
	buffer_release(&file);
}
END

TEST(utf_16_is_refused_with_what_helps)
{
	static const char text[] = "\xff\xfet\0,\0a\0\n\0";
	struct outcome o = outcome_of("column.a = a\n", text, sizeof(text) - 1);
	ck_assert_int_eq(o.result, TABLE_REFUSED);
	ck_assert_ptr_nonnull(strstr(buffer_text(&o.said), "save it as UTF-8"));
	outcome_release(&o);
}
END

	static int
	no_space(const struct record *row, void *context)
{
	(void)row;
	(void)context;
	return -28; /* ENOSPC */
}

TEST(what_stops_the_sink_stops_the_reader)
{
	_cleanup_(config_freep) struct config *config = configured("column.a = #2\n");
	const struct table_sink sink = {no_space, take_rejected, NULL};
	struct table_reader *reader = NULL;
	ck_assert_int_eq(
		table_reader_new(&config->tables[0], NULL, "UTC", NOW, &sink, &reader),
		0);
	ck_assert_int_eq(table_reader_line(reader, "1769868300,5", 12), 0);
	ck_assert_int_eq(table_reader_end(reader), -28);
	table_reader_free(reader);
	ck_assert_int_eq(table_reader_new(&config->tables[0], "Middle/Earth", "UTC", NOW,
				 &sink, &reader),
		-2 /* ENOENT */);
}
END

	/* The header that goes with each row, by which its cells are found later. */
	static int
	keep_head(const struct record *row, void *context)
{
	struct buffer *b = context;
	buffer_addf(b, "[%.*s]", (int)row->head_length, row->head);
	return 0;
}

TEST(each_row_bears_its_header_in_utf_8)
{
	static const char *const lines[] = {"Zeit;Au\xdf"
					    "en",
		"31.01.2026 14:05;1,5",
		"Zeit;x;Au\xdf"
		"en",
		"31.01.2026 14:06;2;1,5"};
	_cleanup_(config_freep) struct config *config =
		configured("time = Zeit\ncolumn.a = Außen\n");
	struct buffer heads = {0};
	const struct table_sink sink = {keep_head, take_rejected, &heads};
	struct table_reader *reader = NULL;
	ck_assert_int_eq(
		table_reader_new(&config->tables[0], NULL, "UTC", NOW, &sink, &reader),
		0);
	for (size_t i = 0; i < ARRAY_LEN(lines); i++)
		ck_assert_int_eq(
			table_reader_line(reader, lines[i], strlen(lines[i])), 0);
	ck_assert_int_eq(table_reader_end(reader), 0);
	ck_assert_str_eq(buffer_text(&heads), "[;,Zeit;Außen][;,Zeit;x;Außen]");
	table_reader_free(reader);
	buffer_release(&heads);
}
END

TESTS(each_row_gets_its_verdict, local_times_go_by_the_zone_and_the_order_of_lines,
	rows_that_tell_day_and_month_may_come_late,
	rows_that_never_tell_are_refused_within_bounds,
	wide_rows_are_counted_and_looked_through_to_their_end, quotes_that_never_close_lose_their_own_lines_only,
	a_row_longer_than_any_is_rejected, utf_16_is_refused_with_what_helps,
	what_stops_the_sink_stops_the_reader, each_row_bears_its_header_in_utf_8)
