/*
 * See output.h. The file is written beside its place as PATH.partial; one that a killed
 * run left is written over by the next.
 */
#include "output.h"

#include <errno.h>
#include <fcntl.h>
#include <string.h>
#include <unistd.h>

static int failed(const char *path, int error, char why[static 320])
{
	(void)snprintf(why, 320, "%.240s: %s", path, strerror(error));
	return -error;
}

int output_open(const char *path, struct output *ret, char why[static 320])
{
	*ret = (struct output){.file = stdout, .path = path};
	if (!path)
		return 0;
	ret->partial = xasprintf("%s.partial", path);
	ret->file = fopen(ret->partial, "we");
	if (ret->file)
		return 0;
	int error = errno;
	free(ret->partial);
	ret->partial = NULL;
	return failed(path, error, why);
}

/* So that the name outlives a power cut. */
static int sync_directory(const char *path)
{
	_cleanup_(freep) char *directory = xstrdup(path);
	char *slash = strrchr(directory, '/');
	if (slash)
		slash[slash == directory] = '\0';
	int fd = open(slash ? directory : ".", O_RDONLY | O_DIRECTORY | O_CLOEXEC);
	if (fd < 0)
		return -errno;
	int r = fsync(fd) < 0 ? -errno : 0;
	(void)close(fd); /* nothing was written by it */
	return r;
}

int output_close(struct output *output, bool good, char why[static 320])
{
	int r = 0;
	if (!output->path) {
		if (good && fflush(stdout) != 0)
			r = failed("standard output", errno, why);
		return r;
	}
	if (good && (fflush(output->file) != 0 || fsync(fileno(output->file)) < 0))
		r = failed(output->path, errno, why);
	if (fclose(output->file) != 0 && good && r == 0)
		r = failed(output->path, errno, why);
	if (good && r == 0 && rename(output->partial, output->path) < 0)
		r = failed(output->path, errno, why);
	if (!good || r != 0)
		(void)unlink(output->partial); /* nothing of worth is in it */
	else if ((r = sync_directory(output->path)) != 0)
		(void)failed(output->path, -r, why);
	free(output->partial);
	output->partial = NULL;
	return r;
}
