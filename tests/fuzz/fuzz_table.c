/*
 * A configuration with a table, a line "%%", and a CSV file.
 *
 * Each row that is handed over is a record within its bounds that comes back from its
 * block and its journal line; each one that is rejected has a reason; counts add up; and
 * the same file makes the same records twice. What is proposed for a table is lines.
 */
#include "fuzz.h"

#include <heatbook/decoder.h>
#include <heatbook/table.h>

#define NOW_MS INT64_C(1767225600000) /* 2026-01-01T00:00:00Z */

struct seen {
	const struct config *config;
	struct decoder *decoder;
	struct buffer lines; /* of every record */
	struct readings readings;
	uint64_t rows, rejected;
};

static void check_back(const struct record *row, size_t line_at, struct seen *s)
{
	struct buffer scratch = {0}, again = {0};
	struct record back;
	const char *why = "";
	const char *line = s->lines.data + line_at;
	size_t length = s->lines.length - line_at - 1;
	HOLDS(record_read_json(line, length, &scratch, &back, &why) == 0, "%s: %.*s", why,
		(int)length, line);
	HOLDS(record_compare(row, &back) == 0 && back.t_ms == row->t_ms,
		"another record: %.*s", (int)length, line);
	buffer_reset(&again);
	record_write(&back, &again);
	s->readings.count = 0;
	HOLDS(decoder_decode(s->decoder, (const unsigned char *)again.data, &s->readings),
		"damaged: %.*s", (int)length, line);
	for (size_t i = 0; i < s->readings.count; i++)
		HOLDS(s->readings.items[i].t_ms <= row->t_ms, "begins after its row");
	buffer_release(&scratch);
	buffer_release(&again);
}

static int take_row(const struct record *row, void *context)
{
	struct seen *s = context;
	size_t at = s->lines.length;
	HOLDS(row->kind == RECORD_ROW && row->payload_length <= ROW_MOST &&
			row->head_length <= HEAD_MOST && row->head_length >= 2 &&
			row->number[0] >= 0,
		"a row of %zu bytes, head of %zu", row->payload_length, row->head_length);
	HOLDS(row->t_ms >= STAMP_LEAST_MS && row->t_ms <= NOW_MS + 2 * MS_PER_DAY,
		"stamp %lld", (long long)row->t_ms);
	record_write_json(row, &s->lines);
	check_back(row, at, s);
	s->rows++;
	return 0;
}

static void take_rejected(
	uint64_t line, const char *why, const char *text, size_t length, void *context)
{
	struct seen *s = context;
	HOLDS(line > 0 && why && (text || length == 0), "line %llu",
		(unsigned long long)line);
	s->rejected++;
}

/* True when the file could be read. */
static bool read_file(const struct table_config *table, const char *at, const char *end,
	struct seen *seen)
{
	const struct table_sink sink = {take_row, take_rejected, seen};
	struct table_reader *reader;
	const char *line;
	size_t length;
	int r = table_reader_new(table, NULL, "Europe/Berlin", NOW_MS, &sink, &reader);
	if (r != 0)
		return false;
	uint64_t lines = 0;
	while (r == 0 && next_line(&at, end, &line, &length)) {
		char *copy = exact_copy(line, length);
		r = table_reader_line(reader, copy, length);
		lines++;
		free(copy);
	}
	if (r == 0)
		r = table_reader_end(reader);
	HOLDS(r == 0 || r == TABLE_REFUSED, "verdict %d", r);
	struct table_counts counts = table_reader_counts(reader);
	HOLDS(counts.rows == seen->rows && counts.rejected == seen->rejected &&
			counts.lines == lines,
		"%llu rows, %llu rejected, %llu lines", (unsigned long long)counts.rows,
		(unsigned long long)counts.rejected, (unsigned long long)counts.lines);
	HOLDS(r == 0 || table_reader_said(reader)[0], "refused without a word");
	table_reader_free(reader);
	return r == 0;
}

static void check_file(
	const struct config *config, size_t table, const char *at, const char *end)
{
	struct seen first = {.config = config, .decoder = decoder_new(config)};
	struct seen second = {.config = config, .decoder = decoder_new(config)};
	bool good = read_file(&config->tables[table], at, end, &first);
	HOLDS(read_file(&config->tables[table], at, end, &second) == good,
		"another verdict");
	HOLDS(first.lines.length == second.lines.length &&
			(first.lines.length == 0 ||
				memcmp(first.lines.data, second.lines.data,
					first.lines.length) == 0),
		"other records");
	decoder_free(first.decoder);
	decoder_free(second.decoder);
	buffer_release(&first.lines);
	buffer_release(&second.lines);
	readings_release(&first.readings);
	readings_release(&second.readings);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
	const char *rest;
	int answer;
	struct config *config = config_before(data, size, &rest, &answer);
	for (size_t i = 0; config && i < config->table_count; i++)
		check_file(config, i, rest, (const char *)data + size);
	config_free(config);
	return answer;
}
