/*
 * See notices_ask.h: a walk over the span, which begins before it where that is needed to
 * know how notices stand.
 */
#include <heatbook/notices_ask.h>

#include <heatbook/clock.h>
#include <heatbook/query.h>

static void take_change(size_t notice, enum notice_change change,
	const struct notice_state *state, void *context)
{
	struct notice_times *t = context;
	if (change == NOTICE_RAISED) {
		t->items = xrealloc(t->items, t->count + 1, sizeof(*t->items));
		t->items[t->count++] = (struct notice_time){notice, state->since,
			INT64_MAX, notices_before(t->notices, notice)};
		return;
	}
	for (size_t i = t->count; i-- > 0;)
		if (t->items[i].notice == notice) {
			t->items[i].until = state->since;
			return;
		}
}

/* They were raised in the order in which they stand. */
static void keep_those_within(struct notice_times *t)
{
	size_t kept = 0;
	for (size_t i = 0; i < t->count; i++)
		if (t->items[i].until > t->from && t->items[i].since < t->to) {
			t->counts[t->items[i].notice]++;
			t->items[kept++] = t->items[i];
		}
	t->count = kept;
}

int notice_times_ask(struct store *store, const struct config *config, int64_t from_ms,
	int64_t to_ms, size_t days, int64_t patience_ms, struct notice_times *ret)
{
	int64_t deadline_ms = clock_mono_ms() + patience_ms;
	int r = NOTICES_MORE;
	*ret = (struct notice_times){.to = floor_div(to_ms, MS_PER_MIN)};
	ret->from = floor_div(from_ms, MS_PER_MIN);
	ret->from = ret->from < ret->to ? ret->from : ret->to;
	ret->notices = notices_new(config, ret->from, take_change, ret);
	while (r == NOTICES_MORE && clock_mono_ms() < deadline_ms)
		r = notices_turn(ret->notices, store, ret->to, days);
	keep_those_within(ret);
	return r == NOTICES_MORE ? QUERY_TOO_SLOW : r;
}

void notice_times_release(struct notice_times *times)
{
	notices_free(times->notices);
	free(times->items);
	*times = (struct notice_times){0};
}
