/*
 * Columns of a table by the names that its header gives them, or by number.
 */
#ifndef INGEST_HEADER_H
#define INGEST_HEADER_H

#include <heatbook/base.h>

/* Places of a name in a header row (UTF-8), the first of them, from 0 on, in *ret. */
size_t header_name(const char *header, size_t length, char delimiter, const char *name,
	uint32_t *ret);
/* Is it "#3", a column by its number? Then *ret is 2. */
bool header_number(const char *column, uint32_t *ret);

#endif
