/*
 * Channels by themselves: silent, coarse, slow, saying unknown words.
 */
#include "finding.h"

#include "evidence.h"

#include <heatbook/printable.h>

#include <math.h>
#include <string.h>

enum { COARSE_GAP_DAYS = 4, SLOW_GAP_DAYS = 4, WORDS_GAP_DAYS = 3, SILENT_GAP_DAYS = 1 };
enum { SILENT_LEAST_MIN = 60 };

struct subject {
	enum evidence_kind kind;
	int channel;
};

static int has_item(const struct finding_day *day, const void *context)
{
	const struct subject *s = context;
	if (finding_item(day, s->kind, s->channel))
		return 1;
	return day->looked ? 0 : -1;
}

static const char *channel_name(const struct finding_input *in, int channel)
{
	return in->config->channels[channel].name;
}

/* Of the air no heat is worked out. */
static bool is_outdoor(const struct finding_input *in, int channel)
{
	return channel == config_role(in->config, ROLE_OUTDOOR_TEMPERATURE);
}

/* ---- silent ---- */

static int is_silent(const struct finding_day *day, const void *context)
{
	const struct subject *s = context;
	const struct evidence *e = finding_item(day, s->kind, s->channel);
	if (e && e->minutes >= SILENT_LEAST_MIN)
		return 1;
	return day->looked ? 0 : -1;
}

static void add_silent(const struct finding_input *in, struct run run,
	const struct subject *s, struct finding_list *list)
{
	double minutes = 0.0;
	if (run.first == 0 && run.last + 1 == in->day_count)
		return; /* nothing shows that it ever was there */
	struct finding f = finding_new(
		in, FINDING_CHANNEL_SILENT, channel_name(in, s->channel), run);
	for (size_t d = run.first; d <= run.last; d++) {
		const struct evidence *e =
			finding_item(&in->days[d], s->kind, s->channel);
		minutes += e ? (double)e->minutes : 0.0;
	}
	f.size = minutes;
	f.unit = "min";
	f.evidence = xasprintf("It was unknown for %.0f minutes of %zu days in which "
			       "other channels were known.",
		minutes, run.hits);
	f.remedy = xasprintf("See whether its sensor and its topic still speak "
			     "(heatbookd listen shows them). If it reports less often "
			     "than every %lld min by design, set stale_after to twice "
			     "its interval.",
		(long long)(in->config->channels[s->channel].stale_after_ms /
			    MS_PER_MIN));
	finding_add(list, &f);
}

void find_silent(const struct finding_input *in, struct finding_list *list)
{
	for (size_t c = 0; c < in->config->channel_count; c++) {
		struct subject s = {EVIDENCE_SILENT, (int)c};
		struct run run;
		size_t at = 0;
		while (finding_run(in, is_silent, &s, SILENT_GAP_DAYS, &at, &run))
			if (run.first > 0) /* before, it was not there yet */
				add_silent(in, run, &s, list);
	}
}

/* ---- coarse ---- */

static char *coarse_cost(const struct finding_input *in, int channel, double grid)
{
	if (is_outdoor(in, channel))
		return xstrdup(". " FINDING_OF_THE_AIR);
	if (!finding_heat_is_computed(in))
		return xstrdup(". A heat meter says the heat: heat does not rest on it.");
	return xasprintf("; a difference of 5 K by up to %.0f %%.", 100.0 * grid / 5.0);
}

/* Of flow and power: a share of what is usual, and no pair would help. */
static void tell_amount(const struct finding_input *in, const struct subject *s,
	size_t days, double usual, struct finding *f)
{
	bool flow = in->config->channels[s->channel].role == ROLE_FLOW_RATE;
	const char *unit = flow ? "L/min" : "W";
	f->unit = unit;
	f->evidence = xasprintf(
		"On %zu days nineteen of twenty of its values were whole multiples of "
		"%.4g %s: of %.4g %s, as is usual, a reading may be off by %.0f %%%s",
		days, f->size, unit, usual, unit, 50.0 * f->size / usual,
		flow && !finding_heat_is_computed(in)
			? ". A heat meter says the heat: heat does not rest on it."
			: ".");
	f->remedy = xasprintf("Let the gateway publish finer steps; many read them and "
			      "round before they publish. If the meter itself is that "
			      "coarse, %s",
		flow ? "state limit in the channel's section, so that answers say how "
		       "sure they are."
		     : "give its register as well, which tells the total exactly, or "
		       "have a finer one fitted by a qualified electrician.");
}

static void add_coarse(const struct finding_input *in, struct run run,
	const struct subject *s, struct finding_list *list)
{
	double grid = 0.0, usual = (double)NAN;
	enum role role = in->config->channels[s->channel].role;
	struct finding f = finding_new(
		in, FINDING_RESOLUTION_COARSE, channel_name(in, s->channel), run);
	for (size_t d = run.first; d <= run.last; d++) {
		const struct evidence *e =
			finding_item(&in->days[d], s->kind, s->channel);
		if (!e || e->values[0] <= grid)
			continue;
		grid = e->values[0];
		usual = e->values[2];
	}
	f.size = grid;
	if (role == ROLE_FLOW_RATE || role == ROLE_PLAIN) {
		tell_amount(in, s, run.hits, usual, &f);
		finding_add(list, &f);
		return;
	}
	f.unit = "K";
	_cleanup_(freep) char *cost = coarse_cost(in, s->channel, grid);
	f.evidence = xasprintf("On %zu days nineteen of twenty of its values were whole "
			       "multiples of %.2g K. Each reading is then uncertain by "
			       "%.2g K%s",
		run.hits, grid, grid / 2.0, cost);
	f.remedy = xasprintf("Let the gateway publish tenths or hundredths; many read "
			     "them and round before they publish.%s",
		is_outdoor(in, s->channel) || !finding_heat_is_computed(in)
			? ""
			: " If the sensor itself is that coarse, strap a finer pair onto "
			  "the pipes, outside the unit.");
	finding_add(list, &f);
}

void find_coarse(const struct finding_input *in, struct finding_list *list)
{
	for (size_t c = 0; c < in->config->channel_count; c++) {
		struct subject s = {EVIDENCE_COARSE, (int)c};
		struct run run;
		size_t at = 0;
		while (finding_run(in, has_item, &s, COARSE_GAP_DAYS, &at, &run))
			add_coarse(in, run, &s, list);
	}
}

/* ---- slow ---- */

/* Names of the channels that were slow in the run, and how slow. */
static double slow_channels(
	const struct finding_input *in, struct run run, struct buffer *names)
{
	double spacing = 0.0;
	for (size_t c = 0; c < in->config->channel_count; c++) {
		size_t days = 0;
		for (size_t d = run.first; d <= run.last; d++) {
			const struct evidence *e =
				finding_item(&in->days[d], EVIDENCE_SLOW, (int)c);
			days += e != NULL;
			if (e && e->values[0] > spacing)
				spacing = e->values[0];
		}
		if (days > 0)
			buffer_addf(names, "%s%s", names->length ? ", " : "",
				channel_name(in, (int)c));
	}
	return spacing;
}

void find_slow(const struct finding_input *in, struct finding_list *list)
{
	struct subject any = {EVIDENCE_SLOW, -1};
	struct run run;
	size_t at = 0;
	while (finding_run(in, has_item, &any, SLOW_GAP_DAYS, &at, &run)) {
		struct buffer names = {0};
		double spacing = slow_channels(in, run, &names);
		if (names.length > 0) {
			struct finding f = finding_new(in, FINDING_SOURCE_SLOW, "", run);
			(void)snprintf(f.subject, sizeof(f.subject), "%.*s",
				(int)strcspn(buffer_text(&names), ","),
				buffer_text(&names));
			f.size = spacing;
			f.unit = "min";
			f.evidence = xasprintf("On %zu days changes of %s came no closer "
					       "than %.0f minutes. Starts, defrosts and "
					       "the ends of hot-water runs fall between "
					       "them.",
				run.hits, buffer_text(&names), spacing);
			f.remedy = xstrdup("Let the source publish every minute or "
					   "oftener, or on change. Sums by registers "
					   "stay right; heat and what belongs to which "
					   "mode lose by it, and the temperature pair "
					   "cannot be compared at rest.");
			finding_add(list, &f);
		}
		buffer_release(&names);
	}
}

/* ---- words ---- */

void find_words(const struct finding_input *in, struct finding_list *list)
{
	for (size_t c = 0; c < in->config->channel_count; c++) {
		struct subject s = {EVIDENCE_STATE_UNKNOWN, (int)c};
		struct run run;
		size_t at = 0;
		while (finding_run(in, has_item, &s, WORDS_GAP_DAYS, &at, &run)) {
			double minutes = 0.0;
			for (size_t d = run.first; d <= run.last; d++) {
				const struct evidence *e =
					finding_item(&in->days[d], s.kind, s.channel);
				minutes += e ? (double)e->minutes : 0.0;
			}
			struct finding f = finding_new(in, FINDING_STATE_UNKNOWN,
				channel_name(in, s.channel), run);
			f.size = minutes;
			f.unit = "min";
			f.evidence = xasprintf("For %.0f minutes of %zu days it was in a "
					       "state that its map does not name.",
				minutes, run.hits);
			f.remedy = xasprintf("heatbookd listen shows its words; add them "
					     "to the map of [channel %s] and rebuild "
					     "these days.",
				channel_name(in, s.channel));
			finding_add(list, &f);
		}
	}
}

enum { QUOTED_MOST = 5, SHOWN_MOST = 40 };

/* "Abtauen", "?\x00". */
static void add_quotes(const struct said_words *words, struct buffer *out)
{
	for (size_t i = 0; i < words->count && i < QUOTED_MOST; i++) {
		const struct said_word *w = &words->items[i];
		buffer_add_text(out, i ? ", \"" : "\"");
		text_printable(out, w->text, w->length, SHOWN_MOST);
		buffer_add_text(out, "\"");
	}
	if (words->count > QUOTED_MOST)
		buffer_addf(out, " and %zu others", words->count - QUOTED_MOST);
}

void finding_quote(struct finding *f, const struct said_words *words)
{
	struct buffer quotes = {0};
	char date[16];
	if (words->count == 0)
		return;
	add_quotes(words, &quotes);
	char *evidence = xasprintf("%s It said %s.", f->evidence, buffer_text(&quotes));
	free(f->evidence);
	f->evidence = evidence;
	free(f->remedy);
	f->remedy = xasprintf("Add %s to the map of [channel %s], as word:state, then "
			      "heatbookd rebuild --from %s.",
		words->count == 1 ? "it" : "them", f->subject,
		finding_date(f->since_ms / MS_PER_MIN, date));
	buffer_release(&quotes);
}
