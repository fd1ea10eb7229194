/*
 * Lines of `export --journal`. What is read, written and read again is the same record,
 * and the line written is the same from then on; so is its binary form.
 */
#include "fuzz.h"

#include <heatbook/record.h>

static void form_of(const struct record *record, struct buffer *out)
{
	buffer_reset(out);
	record_write(record, out);
}

static void same_buffer(const struct buffer *a, const struct buffer *b, const char *what)
{
	HOLDS(a->length == b->length && memcmp(a->data, b->data, a->length) == 0,
		"%s differs: %.*s", what, (int)(b->length < 2000 ? b->length : 2000),
		b->data);
}

static void check_line(const char *text, size_t length)
{
	struct buffer scratch = {0}, other = {0}, line = {0}, line_again = {0},
		      form = {0}, form_again = {0};
	struct record record, back;
	const char *why = NULL, *why_again = NULL;
	char *copy = exact_copy(text, length);

	int r = record_read_json(copy, length, &scratch, &record, &why);
	HOLDS(r == 0 || (r < 0 && why), "no reason is given");
	if (r == 0) {
		form_of(&record, &form);
		record_write_json(&record, &line);
		HOLDS(line.length > 0 && line.data[line.length - 1] == '\n', "no line");
		r = record_read_json(line.data, line.length - 1, &other, &back, &why);
		HOLDS(r == 0, "%s: %.*s", why, (int)line.length, line.data);
		form_of(&back, &form_again);
		same_buffer(&form, &form_again, "the record");
		record_write_json(&back, &line_again);
		same_buffer(&line, &line_again, "the line");
		r = record_read_json(copy, length, &other, &back, &why);
		HOLDS(r == 0 && record_compare(&record, &back) == 0, "another verdict");
	} else {
		int again = record_read_json(copy, length, &other, &back, &why_again);
		HOLDS(again == r && why_again == why, "%s, then %s", why, why_again);
	}
	free(copy);
	buffer_release(&scratch);
	buffer_release(&other);
	buffer_release(&line);
	buffer_release(&line_again);
	buffer_release(&form);
	buffer_release(&form_again);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
	const char *at = (const char *)data, *end = at + size, *line;
	size_t length;
	while (next_line(&at, end, &line, &length))
		check_line(line, length);
	return 0;
}
