/*
 * The outdoor temperature by days. See query.h.
 *
 * A base's integral needs minutes; where they went for their age, hours are what is left:
 * a day is taken from hours when these know more of it than minutes do. An hour belongs
 * to the day in which it begins, which matters only in zones off the whole hour.
 *
 * A year has half a million minutes, as many as a small machine reads in a query's time:
 * a longer span is told by hours, or, where nobody waits behind it, in pieces.
 */
#include "read.h"

#include <heatbook/query.h>

#include <string.h>

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

static bool all_known(const struct outdoor_day *days, size_t count)
{
	for (size_t i = 0; i < count; i++)
		if (!outdoor_day_known(&days[i]))
			return false;
	return true;
}

static int read_answer(struct store *s, int channel, double base_c,
	const int64_t *edges_ms, size_t count, struct outdoor_answer *answer)
{
	int r = store_fact(s, FACT_VERSION, &answer->version);
	if (r == 0)
		r = store_older_days(s, edges_ms[0], edges_ms[count], &answer->older);
	if (r == 0 && count <= OUTDOOR_MINUTE_DAYS)
		r = read_days(
			s, channel, PART_MINUTES, base_c, edges_ms, count, answer->days);
	if (r == 0 && !all_known(answer->days, count))
		r = read_hours(s, channel, base_c, edges_ms, count, answer->days);
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
