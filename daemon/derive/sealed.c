/*
 * Days whose rows the journal can no longer make keep them; whoever derives names them,
 * since that must not go unsaid. See deriver.h.
 */
#include <heatbook/calendar.h>
#include <heatbook/deriver.h>

#include <string.h>

#define ROOM_FOR_ONE 56 /* ", 2026-01-07 to 2026-01-09", and an end */

static void add_range(char text[static 256], int64_t first, int64_t last)
{
	char from[32], to[32];
	size_t used = strlen(text);
	if (used > 256 - ROOM_FOR_ONE) { /* the rest is in the count */
		if (text[used - 1] != '.')
			(void)snprintf(text + used, 256 - used, ", ...");
		return;
	}
	time_text_utc(first * MS_PER_DAY, from);
	time_text_utc(last * MS_PER_DAY, to);
	(void)snprintf(text + used, 256 - used, "%s%.10s%s%.10s", used ? ", " : "", from,
		first < last ? " to " : "", first < last ? to : "");
}

int deriver_name_sealed(
	struct store *store, int64_t from_ms, int64_t to_ms, struct sealed_days *ret)
{
	int64_t first = 0, last = -1, until = 0, begin = -1;
	*ret = (struct sealed_days){0};
	if (from_ms >= to_ms)
		return 0;
	int r = store_sealed_days(store, floor_div(from_ms, MS_PER_DAY),
		floor_div(to_ms - 1, MS_PER_DAY) + 1, &ret->count, &first, &last);
	if (r != 0 || ret->count == 0)
		return r;
	for (int64_t day = first; r == 0 && day <= last + 1; day++) {
		r = store_sealed_until(store, day, &until);
		if (until > 0 && begin < 0)
			begin = day;
		if (until == 0 && begin >= 0) {
			add_range(ret->dates, begin, day - 1);
			begin = -1;
		}
	}
	return r;
}
