/*
 * See kept.h. A local day begins up to a day before the UTC day in which it ends, so what
 * lies further back than two days is dropped when a day begins.
 */
#include "kept.h"

#include <string.h>

#define DAYS_KEPT 2

struct kept *kept_new(size_t width, int64_t slots)
{
	struct kept *k = xcalloc(1, sizeof(*k));
	k->width = width;
	k->slots = slots;
	return k;
}

void kept_free(struct kept *k)
{
	if (!k)
		return;
	free(k->values);
	free(k->known);
	free(k);
}

void kept_forget(struct kept *k)
{
	if (!k)
		return;
	k->from = k->to = 0;
	k->count = k->written = 0;
}

size_t kept_find(const struct kept *k, int64_t minute)
{
	size_t low = 0, high = k->count;
	while (low < high) {
		size_t middle = (low + high) / 2;
		if (k->values[middle * k->width] < minute * k->slots)
			low = middle + 1;
		else
			high = middle;
	}
	return low;
}

struct row_view kept_row(const struct kept *k, size_t index)
{
	return (struct row_view){
		k->values + index * k->width, k->known + index * k->width};
}

static void drop_before(struct kept *k, int64_t minute)
{
	size_t gone = kept_find(k, minute);
	k->from = minute;
	k->count -= gone;
	memmove(k->values, k->values + gone * k->width,
		k->count * k->width * sizeof(*k->values));
	memmove(k->known, k->known + gone * k->width, k->count * k->width);
	k->written = k->count;
}

void kept_begin(struct kept *k, int64_t from_minute, int64_t to_minute)
{
	if (!k)
		return;
	if (from_minute != k->to) {
		kept_forget(k);
		k->from = from_minute;
	}
	k->to = to_minute;
	if (k->count && k->from < from_minute - DAYS_KEPT * MIN_PER_DAY)
		drop_before(k, from_minute - DAYS_KEPT * MIN_PER_DAY);
}

bool kept_add(struct kept *k, int64_t minute, struct row_view *ret)
{
	if (!k || minute < k->from || minute >= k->to)
		return false;
	if (k->count == k->room) {
		k->room = k->room ? 2 * k->room : 2048;
		k->values = xrealloc(k->values, k->room, k->width * sizeof(*k->values));
		k->known = xrealloc(k->known, k->room, k->width);
	}
	*ret = kept_row(k, k->count++);
	memset(ret->known, 0, k->width);
	return true;
}

int64_t kept_until(const struct kept *k, int64_t minute)
{
	return k && minute >= k->from && minute < k->to ? k->to : minute;
}
