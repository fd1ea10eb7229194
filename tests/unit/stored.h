/*
 * A store in a directory of its own, and minutes made by hand to put into it.
 */
#ifndef STORED_H
#define STORED_H

#include "configured.h"

#include <heatbook/calendar.h>
#include <heatbook/store.h>

#include <dirent.h>
#include <errno.h>
#include <sqlite3.h>
#include <sys/stat.h>
#include <unistd.h>

struct stored {
	char *directory;
	struct config *config;
	struct store *store;
};

/* The configuration with its store's file in the directory. */
static inline struct config *configured_in(const char *directory, const char *text)
{
	_cleanup_(freep) char *whole =
		xasprintf("%s[store]\nfile = %s/test.db\n", text, directory);
	return configured(whole);
}

static inline void stored_open(struct stored *s, const char *text)
{
	char why[256] = "";
	s->config = configured_in(s->directory, text);
	int r = store_open(s->config, STORE_WRITE, &s->store, why);
	ck_assert_msg(r == 0, "%d: %s", r, why);
}

static inline void stored_close(struct stored *s)
{
	store_close(s->store);
	config_free(s->config);
	s->store = NULL;
	s->config = NULL;
}

static inline void stored_reopen(struct stored *s, const char *text)
{
	stored_close(s);
	stored_open(s, text);
}

static inline char *new_directory(void)
{
	const char *base = getenv("TMPDIR");
	char *path = xasprintf("%s/heatbook-test-XXXXXX", base ? base : "/tmp");
	ck_assert_msg(mkdtemp(path) != NULL, "%s: %s", path, strerror(errno));
	return path;
}

/* With the files in it. */
static inline void remove_directory(char *path)
{
	DIR *d = opendir(path);
	ck_assert_ptr_nonnull(d);
	for (struct dirent *e; (e = readdir(d));)
		if (strcmp(e->d_name, ".") != 0 && strcmp(e->d_name, "..") != 0)
			ck_assert_int_eq(unlinkat(dirfd(d), e->d_name, 0), 0);
	ck_assert_int_eq(closedir(d), 0);
	ck_assert_int_eq(rmdir(path), 0);
	free(path);
}

static inline struct stored *stored_new(const char *text)
{
	struct stored *s = xcalloc(1, sizeof(*s));
	s->directory = new_directory();
	stored_open(s, text);
	return s;
}

static inline void stored_free(struct stored *s)
{
	stored_close(s);
	remove_directory(s->directory);
	free(s);
}

static inline void sql_run(struct store *store, const char *sql)
{
	char *fault = NULL;
	int rc = sqlite3_exec(store_handle(store), sql, NULL, NULL, &fault);
	ck_assert_msg(rc == SQLITE_OK, "%s: %s", sql, fault);
}

#define SQL_NULL INT64_MIN

/* The first number of an answer; SQL_NULL where it is NULL. */
static inline int64_t sql_number(struct store *store, const char *sql)
{
	sqlite3_stmt *statement = NULL;
	int rc = sqlite3_prepare_v2(store_handle(store), sql, -1, &statement, NULL);
	ck_assert_msg(
		rc == SQLITE_OK, "%s: %s", sql, sqlite3_errmsg(store_handle(store)));
	ck_assert_msg(sqlite3_step(statement) == SQLITE_ROW, "%s: no row", sql);
	int64_t value = sqlite3_column_type(statement, 0) == SQLITE_NULL
				? SQL_NULL
				: sqlite3_column_int64(statement, 0);
	(void)sqlite3_finalize(statement);
	return value;
}

#define CHANNELS_MADE 8

/* A minute of nothing, to be filled in. */
struct made {
	struct minute minute;
	struct minute_channel channels[CHANNELS_MADE];
	struct minute_mode modes[MODE_COUNT];
};

static inline void made_at(struct made *made, int64_t minute)
{
	memset(made, 0, sizeof(*made));
	made->minute.minute = minute;
	made->minute.channels = made->channels;
	made->minute.modes = made->modes;
}

static inline void made_channel(
	struct made *made, size_t c, double mean, int64_t known_ms)
{
	made->channels[c] = (struct minute_channel){
		.known_ms = known_ms, .mean = mean, .least = mean - 1, .most = mean + 1};
}

/* The whole minute in one mode, with heat known for all of it. */
static inline void made_heat(struct made *made, enum mode mode, double heat_j)
{
	made->minute.known |= KNOWN_HEAT;
	made->modes[mode] = (struct minute_mode){.seen = true,
		.ms = MS_PER_MIN,
		.heat_j = heat_j,
		.heat_ms = MS_PER_MIN,
		.sensitivity_j_per_k = heat_j / 5};
}

static inline void made_meter(struct made *made, enum mode mode, size_t m, double joules)
{
	made->minute.known |= KNOWN_METER(m);
	made->modes[mode].meter_j[m] = joules;
	made->modes[mode].meter_ms[m] = MS_PER_MIN;
	made->modes[mode].meter_seen |= 1u << m;
}

#endif
