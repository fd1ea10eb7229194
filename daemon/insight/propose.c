/*
 * The proposal as text of the configuration file. See guess.h.
 *
 * Every line is shorter than the file allows and holds nothing that could end a comment
 * or begin one: topics, pointers and words were tried by is_writable() before they became
 * a guess, reasons are made printable here and folded into comment lines.
 */
#include "view.h"

#include <heatbook/options.h>
#include <heatbook/printable.h>

#include <string.h>

#define COLUMNS       86
#define SHORT_MS      (10 * MS_PER_MIN)
#define COMMENTS_MOST 100 /* places that are listed as comments */

/* "; text" in lines that fit; `lead` stands before each. */
static void comment(struct buffer *out, const char *text)
{
	struct buffer safe = {0};
	text_printable(&safe, text, strlen(text), 600);
	const char *p = buffer_text(&safe);
	size_t column = 0;
	while (*p) {
		size_t word = strcspn(p, " "), taken = word;
		if (column > 0 && column + 1 + word > COLUMNS) {
			buffer_add_text(out, "\n");
			column = 0;
		}
		if (taken > COLUMNS) /* a topic without blanks */
			taken = 1 + (COLUMNS - 1);
		/* Not within a character of UTF-8. */
		while (taken < word && ((unsigned char)p[taken] & 0xc0) == 0x80)
			taken--;
		buffer_add_text(out, column ? " " : "; ");
		buffer_add(out, p, taken);
		column += taken + 1;
		p += taken;
		p += strspn(p, " ");
	}
	buffer_add_text(out, "\n");
	buffer_release(&safe);
}

static void PRINTF_LIKE(4, 5) line(
	struct buffer *out, const char *mark, const char *key, const char *format, ...)
{
	va_list args;
	char *value = NULL;
	va_start(args, format);
	if (vasprintf(&value, format, args) < 0)
		abort(); /* out of memory or a wrong format of our own */
	va_end(args);
	buffer_addf(out, "%s%s = %s\n", mark, key, value);
	free(value);
}

static void span_line(struct buffer *out, const char *mark, const char *key, int64_t ms)
{
	if (ms % (60 * MS_PER_MIN) == 0)
		line(out, mark, key, "%lld h", (long long)(ms / (60 * MS_PER_MIN)));
	else
		line(out, mark, key, "%lld min", (long long)(ms / MS_PER_MIN));
}

/* ---- channels ---- */

static void write_where(const struct place *p, const char *mark, struct buffer *out)
{
	line(out, mark, "topic", "%s", p->topic->name);
	if (p->form == PLACE_SENML)
		line(out, mark, "senml", "%s", p->pointer);
	if (p->form == PLACE_EACH)
		line(out, mark, "each", "%s", p->each);
	if (p->form == PLACE_JSON || p->form == PLACE_EACH)
		line(out, mark, "pointer", "%s", p->pointer);
}

static void write_channel(const struct guess *g, const char *mark, struct buffer *out)
{
	const struct place *p = g->place;
	buffer_add_text(out, "\n");
	if (*g->reason) {
		_cleanup_(freep) char *why = xasprintf("a guess %s%s",
			strncmp(g->reason, "by ", 3) == 0 ? "" : "by ", g->reason);
		comment(out, why);
	}
	buffer_addf(out, "%s[channel %s]\n", mark, g->name);
	write_where(p, mark, out);
	if (g->unit && *g->unit->symbol)
		line(out, mark, "unit", "%s", g->unit->symbol);
	if (*g->map)
		line(out, mark, "map", "%s", g->map);
	if (g->unit && p->comma && !p->point)
		line(out, mark, "decimal", "comma");
	if (g->unit && p->thousands)
		line(out, mark, "thousands", "yes");
	if (g->own_time) {
		line(out, mark, "time", "payload");
		if (g->time_pointer)
			line(out, mark, "time_pointer", "%s", g->time_pointer);
	}
	if (g->stale_after_ms)
		span_line(out, mark, "stale_after", g->stale_after_ms);
}

static void write_sources(const struct guesses *guesses, struct buffer *out)
{
	for (size_t i = 0; i < guesses->source_count; i++) {
		const struct guess_source *s = &guesses->sources[i];
		_cleanup_(freep) char *why = xasprintf("a guess: %s", s->reason);
		buffer_add_text(out, "\n");
		comment(out, why);
		buffer_addf(out, "[source %s]\n", s->name);
		if (s->topics[0])
			line(out, "", "topics", "%s", s->topics);
		if (s->will_topic)
			line(out, "", "will_topic", "%s", s->will_topic);
		if (s->will_present)
			line(out, "", "will_present", "%s", s->will_present);
		if (s->will_gone)
			line(out, "", "will_gone", "%s", s->will_gone);
		if (s->silent_after_ms < 0)
			line(out, "", "silent_after", "none");
		else if (s->silent_after_ms)
			span_line(out, "", "silent_after", s->silent_after_ms);
	}
}

/* ---- meters ---- */

static void sum_line(const struct guesses *guesses, const char *mark, const char *key,
	const size_t *members, size_t count, struct buffer *out)
{
	struct buffer sum = {0};
	for (size_t i = 0; i < count; i++)
		buffer_addf(
			&sum, "%s%s", i ? " + " : "", guesses->items[members[i]].name);
	if (count)
		line(out, mark, key, "%s", buffer_text(&sum));
	buffer_release(&sum);
}

static void write_meter(
	const struct guesses *guesses, const struct guess_meter *m, struct buffer *out)
{
	static const enum device devices[] = {DEVICE_COMPRESSOR, DEVICE_BACKUP_HEATER,
		DEVICE_IMMERSION, DEVICE_CIRCULATION};
	const char *mark = m->sure ? "" : ";";
	struct buffer feeds = {0};
	_cleanup_(freep) char *why = xasprintf("a guess: %s", m->reason);
	for (size_t i = 0; i < ARRAY_LEN(devices); i++)
		if (m->feeds & devices[i])
			buffer_addf(&feeds, "%s%s", feeds.length ? ", " : "",
				device_name(devices[i]));
	buffer_add_text(out, "\n");
	comment(out, why);
	buffer_addf(out, "%s[meter %s]\n", mark, m->name);
	line(out, mark, "feeds", "%s", feeds.length ? buffer_text(&feeds) : "?");
	sum_line(guesses, mark, "power", m->power, m->power_count, out);
	sum_line(guesses, mark, "register", m->registers, m->register_count, out);
	if (m->register_count && m->step_kwh > 0 && m->step_kwh <= 1000 &&
		(m->step_kwh < 0.0099 || m->step_kwh > 0.0101))
		line(out, mark, "step", "%.9g kWh", m->step_kwh);
	buffer_release(&feeds);
}

/* ---- the whole ---- */

/* Roles a question hangs on that nobody filled. */
static void write_lacking(
	const struct guesses *guesses, const struct config *config, struct buffer *out)
{
	struct buffer names = {0};
	for (int r = ROLE_PLAIN + 1; r < ROLE_COUNT; r++)
		if (config_role(config, (enum role)r) < 0 &&
			!guesses_role(guesses, (enum role)r))
			buffer_addf(&names, "%s%s", names.length ? ", " : "",
				role_name((enum role)r));
	if (names.length) {
		_cleanup_(freep) char *text =
			xasprintf("Not found: %s. `heatbookd check` says which questions "
				  "need them.",
				buffer_text(&names));
		buffer_add_text(out, "\n");
		comment(out, text);
	}
	if (guesses->heat_power) {
		buffer_add_text(out, "\n");
		comment(out,
			"Heat comes as a power: set `heat_source = power` in [plant].");
	}
	if (guesses->source) {
		buffer_add_text(out, "\n");
		comment(out, "What heat is taken from: where that circuit holds "
			     "antifreeze, set `source_fluid` and `source_fluid_percent` "
			     "in [plant].");
	}
	if (guesses->fahrenheit) {
		buffer_add_text(out, "\n");
		comment(out, "Temperatures without a unit are taken for °F.");
	}
	buffer_release(&names);
}

static void write_unsure(const struct guesses *guesses, struct buffer *out)
{
	size_t written = 0, left = 0;
	for (size_t i = 0; i < guesses->count; i++) {
		const struct guess *g = &guesses->items[i];
		if (g->kind != GUESS_UNSURE)
			continue;
		if (written == COMMENTS_MOST) {
			left++;
			continue;
		}
		if (written++ == 0) {
			buffer_add_text(out, "\n");
			comment(out,
				"---- what could not be guessed: remove the ; of what "
				"you want to keep ----");
		}
		write_channel(g, ";", out);
	}
	for (size_t i = 0; i < guesses->meter_count; i++)
		if (!guesses->meters[i].sure)
			write_meter(guesses, &guesses->meters[i], out);
	if (left) {
		_cleanup_(freep) char *text = xasprintf(
			"%zu further places; listen without --propose lists them.", left);
		buffer_add_text(out, "\n");
		comment(out, text);
	}
}

void guesses_propose(
	const struct guesses *guesses, const struct config *config, struct buffer *out)
{
	size_t channels = 0;
	for (size_t i = 0; i < guesses->count; i++)
		channels += guesses->items[i].kind == GUESS_CHANNEL;
	comment(out, channels ? "Proposed by heatbookd listen. Every section is a guess: "
				"compare it with the plant before you believe it."
			      : "heatbookd listen found nothing to propose.");
	if (channels && guesses->heard_ms < SHORT_MS)
		comment(out, "It heard less than ten minutes: what speaks more seldom is "
			     "missing, and another room may be the better one.");
	write_sources(guesses, out);
	for (int r = ROLE_PLAIN + 1; r < ROLE_COUNT; r++) {
		const struct guess *g = guesses_role(guesses, (enum role)r);
		if (g)
			write_channel(g, "", out);
	}
	for (size_t i = 0; i < guesses->count; i++)
		if (guesses->items[i].kind == GUESS_CHANNEL &&
			guesses->items[i].role == ROLE_PLAIN)
			write_channel(&guesses->items[i], "", out);
	for (size_t i = 0; i < guesses->meter_count; i++)
		if (guesses->meters[i].sure)
			write_meter(guesses, &guesses->meters[i], out);
	write_lacking(guesses, config, out);
	write_unsure(guesses, out);
}
