/*
 * What keeps a hurt or absent file from being written.
 *
 * Damage that SQLite meets is final for this connection: it is told once, later writes
 * are refused before they begin, and closing copies nothing from the write-ahead log into
 * the file. Reading goes on as far as the pages allow.
 *
 * A file whose name stands for another one (moved, removed, replaced by a backup while in
 * use) would take writes that nobody finds again: before each transaction the three names
 * are compared with the files that were opened. Should they come back, writing goes on.
 */
#include "database.h"

#include <heatbook/clock.h>
#include <heatbook/log.h>

#include <errno.h>
#include <string.h>
#include <sys/stat.h>

static void say_damage(struct store *s)
{
	(void)snprintf(s->error, sizeof(s->error),
		"the file is damaged (%s) and not written any more; stop heatbookd, keep "
		"a copy of it, put a backup in its place, start again",
		s->damage);
}

void store_give_up(struct store *s, const char *what)
{
	if (!s->damage[0])
		(void)snprintf(s->damage, sizeof(s->damage), "%s", what);
	say_damage(s);
	/* What of this fails leaves the refusal in store_guard(). */
	(void)sqlite3_exec(s->db, sql_blocks[SQL_GIVE_UP].text, NULL, NULL, NULL);
	(void)sqlite3_db_config(s->db, SQLITE_DBCONFIG_NO_CKPT_ON_CLOSE, 1, NULL);
}

static const char *const endings[] = {"", "-wal", "-shm"};

/* Whether a name stands for another file than before. Files that come later than the
 * first look are noted then. */
static bool moved(struct store *s, size_t i)
{
	_cleanup_(freep) char *path =
		xasprintf("%s%s", s->config->store.file, endings[i]);
	struct place *place = &s->places[i];
	struct stat st;
	bool there = stat(path, &st) == 0;

	if (!place->inode && there)
		*place = (struct place){st.st_dev, st.st_ino};
	return place->inode &&
	       (!there || place->device != st.st_dev || place->inode != st.st_ino);
}

int store_guard(struct store *s)
{
	if (s->damage[0]) {
		say_damage(s);
		return STORE_DAMAGED;
	}
	for (size_t i = 0; i < ARRAY_LEN(endings); i++) {
		if (!moved(s, i))
			continue;
		(void)snprintf(s->error, sizeof(s->error),
			"%.120s%s was moved, removed or replaced while in use; put it "
			"back, or start heatbookd again",
			s->config->store.file, endings[i]);
		return -ESTALE;
	}
	return 0;
}

/* The first finding; at most one is wanted. */
static int quick_check(struct store *s)
{
	sqlite3_stmt *check = store_statement_of(s, SQL_QUICK_CHECK);
	if (!check)
		return s->unprepared;
	int rc = sqlite3_step(check);
	const char *line =
		rc == SQLITE_ROW ? (const char *)sqlite3_column_text(check, 0) : NULL;
	if (line && strcmp(line, "ok") != 0)
		store_give_up(s, line);
	(void)sqlite3_reset(check);
	if (rc != SQLITE_ROW)
		return store_failed(s, rc, "quick_check");
	return s->damage[0] ? STORE_DAMAGED : 0;
}

/* Takes about a second for 100 MB; until then nothing was written. */
int store_check_after_crash(struct store *s, int version)
{
	int64_t open = 1, began_ms = clock_mono_ms();

	if (s->mode != STORE_SERVE || version == 0)
		return 0;
	int r = store_fact(s, FACT_OPEN, &open); /* an older schema does not tell */
	if (r < 0 || r == STORE_DAMAGED || !open)
		return r;
	log_notice("%s: was not left in good order; it is being checked",
		s->config->store.file);
	r = quick_check(s);
	if (r == 0)
		log_notice("%s: is sound (checked in %lld ms)", s->config->store.file,
			(long long)(clock_mono_ms() - began_ms));
	return r;
}
