/*
 * Lists, as lines of CSV, what a store tells: runs of each kind; how late flags come; how
 * coarse the source is. For
 * modes_by_rule.py.
 *
 *     list_runs CONFIGURATION
 */
#include <heatbook/rule_minutes.h>
#include <heatbook/run_ask.h>
#include <heatbook/store.h>

#include <math.h>
#include <stdio.h>
#include <string.h>

#define PIECE_MIN 360

struct listing {
	const struct config *config;
	struct store *store;
	struct flag_lags *lags;
	struct grain grain;
};

static void print_run(const struct plant_run *run, void *context)
{
	const struct config *config = context;
	double interval_s = run->interval.since == RUN_SINCE_DEFROST
				    ? (double)run->interval.ms / 1000.0
				    : (double)NAN;
	(void)printf("run,%s,%d,%d,%d,%.3f,%.3f,%lld,%lld,%s,%.3f,%.3f,%.3f\n",
		run_kind_name(run->kind), run->by_rule, run->begin_truncated,
		run->end_truncated, (double)run->begin_ms / 1000.0,
		(double)run->end_ms / 1000.0, (long long)run_heat_j(run),
		(long long)run_electricity_j(run, config), run_end_words[run->ended],
		interval_s, run->cylinder_begin_c, run->cylinder_end_c);
}

static int print_runs(struct listing *l, int64_t from_min, int64_t to_min)
{
	struct older_days older;
	int64_t version;
	int r = 0;
	for (int kind = 0; r == 0 && kind < RUN_KINDS; kind++) {
		const struct runs_asked asked = {.kind = (enum run_kind)kind,
			.from_ms = from_min * MS_PER_MIN,
			.to_ms = to_min * MS_PER_MIN,
			.visit = print_run,
			.context = (void *)(uintptr_t)l->config};
		r = runs_ask(l->store, &asked, &version, &older);
	}
	return r;
}

static void print_lag(struct listing *l, enum lag_kind kind, const char *name)
{
	struct flag_lag lag = flag_lags_answer(l->lags, kind);
	(void)printf("lag,%s,%lld,%lld,%lld,%.1f,%.1f\n", name, (long long)lag.pairs,
		(long long)lag.by_flag, (long long)lag.by_rule, lag.median_min,
		lag.most_min);
}

static int take_piece(struct listing *l, int64_t from, int64_t to)
{
	struct day_minutes day;
	size_t count = (size_t)(to - from);
	int r = store_day_minutes(l->store, from, to, &day);
	struct rule_channels channels = {0};
	if (r == 0)
		channels = rule_channels_of(&day);
	for (size_t i = 0; r == 0 && i < count; i++) {
		struct rule_minute m = rule_minute_of(&day, &channels, i);
		flag_lags_take(l->lags, &m.row, m.defrost, m.hot_water);
		grain_take(&l->grain, &m.row);
	}
	if (r == 0)
		day_minutes_release(&day);
	return r;
}

static int list(struct listing *l)
{
	int64_t from, to;
	int r = store_row_span(l->store, &from, &to);
	for (int64_t at = from; r == 0 && at <= to; at += PIECE_MIN)
		r = take_piece(l, at, at + PIECE_MIN);
	if (r != 0)
		return r;
	r = print_runs(l, from, to + 1);
	if (r != 0)
		return r;
	print_lag(l, LAG_DEFROST, "defrost");
	print_lag(l, LAG_HOT_WATER, "hot_water");
	(void)printf("grain,%.0f\n", grain_median_min(&l->grain));
	return 0;
}

int main(int argc, char **argv)
{
	struct config *config;
	struct faults faults = {0};
	char why[256] = "";
	if (argc != 2 || config_load(argv[1], &config, &faults, NULL) != 0) {
		(void)fprintf(stderr, "list_runs: no configuration\n");
		return 2;
	}
	struct listing l = {.config = config, .lags = flag_lags_new(config)};
	grain_init(&l.grain);
	size_t done = 1;
	int r = store_open(config, STORE_WRITE, &l.store, why);
	while (r == 0 && done > 0)
		r = runs_catch_up(l.store, 8, &done);
	if (r == 0)
		r = list(&l);
	if (r != 0)
		(void)fprintf(
			stderr, "list_runs: %s\n", l.store ? store_error(l.store) : why);
	store_close(l.store);
	flag_lags_free(l.lags);
	config_free(config);
	return r != 0;
}
