/*
 * Messages to the operator on standard error, with syslog priority prefixes (`<4>`) when
 * standard error is the system journal (JOURNAL_STREAM is set), plain otherwise.
 * Pure code never logs; a failure is logged once, where it is decided.
 */
#ifndef HEATBOOK_LOG_H
#define HEATBOOK_LOG_H

#include <heatbook/base.h>

/* RFC 5424 severities that heatbook uses. */
enum log_level {
	LOG_LEVEL_ERROR = 3,
	LOG_LEVEL_WARNING = 4,
	LOG_LEVEL_NOTICE = 5,
	LOG_LEVEL_INFO = 6,
	LOG_LEVEL_DEBUG = 7
};

/* Receives each finished line, without newline. */
typedef void log_handler(enum log_level level, const char *line, void *context);

/* Lines less urgent than `most` are dropped; default LOG_LEVEL_INFO. */
void log_set_level(enum log_level most);
/* Replaces the writer (tests read the text); NULL restores standard error. */
void log_set_handler(log_handler *handler, void *context);

void log_at(enum log_level level, const char *format, ...) PRINTF_LIKE(2, 3);
/* The same with `: strerror(error)` appended; `error` is a positive or negative errno. */
void log_errno(enum log_level level, int error, const char *format, ...)
	PRINTF_LIKE(3, 4);

#define log_error(...)   log_at(LOG_LEVEL_ERROR, __VA_ARGS__)
#define log_warning(...) log_at(LOG_LEVEL_WARNING, __VA_ARGS__)
#define log_notice(...)  log_at(LOG_LEVEL_NOTICE, __VA_ARGS__)
#define log_info(...)    log_at(LOG_LEVEL_INFO, __VA_ARGS__)
#define log_debug(...)   log_at(LOG_LEVEL_DEBUG, __VA_ARGS__)

#endif
