/* See runs.h. Each kind of run is followed on its own, from minute to minute. */
#include <heatbook/figures.h>
#include <heatbook/runs.h>

#include <math.h>

#define GAP_BRIDGED_MIN 3

#define BIT(mode) (1u << (mode))

/* Time in these modes is time of the run; time in those goes on with it if it comes
 * back. */
static const struct {
	const char *name;
	unsigned modes, within;
} kinds[RUN_KINDS] = {
	[RUN_COMPRESSOR] = {"compressor",
		BIT(MODE_HEATING) | BIT(MODE_HOT_WATER) | BIT(MODE_COOLING) |
			BIT(MODE_DEFROST),
		0},
	[RUN_DEFROST] = {"defrost", BIT(MODE_DEFROST), 0},
	[RUN_HOT_WATER] = {"hot_water", BIT(MODE_HOT_WATER), BIT(MODE_DEFROST)},
};

struct follower {
	bool open;
	struct plant_run run;
};

struct runs {
	const struct config *config;
	run_visit *visit;
	void *context;
	bool by_rule[RUN_KINDS];
	int64_t known; /* last minute of which a mode is known, or NEVER_MS */
	struct follower followers[RUN_KINDS];
};

const char *run_kind_name(enum run_kind kind)
{
	return kinds[kind].name;
}

struct runs *runs_new(const struct config *config, run_visit *visit, void *context)
{
	struct rules_needed needed = rules_needed(config);
	struct runs *r = xcalloc(1, sizeof(*r));
	r->config = config;
	r->visit = visit;
	r->context = context;
	r->known = NEVER_MS;
	r->by_rule[RUN_COMPRESSOR] = needed.compressor;
	r->by_rule[RUN_DEFROST] = needed.defrost;
	r->by_rule[RUN_HOT_WATER] = needed.service;
	return r;
}

void runs_free(struct runs *r)
{
	free(r);
}

/* Time in some modes; joules that were booked to a mode without time are not its own. */
static int64_t time_in(const struct energy_bucket *minute, unsigned modes)
{
	int64_t ms = 0;
	for (size_t m = 0; m < MODE_COUNT; m++)
		if (modes & BIT(m))
			ms += minute->modes[m].observed_ms;
	return ms;
}

static void close_run(struct runs *r, struct follower *f, bool truncated)
{
	f->open = false;
	f->run.end_truncated = truncated;
	r->visit(&f->run, r->context);
}

static void open_run(struct runs *r, size_t kind, int64_t minute, int64_t ms)
{
	struct follower *f = &r->followers[kind];
	bool seen = r->known != NEVER_MS && minute - r->known <= GAP_BRIDGED_MIN + 1;
	*f = (struct follower){.open = true,
		.run = {.kind = (enum run_kind)kind,
			.by_rule = r->by_rule[kind],
			.begin_truncated = !seen,
			.begin_ms = (minute + 1) * MS_PER_MIN - ms}};
}

static void add(
	struct runs *r, size_t kind, unsigned modes, const struct energy_bucket *minute)
{
	struct plant_run *run = &r->followers[kind].run;
	for (size_t m = 0; m < MODE_COUNT; m++) {
		const struct energy_sum *sum = &minute->modes[m];
		if (!(modes & BIT(m)) || sum->observed_ms == 0)
			continue;
		energy_sum_add(&run->sums.modes[m], sum);
		run->sums.modes_seen |= BIT(m);
		run->heat_j += sum->heat_j;
		for (size_t i = 0; i < r->config->meter_count; i++)
			if (r->config->meters[i].serves & DEVICE_COMPRESSOR)
				run->electricity_j += sum->meter_j[i];
	}
}

static void follow(struct runs *r, size_t kind, const struct energy_bucket *bucket,
	enum flag compressor, int64_t minute)
{
	struct follower *f = &r->followers[kind];
	unsigned modes = kinds[kind].modes;
	if (compressor == FLAG_OFF)
		modes &= ~BIT(MODE_COOLING);
	int64_t ms = time_in(bucket, modes);
	int64_t within_ms = time_in(bucket, kinds[kind].within);
	if (ms == 0) {
		if (f->open && within_ms == 0)
			close_run(r, f, false);
		return;
	}
	bool began = !f->open;
	if (began)
		open_run(r, kind, minute, ms);
	add(r, kind, modes, bucket);
	f->run.ms += ms;
	/* In one minute it may both begin and end: where in it is not known. */
	f->run.end_ms = began ? (minute + 1) * MS_PER_MIN : minute * MS_PER_MIN + ms;
}

void runs_take(struct runs *r, const struct energy_bucket *bucket, enum flag compressor)
{
	unsigned told = (BIT(MODE_COUNT) - 1) & ~BIT(MODE_UNASSIGNED);
	int64_t minute = floor_div(bucket->t_ms, MS_PER_MIN);
	if (time_in(bucket, told) == 0)
		return;
	bool gap = r->known != NEVER_MS && minute - r->known > GAP_BRIDGED_MIN + 1;
	for (size_t kind = 0; kind < RUN_KINDS; kind++) {
		if (gap && r->followers[kind].open)
			close_run(r, &r->followers[kind], true);
		follow(r, kind, bucket, compressor, minute);
	}
	r->known = minute;
}

/* Of the meters that tell of the compressor; NaN where one of them is unknown, or none.
 */
static double compressor_w(
	const struct config *config, const struct energy_bucket *minute)
{
	double watts = (double)NAN;
	for (size_t i = 0; i < config->meter_count; i++) {
		int64_t j = 0, ms = 0;
		if (!rules_reads_compressor(config, i))
			continue;
		for (size_t m = 0; m < MODE_COUNT; m++) {
			j += minute->modes[m].meter_j[i];
			ms += minute->modes[m].meter_ms[i];
		}
		if (ms < MS_PER_MIN / 2)
			return (double)NAN;
		watts = (isnan(watts) ? 0.0 : watts) + 1000.0 * (double)j / (double)ms;
	}
	return watts;
}

enum flag runs_compressor(const struct config *config, const struct energy_bucket *minute,
	double frequency_hz)
{
	bool told = config_role(config, ROLE_COMPRESSOR_FREQUENCY) >= 0;
	double value = told ? frequency_hz : compressor_w(config, minute);
	double least = told ? 0.0 : config->modes.compressor_on_w;
	return value <= least ? FLAG_OFF : FLAG_ON; /* NaN is not less */
}

bool runs_open_before(const struct runs *r, enum run_kind kind, int64_t t_ms)
{
	return r->followers[kind].open && r->followers[kind].run.begin_ms < t_ms;
}

void runs_end(struct runs *r)
{
	for (size_t kind = 0; kind < RUN_KINDS; kind++)
		if (r->followers[kind].open)
			close_run(r, &r->followers[kind], true);
}
