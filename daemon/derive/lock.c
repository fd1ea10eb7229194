/*
 * The deriver's lock: one process derives, and its file tells the others under which
 * mapping. See deriver.h.
 */
#include <heatbook/deriver.h>

#include <errno.h>
#include <fcntl.h>
#include <string.h>
#include <sys/file.h>
#include <unistd.h>

int deriver_lock(const struct config *config, int *ret_fd)
{
	_cleanup_(freep) char *path = xasprintf("%s.lock", config->store.file);
	int fd = open(path, O_RDWR | O_CREAT | O_CLOEXEC, 0600);
	if (fd < 0)
		return -errno;
	if (flock(fd, LOCK_EX | LOCK_NB) < 0) {
		int error = errno;
		(void)close(fd); /* nothing was written */
		return error == EWOULDBLOCK ? DERIVER_TAKEN : -error;
	}
	deriver_tell(config, fd);
	*ret_fd = fd;
	return 0;
}

/* The file is a word to others and no more: without it they refuse to guess. */
void deriver_tell(const struct config *config, int lock_fd)
{
	char text[32];
	int length = snprintf(text, sizeof(text), "mapping %016llx\n",
		(unsigned long long)config->mapping_digest);
	if (ftruncate(lock_fd, 0) == 0 &&
		pwrite(lock_fd, text, (size_t)length, 0) != length)
		(void)ftruncate(lock_fd, 0); /* half a word is none */
}

int deriver_holder(const struct config *config, uint64_t *ret_mapping)
{
	_cleanup_(freep) char *path = xasprintf("%s.lock", config->store.file);
	static const char lead[] = "mapping ";
	char text[32] = "", *end;
	int fd = open(path, O_RDONLY | O_CLOEXEC);
	if (fd < 0)
		return -errno;
	ssize_t length = read(fd, text, sizeof(text) - 1);
	(void)close(fd); /* only read */
	if (length < 0 || strncmp(text, lead, strlen(lead)) != 0)
		return -ENODATA;
	uint64_t mapping = strtoull(text + strlen(lead), &end, 16);
	if (end != text + strlen(lead) + 16 || *end != '\n')
		return -ENODATA;
	*ret_mapping = mapping;
	return 0;
}
