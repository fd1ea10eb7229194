/*
 * See made.h. A minute is its struct, its channels, and those of its modes that were
 * seen, one behind the other; all of them are multiples of eight bytes.
 */
#include "made.h"

#include <string.h>

_Static_assert(sizeof(struct minute) % 8 == 0, "aligned");
_Static_assert(sizeof(struct minute_channel) % 8 == 0, "aligned");
_Static_assert(sizeof(struct minute_mode) % 8 == 0, "aligned");

void made_release(struct made_day *m)
{
	buffer_release(&m->begin);
	buffer_release(&m->end);
	buffer_release(&m->minutes);
	free(m->settled.items);
	free(m->happened.items);
}

static size_t channels_size(const struct config *config)
{
	return config->channel_count * sizeof(struct minute_channel);
}

void made_add_minute(
	struct made_day *m, const struct config *config, const struct minute *minute)
{
	struct minute head = *minute;
	unsigned seen = 0;

	for (size_t i = 0; i < MODE_COUNT; i++)
		seen |= minute->modes[i].seen ? 1u << i : 0;
	head.channels = NULL;
	head.modes = NULL;
	buffer_add(&m->minutes, &head, sizeof(head));
	buffer_add(&m->minutes, &(uint64_t){seen}, sizeof(uint64_t));
	buffer_add(&m->minutes, minute->channels, channels_size(config));
	for (size_t i = 0; i < MODE_COUNT; i++)
		if (minute->modes[i].seen)
			buffer_add(
				&m->minutes, &minute->modes[i], sizeof(minute->modes[i]));
}

void made_each_minute(const struct made_day *m, const struct config *config,
	minute_sink *sink, void *context)
{
	struct minute_mode modes[MODE_COUNT] = {0};
	const char *at = m->minutes.data, *end = at + m->minutes.length;
	struct minute minute;
	uint64_t seen;

	while (at < end) {
		memcpy(&minute, at, sizeof(minute));
		memcpy(&seen, at + sizeof(minute), sizeof(seen));
		at += sizeof(minute) + sizeof(seen);
		minute.channels = (const void *)at;
		minute.modes = modes;
		at += channels_size(config);
		for (size_t i = 0; i < MODE_COUNT; i++) {
			modes[i].seen = false;
			if (!(seen & UINT64_C(1) << i))
				continue;
			memcpy(&modes[i], at, sizeof(modes[i]));
			at += sizeof(modes[i]);
		}
		sink(&minute, context);
	}
}
