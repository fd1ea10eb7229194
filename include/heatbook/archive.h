/*
 * Archives in: lines of foreign logs and of our own journal into records, and the import
 * that files and derives them.
 *
 * Forms: `epoch topic payload` (epoch in seconds with decimals, in whole ms, µs or ns
 * told by size, or RFC 3339; the payload is the rest of the line) and the JSON lines of
 * `export --journal`. Each line is told by how it begins; a form can be asked for. Blank
 * lines and lines that begin with # are passed over knowingly.
 */
#ifndef HEATBOOK_ARCHIVE_H
#define HEATBOOK_ARCHIVE_H

#include <heatbook/decoder.h>
#include <heatbook/record.h>
#include <heatbook/store.h>

enum archive_form { ARCHIVE_DETECT, ARCHIVE_LINES, ARCHIVE_JOURNAL };
/* "lines", "journal"; or -1. */
int archive_form_find(const char *name);

/* One line (without its newline) into a record view that points into the line or
 * `scratch`. 0, ARCHIVE_SKIPPED, or ARCHIVE_REJECTED with a static sentence in *ret_why.
 */
enum { ARCHIVE_SKIPPED = 1, ARCHIVE_REJECTED = 2 };
int archive_line(enum archive_form form, const char *line, size_t length,
	struct buffer *scratch, struct record *ret, const char **ret_why);

struct import_report {
	uint64_t lines, records, skipped, rejected;
	uint64_t archives, known; /* known: filed before, nothing done */
	char first_rejected[320]; /* "file:line: why: text" */
	int64_t days;             /* derived */
	uint64_t sealed; /* of these, days that kept their rows: they are sealed */
	bool by_daemon;  /* a running daemon derives what was filed */
};

/* Files the archives (path, or "-" for standard input) and derives what they touch.
 * `progress` may be NULL. 0, or -errno / a store's code with the failure in `why`; what
 * was filed before stays. */
typedef void import_progress(const char *line, bool final, void *context);
int import_archives(const struct config *config, const char *const *paths, size_t count,
	enum archive_form form, import_progress *progress, void *context,
	struct import_report *ret, char why[static 320]);

/* Every record of the journal and the tail as JSON lines to `out`; of a span those that
 * the configuration reads anything in [from, to) from, and those without readings that
 * were stamped there. 0 or -errno, `why` set. */
int export_journal(const struct config *config, FILE *out, char why[static 320]);
int export_journal_span(const struct config *config, int64_t from_ms, int64_t to_ms,
	FILE *out, char why[static 320]);

/* Derives everything dirty that may be at `now_ms` (import alone, rebuild). */
struct deriver;
int derive_all(struct store *store, struct deriver *deriver, int64_t now_ms,
	import_progress *progress, void *context, int64_t *ret_days);
/* End of the last minute that may be derived at `now`: its end lies 10 s back. */
int64_t closed_minute(int64_t now_ms);
/* How far rows may be derived again at `now` when they end at `derived`: to their end
 * also where the clock was set back behind it, but for rows that lie more than a day
 * ahead. Those a clock made that was far wrong; they are left alone, and nothing is
 * derived past now. */
int64_t derivable_minute(int64_t derived_minute, int64_t now_ms);

#endif
