/*
 * What a report is printed on: how wide it is, and whether it takes more than ASCII.
 */
#ifndef REPORT_PAPER_H
#define REPORT_PAPER_H

#include <heatbook/base.h>

struct paper {
	int width;  /* columns */
	bool plain; /* ASCII alone */
};

/* Of a file that is open: the terminal's width, 80 where it is none; plain unless the
 * locale's character set is UTF-8, and on terminals that have no blocks to draw with. */
struct paper paper_of(int fd);

/* One column of a sparkline: how high a value stands between least (0) and most (1); NaN
 * is the gap. In ASCII the digit tells in which tenth. */
const char *paper_level(const struct paper *paper, double share);
/* What is drawn where nothing is known. */
const char *paper_gap(const struct paper *paper);
/* A bar of at most so many columns, without the room behind it. */
void paper_add_bar(struct buffer *out, const struct paper *paper, double share, int most);
/* Of a text all that heatbook's own words hold beyond ASCII, written in ASCII; names that
 * others gave stay as they are. */
void paper_make_plain(struct buffer *text);

#endif
