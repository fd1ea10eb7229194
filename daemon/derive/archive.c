/*
 * Lines of archives. Nothing here knows files: one line in, one record or one reason out.
 */
#include <heatbook/archive.h>

#include <heatbook/calendar.h>
#include <heatbook/payload.h>

#include <string.h>

int archive_form_find(const char *name)
{
	if (strcmp(name, "lines") == 0)
		return ARCHIVE_LINES;
	return strcmp(name, "journal") == 0 ? ARCHIVE_JOURNAL : -1;
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

static bool parse_stamp(const char *text, size_t length, int64_t *ret_ms)
{
	char copy[64];
	const char *why;

	if (parse_epoch(text, length, ret_ms))
		return true;
	if (length >= sizeof(copy))
		return false;
	memcpy(copy, text, length);
	copy[length] = '\0';
	return time_parse_rfc3339(copy, ret_ms, &why) == 0;
}

static int plain_line(
	const char *line, size_t length, struct record *ret, const char **ret_why)
{
	const char *end = line + length;
	const char *topic = memchr(line, ' ', length);
	int64_t t_ms;

	if (!topic) {
		*ret_why = "is not `epoch topic payload`";
		return ARCHIVE_REJECTED;
	}
	if (!parse_stamp(line, (size_t)(topic - line), &t_ms)) {
		*ret_why =
			"begins with no time: seconds since 1970 or RFC 3339 with zone";
		return ARCHIVE_REJECTED;
	}
	topic++;
	const char *payload = memchr(topic, ' ', (size_t)(end - topic));
	const char *topic_end = payload ? payload : end;
	if (topic_end == topic || topic_end - topic > 65535) {
		*ret_why = "has no topic, or one over 65,535 bytes";
		return ARCHIVE_REJECTED;
	}
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
	return 0;
}

int archive_line(enum archive_form form, const char *line, size_t length,
	struct buffer *scratch, struct record *ret, const char **ret_why)
{
	if (length > 0 && line[length - 1] == '\r')
		length--;
	if (length == 0 || line[0] == '#')
		return ARCHIVE_SKIPPED;
	if (form == ARCHIVE_DETECT)
		form = line[0] == '{' ? ARCHIVE_JOURNAL : ARCHIVE_LINES;
	int r = form == ARCHIVE_LINES
			? plain_line(line, length, ret, ret_why)
			: record_read_json(line, length, scratch, ret, ret_why);
	if (r == 0 && !ret->unsure &&
		(ret->t_ms < STAMP_LEAST_MS || ret->t_ms >= STAMP_END_MS)) {
		*ret_why = "bears a time before 2000 or after 2199";
		return ARCHIVE_REJECTED;
	}
	return r == 0 ? 0 : ARCHIVE_REJECTED;
}
