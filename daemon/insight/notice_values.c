/*
 * What notices watch, out of the rows of minutes: channels in one query, energies in
 * another where any is watched. See notices.h.
 *
 * What is found is told by whole days (found_days.h), and the same of all minutes of one.
 * A figure of the local day is the one that /v1/energy answers of the day up to the
 * minute's end, so its rows are read from midnight on.
 */
#include <heatbook/calendar.h>
#include <heatbook/figures.h>
#include <heatbook/notices.h>

#include <math.h>
#include <string.h>

#define BLOCK_MIN 60 /* that are asked for at once: buckets of energy are large */

/* The minutes that are asked for, and where their values go. */
struct wanted {
	const struct config *config;
	const bool *skipped; /* or NULL */
	const struct found_asking *found;
	int64_t from, to;
	double *values; /* notice by notice */
};

static double *values_of(const struct wanted *w, size_t notice)
{
	return w->values + notice * (size_t)(w->to - w->from);
}

static bool is_of_channel(const struct wanted *w, size_t notice)
{
	const struct notice_config *n = &w->config->notices[notice];
	if (w->skipped && w->skipped[notice])
		return false;
	return n->watch == NOTICE_VALUE || n->watch == NOTICE_STATE ||
	       n->watch == NOTICE_MISSING;
}

static bool is_of_energy(const struct wanted *w, size_t notice)
{
	const struct notice_config *n = &w->config->notices[notice];
	if (w->skipped && w->skipped[notice])
		return false;
	return n->watch == NOTICE_POWER || n->watch == NOTICE_DAY_HEAT ||
	       n->watch == NOTICE_DAY_ELECTRICITY || n->watch == NOTICE_DAY_EFFICIENCY ||
	       n->watch == NOTICE_DAY_KNOWN;
}

/* ---- channels ---- */

/* Each channel that is watched, once; its place for each notice. */
static size_t watched_channels(const struct wanted *w, int channels[static CHANNELS_MOST],
	size_t places[static NOTICES_MOST])
{
	const struct config *config = w->config;
	size_t count = 0;
	for (size_t i = 0; i < config->notice_count; i++) {
		if (!is_of_channel(w, i))
			continue;
		size_t k = 0;
		while (k < count && channels[k] != config->notices[i].subject)
			k++;
		if (k == count)
			channels[count++] = config->notices[i].subject;
		places[i] = k;
	}
	return count;
}

static double channel_value(
	const struct notice_config *n, const struct series_column *column, size_t minute)
{
	double mean = column->mean[minute];
	switch ((int)n->watch) {
	case NOTICE_MISSING:
		return isnan(mean) ? 1.0 : 0.0;
	case NOTICE_STATE:
		if (isnan(mean) || mean < 0.0 || mean >= (double)column->states.count)
			return (double)NAN;
		return strcmp(column->states.names[(size_t)mean], n->state) == 0 ? 1.0
										 : 0.0;
	default:
		return mean;
	}
}

static int read_channels(struct store *store, const struct wanted *w)
{
	int channels[CHANNELS_MOST];
	size_t places[NOTICES_MOST] = {0};
	size_t minutes = (size_t)(w->to - w->from);
	size_t count = watched_channels(w, channels, places);
	struct series_answer series;
	if (count == 0)
		return 0;
	int64_t *edges_ms = xcalloc(minutes + 1, sizeof(*edges_ms));
	for (size_t i = 0; i <= minutes; i++)
		edges_ms[i] = (w->from + (int64_t)i) * MS_PER_MIN;
	int r = query_series(store, edges_ms, minutes, channels, count, &series);
	free(edges_ms);
	if (r != 0)
		return r;
	for (size_t i = 0; i < w->config->notice_count; i++) {
		const struct notice_config *n = &w->config->notices[i];
		for (size_t k = 0; is_of_channel(w, i) && k < minutes; k++)
			values_of(w, i)[k] =
				channel_value(n, &series.columns[places[i]], k);
	}
	series_answer_release(&series);
	return 0;
}

/* ---- energies ---- */

struct day {
	const struct wanted *wanted;
	struct question question;
	struct energy_bucket sum; /* of the local day so far */
};

static void day_add(struct energy_bucket *sum, const struct energy_bucket *minute)
{
	for (int m = 0; m < MODE_COUNT; m++)
		if (minute->modes_seen & 1U << m)
			energy_sum_add(&sum->modes[m], &minute->modes[m]);
	sum->modes_seen |= minute->modes_seen;
	sum->t_end_ms = minute->t_end_ms;
}

static double cell_value(const struct cell *cell, double unit)
{
	return cell->known ? (double)cell->value / unit : (double)NAN;
}

static double figure_value(enum notice_watch watch, const struct figures *figures,
	const struct energy_bucket *sum)
{
	static const double kwh = 1e7, ratio = 1e6; /* KWH_DECIMALS, RATIO_DECIMALS */
	double span_ms = (double)(sum->t_end_ms - sum->t_ms);
	switch ((int)watch) {
	case NOTICE_DAY_HEAT:
		return cell_value(&figures->cells[HEAT], kwh);
	case NOTICE_DAY_ELECTRICITY:
		return cell_value(&figures->cells[ELECTRICITY], kwh);
	case NOTICE_DAY_EFFICIENCY:
		return cell_value(&figures->cells[COP], ratio);
	default:
		return 100.0 * (double)figures->cells[PAIRED_S].value / span_ms;
	}
}

static bool watches_day(const struct wanted *w)
{
	for (size_t i = 0; i < w->config->notice_count; i++)
		if (is_of_energy(w, i) && w->config->notices[i].watch != NOTICE_POWER)
			return true;
	return false;
}

static void take_minute(struct day *day, const struct energy_bucket *minute)
{
	const struct wanted *w = day->wanted;
	int64_t at = minute->t_ms / MS_PER_MIN - w->from;
	bool whole = watches_day(w);
	struct figures figures = {0};
	if (!minute->modes_seen)
		return;
	if (whole) {
		day_add(&day->sum, minute);
		figures = figures_whole(&day->sum, &day->question);
	}
	for (size_t i = 0; i < w->config->notice_count; i++) {
		const struct notice_config *n = &w->config->notices[i];
		if (!is_of_energy(w, i))
			continue;
		if (n->watch == NOTICE_POWER)
			values_of(w, i)[at] = figures_meter_w(minute, (size_t)n->subject);
		else
			values_of(w, i)[at] = figure_value(n->watch, &figures, &day->sum);
	}
}

/* At most BLOCK_MIN. */
static int read_minutes(struct store *store, struct day *day, int64_t from, int64_t to)
{
	int64_t edges_ms[BLOCK_MIN + 1];
	struct energy_answer energy;
	size_t count = (size_t)(to - from);
	for (size_t i = 0; i <= count; i++)
		edges_ms[i] = (from + (int64_t)i) * MS_PER_MIN;
	int r = query_energy(store, edges_ms, count, &day->question.boundary, &energy);
	if (r != 0)
		return r;
	for (size_t i = 0; i < count; i++)
		take_minute(day, &energy.buckets[i]);
	energy_answer_release(&energy);
	return 0;
}

/* What the local day had before the minutes that are wanted. */
static int read_before(struct store *store, struct day *day)
{
	const int64_t edges_ms[] = {day->sum.t_ms, day->wanted->from * MS_PER_MIN};
	struct energy_answer energy;
	if (!watches_day(day->wanted) || edges_ms[0] >= edges_ms[1])
		return 0;
	int r = query_energy(store, edges_ms, 1, &day->question.boundary, &energy);
	if (r != 0)
		return r;
	day_add(&day->sum, &energy.total);
	energy_answer_release(&energy);
	return 0;
}

static int read_energies(
	struct store *store, const struct boundary *boundary, const struct wanted *w)
{
	struct day *day = xcalloc(1, sizeof(*day));
	day->wanted = w;
	day->question = (struct question){.config = w->config, .boundary = *boundary};
	day->sum.t_ms = calendar_day_start(calendar_date(w->from * MS_PER_MIN));
	int r = read_before(store, day);
	for (int64_t at = w->from; r == 0 && at < w->to; at += BLOCK_MIN) {
		int64_t end = at + BLOCK_MIN;
		r = read_minutes(store, day, at, end < w->to ? end : w->to);
	}
	free(day);
	return r;
}

/* ---- what is found ---- */

static bool is_of_days(const struct wanted *w, size_t notice)
{
	return w->config->notices[notice].watch == NOTICE_FINDING &&
	       !(w->skipped && w->skipped[notice]);
}

static double found_value(const struct notice_config *n, const struct found_day *day)
{
	uint64_t of = n->subject < 0 ? UINT64_MAX : UINT64_C(1) << n->subject;
	if (day->open & of)
		return 1.0;
	return day->known ? 0.0 : (double)NAN;
}

static int read_found(struct store *store, const struct wanted *w)
{
	int r = 0;
	int64_t until = w->from;
	for (int64_t at = w->from; r == 0 && at < w->to; at = until) {
		struct found_day day;
		int64_t end = found_day_told(at, &until);
		r = found_days_ask(w->found->days, store, end, w->found->more,
			w->found->budget, &day);
		until = until < w->to ? until : w->to;
		for (size_t i = 0; r == 0 && i < w->config->notice_count; i++)
			for (int64_t k = at; is_of_days(w, i) && k < until; k++)
				values_of(w, i)[k - w->from] =
					found_value(&w->config->notices[i], &day);
	}
	return r;
}

int notice_values(struct store *store, const struct config *config,
	const struct boundary *boundary, const bool *skipped,
	const struct found_asking *found, int64_t from, int64_t to, double *ret)
{
	const struct wanted w = {config, skipped, found, from, to, ret};
	size_t count = config->notice_count * (size_t)(to - from);
	bool energies = false, days = false;
	for (size_t i = 0; i < count; i++)
		ret[i] = (double)NAN;
	for (size_t i = 0; i < config->notice_count; i++) {
		energies = energies || is_of_energy(&w, i);
		days = days || is_of_days(&w, i);
	}
	int r = days ? read_found(store, &w) : 0;
	if (r == 0)
		r = read_channels(store, &w);
	return r == 0 && energies ? read_energies(store, boundary, &w) : r;
}
