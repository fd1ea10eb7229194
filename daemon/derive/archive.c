/*
 * Lines of archives. Nothing here knows files: one line in, one record or one reason out.
 */
#include <heatbook/archive.h>

#include <string.h>

void archive_release(struct archive *archive)
{
	buffer_release(&archive->scratch);
}

/* Whole digits, or digits with a fraction, scaled to ms exactly (a double would do for
 * milliseconds, but not for nanoseconds). */
static bool parse_epoch(const char *text, size_t length, int64_t *ret_ms)
{
	static const int64_t limits[] = {
		100000000000, 100000000000000, 100000000000000000};
	int64_t whole = 0, fraction = 0;
	size_t i = 0, digits = 0;

	for (; i < length && text[i] >= '0' && text[i] <= '9'; i++)
		if (__builtin_mul_overflow(whole, 10, &whole) ||
			__builtin_add_overflow(whole, text[i] - '0', &whole))
			return false;
	if (i == 0)
		return false;
	if (i < length && text[i] == '.') {
		for (i++; i < length && text[i] >= '0' && text[i] <= '9'; i++, digits++)
			if (digits < 3)
				fraction = fraction * 10 + (text[i] - '0');
		if (digits == 0 || whole >= limits[0])
			return false;
		for (size_t d = digits; d < 3; d++)
			fraction *= 10;
	}
	if (i != length)
		return false;
	if (whole < limits[0])
		*ret_ms = whole * 1000 + fraction;
	else if (whole < limits[1])
		*ret_ms = whole;
	else if (whole < limits[2])
		*ret_ms = whole / 1000;
	else
		*ret_ms = whole / 1000000;
	return true;
}

/* NULL, or why there is no time; `none` where it is none at all. */
static const char *parse_stamp(struct archive *a, const char *text, size_t length,
	const char *none, int64_t *ret_ms)
{
	struct wall_time time;
	if (parse_epoch(text, length, ret_ms))
		return NULL;
	if (!wall_time_parse(text, length, &time))
		return none;
	*ret_ms = time.local_ms - time.offset_ms;
	if (time.has_offset)
		return NULL;
	if (!a->clock)
		return "has a local time without offset: --zone ZONE says where";
	switch (wall_clock_resolve(a->clock, time.local_ms, false, ret_ms)) {
	case WALL_SKIPPED:
		return "has a local time that the zone of --zone skips";
	case WALL_TWICE:
		a->twice++;
		return NULL;
	default:
		return NULL;
	}
}

/* The blank behind the stamp; date and time may be parted by one themselves. */
static const char *stamp_end(const char *line, size_t length)
{
	const char *end = memchr(line, ' ', length);
	if (!end || end - line != 10 || line[4] != '-' || line[7] != '-')
		return end;
	end++;
	return memchr(end, ' ', length - (size_t)(end - line));
}

static const char *plain_line(
	struct archive *a, const char *line, size_t length, struct record *ret)
{
	const char *end = line + length;
	const char *topic = stamp_end(line, length);
	int64_t t_ms;

	if (!topic)
		return "is not `time topic payload`";
	const char *why = parse_stamp(a, line, (size_t)(topic - line),
		"begins with no time: seconds since 1970 or ISO 8601 with offset", &t_ms);
	if (why)
		return why;
	topic++;
	const char *payload = memchr(topic, ' ', (size_t)(end - topic));
	const char *topic_end = payload ? payload : end;
	if (topic_end == topic || topic_end - topic > UINT16_MAX)
		return "has no topic, or one over 65,535 bytes";
	payload = payload ? payload + 1 : end;
	*ret = (struct record){
		.kind = RECORD_MESSAGE,
		.t_ms = t_ms,
		.boot_ms = -1,
		.topic = topic,
		.topic_length = (size_t)(topic_end - topic),
		.payload = (const unsigned char *)payload,
		.payload_length = (size_t)(end - payload),
	};
	return NULL;
}

static const char *journal_line(
	struct archive *a, const char *line, size_t length, struct record *ret)
{
	const char *why;
	return record_read_json(line, length, &a->scratch, ret, &why) == 0 ? NULL : why;
}

static const char *json_line(
	struct archive *a, const char *line, size_t length, struct record *ret)
{
	struct record_stamp stamp;
	const char *why;
	int r = record_read_client_json(line, length, &a->scratch, ret, &stamp, &why);
	if (r == RECORD_NO_STAMP && a->form == ARCHIVE_DETECT)
		return journal_line(a, line, length, ret);
	if (r != 0)
		return why;
	return parse_stamp(a, stamp.text, stamp.length,
		"\"tst\" is no time: ISO 8601 with offset, or seconds since 1970",
		&ret->t_ms);
}

/* Most lines of the journal begin with their kind, which saves a look at the rest. */
static enum archive_form form_of(const struct archive *a, const char *line, size_t length)
{
	static const char journal[] = "{\"kind\":";
	if (a->form != ARCHIVE_DETECT)
		return a->form;
	if (line[0] != '{')
		return ARCHIVE_LINES;
	return length >= strlen(journal) && memcmp(line, journal, strlen(journal)) == 0
		       ? ARCHIVE_JOURNAL
		       : ARCHIVE_JSON;
}

static const char *read_line(
	struct archive *a, const char *line, size_t length, struct record *ret)
{
	switch (form_of(a, line, length)) {
	case ARCHIVE_JSON:
		return json_line(a, line, length, ret);
	case ARCHIVE_JOURNAL:
		return journal_line(a, line, length, ret);
	case ARCHIVE_LINES:
	case ARCHIVE_DETECT:
	default:
		return plain_line(a, line, length, ret);
	}
}

int archive_line(struct archive *a, const char *line, size_t length, struct record *ret,
	const char **ret_why)
{
	if (length > 0 && line[length - 1] == '\r')
		length--;
	if (length == 0 || line[0] == '#')
		return ARCHIVE_SKIPPED;
	const char *why = read_line(a, line, length, ret);
	if (!why && !ret->unsure &&
		(ret->t_ms < STAMP_LEAST_MS || ret->t_ms >= STAMP_END_MS))
		why = STAMP_OUTSIDE;
	if (!why)
		return 0;
	*ret_why = why;
	return ARCHIVE_REJECTED;
}
