/*
 * Runs of the compressor, defrosts and hot-water runs, from minutes by mode. Pure.
 *
 * A run is a row of minutes with time in its modes; what lies between two minutes of it
 * is seen only where a whole minute has none. A defrost does not end a run of the
 * compressor, nor one that makes hot water before and after it. Up to three minutes of
 * which no mode is known are bridged; a longer gap ends a run, or hides its beginning: it
 * is truncated there, and is no start or end that was seen.
 *
 * Cooling goes on without the compressor, too: cold water goes round after a stop, or
 * passes it by all along. Such time is cooling's, and of no run.
 */
#ifndef HEATBOOK_RUNS_H
#define HEATBOOK_RUNS_H

#include <heatbook/query.h>
#include <heatbook/rules.h>

enum run_kind { RUN_COMPRESSOR, RUN_DEFROST, RUN_HOT_WATER, RUN_KINDS };

/* "compressor", "defrost", "hot_water". */
const char *run_kind_name(enum run_kind kind);

struct plant_run {
	enum run_kind kind;
	bool by_rule; /* found by a rule, not by a flag (rules.h) */
	bool begin_truncated, end_truncated;
	/* Within the first and the last minute by the time in its modes: exact by flags,
	 * a minute's edge by rule. */
	int64_t begin_ms, end_ms;
	int64_t ms; /* time in its modes; of a hot-water run without defrosts within */
	int64_t heat_j;
	int64_t electricity_j;     /* of meters that serve the compressor */
	struct energy_bucket sums; /* of its minutes in its modes */
};

typedef void run_visit(const struct plant_run *run, void *context);

struct runs;
/* Each run is visited when it is over, in the order of ends. */
struct runs *runs_new(const struct config *config, run_visit *visit, void *context);
/* Buckets of one minute each, in order of time; those without a row may be left out.
 * `compressor` is OFF where it stood for all of the minute, by its frequency or, without
 * one, by electricity (rules_row's `running` of rule_minutes.h); it is asked of minutes
 * with cooling alone, where modes do not tell it. */
void runs_take(
	struct runs *runs, const struct energy_bucket *minute, enum flag compressor);
/* Did the compressor run in a minute? OFF or ON by its frequency, where the configuration
 * has one (NaN: unknown), or by electricity, as rule_minutes.h has it; ON where neither
 * is known. */
enum flag runs_compressor(const struct config *config, const struct energy_bucket *minute,
	double frequency_hz);
/* Is a run of the kind going on that began before an instant? */
bool runs_open_before(const struct runs *runs, enum run_kind kind, int64_t t_ms);
/* Nothing follows: what is open is visited, truncated. */
void runs_end(struct runs *runs);
void runs_free(struct runs *runs);

#endif
