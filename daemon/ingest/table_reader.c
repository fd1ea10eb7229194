/*
 * The reader of tables: lines into rows, rows into records. See table.h.
 *
 * Nearly all rows have no quotes: they cost one look for quotes, one count of delimiters
 * and their time. Everything else goes cell by cell (table_rows.c).
 *
 * A quote that is never closed would swallow the rest of the file. So one may span 64
 * lines; then its first line is rejected and the others are read anew.
 */
#include <heatbook/table.h>

#include "table_form.h"
#include "table_share.h"

#include <string.h>

#define SAMPLE_ROWS  256
#define SAMPLE_BYTES (1 << 20) /* for as long as day and month are not told apart */
#define OPEN_LINES   64

struct table_reader {
	const struct table_config *table;
	struct table_sink sink;
	struct table_counts counts;
	char *zone;
	struct table_form form;
	struct table_times times;
	struct sample sample;
	size_t wanted; /* rows of the sample before the next try */
	bool decided, refused;
	struct buffer said;
	struct buffer open; /* lines of a row whose quote is not closed yet */
	uint64_t open_line, open_lines;
	struct row_share *share; /* where the rows of a stamp share its interval */
	char why[96];
};

int table_reader_new(const struct table_config *table, const char *zone,
	const char *plant_zone, int64_t now_ms, const struct table_sink *sink,
	struct table_reader **ret)
{
	struct table_reader *r = xcalloc(1, sizeof(*r));
	r->table = table;
	r->sink = *sink;
	r->wanted = SAMPLE_ROWS;
	r->zone = xstrdup(zone ? zone : table->zone ? table->zone : plant_zone);
	r->times = (struct table_times){
		.table = table, .form = &r->form, .now_ms = now_ms, .year = table->year};
	int failed = wall_clock_new(r->zone, &r->times.clock);
	if (failed == 0 && table->interval_ms > 0 && table->interval_ms % MS_PER_DAY == 0)
		failed = wall_clock_new(r->zone, &r->times.days);
	if (table->same_stamp == SAME_STAMP_DIVIDE)
		r->share = row_share_new(table->interval_ms, table->covers_before);
	if (failed != 0) {
		table_reader_free(r);
		return failed;
	}
	*ret = r;
	return 0;
}

void table_reader_free(struct table_reader *r)
{
	if (!r)
		return;
	table_form_release(&r->form);
	wall_clock_free(r->times.clock);
	wall_clock_free(r->times.days);
	sample_release(&r->sample);
	buffer_release(&r->said);
	buffer_release(&r->open);
	row_share_free(r->share);
	free(r->zone);
	free(r);
}

const char *table_reader_said(const struct table_reader *r)
{
	return r->said.length ? r->said.data : "";
}

struct table_counts table_reader_counts(const struct table_reader *r)
{
	struct table_counts counts = r->counts;
	counts.twice = r->times.twice;
	return counts;
}

static int reject(struct table_reader *r, uint64_t line, const char *why,
	const char *text, size_t length)
{
	r->counts.rejected++;
	r->sink.rejected(line, why, text, length, r->sink.context);
	return 0;
}

static int pass_over(struct table_reader *r)
{
	r->counts.skipped++;
	return 0;
}

/* ---- rows ---- */

static bool is_empty_row(const char *text, size_t length, char delimiter)
{
	for (size_t i = 0; i < length; i++)
		if (text[i] != delimiter && !is_blank(text[i]) && text[i] != '"')
			return false;
	return true;
}

static int hand_over(struct table_reader *r, int64_t t_ms, int64_t span_ms, uint64_t line,
	const char *text, size_t length)
{
	const struct record record = {.kind = RECORD_ROW,
		.t_ms = t_ms,
		.boot_ms = -1,
		.number = {span_ms == r->table->interval_ms ? 0 : span_ms, 0},
		.topic = r->table->name,
		.topic_length = strlen(r->table->name),
		.payload = (const unsigned char *)text,
		.payload_length = length,
		.head = r->form.head.data,
		.head_length = r->form.head.length};
	if (!r->share) {
		r->counts.rows++;
		return r->sink.row(&record, r->sink.context);
	}
	int failed = 0;
	if (!row_share_add(r->share, &record, &r->sink, &failed))
		return reject(r, line, "is one of more than 4096 rows on one stamp", text,
			length);
	r->counts.rows++;
	return failed;
}

/* A header that is repeated, or another one. */
static bool take_header(struct table_reader *r, const char *text, size_t length)
{
	struct buffer said = {0};
	const struct buffer *now = &r->form.header_row;
	if (!r->form.header)
		return false;
	if (length == now->length && memcmp(text, now->data, length) == 0)
		return true;
	if (!r->table->time_column ||
		!table_is_header(r->table, text, length, r->form.delimiter))
		return false;
	struct table_form form = {.delimiter = r->form.delimiter, .mark = r->form.mark};
	bool other = table_read_header(r->table, text, length, &form, &said);
	uint32_t time = other ? table_field(&form, r->table->time_column) : NO_FIELD;
	uint32_t clock = other && r->table->clock_column
				 ? table_field(&form, r->table->clock_column)
				 : NO_FIELD;
	other = time != NO_FIELD && (clock != NO_FIELD || !r->table->clock_column);
	if (other) {
		struct table_form before = r->form;
		r->form.header_row = form.header_row;
		r->form.head = form.head;
		r->form.fields = form.fields;
		r->form.last_empty = form.last_empty;
		r->form.time_field = time;
		r->form.clock_field = clock;
		form = before;
	}
	table_form_release(&form);
	buffer_release(&said);
	return other;
}

/* A row that is not as most are, or has quotes: the long way. */
static int odd_row(struct table_reader *r, const char *text, size_t length, uint64_t line)
{
	char time[TIME_TEXT_MOST];
	int64_t t_ms, span_ms;
	if (text[0] == '#' || is_empty_row(text, length, r->form.delimiter) ||
		take_header(r, text, length))
		return pass_over(r);
	if (is_binary(text, length))
		return reject(r, line, "holds bytes of control", text, length);
	if (row_is_broken(text, length, r->form.delimiter))
		return reject(r, line, "has text behind a closed quote", text, length);
	if (!row_fits(&r->form, text, length)) {
		(void)snprintf(r->why, sizeof(r->why), "has %u cells where %u are due",
			row_fields(text, length, r->form.delimiter), r->form.fields);
		return reject(r, line, r->why, text, length);
	}
	size_t n = row_time(&r->form, text, length, time);
	if (n == 0 || n == SIZE_MAX)
		return reject(r, line, n ? "the time is too long" : "has no time", text,
			length);
	const char *why = table_stamp(&r->times, time, n, &t_ms, &span_ms);
	return why ? reject(r, line, why, text, length)
		   : hand_over(r, t_ms, span_ms, line, text, length);
}

/* Delimiters of the row, and whether there is anything but plain text in it. By pieces
 * whose count fits a byte, so that many bytes are looked at in one step. */
static uint32_t count_plain(
	const char *text, size_t length, char delimiter, bool *ret_plain)
{
	const char *end = text + length;
	uint32_t count = 0;
	uint8_t odd = 0;
	while (text < end) {
		const char *stop = end - text > UINT8_MAX ? text + UINT8_MAX : end;
		uint8_t found = 0;
		for (; text < stop; text++) {
			uint8_t c = (uint8_t)*text;
			found = (uint8_t)(found + (c == (uint8_t)delimiter));
			odd |= (uint8_t)((c == '"') | ((c < 0x20) & (c != '\t')));
		}
		count += found;
	}
	*ret_plain = !odd;
	return count;
}

/* The cell of the time in a row without quotes. */
static const char *plain_time(
	const struct table_form *f, const char *text, size_t length, size_t *ret_length)
{
	const char *end = text + length;
	for (uint32_t i = 0; i < f->time_field; i++)
		text = (const char *)memchr(text, f->delimiter, (size_t)(end - text)) + 1;
	const char *next = memchr(text, f->delimiter, (size_t)(end - text));
	*ret_length = (size_t)((next ? next : end) - text);
	return text;
}

static int take_row(
	struct table_reader *r, const char *text, size_t length, uint64_t line)
{
	const struct table_form *f = &r->form;
	bool plain;
	size_t n;
	int64_t t_ms, span_ms;
	if (length > ROW_MOST)
		return reject(r, line, "is longer than any row", text, length);
	uint32_t delimiters = count_plain(text, length, f->delimiter, &plain);
	if (!plain || delimiters + 1 != f->fields || f->clock_field != NO_FIELD ||
		text[0] == '#')
		return odd_row(r, text, length, line);
	const char *time = plain_time(f, text, length, &n);
	if (n == 0 || table_stamp(&r->times, time, n, &t_ms, &span_ms) != NULL)
		return odd_row(r, text, length, line);
	return hand_over(r, t_ms, span_ms, line, text, length);
}

/* ---- the first rows ---- */

/* In its turn, behind the rows that wait. */
static int reject_early(struct table_reader *r, uint64_t line, const char *why,
	const char *text, size_t length)
{
	if (r->decided)
		return reject(r, line, why, text, length);
	sample_add(&r->sample, text, length < ROW_MOST ? length : ROW_MOST, line, why);
	return 0;
}

static int refuse(struct table_reader *r)
{
	(void)buffer_text(&r->said);
	r->refused = true;
	return TABLE_REFUSED;
}

/* Tells how the file is written, if the rows so far do, and hands them over. */
static int decide(struct table_reader *r, bool final)
{
	size_t header;
	const struct sample *s = &r->sample;
	switch (table_detect(
		r->table, s, final, r->times.now_ms, &r->form, &header, &r->said)) {
	case DETECT_MORE:
		r->wanted *= 4;
		return 0;
	case DETECT_REFUSED:
		return refuse(r);
	default:
		break;
	}
	r->decided = true;
	buffer_reset(&r->said);
	table_say(r->table, &r->form, r->zone, &r->said);
	(void)buffer_text(&r->said);
	int failed = 0;
	for (size_t i = 0; i < s->count && failed == 0; i++) {
		const struct sample_row *row = &s->rows[i];
		if (row->why)
			failed = reject(r, row->line, row->why, s->bytes.data + row->at,
				row->length);
		else if (row->comment || (header != SIZE_MAX && i <= header))
			failed = pass_over(r);
		else
			failed = take_row(
				r, s->bytes.data + row->at, row->length, row->line);
	}
	sample_release(&r->sample);
	return failed;
}

/* A file of comments alone has nothing to be told. */
static int decide_at_end(struct table_reader *r)
{
	bool any = false;
	for (size_t i = 0; i < r->sample.count && !any; i++)
		any = !r->sample.rows[i].comment || r->sample.rows[i].why;
	if (any)
		return decide(r, true);
	r->counts.skipped += r->sample.count;
	return 0;
}

/* A whole row, its quotes closed. */
static int whole_row(
	struct table_reader *r, const char *text, size_t length, uint64_t line)
{
	if (length > 0 && text[length - 1] == '\r')
		length--;
	if (length == 0 || (!r->decided && is_empty_row(text, length, ' ')))
		return pass_over(r);
	if (r->decided)
		return take_row(r, text, length, line);
	if (length > ROW_MOST)
		return reject_early(r, line, "is longer than any row", text, length);
	sample_add(&r->sample, text, length, line, NULL);
	bool full = r->sample.bytes.length > SAMPLE_BYTES;
	return full || r->sample.count >= r->wanted ? decide(r, full) : 0;
}

/* ---- lines ---- */

static bool parts(const struct table_reader *r, char c)
{
	if (r->decided)
		return c == r->form.delimiter;
	return c == ',' || c == ';' || c == '\t' || c == '|';
}

/* Is a quote open at the end of this line, which was so at its begin? */
static bool is_open(const struct table_reader *r, bool open, const char *text, size_t n)
{
	bool begins = !open;
	for (size_t i = 0; i < n; i++) {
		if (open) {
			open = text[i] != '"' || (i + 1 < n && text[i + 1] == '"');
			i += text[i] == '"' && open;
			begins = false;
		} else {
			open = begins && text[i] == '"';
			begins = parts(r, text[i]);
		}
	}
	return open;
}

static int take_line(
	struct table_reader *r, const char *text, size_t length, uint64_t line);

/* The quote in the first of the open lines is closed by none of them. */
static int give_up(struct table_reader *r)
{
	struct buffer lines = r->open;
	uint64_t line = r->open_line;
	int failed = 0;
	r->open = (struct buffer){0};
	const char *at = lines.data, *end = lines.data + lines.length;
	for (bool first = true; failed == 0 && at <= end; first = false, line++) {
		const char *next = memchr(at, '\n', (size_t)(end - at));
		size_t length = (size_t)((next ? next : end) - at);
		failed = first ? reject_early(r, line, "opens a quote that is not closed",
					 at, length)
			       : take_line(r, at, length, line);
		at = next ? next + 1 : end + 1;
	}
	buffer_release(&lines);
	return failed;
}

static int take_open(struct table_reader *r, const char *text, size_t length)
{
	buffer_add(&r->open, "\n", 1);
	buffer_add(&r->open, text, length);
	r->open_lines++;
	if (is_open(r, true, text, length))
		return r->open_lines >= OPEN_LINES || r->open.length > ROW_MOST
			       ? give_up(r)
			       : 0;
	struct buffer row = r->open;
	r->open = (struct buffer){0};
	int failed = whole_row(r, row.data, row.length, r->open_line);
	buffer_release(&row);
	return failed;
}

static int take_line(
	struct table_reader *r, const char *text, size_t length, uint64_t line)
{
	if (r->open.length > 0)
		return take_open(r, text, length);
	if (memchr(text, '"', length) && text[0] != '#' &&
		is_open(r, false, text, length)) {
		r->open_line = line;
		r->open_lines = 1;
		buffer_add(&r->open, text, length);
		return 0;
	}
	return whole_row(r, text, length, line);
}

int table_reader_line(struct table_reader *r, const char *line, size_t length)
{
	if (r->refused)
		return TABLE_REFUSED;
	if (r->counts.lines++ == 0) {
		if (length >= 2 && (memcmp(line, "\xff\xfe", 2) == 0 ||
					   memcmp(line, "\xfe\xff", 2) == 0)) {
			buffer_add_text(
				&r->said, "it is written in UTF-16: save it as UTF-8");
			return refuse(r);
		}
		if (length >= 3 && memcmp(line, "\xef\xbb\xbf", 3) == 0) {
			line += 3;
			length -= 3;
		}
	}
	return take_line(r, line, length, r->counts.lines);
}

int table_reader_end(struct table_reader *r)
{
	int failed = r->refused ? TABLE_REFUSED : 0;
	while (failed == 0 && r->open.length > 0)
		failed = give_up(r);
	if (failed == 0 && !r->decided)
		failed = decide_at_end(r);
	if (failed == 0 && r->share)
		failed = row_share_flush(r->share, &r->sink);
	return failed;
}
