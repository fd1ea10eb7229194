/*
 * Runs of a span, put together out of days' pieces. See run_ask.h.
 *
 * Days are gone through one after the other: stretches of kept ones in one query, the
 * others out of their minutes. A run whose piece goes on waits for the piece of the next
 * day that came over, beyond the span's end if need be. The compressor's time between
 * defrosts is carried from day to day likewise.
 */
#include <heatbook/calendar.h>
#include <heatbook/run_ask.h>
#include <heatbook/run_rows.h>
#include <heatbook/store.h>

#include <math.h>

/* Days out of minutes that one answer may cost; the daemon keeps a week's a turn. */
#define UNKEPT_DAYS_MOST 120

enum day_state { DAY_EMPTY, DAY_KEPT, DAY_UNKEPT };

struct day {
	int64_t start_min, end_min;
	enum day_state state;
	struct run_interval tail;
};

struct waiting {
	bool open;
	int64_t next_min; /* the day whose piece it waits for */
	struct plant_run run;
};

struct asking {
	struct store *store;
	const struct runs_asked *asked;
	int64_t *ret_version;
	struct older_days *ret_older;
	uint64_t form;
	int64_t until_min; /* behind it there is no row */
	struct day *days;
	size_t count, room;
	size_t before; /* of them, before the span's */
	size_t unkept; /* days out of minutes so far */
	size_t told;   /* days whose tails are in `carried` */
	struct run_interval carried;
	struct waiting waiting[METERS_MOST + 1]; /* by meter + 1 */
};

/* ---- days ---- */

static void add_day(struct asking *a, int64_t start_min, int64_t end_min)
{
	if (a->count == a->room) {
		a->room = a->room ? 2 * a->room : 64;
		a->days = xrealloc(a->days, a->room, sizeof(*a->days));
	}
	a->days[a->count++] = (struct day){.start_min = start_min, .end_min = end_min};
}

/* Local days from one that holds an instant up to one that ends at or after another. */
static void add_days(struct asking *a, int64_t from_ms, int64_t to_ms)
{
	struct date date = calendar_date(from_ms);
	int64_t start_ms = calendar_day_start(date);
	while (start_ms < to_ms) {
		date = calendar_add(date, 0, 0, 1);
		int64_t end_ms = calendar_day_start(date);
		if (end_ms > start_ms)
			add_day(a, start_ms / MS_PER_MIN, end_ms / MS_PER_MIN);
		start_ms = end_ms;
	}
}

struct marking {
	struct asking *asking;
	size_t at;
};

static void take_mark(const struct run_mark *mark, void *context)
{
	struct marking *m = context;
	struct asking *a = m->asking;
	while (m->at < a->count && a->days[m->at].start_min < mark->start_min)
		m->at++;
	if (m->at == a->count || a->days[m->at].start_min != mark->start_min)
		return;
	a->days[m->at].state = mark->marked ? DAY_KEPT : DAY_UNKEPT;
	a->days[m->at].tail = mark->tail;
}

/* What is known of days from `first` on. A closed day that is not stored has no rows. */
static int describe(struct asking *a, size_t first)
{
	struct marking m = {a, first};
	int64_t until_ms = 0;
	int r = store_fact(a->store, FACT_DERIVED_UNTIL_MS, &until_ms);
	for (size_t i = first; i < a->count; i++) {
		bool closed = a->days[i].end_min <= until_ms / MS_PER_MIN;
		a->days[i].state = closed ? DAY_EMPTY : DAY_UNKEPT;
		a->days[i].tail = (struct run_interval){.since = RUN_SINCE_GAP};
	}
	if (r != 0 || first == a->count)
		return r;
	return store_run_marks(a->store, a->days[first].start_min,
		a->days[a->count - 1].end_min, a->form, take_mark, &m);
}

/* ---- pieces ---- */

static void deliver(struct asking *a, struct waiting *w)
{
	const struct runs_asked *asked = a->asked;
	if (w->run.begin_ms >= asked->from_ms && w->run.begin_ms < asked->to_ms)
		asked->visit(&w->run, asked->context);
	energy_rows_release(&w->run.rows);
	w->open = false;
}

static void join(struct plant_run *run, struct plant_run *piece)
{
	run->end_truncated = piece->end_truncated;
	run->goes_on = piece->goes_on;
	run->ended = piece->ended;
	run->end_ms = piece->end_ms;
	run->ms += piece->ms;
	for (size_t m = 0; m < RUN_MEANS; m++) {
		run->means[m].sum += piece->means[m].sum;
		run->means[m].minutes += piece->means[m].minutes;
	}
	if (isnan(run->cylinder_begin_c))
		run->cylinder_begin_c = piece->cylinder_begin_c;
	if (!isnan(piece->cylinder_end_c))
		run->cylinder_end_c = piece->cylinder_end_c;
	for (size_t i = 0; i < piece->rows.count; i++)
		energy_rows_add(&run->rows, &piece->rows.items[i]);
	energy_rows_release(&piece->rows);
}

/* Since the day's begin is since whatever was before it. */
static void add_interval(struct run_interval *before, struct run_interval more)
{
	if (more.since == RUN_SINCE_DAY)
		before->ms += more.ms;
	else
		*before = more;
}

/* Tells what was carried into a day. */
static struct run_interval carry_into(struct asking *a, int64_t start_min)
{
	for (; a->told < a->count && a->days[a->told].start_min < start_min; a->told++)
		add_interval(&a->carried, a->days[a->told].tail);
	return a->carried;
}

static int64_t day_after(const struct asking *a, int64_t start_min)
{
	size_t low = 0, high = a->count;
	while (high - low > 1) {
		size_t middle = low + (high - low) / 2;
		if (a->days[middle].start_min <= start_min)
			low = middle;
		else
			high = middle;
	}
	return a->days[low].end_min;
}

static void take_piece(int64_t start_min, struct plant_run *piece, void *context)
{
	struct asking *a = context;
	struct waiting *w = &a->waiting[piece->meter + 1];
	if (w->open && piece->came_over && w->next_min == start_min) {
		join(&w->run, piece);
	} else {
		if (w->open)
			deliver(a, w);
		if (piece->came_over) { /* it began before all that is asked */
			energy_rows_release(&piece->rows);
			return;
		}
		*w = (struct waiting){.open = true, .run = *piece};
		if (piece->kind == RUN_DEFROST) {
			struct run_interval interval = carry_into(a, start_min);
			add_interval(&interval, piece->interval);
			w->run.interval = interval;
		}
	}
	w->next_min = day_after(a, start_min);
	if (!w->run.goes_on)
		deliver(a, w);
}

static int make_day(struct asking *a, struct day *day, bool wants_pieces)
{
	struct run_day made = {0};
	if (++a->unkept > UNKEPT_DAYS_MOST)
		return QUERY_TOO_SLOW;
	int r = run_day_of(a->store, day->start_min, day->end_min, &made);
	day->tail = made.tail;
	for (size_t i = 0; wants_pieces && i < made.pieces.count; i++) {
		struct plant_run *piece = &made.pieces.items[i];
		if (piece->kind != a->asked->kind)
			continue;
		take_piece(day->start_min, piece, a);
		piece->rows = (struct energy_rows){0}; /* taken */
	}
	run_day_release(&made);
	return r;
}

/* Kept days that follow each other are one query. */
static int go_through(struct asking *a, size_t first)
{
	int r = 0;
	for (size_t i = first; r == 0 && i < a->count;) {
		size_t end = i;
		while (end < a->count && a->days[end].state == DAY_KEPT)
			end++;
		if (end > i)
			r = store_run_pieces(a->store, a->asked->kind,
				a->days[i].start_min, a->days[end - 1].end_min,
				take_piece, a);
		i = end;
		for (; r == 0 && i < a->count && a->days[i].state != DAY_KEPT; i++)
			if (a->days[i].state == DAY_UNKEPT)
				r = make_day(a, &a->days[i], true);
	}
	return r;
}

/* ---- before the span, and behind it ---- */

/* What the compressor ran since the last defrost before the first day. */
static int look_back(struct asking *a)
{
	size_t at = a->before;
	struct run_interval carried = {.since = RUN_SINCE_GAP};
	int64_t ms = 0;
	int r = 0;
	while (r == 0 && at > 0) {
		struct day *day = &a->days[--at];
		if (day->state == DAY_UNKEPT)
			r = make_day(a, day, false);
		ms += day->tail.ms;
		carried.since = day->tail.since;
		if (carried.since != RUN_SINCE_DAY)
			break;
	}
	if (carried.since == RUN_SINCE_DAY)
		carried.since = RUN_SINCE_GAP;
	carried.ms = ms;
	a->carried = carried;
	a->told = a->before;
	return r;
}

static bool goes_on(const struct asking *a)
{
	for (size_t i = 0; i < ARRAY_LEN(a->waiting); i++) {
		const struct waiting *w = &a->waiting[i];
		bool asked = w->open && w->run.begin_ms >= a->asked->from_ms &&
			     w->run.begin_ms < a->asked->to_ms;
		if (asked && w->next_min == a->days[a->count - 1].end_min)
			return true;
	}
	return false;
}

static int follow_beyond(struct asking *a)
{
	int r = 0;
	while (r == 0 && goes_on(a) && a->days[a->count - 1].end_min < a->until_min) {
		size_t first = a->count;
		int64_t from_ms = a->days[first - 1].end_min * MS_PER_MIN;
		add_days(a, from_ms, from_ms + 1);
		r = describe(a, first);
		if (r == 0)
			r = go_through(a, first);
	}
	return r;
}

/* ---- asking ---- */

static void add_days_before(struct asking *a, int64_t from_ms)
{
	struct date date = calendar_date(from_ms);
	int64_t first_ms = calendar_day_start(date);
	int64_t back_ms =
		calendar_day_start(calendar_add(date, 0, 0, -RUN_INTERVAL_DAYS));
	add_days(a, back_ms, first_ms);
}

static int ask_span(struct asking *a, int64_t from_ms, int64_t to_ms)
{
	bool intervals = a->asked->kind == RUN_DEFROST;
	if (intervals)
		add_days_before(a, from_ms);
	a->before = a->count;
	add_days(a, from_ms, to_ms);
	int r = describe(a, 0);
	if (r == 0 && intervals)
		r = look_back(a);
	if (r == 0)
		r = go_through(a, a->before);
	if (r == 0)
		r = follow_beyond(a);
	for (size_t i = 0; r == 0 && i < ARRAY_LEN(a->waiting); i++)
		if (a->waiting[i].open)
			deliver(a, &a->waiting[i]);
	return r;
}

/* Where there are no rows nothing is asked. */
static int ask_rows(struct asking *a)
{
	int64_t first_min = 0;
	int64_t from_ms = a->asked->from_ms, to_ms = a->asked->to_ms;
	int r = store_run_span(a->store, &first_min, &a->until_min);
	if (r != 0)
		return r == STORE_NONE ? 0 : r;
	if (from_ms < first_min * MS_PER_MIN)
		from_ms = first_min * MS_PER_MIN;
	if (to_ms > a->until_min * MS_PER_MIN)
		to_ms = a->until_min * MS_PER_MIN;
	return from_ms < to_ms ? ask_span(a, from_ms, to_ms) : 0;
}

static int ask(struct store *store, void *context)
{
	struct asking *a = context;
	int r = store_fact(store, FACT_VERSION, a->ret_version);
	if (r == 0)
		r = store_older_days(
			store, a->asked->from_ms, a->asked->to_ms, a->ret_older);
	return r == 0 ? ask_rows(a) : r;
}

int runs_ask(struct store *store, const struct runs_asked *asked, int64_t *ret_version,
	struct older_days *ret_older)
{
	struct asking a = {.store = store,
		.asked = asked,
		.ret_version = ret_version,
		.ret_older = ret_older,
		.form = runs_form(store_config(store))};
	int r = store_snapshot(store, ask, &a);
	for (size_t i = 0; i < ARRAY_LEN(a.waiting); i++)
		if (a.waiting[i].open)
			energy_rows_release(&a.waiting[i].run.rows);
	free(a.days);
	return r;
}
