/*
 * The deriver's lock: one process derives, and its file tells the others under which
 * mapping, and what holds it up. See deriver.h.
 */
#include <heatbook/deriver.h>

#include <errno.h>
#include <fcntl.h>
#include <string.h>
#include <sys/file.h>
#include <unistd.h>

#define WORD_BYTES   512 /* of the file */
#define TROUBLE_MOST 255

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
	deriver_tell(config, fd, "");
	*ret_fd = fd;
	return 0;
}

/* The file is a word to others and no more: without it they refuse to guess. It always
 * has the same size, so that trouble can be told on a disk that is full. */
void deriver_tell(const struct config *config, int lock_fd, const char *trouble)
{
	char text[WORD_BYTES + 1];
	int length = snprintf(text, sizeof(text), "mapping %016llx\n%.*s\n",
		(unsigned long long)config->mapping_digest, TROUBLE_MOST, trouble);
	memset(text + length, '\n', (size_t)(WORD_BYTES - length));
	if (pwrite(lock_fd, text, WORD_BYTES, 0) != WORD_BYTES)
		(void)ftruncate(lock_fd, 0); /* half a word is none */
}

int deriver_holder(const struct config *config, struct deriver_holder *ret)
{
	_cleanup_(freep) char *path = xasprintf("%s.lock", config->store.file);
	static const char lead[] = "mapping ";
	char text[WORD_BYTES + 1] = "", *end;
	int fd = open(path, O_RDONLY | O_CLOEXEC);
	if (fd < 0)
		return -errno;
	ssize_t length = read(fd, text, WORD_BYTES);
	(void)close(fd); /* only read */
	if (length < 0 || strncmp(text, lead, strlen(lead)) != 0)
		return -ENODATA;
	ret->mapping = strtoull(text + strlen(lead), &end, 16);
	if (end != text + strlen(lead) + 16 || *end != '\n')
		return -ENODATA;
	(void)snprintf(ret->trouble, sizeof(ret->trouble), "%.*s",
		(int)strcspn(end + 1, "\n"), end + 1);
	return 0;
}
