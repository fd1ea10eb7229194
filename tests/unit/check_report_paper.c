/*
 * What sparklines and bars are drawn with, and what is written where only ASCII is taken.
 * Block elements: Unicode 15, U+2581 to U+258F (from memory).
 */
#include "report_paper.h"

#include "unit.h"

#include <fcntl.h>

static const struct paper blocks = {80, false}, plain = {80, true};

TEST(levels_rise_with_the_share)
{
	static const struct {
		double share;
		const char *block, *digit;
	} cases[] = {{0.0, "▁", "0"}, {0.05, "▁", "0"}, {0.1, "▁", "1"}, {0.13, "▂", "1"},
		{0.5, "▅", "5"}, {0.87, "▇", "8"}, {0.88, "█", "8"}, {0.99, "█", "9"},
		{1.0, "█", "9"}, {-0.1, "▁", "0"}, {1.1, "█", "9"}};
	for (size_t i = 0; i < ARRAY_LEN(cases); i++) {
		ck_assert_str_eq(paper_level(&blocks, cases[i].share), cases[i].block);
		ck_assert_str_eq(paper_level(&plain, cases[i].share), cases[i].digit);
	}
	ck_assert_str_eq(paper_level(&blocks, (double)NAN), "·");
	ck_assert_str_eq(paper_level(&plain, (double)NAN), ".");
}
END

	static void
	expect_bar(const struct paper *paper, double share, int most, const char *bar)
{
	struct buffer out = {0};
	paper_add_bar(&out, paper, share, most);
	ck_assert_str_eq(buffer_text(&out), bar);
	buffer_release(&out);
}

/* In eighths of a column, and in whole ones. */
TEST(bars_are_as_long_as_the_share)
{
	expect_bar(&blocks, 1.0, 4, "████");
	expect_bar(&blocks, 0.5, 4, "██");
	expect_bar(&blocks, 0.5, 5, "██▌");
	expect_bar(&blocks, 1.0 / 32, 4, "▏");
	expect_bar(&blocks, 0.0, 4, "");
	expect_bar(&blocks, 2.0, 4, "████");
	expect_bar(&blocks, -1.0, 4, "");
	expect_bar(&blocks, (double)NAN, 4, "·");
	expect_bar(&plain, 0.5, 5, "###");
	expect_bar(&plain, 0.49, 5, "##");
	expect_bar(&plain, (double)NAN, 4, ".");
}
END

/* What others named keeps its letters. */
TEST(own_words_become_ascii)
{
	struct buffer text = {0};
	buffer_add_text(&text, "Grüne Höhe: 2.97 ± 0.40 – 4 °C, 3° · ≥ 1 m³ …");
	paper_make_plain(&text);
	ck_assert_str_eq(buffer_text(&text),
		"Grüne Höhe: 2.97 +/- 0.40 - 4 C, 3 deg . >= 1 m3 ...");
	buffer_release(&text);
}
END

/* 80 columns where there is no terminal; which signs, the locale says. */
TEST(a_file_is_as_wide_as_a_sheet)
{
	int fd = open("/dev/null", O_WRONLY | O_CLOEXEC);
	ck_assert_int_ge(fd, 0);
	for (int utf8 = 0; utf8 < 2; utf8++) {
		ck_assert_int_eq(setenv("LC_ALL", utf8 ? "C.UTF-8" : "C", 1), 0);
		struct paper paper = paper_of(fd);
		ck_assert_int_eq(paper.width, 80);
		ck_assert_int_eq(paper.plain, !utf8);
	}
	ck_assert_int_eq(setenv("LC_ALL", "no_SUCH.locale", 1), 0);
	ck_assert(paper_of(fd).plain);
	(void)close(fd);
}
END

TESTS(levels_rise_with_the_share, bars_are_as_long_as_the_share, own_words_become_ascii,
	a_file_is_as_wide_as_a_sheet)
