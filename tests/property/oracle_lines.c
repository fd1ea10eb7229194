/*
 * See oracle.h: lines between readings. A line is looked for anew for every piece: back
 * to the reading from which the value in force counts, and on to the first instant at
 * which the channel has a word again. It is drawn if that word is a value in force there,
 * if no more time lies between than the configuration's limit, and if the first value
 * held up to the last millisecond before.
 */
#include "oracle_work.h"

/* The last reading before an instant, at or after reading `at`. */
static ptrdiff_t last_before(const struct work *w, ptrdiff_t at, int64_t t_ms)
{
	while (at + 1 < (ptrdiff_t)w->readings.count &&
		w->readings.items[at + 1].t_ms < t_ms)
		at++;
	return at;
}

/* The reading at or before `at` from which the value in force counts: where it was not
 * yet in force just before. A word that counts later than it came (a retained one) counts
 * from the sign of life. */
static ptrdiff_t counts_since(const struct work *w, size_t channel, ptrdiff_t at)
{
	double value;
	ptrdiff_t word = oracle_last_word(w, channel, at);
	for (ptrdiff_t i = word; i <= at; i++)
		if (oracle_in_force(w, channel, i, w->readings.items[i].t_ms, &value))
			return i;
	return -1;
}

/* The first instant after `t_ms` at which a word of the channel counts: the last reading
 * of that instant; -1 without. */
static ptrdiff_t next_word(const struct work *w, size_t channel, ptrdiff_t at,
	int64_t t_ms, int64_t until_ms)
{
	const struct reading *items = w->readings.items;
	for (ptrdiff_t i = at + 1; i < (ptrdiff_t)w->readings.count; i++) {
		if (items[i].t_ms <= t_ms)
			continue;
		if (items[i].t_ms > until_ms)
			return -1;
		if (oracle_last_word(w, channel, i) == i)
			return last_before(w, i, items[i].t_ms + 1);
	}
	return -1;
}

static void draw(const struct work *w, size_t channel, struct piece *p, ptrdiff_t at)
{
	const struct reading *items = w->readings.items;
	int64_t most_ms = w->config->channels[channel].line_ms;
	double first = p->value[channel], second, held;
	ptrdiff_t from = counts_since(w, channel, at);
	if (from < 0)
		return;
	int64_t from_ms = items[from].t_ms;
	ptrdiff_t to = next_word(w, channel, at, from_ms, from_ms + most_ms);
	if (to < 0)
		return;
	int64_t to_ms = items[to].t_ms;
	ptrdiff_t before = last_before(w, at, to_ms);
	if (!oracle_in_force(w, channel, before, to_ms - 1, &held) ||
		!oracle_in_force(w, channel, to, to_ms, &second))
		return;
	double slope = (second - first) / (double)(to_ms - from_ms);
	p->begin[channel] = first + slope * (double)(p->t_ms - from_ms);
	p->end[channel] = first + slope * (double)(p->end_ms - from_ms);
}

void oracle_draw(const struct work *w, struct piece *p, ptrdiff_t at)
{
	for (size_t c = 0; c < w->config->channel_count; c++) {
		p->begin[c] = p->end[c] = p->value[c];
		if (p->known[c] && w->config->channels[c].line_ms > 0)
			draw(w, c, p, at);
	}
}
