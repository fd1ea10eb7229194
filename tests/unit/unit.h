/*
 * The frame of every unit test program: tests are registered by name, run by main(), each
 * in a process of its own (Check's fork mode) unless CK_FORK says no, reported as TAP.
 *
 *     TEST(unknown_units_are_refused)
 *     {
 *             ck_assert_ptr_null(unit_find("furlong", 7));
 *     }
 *     TESTS(unknown_units_are_refused, …)
 *
 * Needs TEST_DATA in the environment for data_path().
 */
#ifndef UNIT_H
#define UNIT_H

#include <heatbook/base.h>
#include <heatbook/log.h>

#include <check.h>
#include <ftw.h>
#include <math.h>
#include <string.h>
#include <unistd.h>

/* Check notes the place of each assertion that holds, by a message to the program that
 * runs the test: a third of the time of tests that assert in loops. Where an assertion
 * fails its own place is told all the same; where a process dies, the sanitizers tell the
 * stack. */
#define _mark_point(file, line) ((void)0)

#define TEST(name) START_TEST(name)
#define END        END_TEST

/* A file of tests/data, as a path that lives until the process ends. */
static inline const char *data_path(const char *name)
{
	static char *kept[256]; /* reachable, so that no leak is reported */
	static size_t count;
	const char *directory = getenv("TEST_DATA");
	ck_assert_uint_lt(count, ARRAY_LEN(kept));
	kept[count] = xasprintf("%s/%s", directory ? directory : "tests/data", name);
	return kept[count++];
}

/* Rows of a comma-separated check file: comment lines (#) and the header are skipped;
 * `row` gets the fields of one line, split in place. Returns the number of data rows. */
typedef void csv_row(char **fields, size_t count, void *context);
static inline size_t data_rows(const char *name, csv_row *row, void *context)
{
	const char *path = data_path(name);
	FILE *f = fopen(path, "re");
	ck_assert_msg(f != NULL, "%s: cannot open", path);
	char *line = NULL;
	size_t size = 0, rows = 0;
	bool header = true;
	while (getline(&line, &size, f) > 0) {
		char *fields[64], *rest = line;
		size_t n = 0;
		line[strcspn(line, "\r\n")] = '\0';
		if (line[0] == '#' || !line[0])
			continue;
		if (header) {
			header = false;
			continue;
		}
		while (n < ARRAY_LEN(fields) && rest)
			fields[n++] = strsep(&rest, ",");
		row(fields, n, context);
		rows++;
	}
	free(line);
	(void)fclose(f); /* only read */
	ck_assert_msg(rows > 0, "%s: no rows", path);
	return rows;
}

/* Seed of a test's random numbers: SEED of the environment, else 1; printed as a TAP
 * comment. */
static inline uint64_t unit_seed(void)
{
	const char *text = getenv("SEED");
	uint64_t seed = text ? strtoull(text, NULL, 10) : 1;
	printf("# SEED=%llu\n", (unsigned long long)seed);
	(void)fflush(stdout); /* the test's process ends without */
	return seed;
}

/* How often a random test is played: ROUNDS of the environment, else the test's own
 * modest number. */
static inline uint64_t unit_rounds(uint64_t usual)
{
	const char *text = getenv("ROUNDS");
	uint64_t count = text ? strtoull(text, NULL, 10) : 0;
	return count ? count : usual;
}

/* The next of 2^64 evenly spread numbers (SplitMix64, public domain). */
static inline uint64_t unit_random(uint64_t *state)
{
	uint64_t z = *state += UINT64_C(0x9e3779b97f4a7c15);
	z = (z ^ (z >> 30)) * UINT64_C(0xbf58476d1ce4e5b9);
	z = (z ^ (z >> 27)) * UINT64_C(0x94d049bb133111eb);
	return z ^ (z >> 31);
}

/* Evenly spread over low..high, both included; high - low < 2^63. */
static inline int64_t unit_random_between(uint64_t *state, int64_t low, int64_t high)
{
	return low + (int64_t)(unit_random(state) % ((uint64_t)(high - low) + 1));
}

/* For log_set_handler(): nothing is to be seen of what a test provokes. */
static inline void drop_line(enum log_level level, const char *line, void *context)
{
	(void)level;
	(void)line;
	(void)context;
}

static inline void write_file(const char *path, const char *text)
{
	FILE *f = fopen(path, "we");
	ck_assert_msg(f != NULL, "%s: cannot open", path);
	ck_assert_int_ge(fputs(text, f), 0);
	ck_assert_int_eq(fclose(f), 0);
}

/* A path in the program's own place, the caller's to free. */
static inline char *program_path(const char *name)
{
	return xasprintf("%s/%s", getenv("TMPDIR"), name);
}

static inline int remove_entry(
	const char *path, const struct stat *st, int kind, struct FTW *where)
{
	(void)st;
	(void)kind;
	(void)where;
	return remove(path);
}

/* The program's own place for what its tests make, removed at the end with what failed
 * tests left in it. */
static inline char *program_directory(void)
{
	const char *base = getenv("TMPDIR");
	char *path = xasprintf("%s/heatbook-test-XXXXXX", base ? base : "/tmp");
	if (!mkdtemp(path) || setenv("TMPDIR", path, 1) < 0) {
		perror(path);
		exit(EXIT_FAILURE);
	}
	return path;
}

static inline int run_tests(const char *name, const TTest *const *tests, size_t count)
{
	Suite *suite = suite_create(name);
	for (size_t i = 0; i < count; i++) {
		TCase *c = tcase_create(tests[i]->name);
		tcase_set_timeout(c, 60);
		tcase_add_test(c, tests[i]);
		suite_add_tcase(suite, c);
	}
	SRunner *runner = srunner_create(suite);
	srunner_set_tap(runner, "-");
	char *directory = program_directory();
	srunner_run_all(runner, CK_SILENT);
	int failed = srunner_ntests_failed(runner);
	srunner_free(runner);
	if (nftw(directory, remove_entry, 8, FTW_DEPTH | FTW_PHYS) != 0)
		perror(directory);
	free(directory);
	return failed ? EXIT_FAILURE : EXIT_SUCCESS;
}

#define TESTS(...)                                                                       \
	int main(int argc, char **argv)                                                  \
	{                                                                                \
		const TTest *const tests[] = {__VA_ARGS__};                              \
		(void)argc;                                                              \
		return run_tests(argv[0], tests, ARRAY_LEN(tests));                      \
	}

#endif
