/*
 * The first minutes of serve, in the log. See welcome.h.
 *
 * A minute after subscribing and again after ten it says how many channels are heard,
 * names those that are silent, and the messages that were not understood with reason and
 * sample. As soon as every channel was heard it says so, and that is its last word: a
 * daemon that works is silent. A new mapping begins it anew.
 *
 * Heard is heard since the daemon started: what comes back from the journal does not
 * count. Channels with times of their own may lag behind by a quarter of an hour.
 */
#include "welcome.h"

#include <heatbook/clock.h>
#include <heatbook/log.h>
#include <heatbook/printable.h>

#include <string.h>

#define LOOK_EVERY_MS  INT64_C(5000)
#define LOOK_SELDOM_MS INT64_C(60000) /* when all reports were made */
#define NAMED_MOST     20
#define LAG_MS         (15 * MS_PER_MIN)

static const int64_t report_after_ms[] = {MS_PER_MIN, 10 * MS_PER_MIN};
#define REPORTS ((int)ARRAY_LEN(report_after_ms))

static bool is_heard(
	const struct channel_config *channel, const struct live_state *live, size_t c)
{
	int64_t lag_ms = channel->time == TIME_PAYLOAD ? LAG_MS : 0;
	return live->channels[c].state != LATEST_NEVER &&
	       live->channels[c].t_ms >= live->started_ms - lag_ms;
}

static size_t count_heard(
	const struct config *config, const struct live_state *live, size_t *ret_all)
{
	size_t heard = 0;
	*ret_all = 0;
	for (size_t c = 0; c < config->channel_count; c++) {
		if (!config->channels[c].topic)
			continue; /* nothing can feed it */
		(*ret_all)++;
		heard += is_heard(&config->channels[c], live, c);
	}
	return heard;
}

static void name_silent(const struct config *config, const struct live_state *live)
{
	size_t named = 0, left = 0;
	for (size_t c = 0; c < config->channel_count; c++) {
		const struct channel_config *channel = &config->channels[c];
		const char *place = channel->senml     ? channel->senml
				    : channel->pointer ? channel->pointer
						       : "";
		if (!channel->topic || is_heard(channel, live, c))
			continue;
		if (named == NAMED_MOST) {
			left++;
			continue;
		}
		named++;
		log_info("silent: channel %s (%s%s%s)%s", channel->name, channel->topic,
			*place ? " " : "", place,
			channel->state_count ? "; a state may speak on change only" : "");
	}
	if (left)
		log_info("silent: %zu further channels", left);
}

static void name_bad(const struct decoder *decoder)
{
	size_t count;
	const struct bad_count *bad = decoder_bad(decoder, &count);
	for (size_t i = 0; i < count && i < NAMED_MOST; i++) {
		struct buffer topic = {0};
		text_printable(&topic, bad[i].topic, strlen(bad[i].topic), 100);
		log_warning("not understood: %s, %llu time%s: %s; for example %s",
			buffer_text(&topic), (unsigned long long)bad[i].count,
			bad[i].count == 1 ? "" : "s", bad_reason_text(bad[i].reason),
			bad[i].sample);
		buffer_release(&topic);
	}
	if (count > NAMED_MOST)
		log_warning("not understood: %zu further kinds", count - NAMED_MOST);
}

static void report(struct welcome *w, const struct config *config,
	const struct decoder *decoder, const struct live_state *live, int64_t now_ms)
{
	size_t all, heard = count_heard(config, live, &all);
	bool due = w->told < REPORTS && now_ms - w->since_ms >= report_after_ms[w->told];
	if (heard == all) {
		log_info("all %zu channels are heard, %llu messages so far", all,
			(unsigned long long)live->messages);
		name_bad(decoder);
		w->done = true;
		return;
	}
	if (!due)
		return;
	log_info("%lld min after subscribing: %zu of %zu channels are heard, %llu "
		 "messages, %llu of them concern no channel",
		(long long)(report_after_ms[w->told] / MS_PER_MIN), heard, all,
		(unsigned long long)live->messages, (unsigned long long)live->unmatched);
	name_silent(config, live);
	name_bad(decoder);
	w->told++;
}

void welcome_tick(struct welcome *w, const struct config *config,
	const struct decoder *decoder, welcome_state *state, void *context)
{
	int64_t now_ms = clock_mono_ms();
	struct live_state live = {0};
	if (w->mapping != config->mapping_digest)
		*w = (struct welcome){.mapping = config->mapping_digest};
	if (w->done || !config->broker.host || now_ms < w->look_at_ms)
		return;
	w->look_at_ms = now_ms + (w->told < REPORTS ? LOOK_EVERY_MS : LOOK_SELDOM_MS);
	if (config->channel_count == 0) {
		log_warning("no channel is configured: `heatbookd listen -c %s` proposes "
			    "some",
			config->path);
		w->done = true;
		return;
	}
	state(&live, context);
	if (!live.broker_state || strcmp(live.broker_state, "subscribed") != 0)
		return; /* why not, the subscriber says */
	if (w->since_ms == 0)
		w->since_ms = now_ms;
	report(w, config, decoder, &live, now_ms);
}
