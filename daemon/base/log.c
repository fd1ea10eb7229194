/*
 * One line a message, whole or cut at 1,000 bytes, written in one call so that two
 * threads' lines never mix. See log.h.
 */
#include <heatbook/log.h>

#include <string.h>
#include <unistd.h>

static enum log_level most_level = LOG_LEVEL_INFO;
static log_handler *line_handler;
static void *handler_context;

void log_set_level(enum log_level most)
{
	most_level = most;
}

void log_set_handler(log_handler *handler, void *context)
{
	line_handler = handler;
	handler_context = context;
}

static void write_line(enum log_level level, char *line)
{
	char text[1100];
	for (char *p = line; *p; p++)
		if ((unsigned char)*p < ' ')
			*p = ' '; /* what came from outside must not break the line */
	if (line_handler) {
		line_handler(level, line, handler_context);
		return;
	}
	bool journal = getenv("JOURNAL_STREAM") != NULL;
	int n = journal ? snprintf(text, sizeof(text), "<%d>%s\n", (int)level, line)
			: snprintf(text, sizeof(text), "heatbookd: %s\n", line);
	if (n > 0 && write(STDERR_FILENO, text, (size_t)n) < 0)
		return; /* nobody is left to tell */
}

void log_at(enum log_level level, const char *format, ...)
{
	char line[1000];
	if (level > most_level)
		return;
	va_list args;
	va_start(args, format);
	(void)vsnprintf(line, sizeof(line), format, args);
	va_end(args);
	write_line(level, line);
}

void log_errno(enum log_level level, int error, const char *format, ...)
{
	char line[1000];
	if (level > most_level)
		return;
	va_list args;
	va_start(args, format);
	int n = vsnprintf(line, sizeof(line), format, args);
	va_end(args);
	if (n > 0 && (size_t)n < sizeof(line))
		(void)snprintf(line + n, sizeof(line) - (size_t)n, ": %s",
			strerror(error < 0 ? -error : error));
	write_line(level, line);
}
