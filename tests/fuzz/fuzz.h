/*
 * What the fuzz targets share. A target is one file with LLVMFuzzerTestOneInput(): it
 * takes any bytes, and aborts where a property does not hold. Linked with libFuzzer it is
 * a fuzzer, linked with replay.c a test that runs the kept corpus.
 *
 * A property is more than "no crash": what is read can be written and read again, the
 * same bytes get the same verdict twice, nothing leaves the bounds that its header names.
 */
#ifndef FUZZ_H
#define FUZZ_H

#include <heatbook/config.h>

#include <stdlib.h>
#include <string.h>

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

/* Ends the process with the property that failed. */
#define HOLDS(condition, ...)                                                            \
	do {                                                                             \
		if (!(condition)) {                                                      \
			(void)fprintf(stderr, "%s:%d: %s does not hold: ", __FILE__,     \
				__LINE__, #condition);                                   \
			(void)fprintf(stderr, __VA_ARGS__);                              \
			(void)fputc('\n', stderr);                                       \
			abort();                                                         \
		}                                                                        \
	} while (0)

/* A copy in memory of exactly its size, so that a step past the end is seen. */
static inline void *exact_copy(const void *bytes, size_t size)
{
	void *copy = xmalloc(size + !size);
	if (size)
		memcpy(copy, bytes, size);
	return copy;
}

/* Of a configuration, a line "%%" and what follows: the configuration, the caller's to
 * free, where it is a good one; else NULL. What has no such line is not for the corpus:
 * *ret is what a target answers. */
static inline struct config *config_before(
	const uint8_t *data, size_t size, const char **ret_rest, int *ret)
{
	const char *text = (const char *)data;
	const char *edge = memmem(text, size, "\n%%\n", 4);
	struct faults faults = {0};
	struct config *config = NULL;
	*ret = edge ? 0 : -1;
	if (!edge)
		return NULL;
	(void)config_parse(/* a faulty one is none */
		"fuzz", text, (size_t)(edge + 1 - text), &config, &faults, NULL);
	faults_release(&faults);
	*ret_rest = edge + 4;
	return config;
}

/* A text of the input: a NUL of its own ends it. */
static inline char *text_of(const uint8_t *data, size_t size)
{
	return xstrndup((const char *)data, size);
}

/* The next line of [*at, end), without its newline; false at the end. */
static inline bool next_line(
	const char **at, const char *end, const char **ret_line, size_t *ret_length)
{
	if (*at >= end)
		return false;
	const char *stop = memchr(*at, '\n', (size_t)(end - *at));
	*ret_line = *at;
	*ret_length = (size_t)((stop ? stop : end) - *at);
	*at = stop ? stop + 1 : end;
	return true;
}

#endif
