/*
 * The verb `verify`: asks verify_store() and says what it found, as lines or as JSON.
 * Findings beyond a bound are counted and not shown.
 */
#include "verbs.h"

#include "http/json.h"
#include "progress.h"

#include <heatbook/clock.h>
#include <heatbook/cost.h>
#include <heatbook/finding.h>
#include <heatbook/run_ask.h>
#include <heatbook/verify.h>

#include <errno.h>
#include <string.h>
#include <unistd.h>

#define SHOWN_MOST         50 /* of a table: what sums say must not hide why */
#define VERIFY_TABLES_MOST 16
#define DAYS_DEFAULT       7

struct shown_findings {
	bool as_json;
	uint64_t more; /* that are not shown */
	struct {
		const char *name;
		uint64_t count;
	} tables[VERIFY_TABLES_MOST]; /* those met so far; "": what is of no table */
	struct json json;             /* the array of them */
	int signal_fd;
	bool stopped;
};

/* Counts one more of the table, and whether it is shown. */
static bool is_shown(struct shown_findings *f, const char *table)
{
	size_t i = 0;
	while (i < VERIFY_TABLES_MOST - 1 && f->tables[i].name &&
		strcmp(f->tables[i].name, table) != 0)
		i++;
	f->tables[i].name = table;
	bool shown = f->tables[i].count++ < SHOWN_MOST;
	f->more += !shown;
	return shown;
}

static void show_difference(const struct difference *d, void *context)
{
	struct shown_findings *f = context;
	if (!is_shown(f, d->table))
		return;
	if (f->as_json) {
		json_object(&f->json, NULL);
		json_text(&f->json, "table", d->table);
		json_text(&f->json, "row", d->row);
		json_text(&f->json, "column", d->column);
		json_text(&f->json, "stored", d->stored[0] ? d->stored : NULL);
		json_text(&f->json, "made", d->made[0] ? d->made : NULL);
		json_object_end(&f->json);
	} else if (d->column) {
		(void)printf("%s %s: %s is stored as %s and made again as %s\n", d->table,
			d->row, d->column, d->stored, d->made);
	} else {
		(void)printf("%s %s: %s\n", d->table, d->row,
			d->stored[0] ? "is stored and not made again"
				     : "is made again and not stored");
	}
}

static void show_line(const char *line, void *context)
{
	struct shown_findings *f = context;
	if (!is_shown(f, ""))
		return;
	if (f->as_json) {
		json_object(&f->json, NULL);
		json_text(&f->json, "finding", line);
		json_object_end(&f->json);
	} else {
		(void)printf("%s\n", line);
	}
}

static bool is_stopped(void *context)
{
	struct shown_findings *f = context;
	char info[128]; /* of one signal */
	f->stopped = f->stopped || read(f->signal_fd, info, sizeof(info)) > 0;
	return f->stopped;
}

static void print_text(const struct config *config, const struct verify_options *options,
	const struct verify_report *report, uint64_t more)
{
	if (more)
		(void)printf("and %llu more\n", (unsigned long long)more);
	if (report->findings)
		(void)printf("%llu findings\n", (unsigned long long)report->findings);
	else
		(void)printf("%s: sums close, nothing is damaged\n", config->store.file);
	(void)printf("%llu chunks with %llu records read",
		(unsigned long long)report->chunks, (unsigned long long)report->records);
	if (report->copied)
		(void)printf("; %llu days made again from the journal, %llu looked at "
			     "again",
			(unsigned long long)report->days,
			(unsigned long long)report->looked);
	if (report->copied && !options->all)
		(void)printf(" (--days %lld --seed %llu; --all takes every day)",
			(long long)options->days, (unsigned long long)options->seed);
	(void)printf("\n");
	if (report->sealed)
		(void)printf("%llu days left out: they are sealed, their journal is "
			     "damaged or past "
			     "its age\n",
			(unsigned long long)report->sealed);
	if (report->older)
		(void)printf("%llu days left out: another mapping made them; `heatbookd "
			     "rebuild` makes them anew\n",
			(unsigned long long)report->older);
	if (report->waiting)
		(void)printf("%llu days left out: they wait to be derived\n",
			(unsigned long long)report->waiting);
}

static void print_json(const struct config *config, const struct verify_options *options,
	const struct verify_report *report, struct shown_findings *f)
{
	struct json json = {0};
	json_object(&json, NULL);
	json_text(&json, "store", config->store.file);
	json_bool(&json, "good", report->findings == 0);
	json_integer(&json, "findings_count", (int64_t)report->findings);
	json_integer(&json, "chunks", (int64_t)report->chunks);
	json_integer(&json, "records", (int64_t)report->records);
	json_bool(&json, "all", options->all);
	json_integer(&json, "seed", (int64_t)options->seed);
	json_integer(&json, "days", (int64_t)report->days);
	json_integer(&json, "days_looked_again", (int64_t)report->looked);
	json_integer(&json, "days_of_runs_again", (int64_t)report->run);
	json_integer(&json, "days_sealed", (int64_t)report->sealed);
	json_integer(&json, "days_older", (int64_t)report->older);
	json_integer(&json, "days_waiting", (int64_t)report->waiting);
	json_array(&json, "findings");
	buffer_add(&json.out, f->json.out.data, f->json.out.length);
	json_array_end(&json);
	json_object_end(&json);
	(void)printf("%s\n", buffer_text(&json.out));
	buffer_release(&json.out);
}

/* A whole number up to `most`, or what the option is without. */
static bool read_number(const char *text, uint64_t most, uint64_t *ret)
{
	char *end;
	if (!text)
		return true;
	errno = 0;
	unsigned long long n = strtoull(text, &end, 10);
	if (text[0] < '0' || text[0] > '9' || *end || errno || n > most)
		return false;
	*ret = n;
	return true;
}

/* What a day says of sensors and plant, and what it cost. */
static int look_anew(struct store *store, int64_t start_min, int64_t end_min)
{
	int r = evidence_make(store, start_min, end_min);
	return r == 0 ? cost_make(store, start_min, end_min) : r;
}

int verb_verify(const struct verb_call *call)
{
	struct shown_findings findings = {.as_json = call->json};
	struct progress_line line;
	const char *scratch = getenv("TMPDIR");
	struct verify_report report;
	uint64_t days = DAYS_DEFAULT, seed = (uint64_t)clock_now_ms() % 1000000;
	char why[320] = "";

	if (call->count > 0)
		return verb_misused("verify takes no operand");
	if (!read_number(call->days, 1000000, &days) ||
		!read_number(call->seed, INT64_MAX, &seed))
		return verb_misused("--days and --seed take whole numbers");
	if (call->all && (call->days || call->seed))
		return verb_misused("--all takes every day: neither --days nor --seed");
	if (verb_signals(0, &findings.signal_fd) != 0)
		return verb_failed("signals cannot be read");
	progress_begin(&line);
	const struct verify_options options = {.all = call->all,
		.days = (int64_t)days,
		.seed = seed,
		.scratch = scratch && *scratch ? scratch : "/var/tmp",
		.found = show_difference,
		.line = show_line,
		.look = look_anew,
		.run = runs_make,
		.runs_form = runs_form(call->config),
		.progress = {line.terminal ? progress_show : NULL, &line},
		.stop = is_stopped,
		.context = &findings};
	int r = verify_store(call->config, &options, &report, why);
	progress_end(&line);
	if (r == 0 && call->json)
		print_json(call->config, &options, &report, &findings);
	else if (r == 0)
		print_text(call->config, &options, &report, findings.more);
	buffer_release(&findings.json.out);
	(void)close(findings.signal_fd); /* only read from */
	if (r != 0)
		return verb_failed(why);
	return report.findings ? EXIT_DIFFERS : EXIT_DONE;
}
