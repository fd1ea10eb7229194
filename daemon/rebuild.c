/*
 * The verb `rebuild`: asks for a span, says how it goes, and ends in good order when it
 * is asked to. With --what it only says what would change (what.c).
 */
#include "what.h"

#include "progress.h"
#include "verbs.h"

#include <errno.h>
#include <string.h>
#include <sys/signalfd.h>
#include <unistd.h>

static bool asked_to_end(void *context)
{
	struct signalfd_siginfo info;
	return read(*(const int *)context, &info, sizeof(info)) == (ssize_t)sizeof(info);
}

static const char *plural(int64_t count)
{
	return count == 1 ? "" : "s";
}

static int print(const struct rebuild_report *report)
{
	(void)printf("%s%lld day%s derived%s\n",
		report->went_on ? "went on where the last one was broken off: " : "",
		(long long)report->days, plural(report->days),
		report->by_other ? " by the running heatbookd" : "");
	verb_say_sealed(&report->sealed);
	if (!report->ended)
		return EXIT_DONE;
	(void)fprintf(stderr,
		"heatbookd: ended as asked with %lld day%s to go: %s, and the same "
		"command waits for the rest or does it\n",
		(long long)report->left, plural(report->left),
		report->by_other ? "the running heatbookd goes on"
				 : "heatbookd goes on when it is started next");
	return EXIT_FAILED;
}

static bool span_asked(const struct verb_call *call, struct rebuild_request *ret)
{
	ret->from_ms = REBUILD_FIRST;
	ret->to_ms = REBUILD_LAST;
	return call->count == 0 &&
	       (!call->from || verb_date(call->from, 0, &ret->from_ms)) &&
	       (!call->to || verb_date(call->to, 1, &ret->to_ms));
}

int verb_rebuild(const struct verb_call *call)
{
	struct progress_line line;
	int signal_fd = -1;
	struct rebuild_request request = {.sealed = call->sealed,
		.progress = {progress_show, &line},
		.stop = asked_to_end,
		.context = &signal_fd};
	struct rebuild_report report;
	char why[320];

	if (!span_asked(call, &request))
		return verb_misused(
			"rebuild takes --from and --to, local dates like 2026-01-31");
	if (request.from_ms >= request.to_ms)
		return verb_misused("--from must not lie after --to");
	if (!call->what && (call->boundary || call->json))
		return verb_misused("--boundary and --json are for --what");
	int r = verb_signals(0, &signal_fd);
	if (r != 0)
		return verb_failed(strerror(-r));
	progress_begin(&line);
	if (call->what)
		return what_rebuild(call, &request, &line);
	r = rebuild_span(call->config, &request, &report, why);
	progress_end(&line);
	return r == 0 ? print(&report) : verb_failed(why);
}
