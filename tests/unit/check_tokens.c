/*
 * Files of tokens: what is taken, what is refused and in which words, and that a token is
 * known by the whole of it. The form of a token: RFC 6750, 2.1, b64token (from memory).
 */
#include "scratch.h"

#include <heatbook/tokens.h>

#define GOOD "0123456789abcdef"

static struct tokens tokens; /* as large as a stack should not be */

static int read_text(const char *text, mode_t mode, char why[static 256])
{
	char *home = scratch_new();
	char *path = xasprintf("%s/tokens", home);
	write_file(path, text);
	ck_assert_int_eq(chmod(path, mode), 0);
	int r = tokens_read(path, &tokens, why);
	free(path);
	scratch_remove(home);
	return r;
}

static bool matches(const char *given)
{
	return tokens_match(&tokens, given, strlen(given));
}

TEST(each_line_is_a_token_but_for_empty_ones_and_remarks)
{
	static const struct {
		const char *text;
		size_t count;
	} rows[] = {
		{GOOD, 1},
		{GOOD "\n", 1},
		{GOOD "\r\n", 1},
		{"# the wall's\n" GOOD "\n\n  \n#\nAZaz09-._~+/AZaz09==\t\n", 2},
	};
	for (size_t i = 0; i < ARRAY_LEN(rows); i++) {
		tokens.count = 0;
		char why[256] = "";
		ck_assert_msg(read_text(rows[i].text, 0640, why) == 0, "%zu: %s", i, why);
		ck_assert_uint_eq(tokens.count, rows[i].count);
		ck_assert(rows[i].count == 2 || matches(GOOD));
		ck_assert(matches("AZaz09-._~+/AZaz09==") == (rows[i].count == 2));
	}
}
END

/* Were a part of a secret in the message, it would stand in the log. */
TEST(what_is_no_token_is_told_by_its_line_and_not_repeated)
{
	static const struct {
		const char *text, *said;
	} rows[] = {
		{"", "holds no token"},
		{"# none\n\n", "holds no token"},
		{GOOD "\nsecret\n", "line 2: a token of 6 characters; it must have 16"},
		{"\nsecret words of five or so\n", "line 2: a token is of letters"},
		{"secret,secret,secret\n", "line 1: a token is of letters"},
		{"secretsecretsecrét\n", "line 1: a token is of letters"},
		{"secret=secret=secret\n", "line 1: a token is of letters"},
		{"=================\n", "line 1: a token is of letters"},
	};
	for (size_t i = 0; i < ARRAY_LEN(rows); i++) {
		tokens.count = 77;
		char why[256] = "";
		ck_assert_int_eq(read_text(rows[i].text, 0600, why), TOKENS_REFUSED);
		ck_assert_msg(
			strstr(why, rows[i].said) != NULL, "%s: %s", rows[i].text, why);
		ck_assert_ptr_null(strstr(why, "secret"));
		ck_assert_uint_eq(tokens.count, 77);
	}
}
END

TEST(lengths_and_numbers_are_bounded)
{
	for (size_t length = 15; length <= 257; length++) {
		tokens.count = 0;
		char text[300], why[256] = "";
		memset(text, 'x', length);
		text[length] = '\0';
		bool fits = length >= TOKEN_LEAST && length <= TOKEN_MOST;
		ck_assert_int_eq(read_text(text, 0600, why), fits ? 0 : TOKENS_REFUSED);
		ck_assert(matches(text) == fits);
	}
	struct buffer many = {0};
	for (int i = 0; i < TOKENS_MOST + 1; i++) {
		tokens.count = 0;
		char why[256] = "";
		buffer_addf(&many, "%016d\n", i);
		int r = read_text(buffer_text(&many), 0600, why);
		ck_assert_int_eq(r, i < TOKENS_MOST ? 0 : TOKENS_REFUSED);
		ck_assert_ptr_eq(strstr(why, "line 33: more than 32 tokens"),
			i < TOKENS_MOST ? NULL : why);
	}
	buffer_release(&many);
	tokens.count = 0;
	char why[256] = "";
	char *huge = xmalloc(20001);
	memset(huge, '#', 20000);
	huge[20000] = '\0';
	ck_assert_int_eq(read_text(huge, 0600, why), TOKENS_REFUSED);
	ck_assert_ptr_nonnull(strstr(why, "is longer than"));
	free(huge);
}
END

TEST(a_file_that_others_may_read_or_change_is_refused_with_the_remedy)
{
	static const struct {
		mode_t mode;
		bool taken;
	} rows[] = {{0400, true}, {0600, true}, {0440, true}, {0640, true}, {0644, false},
		{0604, false}, {0602, false}, {0601, false}, {0660, false}, {0666, false},
		{0777, false}};
	for (size_t i = 0; i < ARRAY_LEN(rows); i++) {
		tokens.count = 0;
		char why[256] = "";
		int r = read_text(GOOD, rows[i].mode, why);
		ck_assert_msg(r == (rows[i].taken ? 0 : TOKENS_REFUSED), "%o: %s",
			(unsigned)rows[i].mode, why);
		ck_assert(rows[i].taken || strstr(why, "chmod 640"));
	}
}
END

TEST(what_is_no_plain_file_is_refused_and_never_waited_for)
{
	tokens.count = 0;
	char why[256] = "", *home = scratch_new();
	char *pipe = xasprintf("%s/pipe", home);
	ck_assert_int_eq(mkfifo(pipe, 0600), 0);
	ck_assert_int_eq(tokens_read(pipe, &tokens, why), TOKENS_REFUSED);
	ck_assert_str_eq(why, "is no plain file");
	ck_assert_int_eq(tokens_read(home, &tokens, why), TOKENS_REFUSED);
	ck_assert_int_eq(tokens_read("/nowhere/tokens", &tokens, why), -ENOENT);
	ck_assert_str_eq(why, "No such file or directory");
	free(pipe);
	scratch_remove(home);
}
END

TEST(a_token_is_known_by_all_of_it)
{
	tokens.count = 0;
	char why[256] = "";
	ck_assert_int_eq(read_text(GOOD "\n" GOOD GOOD "\n", 0600, why), 0);
	ck_assert(matches(GOOD));
	ck_assert(matches(GOOD GOOD));
	ck_assert(!matches(""));
	ck_assert(!matches(GOOD "0"));
	ck_assert(!matches(GOOD GOOD GOOD));
	ck_assert(!tokens_match(&tokens, GOOD "\0", sizeof(GOOD)));
	for (size_t i = 0; i < strlen(GOOD); i++) {
		char other[] = GOOD;
		other[i] = '_';
		ck_assert(!matches(other));
	}
}
END

TESTS(each_line_is_a_token_but_for_empty_ones_and_remarks,
	what_is_no_token_is_told_by_its_line_and_not_repeated,
	lengths_and_numbers_are_bounded,
	a_file_that_others_may_read_or_change_is_refused_with_the_remedy,
	what_is_no_plain_file_is_refused_and_never_waited_for,
	a_token_is_known_by_all_of_it)
