/* See rows.h. NULL times are whole minutes beside a value, and nothing without one. */
#include "rows.h"

#include <sqlite3.h>

static int64_t time_beside(sqlite3_stmt *row, int value, int ms)
{
	if (sqlite3_column_type(row, value) == SQLITE_NULL)
		return 0;
	return sqlite3_column_type(row, ms) == SQLITE_NULL
		       ? MS_PER_MIN
		       : sqlite3_column_int64(row, ms);
}

static void read_row(sqlite3_stmt *row, size_t meters, struct energy_minute *ret)
{
	int64_t slot = sqlite3_column_int64(row, 0);
	*ret = (struct energy_minute){
		.minute = slot / 16, .mode = (enum mode)(slot % 16)};
	ret->sum.observed_ms = time_beside(row, 0, 1);
	ret->sum.heat_j = sqlite3_column_int64(row, 2);
	ret->sum.heat_ms = time_beside(row, 2, 3);
	ret->sum.sensitivity_j_per_k = (double)sqlite3_column_int64(row, 4);
	for (int m = 0; m < (int)meters; m++) {
		ret->sum.meter_j[m] = sqlite3_column_int64(row, 5 + 2 * m);
		ret->sum.meter_ms[m] = time_beside(row, 5 + 2 * m, 6 + 2 * m);
	}
}

void rows_load(struct store *store, struct energy_minutes *ret)
{
	const struct config *config = store_config(store);
	struct buffer sql = {0};
	sqlite3_stmt *rows = NULL;

	*ret = (struct energy_minutes){0};
	buffer_addf(&sql, "SELECT slot, ms, heat_j, heat_ms, sensitivity");
	for (size_t m = 0; m < config->meter_count; m++)
		buffer_addf(&sql, ", e_%s_j, e_%s_ms", config->meters[m].name,
			config->meters[m].name);
	buffer_addf(&sql, " FROM energy_minutes ORDER BY slot");
	ck_assert_int_eq(sqlite3_prepare_v2(store_handle(store), sql.data,
				 (int)sql.length, &rows, NULL),
		SQLITE_OK);
	while (sqlite3_step(rows) == SQLITE_ROW) {
		if ((ret->count & (ret->count - 1)) == 0)
			ret->rows = xrealloc(ret->rows, ret->count ? 2 * ret->count : 1,
				sizeof(*ret->rows));
		read_row(rows, config->meter_count, &ret->rows[ret->count++]);
	}
	(void)sqlite3_finalize(rows);
	buffer_release(&sql);
}

void rows_release(struct energy_minutes *rows)
{
	free(rows->rows);
}

static bool is_whole(const struct energy_minute *rows, size_t count, size_t meters,
	const struct boundary *boundary)
{
	struct energy_sum sum = {0};
	for (size_t i = 0; i < count; i++)
		sum_add(&sum, &rows[i].sum);
	if (sum.heat_ms != MS_PER_MIN)
		return false;
	for (size_t m = 0; m < meters; m++)
		if ((boundary->needs >> m & 1) && sum.meter_ms[m] != MS_PER_MIN)
			return false;
	return true;
}

static void pair_row(
	struct energy_sum *sum, size_t meters, const struct boundary *boundary)
{
	sum->paired_ms = sum->observed_ms;
	sum->paired_heat_j = sum->heat_j;
	sum->paired_sensitivity_j_per_k = sum->sensitivity_j_per_k;
	for (size_t m = 0; m < meters; m++) {
		int64_t j = sum->meter_j[m];
		sum->paired_electricity_j += boundary->meters >> m & 1 ? j : 0;
		sum->paired_heat_j += boundary->heat_plus >> m & 1 ? j : 0;
		sum->paired_heat_j -= boundary->heat_less >> m & 1 ? j : 0;
	}
}

size_t rows_pair(struct energy_minutes *rows, const struct config *config,
	const struct boundary *boundary)
{
	size_t paired = 0;
	for (size_t i = 0, end; i < rows->count; i = end) {
		for (end = i; end < rows->count &&
			      rows->rows[end].minute == rows->rows[i].minute;
			end++) {
			struct energy_sum *sum = &rows->rows[end].sum;
			sum->paired_ms = sum->paired_heat_j = 0;
			sum->paired_electricity_j = 0;
			sum->paired_sensitivity_j_per_k = 0.0;
		}
		if (!is_whole(&rows->rows[i], end - i, config->meter_count, boundary))
			continue;
		paired++;
		for (size_t k = i; k < end; k++)
			if (rows->rows[k].mode != MODE_COOLING)
				pair_row(&rows->rows[k].sum, config->meter_count,
					boundary);
	}
	return paired;
}

void sum_add(struct energy_sum *to, const struct energy_sum *from)
{
	to->observed_ms += from->observed_ms;
	to->heat_j += from->heat_j;
	to->heat_ms += from->heat_ms;
	to->sensitivity_j_per_k += from->sensitivity_j_per_k;
	for (size_t m = 0; m < METERS_MOST; m++) {
		to->meter_j[m] += from->meter_j[m];
		to->meter_ms[m] += from->meter_ms[m];
	}
	to->paired_ms += from->paired_ms;
	to->paired_heat_j += from->paired_heat_j;
	to->paired_electricity_j += from->paired_electricity_j;
	to->paired_sensitivity_j_per_k += from->paired_sensitivity_j_per_k;
}

const char *sum_differs(const struct energy_sum *a, const struct energy_sum *b)
{
	/* Sums of whole numbers in doubles: exact. */
	if (a->sensitivity_j_per_k != b->sensitivity_j_per_k)
		return "sensitivity";
	if (a->paired_sensitivity_j_per_k != b->paired_sensitivity_j_per_k)
		return "paired sensitivity";
	for (size_t m = 0; m < METERS_MOST; m++)
		if (a->meter_j[m] != b->meter_j[m] || a->meter_ms[m] != b->meter_ms[m])
			return "meter";
	if (a->observed_ms != b->observed_ms)
		return "observed_ms";
	if (a->heat_j != b->heat_j || a->heat_ms != b->heat_ms)
		return "heat";
	if (a->paired_ms != b->paired_ms || a->paired_heat_j != b->paired_heat_j ||
		a->paired_electricity_j != b->paired_electricity_j)
		return "paired";
	return NULL;
}

struct tm local_time(int64_t minute)
{
	time_t t = (time_t)(minute * 60);
	struct tm tm;
	ck_assert_ptr_nonnull(localtime_r(&t, &tm));
	return tm;
}

int64_t local_day(int64_t minute)
{
	struct tm tm = local_time(minute);
	struct tm date = {
		.tm_year = tm.tm_year, .tm_mon = tm.tm_mon, .tm_mday = tm.tm_mday};
	return (int64_t)timegm(&date) / 86400;
}
