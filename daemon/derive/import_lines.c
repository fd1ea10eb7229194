/*
 * Archives' lines into records. See import_lines.h; take_line() is the one place where a
 * line becomes a record, whichever form it has.
 *
 * Standard input is spooled to a file first, since an archive's digest is wanted before
 * its records.
 */
#include "import_lines.h"

#include <heatbook/clock.h>

#include <errno.h>
#include <string.h>
#include <sys/stat.h>

#define LINES_A_LOOK 512 /* between two tellings of progress */

/* Bytes of all archives, for progress; 0 where one has no size. */
static int64_t bytes_of_all(const struct import_request *request)
{
	int64_t bytes = 0;
	struct stat status;
	for (size_t i = 0; i < request->count; i++) {
		if (stat(request->paths[i], &status) != 0 || !S_ISREG(status.st_mode))
			return 0;
		bytes += status.st_size;
	}
	return bytes;
}

int import_lines_begin(struct import_lines *l, const struct config *config,
	const struct import_request *request, struct import_report *report,
	record_taken *take, void *context)
{
	*report = (struct import_report){0};
	*l = (struct import_lines){.config = config,
		.request = request,
		.report = report,
		.take = take,
		.context = context,
		.archive = {.form = request->form},
		.now_ms = clock_now_ms(),
		.total = bytes_of_all(request)};
	return request->zone ? wall_clock_new(request->zone, &l->archive.clock) : 0;
}

void import_lines_end(struct import_lines *l)
{
	wall_clock_free(l->archive.clock);
	archive_release(&l->archive);
}

uint64_t import_digest(const struct import_lines *l, uint64_t content)
{
	const char *zone = l->request->zone;
	int64_t right_ms = l->request->clock_right_since_ms;
	uint64_t digest = content + (uint64_t)l->request->form;
	if (right_ms != 0)
		digest = digest64(digest, &right_ms, sizeof(right_ms));
	if (l->table)
		return import_table_digest(l, digest);
	return zone ? digest64(digest, zone, strlen(zone)) : digest;
}

static int spool_input(FILE **ret)
{
	char block[8192];
	size_t n;
	FILE *spool = tmpfile();
	if (!spool)
		return -errno;
	while ((n = fread(block, 1, sizeof(block), stdin)) > 0)
		if (fwrite(block, 1, n, spool) != n)
			break;
	if (ferror(stdin) || ferror(spool) || fflush(spool) != 0) {
		int error = errno ? errno : EIO;
		(void)fclose(spool); /* given up */
		return -error;
	}
	rewind(spool);
	*ret = spool;
	return 0;
}

int import_open(struct import_lines *l, const char *path, struct input **ret)
{
	bool input = strcmp(path, "-") == 0;
	FILE *f = NULL;
	int r = 0;

	l->report->archives++;
	l->name = input ? "standard input" : path;
	l->number = 0;
	if (l->archive.clock)
		wall_clock_reset(l->archive.clock);
	r = import_choose_table(l, path);
	if (r != 0)
		return r;
	if (input)
		r = spool_input(&f);
	else if (!(f = fopen(path, "re")))
		r = -errno;
	if (r == 0)
		*ret = input_new(f);
	return r;
}

void import_close(struct import_lines *l, struct input *in)
{
	l->bytes += input_size(in);
	input_free(in);
}

/* A clock that was far ahead is known to have been wrong by who imports, and by nothing
 * in the journal. Rows of tables and what others logged bear no stamp of it. */
static void judge_stamp(struct import_lines *l, struct record *record)
{
	int64_t since_ms = l->request->clock_right_since_ms;
	if (since_ms == 0 || record->boot_ms < 0)
		return;
	if (!record->unsure && record->t_ms > l->now_ms + AHEAD_MOST_MS) {
		record->unsure = true;
		l->report->doubted++;
	} else if (record->unsure && record->t_ms >= since_ms &&
		   record->t_ms <= l->now_ms + AHEAD_MOST_MS) {
		record->unsure = false;
		l->report->trusted++;
	}
}

/* Here a line becomes a record, or is passed over or rejected. */
static int take_line(struct import_lines *l, const char *line, size_t length)
{
	struct record record;
	const char *why = "";

	switch (archive_line(&l->archive, line, length, &record, &why)) {
	case 0:
		l->report->records++;
		judge_stamp(l, &record);
		return l->take(&record, l->context);
	case ARCHIVE_SKIPPED:
		l->report->skipped++;
		return 0;
	default:
		import_reject(l, why, line, length);
		return 0;
	}
}

void import_tell(const struct import_lines *l, const struct input *in)
{
	const struct progress now = {.stage = PROGRESS_FILING,
		.name = l->name,
		.done = l->bytes + input_read(in),
		.total = l->total,
		.count = l->report->lines};
	progress_tell(&l->request->progress, &now);
}

int import_read(struct import_lines *l, struct input *in)
{
	const char *line;
	size_t length;
	int r = 0, found;

	if (l->table)
		return import_read_table(l, in);
	if (l->request->form == ARCHIVE_DETECT)
		r = import_refuse_table(l, in);

	while (r == 0 && (found = input_line(in, &line, &length)) != INPUT_END) {
		if (found < 0) {
			r = found;
			break;
		}
		l->report->lines++;
		l->number++;
		if (found == INPUT_LONG)
			import_reject(l, "is longer than any message", line, length);
		else
			r = take_line(l, line, length);
		if (l->number % LINES_A_LOOK == 0)
			import_tell(l, in);
	}
	l->report->twice += l->archive.twice;
	l->archive.twice = 0;
	return r;
}

void import_explain(
	const struct import_lines *l, const char *store_error, int r, char why[320])
{
	const char *what = r < 0 ? strerror(-r) : l->refused;
	if (r == -EBADMSG)
		what = "its compressed data is damaged or cut short; nothing of it was "
		       "kept";
	else if (r == -EFBIG)
		what = "its compression needs too much memory; unpack it into a pipe: "
		       "`zstd -dc "
		       "--long=31 FILE | heatbookd import -c … -`";
	else if (r == -EIO && store_error[0])
		what = store_error;
	(void)snprintf(why, 320, "%.100s: %.200s", l->name, what);
}
