/*
 * The verb imports: what was imported, and one of them taken back.
 */
#include "import_json.h"
#include "progress.h"
#include "verbs.h"

#include <heatbook/calendar.h>
#include <heatbook/printable.h>
#include <heatbook/store.h>

#include <string.h>

static const char *condition(const struct import_row *row)
{
	if (!row->complete)
		return ", broken off: import it again";
	return row->damaged ? ", damaged: import it again" : "";
}

static void print_row(const struct import_row *row, void *context)
{
	char added[32], first[32], last[32];
	struct buffer *out = context;
	time_text_local(row->added_ms, added);
	text_printable(out, row->name, strlen(row->name), SIZE_MAX);
	buffer_addf(out, "\n  filed %s, %lld records, %lld lines rejected, %.1f MB%s\n",
		added, (long long)row->records, (long long)row->rejected,
		(double)row->bytes / 1e6, condition(row));
	if (!row->span.any)
		return;
	time_text_local(row->span.first_ms, first);
	time_text_local(row->span.last_ms, last);
	buffer_addf(out, "  from %s to %s\n", first, last);
}

static void add_row(const struct import_row *row, void *context)
{
	struct json *json = context;
	json_object(json, NULL);
	json_text(json, "name", row->name);
	json_seconds(json, "filed", row->added_ms);
	json_integer(json, "records", row->records);
	json_integer(json, "rejected", row->rejected);
	json_integer(json, "bytes", row->bytes);
	json_bool(json, "complete", row->complete);
	json_bool(json, "damaged", row->damaged);
	import_json_span(json, row->span.any, row->span.first_ms, row->span.last_ms);
	json_object_end(json);
}

static int list(const struct verb_call *call)
{
	struct buffer text = {0};
	struct json json = {0};
	struct store *store;
	char why[256];

	if (store_open(call->config, STORE_READ, &store, why) != 0)
		return verb_failed(why);
	json_array(&json, NULL);
	int r = call->json ? store_imports(store, add_row, &json)
			   : store_imports(store, print_row, &text);
	json_array_end(&json);
	if (r != 0)
		r = verb_failed(store_error(store));
	else if (call->json)
		(void)printf("%s\n", buffer_text(&json.out));
	else
		(void)printf("%s",
			text.length ? buffer_text(&text) : "nothing was imported\n");
	store_close(store);
	buffer_release(&json.out);
	buffer_release(&text);
	return r;
}

static void print_drop(const struct verb_call *call, const struct import_report *r)
{
	struct json json = {0};
	if (!call->json) {
		(void)printf("%s is no longer in the journal; ", call->drop);
		if (r->by_daemon)
			(void)printf("the running daemon derived its days\n");
		else
			(void)printf("%lld days derived\n", (long long)r->days);
		verb_say_sealed(&r->sealed);
		return;
	}
	json_object(&json, NULL);
	json_text(&json, "dropped", call->drop);
	import_json_derived(&json, r);
	json_object_end(&json);
	(void)printf("%s\n", buffer_text(&json.out));
	buffer_release(&json.out);
}

static int drop(const struct verb_call *call)
{
	struct progress_line line;
	const struct progress_to progress = {progress_show, &line};
	struct import_report report;
	char why[320];

	progress_begin(&line);
	int r = import_drop(call->config, call->drop, &progress, &report, why);
	progress_end(&line);
	if (r != 0)
		return verb_failed(why);
	print_drop(call, &report);
	return EXIT_DONE;
}

int verb_imports(const struct verb_call *call)
{
	if (call->count > 0)
		return verb_misused(
			"imports takes no operand; --drop NAME takes one back");
	return call->drop ? drop(call) : list(call);
}
