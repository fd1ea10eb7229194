/*
 * See work_copy.h. A directory is locked (flock) for as long as its process lives, so
 * that whoever makes the next one can tell what was left by a death, and removes it.
 */
#include <heatbook/work_copy.h>

#include <heatbook/store.h>

#include <dirent.h>
#include <errno.h>
#include <fcntl.h>
#include <string.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <unistd.h>

#define COPY    "copy.db"
#define LETTERS "-XXXXXX"
#define TRIES   8

/* Takes the lock of a directory that is ours: its descriptor, or -1. */
static int lock_directory(int parent, const char *path)
{
	struct stat opened, named;
	int fd = openat(parent, path, O_RDONLY | O_DIRECTORY | O_NOFOLLOW | O_CLOEXEC);
	if (fd < 0)
		return -1;
	/* It may have been removed, and made again, before the lock was ours. */
	if (fstat(fd, &opened) == 0 && opened.st_uid == geteuid() &&
		flock(fd, LOCK_EX | LOCK_NB) == 0 &&
		fstatat(parent, path, &named, AT_SYMLINK_NOFOLLOW) == 0 &&
		named.st_ino == opened.st_ino && named.st_dev == opened.st_dev)
		return fd;
	(void)close(fd); /* only locked */
	return -1;
}

/* With the files that a copy may have. */
static int remove_directory(int parent, const char *path, int fd)
{
	static const char *const files[] = {
		COPY, COPY "-wal", COPY "-shm", COPY "-journal", COPY ".lock"};
	for (size_t i = 0; i < ARRAY_LEN(files); i++)
		(void)unlinkat(fd, files[i], 0); /* most are not there */
	return unlinkat(parent, path, AT_REMOVEDIR) < 0 ? -errno : 0;
}

static bool is_copy(const char *name, const char *lead)
{
	size_t length = strlen(lead);
	return strncmp(name, lead, length) == 0 && name[length] == '-' &&
	       strlen(name) == length + strlen(LETTERS);
}

/* Copies whose process was killed; what cannot be looked at is left. */
static void remove_dead(const char *place)
{
	const char *slash = strrchr(place, '/');
	_cleanup_(freep) char *parent =
		slash ? xasprintf("%.*s", (int)(slash + 1 - place), place) : xstrdup(".");
	DIR *directory = opendir(parent);
	if (!directory)
		return;
	for (struct dirent *e; (e = readdir(directory));) {
		if (!is_copy(e->d_name, slash ? slash + 1 : place))
			continue;
		int fd = lock_directory(dirfd(directory), e->d_name);
		if (fd < 0)
			continue;
		(void)remove_directory(dirfd(directory), e->d_name, fd);
		(void)close(fd); /* only locked */
	}
	(void)closedir(directory); /* only read */
}

/* 0, or -errno with `path` naming what could not be made. */
static int make_directory(char *path, int *ret_fd)
{
	size_t length = strlen(path);
	for (int i = 0; i < TRIES; i++) {
		memset(path + length - strlen("XXXXXX"), 'X', strlen("XXXXXX"));
		if (!mkdtemp(path))
			return -errno;
		*ret_fd = lock_directory(AT_FDCWD, path);
		if (*ret_fd >= 0)
			return 0;
		(void)rmdir(path); /* another one took it for a dead one's */
	}
	return -EAGAIN;
}

int work_copy_make(const struct config *config, const char *place, struct work_copy *ret,
	char why[static 256])
{
	int64_t bytes;
	*ret = (struct work_copy){.config = *config,
		.directory = xasprintf("%s" LETTERS, place),
		.lock_fd = -1};
	ret->config.store.file = NULL;
	remove_dead(place);
	int r = make_directory(ret->directory, &ret->lock_fd);
	if (r != 0) {
		(void)snprintf(why, 256, "%.180s: %s", ret->directory, strerror(-r));
		free(ret->directory);
		ret->directory = NULL;
		return r;
	}
	ret->config.store.file = xasprintf("%s/" COPY, ret->directory);
	return store_copy(config, ret->config.store.file, &bytes, why);
}

int work_copy_remove(struct work_copy *copy)
{
	int r = 0;
	if (copy->directory) {
		r = remove_directory(AT_FDCWD, copy->directory, copy->lock_fd);
		(void)close(copy->lock_fd); /* only locked */
	}
	free(copy->config.store.file);
	free(copy->directory);
	copy->config.store.file = copy->directory = NULL;
	copy->lock_fd = -1;
	return r;
}
