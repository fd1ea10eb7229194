/* See work_copy.h. */
#include <heatbook/work_copy.h>

#include <heatbook/store.h>

#include <errno.h>
#include <string.h>
#include <unistd.h>

int work_copy_make(const struct config *config, const char *place, struct work_copy *ret,
	char why[static 256])
{
	int64_t bytes;
	*ret = (struct work_copy){
		.config = *config, .directory = xasprintf("%s-XXXXXX", place)};
	ret->config.store.file = NULL;
	if (!mkdtemp(ret->directory)) {
		int r = -errno;
		(void)snprintf(why, 256, "%.180s: %s", ret->directory, strerror(-r));
		free(ret->directory);
		ret->directory = NULL;
		return r;
	}
	ret->config.store.file = xasprintf("%s/copy.db", ret->directory);
	return store_copy(config, ret->config.store.file, &bytes, why);
}

int work_copy_remove(struct work_copy *copy)
{
	static const char *const endings[] = {"", "-wal", "-shm", "-journal", ".lock"};
	char *file = copy->config.store.file;
	for (size_t i = 0; file && i < ARRAY_LEN(endings); i++) {
		_cleanup_(freep) char *path = xasprintf("%s%s", file, endings[i]);
		(void)unlink(path); /* most are not there */
	}
	int r = copy->directory && rmdir(copy->directory) < 0 ? -errno : 0;
	free(file);
	free(copy->directory);
	copy->config.store.file = copy->directory = NULL;
	return r;
}
