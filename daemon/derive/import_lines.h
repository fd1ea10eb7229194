/*
 * What the files of the import share: lines of archives becoming records, and the account
 * of what became of them. Not for others.
 */
#ifndef DERIVE_IMPORT_LINES_H
#define DERIVE_IMPORT_LINES_H

#include <heatbook/import.h>
#include <heatbook/store.h>
#include <heatbook/table.h>

#include "input.h"

typedef int record_taken(const struct record *record, void *context);

/* Reads archives one after the other. import_lines_begin() fills it in. */
struct import_lines {
	const struct config *config;
	const struct import_request *request;
	struct import_report *report;
	record_taken *take; /* gets each record; its code ends reading */
	void *context;

	struct archive archive;
	const struct table_config *table; /* that reads the archive at hand, or NULL */
	char refused[300];    /* why the archive at hand is none, with IMPORT_REFUSED */
	const char *name;     /* of the archive at hand */
	uint64_t number;      /* of its line at hand */
	int64_t now_ms;       /* when it began */
	int64_t bytes, total; /* read of archives before; of all, 0 = not known */
};

/* 0, or -ENOENT: there is no such zone; to be ended in any case. */
int import_lines_begin(struct import_lines *lines, const struct config *config,
	const struct import_request *request, struct import_report *report,
	record_taken *take, void *context);
void import_lines_end(struct import_lines *lines);
/* Names an archive by its content and by all that decides how it is read. */
uint64_t import_digest(const struct import_lines *lines, uint64_t content);

/* The archive cannot be read as it is, see `refused`. */
enum { IMPORT_REFUSED = TABLE_REFUSED };

/* Opens a path or spools standard input; the next call closes it. */
int import_open(struct import_lines *lines, const char *path, struct input **ret);
void import_close(struct import_lines *lines, struct input *in);
/* Every line to the end of the archive that was opened. 0, a code of input_line() or of
 * `take`. */
int import_read(struct import_lines *lines, struct input *in);
/* Tells where it is in the archive at hand. */
void import_tell(const struct import_lines *lines, const struct input *in);
/* What a negative code or IMPORT_REFUSED of the calls above or of the store means, in
 * `why`. */
void import_explain(
	const struct import_lines *lines, const char *store_error, int r, char why[320]);
/* Likewise of a store that was open already. */
void import_explain_store(struct store *store, int r, char why[static 320]);

/* Counts a rejected line by its reason, shows the first, writes all where it is asked. */
void import_reject(
	struct import_lines *lines, const char *why, const char *line, size_t length);

/* Tables: sets lines->table by what is asked for or the path's name; an archive's digest
 * with how its table is read; its rows. */
int import_choose_table(struct import_lines *lines, const char *path);
uint64_t import_table_digest(const struct import_lines *lines, uint64_t digest);
int import_read_table(struct import_lines *lines, struct input *in);
/* Refuses an archive that is a table which no section reads, with report->proposal. */
int import_refuse_table(struct import_lines *lines, struct input *in);

/* What was filed is derived, or waited for while a daemon derives it. `why` is set where
 * that daemon cannot. */
struct deriver;
int import_derive(struct store *store, struct deriver *deriver,
	const struct progress_to *progress, struct import_report *report,
	char why[static 320]);
/* The same without waiting: DERIVER_TAKEN where another derives. */
int import_derive_here(struct store *store, struct deriver *deriver,
	const struct progress_to *progress, struct import_report *report);

#endif
