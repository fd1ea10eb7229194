/*
 * Runs a fuzz target over the files of its corpus, a check each, as TAP. A property that
 * fails ends the program; the line before names the file.
 *
 *     fuzz_json_replay tests/fuzz/corpus/json
 */
#include "fuzz.h"

#include <dirent.h>

#define FILE_MOST (1 << 20)

static int by_name(const void *a, const void *b)
{
	const char *const *left = a, *const *right = b;
	return strcmp(*left, *right);
}

static size_t list(const char *directory, char ***ret)
{
	size_t count = 0;
	DIR *dir = opendir(directory);
	const struct dirent *entry;
	*ret = NULL;
	while (dir && (entry = readdir(dir))) {
		if (entry->d_name[0] == '.')
			continue;
		*ret = xrealloc(*ret, count + 1, sizeof(**ret));
		(*ret)[count++] = xasprintf("%s/%s", directory, entry->d_name);
	}
	if (dir)
		(void)closedir(dir); /* only read */
	if (count)
		qsort(*ret, count, sizeof(**ret), by_name);
	return count;
}

static bool run(const char *path)
{
	FILE *f = fopen(path, "re");
	if (!f)
		return false;
	char *bytes = xmalloc(FILE_MOST);
	size_t size = fread(bytes, 1, FILE_MOST, f);
	bool whole = !ferror(f) && size < FILE_MOST;
	(void)fclose(f); /* only read */
	uint8_t *copy = exact_copy(bytes, size);
	free(bytes);
	if (whole)
		(void)LLVMFuzzerTestOneInput(copy, size);
	free(copy);
	return whole;
}

int main(int argc, char **argv)
{
	char **paths = NULL;
	size_t count = argc == 2 ? list(argv[1], &paths) : 0;
	bool all = count > 0;

	printf("1..%zu\n", count + 1);
	for (size_t i = 0; i < count; i++) {
		printf("# %s\n", paths[i]);
		(void)fflush(stdout);
		bool good = run(paths[i]);
		printf("%s %zu - %s\n", good ? "ok" : "not ok", i + 1,
			strrchr(paths[i], '/') + 1);
		all &= good;
		free(paths[i]);
	}
	free(paths);
	printf("%s %zu - the corpus is there\n", count > 0 ? "ok" : "not ok", count + 1);
	return all ? EXIT_SUCCESS : EXIT_FAILURE;
}
