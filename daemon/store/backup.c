/*
 * A copy of the store while others write to it.
 *
 * The whole copy is made within one read transaction. In WAL mode that holds no writer
 * up, and since the snapshot stands still, the copying is never begun anew, however often
 * the daemon commits: what comes meanwhile waits in the WAL and is not in the copy. Steps
 * are bounded so that SQLite's own buffers are.
 *
 * The copy is a single file (rollback journal, no WAL beside it) that any SQLite reads.
 * It is unsynchronised until it is whole and checked; a copy that failed is removed.
 */
#include "database.h"

#include <errno.h>
#include <fcntl.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#define PAGES_A_STEP 1024
#define BUSY_WAIT_MS 50
#define BUSY_TRIES   200

static int create_empty(const char *path, char why[static 256])
{
	int fd = open(path, O_WRONLY | O_CREAT | O_EXCL | O_CLOEXEC | O_NOFOLLOW, 0600);
	if (fd >= 0 && close(fd) == 0)
		return 0;
	int r = -errno;
	(void)snprintf(why, 256, "%s: cannot be created: %s", path, strerror(-r));
	return r;
}

/* What is wrong with the copy, as the store's code. */
static int copy_failed(sqlite3 *to, const char *path, int rc, char why[static 256])
{
	bool full = (rc & 0xff) == SQLITE_FULL;
	(void)snprintf(why, 256, "%s: %s%s", path, sqlite3_errmsg(to),
		full ? "; there is no room for a copy of the store" : "");
	return full ? STORE_FULL : -EIO;
}

static int run_on_copy(
	sqlite3 *to, const char *path, enum sql_id id, char why[static 256])
{
	int rc = sqlite3_exec(to, sql_blocks[id].text, NULL, NULL, NULL);
	return rc == SQLITE_OK ? 0 : copy_failed(to, path, rc, why);
}

static int first_finding(void *context, int columns, char **texts, char **names)
{
	char *finding = context;
	(void)names;
	if (columns > 0 && texts[0] && strcmp(texts[0], "ok") != 0)
		(void)snprintf(finding, 128, "%s", texts[0]);
	return *finding != '\0'; /* one is enough */
}

static int check_copy(sqlite3 *to, const char *path, char why[static 256])
{
	char finding[128] = "";
	int rc = sqlite3_exec(
		to, sql_blocks[SQL_QUICK_CHECK].text, first_finding, finding, NULL);
	if (!*finding)
		return rc == SQLITE_OK ? 0 : copy_failed(to, path, rc, why);
	(void)snprintf(why, 256,
		"the store is damaged, so its copy is no backup: %.100s; heatbookd "
		"verify tells more",
		finding);
	return -EBADMSG;
}

static int step_to_end(sqlite3_backup *backup)
{
	int rc = SQLITE_OK, tries = 0;
	while (rc == SQLITE_OK) {
		rc = sqlite3_backup_step(backup, PAGES_A_STEP);
		if ((rc == SQLITE_BUSY || rc == SQLITE_LOCKED) && tries++ < BUSY_TRIES) {
			(void)sqlite3_sleep(BUSY_WAIT_MS); /* answers how long it was */
			rc = SQLITE_OK;
		}
	}
	return rc;
}

static int copy_pages(
	struct store *from, sqlite3 *to, const char *path, char why[static 256])
{
	int64_t version;
	int r = store_begin_read(from);
	if (r == 0)
		r = store_fact(from, FACT_VERSION, &version); /* the snapshot begins */
	if (r != 0) {
		(void)snprintf(
			why, 256, "%s: %.200s", from->config->store.file, from->error);
		return r;
	}
	sqlite3_backup *backup = sqlite3_backup_init(to, "main", from->db, "main");
	int rc = backup ? step_to_end(backup) : sqlite3_errcode(to);
	if (backup)
		(void)sqlite3_backup_finish(backup); /* its code is the last step's */
	store_rollback(from);
	return rc == SQLITE_DONE ? 0 : copy_failed(to, path, rc, why);
}

static int make_copy(struct store *from, const char *path, char why[static 256])
{
	sqlite3 *to = NULL;
	int r = 0;
	int rc = sqlite3_open_v2(
		path, &to, SQLITE_OPEN_READWRITE | SQLITE_OPEN_NOMUTEX, NULL);
	if (rc != SQLITE_OK)
		r = copy_failed(to, path, rc, why);
	if (r == 0)
		r = run_on_copy(to, path, SQL_COPY_BEGIN, why);
	if (r == 0)
		r = copy_pages(from, to, path, why);
	if (r == 0)
		r = run_on_copy(to, path, SQL_COPY_END, why);
	if (r == 0)
		r = check_copy(to, path, why);
	rc = sqlite3_close(to);
	if (r == 0 && rc != SQLITE_OK)
		r = copy_failed(NULL, path, rc, why);
	return r;
}

static int synchronise(const char *path, int64_t *ret_bytes, char why[static 256])
{
	struct stat st = {0};
	int fd = open(path, O_RDONLY | O_CLOEXEC);
	int r = fd < 0 || fsync(fd) < 0 || fstat(fd, &st) < 0 ? -errno : 0;
	if (r != 0)
		(void)snprintf(why, 256, "%s: %s", path, strerror(-r));
	if (fd >= 0)
		(void)close(
			fd); /* everything is on the device by now, or r says why not */
	if (r == 0)
		*ret_bytes = st.st_size;
	return r;
}

/* What SQLite may have laid beside a copy that was never finished: it would be taken for
 * a part of the next one. */
static void remove_beside(const char *path)
{
	static const char *const suffixes[] = {"-journal", "-wal", "-shm"};
	for (size_t i = 0; i < ARRAY_LEN(suffixes); i++) {
		_cleanup_(freep) char *file = xasprintf("%s%s", path, suffixes[i]);
		(void)unlink(file); /* most are not there */
	}
}

int store_copy(const struct config *config, const char *path, int64_t *ret_bytes,
	char why[static 256])
{
	struct store *from;
	int version;
	int r = create_empty(path, why);
	if (r != 0)
		return r;
	remove_beside(path);
	r = store_connect(config, STORE_READ, &from, why);
	if (r == 0) {
		r = store_recognise(from, &version, why);
		if (r == 0)
			r = make_copy(from, path, why);
		store_close(from);
	}
	if (r == 0)
		r = synchronise(path, ret_bytes, why);
	if (r != 0) {
		(void)unlink(path); /* it is no backup, whether it goes or not */
		remove_beside(path);
	}
	return r;
}
