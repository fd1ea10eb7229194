/*
 * The statement as a verb prints it: report --statement.
 */
#ifndef REPORT_STATEMENT_H
#define REPORT_STATEMENT_H

#include <heatbook/statement.h>

/* One sheet of text, 80 columns wide (a long name may pass them). */
void statement_text(const struct statement *statement, struct buffer *out);

#endif
