/*
 * The canonical order of readings, and the array that is brought into it. See reading.h.
 *
 * The order is total: two readings compare 0 only when they come from equal records, from
 * the same place, with the same time, kind and channel, and then they are the same
 * reading. So the sorted sequence depends on the set of readings alone, never on the
 * order of arrival.
 *
 * Readings arrive almost in order. The sort looks for runs that are in order already,
 * makes short ones longer by insertion and merges neighbours, copying only what overlaps:
 * one pass of comparisons when nothing is out of order, n log(runs) at worst. Stable.
 */
#include <heatbook/reading.h>

#include <assert.h>
#include <string.h>

#define RUN_LEAST 32 /* shorter runs cost more to merge than to insert into */

static const char *const bad_texts[BAD_REASON_COUNT] = {
	[BAD_NONE] = "various reasons",
	[BAD_JSON] = "broken JSON",
	[BAD_TOO_LONG] = "longer than 64 KiB",
	[BAD_TOO_DEEP] = "nested deeper than 16",
	[BAD_BINARY] = "binary content",
	[BAD_NOT_A_NUMBER] = "not a number and no known word",
	[BAD_INFINITE] = "infinite or too large a number",
	[BAD_HEX] = "hexadecimal number",
	[BAD_SEPARATOR] = "decimal comma or thousands mark that is not configured",
	[BAD_UNIT] = "unknown unit, or one of another quantity",
	[BAD_STATE_FOR_NUMBER] = "a state where a number belongs",
	[BAD_STRUCTURE] = "object or array where a value belongs",
	[BAD_RANGE] = "outside the valid range",
	[BAD_TIME] = "time missing or not understood",
	[BAD_TIME_AHEAD] = "time more than 120 s ahead",
	[BAD_SENML] = "not a SenML pack",
};

const char *bad_reason_text(enum bad_reason reason)
{
	assert(reason < BAD_REASON_COUNT);
	return bad_texts[reason];
}

/* Frames are of our own making and whole: their length stands in their first bytes. */
static void record_of(const struct reading *r, struct record *ret)
{
	size_t size = record_read(r->frame, RECORD_MOST, ret);
	assert(size);
	(void)size;
	if (ret->kind == RECORD_ROW)
		record_row_at(r->frame, r->place, ret);
}

/* By their records, then by their places in these; a row has one place. */
static int compare_records(const struct reading *a, const struct reading *b)
{
	struct record left, right;
	if (a->frame == b->frame && a->place == b->place)
		return 0;
	if (a->frame != b->frame || a->table) {
		record_of(a, &left);
		record_of(b, &right);
		int order = record_compare(&left, &right);
		if (order || a->table)
			return order;
	}
	return (a->place > b->place) - (a->place < b->place);
}

int reading_compare(const struct reading *a, const struct reading *b)
{
	if (a->t_ms != b->t_ms)
		return a->t_ms < b->t_ms ? -1 : 1;
	int order = compare_records(a, b);
	if (order)
		return order;
	if (a->kind != b->kind)
		return a->kind < b->kind ? -1 : 1;
	return (a->channel > b->channel) - (a->channel < b->channel);
}

void readings_reserve(struct readings *readings, size_t capacity)
{
	if (capacity <= readings->capacity)
		return;
	readings->items = xrealloc(readings->items, capacity, sizeof(*readings->items));
	readings->capacity = capacity;
}

void readings_release(struct readings *readings)
{
	free(readings->items);
	*readings = (struct readings){0};
}

/* Most neighbours differ in time, or are of one place and differ in channel. */
static inline bool in_order(const struct reading *a, const struct reading *b)
{
	if (a->t_ms != b->t_ms)
		return a->t_ms < b->t_ms;
	if (a->frame == b->frame && a->place == b->place && a->kind == b->kind)
		return a->channel <= b->channel;
	return reading_compare(a, b) <= 0;
}

/* End of the run that is in order from `from` on. */
static size_t run_end(const struct reading *items, size_t from, size_t count)
{
	size_t end = from + 1;
	while (end < count && in_order(&items[end - 1], &items[end]))
		end++;
	return end < count ? end : count;
}

/* Index of the first of items[low..high) that comes after `key`. */
static size_t upper_bound(
	const struct reading *items, size_t low, size_t high, const struct reading *key)
{
	while (low < high) {
		size_t middle = low + (high - low) / 2;
		if (reading_compare(&items[middle], key) <= 0)
			low = middle + 1;
		else
			high = middle;
	}
	return low;
}

/* Index of the first of items[low..high) that does not come before `key`. */
static size_t lower_bound(
	const struct reading *items, size_t low, size_t high, const struct reading *key)
{
	while (low < high) {
		size_t middle = low + (high - low) / 2;
		if (reading_compare(&items[middle], key) < 0)
			low = middle + 1;
		else
			high = middle;
	}
	return low;
}

/* Makes items[from..until) one run, of which items[from..done) is in order. */
static void insert_rest(struct reading *items, size_t from, size_t done, size_t until)
{
	for (; done < until; done++) {
		struct reading key = items[done];
		size_t at = upper_bound(items, from, done, &key);
		memmove(&items[at + 1], &items[at], (done - at) * sizeof(key));
		items[at] = key;
	}
}

/* Merges the runs [from..middle) and [middle..until); `spare` holds as many as the first.
 */
static void merge(struct reading *items, size_t from, size_t middle, size_t until,
	struct reading *spare)
{
	if (reading_compare(&items[middle - 1], &items[middle]) <= 0)
		return;
	from = upper_bound(items, from, middle, &items[middle]);
	until = lower_bound(items, middle, until, &items[middle - 1]);
	size_t count = middle - from, i = 0, out = from;
	memcpy(spare, &items[from], count * sizeof(*spare));
	while (i < count) {
		bool second =
			middle < until && reading_compare(&items[middle], &spare[i]) < 0;
		items[out++] = second ? items[middle++] : spare[i++];
	}
}

/* Ends of the runs of `items`, each at least RUN_LEAST long but the last. */
static size_t find_runs(struct reading *items, size_t count, size_t *ends)
{
	size_t runs = 0;
	for (size_t from = 0; from < count; from = ends[runs++]) {
		size_t end = run_end(items, from, count), least = from + RUN_LEAST;
		if (least > count)
			least = count;
		if (end < least) {
			insert_rest(items, from, end, least);
			end = least;
		}
		ends[runs] = end;
	}
	return runs;
}

void readings_sort(struct readings *readings)
{
	struct reading *items = readings->items;
	size_t count = readings->count;
	if (count < 2 || run_end(items, 0, count) == count)
		return;
	_cleanup_(freep) size_t *ends = xmalloc((count / RUN_LEAST + 1) * sizeof(*ends));
	_cleanup_(freep) struct reading *spare = xmalloc(count * sizeof(*spare));
	size_t runs = find_runs(items, count, ends);
	while (runs > 1) {
		size_t from = 0, kept = 0;
		for (size_t i = 0; i < runs; i += 2) {
			size_t last = i + 1 < runs ? i + 1 : i;
			if (last > i)
				merge(items, from, ends[i], ends[last], spare);
			from = ends[kept++] = ends[last];
		}
		runs = kept;
	}
}
