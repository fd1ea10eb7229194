/*
 * See cut.h.
 *
 * Every call is passed on to the system's VFS, so that locks, shared memory and reading
 * are as ever; writes, truncations and removals are noted on the way. A file counts as
 * known to its directory from its first synchronisation on; before, chance decides, and
 * so it does of removals until the directory is synchronised: with the first
 * synchronisation of a new journal, as the system's VFS does. The shared memory beside a
 * WAL is never on the device.
 */
#include "cut.h"

#include "../unit/unit.h"

#include <errno.h>
#include <fcntl.h>
#include <sqlite3.h>
#include <sys/stat.h>
#include <unistd.h>

#define SECTOR     512
#define FILES_MOST 16

struct change {
	int64_t offset;
	unsigned char *data; /* NULL: the file was cut to `offset` */
	size_t length;
};

/* A file by its name; several connections may have it open. */
struct kept {
	char *path;
	unsigned char *durable;
	size_t size;
	bool known;  /* its name is on the device */
	bool gone;   /* it was removed, which the device need not know */
	bool is_new; /* its first synchronisation is one of the directory as well */
	struct change *changes;
	size_t count, room;
};

struct cut_file {
	sqlite3_file base;
	struct kept *kept; /* NULL: passed on only */
	sqlite3_file *real;
};

static struct {
	sqlite3_vfs vfs, *real;
	bool registered;
	char *directory;
	uint64_t random, count, after;
	bool off;
	int refuse; /* with this code; 0: nothing is refused */
	struct kept files[FILES_MOST];
	size_t file_count;
} cut;

static sqlite3_file *real_of(sqlite3_file *file)
{
	return ((struct cut_file *)(void *)file)->real;
}

static struct kept *kept_of(sqlite3_file *file)
{
	return ((struct cut_file *)(void *)file)->kept;
}

/* One write or synchronisation more; false when the power is off. */
static bool powered(void)
{
	cut.count++;
	if (cut.after > 0 && cut.count >= cut.after)
		cut.off = true;
	return !cut.off;
}

static void note(struct kept *k, int64_t offset, const void *data, size_t length)
{
	if (!k)
		return;
	if (k->count == k->room) {
		k->room = k->room ? 2 * k->room : 64;
		k->changes = xrealloc(k->changes, k->room, sizeof(*k->changes));
	}
	struct change *c = &k->changes[k->count++];
	*c = (struct change){.offset = offset, .length = length};
	if (data) {
		c->data = xmalloc(length);
		memcpy(c->data, data, length);
	}
}

static void resize(struct kept *k, size_t size)
{
	if (size > k->size) {
		k->durable = xrealloc(k->durable, size, 1);
		memset(k->durable + k->size, 0, size - k->size);
	}
	k->size = size;
}

static void apply(struct kept *k, const struct change *c, size_t from, size_t to)
{
	size_t end = (size_t)c->offset + to;
	if (end > k->size)
		resize(k, end);
	memcpy(k->durable + c->offset + from, c->data + from, to - from);
}

static void forget(struct kept *k)
{
	for (size_t i = 0; i < k->count; i++)
		free(k->changes[i].data);
	k->count = 0;
}

/* What was written is on the device now. */
static void settle(struct kept *k)
{
	if (!k)
		return;
	for (size_t i = 0; i < k->count; i++) {
		if (k->changes[i].data)
			apply(k, &k->changes[i], 0, k->changes[i].length);
		else
			resize(k, (size_t)k->changes[i].offset);
	}
	forget(k);
	k->known = true;
}

/* Removals are on the device, too. */
static void settle_names(void)
{
	for (size_t i = 0; i < cut.file_count; i++) {
		struct kept *k = &cut.files[i];
		if (!k->gone)
			continue;
		forget(k);
		k->size = 0;
		k->known = false;
	}
}

static uint64_t draw(uint64_t below)
{
	return unit_random(&cut.random) % below;
}

/* Of what was not synchronised each sector is on the device or not. At some cuts most of
 * it is, at some next to nothing. */
static void settle_some(struct kept *k)
{
	static const uint64_t percents[] = {0, 5, 50, 95, 100};
	uint64_t percent = percents[draw(ARRAY_LEN(percents))];
	for (size_t i = 0; i < k->count; i++) {
		const struct change *c = &k->changes[i];
		if (!c->data) {
			if (draw(100) < percent)
				resize(k, (size_t)c->offset);
			continue;
		}
		for (size_t from = 0; from < c->length;) {
			size_t to = from + SECTOR - ((size_t)c->offset + from) % SECTOR;
			to = to < c->length ? to : c->length;
			if (draw(100) < percent)
				apply(k, c, from, to);
			from = to;
		}
	}
	forget(k);
}

/* ---- files ---- */

static int file_close(sqlite3_file *file)
{
	struct cut_file *f = (struct cut_file *)(void *)file;
	int rc = f->real->pMethods ? f->real->pMethods->xClose(f->real) : SQLITE_OK;
	free(f->real);
	f->real = NULL;
	return rc;
}

static int file_read(sqlite3_file *file, void *into, int length, sqlite3_int64 offset)
{
	return real_of(file)->pMethods->xRead(real_of(file), into, length, offset);
}

static int file_write(
	sqlite3_file *file, const void *data, int length, sqlite3_int64 offset)
{
	if (kept_of(file) && !powered())
		return SQLITE_IOERR_WRITE;
	if (kept_of(file) && cut.refuse)
		return cut.refuse;
	note(kept_of(file), offset, data, (size_t)length);
	return real_of(file)->pMethods->xWrite(real_of(file), data, length, offset);
}

static int file_truncate(sqlite3_file *file, sqlite3_int64 size)
{
	if (kept_of(file) && !powered())
		return SQLITE_IOERR_TRUNCATE;
	if (kept_of(file) && cut.refuse)
		return cut.refuse;
	note(kept_of(file), size, NULL, 0);
	return real_of(file)->pMethods->xTruncate(real_of(file), size);
}

static int file_sync(sqlite3_file *file, int flags)
{
	(void)flags; /* the real device need not be troubled */
	if (kept_of(file) && !powered())
		return SQLITE_IOERR_FSYNC;
	if (kept_of(file) && cut.refuse)
		return cut.refuse;
	settle(kept_of(file));
	if (kept_of(file) && kept_of(file)->is_new) {
		kept_of(file)->is_new = false;
		settle_names();
	}
	return SQLITE_OK;
}

static int file_size(sqlite3_file *file, sqlite3_int64 *ret)
{
	return real_of(file)->pMethods->xFileSize(real_of(file), ret);
}

static int file_lock(sqlite3_file *file, int level)
{
	return real_of(file)->pMethods->xLock(real_of(file), level);
}

static int file_unlock(sqlite3_file *file, int level)
{
	return real_of(file)->pMethods->xUnlock(real_of(file), level);
}

static int file_reserved(sqlite3_file *file, int *ret)
{
	return real_of(file)->pMethods->xCheckReservedLock(real_of(file), ret);
}

static int file_control(sqlite3_file *file, int op, void *argument)
{
	if (op == SQLITE_FCNTL_SIZE_HINT || op == SQLITE_FCNTL_CHUNK_SIZE)
		return SQLITE_OK; /* it would write beside us */
	return real_of(file)->pMethods->xFileControl(real_of(file), op, argument);
}

static int file_sector(sqlite3_file *file)
{
	(void)file;
	return SECTOR;
}

/* None of those that would promise more than a cut keeps. */
static int file_device(sqlite3_file *file)
{
	(void)file;
	return 0;
}

static int shm_map(
	sqlite3_file *file, int region, int size, int extend, void volatile **ret)
{
	return real_of(file)->pMethods->xShmMap(real_of(file), region, size, extend, ret);
}

static int shm_lock(sqlite3_file *file, int offset, int n, int flags)
{
	return real_of(file)->pMethods->xShmLock(real_of(file), offset, n, flags);
}

static void shm_barrier(sqlite3_file *file)
{
	real_of(file)->pMethods->xShmBarrier(real_of(file));
}

static int shm_unmap(sqlite3_file *file, int remove)
{
	return real_of(file)->pMethods->xShmUnmap(real_of(file), remove);
}

static const sqlite3_io_methods methods = {
	.iVersion = 2,
	.xClose = file_close,
	.xRead = file_read,
	.xWrite = file_write,
	.xTruncate = file_truncate,
	.xSync = file_sync,
	.xFileSize = file_size,
	.xLock = file_lock,
	.xUnlock = file_unlock,
	.xCheckReservedLock = file_reserved,
	.xFileControl = file_control,
	.xSectorSize = file_sector,
	.xDeviceCharacteristics = file_device,
	.xShmMap = shm_map,
	.xShmLock = shm_lock,
	.xShmBarrier = shm_barrier,
	.xShmUnmap = shm_unmap,
};

/* ---- names ---- */

static bool is_ours(const char *path)
{
	return path && cut.directory &&
	       strncmp(path, cut.directory, strlen(cut.directory)) == 0;
}

static struct kept *find(const char *path)
{
	for (size_t i = 0; i < cut.file_count; i++)
		if (strcmp(cut.files[i].path, path) == 0)
			return &cut.files[i];
	return NULL;
}

/* Its content when it is first opened is on the device. */
static void read_durable(struct kept *k)
{
	struct stat st;
	int fd = open(k->path, O_RDONLY | O_CLOEXEC);
	if (fd < 0)
		return;
	ck_assert_int_eq(fstat(fd, &st), 0);
	resize(k, (size_t)st.st_size);
	if (k->size > 0)
		ck_assert_int_eq(pread(fd, k->durable, k->size, 0), (ssize_t)k->size);
	ck_assert_int_eq(close(fd), 0);
	k->known = true;
}

static struct kept *keep(const char *path)
{
	struct kept *k = find(path);
	if (k) {
		if (k->gone) /* a new file of the old name */
			note(k, 0, NULL, 0);
		k->is_new |= k->gone;
		k->gone = false;
		return k;
	}
	ck_assert_uint_lt(cut.file_count, FILES_MOST);
	k = &cut.files[cut.file_count++];
	*k = (struct kept){.path = xstrdup(path)};
	read_durable(k);
	k->is_new = !k->known;
	return k;
}

static int vfs_open(sqlite3_vfs *vfs, sqlite3_filename path, sqlite3_file *file,
	int flags, int *ret_flags)
{
	struct cut_file *f = (struct cut_file *)(void *)file;
	bool ours = is_ours(path);
	(void)vfs;
	f->base.pMethods = NULL;
	if (ours && cut.off)
		return SQLITE_CANTOPEN;
	f->kept = ours ? keep(path) : NULL;
	f->real = xcalloc(1, (size_t)cut.real->szOsFile);
	int rc = cut.real->xOpen(cut.real, path, f->real, flags, ret_flags);
	if (rc != SQLITE_OK) {
		free(f->real);
		return rc;
	}
	f->base.pMethods = &methods;
	return SQLITE_OK;
}

static int vfs_delete(sqlite3_vfs *vfs, const char *path, int sync)
{
	(void)vfs;
	if (!is_ours(path))
		return cut.real->xDelete(cut.real, path, sync);
	if (!powered())
		return SQLITE_IOERR_DELETE;
	struct kept *k = find(path);
	if (k)
		k->gone = true; /* until a cut brings it back */
	return cut.real->xDelete(cut.real, path, 0);
}

void cut_begin(const char *directory, uint64_t seed, uint64_t after)
{
	if (!cut.registered) {
		cut.real = sqlite3_vfs_find(NULL);
		cut.vfs = *cut.real;
		cut.vfs.zName = "cut";
		cut.vfs.szOsFile = (int)sizeof(struct cut_file);
		cut.vfs.xOpen = vfs_open;
		cut.vfs.xDelete = vfs_delete;
		ck_assert_int_eq(sqlite3_vfs_register(&cut.vfs, 1), SQLITE_OK);
		cut.registered = true;
	}
	free(cut.directory);
	cut.directory = xstrdup(directory);
	cut.random = seed;
	cut.count = 0;
	cut.after = after;
	cut.off = false;
	cut.refuse = 0;
}

void cut_refuse(int code)
{
	cut.refuse = code;
}

uint64_t cut_count(void)
{
	return cut.count;
}

void cut_now(void)
{
	cut.off = true;
}

bool cut_happened(void)
{
	return cut.off;
}

static void put_back(const struct kept *k)
{
	int fd = open(k->path, O_WRONLY | O_CREAT | O_TRUNC | O_CLOEXEC, 0600);
	ck_assert_int_ge(fd, 0);
	if (k->size > 0)
		ck_assert_int_eq(pwrite(fd, k->durable, k->size, 0), (ssize_t)k->size);
	ck_assert_int_eq(close(fd), 0);
}

void cut_restore(void)
{
	for (size_t i = 0; i < cut.file_count; i++) {
		struct kept *k = &cut.files[i];
		settle_some(k);
		bool there = (k->known && !k->gone) || draw(2);
		if (there)
			put_back(k);
		else
			(void)unlink(k->path); /* it may be gone already */
		_cleanup_(freep) char *shm = xasprintf("%s-shm", k->path);
		(void)unlink(shm); /* most have none */
		free(k->changes);
		free(k->durable);
		free(k->path);
	}
	cut.file_count = 0;
	cut.off = false;
	cut.after = 0;
}

void cut_end(void)
{
	if (cut.registered)
		ck_assert_int_eq(sqlite3_vfs_unregister(&cut.vfs), SQLITE_OK);
	cut.registered = false;
	for (size_t i = 0; i < cut.file_count; i++) {
		forget(&cut.files[i]);
		free(cut.files[i].changes);
		free(cut.files[i].durable);
		free(cut.files[i].path);
	}
	cut.file_count = 0;
	free(cut.directory);
	cut.directory = NULL;
}
