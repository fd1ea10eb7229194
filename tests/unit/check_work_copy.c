/*
 * Copies of the store to work in: whole, gone with who made them, and gone after its
 * death. Reference: work_copy.h.
 */
#include "stored.h"

#include <heatbook/work_copy.h>

#include <sys/wait.h>

/* clang-format off */
#define PLANT "[plant]\nzone = UTC\n[channel a]\ntopic = x/a\n"
/* clang-format on */

static struct work_copy copied(const struct stored *s)
{
	_cleanup_(freep) char *place = xasprintf("%s/some.what", s->directory);
	struct work_copy copy;
	char why[256] = "";
	int r = work_copy_make(s->config, place, &copy, why);
	ck_assert_msg(r == 0, "%d: %s", r, why);
	return copy;
}

/* Another process makes a copy; it ends without a word, or waits to be killed. */
static pid_t leave_behind(const struct stored *s, bool lives)
{
	int ready[2];
	char byte;
	ck_assert_int_eq(pipe(ready), 0);
	pid_t child = fork();
	ck_assert_int_ge(child, 0);
	if (child == 0) {
		struct work_copy copy = copied(s);
		if (write(ready[1], "", copy.directory ? 1 : 0) != 1)
			_exit(1);
		if (!lives)
			_exit(0);
		for (;;)
			(void)pause();
	}
	ck_assert_int_eq(close(ready[1]), 0);
	ck_assert_int_eq(read(ready[0], &byte, 1), 1);
	ck_assert_int_eq(close(ready[0]), 0);
	if (!lives)
		ck_assert_int_eq(waitpid(child, NULL, 0), child);
	return child;
}

static int copies(const struct stored *s)
{
	DIR *d = opendir(s->directory);
	int count = 0;
	ck_assert_ptr_nonnull(d);
	for (struct dirent *e; (e = readdir(d));)
		count += strncmp(e->d_name, "some.what-", 10) == 0;
	ck_assert_int_eq(closedir(d), 0);
	return count;
}

TEST(a_copy_is_a_store_and_goes_with_its_directory)
{
	struct stored *s = stored_new(PLANT);
	ck_assert_int_eq(store_set_fact(s->store, FACT_REBUILD, 77), 0);
	struct work_copy copy = copied(s);
	struct store *store;
	char why[256];
	int64_t fact = 0;
	ck_assert_int_eq(store_open(&copy.config, STORE_WRITE, &store, why), 0);
	ck_assert_int_eq(store_fact(store, FACT_REBUILD, &fact), 0);
	ck_assert_int_eq(fact, 77);
	store_close(store);
	ck_assert_int_eq(copies(s), 1);
	ck_assert_int_eq(work_copy_remove(&copy), 0);
	ck_assert_int_eq(copies(s), 0);
	stored_free(s);
}
END

TEST(what_a_death_left_goes_with_the_next_copy)
{
	struct stored *s = stored_new(PLANT);
	(void)leave_behind(s, false);
	(void)leave_behind(s, false);
	ck_assert_int_eq(copies(s), 1); /* the second one took the first one's away */
	pid_t alive = leave_behind(s, true);
	struct work_copy first = copied(s), second = copied(s);
	ck_assert_int_eq(copies(s), 3); /* none of the living */
	ck_assert_int_eq(kill(alive, SIGKILL), 0);
	ck_assert_int_eq(waitpid(alive, NULL, 0), alive);
	ck_assert_int_eq(copies(s), 3);
	ck_assert_int_eq(work_copy_remove(&first), 0);
	first = copied(s);
	ck_assert_int_eq(copies(s), 2);
	ck_assert_int_eq(work_copy_remove(&first), 0);
	ck_assert_int_eq(work_copy_remove(&second), 0);
	ck_assert_int_eq(copies(s), 0);
	stored_free(s);
}
END

/* Names that only look alike, files and what is not empty otherwise stay. */
TEST(nothing_else_is_removed)
{
	static const char *const names[] = {
		"some.what-123", "some.what-1234567", "some.what", "other.what-123456"};
	struct stored *s = stored_new(PLANT);
	char *paths[ARRAY_LEN(names)];
	for (size_t i = 0; i < ARRAY_LEN(names); i++) {
		paths[i] = xasprintf("%s/%s", s->directory, names[i]);
		ck_assert_int_eq(mkdir(paths[i], 0700), 0);
	}
	_cleanup_(freep) char *full = xasprintf("%s/some.what-abcdef", s->directory);
	_cleanup_(freep) char *kept = xasprintf("%s/mine.txt", full);
	_cleanup_(freep) char *link = xasprintf("%s/some.what-uvwxyz", s->directory);
	ck_assert_int_eq(mkdir(full, 0700), 0);
	ck_assert_int_eq(symlink(full, link), 0);
	FILE *f = fopen(kept, "we");
	ck_assert_ptr_nonnull(f);
	ck_assert_int_eq(fclose(f), 0);
	struct work_copy copy = copied(s);
	ck_assert_int_eq(work_copy_remove(&copy), 0);
	ck_assert_int_eq(unlink(link), 0);
	ck_assert_int_eq(unlink(kept), 0);
	ck_assert_int_eq(rmdir(full), 0);
	for (size_t i = 0; i < ARRAY_LEN(names); i++) {
		ck_assert_int_eq(rmdir(paths[i]), 0);
		free(paths[i]);
	}
	stored_free(s);
}
END

TESTS(a_copy_is_a_store_and_goes_with_its_directory,
	what_a_death_left_goes_with_the_next_copy, nothing_else_is_removed)
