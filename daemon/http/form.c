/*
 * Which shape an answer of rows has: JSON, or CSV for a spreadsheet. The parameter
 * `format` says it; without it the Accept field does (RFC 9110, 12.5.1), where JSON has
 * it in a draw.
 */
#include "face.h"

#include <string.h>
#include <strings.h>

int element_weight(const char *parameters, size_t length)
{
	static const char key[] = "q=";
	for (size_t i = 0; i + 2 < length; i++) {
		bool begins = i > 0 && strchr("; \t", parameters[i - 1]);
		if (!begins || strncasecmp(parameters + i, key, 2) != 0)
			continue;
		int weight = parameters[i + 2] >= '1' ? 1000 : 0;
		int unit = 100;
		for (size_t k = i + 4; k < length && unit > 0; k++, unit /= 10) {
			if (parameters[k] < '0' || parameters[k] > '9')
				break;
			weight += (parameters[k] - '0') * unit;
		}
		return weight > 1000 ? 1000 : weight;
	}
	return 1000;
}

/* How exactly an element names the type: 3 whole, 2 by kind, 1 anything, 0 not. */
static int likeness(const char *element, size_t length, const char *type)
{
	size_t kind = strcspn(type, "/") + 1;
	if (length == strlen(type) && strncasecmp(element, type, length) == 0)
		return 3;
	if (length == kind + 1 && element[kind] == '*' &&
		strncasecmp(element, type, kind) == 0)
		return 2;
	return length == 3 && strncmp(element, "*/*", 3) == 0 ? 1 : 0;
}

static int accepted(const char *accept, const char *type)
{
	int best = 0, weight = 0;
	while (*accept) {
		accept += strspn(accept, ", \t");
		size_t whole = strcspn(accept, ","), name = strcspn(accept, ",; \t");
		int like = likeness(accept, name, type);
		if (like > best) {
			best = like;
			weight = element_weight(accept + name, whole - name);
		}
		accept += whole;
	}
	return weight;
}

bool prefers_page(const char *accept)
{
	return !accept ||
	       accepted(accept, "text/html") >= accepted(accept, "application/json");
}

bool prefers_csv(const char *accept)
{
	return accept &&
	       accepted(accept, "text/csv") > accepted(accept, "application/json");
}

bool choice_read(const struct request *request, struct reply *reply, const char *name,
	const char *const words[static 2], bool *ret_second)
{
	const char *given = request_value(request, name);
	if (!given)
		return true;
	*ret_second = strcmp(given, words[1]) == 0;
	if (*ret_second || strcmp(given, words[0]) == 0)
		return true;
	problem_with(reply, name, given, "%s is %s or %s", name, words[0], words[1]);
	problem_allowed(reply, words, 2);
	return false;
}

bool form_read(const struct request *request, struct reply *reply)
{
	static const char *const formats[] = {"json", "csv"};
	static const char *const times[] = {"local", "epoch"};
	bool csv = prefers_csv(request->accept), epoch = false;

	reply->varies = !request_value(request, "format");
	if (!choice_read(request, reply, "format", formats, &csv) ||
		!choice_read(request, reply, "time", times, &epoch))
		return false;
	reply->type = csv ? "text/csv; charset=utf-8; header=present" : NULL;
	reply->form = (struct csv_form){.epoch = epoch, .header = true};
	return true;
}
