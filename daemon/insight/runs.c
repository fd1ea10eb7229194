/*
 * See runs.h. Each kind of run, and each immersion heater, is followed on its own from
 * minute to minute: through the hour before the day, whose runs are dropped when the day
 * begins but for that they go on, through the day, and beyond it until it is told how
 * each ended.
 */
#include <heatbook/figures.h>
#include <heatbook/runs.h>

#include <math.h>
#include <string.h>

/* Grows when pieces are made otherwise: days of an earlier form are made anew. */
#define RUNS_FORM 1

#define GAP_BRIDGED_MIN 3

#define BIT(mode) (1u << (mode))
#define SERVICES  (BIT(MODE_HEATING) | BIT(MODE_HOT_WATER) | BIT(MODE_COOLING))

/* Time in these modes is time of the run; time in those goes on with it if it comes
 * back. */
static const struct {
	unsigned modes, within;
} kinds[RUN_KINDS] = {
	[RUN_COMPRESSOR] = {SERVICES | BIT(MODE_DEFROST), 0},
	[RUN_DEFROST] = {BIT(MODE_DEFROST), 0},
	[RUN_HOT_WATER] = {BIT(MODE_HOT_WATER), BIT(MODE_DEFROST)},
	[RUN_IMMERSION] = {0, 0},
	[RUN_FREEZE_PROTECTION] = {BIT(MODE_FREEZE_PROTECTION), 0},
};

int run_channel(const struct config *config, enum run_channel channel)
{
	static const enum role roles[RUN_CHANNELS] = {[RUN_FLOW] = ROLE_FLOW_TEMPERATURE,
		[RUN_RETURN] = ROLE_RETURN_TEMPERATURE,
		[RUN_FREQUENCY] = ROLE_COMPRESSOR_FREQUENCY,
		[RUN_OUTDOOR] = ROLE_OUTDOOR_TEMPERATURE,
		[RUN_TARGET] = ROLE_TARGET_FLOW_TEMPERATURE,
		[RUN_CYLINDER] = ROLE_CYLINDER_TEMPERATURE};
	return config_role(config, roles[channel]);
}

/* ---- what is kept of them ---- */

double run_mean_of(const struct run_mean *mean)
{
	return mean->minutes ? mean->sum / (double)mean->minutes : (double)NAN;
}

int64_t run_heat_j(const struct plant_run *run)
{
	int64_t j = 0;
	for (size_t i = 0; i < run->rows.count; i++)
		j += run->rows.items[i].sum.heat_j;
	return j;
}

int64_t run_electricity_j(const struct plant_run *run, const struct config *config)
{
	int64_t j = 0;
	for (size_t i = 0; i < run->rows.count; i++)
		for (size_t m = 0; m < config->meter_count; m++)
			if (run->meter == (int)m ||
				config->meters[m].serves & DEVICE_COMPRESSOR)
				j += run->rows.items[i].sum.meter_j[m];
	return j;
}

void run_list_release(struct run_list *list)
{
	for (size_t i = 0; i < list->count; i++)
		energy_rows_release(&list->items[i].rows);
	free(list->items);
	*list = (struct run_list){0};
}

void run_day_release(struct run_day *day)
{
	run_list_release(&day->pieces);
}

/* ---- a minute ---- */

/* Time in some modes; joules that were booked to a mode without time are not its own. */
static int64_t time_in(const struct run_minute *minute, unsigned modes)
{
	int64_t ms = 0;
	for (size_t i = 0; i < minute->count; i++)
		if (modes & BIT(minute->rows[i].mode))
			ms += minute->rows[i].sum.observed_ms;
	return ms;
}

/* Of the meters that tell of the compressor; NaN where one of them is unknown, or none.
 */
static double compressor_w(const struct config *config, const struct run_minute *minute)
{
	double watts = (double)NAN;
	for (size_t m = 0; m < config->meter_count; m++) {
		int64_t j = 0, ms = 0;
		if (!rules_reads_compressor(config, m))
			continue;
		for (size_t i = 0; i < minute->count; i++) {
			j += minute->rows[i].sum.meter_j[m];
			ms += minute->rows[i].sum.meter_ms[m];
		}
		if (ms < MS_PER_MIN / 2)
			return (double)NAN;
		watts = (isnan(watts) ? 0.0 : watts) + 1000.0 * (double)j / (double)ms;
	}
	return watts;
}

/* By its frequency, where the configuration has one, or by electricity; it is asked of
 * minutes with cooling alone, where modes do not tell. */
static bool compressor_stands(
	const struct config *config, const struct run_minute *minute)
{
	bool told = run_channel(config, RUN_FREQUENCY) >= 0;
	double value =
		told ? minute->values[RUN_FREQUENCY] : compressor_w(config, minute);
	double least = told ? 0.0 : config->modes.compressor_on_w;
	return value <= least; /* NaN is not less */
}

/* ---- following ---- */

struct follower {
	enum run_kind kind;
	int meter;
	bool by_rule;
	bool open;
	struct plant_run run;
	int64_t known;  /* last minute in which it could be seen, or NEVER_MS */
	int last_mode;  /* that held longest in the run's last minute */
	bool within;    /* it rests amid the run: a defrost amid hot water */
	unsigned above; /* bits of its last two minutes: flow above its target */
	bool waits;     /* for what follows `over` */
	struct plant_run over;
};

struct runs {
	const struct config *config;
	int64_t start_min, end_min;
	bool entered; /* the day began */
	struct run_list pieces;
	struct run_interval tail;
	size_t count;
	struct follower followers[RUN_KINDS + METERS_MOST];
};

/* What a follower sees of a minute. */
struct sight {
	bool known;
	unsigned modes; /* of its kind, in this minute */
	int64_t ms, within_ms;
	int64_t begin_ms, end_ms;
};

static void add_follower(struct runs *r, enum run_kind kind, int meter, bool by_rule)
{
	r->followers[r->count++] = (struct follower){
		.kind = kind, .meter = meter, .by_rule = by_rule, .known = NEVER_MS};
}

struct runs *runs_new(const struct config *config, int64_t start_min, int64_t end_min)
{
	struct rules_needed needed = rules_needed(config);
	struct runs *r = xcalloc(1, sizeof(*r));
	r->config = config;
	r->start_min = start_min;
	r->end_min = end_min;
	add_follower(r, RUN_COMPRESSOR, -1, needed.compressor);
	add_follower(r, RUN_DEFROST, -1, needed.defrost);
	add_follower(r, RUN_HOT_WATER, -1, needed.service);
	for (size_t m = 0; m < config->meter_count; m++)
		if (config->meters[m].serves == DEVICE_IMMERSION)
			add_follower(r, RUN_IMMERSION, (int)m, true);
	add_follower(r, RUN_FREEZE_PROTECTION, -1,
		!config_names_mode(config, OPERATING_FREEZE_PROTECTION));
	return r;
}

void runs_free(struct runs *r)
{
	if (!r)
		return;
	for (size_t i = 0; i < r->count; i++) {
		energy_rows_release(&r->followers[i].run.rows);
		energy_rows_release(&r->followers[i].over.rows);
	}
	run_list_release(&r->pieces);
	free(r);
}

static struct sight see_meter(const struct follower *f, const struct run_minute *minute)
{
	struct sight s = {.begin_ms = minute->minute * MS_PER_MIN,
		.end_ms = (minute->minute + 1) * MS_PER_MIN};
	int64_t j = 0, ms = 0;
	for (size_t i = 0; i < minute->count; i++) {
		j += minute->rows[i].sum.meter_j[f->meter];
		ms += minute->rows[i].sum.meter_ms[f->meter];
	}
	s.known = ms > 0;
	s.ms = immersion_is_on((double)j, (double)ms) ? ms : 0;
	return s;
}

static struct sight see(
	const struct runs *r, const struct follower *f, const struct run_minute *minute)
{
	unsigned told = (BIT(MODE_COUNT) - 1) & ~BIT(MODE_UNASSIGNED);
	if (f->kind == RUN_IMMERSION)
		return see_meter(f, minute);
	struct sight s = {
		.known = time_in(minute, told) > 0, .modes = kinds[f->kind].modes};
	if (s.modes & BIT(MODE_COOLING) && time_in(minute, BIT(MODE_COOLING)) > 0 &&
		compressor_stands(r->config, minute))
		s.modes &= ~BIT(MODE_COOLING);
	s.ms = time_in(minute, s.modes);
	s.within_ms = time_in(minute, kinds[f->kind].within);
	s.begin_ms = (minute->minute + 1) * MS_PER_MIN - s.ms;
	s.end_ms = minute->minute * MS_PER_MIN + s.ms;
	return s;
}

/* ---- ends ---- */

/* Takes the run over: what is of the hour before the day is dropped when that begins. */
static void emit(struct runs *r, struct plant_run *run)
{
	struct run_list *list = &r->pieces;
	if (run->ms == 0) {
		energy_rows_release(&run->rows);
		return;
	}
	if (list->count == list->room) {
		list->room = list->room ? 2 * list->room : 16;
		list->items = xrealloc(list->items, list->room, sizeof(*list->items));
	}
	list->items[list->count++] = *run;
	run->rows = (struct energy_rows){0};
}

static void finish(struct runs *r, struct follower *f, enum run_end ended)
{
	f->open = false;
	f->run.ended = ended;
	f->run.end_truncated = ended == RUN_BY_GAP || ended == RUN_GOING_ON;
	emit(r, &f->run);
}

/* The service that a minute shows. */
static enum run_end service_of(const struct runs *r, const struct run_minute *minute)
{
	if (time_in(minute, BIT(MODE_HOT_WATER)) > 0)
		return RUN_BY_HOT_WATER;
	if (time_in(minute, BIT(MODE_HEATING)) > 0)
		return RUN_BY_HEATING;
	if (time_in(minute, BIT(MODE_COOLING)) > 0 &&
		!compressor_stands(r->config, minute))
		return RUN_BY_COOLING;
	return RUN_STOPPED;
}

/* A minute shows that the run is over. */
static void close_run(struct runs *r, struct follower *f, const struct run_minute *minute)
{
	if (f->within) {
		finish(r, f, RUN_BY_DEFROST);
		return;
	}
	if (f->kind != RUN_COMPRESSOR) {
		finish(r, f,
			f->kind == RUN_IMMERSION ? RUN_STOPPED : service_of(r, minute));
		return;
	}
	if (f->last_mode == MODE_DEFROST) {
		finish(r, f, RUN_BY_DEFROST);
		return;
	}
	bool tap = f->last_mode == MODE_HOT_WATER;
	f->open = false;
	f->run.ended = f->above && !tap ? RUN_AT_TARGET : RUN_STOPPED;
	if (tap) {
		emit(r, &f->run);
		return;
	}
	f->over = f->run;
	f->run.rows = (struct energy_rows){0};
	f->waits = true;
}

/* Is it told what followed the run that is over? */
static void decide(struct runs *r, struct follower *f, const struct run_minute *minute)
{
	int64_t until_ms = f->over.end_ms + RUN_FOLLOWED_MIN * MS_PER_MIN;
	bool late = minute->minute * MS_PER_MIN >= until_ms;
	bool tap = time_in(minute, BIT(MODE_HOT_WATER)) > 0;
	if (!f->waits || (!late && !tap))
		return;
	if (!late)
		f->over.ended = RUN_BY_HOT_WATER;
	f->waits = false;
	emit(r, &f->over);
}

static void give_up_waiting(struct runs *r, struct follower *f)
{
	if (f->waits)
		emit(r, &f->over);
	f->waits = false;
}

/* ---- a run ---- */

static void open_run(struct runs *r, struct follower *f, const struct run_minute *minute,
	int64_t begin_ms)
{
	bool seen =
		f->known != NEVER_MS && minute->minute - f->known <= GAP_BRIDGED_MIN + 1;
	give_up_waiting(r, f);
	energy_rows_release(&f->run.rows);
	f->open = true;
	f->above = 0;
	f->run = (struct plant_run){.kind = f->kind,
		.meter = f->meter,
		.by_rule = f->by_rule,
		.begin_truncated = !seen,
		.begin_ms = begin_ms,
		.cylinder_begin_c = (double)NAN,
		.cylinder_end_c = (double)NAN};
}

static void add_meter(struct plant_run *run, const struct run_minute *minute)
{
	struct energy_row row = {.mode = MODE_HOT_WATER};
	int m = run->meter;
	for (size_t i = 0; i < minute->count; i++) {
		const struct energy_sum *sum = &minute->rows[i].sum;
		row.sum.meter_j[m] += sum->meter_j[m];
		row.sum.meter_ms[m] += sum->meter_ms[m];
		row.sum.meter_spread_j[m] += sum->meter_spread_j[m];
		row.sum.meter_bridged_j[m] += sum->meter_bridged_j[m];
		row.sum.meter_bridged_ms[m] += sum->meter_bridged_ms[m];
	}
	energy_rows_add(&run->rows, &row);
}

static void add_modes(struct follower *f, const struct run_minute *minute, unsigned modes)
{
	int64_t longest_ms = 0;
	for (size_t i = 0; i < minute->count; i++) {
		const struct energy_row *row = &minute->rows[i];
		if (!(modes & BIT(row->mode)) || row->sum.observed_ms == 0)
			continue;
		energy_rows_add(&f->run.rows, row);
		if (row->sum.observed_ms > longest_ms) {
			longest_ms = row->sum.observed_ms;
			f->last_mode = row->mode;
		}
	}
}

static void add_values(struct follower *f, const double values[static RUN_CHANNELS])
{
	struct plant_run *run = &f->run;
	for (size_t c = 0; c < RUN_MEANS; c++)
		if (!isnan(values[c])) {
			run->means[c].sum += values[c];
			run->means[c].minutes++;
		}
	if (!isnan(values[RUN_CYLINDER])) {
		if (isnan(run->cylinder_begin_c))
			run->cylinder_begin_c = values[RUN_CYLINDER];
		run->cylinder_end_c = values[RUN_CYLINDER];
	}
	f->above = (f->above << 1 | (values[RUN_FLOW] > values[RUN_TARGET])) & 3u;
}

/* False: the run began with this minute. */
static bool go_on(struct runs *r, struct follower *f, const struct run_minute *minute,
	const struct sight *sight)
{
	bool went_on = f->open;
	if (!went_on)
		open_run(r, f, minute, sight->begin_ms);
	if (f->kind == RUN_IMMERSION)
		add_meter(&f->run, minute);
	else
		add_modes(f, minute, sight->modes);
	add_values(f, minute->values);
	f->within = false;
	f->run.ms += sight->ms;
	/* In one minute it may both begin and end: where in it is not known. */
	f->run.end_ms = went_on ? sight->end_ms : (minute->minute + 1) * MS_PER_MIN;
	return went_on;
}

/* True: a run began. */
static bool follow(struct runs *r, struct follower *f, const struct run_minute *minute)
{
	struct sight s = see(r, f, minute);
	bool began = false;
	if (!s.known)
		return false;
	bool gap =
		f->known != NEVER_MS && minute->minute - f->known > GAP_BRIDGED_MIN + 1;
	decide(r, f, minute);
	if (f->open && gap)
		finish(r, f, RUN_BY_GAP);
	if (s.ms == 0 && f->open && s.within_ms == 0)
		close_run(r, f, minute);
	else if (s.ms == 0)
		f->within = f->open;
	else if (minute->minute < r->end_min)
		began = !go_on(r, f, minute, &s);
	else if (f->open) {
		f->run.goes_on = true;
		finish(r, f, RUN_STOPPED);
	}
	f->known = minute->minute;
	return began;
}

/* ---- from defrost to defrost ---- */

/* In the minute in which a defrost begins the compressor's other time lies before it, in
 * those in which one goes on or ends behind it. */
static void count_interval(struct runs *r, const struct run_minute *minute,
	int64_t known_before, bool defrost_began)
{
	const struct follower *compressor = &r->followers[RUN_COMPRESSOR];
	struct follower *defrost = &r->followers[RUN_DEFROST];
	struct sight s = see(r, compressor, minute);
	int64_t frost_ms = time_in(minute, BIT(MODE_DEFROST));
	if (!s.known)
		return;
	if (known_before == NEVER_MS ||
		minute->minute - known_before > GAP_BRIDGED_MIN + 1)
		r->tail = (struct run_interval){.since = RUN_SINCE_GAP};
	if (frost_ms > 0 && !defrost_began)
		r->tail = (struct run_interval){.since = RUN_SINCE_DEFROST};
	r->tail.ms += s.ms - frost_ms;
	if (frost_ms > 0 && defrost_began) {
		defrost->run.interval = r->tail;
		r->tail = (struct run_interval){.since = RUN_SINCE_DEFROST};
	}
}

/* ---- the day ---- */

/* What was before is the day before's; runs that go on are followed on. */
static void enter_day(struct runs *r)
{
	r->entered = true;
	run_list_release(&r->pieces);
	for (size_t i = 0; i < r->count; i++) {
		struct follower *f = &r->followers[i];
		energy_rows_release(&f->over.rows);
		energy_rows_release(&f->run.rows);
		f->waits = false;
		f->run = (struct plant_run){.kind = f->kind,
			.meter = f->meter,
			.by_rule = f->by_rule,
			.came_over = true,
			.begin_ms = r->start_min * MS_PER_MIN,
			.cylinder_begin_c = (double)NAN,
			.cylinder_end_c = (double)NAN};
	}
}

void runs_come_over(struct runs *r, enum run_kind kind, int meter)
{
	for (size_t i = 0; i < r->count; i++) {
		struct follower *f = &r->followers[i];
		f->open = f->open || (f->kind == kind && f->meter == meter);
		f->known = r->start_min - 1;
	}
}

void runs_take(struct runs *r, const struct run_minute *minute)
{
	int64_t known = r->followers[RUN_COMPRESSOR].known;
	bool defrost_began = false;
	if (!r->entered && minute->minute >= r->start_min)
		enter_day(r);
	for (size_t i = 0; i < r->count; i++) {
		bool began = follow(r, &r->followers[i], minute);
		if (i == RUN_DEFROST)
			defrost_began = began;
	}
	if (minute->minute >= r->start_min && minute->minute < r->end_min)
		count_interval(r, minute, known, defrost_began);
}

static int by_kind_and_begin(const void *a, const void *b)
{
	const struct plant_run *x = a, *y = b;
	if (x->kind != y->kind)
		return x->kind < y->kind ? -1 : 1;
	if (x->meter != y->meter)
		return x->meter < y->meter ? -1 : 1;
	return x->begin_ms < y->begin_ms ? -1 : x->begin_ms > y->begin_ms;
}

static void end_follower(struct runs *r, struct follower *f, int64_t until_min)
{
	give_up_waiting(r, f);
	if (!f->open)
		return;
	if (until_min - (f->known + 1) > GAP_BRIDGED_MIN) {
		finish(r, f, RUN_BY_GAP);
	} else if (until_min < r->end_min + RUN_AHEAD_MIN) {
		finish(r, f, RUN_GOING_ON);
	} else { /* it rests: the day after tells whether it comes back */
		f->run.goes_on = true;
		finish(r, f, RUN_BY_DEFROST);
	}
}

void runs_end(struct runs *r, int64_t until_min, struct run_day *ret)
{
	if (!r->entered)
		enter_day(r);
	for (size_t i = 0; i < r->count; i++)
		end_follower(r, &r->followers[i], until_min);
	*ret = (struct run_day){.start_min = r->start_min,
		.end_min = r->end_min,
		.pieces = r->pieces,
		.tail = r->tail};
	if (ret->pieces.count)
		qsort(ret->pieces.items, ret->pieces.count, sizeof(*ret->pieces.items),
			by_kind_and_begin);
	r->pieces = (struct run_list){0};
}

/* ---- the configuration ---- */

static uint64_t add_text(uint64_t digest, const char *text)
{
	return digest64(digest, text, strlen(text) + 1);
}

static uint64_t add_number(uint64_t digest, double number)
{
	return digest64(digest, &number, sizeof(number));
}

uint64_t runs_form(const struct config *config)
{
	struct rules_needed needed = rules_needed(config);
	uint64_t d = add_number(0, RUNS_FORM);
	for (int c = 0; c < RUN_CHANNELS; c++) {
		int channel = run_channel(config, (enum run_channel)c);
		d = add_text(d, channel < 0 ? "" : config->channels[channel].name);
	}
	for (size_t m = 0; m < config->meter_count; m++) {
		bool told = rules_reads_compressor(config, m);
		if (!told && config->meters[m].serves != DEVICE_IMMERSION)
			continue;
		d = add_text(d, config->meters[m].name);
		d = add_number(d, told);
	}
	d = add_number(d, config->modes.compressor_on_w);
	d = add_number(d, config_names_mode(config, OPERATING_FREEZE_PROTECTION));
	d = add_number(d, needed.compressor);
	d = add_number(d, needed.defrost);
	return add_number(d, needed.service);
}
