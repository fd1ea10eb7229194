/*
 * What a random plant's messages say: bare words, objects, packs, with times of their
 * own.
 */
#include "plant_parts.h"

static int64_t own_time(struct plant *p, size_t topic, int64_t stamp_ms)
{
	size_t kind = plant_choose(&p->random, 100);
	const struct plant_topic *t = &p->topics[topic];
	if (stamp_ms >= t->still_ms && stamp_ms < t->moves_ms)
		return t->still_ms;
	if (kind < 68)
		return stamp_ms - between(p, 0, 4000);
	if (kind < 83)
		return stamp_ms - between(p, 0, 90000);
	if (kind < 91)
		return stamp_ms - between(p, 0, 40 * MS_PER_MIN);
	if (kind < 94)
		return stamp_ms - between(p, 0, 26 * MS_PER_HOUR);
	if (kind < 98)
		return stamp_ms + between(p, 0, 120000);
	return kind == 98 ? stamp_ms + 300000
			  : 0; /* not believed; a board without clock */
}

static void add_time(struct plant *p, struct buffer *out, int64_t t_ms)
{
	char text[32];
	switch (plant_choose(&p->random, 3)) {
	case 0:
		buffer_addf(out, "%lld.%03lld", (long long)(t_ms / 1000),
			(long long)(t_ms % 1000));
		return;
	case 1:
		buffer_addf(out, "%lld", (long long)t_ms);
		return;
	default:
		time_text_utc(t_ms, text);
		buffer_addf(out, "\"%s\"", text);
	}
}

/* Mostly a few steps more; now and then many, a step less, another register. */
static double register_word(struct plant *p, struct plant_channel *c)
{
	size_t kind = plant_choose(&p->random, 100);
	if (kind < 3)
		return (double)between(p, 0, 500000) / 100; /* for this once */
	if (kind < 5)
		c->last = (double)between(p, 0, 1) * (double)between(p, 0, 6000) / 10;
	else if (kind < 8)
		return c->last - 0.01;
	else if (kind < 85)
		c->last += (double)between(p, 0, kind < 75 ? 6 : 200) / 100;
	if (plant_wraps(c->role) && c->last >= 50)
		c->last -= 50;
	return c->last;
}

/* The word of a channel, without quotes. */
static void add_word(struct plant *p, struct plant_channel *c, struct buffer *out)
{
	static const char *const odd[] = {
		"n/a", "", "null", "inf", "0x1f", "1,234", "weird", "-"};
	const struct plant_role *role = c->role;
	if (chance(p, 5)) {
		buffer_addf(out, "%s", ONE_OF(p, odd));
		return;
	}
	if (role->words) {
		size_t n = 0;
		while (role->words[n])
			n++;
		buffer_addf(out, "%s", role->words[plant_choose(&p->random, n)]);
		return;
	}
	if (plant_is_register(role)) {
		buffer_addf(out, "%.2f", register_word(p, c));
		return;
	}
	if (chance(p, 60)) {
		double part = (double)between(p, 0, 10000) / 10000.0;
		bool zero = role->often_zero && chance(p, 40);
		c->last = zero ? 0.0 : role->low + part * (role->high - role->low);
	}
	buffer_addf(out, "%.2f", c->last);
}

static void add_member(struct plant *p, struct plant_channel *c, struct buffer *out)
{
	struct buffer word = {0};
	double number;
	char *end;
	if (chance(p, 8))
		return; /* no report */
	add_word(p, c, &word);
	const char *text = buffer_text(&word);
	number = strtod(text, &end);
	bool plain =
		*text && !*end && isfinite(number) && text[1] != 'x' && !chance(p, 10);
	const char *quote = plain || strcmp(text, "null") == 0 ? "" : "\"";
	buffer_addf(out, ",\"%s\":%s%s%s", c->role->name, quote, text, quote);
	buffer_release(&word);
}

static void add_object(
	struct plant *p, size_t topic, int64_t t_ms, int64_t stamp_ms, struct buffer *out)
{
	buffer_addf(out, "{\"time\":");
	add_time(p, out, chance(p, 3) ? own_time(p, topic, stamp_ms) : t_ms);
	for (size_t c = 0; c < p->channel_count; c++)
		if (p->channels[c].topic == topic)
			add_member(p, &p->channels[c], out);
	buffer_addf(out, "}");
}

static void add_samples(
	struct plant *p, size_t topic, int64_t stamp_ms, struct buffer *out)
{
	int64_t count = between(p, 0, 4), t_ms = own_time(p, topic, stamp_ms);
	buffer_addf(out, "{\"samples\":[");
	for (int64_t i = 0; i < count; i++) {
		buffer_addf(out, i ? "," : "");
		add_object(p, topic, t_ms, stamp_ms, out);
		t_ms = chance(p, 10) ? t_ms : t_ms - between(p, 0, 50000);
	}
	buffer_addf(out, "]}");
}

char *plant_payload(struct plant *p, size_t topic, int64_t stamp_ms)
{
	struct buffer out = {0};
	const enum topic_form form = p->topics[topic].form;
	if (form == FORM_EACH)
		add_samples(p, topic, stamp_ms, &out);
	else if (form == FORM_JSON)
		add_object(p, topic, own_time(p, topic, stamp_ms), stamp_ms, &out);
	for (size_t c = 0; form == FORM_BARE && c < p->channel_count; c++)
		if (p->channels[c].topic == topic)
			add_word(p, &p->channels[c], &out);
	if (form != FORM_BARE && chance(p, 2))
		out.length /= 2; /* broken JSON */
	char *text = xstrdup(buffer_text(&out));
	buffer_release(&out);
	return text;
}
