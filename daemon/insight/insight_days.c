/*
 * A span's local days, reduced. See insight_days.h.
 *
 * Sums, means and evidence are read one after the other, as findings do (look.c): a
 * commit of another process may lie between two reads, and what is told is right again
 * the next time.
 */
#include <heatbook/insight_days.h>

#include <heatbook/calendar.h>
#include <heatbook/figures.h>
#include <heatbook/store.h>

#include <math.h>
#include <string.h>

static const struct duration a_day = {.days = 1};

/* ---- sums ---- */

#define PIECE_DAYS 366 /* sums of a bucket are large */

int energy_days(struct store *store, int64_t from_ms, int64_t to_ms,
	const struct boundary *boundary, energy_day_visit *visit, void *context,
	int64_t *ret_version)
{
	int r = 0;
	while (r == 0 && from_ms < to_ms) {
		struct energy_answer answer;
		int64_t *edges;
		size_t count;
		query_buckets_some(from_ms, to_ms, &a_day, PIECE_DAYS, &edges, &count);
		r = query_energy(store, edges, count, boundary, &answer);
		from_ms = edges[count];
		free(edges);
		if (r != 0)
			break;
		for (size_t i = 0; i < count; i++)
			visit(&answer.buckets[i], context);
		*ret_version = answer.version;
		energy_answer_release(&answer);
	}
	return r;
}

static struct insight_part part_of(const struct energy_sum *sum)
{
	return (struct insight_part){.ms = sum->observed_ms,
		.heat_j = sum->heat_j,
		.heat_ms = sum->heat_ms,
		.heat_spread_j = sum->heat_spread_j,
		.paired_heat_j = sum->paired_heat_j,
		.paired_electricity_j = sum->paired_electricity_j,
		.paired_ms = sum->paired_ms,
		.paired_sensitivity_j_per_k = sum->paired_sensitivity_j_per_k};
}

static void take_day(const struct energy_bucket *bucket, void *context)
{
	struct insight_days *days = context;
	struct energy_sum whole = figures_sum(bucket);
	days->days = xrealloc(days->days, days->count + 1, sizeof(*days->days));
	struct insight_day *day = &days->days[days->count++];
	*day = (struct insight_day){.start_ms = bucket->t_ms,
		.end_ms = bucket->t_end_ms,
		.whole = part_of(&whole),
		.bridged_heat_j = whole.bridged_heat_j,
		.bridged_electricity_j = whole.bridged_electricity_j,
		.outdoor_c = (double)NAN,
		.room_c = (double)NAN};
	for (size_t m = 0; m < MODE_COUNT; m++) {
		day->modes[m] = part_of(&bucket->modes[m]);
		day->observed_ms += bucket->modes[m].observed_ms;
	}
	memcpy(day->meter_j, whole.meter_j, sizeof(day->meter_j));
	memcpy(day->meter_ms, whole.meter_ms, sizeof(day->meter_ms));
}

/* ---- means ---- */

static void take_means(const struct series_answer *answer, const int roles[static 2],
	struct insight_day *days)
{
	for (size_t c = 0; c < answer->column_count; c++) {
		const struct series_column *column = &answer->columns[c];
		bool outdoor = column->channel == roles[0];
		for (size_t i = 0; i < answer->count; i++) {
			double mean = column->mean[i];
			int64_t ms = llround(column->observed_s[i] * 1000.0);
			if (outdoor) {
				days[i].outdoor_c = mean;
				days[i].outdoor_ms = isnan(mean) ? 0 : ms;
			} else {
				days[i].room_c = mean;
				days[i].room_ms = isnan(mean) ? 0 : ms;
			}
		}
	}
}

static int ask_means(struct store *store, struct insight_days *days)
{
	const int roles[2] = {config_role(days->config, ROLE_OUTDOOR_TEMPERATURE),
		config_role(days->config, ROLE_ROOM_TEMPERATURE)};
	int channels[2];
	size_t count = 0, at = 0;
	int r = 0;
	for (size_t i = 0; i < ARRAY_LEN(roles); i++)
		if (roles[i] >= 0)
			channels[count++] = roles[i];
	while (r == 0 && count > 0 && at < days->count) {
		struct series_answer answer;
		int64_t *edges;
		size_t piece;
		query_buckets_some(days->days[at].start_ms, days->to_ms, &a_day,
			PIECE_DAYS, &edges, &piece);
		r = query_series(store, edges, piece, channels, count, &answer);
		free(edges);
		if (r != 0)
			break;
		take_means(&answer, roles, days->days + at);
		at += piece;
		series_answer_release(&answer);
	}
	return r;
}

/* ---- the span ---- */

int insight_span(struct store *store, int64_t *from_ms, int64_t *to_ms)
{
	int64_t first_min = 0, end_min = 0, asked_ms = *from_ms;
	int r = store_row_span(store, &first_min, &end_min);
	if (r != 0 && r != STORE_NONE)
		return r;
	if (*from_ms < first_min * MS_PER_MIN)
		*from_ms = first_min * MS_PER_MIN;
	*from_ms = calendar_day_start(calendar_date(*from_ms));
	*to_ms = calendar_day_start(calendar_add(calendar_date(*to_ms - 1), 0, 0, 1));
	if (*to_ms > end_min * MS_PER_MIN)
		*to_ms = end_min * MS_PER_MIN;
	if (*to_ms <= *from_ms)
		*from_ms = *to_ms = calendar_day_start(calendar_date(asked_ms));
	return 0;
}

int insight_days_ask(struct store *store, int64_t from_ms, int64_t to_ms,
	const struct boundary *boundary, struct insight_days *ret)
{
	struct insight_days days = {.config = store_config(store),
		.boundary = *boundary,
		.from_ms = from_ms,
		.to_ms = to_ms};
	int r = insight_span(store, &days.from_ms, &days.to_ms);
	if (r == 0 && days.from_ms < days.to_ms)
		r = energy_days(store, days.from_ms, days.to_ms, boundary, take_day,
			&days, &days.version);
	else if (r == 0)
		r = store_fact(store, FACT_VERSION, &days.version);
	if (r == 0)
		r = ask_means(store, &days);
	if (r == 0)
		r = store_older_days(store, days.from_ms, days.to_ms, &days.older);
	if (r == 0)
		*ret = days;
	else
		insight_days_release(&days);
	return r;
}

/* ---- evidence ---- */

struct walk {
	struct insight_days *days;
	size_t at;
};

static void take_evidence(int64_t start_min, const struct evidence *item, void *context)
{
	struct walk *walk = context;
	struct insight_days *days = walk->days;
	int64_t start_ms = start_min * MS_PER_MIN;
	while (walk->at < days->count && days->days[walk->at].start_ms < start_ms)
		walk->at++;
	if (walk->at == days->count || days->days[walk->at].start_ms != start_ms)
		return; /* of a day of another zone */
	if (item->kind == EVIDENCE_LOOKED)
		days->days[walk->at].looked = true;
	evidence_add(&days->days[walk->at].evidence, item);
}

int insight_days_look(struct store *store, struct insight_days *days, size_t budget)
{
	struct walk walk = {.days = days};
	int r = store_evidence(store, days->from_ms / MS_PER_MIN,
		days->to_ms / MS_PER_MIN, take_evidence, &walk);
	for (size_t i = days->count; r == 0 && i-- > 0 && budget > 0;) {
		struct insight_day *day = &days->days[i];
		if (day->looked || day->observed_ms == 0)
			continue;
		r = evidence_look(store, day->start_ms / MS_PER_MIN,
			day->end_ms / MS_PER_MIN, &day->evidence, &day->looked);
		budget--;
	}
	return r;
}

void insight_days_release(struct insight_days *days)
{
	for (size_t i = 0; i < days->count; i++)
		evidence_release(&days->days[i].evidence);
	free(days->days);
	*days = (struct insight_days){0};
}
