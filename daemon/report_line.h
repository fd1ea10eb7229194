/*
 * What lines of the report are made of: names at their left, times and energies in their
 * columns, and the parts of the text, in their order. Not for other programs.
 */
#ifndef REPORT_LINE_H
#define REPORT_LINE_H

#include "report.h"

enum { LINE_WIDTH = 80, NAME_WIDTH = 17, TIME_WIDTH = 13, ENERGY_WIDTH = 17 };

/* Code points: what a terminal shows of our texts, one column each. */
int text_width(const char *text);
/* At the right end of so many columns. */
void report_add_right(struct buffer *out, const char *text, int width);
/* A line's name and the room behind it. */
void report_add_name(struct buffer *out, const char *name);
/* Words in lines of at most LINE_WIDTH columns, all indented; `begun`: the first one
 * stands behind a name already. */
void report_add_wrapped(struct buffer *out, const char *text, int indent, bool begun);
/* The line of the fluid. */
void report_add_fluid(struct buffer *out, const struct plant_config *plant);
/* A value of so many decimals with two, rounded half away from zero. */
void report_add_decimals(struct buffer *out, int64_t value, int decimals);
/* "18 h 02 min"; "24 h" without odd minutes where `brief`. */
void report_add_time(struct buffer *out, int64_t ms, bool brief);
/* "", "partial " or "at least ", by how much of a span is known. */
const char *report_degree(int64_t known_ms, int64_t span_ms);
void report_add_energy(
	struct buffer *out, const struct cell *cell, int64_t known_ms, int64_t span_ms);
/* Has it an efficiency that says anything? */
bool report_has_ratio(const struct figures *f);
/* An efficiency, with its uncertainty where that is asked for. */
void report_add_ratio(struct buffer *out, const struct figures *f, bool uncertainty);
/* "hot water" */
void report_add_mode(struct buffer *out, enum mode mode);
/* "unit + immersion" */
void report_add_meters(struct buffer *out, const struct config *config, unsigned set);
int64_t report_span_ms(const struct report *report);

/* ---- parts of the text ---- */

/* Boundary, efficiencies that others have, and what of the time was known, bridged,
 * spread or told by rule (report_cover.c). */
void report_cover(
	struct buffer *out, const struct report *report, const struct figures *whole);
/* How sure the figures are, and what they take for granted (report_trust.c). */
void report_trust(
	struct buffer *out, const struct report *report, const struct figures *whole);
/* What is likely wrong, each in a paragraph (report_findings.c). */
void report_findings(struct buffer *out, const struct report *report);
/* What was to be told meanwhile (report_notices.c). */
void report_notices(struct buffer *out, const struct report *report);

#endif
