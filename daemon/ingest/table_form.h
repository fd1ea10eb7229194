/*
 * How a table's file is written, and what finds that out of its first rows. Not for other
 * rooms.
 */
#ifndef HEATBOOK_INGEST_TABLE_FORM_H
#define HEATBOOK_INGEST_TABLE_FORM_H

#include <heatbook/config.h>
#include <heatbook/timepattern.h>
#include <heatbook/wall_clock.h>

#include "cells.h"

#define NO_FIELD       UINT32_MAX
#define TIME_TEXT_MOST 64 /* a longer cell is no time */

struct table_form {
	char delimiter;
	char mark; /* decimal */
	bool header, latin_1;
	uint32_t fields;                  /* cells of a row */
	bool last_empty;                  /* the last one is a delimiter at the end */
	uint32_t time_field, clock_field; /* the latter may be NO_FIELD */
	bool numeric;
	int64_t per_second; /* of numeric times; 0: by size */
	struct time_pattern pattern;
	char pattern_text[TIME_PATTERN_MOST * 2];
	struct buffer header_row; /* as it stood */
	struct buffer head;       /* as records have it: UTF-8 */
};
void table_form_release(struct table_form *form);

/* The first rows of a file. */
struct sample_row {
	size_t at, length;
	uint64_t line;
	bool comment;    /* or rejected: holds no data */
	const char *why; /* it was rejected already, or NULL */
};
struct sample {
	struct buffer bytes;
	struct sample_row *rows;
	size_t count, capacity;
};
void sample_add(struct sample *sample, const char *text, size_t length, uint64_t line,
	const char *why);
void sample_release(struct sample *sample);

enum { DETECT_MORE = 1, DETECT_REFUSED = 2 };

/* The whole of it. 0 with the header's place in the sample (SIZE_MAX: none);
 * DETECT_MORE: further rows may tell what these do not (never when `final`);
 * DETECT_REFUSED with what is wrong and what helps in `said`. */
int table_detect(const struct table_config *table, const struct sample *sample,
	bool final, int64_t now_ms, struct table_form *form, size_t *ret_header,
	struct buffer *said);

/* The sentence on it; see table_reader_said(). */
void table_say(const struct table_config *table, const struct table_form *form,
	const char *zone, struct buffer *out);

/* Its parts, likewise. `first` is the first row that may hold data. */
int table_detect_times(const struct table_config *table, const struct sample *sample,
	size_t first, bool final, int64_t now_ms, struct table_form *form,
	struct buffer *said);
int table_detect_mark(const struct table_config *table, const struct sample *sample,
	size_t first, struct table_form *form, struct buffer *said);

/* Fields of the columns that the section names, by the header row `text`, and the form's
 * head. False with what is wrong in `said`. */
bool table_read_header(const struct table_config *table, const char *text, size_t length,
	struct table_form *form, struct buffer *said);
/* Does the row hold the header of one of the section's columns? */
bool table_is_header(const struct table_config *table, const char *text, size_t length,
	char delimiter);
/* How many columns have that header. */
size_t table_fields(const struct table_form *form, const char *column);
/* The field of a column by its header or number; NO_FIELD where there is none. */
uint32_t table_field(const struct table_form *form, const char *column);

/* ---- rows ---- */

uint32_t row_fields(const char *row, size_t length, char delimiter);
/* Does text follow a closed quote? */
bool row_is_broken(const char *row, size_t length, char delimiter);
/* The cell's plain text; SIZE_MAX when there is none or it is longer than `most`. */
size_t row_text(const char *row, size_t length, char delimiter, uint32_t field,
	char *into, size_t most);
/* The text of its time, date and clock joined by a blank; SIZE_MAX likewise. */
size_t row_time(const struct table_form *form, const char *row, size_t length,
	char into[static TIME_TEXT_MOST]);
/* Has it as many cells as the form wants? */
bool row_fits(const struct table_form *form, const char *row, size_t length);

/* ---- times ---- */

/* The time before, where only its clock may differ: most rows are of the same day. */
struct same_day {
	char text[TIME_TEXT_MOST];
	size_t length, clock_at; /* of "hh:mm:ss" in it; length 0: there is none */
	struct written_time at;
	int64_t midnight_ms; /* local */
};

struct table_times {
	const struct table_config *table;
	const struct table_form *form;
	struct wall_clock *clock;
	struct wall_clock *days; /* where rows cover whole local days, else NULL */
	int64_t now_ms;
	int year, month; /* of the row before, where stamps have no year */
	struct same_day same_day;
	uint64_t twice; /* local times that exist twice */
};

/* The stamp of a row whose time is that text; *ret_span_ms is 0, or what the row covers
 * where that is not the interval. NULL, or a static sentence. */
const char *table_stamp(struct table_times *times, const char *text, size_t length,
	int64_t *ret_ms, int64_t *ret_span_ms);

#endif
