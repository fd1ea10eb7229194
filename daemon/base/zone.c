/*
 * The plant's zone: choosing it, its digest, and its offset from UTC.
 *
 * The C library holds the rules; this file makes sure that it holds the right ones. Given
 * a name that it does not know, the library silently takes UTC, so the zone's file is
 * checked first (RFC 8536 form, no leap seconds: heatbook counts in POSIX time). The
 * rules in force are those that were installed when the zone was set, and so is the
 * digest.
 *
 * Setting the zone changes the environment: once, at start, before the second thread. All
 * else only reads. No cache: two look-ups tell that no change is near, which holds for
 * nearly all local times.
 */
#include "zone.h"

#include <heatbook/calendar.h>

#include <errno.h>
#include <string.h>
#include <time.h>

/* No zone is or was further from UTC than this (15 h 56 min, Manila before 1844). */
#define WIDEST_OFFSET_S (16 * INT64_C(3600))

#define ZONE_FILE_MAX       (1 << 16)
#define ZONE_HEADER_LENGTH  44 /* RFC 8536, 3.1 */
#define ZONE_HEADER_LEAPCNT 28

static uint64_t rules_digest;

static bool name_is_sane(const char *zone)
{
	size_t length = strlen(zone);
	if (length == 0 || length > 64 || zone[0] == '/')
		return false;
	/* No dot: a name never leads out of the database. */
	return strspn(zone,
		       "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789"
		       "_+-/") == length;
}

static int read_rules(const char *path, struct buffer *rules)
{
	_cleanup_(fclosep) FILE *f = fopen(path, "re");
	if (!f)
		return errno == ENOTDIR ? -ENOENT : -errno;
	buffer_reserve(rules, ZONE_FILE_MAX);
	rules->length = fread(rules->data, 1, ZONE_FILE_MAX, f);
	if (ferror(f))
		return errno == EISDIR ? -ENOENT : -errno;
	const char *data = rules->data;
	if (rules->length < ZONE_HEADER_LENGTH || memcmp(data, "TZif", 4) != 0)
		return -ENOENT; /* the directory holds tables too */
	if (memcmp(data + ZONE_HEADER_LEAPCNT, (char[4]){0}, 4) != 0)
		return -ENOENT; /* counts leap seconds, as POSIX time does not */
	return 0;
}

static void bufferp(struct buffer *b)
{
	buffer_release(b);
}

/* The rules of a zone by its name. */
static int find_rules(const char *zone, struct buffer *rules)
{
	if (!name_is_sane(zone))
		return -ENOENT;
	const char *directory = getenv("TZDIR");
	if (!directory || !directory[0])
		directory = "/usr/share/zoneinfo";
	_cleanup_(freep) char *path = xasprintf("%s/%s", directory, zone);
	return read_rules(path, rules);
}

bool calendar_zone_known(const char *zone)
{
	_cleanup_(bufferp) struct buffer rules = {0};
	return find_rules(zone, &rules) == 0;
}

int calendar_set_zone(const char *zone)
{
	_cleanup_(bufferp) struct buffer rules = {0};
	int r = find_rules(zone, &rules);
	if (r < 0)
		return r;
	_cleanup_(freep) char *setting = xasprintf(":%s", zone);
	if (setenv("TZ", setting, 1) < 0)
		return -errno;
	tzset();
	rules_digest = digest64(0, rules.data, rules.length);
	return 0;
}

uint64_t calendar_zone_digest(void)
{
	return rules_digest;
}

int64_t zone_offset_s(int64_t t_s)
{
	struct tm tm = {0};
	time_t t = (time_t)t_s;
	(void)localtime_r(&t, &tm); /* fails only for years beyond int */
	return tm.tm_gmtoff;
}

struct zone_change zone_change_near(int64_t local_s)
{
	int64_t low = local_s - WIDEST_OFFSET_S, high = local_s + WIDEST_OFFSET_S;
	struct zone_change c = {.before_s = zone_offset_s(low),
		.after_s = zone_offset_s(high),
		.at_s = high};
	if (c.before_s == c.after_s)
		return c;
	while (high - low > 1) {
		int64_t middle = low + (high - low) / 2;
		if (zone_offset_s(middle) == c.before_s)
			low = middle;
		else
			high = middle;
	}
	c.any = true;
	c.at_s = high;
	return c;
}

int64_t day_number(int64_t year, int64_t month, int64_t day)
{
	/* Years from 1 March, so that the leap day is a year's last; then months of 153
	 * days in five. 719,468 days lie between 0000-03-01 and 1970-01-01. */
	int64_t months = month - 3;
	int64_t y = year + floor_div(months, 12);
	int64_t m = months - floor_div(months, 12) * 12;
	return 365 * y + floor_div(y, 4) - floor_div(y, 100) + floor_div(y, 400) +
	       (153 * m + 2) / 5 + day - 1 - 719468;
}
