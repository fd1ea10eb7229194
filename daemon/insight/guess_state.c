/*
 * Value maps from the words that were heard. See view.h.
 *
 * In a minute's listening a state says one word. The map then holds, besides, the usual
 * words for the states that were not heard, so that the first change is understood; the
 * reason says so.
 */
#include "view.h"

#include <heatbook/printable.h>

#include <string.h>

#define USUAL_MOST 7

/* What a heard state is among a role's states; NULL = nothing of that role. */
static const struct {
	enum role role;
	enum heard_state heard;
	const char *state;
} meanings[] = {
	{ROLE_OPERATING_MODE, HEARD_HEATING, "heating"},
	{ROLE_OPERATING_MODE, HEARD_HOT_WATER, "hot_water"},
	{ROLE_OPERATING_MODE, HEARD_COOLING, "cooling"},
	{ROLE_OPERATING_MODE, HEARD_DEFROST, "defrost"},
	{ROLE_OPERATING_MODE, HEARD_STANDBY, "standby"},
	{ROLE_OPERATING_MODE, HEARD_OFF, "off"},
	{ROLE_OPERATING_MODE, HEARD_FREEZE, "freeze_protection"},
	{ROLE_OPERATING_MODE, HEARD_OVERRUN, "overrun"},
	{ROLE_VALVE, HEARD_HEATING, "heating"},
	{ROLE_VALVE, HEARD_HOT_WATER, "hot_water"},
	{ROLE_DEFROST, HEARD_OFF, "off"},
	{ROLE_DEFROST, HEARD_STANDBY, "off"},
	{ROLE_DEFROST, HEARD_ON, "on"},
	{ROLE_DEFROST, HEARD_DEFROST, "on"},
	{ROLE_CIRCULATION_PUMP, HEARD_OFF, "off"},
	{ROLE_CIRCULATION_PUMP, HEARD_STANDBY, "off"},
	{ROLE_CIRCULATION_PUMP, HEARD_ON, "on"},
};

static const char *meaning(enum role role, enum heard_state heard)
{
	for (size_t i = 0; i < ARRAY_LEN(meanings); i++)
		if (meanings[i].role == role && meanings[i].heard == heard)
			return meanings[i].state;
	return NULL;
}

/* May the word stand in a map? */
static bool is_map_word(const char *word)
{
	return is_writable(word, 0) && !strchr(word, ',');
}

/* Adds `word:state` unless the folded word is there; false when it cannot be written. */
static bool map_add(char map[static GUESS_MAP_MOST], const char *word, const char *state)
{
	_cleanup_(freep) char *folded = xasprintf(" %s:", word);
	_cleanup_(freep) char *before = xasprintf(" %s", map);
	size_t used = strlen(map);
	if (!is_map_word(word))
		return false;
	text_fold(folded, strlen(folded));
	text_fold(before, strlen(before));
	if (strstr(before, folded))
		return true;
	if (used + strlen(word) + strlen(state) + 4 > GUESS_MAP_MOST)
		return false;
	(void)snprintf(map + used, GUESS_MAP_MOST - used, "%s%s:%s", used ? ", " : "",
		word, state);
	return true;
}

/* The words of a view: those heard, or its small whole numbers. */
struct words {
	char text[SURVEY_WORDS_MOST][SURVEY_WORD_MOST];
	size_t count;
};

static struct words words_of(const struct view *v)
{
	struct words w = {0};
	const struct place *p = v->place;
	if (!v->number) {
		w.count = p->word_count;
		if (p->words)
			memcpy(w.text, p->words, p->word_count * sizeof(*w.text));
		return w;
	}
	for (int n = (int)p->least; n <= (int)p->most; n++) {
		bool heard = n == (int)p->least || n == (int)p->most;
		for (size_t i = 0; i < p->sample_count && !heard; i++)
			heard = (int)p->samples[i].value == n;
		if (heard && w.count < SURVEY_WORDS_MOST)
			(void)snprintf(w.text[w.count++], SURVEY_WORD_MOST, "%d", n);
	}
	return w;
}

static void add_usual(char map[static GUESS_MAP_MOST], enum role role,
	enum heard_state heard, struct buffer *reason)
{
	const char *state = meaning(role, heard), *word;
	for (size_t i = 0; i < USUAL_MOST && (word = heard_usual(heard, i)); i++)
		if (!map_add(map, word, state))
			return;
	buffer_addf(
		reason, "; %s was not heard: its usual words stand in the map", state);
}

/* A valve that says numbers, or on and off: which is which is a convention only. */
static bool numbered_valve(
	const struct words *w, char map[static GUESS_MAP_MOST], struct buffer *reason)
{
	for (size_t i = 0; i < w->count; i++) {
		enum heard_state heard = heard_state(w->text[i]);
		if (heard != HEARD_OFF && heard != HEARD_ON)
			return false;
		if (!map_add(map, w->text[i],
			    heard == HEARD_OFF ? "heating" : "hot_water"))
			return false;
	}
	bool digits = w->count > 0 && w->text[0][0] >= '0' && w->text[0][0] <= '9';
	if (digits) {
		(void)map_add(map, "0", "heating"); /* room is there: it is short */
		(void)map_add(map, "1", "hot_water");
	}
	buffer_add_text(reason, "; which way round is a convention: watch one "
				"hot-water run");
	return w->count > 0;
}

static bool needs_both(enum role role)
{
	return role != ROLE_OPERATING_MODE;
}

bool state_map(const struct view *v, enum role role, char map[static GUESS_MAP_MOST],
	struct buffer *reason)
{
	struct words w = words_of(v);
	unsigned heard = 0;
	size_t strange = 0;
	map[0] = '\0';
	for (size_t i = 0; i < w.count; i++) {
		enum heard_state state = heard_state(w.text[i]);
		const char *target = meaning(role, state);
		if (!target || !map_add(map, w.text[i], target)) {
			buffer_add_text(reason, strange++ ? ", " : "; not understood: ");
			text_printable(reason, w.text[i], strlen(w.text[i]), 30);
			continue;
		}
		heard |= 1U << state;
	}
	if (role == ROLE_VALVE && !heard && strange == w.count) {
		buffer_reset(reason);
		return numbered_valve(&w, map, reason);
	}
	unsigned telling = role == ROLE_OPERATING_MODE
				   ? 1U << HEARD_HEATING | 1U << HEARD_HOT_WATER |
					     1U << HEARD_COOLING | 1U << HEARD_DEFROST |
					     1U << HEARD_STANDBY
				   : ~0U;
	if (!(heard & telling))
		return false;
	static const enum heard_state pairs[2][2] = {
		{HEARD_HEATING, HEARD_HOT_WATER}, {HEARD_OFF, HEARD_ON}};
	const enum heard_state *pair =
		pairs[role == ROLE_DEFROST || role == ROLE_CIRCULATION_PUMP];
	for (size_t i = 0; i < 2; i++) {
		bool known = heard & 1U << pair[i];
		for (size_t k = 0; k < ARRAY_LEN(meanings) && needs_both(role); k++)
			known |= meanings[k].role == role &&
				 heard >> meanings[k].heard & 1 &&
				 strcmp(meanings[k].state, meaning(role, pair[i])) == 0;
		if (!known)
			add_usual(map, role, pair[i], reason);
	}
	return true;
}

bool plain_map(const struct view *v, char map[static GUESS_MAP_MOST])
{
	struct words w = words_of(v);
	map[0] = '\0';
	for (size_t i = 0; i < w.count; i++) {
		char plain[48], state[56];
		words_plain(w.text[i], plain, sizeof(plain));
		bool letter = plain[0] >= 'a' && plain[0] <= 'z';
		(void)snprintf(
			state, sizeof(state), "%s%.40s", letter ? "" : "is_", plain);
		if (!plain[0] || strchr(w.text[i], ':') ||
			!map_add(map, w.text[i], state))
			return false;
	}
	return w.count > 0;
}
