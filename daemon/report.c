/*
 * The report: heat, electricity and efficiency of a span of local days by mode, as a
 * table for a terminal or as the JSON that /v1/energy answers. Question, query and
 * figures are those of /v1/energy. The store is only read, so a daemon may run beside;
 * what it has not committed yet is not seen.
 */
#include "report.h"

#include "report_span.h"
#include "report_statement.h"

#include <heatbook/clock.h>
#include <heatbook/http.h>
#include <heatbook/store.h>

#include <errno.h>
#include <string.h>
#include <unistd.h>

#define DAYS_MOST      40000
#define STEP_ELSE      "P1D"
#define FINDING_BUDGET 400 /* a day that was not looked at costs some ms */
#define NOTICE_DAYS    32  /* in a turn, and that may be looked at for it */
#define NOTICE_MS_MOST 20000

/* What a daemon beside holds back between two commits. */
static int64_t held_back_ms(const struct config *config)
{
	return config->store.commit_interval_ms + 2 * MS_PER_MIN;
}

/* Cuts a span that is not over: at the present, or at the last commit if that is what a
 * running daemon lets see. */
static int cut_open(struct store *store, const struct config *config, int64_t now_ms,
	int64_t *to_ms, bool *ret_open)
{
	int64_t until_ms = 0;
	*ret_open = *to_ms > now_ms;
	if (!*ret_open)
		return 0;
	*to_ms = now_ms - now_ms % MS_PER_MIN;
	int r = store_fact(store, FACT_DERIVED_UNTIL_MS, &until_ms);
	if (r == 0 && until_ms < *to_ms && *to_ms - until_ms < held_back_ms(config))
		*to_ms = until_ms;
	return r;
}

/* A row's edges are midnights, so each day lies in one row. */
static void add_degrees(
	struct report *report, const int64_t *edges_ms, const struct outdoor_answer *days)
{
	double base_c = report->question.config->plant.degree_base_c;
	size_t row = 0;
	for (size_t i = 0; i < days->count; i++) {
		while (report->answer.buckets[row].t_end_ms <= edges_ms[i])
			row++;
		degree_sum_add(&report->row_degrees[row], base_c, &days->days[i]);
		degree_sum_add(&report->degrees, base_c, &days->days[i]);
	}
}

/* Degree days of the same days; one that is not over has its end cut, and is missing.
 * They are the least of a report: where they take too long, it goes without them. */
static int ask_outdoor(struct store *store, struct report *report)
{
	static const struct duration day = {.days = 1};
	const struct energy_answer *rows = &report->answer;
	const struct config *config = report->question.config;
	int channel = config_role(config, ROLE_OUTDOOR_TEMPERATURE);
	double base_c = config->plant.degree_base_c;
	struct outdoor_answer answer;
	int64_t *edges_ms = NULL;
	size_t count = 0;
	report->outdoor = channel >= 0;
	report->row_degrees = xcalloc(rows->count, sizeof(*report->row_degrees));
	if (!report->outdoor)
		return 0;
	int r = query_buckets(rows->total.t_ms, rows->total.t_end_ms, &day, DAYS_MOST,
		&edges_ms, &count);
	if (r == 0)
		r = query_outdoor_long(store, channel, base_c, edges_ms, count, &answer);
	report->outdoor_slow = r == QUERY_TOO_SLOW;
	if (r == 0) {
		if (report->open)
			answer.days[count - 1].known_ms = 0;
		add_degrees(report, edges_ms, &answer);
		outdoor_answer_release(&answer);
	}
	free(edges_ms);
	return report->outdoor_slow ? 0 : r;
}

static int ask(struct store *store, struct report *report, int64_t from_ms, int64_t to_ms)
{
	int64_t *edges = NULL;
	size_t count = 0;

	int r = query_buckets(from_ms, to_ms, &report->step, DAYS_MOST, &edges, &count);
	if (r == 0)
		r = query_energy(
			store, edges, count, &report->question.boundary, &report->answer);
	if (r == 0 && report->question.preview)
		preview_offset(&report->answer, report->question.offset_k);
	if (r == 0)
		r = ask_outdoor(store, report);
	if (r == 0)
		r = course_ask(store, &report->question, from_ms, to_ms, &report->paper,
			&report->course);
	for (size_t i = 0; r == 0 && i < report->offer_count; i++) {
		struct report_offer *offer = &report->offers[i];
		struct question q = report->question;
		struct energy_answer answer;
		const int64_t whole[] = {from_ms, to_ms};
		q.boundary = offer->boundary;
		r = query_energy(store, whole, 1, &q.boundary, &answer);
		if (r != 0)
			break;
		if (q.preview)
			preview_offset(&answer, q.offset_k);
		offer->whole = figures_whole(&answer.total, &q);
		energy_answer_release(&answer);
	}
	free(edges);
	return r;
}

/* What was raised, as far as minutes are closed. Like degree days the report can go
 * without it. */
static int ask_notices(
	struct store *store, struct report *report, int64_t from_ms, int64_t to_ms)
{
	int64_t until_ms = 0;
	const struct config *config = report->question.config;
	int r = config->notice_count ? store_fact(store, FACT_DERIVED_UNTIL_MS, &until_ms)
				     : STORE_NONE;
	if (r == 0)
		r = notice_times_ask(&report->walks, NULL, store, config, from_ms,
			to_ms < until_ms ? to_ms : until_ms, NOTICE_DAYS, NOTICE_MS_MOST,
			&report->notices);
	report->notices_outcome = r;
	return r < 0 ? r : 0;
}

/* How a question ended that the store did not answer. */
static int failed_query(const struct store *store, int r)
{
	if (r == QUERY_TOO_MANY)
		return verb_misused("that span is too long");
	if (r == QUERY_TOO_SLOW)
		return verb_failed("that took too long; ask for a shorter span");
	return verb_failed(store_error(store));
}

/* Nothing is known of the span: says what would help. */
static int say_nothing(struct store *store, int64_t from_ms, int64_t to_ms)
{
	int64_t first_ms, last_ms;
	char from[16], to[16], first[16], last[16];
	_cleanup_(freep) char *why = NULL;

	if (store_journal_span(store, &first_ms, &last_ms) != 0)
		return verb_failed(
			"nothing is stored yet; run `heatbookd serve` (messages are "
			"stored some minutes after they came) or `heatbookd import`");
	calendar_date_text(calendar_date(from_ms), from);
	calendar_date_text(calendar_date(to_ms - 1), to);
	calendar_date_text(calendar_date(first_ms), first);
	calendar_date_text(calendar_date(last_ms), last);
	why = xasprintf("nothing is known of %s to %s; the journal has %s to %s (choose "
			"with --from and --to)",
		from, to, first, last);
	return verb_failed(why);
}

/* Writes it out, and takes the text over. */
static int print_text(struct buffer *text)
{
	bool written = fwrite(text->data, 1, text->length, stdout) == text->length &&
		       fflush(stdout) == 0;
	buffer_release(text);
	return written ? EXIT_DONE : verb_failed("the report could not be written");
}

static int print(const struct report *report, bool as_json)
{
	struct buffer out = {0};
	if (as_json)
		http_energy_body(&report->question, &report->answer,
			report->step_text ? report->step_text : STEP_ELSE,
			&report->findings.list, &out);
	else
		report_text(report, &out);
	return print_text(&out);
}

static int answer(struct store *store, const struct verb_call *call,
	struct report *report, int64_t now_ms, int64_t from_ms, int64_t to_ms)
{
	int r = cut_open(store, call->config, now_ms, &to_ms, &report->open);
	if (r == 0 && from_ms >= to_ms)
		return verb_failed("that span has not begun yet");
	if (r == 0)
		r = ask(store, report, from_ms, to_ms);
	if (r == 0)
		r = findings_ask(
			store, from_ms, to_ms, FINDING_BUDGET, &report->findings);
	if (r == 0 && !call->json)
		r = ask_notices(store, report, from_ms, to_ms);
	if (r != 0)
		return failed_query(store, r);
	bool known = report->answer.total.modes_seen != 0;
	int code = EXIT_DONE;
	if (known || report->findings.list.count) /* which tell why nothing is known */
		code = print(report, call->json);
	return known || code != EXIT_DONE ? code : say_nothing(store, from_ms, to_ms);
}

static int answer_statement(struct store *store, const struct verb_call *call,
	const struct report *report, int64_t now_ms, int64_t from_ms, int64_t to_ms)
{
	_cleanup_(freep) struct statement *statement = xcalloc(1, sizeof(*statement));
	struct statement_asked asked = {.config = call->config,
		.boundary = report->question.boundary,
		.no_boundary = report->no_boundary,
		.from_ms = from_ms,
		.to_ms = to_ms,
		.patient = true,
		.budget = FINDING_BUDGET,
		.anonymous = call->anonymous};
	struct buffer out = {0};
	int r = cut_open(store, call->config, now_ms, &asked.to_ms, &asked.open);
	if (r == 0 && from_ms >= asked.to_ms)
		return verb_failed("that span has not begun yet");
	if (r == 0)
		r = statement_ask(store, &asked, statement);
	bool known =
		r == 0 && (statement->answer.count || statement->findings.list.count);
	if (known && call->json)
		http_statement_body(statement, &out);
	else if (known)
		statement_text(statement, &out);
	if (report->paper.plain && !call->json)
		paper_make_plain(&out);
	statement_release(statement);
	if (r != 0)
		return failed_query(store, r);
	return known ? print_text(&out) : say_nothing(store, from_ms, asked.to_ms);
}

/* The boundary asked for, or the widest; heat alone where no meter gives one. */
static bool choose_boundary(
	const struct verb_call *call, struct report *report, char why[static 256])
{
	report->question = (struct question){.config = call->config, .by_mode = true};
	report->offer_count = 0;
	int r = boundary_find(
		call->config, call->boundary, &report->question.boundary, why);
	if (r != 0 && call->boundary)
		return false;
	if (r != 0) {
		report->question.boundary = (struct boundary){0};
		report->no_boundary = why;
		return true;
	}
	struct boundary list[BOUNDARIES_MOST];
	report->offer_count = boundary_list(call->config, list);
	for (size_t i = 0; i < report->offer_count; i++)
		report->offers[i].boundary = list[i];
	return true;
}

static bool read_preview(
	const struct verb_call *call, struct question *q, char why[static 256])
{
	const char *text = call->preview_pair_offset;
	q->preview = text != NULL;
	if (!text)
		return true;
	if (!preview_possible(call->config))
		(void)snprintf(why, 256,
			"--preview-pair-offset: heat is not worked out from a "
			"temperature pair here");
	else if (preview_offset_read(text, PREVIEW_OFFSET_MOST_K, &q->offset_k))
		return true;
	else
		(void)snprintf(why, 256,
			"--preview-pair-offset %.40s: must be kelvins, -10 to 10, such "
			"as -0.3",
			text);
	return false;
}

/* Which rows are wanted, if any; else the answer is by days. */
static bool read_step(
	const struct verb_call *call, struct report *report, char why[static 256])
{
	report->step_text = call->step;
	if (http_step_parse(call->step ? call->step : STEP_ELSE, &report->step) &&
		!report->step.exact_ms)
		return true;
	(void)snprintf(
		why, 256, "--step %.40s: must be P1D, P1W, P1M or P1Y", call->step);
	return false;
}

int verb_report(const struct verb_call *call)
{
	_cleanup_(freep) struct report *report = xcalloc(1, sizeof(*report));
	struct store *store;
	int64_t from_ms, to_ms, now_ms = clock_now_ms();
	char why[256], no_boundary[256];

	if (call->count > 0)
		return verb_misused("report takes options alone, such as --from");
	if (!report_span(call, now_ms, &from_ms, &to_ms, why) ||
		!read_step(call, report, why))
		return verb_misused(why);
	if (call->statement && (call->step || call->preview_pair_offset))
		return verb_misused(
			"--statement is of the whole span, as it was measured: leave out "
			"--step and --preview-pair-offset");
	if (call->anonymous && !call->statement)
		return verb_misused("--anonymous is of a --statement");
	report->paper = paper_of(STDOUT_FILENO);
	if (!choose_boundary(call, report, no_boundary))
		return verb_misused(no_boundary);
	if (!read_preview(call, &report->question, why))
		return verb_misused(why);
	if (access(call->config->store.file, F_OK) != 0 && errno == ENOENT) {
		(void)snprintf(why, sizeof(why),
			"%.120s is not there yet: nothing is stored; run `heatbookd "
			"serve` or `heatbookd import`",
			call->config->store.file);
		return verb_failed(why);
	}
	if (store_open(call->config, STORE_READ, &store, why) != 0)
		return verb_failed(why);
	int r = call->statement
			? answer_statement(store, call, report, now_ms, from_ms, to_ms)
			: answer(store, call, report, now_ms, from_ms, to_ms);
	energy_answer_release(&report->answer);
	course_release(&report->course);
	free(report->row_degrees);
	findings_ask_release(&report->findings);
	notice_times_release(&report->notices);
	notice_walks_drop(&report->walks);
	store_close(store);
	return r;
}
