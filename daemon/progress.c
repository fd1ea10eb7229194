/*
 * See progress.h. The rate is over the whole stage; what remains is told by what was done
 * of it, once that says anything. A line that is wider than the terminal would wrap and
 * could not be written again: its beginning, an archive's name, is cut.
 */
#include "progress.h"

#include <heatbook/clock.h>

#include <string.h>
#include <sys/ioctl.h>
#include <unistd.h>

#define REDRAW_MS 100   /* on a terminal */
#define PLAIN_MS  10000 /* between plain lines */
#define SETTLE_MS 2000  /* before the remaining time means anything */

void progress_begin(struct progress_line *line)
{
	*line = (struct progress_line){.terminal = isatty(STDERR_FILENO) == 1};
}

void progress_end(struct progress_line *line)
{
	if (line->drawn)
		(void)fputs("\r\033[K", stderr);
	line->drawn = false;
}

static void add_remaining(struct buffer *out, const struct progress_line *line,
	const struct progress *p, int64_t now_ms)
{
	int64_t spent_ms = now_ms - line->stage_ms, done = p->done - line->first_done;
	if (p->total <= 0 || done <= 0 || spent_ms < SETTLE_MS || p->done > p->total)
		return;
	double left_s =
		(double)spent_ms / 1000.0 * (double)(p->total - p->done) / (double)done;
	if (left_s < 60.0)
		buffer_addf(out, ", %.0f s left", left_s);
	else if (left_s < 3600.0)
		buffer_addf(out, ", %.0f min left", left_s / 60.0);
	else
		buffer_addf(out, ", %.1f h left", left_s / 3600.0);
}

static void describe_filing(struct buffer *out, const struct progress_line *line,
	const struct progress *p, int64_t now_ms)
{
	int64_t spent_ms = now_ms - line->stage_ms;
	buffer_addf(out, "%s: ", p->name);
	if (p->total > 0)
		buffer_addf(out, "%lld %%, ",
			(long long)(p->done >= p->total ? 100
							: 100 * p->done / p->total));
	buffer_addf(out, "%llu lines", (unsigned long long)p->count);
	if (spent_ms > 0)
		buffer_addf(out, ", %.0f lines/s",
			(double)p->count * 1000.0 / (double)spent_ms);
}

static void describe(struct buffer *out, const struct progress_line *line,
	const struct progress *p, int64_t now_ms)
{
	switch (p->stage) {
	case PROGRESS_FILING:
		describe_filing(out, line, p, now_ms);
		break;
	case PROGRESS_MAPPING:
		buffer_add_text(out, "reading the journal with the new mapping");
		break;
	case PROGRESS_DERIVING:
		buffer_addf(out, "derived %lld days of %lld", (long long)p->done,
			(long long)p->total);
		break;
	case PROGRESS_WAITING:
		buffer_addf(out, "the running daemon derives: %lld days to go",
			(long long)(p->total - p->done));
		break;
	case PROGRESS_COUNTING:
		buffer_addf(out, "%s: %lld of %lld", p->name, (long long)p->done,
			(long long)p->total);
		break;
	case PROGRESS_NOTE:
	default:
		buffer_add_text(out, p->name);
		return;
	}
	add_remaining(out, line, p, now_ms);
}

/* Does it deserve a line now? */
static bool is_due(struct progress_line *line, const struct progress *p, int64_t now_ms)
{
	if (p->stage == PROGRESS_NOTE)
		return true;
	if (!line->began || line->stage != p->stage) {
		line->began = true;
		line->stage = p->stage;
		line->stage_ms = line->shown_ms = now_ms;
		line->first_done = p->stage == PROGRESS_FILING ? 0 : p->done;
		return line->terminal;
	}
	if (now_ms - line->shown_ms < (line->terminal ? REDRAW_MS : PLAIN_MS))
		return false;
	line->shown_ms = now_ms;
	return true;
}

/* The end of a text that has room in the terminal's line, a column a code point. */
static const char *fitting(const char *text)
{
	struct winsize size;
	int left = 0;
	if (ioctl(STDERR_FILENO, TIOCGWINSZ, &size) < 0 || size.ws_col < 2)
		return text;
	for (const char *p = text; *p; p++)
		left += ((unsigned char)*p & 0xc0) != 0x80;
	for (left -= size.ws_col - 1; left > 0; left--)
		do
			text++;
		while (((unsigned char)*text & 0xc0) == 0x80);
	return text;
}

void progress_show(const struct progress *progress, void *context)
{
	struct progress_line *line = context;
	struct buffer text = {0};
	int64_t now_ms = clock_mono_ms();

	if (!is_due(line, progress, now_ms))
		return;
	describe(&text, line, progress, now_ms);
	progress_end(line);
	line->drawn = line->terminal && progress->stage != PROGRESS_NOTE;
	if (line->drawn)
		(void)fputs(fitting(buffer_text(&text)), stderr);
	else
		(void)fprintf(stderr, "%s\n", buffer_text(&text));
	buffer_release(&text);
}
