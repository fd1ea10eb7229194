/*
 * What the files that find share. Not for other rooms.
 */
#ifndef INSIGHT_FINDING_H
#define INSIGHT_FINDING_H

#include <heatbook/finding.h>

typedef void finding_look(const struct finding_input *in, struct finding_list *list);
finding_look find_pair_offset, find_return_above, find_power_reversed, find_register,
	find_apparent, find_flow_zero, find_flow_falling, find_pressure_falling,
	find_efficiency, find_belief, find_balance, find_immersion, find_frozen,
	find_silent, find_coarse, find_slow, find_skewed, find_flag_late, find_clocks,
	find_words, find_sun, find_missing, find_standing, find_repeats, find_events,
	find_facts, find_pump_off, find_signs, find_contradicted, find_phases;

/* The first item of a kind and subject (-1: any) of a day, or NULL. */
const struct evidence *finding_item(
	const struct finding_day *day, enum evidence_kind kind, int subject);

/* Minutes between a channel's changes about a day, where they are seldom; 0 where they
 * are not. -1: of the slowest channel. */
double finding_spacing(const struct finding_input *in, size_t day, int channel);

/* Days [first, last] of the input, of which `hits` say yes. */
struct run {
	size_t first, last, hits;
	bool open; /* no day before it says otherwise */
};
/* 1 yes, 0 no, -1: the day says nothing of it. */
typedef int day_test(const struct finding_day *day, const void *context);
/* The next run at or after *at of days that say yes, with at most `gap` days of no or
 * nothing in a row within it; *at moves behind it. */
bool finding_run(const struct finding_input *in, day_test *test, const void *context,
	size_t gap, size_t *at, struct run *ret);

/* An empty finding of these days. */
struct finding finding_new(const struct finding_input *in, enum finding_kind kind,
	const char *subject, struct run run);
/* Takes ownership of its texts. */
void finding_add(struct finding_list *list, const struct finding *finding);
/* That were booked too much, in the season in which the run ends, and in that part of the
 * run that lies in it: what it adds to this season's factor. NaN without a factor. */
double finding_effect(const struct finding_input *in, struct run run, double heat_j,
	double electricity_j);
/* The days of the season of day `at` ([plant] season_start). */
struct run finding_season(const struct finding_input *in, size_t at);
/* What of a run lies in the season in which it ends. */
struct run finding_in_season(const struct finding_input *in, struct run run);

/* The index of the meter whose power a channel is, or -1. */
int finding_meter_of(const struct finding_input *in, int channel);
/* Heat over electricity of the season without the run's days, so many behind it, and
 * days on which a register stood still; NaN without any. */
double finding_factor_without(
	const struct finding_input *in, struct run run, size_t behind);

/* The channel whose word hot water or a defrost is, or -1. */
int finding_flag_of(const struct finding_input *in, int mode);

/* What does not rest on the temperature of the air. */
#define FINDING_OF_THE_AIR                                                               \
	"Modes by rule, degree days and what is compared with the weather go by it; "    \
	"heat and electricity do not."

/* Proposes that what a channel says over the run's days is value * factor + offset: a
 * section of the configuration, together with the correction that is in force by now,
 * where there is one that does; for ever where the finding lasts, so that it is never
 * open where rows follow that nobody asked for. What an owner is to do with it, as a
 * part of a sentence, is the caller's: "paste this section and rebuild these days". */
char *finding_propose(const struct finding_input *in, struct finding *finding,
	int channel, struct run run, double factor, double offset);
/* The offset of the correction of a channel that touches the run's days; 0 without one.
 */
double finding_offset_before(const struct finding_input *in, int channel, struct run run);
/* The unit that a meter's register, or its power, is most likely in, by what both moved
 * by over the days that touch [since, until], what was not believed of the register
 * included; NULL where they name none. */
const char *finding_unit_error(const struct finding_input *in, size_t meter,
	int64_t since_ms, int64_t until_ms, double *ret_register_j, double *ret_power_j);
/* The kind that a register's words are most likely of, by its events in [since, until];
 * NULL where nothing speaks against the configured one. `like` is any event of it. */
const char *finding_kind_error(const struct finding_input *in, const struct event *like,
	int64_t since_ms, int64_t until_ms);
char *finding_kind_remedy(
	const struct finding_input *in, const struct event *like, const char *kind);
/* Whether in that time, or the hour before, a register of heat (or of a meter) said what
 * was not believed, or went on elsewhere. */
bool finding_was_unbelieved(
	const struct finding_input *in, bool heat, int64_t from_ms, int64_t to_ms);
/* Whether heat is worked out of the water's flow and temperatures; else a heat meter says
 * it, and does not lean on their sensors. */
static inline bool finding_heat_is_computed(const struct finding_input *in)
{
	return in->config->plant.heat_source == HEAT_COMPUTED;
}
/* Whether a source repeated old values on a day: so did each of its channels. */
bool finding_repeats(
	const struct finding_input *in, const struct finding_day *day, int source);
/* Whether a register stood still for most of a day: what else is odd of it follows. */
bool finding_stands(
	const struct finding_input *in, const struct finding_day *day, size_t quantity);
bool finding_any_stands(const struct finding_input *in, const struct finding_day *day);
/* Words that a channel said and no map names, the most frequent first. Spellings that
 * fold to the same are one word. */
struct said_word {
	char text[128]; /* as it was said first, cut to this */
	size_t length;
	uint64_t count;
};
enum { SAID_WORDS_MOST = 32 };
struct said_words {
	struct said_word items[SAID_WORDS_MOST]; /* further ones are left out */
	size_t count;
};
/* Adds them to a finding FINDING_STATE_UNKNOWN; without any it stays as it is. */
void finding_quote(struct finding *finding, const struct said_words *words);

struct store;
/* Adds those that readings of [from, to) said, out of the journal's records, as far as
 * these are still there; reads some 32 MiB of them at most. 0 or an error of the store.
 */
int said_words_of(struct store *store, int channel, int64_t from_ms, int64_t to_ms,
	struct said_words *words);
void said_words_sort(struct said_words *words);

/* Where so many times of what a meter says is true: whether one or two phases of three
 * would look like this, as a sentence and a blank, or "". */
const char *finding_phases_hint(double ratio);

/* What to fill a circuit up with, as a sentence: water would thin a mixture. */
const char *finding_top_up(enum fluid fluid);

/* "2026-01-31". */
const char *finding_date(int64_t min, char text[static 16]);

#endif
