/*
 * See report_paper.h. Levels and bars are Unicode block elements (U+2581 to U+258F), in
 * eighths of a column.
 */
#include "report_paper.h"

#include <langinfo.h>
#include <locale.h>
#include <math.h>
#include <string.h>
#include <sys/ioctl.h>
#include <unistd.h>

enum { WIDTH_ELSE = 80, WIDTH_LEAST = 40, WIDTH_MOST = 200, EIGHTHS = 8, TENTHS = 10 };

static bool takes_utf8(void)
{
	bool utf8 = false;
	locale_t locale = newlocale(LC_CTYPE_MASK, "", (locale_t)0);
	if (locale == (locale_t)0)
		return false;
	utf8 = strcmp(nl_langinfo_l(CODESET, locale), "UTF-8") == 0;
	freelocale(locale);
	return utf8;
}

/* The console of the kernel has a font of 512 signs, few of these among them. */
static bool draws_no_blocks(void)
{
	const char *terminal = getenv("TERM");
	return terminal &&
	       (strcmp(terminal, "dumb") == 0 || strcmp(terminal, "linux") == 0);
}

struct paper paper_of(int fd)
{
	struct winsize size = {0};
	struct paper paper = {.width = WIDTH_ELSE, .plain = !takes_utf8()};
	if (!isatty(fd))
		return paper;
	if (ioctl(fd, TIOCGWINSZ, &size) == 0 && size.ws_col > 0)
		paper.width = size.ws_col < WIDTH_LEAST  ? WIDTH_LEAST
			      : size.ws_col > WIDTH_MOST ? WIDTH_MOST
							 : size.ws_col;
	paper.plain = paper.plain || draws_no_blocks();
	return paper;
}

/* Which of so many equal parts a share lies in, from 0. */
static int part_of(double share, int parts)
{
	int part = (int)floor(share * parts);
	return part < 0 ? 0 : part >= parts ? parts - 1 : part;
}

const char *paper_gap(const struct paper *paper)
{
	return paper->plain ? "." : "·";
}

const char *paper_level(const struct paper *paper, double share)
{
	static const char *const blocks[EIGHTHS] = {
		"▁", "▂", "▃", "▄", "▅", "▆", "▇", "█"};
	static const char *const digits[TENTHS] = {
		"0", "1", "2", "3", "4", "5", "6", "7", "8", "9"};
	if (isnan(share))
		return paper_gap(paper);
	return paper->plain ? digits[part_of(share, TENTHS)]
			    : blocks[part_of(share, EIGHTHS)];
}

void paper_add_bar(struct buffer *out, const struct paper *paper, double share, int most)
{
	static const char *const ends[EIGHTHS] = {"", "▏", "▎", "▍", "▌", "▋", "▊", "▉"};
	if (isnan(share)) {
		buffer_add_text(out, paper_gap(paper));
		return;
	}
	int unit = paper->plain ? 1 : EIGHTHS;
	int parts = (int)lround(fmin(fmax(share, 0.0), 1.0) * most * unit);
	for (int i = 0; i < parts / unit; i++)
		buffer_add_text(out, paper->plain ? "#" : "█");
	if (!paper->plain)
		buffer_add_text(out, ends[parts % unit]);
}

void paper_make_plain(struct buffer *text)
{
	static const char *const signs[][2] = {{"±", "+/-"}, {"–", "-"}, {"°C", "C"},
		{"°", " deg"}, {"…", "..."}, {"·", "."}, {"²", "2"}, {"³", "3"},
		{"×", "x"}, {"≥", ">="}, {"≤", "<="}};
	struct buffer plain = {0};
	const char *p = buffer_text(text);
	while (*p) {
		size_t i = 0;
		while (i < ARRAY_LEN(signs) &&
			strncmp(p, signs[i][0], strlen(signs[i][0])) != 0)
			i++;
		if (i < ARRAY_LEN(signs)) {
			buffer_add_text(&plain, signs[i][1]);
			p += strlen(signs[i][0]);
		} else {
			buffer_add(&plain, p++, 1);
		}
	}
	buffer_release(text);
	*text = plain;
}
