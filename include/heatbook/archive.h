/*
 * Lines of archives, foreign logs and our own journal, into records; and the journal out.
 *
 * Forms, each line told by how it begins, or asked for:
 * - lines: `time topic payload`, parted by one blank; the payload is the rest of the
 *   line. The time is seconds since 1970 with decimals, whole ms, µs or ns told by size,
 *   or an ISO 8601 time with offset (wall_clock.h), or without one where a zone is given.
 * - json: an object with `tst` (such a time as text), `topic`, `payload`, and maybe
 *   `retain`, `qos`, `payloadlen`, as a general MQTT command-line client prints it. A
 *   payload that is no text is taken as it stands in the line.
 * - journal: the lines of `export --journal`.
 * Blank lines and lines that begin with # are passed over knowingly.
 */
#ifndef HEATBOOK_ARCHIVE_H
#define HEATBOOK_ARCHIVE_H

#include <heatbook/record.h>
#include <heatbook/wall_clock.h>

struct config;

enum archive_form { ARCHIVE_DETECT, ARCHIVE_LINES, ARCHIVE_JSON, ARCHIVE_JOURNAL };
/* Their names in this order; no [table] may be named like one. */
#define ARCHIVE_FORMS "lines|json|journal"
/* One of these names as its form, or -1. */
int archive_form_find(const char *name);

/* How the lines of a file are read. `{.form = …, .clock = …}` begins it. */
struct archive {
	enum archive_form form;
	struct wall_clock *clock; /* of times without offset; NULL: there must be none */
	uint64_t twice; /* such times that exist twice, told by the order of lines */
	struct buffer scratch;
};
void archive_release(struct archive *archive);

/* One line (without its newline) into a record view that points into the line or
 * archive->scratch. 0, ARCHIVE_SKIPPED, or ARCHIVE_REJECTED with a static sentence in
 * *ret_why. */
enum { ARCHIVE_SKIPPED = 1, ARCHIVE_REJECTED = 2 };
int archive_line(struct archive *archive, const char *line, size_t length,
	struct record *ret, const char **ret_why);

/* Every record of the journal and the tail as JSON lines to `out`; of a span those that
 * the configuration reads anything in [from, to) from, and those without readings that
 * were stamped there. 0 or -errno, `why` set. */
int export_journal(const struct config *config, FILE *out, char why[static 320]);
int export_journal_span(const struct config *config, int64_t from_ms, int64_t to_ms,
	FILE *out, char why[static 320]);

#endif
