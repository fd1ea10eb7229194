/*
 * Lines of foreign logs and of our own, in each form that may be asked for. A record has
 * a stamp that counts, its texts lie in the line or the scratch, and by our own line it
 * comes back the same.
 */
#include "fuzz.h"

#include <heatbook/archive.h>

static bool within(const void *part, size_t length, const char *whole, size_t size)
{
	const char *p = part;
	return length == 0 || (p >= whole && p + length <= whole + size);
}

static void check_record(const struct record *r, const char *line, size_t length,
	const struct buffer *scratch)
{
	HOLDS(r->unsure || (r->t_ms >= STAMP_LEAST_MS && r->t_ms < STAMP_END_MS),
		"stamp %lld", (long long)r->t_ms);
	HOLDS(within(r->topic, r->topic_length, line, length) ||
			within(r->topic, r->topic_length, scratch->data, scratch->length),
		"the topic lies elsewhere");
	HOLDS(within(r->payload, r->payload_length, line, length) ||
			within(r->payload, r->payload_length, scratch->data,
				scratch->length),
		"the payload lies elsewhere");
}

static void check_back(const struct record *record)
{
	struct archive archive = {.form = ARCHIVE_JOURNAL};
	struct buffer line = {0}, form = {0}, again = {0};
	struct record back;
	const char *why = "";
	record_write_json(record, &line);
	int r = archive_line(&archive, line.data, line.length - 1, &back, &why);
	HOLDS(r == 0, "%s: %.*s", why, (int)line.length, line.data);
	record_write(record, &form);
	record_write(&back, &again);
	HOLDS(form.length == again.length &&
			memcmp(form.data, again.data, form.length) == 0,
		"another record: %.*s", (int)line.length, line.data);
	archive_release(&archive);
	buffer_release(&line);
	buffer_release(&form);
	buffer_release(&again);
}

/* The verdict on a line as the first of its file. */
static int check_line(
	struct archive *archive, const char *line, size_t length, const char **ret_why)
{
	struct record record;
	*ret_why = NULL;
	if (archive->clock)
		wall_clock_reset(archive->clock);
	int r = archive_line(archive, line, length, &record, ret_why);
	HOLDS(r == 0 || r == ARCHIVE_SKIPPED || r == ARCHIVE_REJECTED, "verdict %d", r);
	HOLDS(r != ARCHIVE_REJECTED || *ret_why, "no reason is given");
	if (r == 0) {
		check_record(&record, line, length, &archive->scratch);
		check_back(&record);
	}
	return r;
}

static void check_form(
	enum archive_form form, struct wall_clock *clock, const char *text, size_t length)
{
	struct archive archive = {.form = form, .clock = clock};
	const char *why, *why_again;
	char *line = exact_copy(text, length);
	int r = check_line(&archive, line, length, &why);
	int again = check_line(&archive, line, length, &why_again);
	HOLDS(again == r && why_again == why, "%d, then %d", r, again);
	free(line);
	archive_release(&archive);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
	static const enum archive_form forms[] = {
		ARCHIVE_DETECT, ARCHIVE_LINES, ARCHIVE_JSON, ARCHIVE_JOURNAL};
	static struct wall_clock *clock;
	const char *at = (const char *)data, *end = at + size, *line;
	size_t length;
	if (!clock)
		HOLDS(wall_clock_new("Europe/Berlin", &clock) == 0, "zone");
	while (next_line(&at, end, &line, &length))
		for (size_t i = 0; i < ARRAY_LEN(forms); i++) {
			check_form(forms[i], NULL, line, length);
			check_form(forms[i], clock, line, length);
		}
	return 0;
}
