/*
 * The outdoor temperature by days. See query.h.
 *
 * A base's integral needs minutes; where they went for their age, hours are what is left:
 * a day is taken from hours when these know more of it than minutes do. An hour belongs
 * to the day in which it begins, which matters only in zones off the whole hour.
 *
 * A year has half a million minutes, as many as a small machine reads in a query's time:
 * a longer span is told by hours, or, where nobody waits behind it, in pieces. What
 * minutes say of a closed day at the plant's own base is kept, as a row of the table of
 * evidence of a kind of its own (EVIDENCE_WEATHER), made when the day is looked at: they
 * are read of the other days alone.
 */
#include "read.h"

#include <heatbook/evidence.h>
#include <heatbook/query.h>

#include <string.h>

#define KEPT_FORM 1

static struct outdoor_day *days_of(const int64_t *edges_ms, size_t count)
{
	struct outdoor_day *days = xcalloc(count, sizeof(*days));
	for (size_t i = 0; i < count; i++)
		days[i].length_ms = edges_ms[i + 1] - edges_ms[i];
	return days;
}

static void add_row(const struct channel_config *channel, sqlite3_stmt *row,
	enum part_source source, double base_c, struct outdoor_day *day)
{
	double scale = unit_scale(channel->dimension);
	if (sqlite3_column_type(row, 1) == SQLITE_NULL)
		return;
	double t_c = (double)sqlite3_column_int64(row, 1) / scale;
	double least_c = t_c, most_c = t_c;
	if (channel->extremes && sqlite3_column_type(row, 3) != SQLITE_NULL) {
		least_c = (double)sqlite3_column_int64(row, 3) / scale;
		most_c = (double)sqlite3_column_int64(row, 4) / scale;
	}
	outdoor_day_add(day, base_c, t_c, least_c, most_c, known_ms_of(row, 2, source));
}

static int read_days(struct store *s, int index, enum part_source source, double base_c,
	const int64_t *edges_ms, size_t count, struct outdoor_day *days)
{
	const struct channel_config *channel = &s->config->channels[index];
	const struct part part = {
		source, edges_ms[0] / MS_PER_MIN, edges_ms[count] / MS_PER_MIN};
	sqlite3_stmt *rows = NULL;
	size_t at = 0;
	int rc, r = channel_rows(s, &index, 1, &part, &rows);
	if (r != 0)
		return r;
	while ((rc = sqlite3_step(rows)) == SQLITE_ROW) {
		at = bucket_of(edges_ms, count, at, sqlite3_column_int64(rows, 0));
		add_row(channel, rows, source, base_c, &days[at]);
	}
	(void)sqlite3_finalize(rows);
	return rc == SQLITE_DONE ? 0 : slow_or_failed(s, rc);
}

/* Puts days of hours where these know more. */
static int read_hours(struct store *s, int channel, double base_c,
	const int64_t *edges_ms, size_t count, struct outdoor_day *days)
{
	struct outdoor_day *hours = days_of(edges_ms, count);
	int r = read_days(s, channel, PART_HOURS, base_c, edges_ms, count, hours);
	for (size_t i = 0; r == 0 && i < count; i++) {
		if (hours[i].known_ms <= days[i].known_ms)
			continue;
		days[i] = hours[i];
		days[i].from_hours = true;
	}
	free(hours);
	return r;
}

/* ---- kept ---- */

/* Of all that a day hangs on besides its rows. */
static int64_t kept_digest(const struct store *s, int channel, double base_c)
{
	const struct channel_config *c = &s->config->channels[channel];
	struct buffer b = {0};
	int64_t number;
	buffer_addf(&b, "%d %s %d %a", KEPT_FORM, c->name, c->extremes, base_c);
	uint64_t digest = digest64(0, b.data, b.length);
	memcpy(&number, &digest, sizeof(number));
	buffer_release(&b);
	return number;
}

int store_outdoor_keep(struct store *s, int64_t start_min, int64_t end_min)
{
	const int64_t edges_ms[] = {start_min * MS_PER_MIN, end_min * MS_PER_MIN};
	int channel = config_role(s->config, ROLE_OUTDOOR_TEMPERATURE);
	double base_c = s->config->plant.degree_base_c;
	struct outdoor_day day = {.length_ms = edges_ms[1] - edges_ms[0]};
	if (channel < 0)
		return 0;
	int r = read_days(s, channel, PART_MINUTES, base_c, edges_ms, 1, &day);
	const double values[EVIDENCE_VALUES] = {(double)day.known_ms, day.mean_c,
		day.least_c, day.most_c, day.below_k_ms};
	return r == 0 ? store_evidence_row(s, start_min, EVIDENCE_WEATHER, "", start_min,
				kept_digest(s, channel, base_c), values)
		      : r;
}

/* Days that are asked for as they are kept, from end to end; which these are. */
struct kept_reading {
	const int64_t *edges_ms;
	size_t count, at;
	struct outdoor_day *days;
	bool *kept;
};

static void take_kept(sqlite3_stmt *row, void *context)
{
	struct kept_reading *reading = context;
	int64_t start_min = sqlite3_column_int64(row, 0);
	size_t at = bucket_of(reading->edges_ms, reading->count, reading->at, start_min);
	reading->at = at;
	if (start_min * MS_PER_MIN != reading->edges_ms[at] ||
		sqlite3_column_int64(row, 1) * MS_PER_MIN != reading->edges_ms[at + 1])
		return;
	struct outdoor_day *day = &reading->days[at];
	reading->kept[at] = true;
	day->known_ms = (int64_t)sqlite3_column_double(row, 2);
	day->mean_c = sqlite3_column_double(row, 3);
	day->least_c = sqlite3_column_double(row, 4);
	day->most_c = sqlite3_column_double(row, 5);
	day->below_k_ms = sqlite3_column_double(row, 6);
}

static int read_kept(struct store *s, int channel, double base_c, const int64_t *edges_ms,
	size_t count, struct outdoor_day *days, bool *kept)
{
	struct kept_reading reading = {
		.edges_ms = edges_ms, .count = count, .days = days, .kept = kept};
	sqlite3_stmt *rows = store_statement_of(s, SQL_OUTDOOR_OF_SPAN);
	bind_int(rows, ":digest", kept_digest(s, channel, base_c));
	return store_rows_of(s, rows, edges_ms[0] / MS_PER_MIN,
		edges_ms[count] / MS_PER_MIN, take_kept, &reading, "days' weather");
}

/* ---- asked ---- */

static bool all_known(const struct outdoor_day *days, size_t count)
{
	for (size_t i = 0; i < count; i++)
		if (!outdoor_day_known(&days[i]))
			return false;
	return true;
}

/* Minutes of the days that are not kept, those beside each other at once. */
static int read_others(struct store *s, int channel, double base_c,
	const int64_t *edges_ms, size_t count, const bool *kept, struct outdoor_day *days)
{
	size_t left = 0;
	int r = 0;
	for (size_t i = 0; i < count; i++)
		left += !kept[i];
	if (left > OUTDOOR_MINUTE_DAYS)
		return 0;
	for (size_t i = 0, end; r == 0 && i < count; i = end) {
		for (end = i; end < count && !kept[end];)
			end++;
		if (end > i)
			r = read_days(s, channel, PART_MINUTES, base_c, edges_ms + i,
				end - i, days + i);
		else
			end++;
	}
	return r;
}

static int read_answer(struct store *s, int channel, double base_c,
	const int64_t *edges_ms, size_t count, struct outdoor_answer *answer)
{
	bool *kept = xcalloc(count + 1, sizeof(*kept));
	int r = store_fact(s, FACT_VERSION, &answer->version);
	if (r == 0)
		r = store_older_days(s, edges_ms[0], edges_ms[count], &answer->older);
	if (r == 0)
		r = read_kept(s, channel, base_c, edges_ms, count, answer->days, kept);
	if (r == 0)
		r = read_others(s, channel, base_c, edges_ms, count, kept, answer->days);
	if (r == 0 && !all_known(answer->days, count))
		r = read_hours(s, channel, base_c, edges_ms, count, answer->days);
	free(kept);
	return r;
}

int query_outdoor(struct store *s, int channel, double base_c, const int64_t *edges_ms,
	size_t count, struct outdoor_answer *ret)
{
	struct outdoor_answer answer = {.days = days_of(edges_ms, count), .count = count};
	int64_t deadline_ms;
	int r = begin_reading(s, &deadline_ms);
	if (r == 0)
		r = read_answer(s, channel, base_c, edges_ms, count, &answer);
	r = end_reading(s, r);
	if (r != 0) {
		outdoor_answer_release(&answer);
		return r;
	}
	*ret = answer;
	return 0;
}

int query_outdoor_long(struct store *s, int channel, double base_c,
	const int64_t *edges_ms, size_t count, struct outdoor_answer *ret)
{
	struct outdoor_answer answer = {.days = days_of(edges_ms, count), .count = count};
	int r = 0;
	for (size_t at = 0; r == 0 && at < count; at += OUTDOOR_MINUTE_DAYS) {
		struct outdoor_answer piece;
		size_t left = count - at;
		r = query_outdoor(s, channel, base_c, edges_ms + at,
			left < OUTDOOR_MINUTE_DAYS ? left : OUTDOOR_MINUTE_DAYS, &piece);
		if (r != 0)
			break;
		memcpy(answer.days + at, piece.days, piece.count * sizeof(*piece.days));
		answer.version = piece.version;
		outdoor_answer_release(&piece);
	}
	if (r == 0)
		r = store_older_days(s, edges_ms[0], edges_ms[count], &answer.older);
	if (r != 0) {
		outdoor_answer_release(&answer);
		return r;
	}
	*ret = answer;
	return 0;
}

void outdoor_answer_release(struct outdoor_answer *answer)
{
	free(answer->days);
	*answer = (struct outdoor_answer){0};
}
