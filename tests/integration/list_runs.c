/*
 * Lists, as lines of CSV, what minutes of a store tell: runs of the compressor, defrosts
 * and hot-water runs; how late flags come; how coarse the source is. For
 * modes_by_rule.py.
 *
 *     list_runs CONFIGURATION
 */
#include <heatbook/query.h>
#include <heatbook/rule_minutes.h>
#include <heatbook/runs.h>
#include <heatbook/store.h>

#include <stdio.h>
#include <string.h>

#define PIECE_MIN 360

struct listing {
	const struct config *config;
	struct store *store;
	struct runs *runs;
	struct flag_lags *lags;
	struct grain grain;
};

static void print_run(const struct plant_run *run, void *context)
{
	(void)context;
	(void)printf("run,%s,%d,%d,%d,%.3f,%.3f,%lld,%lld\n", run_kind_name(run->kind),
		run->by_rule, run->begin_truncated, run->end_truncated,
		(double)run->begin_ms / 1000.0, (double)run->end_ms / 1000.0,
		(long long)run->heat_j, (long long)run->electricity_j);
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
	int64_t edges[PIECE_MIN + 1];
	const struct boundary none = {0};
	struct energy_answer energy;
	struct day_minutes day;
	size_t count = (size_t)(to - from);
	for (size_t i = 0; i <= count; i++)
		edges[i] = (from + (int64_t)i) * MS_PER_MIN;
	int r = query_energy(l->store, edges, count, &none, &energy);
	if (r != 0)
		return r;
	r = store_day_minutes(l->store, from, to, &day);
	struct rule_channels channels = {0};
	if (r == 0)
		channels = rule_channels_of(&day);
	for (size_t i = 0; r == 0 && i < count; i++) {
		struct rule_minute m = rule_minute_of(&day, &channels, i);
		runs_take(l->runs, &energy.buckets[i],
			m.row.running == 0.0 ? FLAG_OFF : FLAG_ON);
		flag_lags_take(l->lags, &m.row, m.defrost, m.hot_water);
		grain_take(&l->grain, &m.row);
	}
	if (r == 0)
		day_minutes_release(&day);
	energy_answer_release(&energy);
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
	runs_end(l->runs);
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
	struct listing l = {.config = config,
		.runs = runs_new(config, print_run, NULL),
		.lags = flag_lags_new(config)};
	grain_init(&l.grain);
	int r = store_open(config, STORE_READ, &l.store, why);
	if (r == 0)
		r = list(&l);
	if (r != 0)
		(void)fprintf(
			stderr, "list_runs: %s\n", l.store ? store_error(l.store) : why);
	store_close(l.store);
	runs_free(l.runs);
	flag_lags_free(l.lags);
	config_free(config);
	return r != 0;
}
