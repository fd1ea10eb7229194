/* See header.h. */
#include "header.h"

#include "cells.h"

#define NAME_MOST 512 /* no name in the configuration is longer */

size_t header_name(const char *header, size_t length, char delimiter, const char *name,
	uint32_t *ret)
{
	char plain[NAME_MOST];
	struct cells cells = cells_of(header, length, delimiter);
	struct cell cell;
	size_t found = 0, wanted = strlen(name);
	for (uint32_t i = 0; cells_next(&cells, &cell); i++) {
		if (cell.length < wanted || cell.length > sizeof(plain))
			continue;
		if (cell_plain(&cell, plain) == wanted &&
			memcmp(plain, name, wanted) == 0 && found++ == 0)
			*ret = i;
	}
	return found;
}

bool header_number(const char *column, uint32_t *ret)
{
	size_t digits = strspn(column + 1, "0123456789");
	if (column[0] != '#' || digits == 0 || column[1 + digits])
		return false;
	*ret = (uint32_t)strtoul(column + 1, NULL, 10) - 1; /* #1 to #9999 */
	return true;
}
