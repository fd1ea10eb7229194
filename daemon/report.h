/*
 * What the report asked and what it got; the text is made of this alone.
 */
#ifndef REPORT_H
#define REPORT_H

#include "report_course.h"

#include <heatbook/figures.h>
#include <heatbook/finding.h>
#include <heatbook/notices_ask.h>

/* A boundary and the plant's figures at it. */
struct report_offer {
	struct boundary boundary;
	struct figures whole;
};

struct report {
	struct question question;
	const char *no_boundary; /* why there is none; NULL when there is one */
	bool open;               /* the last day is not over */
	struct paper paper;
	const char *step_text; /* rows are wanted: by which step; else NULL */
	struct duration step;
	struct energy_answer answer; /* by that step, or by days */
	struct course course;
	bool outdoor; /* the plant has an outdoor temperature, of whose days these are: */
	struct degree_sum degrees;
	struct degree_sum *row_degrees; /* likewise, of each of the rows */
	bool outdoor_slow;              /* they took too long to read, and are unknown */
	struct report_offer offers[BOUNDARIES_MOST];
	size_t offer_count;
	struct findings findings; /* those that touch the span */
	struct notice_walks walks;
	struct notice_times notices;
	int notices_outcome; /* 0, or why they are not known: notices_turn() */
};

/* Tables and their remarks, in at most 80 columns (a long name may pass them), or as many
 * as the paper has. */
void report_text(const struct report *report, struct buffer *out);

#endif
