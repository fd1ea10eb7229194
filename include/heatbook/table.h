/*
 * CSV tables: the lines of a file into records of kind RECORD_ROW, by the [table] section
 * that the file belongs to (struct table_config).
 *
 * Rows are as RFC 4180 has them: cells in quotes may hold delimiters, line ends and
 * doubled quotes. Lines end in LF or CR LF, the last one may end in nothing; a byte order
 * mark is passed over. What the section leaves open is told by the first rows, which are
 * kept until it is: delimiter, decimal mark, header, the column of times and their form.
 * What they do not tell for certain is refused with the lines that the section needs;
 * nothing is guessed in silence. Memory is bounded, whatever the file.
 *
 * Passed over: blank lines, rows of empty cells, lines that begin with #, what stands
 * before the header, and the header where it is repeated. A header of other columns in
 * the middle of a file takes over from there.
 *
 * Rejected, each with its reason: rows that have more or fewer cells than the header,
 * quotes that are not closed within 64 lines, rows over ROW_MOST bytes or with bytes of
 * control, and rows whose time is missing, not of the file's form, skipped by the zone,
 * before 2000 or more than a day after now.
 */
#ifndef HEATBOOK_TABLE_H
#define HEATBOOK_TABLE_H

#include <heatbook/config.h>
#include <heatbook/record.h>

/* What a reader hands over. */
struct table_sink {
	/* A row: t_ms is its stamp as it stands (where it covers what is before, the
	 * end), number[0] what this very row covers where that is not the section's
	 * interval. The view lives until the function returns. What it returns other than
	 * 0 ends the reading and is passed on. */
	int (*row)(const struct record *row, void *context);
	/* A row that was rejected: the number of its first line, from 1. */
	void (*rejected)(uint64_t line, const char *why, const char *text, size_t length,
		void *context);
	void *context;
};

struct table_counts {
	uint64_t lines, rows, skipped, rejected; /* skipped: lines passed over */
	uint64_t twice; /* local times that exist twice, told by the order of lines */
};

struct table_reader;

/* `zone` is that of times which bear none; NULL: the section's, else `plant_zone`. 0, or
 * -ENOENT when the system knows no such zone. Not while there are threads
 * (wall_clock_new()). The section must outlive the reader. */
int table_reader_new(const struct table_config *table, const char *zone,
	const char *plant_zone, int64_t now_ms, const struct table_sink *sink,
	struct table_reader **ret);
void table_reader_free(struct table_reader *reader);

/* The next line, without its LF. 0; what sink->row returned; or TABLE_REFUSED: the file
 * cannot be read, table_reader_said() tells why and what helps, and nothing more may be
 * fed. Rows are handed over at once, or later with those that follow. */
enum { TABLE_REFUSED = 0x7ab1e };
int table_reader_line(struct table_reader *reader, const char *line, size_t length);
/* The end of the file: what was waiting is handed over. Returns likewise. */
int table_reader_end(struct table_reader *reader);

/* One sentence on how the file is written, as declared and detected, once that is known:
 * "year: semicolon, decimal comma, header, times DD.MM.YYYY hh:mm:ss in Europe/Berlin, 1
 * min before the stamp". Empty before; after TABLE_REFUSED, what is wrong. */
const char *table_reader_said(const struct table_reader *reader);
struct table_counts table_reader_counts(const struct table_reader *reader);

/* Which section reads the file: by its name (directories and the endings .gz and .zst
 * aside). Index into config.tables, or TABLE_NONE; TABLE_SEVERAL: more than one pattern
 * matches, so that one has to be asked for. */
enum { TABLE_NONE = -1, TABLE_SEVERAL = -2 };
int table_of_file(const struct config *config, const char *path);
/* Digest of all that decides which records a file makes: the section and the zone. */
uint64_t table_digest(
	const struct table_config *table, const char *zone, const char *plant_zone);
/* Do the first lines of a file look like a table? Then a section for it is appended, as
 * lines that may be put into the configuration once its guesses are checked. */
bool table_propose(const char *path, const char *text, size_t length, struct buffer *out);

#endif
