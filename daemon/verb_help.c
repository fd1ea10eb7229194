/*
 * What several verbs need: how they end badly, how they are asked to end, and local dates
 * as operands.
 */
#include "verbs.h"

#include <heatbook/calendar.h>

#include <errno.h>
#include <pthread.h>
#include <signal.h>
#include <string.h>
#include <sys/signalfd.h>

int verb_failed(const char *why)
{
	(void)fprintf(stderr, "heatbookd: %s\n", why);
	return EXIT_FAILED;
}

int verb_misused(const char *why)
{
	(void)fprintf(stderr, "heatbookd: %s\n", why);
	return EXIT_USAGE;
}

int verb_signals(int more, int *ret_fd)
{
	sigset_t set;
	(void)sigemptyset(&set); /* these fail for wrong numbers only */
	(void)sigaddset(&set, SIGTERM);
	(void)sigaddset(&set, SIGINT);
	if (more)
		(void)sigaddset(&set, more);
	int r = pthread_sigmask(SIG_BLOCK, &set, NULL);
	if (r != 0)
		return -r;
	int fd = signalfd(-1, &set, SFD_CLOEXEC | SFD_NONBLOCK);
	if (fd < 0)
		return -errno;
	*ret_fd = fd;
	return 0;
}

bool verb_date(const char *text, int days, int64_t *ret_ms)
{
	char instant[32];
	int64_t t_ms;
	if (strlen(text) != 10)
		return false;
	/* At noon: a day may begin at 01:00, and no zone skips a noon without its day. */
	(void)snprintf(instant, sizeof(instant), "%sT12:00", text);
	if (time_parse_local(instant, 0, &t_ms) != 0)
		return false;
	*ret_ms = calendar_day_start(calendar_add(calendar_date(t_ms), 0, 0, days));
	return true;
}
