/*
 * The verbs that run once: check, import, rebuild, export, verify. What they print on
 * standard output is the answer, on standard error how it went.
 */
#include "verbs.h"

#include <heatbook/archive.h>
#include <heatbook/calendar.h>
#include <heatbook/clock.h>
#include <heatbook/deriver.h>
#include <heatbook/store.h>

#include <errno.h>
#include <string.h>
#include <unistd.h>

static int failed(const char *why)
{
	(void)fprintf(stderr, "heatbookd: %s\n", why);
	return EXIT_FAILED;
}

static int misused(const char *why)
{
	(void)fprintf(stderr, "heatbookd: %s\n", why);
	return EXIT_USAGE;
}

int verb_check(const struct verb_call *call)
{
	struct buffer report = {0};

	if (call->count > 0)
		return misused("check takes no operand");
	for (size_t i = 0; i < call->notes->count; i++)
		(void)printf("note: %s\n", call->notes->lines[i]);
	config_check_report(call->config, &report);
	(void)printf("%s: no fault\n%s", call->config->path, buffer_text(&report));
	buffer_release(&report);
	return EXIT_DONE;
}

static void show_progress(const char *line, bool final, void *context)
{
	(void)context;
	bool terminal = isatty(STDERR_FILENO) == 1;
	(void)fprintf(stderr, terminal && !final ? "\r\033[K%s" : "%s\n", line);
}

static int print_import(const struct import_report *report)
{
	if (isatty(STDERR_FILENO) == 1)
		(void)fputs("\r\033[K", stderr);
	(void)printf("%llu records from %llu lines of %llu archive%s, %llu lines passed "
		     "over; ",
		(unsigned long long)report->records, (unsigned long long)report->lines,
		(unsigned long long)report->archives, report->archives == 1 ? "" : "s",
		(unsigned long long)report->skipped);
	if (report->by_daemon)
		(void)printf("the running daemon derived them\n");
	else
		(void)printf("%lld days derived\n", (long long)report->days);
	if (report->rejected == 0)
		return EXIT_DONE;
	(void)fprintf(stderr, "heatbookd: %llu lines rejected, the first: %s\n",
		(unsigned long long)report->rejected, report->first_rejected);
	return EXIT_REJECTED;
}

int verb_import(const struct verb_call *call)
{
	struct import_report report;
	int form = call->format ? archive_form_find(call->format) : ARCHIVE_DETECT;
	char why[320];

	if (call->count == 0)
		return misused("import needs at least one archive (- is standard input)");
	if (form < 0)
		return misused("--format takes lines or journal");
	if (call->zone)
		return misused(
			"--zone is for local times: the forms of this version have none");
	int r = import_archives(call->config, (const char *const *)call->operands,
		(size_t)call->count, (enum archive_form)form, show_progress, NULL,
		&report, why);
	return r == 0 ? print_import(&report) : failed(why);
}

/* A local date "2026-01-31" to its first instant. */
static bool parse_date(const char *text, int days, int64_t *ret_ms)
{
	char instant[32];
	int64_t t_ms;
	if (strlen(text) != 10)
		return false;
	(void)snprintf(instant, sizeof(instant), "%sT12:00", text);
	if (time_parse_local(instant, 0, &t_ms) != 0)
		return false;
	*ret_ms = calendar_day_start(calendar_add(calendar_date(t_ms), 0, 0, days));
	return true;
}

static int rebuild(
	struct store *store, struct deriver *deriver, int64_t from_ms, int64_t to_ms)
{
	int64_t days = 0;
	int r = deriver_respan(deriver);
	if (r == 0 && from_ms < to_ms)
		r = store_dirty_add(store, from_ms, to_ms);
	if (r == 0)
		r = derive_all(store, deriver, closed_minute(clock_now_ms()),
			show_progress, NULL, &days);
	if (r != 0)
		return failed(store_error(store));
	(void)printf("%lld days derived\n", (long long)days);
	return EXIT_DONE;
}

int verb_rebuild(const struct verb_call *call)
{
	struct journal_totals totals = {0};
	struct store *store;
	int64_t from_ms = 0, to_ms = 0;
	char why[256];
	int lock;

	if (call->count > 0 || (call->from && !parse_date(call->from, 0, &from_ms)) ||
		(call->to && !parse_date(call->to, 1, &to_ms)))
		return misused(
			"rebuild takes --from and --to, local dates like 2026-01-31");
	int r = deriver_lock(call->config, &lock);
	if (r != 0)
		return failed(r == DERIVER_TAKEN ? "the daemon (or an import) is "
						   "deriving; stop it, then rebuild"
						 : strerror(-r));
	r = store_open(call->config, STORE_WRITE, &store, why);
	if (r != 0) {
		(void)close(lock); /* releases it */
		return failed(why);
	}
	struct decoder *decoder = decoder_new(call->config);
	struct deriver *deriver = deriver_new(store, decoder);
	r = store_journal_totals(store, &totals);
	if (!call->from)
		from_ms = totals.first_ms;
	if (!call->to)
		to_ms = totals.last_ms + 1;
	r = r == 0 ? rebuild(store, deriver, from_ms, to_ms) : failed(store_error(store));
	deriver_free(deriver);
	decoder_free(decoder);
	store_close(store);
	(void)close(lock);
	return r;
}

int verb_export(const struct verb_call *call)
{
	char why[320];

	if (!call->journal || call->count > 0)
		return misused("export takes --journal");
	return export_journal(call->config, stdout, why) == 0 ? EXIT_DONE : failed(why);
}

int verb_verify(const struct verb_call *call)
{
	struct buffer lines = {0};
	struct store *store;
	size_t broken = 0;
	char why[256];

	if (call->count > 0)
		return misused("verify takes no operand");
	if (store_open(call->config, STORE_READ, &store, why) != 0)
		return failed(why);
	int r = store_checks(store, &lines, &broken);
	if (r != 0)
		(void)failed(store_error(store));
	else if (broken)
		(void)printf("%s%zu violations\n", buffer_text(&lines), broken);
	else
		(void)printf(
			"%s: sums close, nothing is damaged\n", call->config->store.file);
	buffer_release(&lines);
	store_close(store);
	return r == 0 && broken == 0 ? EXIT_DONE : EXIT_FAILED;
}
