/*
 * Law 4, nothing is invented: minutes against the oracle of oracle.h. Known times agree
 * to the millisecond, means to the stored step, energies to the joule; a row exists iff
 * something in it is known; nothing is known past a limit, a source's death or the end of
 * what was derived; retained words count from the first sign of life.
 */
#include "oracle.h"
#include "rounds.h"

#include <heatbook/engine.h>

#include <sqlite3.h>

#define STEP 0.5001 /* of the stored integer: half a step, and the rounding of sums */
/* Of heat along lines: what its two instants and the oracle's short pieces differ by. */
#define ALONG_LINES 3e-6

struct round {
	uint64_t seed;
	struct plant plant;
	struct door door;
	struct store *store;
	struct oracle oracle;
	int64_t until_minute;
	int64_t minute; /* at hand */
};

static void begin(struct round *r, uint64_t seed)
{
	uint64_t random = seed + 5;
	*r = (struct round){.seed = seed};
	plant_make(&r->plant, seed,
		&(struct plant_wish){.span_ms = 5 * MS_PER_HOUR,
			.records = 500,
			.no_own_times = seed % 3 == 0,
			.rules = seed % 2 == 0,
			.lines = seed % 4 >= 2,
			.every_channel = seed % 8 == 3,
			.lasting = seed % 4 == 3});
	door_open(&r->plant, &r->door);
	int64_t now =
		r->plant.to_ms + unit_random_between(&random, -MS_PER_HOUR, MS_PER_HOUR);
	door_import_all(&r->door, &r->plant, now);
	r->until_minute = door_derived_until_ms(&r->door) / MS_PER_MIN;
	r->store = door_store(&r->door, STORE_READ);
	oracle_make(&r->oracle, r->door.config, &r->plant, r->until_minute);
}

static void end(struct round *r)
{
	oracle_release(&r->oracle);
	store_close(r->store);
	door_close(&r->door);
	plant_release(&r->plant);
}

#define EXPECT(r, condition, format, ...)                                                \
	ck_assert_msg(condition, "SEED=%llu minute %lld: " format,                       \
		(unsigned long long)(r)->seed, (long long)(r)->minute, __VA_ARGS__)

static const struct oracle_minute *expected(struct round *r, int64_t minute)
{
	r->minute = minute;
	EXPECT(r, minute >= r->oracle.first && minute < r->until_minute,
		"a row outside %lld..%lld", (long long)r->oracle.first,
		(long long)r->until_minute);
	return &r->oracle.minutes[minute - r->oracle.first];
}

static sqlite3_stmt *rows_of(struct round *r, const struct buffer *sql)
{
	sqlite3_stmt *rows = NULL;
	sqlite3 *db = store_handle(r->store);
	int rc = sqlite3_prepare_v2(db, sql->data, (int)sql->length, &rows, NULL);
	ck_assert_msg(rc == SQLITE_OK, "%s", sqlite3_errmsg(db));
	return rows;
}

/* NULL is `otherwise`. */
static int64_t integer(sqlite3_stmt *row, int column, int64_t otherwise)
{
	return sqlite3_column_type(row, column) == SQLITE_NULL
		       ? otherwise
		       : sqlite3_column_int64(row, column);
}

static void check_channel(
	struct round *r, size_t c, const struct oracle_channel *expect, sqlite3_stmt *row)
{
	const struct channel_config *channel = &r->door.config->channels[c];
	int at = 1 + 4 * (int)c;
	bool null = sqlite3_column_type(row, at) == SQLITE_NULL;
	int64_t known = null ? 0 : integer(row, at + 1, MS_PER_MIN);
	int64_t value = sqlite3_column_int64(row, at);
	double scale = unit_scale(channel->dimension);

	EXPECT(r, known == expect->known_ms, "%s known %lld ms, not %lld", channel->name,
		(long long)known, (long long)expect->known_ms);
	if (known == 0)
		return;
	if (channel->map_count) {
		for (size_t i = 0; i < ORACLE_STATES_MOST; i++)
			EXPECT(r, expect->state_ms[i] <= expect->state_ms[value + 1],
				"%s: state %lld was not held longest", channel->name,
				(long long)value);
		return;
	}
	double mean = expect->sum / (double)known * scale;
	EXPECT(r, fabs((double)value - mean) < STEP, "%s: %lld, not %f", channel->name,
		(long long)value, mean);
	if (!channel->extremes)
		return;
	EXPECT(r, fabs((double)integer(row, at + 2, 0) - expect->least * scale) < STEP,
		"%s: least not %f", channel->name, expect->least);
	EXPECT(r, fabs((double)integer(row, at + 3, 0) - expect->most * scale) < STEP,
		"%s: most not %f", channel->name, expect->most);
}

static bool known_at_all(const struct round *r, const struct oracle_minute *minute)
{
	for (size_t c = 0; c < r->door.config->channel_count; c++)
		if (minute->channels[c].known_ms > 0)
			return true;
	return false;
}

static void check_channels(struct round *r)
{
	const struct config *config = r->door.config;
	struct buffer sql = {0};
	size_t found = 0, wanted = 0;

	buffer_addf(&sql, "SELECT minute");
	for (size_t c = 0; c < config->channel_count; c++) {
		const char *name = config->channels[c].name;
		buffer_addf(&sql, ", c_%s, c_%s_ms", name, name);
		if (config->channels[c].extremes)
			buffer_addf(&sql, ", c_%s_least, c_%s_most", name, name);
		else
			buffer_addf(&sql, ", 0, 0");
	}
	buffer_addf(&sql, " FROM minutes ORDER BY minute");
	sqlite3_stmt *rows = rows_of(r, &sql);
	for (; sqlite3_step(rows) == SQLITE_ROW; found++) {
		const struct oracle_minute *minute =
			expected(r, sqlite3_column_int64(rows, 0));
		EXPECT(r, known_at_all(r, minute), "%s", "a row of nothing");
		for (size_t c = 0; c < config->channel_count; c++)
			check_channel(r, c, &minute->channels[c], rows);
	}
	(void)sqlite3_finalize(rows);
	buffer_release(&sql);
	for (size_t i = 0; i < r->oracle.count; i++)
		wanted += known_at_all(r, &r->oracle.minutes[i]);
	ck_assert_msg(found == wanted, "SEED=%llu: %zu minutes of channels, not %zu",
		(unsigned long long)r->seed, found, wanted);
}

static bool has_lines(const struct round *r)
{
	for (size_t c = 0; c < r->door.config->channel_count; c++)
		if (r->door.config->channels[c].line_ms > 0)
			return true;
	return false;
}

static void check_joules(struct round *r, const char *what, enum mode mode,
	sqlite3_stmt *row, int column, double expect)
{
	int64_t joules = integer(row, column, 0);
	/* Where rules tell modes a meter's joules are whole in each slot that becomes the
	 * mode. */
	double most = STEP * (column > 4 && engine_lag_min(r->door.config) ? 6 : 1);
	if (column <= 4 && has_lines(r))
		most += ALONG_LINES * fabs(expect);
	EXPECT(r, fabs((double)joules - expect) < most, "%s %s: %lld J, not %f",
		mode_name(mode), what, (long long)joules, expect);
}

static void check_ms(
	struct round *r, const char *what, enum mode mode, int64_t ms, int64_t expect)
{
	EXPECT(r, ms == expect, "%s %s: %lld ms, not %lld", mode_name(mode), what,
		(long long)ms, (long long)expect);
}

static void check_mode(struct round *r, enum mode mode, const struct oracle_mode *expect,
	sqlite3_stmt *row)
{
	const struct config *config = r->door.config;
	bool heat = sqlite3_column_type(row, 2) != SQLITE_NULL;

	EXPECT(r, expect->row, "a row of %s", mode_name(mode));
	check_ms(r, "mode", mode, integer(row, 1, MS_PER_MIN), expect->ms);
	check_ms(
		r, "heat", mode, heat ? integer(row, 3, MS_PER_MIN) : 0, expect->heat_ms);
	check_joules(r, "heat", mode, row, 2, expect->heat_j);
	check_joules(r, "sensitivity", mode, row, 4, expect->sensitivity);
	for (size_t m = 0; m < config->meter_count; m++) {
		int at = 5 + 2 * (int)m;
		bool seen = sqlite3_column_type(row, at) != SQLITE_NULL;
		EXPECT(r, seen == expect->meter_seen[m], "%s %s", mode_name(mode),
			config->meters[m].name);
		check_ms(r, config->meters[m].name, mode,
			seen ? integer(row, at + 1, MS_PER_MIN) : 0, expect->meter_ms[m]);
		check_joules(
			r, config->meters[m].name, mode, row, at, expect->meter_j[m]);
	}
}

static void check_energies(struct round *r)
{
	const struct config *config = r->door.config;
	struct buffer sql = {0};
	size_t found = 0, wanted = 0;

	buffer_addf(&sql, "SELECT slot, ms, heat_j, heat_ms, sensitivity");
	for (size_t m = 0; m < config->meter_count; m++)
		buffer_addf(&sql, ", e_%s_j, e_%s_ms", config->meters[m].name,
			config->meters[m].name);
	buffer_addf(&sql, " FROM energy_minutes ORDER BY slot");
	sqlite3_stmt *rows = rows_of(r, &sql);
	for (; sqlite3_step(rows) == SQLITE_ROW; found++) {
		int64_t slot = sqlite3_column_int64(rows, 0);
		const struct oracle_minute *minute = expected(r, slot / 16);
		check_mode(r, (enum mode)(slot % 16), &minute->modes[slot % 16], rows);
	}
	(void)sqlite3_finalize(rows);
	buffer_release(&sql);
	for (size_t i = 0; i < r->oracle.count; i++)
		for (size_t mode = 0; mode < MODE_COUNT; mode++)
			wanted += r->oracle.minutes[i].modes[mode].row;
	ck_assert_msg(found == wanted, "SEED=%llu: %zu rows of energy, not %zu",
		(unsigned long long)r->seed, found, wanted);
}

TEST(channels_hold_what_was_known_and_nothing_else)
{
	FOR_ROUNDS(seed, 8)
	{
		struct round r;
		begin(&r, seed);
		check_channels(&r);
		end(&r);
	}
}
END_TEST

TEST(energies_are_known_only_while_all_their_inputs_are)
{
	FOR_ROUNDS(seed, 8)
	{
		struct round r;
		begin(&r, seed);
		check_energies(&r);
		end(&r);
	}
}
END_TEST

TESTS(channels_hold_what_was_known_and_nothing_else,
	energies_are_known_only_while_all_their_inputs_are)
