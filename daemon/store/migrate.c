/*
 * Bringing a file up to this program's schema and this configuration's columns.
 *
 * Each migration is one transaction and ends by setting user_version; a fresh file takes
 * the same way as an old one. A file of a newer schema is refused before anything is
 * written. Columns are only ever added: a channel that is no longer configured keeps its
 * rows.
 */
#include "database.h"

#include <heatbook/calendar.h>
#include <heatbook/clock.h>

#include <errno.h>
#include <string.h>

#define STORED_METERS_MOST 30 /* bits of `known` beside heat's; see the schema */

/* The step that leads to schema i + 1. */
static const enum sql_id migrations[] = {SQL_SCHEMA_001, SQL_SCHEMA_002, SQL_SCHEMA_003,
	SQL_SCHEMA_004, SQL_SCHEMA_005, SQL_SCHEMA_006, SQL_SCHEMA_007, SQL_SCHEMA_008,
	SQL_SCHEMA_009, SQL_SCHEMA_010};

static int user_version(struct store *s, int *ret)
{
	sqlite3_stmt *get = store_statement_of(s, SQL_USER_VERSION);
	if (!get)
		return s->unprepared;
	int rc = sqlite3_step(get);
	if (rc != SQLITE_ROW)
		return store_failed(s, rc, "schema");
	*ret = sqlite3_column_int(get, 0);
	(void)sqlite3_reset(get);
	return 0;
}

/* A file of another program: it has tables, but not ours. (Ours come with the schema's
 * number, in one transaction.) */
static int is_strangers(struct store *s, int version, bool *ret)
{
	sqlite3_stmt *count = store_statement_of(s, SQL_TABLE_COUNTS);
	int rc = count ? sqlite3_step(count) : SQLITE_ERROR;
	if (rc != SQLITE_ROW)
		return store_failed(s, rc, "schema");
	bool any = sqlite3_column_int(count, 0) > 0;
	bool ours = sqlite3_column_int(count, 1) == 2;
	(void)sqlite3_reset(count);
	*ret = version == 0 ? any : !ours;
	return 0;
}

/* Why not even the schema's number can be read: reading a file in WAL mode writes beside
 * it, so a store that may not be written is no stranger's file. */
static const char *unreadable(const struct store *s)
{
	switch (s->code) {
	case SQLITE_NOTADB:
		return "is not a heatbook store; name another file, or restore a backup "
		       "if it was one";
	case SQLITE_READONLY:
	case SQLITE_CANTOPEN:
	case SQLITE_PERM:
		return "may not be written; give this user the right to write the file "
		       "and its directory (reading needs it, too)";
	case SQLITE_CORRUPT:
		return "is damaged; keep a copy of it and put a backup in its place";
	default:
		return "cannot be read";
	}
}

/* Another process that was started with us may have been faster. */
static int apply(struct store *s, size_t step)
{
	int version = 0;
	int r = store_begin(s);
	if (r == 0)
		r = user_version(s, &version);
	if (r == 0 && version == (int)step)
		r = store_script(s, migrations[step], NULL);
	if (r == 0)
		r = store_commit(s);
	if (r != 0)
		store_rollback(s);
	return r;
}

static int refuse_unreadable(struct store *s, const char *reason, char why[static 256])
{
	(void)snprintf(why, 256, "%s: %s: %.60s", s->config->store.file, reason,
		s->damage[0] ? s->damage : s->error);
	return STORE_REFUSED;
}

static int refuse_schema(struct store *s, int version, char why[static 256])
{
	if (version > (int)ARRAY_LEN(migrations))
		(void)snprintf(why, 256,
			"%s: was written by a newer heatbook (schema %d, this one knows "
			"%d); install that version, the file was not touched",
			s->config->store.file, version, (int)ARRAY_LEN(migrations));
	else
		(void)snprintf(why, 256,
			"%s: is of an older schema (%d); start the daemon or import once "
			"to bring it up to date",
			s->config->store.file, version);
	return STORE_REFUSED;
}

int store_recognise(struct store *s, int *ret_version, char why[static 256])
{
	bool strangers = false;
	int version = 0, after = -1;

	/* Between the two looks another process may make the file a store. */
	for (int r = 0; after != version; r = user_version(s, &after))
		if (r != 0 || user_version(s, &version) != 0 ||
			is_strangers(s, version, &strangers) != 0)
			return refuse_unreadable(s, unreadable(s), why);
	if (strangers) {
		(void)snprintf(why, 256,
			"%s: is another program's database, it was not touched; name "
			"another file",
			s->config->store.file);
		return STORE_REFUSED;
	}
	*ret_version = version;
	return 0;
}

int store_examine(struct store *s, int *ret_version, char why[static 256])
{
	int version = 0;
	int r = store_recognise(s, &version, why);
	s->schema = (int)ARRAY_LEN(migrations);
	if (r != 0)
		return r;
	if (version > s->schema || (s->mode == STORE_READ && version < s->schema))
		return refuse_schema(s, version, why);
	*ret_version = version;
	return 0;
}

/* Of several that make a store at once, one turns it into WAL mode; another that has
 * looked into it already is told at once that it is locked, since its waiting would keep
 * both. */
static int set_up(struct store *s)
{
	int64_t since_ms = 0;
	int r, tries = 0;
	do
		r = store_script(s, SQL_PRAGMAS, NULL);
	while (r == STORE_BUSY && store_wait_turn(&since_ms, tries++));
	return r;
}

int store_migrate(struct store *s, int version)
{
	int r = set_up(s);
	for (size_t i = (size_t)version; r == 0 && i < ARRAY_LEN(migrations); i++)
		r = apply(s, i);
	return r;
}

static bool has_column(struct store *s, const char *table, const char *prefix,
	const char *name, const char *suffix)
{
	char column[96];
	sqlite3_stmt *find = store_statement_of(s, SQL_COLUMN_EXISTS);

	(void)snprintf(column, sizeof(column), "%s%s%s", prefix, name, suffix);
	bind_text(find, ":table", table);
	bind_text(find, ":column", column);
	bool found = find && sqlite3_step(find) == SQLITE_ROW;
	if (find)
		(void)sqlite3_reset(find);
	return found;
}

/* A reader adds nothing: it says what is to be done. */
static int lacking(
	struct store *s, const char *kind, const char *name, char why[static 256])
{
	(void)snprintf(why, 256,
		"%s: knows nothing of %s %s yet; start the daemon or import once to "
		"bring "
		"it up to date",
		s->config->store.file, kind, name);
	return STORE_REFUSED;
}

/* What a column of that dimension holds, for messages. */
static const char *content_of(enum dimension dimension)
{
	if (dimension == DIMENSION_STATE)
		return "states";
	const char *symbol = unit_own(dimension)->symbol;
	return symbol[0] ? symbol : "plain numbers";
}

static int channel_columns(
	struct store *s, const struct channel_config *channel, char why[static 256])
{
	sqlite3_stmt *get = store_statement_of(s, SQL_COLUMN_GET);
	int r = 0;

	bind_text(get, ":name", channel->name);
	bool known = get && sqlite3_step(get) == SQLITE_ROW;
	int dimension = known ? sqlite3_column_int(get, 0) : 0;
	if (get)
		(void)sqlite3_reset(get);
	if (known && dimension != (int)channel->dimension) {
		(void)snprintf(why, 256,
			"channel %s: its stored history is in %s, the configuration now "
			"says "
			"%s; give the new one another name",
			channel->name, content_of((enum dimension)dimension),
			content_of(channel->dimension));
		return STORE_REFUSED;
	}
	bool reader = s->mode == STORE_READ;
	if (!known && reader)
		return lacking(s, "channel", channel->name, why);
	if (!known) {
		sqlite3_stmt *add = store_statement_of(s, SQL_COLUMN_ADD);
		bind_text(add, ":name", channel->name);
		bind_int(add, ":dimension", (int64_t)channel->dimension);
		r = store_run(s, add);
		if (r == 0)
			r = store_script(s, SQL_CHANNEL_COLUMNS, channel->name);
	}
	if (r == 0 && channel->extremes &&
		!has_column(s, "minutes", "c_", channel->name, "_least"))
		r = reader ? lacking(s, "extremes of channel", channel->name, why)
			   : store_script(s, SQL_EXTREME_COLUMNS, channel->name);
	return r;
}

/* Bits are given once: meters that are no longer configured keep theirs. */
static int meter_fits(struct store *s, const char *name, char why[static 256])
{
	int64_t count = 0;
	int r = store_scalar(s, store_statement_of(s, SQL_METER_COUNT), &count);
	if (r != 0 || count < STORED_METERS_MOST)
		return r;
	(void)snprintf(why, 256,
		"meter %s: the store has had %d meters of different names and can hold "
		"no more; give it the name of one that is no longer used, or begin a new "
		"store",
		name, STORED_METERS_MOST);
	return STORE_REFUSED;
}

static int meter_add(struct store *s, size_t m)
{
	const char *name = s->config->meters[m].name;
	sqlite3_stmt *add = store_statement_of(s, SQL_METER_ADD);
	bind_text(add, ":name", name);
	int64_t bit;
	int r = store_scalar(s, add, &bit);
	if (r != 0)
		return r;
	s->meter_bit[m] = (int)bit;
	return store_script(s, SQL_METER_COLUMNS, name);
}

/* A meter may get its register long after its power. */
static int counting_columns(struct store *s, size_t q, char why[static 256])
{
	if (!config_is_laid(s->config, q))
		return 0;
	const char *name = config_counted_name(s->config, q);
	if (has_column(s, "energy_minutes", "p_", name, "_j"))
		return 0;
	if (s->mode != STORE_READ)
		return store_script(s, SQL_COUNTING_COLUMNS, name);
	bool heat = q == COUNTED_HEAT;
	return lacking(s, heat ? "the register of" : "the register of meter",
		heat ? "heat" : name, why);
}

/* Nor is another always behind it. */
static int difference_columns(struct store *s, size_t m, char why[static 256])
{
	const struct meter_config *meter = &s->config->meters[m];
	if (!meter->difference ||
		has_column(s, "energy_minutes", "g_", meter->name, "_j"))
		return 0;
	return s->mode == STORE_READ
		       ? lacking(s, "the meter behind", meter->name, why)
		       : store_script(s, SQL_DIFFERENCE_COLUMNS, meter->name);
}

static int meter_columns(struct store *s, size_t m, char why[static 256])
{
	const char *name = s->config->meters[m].name;
	sqlite3_stmt *get = store_statement_of(s, SQL_METER_BIT);

	bind_text(get, ":name", name);
	bool known = get && sqlite3_step(get) == SQLITE_ROW;
	if (known)
		s->meter_bit[m] = sqlite3_column_int(get, 0);
	if (get)
		(void)sqlite3_reset(get);
	if (known)
		return 0;
	if (s->mode == STORE_READ)
		return lacking(s, "meter", name, why);
	int r = meter_fits(s, name, why);
	return r == 0 ? meter_add(s, m) : r;
}

/* Runs came after meters did, so their columns are asked for apart. */
static int run_columns(struct store *s, enum sql_id id, const char *prefix,
	const char *name, char why[static 256])
{
	if (has_column(s, "energy_runs", prefix, name, "_j"))
		return 0;
	return s->mode == STORE_READ ? lacking(s, "runs of", name, why)
				     : store_script(s, id, name);
}

static int find_run_columns(struct store *s, char why[static 256])
{
	int r = 0;
	for (size_t m = 0; r == 0 && m < s->config->meter_count; m++)
		r = run_columns(
			s, SQL_RUN_METER_COLUMNS, "e_", s->config->meters[m].name, why);
	for (size_t q = 0; r == 0 && q < COUNTED_MOST; q++)
		if (config_is_laid(s->config, q))
			r = run_columns(s, SQL_RUN_COUNTING_COLUMNS, "s_",
				config_counted_name(s->config, q), why);
	return r;
}

static int current_mapping(struct store *s)
{
	int64_t digest = (int64_t)s->config->mapping_digest;
	int tries = s->mode == STORE_READ ? 1 : 2;
	for (int i = 0; i < tries; i++) {
		sqlite3_stmt *get =
			store_statement_of(s, i ? SQL_MAPPING_ADD : SQL_MAPPING_ID);
		bind_int(get, ":digest", digest);
		if (i)
			bind_int(get, ":since_ms", clock_now_ms());
		int rc = get ? sqlite3_step(get) : SQLITE_ERROR;
		if (rc == SQLITE_ROW)
			s->mapping = sqlite3_column_int64(get, 0);
		if (get)
			(void)sqlite3_reset(get);
		if (rc == SQLITE_ROW)
			return 0;
		if (rc != SQLITE_DONE)
			return store_failed(s, rc, "mapping");
	}
	return s->mode == STORE_READ ? 0 : -EIO; /* 0 is no mapping's row */
}

/* Columns of channels, bits of meters, and the mapping's row: found, or added by a
 * writer. */
static int find_columns(struct store *s, char why[static 256])
{
	int r = 0;
	for (size_t c = 0; r == 0 && c < s->config->channel_count; c++)
		r = channel_columns(s, &s->config->channels[c], why);
	for (size_t m = 0; r == 0 && m < s->config->meter_count; m++)
		r = meter_columns(s, m, why);
	for (size_t q = 0; r == 0 && q < COUNTED_MOST; q++)
		r = counting_columns(s, q, why);
	for (size_t m = 0; r == 0 && m < s->config->meter_count; m++)
		r = difference_columns(s, m, why);
	if (r == 0)
		r = find_run_columns(s, why);
	if (r == 0)
		r = store_states(s);
	return r == 0 ? current_mapping(s) : r;
}

/* Days whose bounds moved with the zone or its rules are summed anew from their minutes.
 */
static int check_zone(struct store *s)
{
	int64_t digest = (int64_t)calendar_zone_digest(), stored = 0, first, last, until;
	int r = store_fact(s, FACT_ZONE_DIGEST, &stored);
	if (r != 0 || stored == digest)
		return r;
	r = store_set_fact(s, FACT_ZONE_DIGEST, digest);
	if (r == 0)
		r = store_fact(s, FACT_DERIVED_UNTIL_MS, &until);
	if (r == 0)
		r = store_minute_span(s, &first, &last);
	if (r != 0)
		return r == STORE_NONE ? 0 : r;
	r = store_rollup(s, first - MIN_PER_DAY, last + MIN_PER_DAY, until / MS_PER_MIN);
	return r == 0 ? store_bump_version(s) : r;
}

int store_columns(struct store *s, char why[static 256])
{
	bool reader = s->mode == STORE_READ;
	int r = reader ? store_begin_read(s) : store_begin(s);
	if (r == 0)
		r = find_columns(s, why);
	if (r == 0 && !reader)
		r = check_zone(s);
	if (r == 0)
		r = store_commit(s);
	if (r != 0) {
		store_rollback(s);
		return r;
	}
	return store_script(s, SQL_PENDING, NULL);
}
