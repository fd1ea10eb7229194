/*
 * See wanted.h.
 */
#include "wanted.h"

#include <string.h>

static bool is_allowed(const char *name, const char *const *allowed, size_t count)
{
	for (size_t i = 0; i < count; i++)
		if (strcmp(allowed[i], name) == 0)
			return true;
	return false;
}

bool wanted_has(const struct wanted *wanted, const char *name)
{
	return !wanted->text || is_allowed(name, wanted->names, wanted->count);
}

static const char *why_not(const struct wanted *wanted, const char *name,
	const char *const *allowed, size_t count)
{
	if (!is_allowed(name, allowed, count))
		return "is none of these rows' values";
	return is_allowed(name, wanted->names, wanted->count) ? "is named twice" : NULL;
}

bool wanted_read(const struct request *request, const char *const *allowed, size_t count,
	struct reply *reply, struct wanted *ret)
{
	const char *list = request_value(request, "values"), *why = NULL;
	*ret = (struct wanted){0};
	if (!list)
		return true;
	ret->text = xstrdup(list);
	char *rest = ret->text, *name;
	/* No name twice, so there are never more than are allowed. */
	while (!why && (name = strsep(&rest, ","))) {
		why = why_not(ret, name, allowed, count);
		if (!why)
			ret->names[ret->count++] = name;
	}
	if (!why)
		return true;
	problem_with(reply, "values", list, "\"%.60s\" %s", name, why);
	problem_allowed(reply, allowed, count);
	wanted_release(ret);
	return false;
}

void wanted_release(struct wanted *wanted)
{
	free(wanted->text);
	*wanted = (struct wanted){0};
}

void wanted_keep(const struct wanted *wanted, struct sheet *sheet)
{
	size_t kept = 0;
	for (size_t c = 0; c < sheet->count; c++) {
		struct sheet_column *column = &sheet->columns[c];
		if (column->value && !wanted_has(wanted, column->value))
			free(column->cells);
		else
			sheet->columns[kept++] = *column;
	}
	sheet->count = kept;
}
