/*
 * Values with intervals, and what is missing. See insight.h.
 */
#include <heatbook/insight.h>

#include <math.h>
#include <stdarg.h>
#include <string.h>

void insight_put(struct insight_answer *answer, const char *name, const char *ucum,
	int decimals, double value, double low, double high)
{
	struct insight_value item = {.value = value,
		.low = low,
		.high = high,
		.ucum = ucum,
		.decimals = decimals};
	if (!isfinite(value))
		return;
	(void)snprintf(item.name, sizeof(item.name), "%s", name);
	answer->values =
		xrealloc(answer->values, answer->count + 1, sizeof(*answer->values));
	answer->values[answer->count++] = item;
}

void insight_put_seen(struct insight_answer *answer, const char *name, const char *ucum,
	int decimals, double value)
{
	insight_put(answer, name, ucum, decimals, value, (double)NAN, (double)NAN);
}

const struct insight_value *insight_find(
	const struct insight_answer *answer, const char *name)
{
	for (size_t i = 0; i < answer->count; i++)
		if (strcmp(answer->values[i].name, name) == 0)
			return &answer->values[i];
	return NULL;
}

void insight_lacks(struct insight_answer *answer, const char *format, ...)
{
	va_list arguments;
	va_start(arguments, format);
	char *text = xvasprintf(format, arguments);
	va_end(arguments);
	answer->missing = xrealloc(
		answer->missing, answer->missing_count + 1, sizeof(*answer->missing));
	answer->missing[answer->missing_count++] = text;
}

void insight_release(struct insight_answer *answer)
{
	for (size_t i = 0; i < answer->missing_count; i++)
		free(answer->missing[i]);
	free(answer->missing);
	free(answer->values);
	*answer = (struct insight_answer){0};
}
