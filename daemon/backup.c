/*
 * The verb `backup`: a checked copy of the store in a directory, under a name of its own.
 *
 * The copy is written beside the older ones as NAME.partial and renamed when it is whole,
 * checked and on the device; only then are older ones removed, and never the new one. A
 * lock on the directory keeps two backups apart; a partial file that is found under the
 * lock is what a killed run left. Names begin with that of the configuration's file, so
 * that two plants may share a directory, and sort by time; the later of one second takes
 * the name of the earlier.
 */
#include "verbs.h"

#include <heatbook/calendar.h>
#include <heatbook/clock.h>
#include <heatbook/store.h>

#include <dirent.h>
#include <errno.h>
#include <fcntl.h>
#include <string.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <time.h>
#include <unistd.h>

#define KEEP_MOST 100000

struct backup {
	const struct config *config;
	const char *directory;
	int fd; /* of the directory, which it locks */
	char *stem;
	char *name;
	long keep; /* 0 = all */
	int64_t bytes;
	size_t removed;
	char why[512];
};

static int fail(struct backup *b, const char *what, int error)
{
	(void)snprintf(b->why, sizeof(b->why), "%s: %s", what, strerror(error));
	return -error;
}

/* "20260131T041500Z.db" */
static bool is_stamp(const char *text)
{
	static const char form[] = "00000000T000000Z.db";
	if (strlen(text) != sizeof(form) - 1)
		return false;
	for (size_t i = 0; form[i]; i++)
		if (form[i] == '0' ? text[i] < '0' || text[i] > '9' : text[i] != form[i])
			return false;
	return true;
}

static bool is_ours(const struct backup *b, const char *name)
{
	size_t length = strlen(b->stem);
	return strncmp(name, b->stem, length) == 0 && name[length] == '-' &&
	       is_stamp(name + length + 1);
}

/* The directory, locked; not the store's own, since there a backup is lost with the store
 * and old ones are removed beside it. */
static int take_directory(struct backup *b)
{
	struct stat here, there;
	_cleanup_(freep) char *home = xstrdup(b->config->store.file);
	char *slash = strrchr(home, '/');
	if (slash)
		slash[slash == home] = '\0';
	b->fd = open(b->directory, O_RDONLY | O_DIRECTORY | O_CLOEXEC);
	if (b->fd < 0)
		return fail(b, b->directory, errno);
	if (fstat(b->fd, &here) < 0)
		return fail(b, b->directory, errno);
	if (stat(slash ? home : ".", &there) == 0 && here.st_dev == there.st_dev &&
		here.st_ino == there.st_ino) {
		(void)snprintf(b->why, sizeof(b->why),
			"%s: holds the store itself; name another directory, best on "
			"another device",
			b->directory);
		return -EINVAL;
	}
	if (flock(b->fd, LOCK_EX | LOCK_NB) == 0)
		return 0;
	return fail(b,
		errno == EWOULDBLOCK ? "another backup is being made there"
				     : b->directory,
		errno);
}

static void name_it(struct backup *b)
{
	const char *slash = strrchr(b->config->path, '/');
	struct tm tm;
	time_t now = (time_t)(clock_now_ms() / 1000);
	char stamp[32];

	b->stem = xstrdup(slash ? slash + 1 : b->config->path);
	char *dot = strrchr(b->stem, '.');
	if (dot && dot > b->stem)
		*dot = '\0';
	(void)gmtime_r(&now, &tm);
	(void)strftime(stamp, sizeof(stamp), "%Y%m%dT%H%M%SZ", &tm); /* it has room */
	b->name = xasprintf("%s-%s.db", b->stem, stamp);
}

static int make(struct backup *b)
{
	char why[256] = "";
	_cleanup_(freep) char *partial = xasprintf("%s.partial", b->stem);
	_cleanup_(freep) char *path = xasprintf("%s/%s", b->directory, partial);

	if (unlinkat(b->fd, partial, 0) < 0 && errno != ENOENT)
		return fail(b, path, errno);
	int r = store_copy(b->config, path, &b->bytes, why);
	if (r != 0) {
		(void)snprintf(b->why, sizeof(b->why), "%s", why);
		return r;
	}
	if (renameat(b->fd, partial, b->fd, b->name) < 0)
		return fail(b, path, errno);
	return fsync(b->fd) < 0 && errno != EINVAL ? fail(b, b->directory, errno) : 0;
}

static int by_name(const void *a, const void *b)
{
	return strcmp(*(char *const *)a, *(char *const *)b);
}

/* Names of older backups, sorted; each and the array are to be freed. */
static int list_older(struct backup *b, char ***ret, size_t *ret_count)
{
	DIR *directory = opendir(b->directory);
	char **names = NULL;
	size_t count = 0;

	if (!directory)
		return fail(b, b->directory, errno);
	for (struct dirent *e; (e = readdir(directory));) {
		if (!is_ours(b, e->d_name) || strcmp(e->d_name, b->name) == 0)
			continue;
		names = xrealloc(names, count + 1, sizeof(*names));
		names[count++] = xstrdup(e->d_name);
	}
	(void)closedir(directory); /* only read */
	if (count > 0)
		qsort(names, count, sizeof(*names), by_name);
	*ret = names;
	*ret_count = count;
	return 0;
}

static int remove_older(struct backup *b)
{
	char **names = NULL;
	size_t count = 0, keep = (size_t)b->keep - 1;
	int r = list_older(b, &names, &count);

	for (size_t i = 0; r == 0 && i + keep < count; i++) {
		if (unlinkat(b->fd, names[i], 0) < 0)
			r = fail(b, names[i], errno);
		else
			b->removed++;
	}
	for (size_t i = 0; i < count; i++)
		free(names[i]);
	free(names);
	return r;
}

static int run(struct backup *b)
{
	name_it(b);
	int r = take_directory(b);
	if (r == 0)
		r = make(b);
	if (r != 0)
		return verb_failed(b->why);
	(void)printf("%s/%s: %.1f MB, checked\n", b->directory, b->name,
		(double)b->bytes / 1e6);
	if (b->keep > 0)
		r = remove_older(b);
	if (b->removed)
		(void)printf("%zu older removed\n", b->removed);
	return r == 0 ? EXIT_DONE : verb_failed(b->why);
}

static bool read_keep(const char *text, long *ret)
{
	char *end;
	errno = 0;
	*ret = strtol(text, &end, 10);
	return errno == 0 && end != text && !*end && *ret >= 1 && *ret <= KEEP_MOST;
}

int verb_backup(const struct verb_call *call)
{
	struct backup b = {.config = call->config, .fd = -1};

	if (call->count != 1)
		return verb_misused("backup takes one directory");
	if (call->keep && !read_keep(call->keep, &b.keep))
		return verb_misused("--keep takes how many backups stay, from 1 on");
	b.directory = call->operands[0];
	int r = run(&b);
	if (b.fd >= 0)
		(void)close(b.fd); /* gives the lock up */
	free(b.stem);
	free(b.name);
	return r;
}
