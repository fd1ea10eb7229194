/*
 * Imports: archives filed in the journal, each under a name and known by a digest of its
 * content, and derived; what an archive would do, without a store; an import taken back.
 */
#ifndef HEATBOOK_IMPORT_H
#define HEATBOOK_IMPORT_H

#include <heatbook/archive.h>
#include <heatbook/config.h>
#include <heatbook/deriver.h>
#include <heatbook/progress.h>

struct import_request {
	const char *const *paths; /* "-" is standard input */
	size_t count;
	enum archive_form form;
	const char *table; /* name of the [table] that reads them all, or NULL */
	const char *zone;  /* of local times without offset, or NULL */
	FILE *rejected;    /* gets every rejected line, or NULL */
	/* Of records that this machine stamped (export --journal): its clock was far
	 * ahead and was set right at this instant, 0 = it was not. What is stamped after
	 * the present becomes unsure; what was unsure since then is so no more, since it
	 * was for the sake of rows that a clock ahead had made. */
	int64_t clock_right_since_ms;
	struct progress_to progress;
};

#define IMPORT_REASONS_MOST 16

struct import_report {
	uint64_t lines, records, skipped, rejected;
	uint64_t archives, known;  /* known: filed before, nothing done */
	uint64_t twice;            /* local times that exist twice */
	uint64_t doubted, trusted; /* by clock_right_since_ms */
	char first_rejected[320];  /* "file:line: why: text" */
	char proposal[4096];       /* sections for a table that none reads, or empty */
	struct import_reason {
		char why[96];
		uint64_t count;
	} reasons[IMPORT_REASONS_MOST]; /* in the order in which they came; further ones
					   are counted with the last */
	size_t reason_count;
	bool any; /* readings: then their first and last time */
	int64_t first_ms, last_ms;
	int64_t days;              /* UTC days derived; of a dry run, that would be */
	bool by_daemon;            /* a running daemon derives what was filed */
	struct sealed_days sealed; /* in between: they keep their rows */
};

/* Files the archives and derives what they touch. An archive is one that was filed before
 * when content, form and zone are the same. -ENOENT: there is no such zone. 0, or -errno
 * / a store's code with the failure in `why`; what was filed before stays. */
int import_archives(const struct config *config, const struct import_request *request,
	struct import_report *ret, char why[static 320]);

/* What a channel would get. */
struct import_fed {
	uint64_t values, novalues, bad;
};
/* Reads the archives as import_archives() does and stores nothing: no store is needed.
 * `fed` has an entry a channel of the configuration. */
int import_dry_run(const struct config *config, const struct import_request *request,
	struct import_report *ret, struct import_fed *fed, char why[static 320]);

/* Takes the import of that name out of the journal again and derives what it touched; the
 * equal records of others stay. STORE_NONE: there is none of that name. */
int import_drop(const struct config *config, const char *name,
	const struct progress_to *progress, struct import_report *ret,
	char why[static 320]);

#endif
