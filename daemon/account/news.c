/* See news.h. */
#include <heatbook/news.h>

#include <string.h>

void news_begin(struct news *news, uint64_t run, int64_t now_ms)
{
	*news = (struct news){.run = run, .began_ms = now_ms, .closed = -1};
}

void news_closed(struct news *news, int64_t minute)
{
	int64_t before = news->closed;
	news->closed = minute;
	news_revised(news, minute, before); /* where it is earlier */
}

void news_revised(struct news *news, int64_t from, int64_t to)
{
	if (from >= to)
		return;
	size_t at = (size_t)(news->revision_count++ % NEWS_REVISIONS_MOST);
	news->revisions[at] = (struct minute_range){from, to};
}

static void count_mode(struct news_counts *counts, const struct config *config,
	const struct minute_mode *mode, size_t m)
{
	int64_t heat_j = mode->heat_ms > 0 ? whole_joules(mode->heat_j) : 0;
	counts->mode_ms[m] += mode->ms;
	*(heat_j < 0 ? &counts->drawn_j[m] : &counts->given_j[m]) +=
		heat_j < 0 ? -heat_j : heat_j;
	for (size_t i = 0; i < config->meter_count; i++) {
		bool seen = mode->meter_seen & 1u << i;
		int64_t j = seen ? whole_joules(mode->meter_j[i]) : 0;
		/* Power that is negative is a finding; a count never falls. */
		counts->meter_j[i][m] += j > 0 ? j : 0;
	}
}

void news_minute(
	struct news *news, const struct config *config, const struct minute *minute)
{
	if (minute->minute < news->counted ||
		minute->minute * MS_PER_MIN < news->began_ms)
		return;
	news->counted = minute->minute + 1;
	for (size_t m = 0; m < MODE_COUNT; m++)
		if (minute->modes[m].seen)
			count_mode(&news->counts, config, &minute->modes[m], m);
}

/* What of a span lies behind the program's beginning, by time. */
static int64_t share_since(const struct settlement *span, int64_t began_ms)
{
	if (span->end_ms <= began_ms)
		return 0;
	if (span->begin_ms >= began_ms)
		return span->j;
	return settlement_share(
		span->j, span->end_ms - began_ms, span->end_ms - span->begin_ms);
}

void news_settled(
	struct news *news, const struct settlement *spans, size_t count, int64_t until_ms)
{
	struct news_counts *counts = &news->counts;
	for (size_t i = 0; i < count; i++) {
		const struct settlement *span = &spans[i];
		if (span->kind >= SETTLEMENT_RESET || span->made_ms < news->settled_ms ||
			span->made_ms >= until_ms)
			continue;
		int64_t j = share_since(span, news->began_ms);
		if (j >= 0)
			counts->register_j[span->quantity] += j;
		else if (span->quantity == COUNTED_HEAT)
			counts->register_drawn_j -= j;
	}
	if (until_ms > news->settled_ms)
		news->settled_ms = until_ms;
}

void news_reconfigure(
	struct news *news, const struct config *before, const struct config *now)
{
	struct news_counts old = news->counts, *counts = &news->counts;
	memset(counts->meter_j, 0, sizeof(counts->meter_j));
	memset(counts->register_j, 0, sizeof(counts->register_j));
	counts->register_j[COUNTED_HEAT] = old.register_j[COUNTED_HEAT];
	for (size_t i = 0; i < now->meter_count; i++)
		for (size_t k = 0; k < before->meter_count; k++) {
			if (strcmp(now->meters[i].name, before->meters[k].name) != 0)
				continue;
			memcpy(counts->meter_j[i], old.meter_j[k],
				sizeof(old.meter_j[k]));
			counts->register_j[i] = old.register_j[k];
		}
}
