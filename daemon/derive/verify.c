/*
 * See verify.h.
 *
 * The chunks are read in the store itself. Rows are made again in a copy: first hours and
 * days of everything from their minutes, a week at a time (law 3), then the chosen UTC
 * days from the journal (law 2), each from the state that was carried into it, with the
 * state carried out compared too; and what was made of their local days' minutes, the
 * evidence that findings rest on. Days that the store knows to be other than the journal
 * and the mapping in force would make them are left out and counted: sealed ones, those
 * that a register's span reaches into from minutes which are gone, those of an older
 * mapping, those that wait to be derived.
 */
#include <heatbook/verify.h>

#include <heatbook/calendar.h>
#include <heatbook/deriver.h>
#include <heatbook/evidence.h>
#include <heatbook/filer.h>
#include <heatbook/run_rows.h>
#include <heatbook/work_copy.h>

#include <errno.h>
#include <string.h>

#define DAYS_A_SPAN 7

struct verify {
	const struct config *config;
	const struct verify_options *options;
	struct verify_report *report;
	struct store *store; /* the copy, later on */
	struct decoder *decoder;
	struct deriver *deriver;
	int64_t until_ms; /* of derived rows */
};

static void say(struct verify *v, const char *format, ...) PRINTF_LIKE(2, 3);
static void say(struct verify *v, const char *format, ...)
{
	char line[320];
	va_list args;
	va_start(args, format);
	(void)vsnprintf(line, sizeof(line), format, args);
	va_end(args);
	v->report->findings++;
	v->options->line(line, v->options->context);
}

static void count_difference(const struct difference *d, void *context)
{
	struct verify *v = context;
	v->report->findings++;
	v->report->differences++;
	v->options->found(d, v->options->context);
}

static bool stopped(const struct verify *v)
{
	return v->options->stop && v->options->stop(v->options->context);
}

static void show(const struct verify *v, const char *what, uint64_t done, uint64_t all)
{
	progress_tell(
		&v->options->progress, &(struct progress){.stage = PROGRESS_COUNTING,
					       .name = what,
					       .done = (int64_t)done,
					       .total = (int64_t)all});
}

static int check_chunk(
	struct verify *v, int64_t id, struct buffer *bytes, struct readings *scratch)
{
	struct chunk_facts facts;
	char from[32], to[32];
	int r = store_chunk_facts(v->store, id, &facts);

	if (r == 0 && facts.lacks_span) {
		say(v, "journal chunk %lld has no span: no derivation meets it",
			(long long)id);
		return 0;
	}
	if (r == 0)
		r = store_chunk_load(v->store, id, bytes);
	if (r != 0) /* store_check_journal() names it, or it was joined meanwhile */
		return r == -EBADMSG || r == STORE_NONE ? 0 : r;
	v->report->chunks++;
	struct content c = chunk_content(v->decoder, bytes, scratch);
	v->report->records += (uint64_t)c.records;
	if (c.left > 0)
		say(v, "journal chunk %lld: its last %zu bytes are no record",
			(long long)id, c.left);
	if (!facts.spanned || c.records == 0 ||
		(facts.first_ms <= c.first_ms && facts.last_ms >= c.last_ms))
		return 0;
	time_text_utc(c.first_ms, from);
	time_text_utc(c.last_ms, to);
	say(v, "journal chunk %lld: its span leaves out readings, which are of %s to %s",
		(long long)id, from, to);
	return 0;
}

/* A damaged chunk that was set aside is told of by the other check. */
static int check_chunks(struct verify *v)
{
	struct readings scratch = {0};
	struct buffer bytes = {0};
	int64_t *ids = NULL;
	size_t count = 0;
	int r = store_chunk_list(v->store, &ids, &count);

	for (size_t i = 0; r == 0 && i < count && !stopped(v); i++) {
		r = check_chunk(v, ids[i], &bytes, &scratch);
		if (i + 1 == count || i % 64 == 63)
			show(v, "chunks", i + 1, count);
	}
	free(ids);
	buffer_release(&bytes);
	readings_release(&scratch);
	return r;
}

static int check_lines(struct verify *v,
	int (*check)(struct store *store, struct buffer *lines, size_t *count))
{
	struct buffer lines = {0};
	size_t count = 0, told = 0;
	int r = check(v->store, &lines, &count);
	char *rest = lines.data, *line;

	buffer_add(&lines, "", 1);
	rest = lines.data;
	while (r == 0 && (line = strsep(&rest, "\n")))
		if (*line) {
			say(v, "%s", line);
			told++;
		}
	if (r == 0 && count > told)
		v->report->findings += count - told; /* more than are told */
	buffer_release(&lines);
	return r;
}

static int check_file(struct verify *v)
{
	int r = check_lines(v, store_checks);
	if (r == 0)
		r = check_lines(v, store_check_journal);
	return r == 0 ? check_chunks(v) : r;
}

/* Hours and days of some days from their minutes, once more; nothing stays changed. */
static int sum_again(struct verify *v, int64_t from, int64_t to)
{
	int r = store_begin(v->store);
	if (r == 0)
		r = store_keep_rows(v->store, from, to, false);
	if (r == 0)
		r = store_rollup(v->store, from, to, v->until_ms / MS_PER_MIN);
	if (r == 0)
		r = store_compare_rows(v->store, from, to, false, count_difference, v);
	store_rollback(v->store);
	v->report->spans++;
	return r;
}

static int check_sums(struct verify *v)
{
	int64_t from, to;
	int r = store_row_span(v->store, &from, &to);
	if (r != 0)
		return r == STORE_NONE ? 0 : r;
	struct date date = calendar_date(from * MS_PER_MIN);
	int64_t start = calendar_day_start(date) / MS_PER_MIN;
	while (r == 0 && start < to && !stopped(v)) {
		date = calendar_add(date, 0, 0, DAYS_A_SPAN);
		int64_t next = calendar_day_start(date) / MS_PER_MIN;
		r = sum_again(v, start, next);
		start = next;
	}
	return r;
}

/* Rows of the day and of the one before, to which a register may reach back. */
static int64_t day_from(int64_t day)
{
	struct date date = calendar_date((day - 1) * MS_PER_DAY);
	return calendar_day_start(date) / MS_PER_MIN;
}

static int mark(struct verify *v, int64_t day)
{
	int64_t end_ms = (day + 1) * MS_PER_DAY;
	if (end_ms > v->until_ms)
		end_ms = v->until_ms;
	int r = store_begin(v->store);
	if (r == 0)
		r = store_dirty_done(v->store, INT64_MAX / 2);
	if (r == 0)
		r = store_dirty_add(v->store, day * MS_PER_DAY, end_ms);
	if (r == 0)
		r = store_commit(v->store);
	if (r != 0)
		store_rollback(v->store);
	return r;
}

static int derive_again(struct verify *v, int64_t day)
{
	int r = mark(v, day);
	while (r == 0) {
		r = deriver_step(v->deriver, v->until_ms / MS_PER_MIN);
		if (r == 0)
			v->report->readings = deriver_readings(v->deriver);
		if (r == 0 && deriver_day(v->deriver) >= day)
			break; /* days after it have their own turn */
	}
	return r == DERIVER_CLEAN ? 0 : r;
}

static void compare_states(struct verify *v, int64_t day, const struct buffer *stored,
	const struct buffer *made)
{
	struct difference d = {.table = "checkpoints", .column = "state"};
	if (buffer_equal(stored, made))
		return;
	time_text_utc((day + 1) * MS_PER_DAY, d.row);
	(void)snprintf(d.stored, sizeof(d.stored), "%zu bytes", stored->length);
	(void)snprintf(d.made, sizeof(d.made), "%zu other bytes", made->length);
	count_difference(&d, v);
}

/* The state carried into a day; false where none is stored. */
static bool state_of(struct verify *v, int64_t day, struct buffer *ret)
{
	int64_t at = 0;
	return store_checkpoint_before(v->store, day, &at, ret) == 0 && at == day;
}

enum { SPANS_MOST = 4 }; /* that begin in two UTC days */

/* What days say once their rows were made again. */
static int look_again(struct verify *v, const struct day_span *spans, size_t count)
{
	int r = 0;
	for (size_t i = 0; r == 0 && i < count; i++) {
		r = v->options->look(v->store, spans[i].start_min, spans[i].end_min);
		if (r == 0)
			r = store_compare_evidence(v->store, spans[i].start_min,
				spans[i].start_min + 1, count_difference, v);
		v->report->looked++;
	}
	return r;
}

enum { RUN_SPANS_MOST = 6 }; /* that begin in two UTC days, and their neighbours */

/* Runs of days that lean on the rows, before these are made again: that drops them. */
static int keep_runs(struct verify *v, int64_t from, int64_t to, struct day_span *spans,
	size_t *ret_count)
{
	from -= MIN_PER_DAY;
	to += MIN_PER_DAY;
	*ret_count = 0;
	if (!v->options->run)
		return 0;
	int r = store_keep_runs(v->store, from, to);
	return r != 0 ? r
		      : store_runs_marked(v->store, from, to, v->options->runs_form,
				spans, RUN_SPANS_MOST, ret_count);
}

static int run_again(struct verify *v, const struct day_span *spans, size_t count)
{
	int r = 0;
	for (size_t i = 0; r == 0 && i < count; i++) {
		r = v->options->run(v->store, spans[i].start_min, spans[i].end_min);
		if (r == 0)
			r = store_compare_runs(v->store, spans[i].start_min,
				spans[i].start_min + 1, count_difference, v);
		v->report->run++;
	}
	return r;
}

/* Of the day on which the mapping changed one made the morning, the other the rest. */
static int is_older(struct verify *v, int64_t day, bool *ret)
{
	int64_t since_ms;
	int r = store_mapping_since(v->store, &since_ms);
	if (r == 0 && floor_div(since_ms, MS_PER_DAY) == day) {
		*ret = true;
		return 0;
	}
	return r == 0 || r == STORE_NONE ? store_day_is_older(v->store, day, ret) : r;
}

/* What local days say whose minutes are not all of the mapping in force is left out. */
static int drop_older_spans(struct verify *v, struct day_span *spans, size_t *count)
{
	size_t kept = 0;
	int r = 0;
	for (size_t i = 0; r == 0 && i < *count; i++) {
		int64_t day = floor_div(spans[i].start_min, MIN_PER_DAY);
		bool older = false;
		for (; r == 0 && !older && day * MIN_PER_DAY < spans[i].end_min; day++)
			r = is_older(v, day, &older);
		if (!older)
			spans[kept++] = spans[i];
	}
	*count = kept;
	return r;
}

static int make_day(struct verify *v, int64_t day)
{
	struct day_span spans[SPANS_MOST];
	struct day_span run_spans[RUN_SPANS_MOST];
	size_t span_count = 0, run_count = 0;
	struct buffer stored = {0}, made = {0};
	int64_t from = day_from(day), to = (day + 1) * MIN_PER_DAY;
	bool had_state = state_of(v, day + 1, &stored);
	int r = store_keep_rows(v->store, from, to, true);

	if (r == 0)
		r = store_evidence_looked(
			v->store, from, to, spans, SPANS_MOST, &span_count);
	if (r == 0)
		r = drop_older_spans(v, spans, &span_count);
	if (r == 0)
		r = keep_runs(v, from, to, run_spans, &run_count);
	if (r == 0)
		r = derive_again(v, day);
	if (r == 0)
		r = store_compare_rows(v->store, from, to, true, count_difference, v);
	if (r == 0)
		r = look_again(v, spans, span_count);
	if (r == 0)
		r = run_again(v, run_spans, run_count);
	if (r == 0 && had_state && state_of(v, day + 1, &made))
		compare_states(v, day, &stored, &made);
	buffer_release(&stored);
	buffer_release(&made);
	v->report->days++;
	return r;
}

/* Is it left out? Then it is counted as what it is. */
static int left_out(struct verify *v, int64_t day, bool *ret)
{
	int64_t sealed = 0;
	bool older = false, waiting = false, reaches = false;
	int r = store_sealed_until(v->store, day, &sealed);
	if (r == 0)
		r = is_older(v, day, &older);
	if (r == 0)
		r = store_dirty_about(
			v->store, day * MS_PER_DAY, (day + 1) * MS_PER_DAY, &waiting);
	if (r == 0)
		r = store_reaches_gone(
			v->store, day * MS_PER_DAY, (day + 1) * MS_PER_DAY, &reaches);
	reaches |= sealed > day * MIN_PER_DAY;
	v->report->sealed += reaches;
	v->report->older += older;
	v->report->waiting += waiting;
	*ret = reaches || older || waiting;
	return r;
}

static int keep_eligible(struct verify *v, int64_t *days, size_t *count)
{
	size_t kept = 0;
	int r = 0;
	for (size_t i = 0; r == 0 && i < *count; i++) {
		bool out = false;
		r = left_out(v, days[i], &out);
		if (!out)
			days[kept++] = days[i];
	}
	*count = kept;
	return r;
}

/* Every day of [first, last]: also those without rows, where none should be made. */
static void every_day(int64_t first, int64_t last, int64_t **days, size_t *count)
{
	*count = (size_t)(last - first + 1);
	*days = xrealloc(*days, *count, sizeof(**days));
	for (size_t i = 0; i < *count; i++)
		(*days)[i] = first + (int64_t)i;
}

/* The days to look at: all, or those that the mapping in force made and the open one. */
static int list_days(struct verify *v, int64_t **ret_days, size_t *ret_count)
{
	int64_t from, to, *days = NULL;
	size_t count = 0;
	int r = store_row_span(v->store, &from, &to);
	if (r != 0)
		return r == STORE_NONE ? 0 : r;
	int64_t last = floor_div(v->until_ms - 1, MS_PER_DAY);
	r = store_days_made(v->store, &days, &count);
	if (r == 0 && v->options->all && floor_div(from, MIN_PER_DAY) <= last) {
		every_day(floor_div(from, MIN_PER_DAY), last, &days, &count);
	} else if (r == 0 && (count == 0 || days[count - 1] < last)) {
		days = xrealloc(days, count + 1, sizeof(*days));
		days[count++] = last;
	}
	if (r == 0)
		r = keep_eligible(v, days, &count);
	*ret_days = days;
	*ret_count = count;
	return r;
}

/* splitmix64, as published in the public domain; from memory. */
static uint64_t next_random(uint64_t *state)
{
	uint64_t z = *state += UINT64_C(0x9e3779b97f4a7c15);
	z = (z ^ z >> 30) * UINT64_C(0xbf58476d1ce4e5b9);
	z = (z ^ z >> 27) * UINT64_C(0x94d049bb133111eb);
	return z ^ z >> 31;
}

static int ascending(const void *a, const void *b)
{
	int64_t x = *(const int64_t *)a, y = *(const int64_t *)b;
	return (x > y) - (x < y);
}

static void choose(const struct verify_options *options, int64_t *days, size_t *count)
{
	uint64_t state = options->seed;
	size_t most = options->days > 0 ? (size_t)options->days : 0;
	if (options->all || most >= *count)
		return;
	for (size_t i = 0; i < most; i++) {
		size_t other = i + (size_t)(next_random(&state) % (*count - i));
		int64_t day = days[i];
		days[i] = days[other];
		days[other] = day;
	}
	*count = most;
	if (most)
		qsort(days, most, sizeof(*days), ascending);
}

static int check_days(struct verify *v)
{
	int64_t *days = NULL;
	size_t count = 0;
	int r = list_days(v, &days, &count);

	if (r == 0)
		choose(v->options, days, &count);
	for (size_t i = 0; r == 0 && i < count && !stopped(v); i++) {
		r = make_day(v, days[i]);
		show(v, "days made again", i + 1, count);
	}
	free(days);
	return r;
}

static int check_copy(struct verify *v)
{
	v->deriver = deriver_new(v->store, v->decoder);
	int r = store_fact(v->store, FACT_DERIVED_UNTIL_MS, &v->until_ms);
	if (r == 0)
		r = check_sums(v);
	if (r == 0)
		r = check_days(v);
	deriver_free(v->deriver);
	return r;
}

static int in_store(struct verify *v, const struct config *config, enum store_mode mode,
	int (*check)(struct verify *), char why[static 320])
{
	char reason[256];
	int r = store_open(config, mode, &v->store, reason);
	if (r != 0) {
		(void)snprintf(why, 320, "%s", reason);
		return r;
	}
	r = check(v);
	if (r != 0)
		(void)snprintf(why, 320, "%.60s: %.240s", config->store.file,
			store_error(v->store));
	store_close(v->store);
	v->store = NULL;
	return r;
}

static int in_copy(struct verify *v, char why[static 320])
{
	_cleanup_(freep) char *place =
		xasprintf("%s/heatbook-verify", v->options->scratch);
	struct work_copy copy;
	char reason[256];
	int r = work_copy_make(v->config, place, &copy, reason);
	if (r == 0) {
		v->report->copied = true;
		r = in_store(v, &copy.config, STORE_WRITE, check_copy, why);
		if (r != 0 && v->report->findings > 0) {
			say(v, "not all could be made again: %s", why);
			r = 0;
		}
	} else if (r == -EBADMSG && v->report->findings > 0) {
		r = 0; /* the file is damaged, which was told */
	} else {
		(void)snprintf(why, 320,
			"%.250s (rows are made again in a copy; TMPDIR names its place)",
			reason);
	}
	(void)work_copy_remove(&copy); /* what cannot go stays in the temporary place */
	return r;
}

int verify_store(const struct config *config, const struct verify_options *options,
	struct verify_report *ret, char why[static 320])
{
	struct verify v = {.config = config, .options = options, .report = ret};

	*ret = (struct verify_report){0};
	v.decoder = decoder_new(config);
	int r = in_store(&v, config, STORE_READ, check_file, why);
	if (r == 0 && !stopped(&v) && (options->all || options->days > 0))
		r = in_copy(&v, why);
	decoder_free(v.decoder);
	if (r == 0 && stopped(&v)) {
		(void)snprintf(why, 320, "ended before its end by a signal");
		return -EINTR;
	}
	return r;
}
