/*
 * Local time through the C library's zone rules. The demo house stands in one zone, so
 * the process has that zone; every caller asks with an instant, never with broken-down
 * time.
 */
#include "zone.h"

#include <stdio.h>
#include <stdlib.h>
#include <time.h>

int zone_open(void)
{
	if (setenv("TZ", "Europe/Berlin", 1) < 0)
		return -1;
	tzset();
	/* An unknown name silently means UTC: ask for a summer's and a winter's offset.
	 */
	return zone_ahead_s(1751320800) == 7200 && zone_ahead_s(1767222000) == 3600 ? 0
										    : -1;
}

int zone_ahead_s(int64_t t_s)
{
	time_t t = (time_t)t_s;
	struct tm local;
	return localtime_r(&t, &local) ? (int)local.tm_gmtoff : 0;
}

int64_t zone_midnight(int year, int month, int day)
{
	struct tm local = {.tm_year = year - 1900,
		.tm_mon = month - 1,
		.tm_mday = day,
		.tm_isdst = -1};
	return (int64_t)mktime(&local);
}

int64_t zone_day_start(int64_t t_s, int days)
{
	time_t t = (time_t)t_s;
	struct tm local;
	if (!localtime_r(&t, &local))
		return t_s;
	return zone_midnight(
		local.tm_year + 1900, local.tm_mon + 1, local.tm_mday + days);
}

void zone_date(int64_t t_s, char text[static 16])
{
	time_t t = (time_t)t_s;
	struct tm local;
	text[0] = '\0';
	if (localtime_r(&t, &local))
		(void)strftime(text, 16, "%Y-%m-%d", &local);
}

/* "Z", "+01:00" or "-01:00", whole text, into seconds ahead of UTC. */
static int parse_offset(const char *text, int *ret_ahead_s)
{
	int hours, minutes, end = 0;
	char sign;
	if ((text[0] == 'Z' || text[0] == 'z') && !text[1]) {
		*ret_ahead_s = 0;
		return 0;
	}
	/* NOLINTNEXTLINE(cert-err34-c): two digits cannot overflow */
	if (sscanf(text, "%c%2d:%2d%n", &sign, &hours, &minutes, &end) != 3 || text[end])
		return -1;
	if ((sign != '+' && sign != '-') || hours < 0 || hours > 23 || minutes < 0 ||
		minutes > 59)
		return -1;
	*ret_ahead_s = (sign == '-' ? -1 : 1) * (hours * 3600 + minutes * 60);
	return 0;
}

int zone_parse(const char *text, int64_t *ret_s)
{
	struct tm at = {0};
	int ahead_s;
	const char *rest = strptime(text, "%Y-%m-%d", &at);
	if (!rest)
		return -1;
	if (!*rest) {
		*ret_s = zone_midnight(at.tm_year + 1900, at.tm_mon + 1, at.tm_mday);
		return 0;
	}
	rest = strptime(rest, "T%H:%M:%S", &at);
	if (!rest || parse_offset(rest, &ahead_s) < 0)
		return -1;
	*ret_s = (int64_t)timegm(&at) - ahead_s;
	return 0;
}
