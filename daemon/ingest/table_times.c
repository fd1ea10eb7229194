/*
 * Which column of a table holds the times, and in which form, by its first rows. See
 * table_form.h.
 *
 * Each form is tried on each row; the one that reads most of them is it. Day and month
 * can be mistaken for each other where neither is above 12: then a form is right under
 * which the lines never run back while under its rival they do; else further rows may
 * tell, and in the end the owner has to. Dots are day first wherever they are used; a
 * year of four digits in front goes before month and day (ISO 8601).
 */
#include "table_form.h"

#include <heatbook/record.h>
#include <heatbook/table.h>

#include <string.h>

#define COLUMNS_TRIED 200
#define ROWS_TRIED    256 /* while it is not about day and month */

static const char *const patterns[] = {TIME_PATTERN_ISO, "YYYY/MM/DD hh:mm:ss",
	"YYYY.MM.DD hh:mm:ss", "DD.MM.YYYY hh:mm:ss", "DD.MM.YY hh:mm:ss",
	"DD.MM. hh:mm:ss", "DD.MM hh:mm:ss", "DD/MM/YYYY hh:mm:ss", "MM/DD/YYYY hh:mm:ss",
	"DD-MM-YYYY hh:mm:ss", "MM-DD-YYYY hh:mm:ss", "DD/MM/YY hh:mm:ss",
	"MM/DD/YY hh:mm:ss", "YY/MM/DD hh:mm:ss", "DD-MM-YY hh:mm:ss",
	"MM-DD-YY hh:mm:ss", "YY-MM-DD hh:mm:ss", "DD/MM hh:mm:ss", "MM/DD hh:mm:ss",
	"DD-MM hh:mm:ss", "MM-DD hh:mm:ss", "YYYYMMDD hh:mm:ss", "YYYYMMDD hhmmss",
	"YYYYMMDDhhmmss", "YYYYMMDDhhmm", "YYYY-MM-DD", "YYYY/MM/DD", "YYYY.MM.DD",
	"DD.MM.YYYY", "DD.MM.YY", "DD/MM/YYYY", "MM/DD/YYYY", "DD-MM-YYYY", "MM-DD-YYYY",
	"DD/MM/YY", "MM/DD/YY", "YY/MM/DD", "DD-MM-YY", "MM-DD-YY", "YY-MM-DD",
	"YYYYMMDD"};

struct times {
	const struct table_config *table;
	const struct sample *sample;
	size_t first;
	int64_t now_ms;
	struct table_form *form;
	size_t rows; /* that fit the form, of those tried */
};

static const char *row_at(const struct times *t, size_t i, size_t *ret_length)
{
	const struct sample_row *row = &t->sample->rows[i];
	*ret_length = row->length;
	return t->sample->bytes.data + row->at;
}

/* The next row's time from *at on; SIZE_MAX at the end. */
static size_t next_time(
	const struct times *t, size_t *at, size_t end, char into[static TIME_TEXT_MOST])
{
	for (; *at < end; (*at)++) {
		size_t length;
		const char *row = row_at(t, *at, &length);
		if (t->sample->rows[*at].comment || !row_fits(t->form, row, length))
			continue;
		size_t n = row_time(t->form, row, length, into);
		(*at)++;
		return n == SIZE_MAX ? 0 : n;
	}
	return SIZE_MAX;
}

static size_t tried_end(const struct times *t)
{
	size_t end = t->first + ROWS_TRIED;
	return end < t->sample->count ? end : t->sample->count;
}

static size_t count_rows(const struct times *t)
{
	char text[TIME_TEXT_MOST];
	size_t count = 0, at = t->first, end = tried_end(t);
	while (next_time(t, &at, end, text) != SIZE_MAX)
		count++;
	return count;
}

static bool plausible(const struct times *t, int64_t ms)
{
	return ms >= STAMP_LEAST_MS && ms <= t->now_ms + MS_PER_DAY;
}

/* Rows whose time is a number; *ret_plausible: of these, those that lie in the past. */
static size_t count_numbers(const struct times *t, size_t *ret_plausible)
{
	char text[TIME_TEXT_MOST];
	size_t count = 0, at = t->first, end = tried_end(t), n;
	int64_t ms;
	*ret_plausible = 0;
	while ((n = next_time(t, &at, end, text)) != SIZE_MAX)
		if (time_number_read(text, n, t->form->per_second, &ms)) {
			count++;
			*ret_plausible += plausible(t, ms + t->table->origin_ms);
		}
	return count;
}

static bool local_ms(const struct times *t, const struct time_pattern *p,
	const char *text, size_t length, int64_t *ret)
{
	struct written_time w;
	const char *why;
	int year = t->table->year ? t->table->year : 2000; /* a leap year */
	return time_pattern_read(p, text, length, &w, &why) &&
	       written_time_ms(&w, w.year ? w.year : year, ret);
}

/* How many rows the pattern reads, and how often their times fall. */
static size_t count_pattern(const struct times *t, const struct time_pattern *p,
	size_t end, size_t *ret_falls)
{
	char text[TIME_TEXT_MOST];
	size_t count = 0, at = t->first, n;
	int64_t ms, last = INT64_MIN;
	*ret_falls = 0;
	while ((n = next_time(t, &at, end, text)) != SIZE_MAX) {
		if (!local_ms(t, p, text, n, &ms))
			continue;
		*ret_falls += ms < last;
		last = ms;
		count++;
	}
	return count;
}

static void take_pattern(struct table_form *form, const char *text)
{
	const char *why;
	(void)time_pattern_compile(text, &form->pattern, &why); /* checked before */
	(void)snprintf(form->pattern_text, sizeof(form->pattern_text), "%s", text);
}

static int refuse(const struct times *t, struct buffer *said, const char *format, ...)
	PRINTF_LIKE(3, 4);
static int refuse(const struct times *t, struct buffer *said, const char *format, ...)
{
	_cleanup_(freep) char *text = NULL;
	va_list args;
	va_start(args, format);
	if (vasprintf(&text, format, args) < 0)
		abort(); /* out of memory or a wrong format of our own */
	va_end(args);
	buffer_addf(said, "%s [table %s]", text, t->table->name);
	return DETECT_REFUSED;
}

/* Of the two patterns that read all rows, the one by which they run on. */
static int by_order(
	struct times *t, const char *const two[static 2], bool final, struct buffer *said)
{
	size_t read[2], falls[2];
	for (int i = 0; i < 2; i++) {
		struct time_pattern p;
		const char *why;
		(void)time_pattern_compile(two[i], &p, &why); /* our own */
		read[i] = count_pattern(t, &p, t->sample->count, &falls[i]);
	}
	int better = read[0] != read[1] ? read[1] > read[0] : falls[1] < falls[0];
	bool clear = read[0] != read[1] || (falls[better] == 0 && falls[!better] > 0);
	if (clear) {
		take_pattern(t->form, two[better]);
		return 0;
	}
	if (!final)
		return DETECT_MORE;
	return refuse(t, said,
		"its times may be %s or %s, which its rows do not tell: set time_form to "
		"the one that is right in",
		two[0], two[1]);
}

/* The pattern that reads most rows of the present column, or none. */
static int by_pattern(struct times *t, bool final, bool *ret_found, struct buffer *said)
{
	const char *best[3];
	size_t most = 0, bests = 0;
	for (size_t i = 0; i < ARRAY_LEN(patterns); i++) {
		struct time_pattern p;
		const char *why;
		size_t falls;
		(void)time_pattern_compile(patterns[i], &p, &why); /* our own */
		size_t read = count_pattern(t, &p, tried_end(t), &falls);
		if (read > most)
			bests = 0;
		if (read >= most && read > 0 && bests < ARRAY_LEN(best))
			best[bests++] = patterns[i];
		most = read > most ? read : most;
	}
	*ret_found = most > 0 && most * 2 >= t->rows;
	if (!*ret_found)
		return 0;
	if (bests == 3) /* years of two digits */
		return refuse(t, said,
			"its times may be %s, %s or %s: set time_form to the one that is "
			"right in",
			best[0], best[1], best[2]);
	if (bests == 2)
		return by_order(t, best, final, said);
	take_pattern(t->form, best[0]);
	return 0;
}

/* The form of the present column. */
static int detect_form(struct times *t, bool final, bool *ret_found, struct buffer *said)
{
	size_t past = 0, numbers;
	t->rows = count_rows(t);
	numbers = count_numbers(t, &past);
	*ret_found = past > 0 && past * 2 >= t->rows;
	t->form->numeric = *ret_found;
	if (*ret_found)
		return 0;
	int r = by_pattern(t, final, ret_found, said);
	if (r == 0 && !*ret_found && t->table->time_column && numbers * 2 > t->rows)
		return refuse(t, said,
			"its times are numbers that do not count from 1970: set "
			"time_form = "
			"s, ms, us or ns, and origin to what they count from, in");
	return r;
}

/* What the section says of the form. */
static bool declared_form(struct times *t)
{
	static const int64_t per_second[] = {[TIME_FORM_S] = 1,
		[TIME_FORM_MS] = 1000,
		[TIME_FORM_US] = 1000000,
		[TIME_FORM_NS] = 1000000000,
		[TIME_FORM_ISO] = 0};
	enum time_form form = t->table->time_form;
	t->form->pattern_text[0] = '\0';
	if (t->table->time_pattern)
		take_pattern(t->form, t->table->time_pattern);
	else if (form == TIME_FORM_ISO)
		take_pattern(t->form, TIME_PATTERN_ISO);
	else if (form == TIME_FORM_DETECT)
		return false;
	t->form->numeric = !t->form->pattern_text[0];
	t->form->per_second = t->form->numeric ? per_second[form] : 0;
	return true;
}

/* Does the present column hold times of the form that was declared? */
static bool form_fits(const struct times *t)
{
	size_t falls, past = 0;
	size_t read = t->form->numeric
			      ? count_numbers(t, &past)
			      : count_pattern(t, &t->form->pattern, tried_end(t), &falls);
	size_t rows = count_rows(t);
	return (!t->form->numeric || past > 0) && read * 2 >= rows && read > 0;
}

/* The first column that holds times. */
static int find_column(struct times *t, bool declared, bool final, struct buffer *said)
{
	uint32_t end = t->form->fields < COLUMNS_TRIED ? t->form->fields : COLUMNS_TRIED;
	for (uint32_t field = 0; field < end; field++) {
		bool found = false;
		t->form->time_field = field;
		int r = 0;
		if (declared)
			found = form_fits(t);
		else
			r = detect_form(t, final, &found, said);
		if (r != 0 || found)
			return r;
	}
	return refuse(t, said,
		"none of its columns holds times of a form that is known: set time, and "
		"time_form, in");
}

static int named_column(struct times *t, bool declared, bool final, struct buffer *said)
{
	const struct table_config *c = t->table;
	bool found = true;
	int r = 0;
	t->form->time_field = table_field(t->form, c->time_column);
	t->form->clock_field =
		c->clock_column ? table_field(t->form, c->clock_column) : NO_FIELD;
	bool lacks_time = t->form->time_field == NO_FIELD;
	if (lacks_time || (c->clock_column && t->form->clock_field == NO_FIELD))
		return refuse(t, said, "it has no column '%s': set time in",
			lacks_time ? c->time_column : c->clock_column);
	if (!declared)
		r = detect_form(t, final, &found, said);
	if (r == 0 && !found)
		return refuse(t, said,
			"the times in its column '%s' are of no form that is known: set "
			"time_form in",
			c->time_column);
	return r;
}

int table_detect_times(const struct table_config *table, const struct sample *sample,
	size_t first, bool final, int64_t now_ms, struct table_form *form,
	struct buffer *said)
{
	struct times t = {table, sample, first, now_ms, form, 0};
	bool declared = declared_form(&t);
	int r = table->time_column ? named_column(&t, declared, final, said)
				   : find_column(&t, declared, final, said);
	if (r == 0 && !form->numeric && !form->pattern.year && !table->year)
		return refuse(&t, said,
			"its times (%s) have no year: set year to that of its first row "
			"in",
			form->pattern_text);
	return r;
}
