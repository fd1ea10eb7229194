/*
 * The verb import: what is asked, how it went, what came of it.
 */
#include "import_json.h"
#include "progress.h"
#include "verbs.h"

#include <heatbook/calendar.h>

#include <errno.h>
#include <string.h>

/* What the answer is made of. */
struct outcome {
	const struct verb_call *call;
	const struct import_report *report;
	const struct import_fed *fed; /* of a dry run, by channel; else NULL */
};

/* ---- as text ---- */

static void print_channels(const struct outcome *o)
{
	const struct config *config = o->call->config;
	for (size_t i = 0; i < config->channel_count; i++)
		(void)printf("  %-24s %10llu values, %llu without, %llu bad\n",
			config->channels[i].name, (unsigned long long)o->fed[i].values,
			(unsigned long long)o->fed[i].novalues,
			(unsigned long long)o->fed[i].bad);
}

static void print_span(const struct import_report *r)
{
	char first[32], last[32];
	if (!r->any)
		return;
	time_text_local(r->first_ms, first);
	time_text_local(r->last_ms, last);
	(void)printf("readings from %s to %s\n", first, last);
}

static void print_text(const struct outcome *o)
{
	const struct import_report *r = o->report;
	(void)printf("%llu records from %llu lines of %llu archive%s, %llu lines passed "
		     "over; ",
		(unsigned long long)r->records, (unsigned long long)r->lines,
		(unsigned long long)r->archives, r->archives == 1 ? "" : "s",
		(unsigned long long)r->skipped);
	if (o->fed)
		(void)printf("nothing stored: %lld days would be derived\n",
			(long long)r->days);
	else if (r->by_daemon)
		(void)printf("the running daemon derived them\n");
	else
		(void)printf("%lld days derived\n", (long long)r->days);
	print_span(r);
	if (o->fed)
		print_channels(o);
	if (r->doubted || r->trusted)
		(void)printf("the clock: %llu records of its future count no more, %llu "
			     "that were kept aside count\n",
			(unsigned long long)r->doubted, (unsigned long long)r->trusted);
	if (r->twice)
		(void)printf("%llu local times exist twice: the order of lines told "
			     "which was meant\n",
			(unsigned long long)r->twice);
	verb_say_sealed(&r->sealed);
}

static void print_rejected(const struct import_report *r)
{
	for (size_t i = 0; r->reason_count > 1 && i < r->reason_count; i++)
		(void)fprintf(stderr, "heatbookd: %llu line%s: %s\n",
			(unsigned long long)r->reasons[i].count,
			r->reasons[i].count == 1 ? "" : "s", r->reasons[i].why);
	if (r->rejected)
		(void)fprintf(stderr, "heatbookd: %llu lines rejected, the first: %s\n",
			(unsigned long long)r->rejected, r->first_rejected);
}

/* ---- as JSON ---- */

static void add_rejected(struct json *json, const struct import_report *r)
{
	json_object(json, "rejected");
	json_integer(json, "lines", (int64_t)r->rejected);
	json_text(json, "first", r->rejected ? r->first_rejected : NULL);
	json_array(json, "reasons");
	for (size_t i = 0; i < r->reason_count; i++) {
		json_object(json, NULL);
		json_text(json, "reason", r->reasons[i].why);
		json_integer(json, "lines", (int64_t)r->reasons[i].count);
		json_object_end(json);
	}
	json_array_end(json);
	json_object_end(json);
}

static void add_channels(struct json *json, const struct outcome *o)
{
	const struct config *config = o->call->config;
	json_array(json, "channels");
	for (size_t i = 0; i < config->channel_count; i++) {
		json_object(json, NULL);
		json_text(json, "channel", config->channels[i].name);
		json_integer(json, "values", (int64_t)o->fed[i].values);
		json_integer(json, "without", (int64_t)o->fed[i].novalues);
		json_integer(json, "bad", (int64_t)o->fed[i].bad);
		json_object_end(json);
	}
	json_array_end(json);
}

void import_json_span(struct json *json, bool any, int64_t first_ms, int64_t last_ms)
{
	if (any) {
		json_seconds(json, "first", first_ms);
		json_seconds(json, "last", last_ms);
	} else {
		json_null(json, "first");
		json_null(json, "last");
	}
}

void import_json_derived(struct json *json, const struct import_report *r)
{
	if (r->by_daemon) /* which does not tell */
		json_null(json, "days");
	else
		json_integer(json, "days", r->days);
	json_bool(json, "derived_by_daemon", r->by_daemon);
	json_integer(json, "sealed_days", r->sealed.count);
}

static void print_json(const struct outcome *o)
{
	const struct import_report *r = o->report;
	struct json json = {0};
	json_object(&json, NULL);
	json_bool(&json, "dry_run", o->fed != NULL);
	json_integer(&json, "archives", (int64_t)r->archives);
	json_integer(&json, "known", (int64_t)r->known);
	json_integer(&json, "lines", (int64_t)r->lines);
	json_integer(&json, "records", (int64_t)r->records);
	json_integer(&json, "passed_over", (int64_t)r->skipped);
	json_integer(&json, "times_twice", (int64_t)r->twice);
	add_rejected(&json, r);
	json_integer(&json, "doubted", (int64_t)r->doubted);
	json_integer(&json, "trusted", (int64_t)r->trusted);
	import_json_span(&json, r->any, r->first_ms, r->last_ms);
	import_json_derived(&json, r);
	if (o->fed)
		add_channels(&json, o);
	json_object_end(&json);
	(void)printf("%s\n", buffer_text(&json.out));
	buffer_release(&json.out);
}

static int print_outcome(const struct outcome *o)
{
	if (o->call->json)
		print_json(o);
	else
		print_text(o);
	print_rejected(o->report);
	if (fflush(stdout) != 0)
		return verb_failed("standard output cannot be written");
	return o->report->rejected ? EXIT_REJECTED : EXIT_DONE;
}

/* ---- running it ---- */

static int run(const struct verb_call *call, const struct import_request *request)
{
	struct import_report report;
	struct outcome outcome = {.call = call, .report = &report};
	struct import_fed *fed = NULL;
	char why[320];
	int r;

	if (call->dry_run) {
		fed = xcalloc(call->config->channel_count + 1, sizeof(*fed));
		r = import_dry_run(call->config, request, &report, fed, why);
	} else {
		r = import_archives(call->config, request, &report, why);
	}
	progress_end(request->progress.context);
	outcome.fed = fed;
	r = r == 0 ? print_outcome(&outcome) : verb_failed(why);
	if (report.proposal[0])
		(void)fprintf(stderr, "\n%s", report.proposal);
	free(fed);
	return r;
}

/* With the file for rejected lines, if one is asked for. */
static int run_noting(const struct verb_call *call, struct import_request *request)
{
	char why[400] = "";
	if (call->rejected) {
		request->rejected = fopen(call->rejected, "we");
		if (!request->rejected) {
			(void)snprintf(why, sizeof(why), "--rejected %.200s: %s",
				call->rejected, strerror(errno));
			return verb_failed(why);
		}
	}
	int r = run(call, request);
	if (!request->rejected)
		return r;
	bool failed = ferror(request->rejected) != 0;
	if (fclose(request->rejected) != 0 || failed) {
		(void)snprintf(why, sizeof(why),
			"--rejected %.200s could not be written whole", call->rejected);
		return verb_failed(why);
	}
	return r;
}

int verb_import(const struct verb_call *call)
{
	int form = call->format ? archive_form_find(call->format) : ARCHIVE_DETECT;
	struct progress_line line;

	if (call->count == 0)
		return verb_misused(
			"import needs at least one archive (- is standard input)");
	bool table = form < 0 && config_table(call->config, call->format) >= 0;
	if (form < 0 && !table)
		return verb_misused(
			"--format takes " ARCHIVE_FORMS " or the name of a [table]");
	if (call->zone && !calendar_zone_known(call->zone))
		return verb_misused("--zone takes a name of the system's zone database, "
				    "such as Europe/Berlin");
	int64_t right_ms = 0;
	const char *why;
	if (call->since && time_parse_rfc3339(call->since, &right_ms, &why) != 0)
		return verb_misused(
			"--clock-right-since takes a time with its offset, such as "
			"2026-01-31T10:00:00+01:00");
	progress_begin(&line);
	struct import_request request = {.paths = (const char *const *)call->operands,
		.count = (size_t)call->count,
		.form = table ? ARCHIVE_DETECT : (enum archive_form)form,
		.table = table ? call->format : NULL,
		.zone = call->zone,
		.clock_right_since_ms = right_ms,
		.progress = {progress_show, &line}};
	return run_noting(call, &request);
}
