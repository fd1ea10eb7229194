/*
 * What several verbs need: how they end badly, how they are asked to end, local dates as
 * operands, and which days they left alone.
 */
#include "verbs.h"

#include <heatbook/calendar.h>
#include <heatbook/deriver.h>

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
	return time_parse_day(text, days, ret_ms) == 0;
}

void verb_say_sealed(const struct sealed_days *sealed)
{
	if (sealed->count > 0)
		(void)printf("%lld sealed day%s kept %s rows, since their journal is "
			     "damaged (`heatbookd verify` says more) or past its age: %s "
			     "(UTC)\n",
			(long long)sealed->count, sealed->count == 1 ? "" : "s",
			sealed->count == 1 ? "its" : "their", sealed->dates);
}
