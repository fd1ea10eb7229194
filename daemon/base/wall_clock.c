/*
 * See wall_clock.h. The C library has one zone a process, so a zone's changes between
 * 2000 and 2200 are listed once, with that zone in force for as long as it takes (some
 * 20 ms); the library's own rules decide, and no second reader of them is needed. The
 * last list is kept, since an import may have a file a day.
 */
#include <heatbook/wall_clock.h>

#include <heatbook/calendar.h>

#include "zone.h"

#include <errno.h>
#include <string.h>
#include <time.h>

#define FIRST_S (INT64_C(10957) * S_PER_DAY) /* 2000-01-01 */
#define END_S   (INT64_C(84006) * S_PER_DAY) /* 2200-01-01 */
/* No zone's offset goes and comes back so soon. */
#define LOOK_S   (8 * S_PER_DAY)
#define WIDEST_S (26 * INT64_C(3600)) /* between any two zones' offsets */

struct change {
	int64_t at_ms;
	int64_t before_ms, after_ms; /* offsets */
};

struct wall_clock {
	int64_t first_offset_ms;
	struct change *changes;
	size_t count;
	bool any;  /* a line precedes */
	bool back; /* lines run back in time */
	int64_t last_ms;
};

static struct {
	char *zone;
	int64_t first_offset_ms;
	struct change *changes;
	size_t count;
} listed;

static void add_change(int64_t from_s, int64_t before_s, int64_t to_s, int64_t after_s)
{
	while (to_s - from_s > 1) {
		int64_t middle = from_s + (to_s - from_s) / 2;
		if (zone_offset_s(middle) == before_s)
			from_s = middle;
		else
			to_s = middle;
	}
	listed.changes =
		xrealloc(listed.changes, listed.count + 1, sizeof(*listed.changes));
	listed.changes[listed.count++] =
		(struct change){to_s * 1000, before_s * 1000, after_s * 1000};
}

static void list_changes(void)
{
	int64_t before_s = zone_offset_s(FIRST_S);
	listed.first_offset_ms = before_s * 1000;
	listed.count = 0;
	for (int64_t at_s = FIRST_S; at_s < END_S; at_s += LOOK_S) {
		int64_t after_s = zone_offset_s(at_s + LOOK_S);
		if (after_s != before_s)
			add_change(at_s, before_s, at_s + LOOK_S, after_s);
		before_s = after_s;
	}
}

/* Lists a zone's changes with that zone in force. */
static int list_zone(const char *zone)
{
	const char *tz = getenv("TZ");
	_cleanup_(freep) char *before = tz ? xstrdup(tz) : NULL;
	_cleanup_(freep) char *setting = xasprintf(":%s", zone);
	free(listed.zone);
	listed.zone = NULL;
	if (setenv("TZ", setting, 1) < 0)
		return -errno;
	tzset();
	list_changes();
	int r = (before ? setenv("TZ", before, 1) : unsetenv("TZ")) < 0 ? -errno : 0;
	tzset();
	if (r == 0)
		listed.zone = xstrdup(zone);
	return r;
}

int wall_clock_new(const char *zone, struct wall_clock **ret)
{
	if (!calendar_zone_known(zone))
		return -ENOENT;
	if (!listed.zone || strcmp(listed.zone, zone) != 0) {
		int r = list_zone(zone);
		if (r != 0)
			return r;
	}
	struct wall_clock *c = xcalloc(1, sizeof(*c));
	c->first_offset_ms = listed.first_offset_ms;
	c->count = listed.count;
	c->changes = xcalloc(c->count, sizeof(*c->changes));
	if (c->count)
		memcpy(c->changes, listed.changes, c->count * sizeof(*c->changes));
	*ret = c;
	return 0;
}

void wall_clock_free(struct wall_clock *c)
{
	if (!c)
		return;
	free(c->changes);
	free(c);
}

void wall_clock_reset(struct wall_clock *c)
{
	c->any = c->back = false;
}

/* The first change that a local time may lie next to or before. */
static const struct change *change_near(const struct wall_clock *c, int64_t local_ms)
{
	size_t low = 0, high = c->count;
	while (low < high) {
		size_t middle = (low + high) / 2;
		if (c->changes[middle].at_ms < local_ms - WIDEST_S * 1000)
			low = middle + 1;
		else
			high = middle;
	}
	return low < c->count ? &c->changes[low] : NULL;
}

/* Instants whose local time that is, ascending: 0, 1 or 2 of them; with 0, *ret is by the
 * offset before. */
static int instants(const struct wall_clock *c, int64_t local_ms, int64_t ret[static 2])
{
	const struct change *change = change_near(c, local_ms);
	int64_t offset_ms = change     ? change->before_ms
			    : c->count ? c->changes[c->count - 1].after_ms
				       : c->first_offset_ms;
	const struct change *end = c->changes + c->count;
	int found = 0;
	int64_t from_ms = INT64_MIN, skipped_ms = local_ms - offset_ms;
	for (;; change++) {
		int64_t t_ms = local_ms - offset_ms;
		bool last = !change || change == end;
		if (t_ms >= from_ms && (last || t_ms < change->at_ms) && found < 2)
			ret[found++] = t_ms;
		if (last || change->at_ms > local_ms + WIDEST_S * 1000)
			break;
		if (t_ms >= change->at_ms)
			skipped_ms = t_ms;
		from_ms = change->at_ms;
		offset_ms = change->after_ms;
	}
	if (found == 0)
		ret[0] = skipped_ms;
	return found;
}

static int64_t distance(int64_t a, int64_t b)
{
	return a > b ? a - b : b - a;
}

static int64_t choose(
	const struct wall_clock *c, const int64_t twice[static 2], bool unique)
{
	if (!c->any)
		return twice[0];
	if (unique && (twice[0] == c->last_ms || twice[1] == c->last_ms))
		return twice[twice[0] == c->last_ms];
	int64_t first = distance(twice[0], c->last_ms),
		second = distance(twice[1], c->last_ms);
	if (first != second)
		return twice[second < first];
	return twice[!c->back];
}

int wall_clock_resolve(
	struct wall_clock *c, int64_t local_ms, bool unique, int64_t *ret_ms)
{
	int64_t found[2];
	int count = instants(c, local_ms, found);
	int64_t t_ms = count == 2 ? choose(c, found, unique) : found[0];
	if (c->any && t_ms != c->last_ms)
		c->back = t_ms < c->last_ms;
	c->any = true;
	c->last_ms = t_ms;
	*ret_ms = t_ms;
	return count == 1 ? 0 : count == 2 ? WALL_TWICE : WALL_SKIPPED;
}

/* ---- texts ---- */

struct scan {
	const char *p, *end;
};

/* Exactly `count` digits. */
static bool digits(struct scan *s, int count, int *ret)
{
	int n = 0;
	if (s->end - s->p < count)
		return false;
	for (; count > 0; count--, s->p++) {
		unsigned digit = (unsigned char)*s->p - (unsigned)'0';
		if (digit > 9)
			return false;
		n = n * 10 + (int)digit;
	}
	*ret = n;
	return true;
}

static bool mark(struct scan *s, char c)
{
	bool is = s->p < s->end && *s->p == c;
	s->p += is;
	return is;
}

static bool scan_date(struct scan *s, int64_t *ret_day)
{
	int year, month, day;
	if (!digits(s, 4, &year) || !mark(s, '-') || !digits(s, 2, &month) ||
		!mark(s, '-') || !digits(s, 2, &day) || month < 1 || month > 12 ||
		day < 1)
		return false;
	*ret_day = day_number(year, month, day);
	return *ret_day < day_number(year, month + 1, 1);
}

static bool scan_fraction(struct scan *s, int *ret_ms)
{
	const char *first = s->p;
	int ms = 0, unit = 100;
	for (; s->p < s->end && *s->p >= '0' && *s->p <= '9'; s->p++, unit /= 10)
		ms += (*s->p - '0') * unit;
	*ret_ms = ms;
	return s->p > first;
}

static bool scan_clock(struct scan *s, int64_t *ret_ms)
{
	int hour, minute, second = 0, ms = 0;
	if (!digits(s, 2, &hour) || !mark(s, ':') || !digits(s, 2, &minute) ||
		hour > 23 || minute > 59)
		return false;
	if (mark(s, ':')) {
		if (!digits(s, 2, &second) || second > 60)
			return false;
		if ((mark(s, '.') || mark(s, ',')) && !scan_fraction(s, &ms))
			return false;
	}
	*ret_ms = ((hour * 60 + minute) * 60 + second) * INT64_C(1000) + ms;
	return true;
}

static bool scan_offset(struct scan *s, struct wall_time *ret)
{
	int hour, minute = 0;
	ret->has_offset = s->p < s->end;
	ret->offset_ms = 0;
	if (!ret->has_offset || mark(s, 'Z') || mark(s, 'z'))
		return true;
	bool west = mark(s, '-');
	if ((!west && !mark(s, '+')) || !digits(s, 2, &hour) || hour > 23)
		return false;
	bool colon = mark(s, ':');
	if ((colon || s->p < s->end) && (!digits(s, 2, &minute) || minute > 59))
		return false;
	ret->offset_ms = (hour * 60 + minute) * MS_PER_MIN * (west ? -1 : 1);
	return true;
}

bool wall_time_parse(const char *text, size_t length, struct wall_time *ret)
{
	struct scan s = {text, text + length};
	struct wall_time time;
	int64_t day, clock_ms;
	if (!scan_date(&s, &day) ||
		(!mark(&s, 'T') && !mark(&s, 't') && !mark(&s, ' ')) ||
		!scan_clock(&s, &clock_ms) || !scan_offset(&s, &time) || s.p != s.end)
		return false;
	time.local_ms = day * MS_PER_DAY + clock_ms;
	*ret = time;
	return true;
}
