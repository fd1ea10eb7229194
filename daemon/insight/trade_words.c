/*
 * Reading topics and keys by the tables of words. See trade_words.h.
 *
 * Text is first brought into one form (words_plain()), then the longest word of the table
 * that fits is taken at each place: "heat_pump" is neither heat nor pump.
 */
#include "trade_table.h"

#include <heatbook/config.h>

#include <string.h>

/* What a letter with an accent becomes; ligatures and umlauts two letters. */
static const struct {
	const char *from, *to;
} letters[] = {
	{"ä", "ae"},
	{"ö", "oe"},
	{"ü", "ue"},
	{"ß", "ss"},
	{"æ", "ae"},
	{"ø", "oe"},
	{"å", "aa"},
	{"à", "a"},
	{"á", "a"},
	{"â", "a"},
	{"ã", "a"},
	{"ą", "a"},
	{"ç", "c"},
	{"ć", "c"},
	{"č", "c"},
	{"è", "e"},
	{"é", "e"},
	{"ê", "e"},
	{"ë", "e"},
	{"ę", "e"},
	{"ě", "e"},
	{"ì", "i"},
	{"í", "i"},
	{"î", "i"},
	{"ï", "i"},
	{"ł", "l"},
	{"ñ", "n"},
	{"ń", "n"},
	{"ň", "n"},
	{"ò", "o"},
	{"ó", "o"},
	{"ô", "o"},
	{"õ", "o"},
	{"ř", "r"},
	{"ś", "s"},
	{"š", "s"},
	{"ù", "u"},
	{"ú", "u"},
	{"û", "u"},
	{"ů", "u"},
	{"ý", "y"},
	{"ź", "z"},
	{"ż", "z"},
	{"ž", "z"},
};

static bool is_upper(char c)
{
	return c >= 'A' && c <= 'Z';
}

static bool is_plain(char c)
{
	return (c >= 'a' && c <= 'z') || (c >= '0' && c <= '9');
}

/* "flowTemp" is two words; so is the last capital of "DHWTemp" with what follows. */
static bool begins_word(const char *text, size_t i)
{
	if (i == 0 || !is_upper(text[i]))
		return false;
	bool small_before = text[i - 1] >= 'a' && text[i - 1] <= 'z';
	bool small_after = text[i + 1] >= 'a' && text[i + 1] <= 'z';
	return small_before || (is_upper(text[i - 1]) && small_after);
}

void words_plain(const char *text, char *out, size_t size)
{
	_cleanup_(freep) char *folded = xstrdup(text);
	size_t used = 0, length = strlen(text);
	text_fold(folded, length);
	for (size_t i = 0; i < length && used + 3 < size;) {
		size_t k = 0, n = 1;
		while (k < ARRAY_LEN(letters) && strncmp(folded + i, letters[k].from,
							 strlen(letters[k].from)) != 0)
			k++;
		if (begins_word(text, i) && used > 0 && out[used - 1] != '_')
			out[used++] = '_';
		if (k < ARRAY_LEN(letters)) {
			n = strlen(letters[k].from);
			used += (size_t)snprintf(
				out + used, size - used, "%s", letters[k].to);
		} else if (is_plain(folded[i]))
			out[used++] = folded[i];
		else if (used > 0 && out[used - 1] != '_')
			out[used++] = '_';
		i += n;
	}
	while (used > 0 && out[used - 1] == '_')
		used--;
	out[used] = '\0';
}

/* The longest word of the table at `at`, or NULL. */
static const struct trade_word *word_at(const char *text, size_t at)
{
	size_t count;
	const struct trade_word *table = trade_table(&count), *best = NULL;
	bool start = at == 0 || text[at - 1] == '_';
	for (size_t i = 0; i < count; i++) {
		size_t n = strlen(table[i].text);
		if (table[i].text[0] != text[at] || (best && n <= strlen(best->text)) ||
			strncmp(text + at, table[i].text, n) != 0)
			continue;
		bool end = text[at + n] == '\0' || text[at + n] == '_';
		if (!table[i].whole || (start && end))
			best = &table[i];
	}
	return best;
}

/* Concepts of one level in plain form; what is not understood goes to `rest`. */
static uint64_t scan(
	const char *plain, char *rest, size_t rest_size, const char **ret_evidence)
{
	uint64_t found = 0;
	size_t used = 0;
	for (size_t i = 0; plain[i];) {
		const struct trade_word *word = word_at(plain, i);
		if (word) {
			found |= BIT(word->concept);
			if (word->concept != C_NEUTRAL &&
				(!*ret_evidence ||
					strlen(word->text) > strlen(*ret_evidence)))
				*ret_evidence = word->text;
			i += strlen(word->text);
			continue;
		}
		if (used + 1 < rest_size &&
			(plain[i] != '_' || (used > 0 && rest[used - 1] != '_')))
			rest[used++] = plain[i];
		i++;
	}
	while (used > 0 && rest[used - 1] == '_')
		used--;
	rest[used] = '\0';
	return found;
}

#define QUANTITIES                                                                       \
	(BIT(C_TEMPERATURE) | BIT(C_RATE) | BIT(C_PRESSURE) | BIT(C_HUMIDITY) |          \
		BIT(C_POWER) | BIT(C_ENERGY) | BIT(C_FREQUENCY) | BIT(C_VOLTAGE) |       \
		BIT(C_CURRENT) | BIT(C_PERCENT) | BIT(C_APPARENT) | BIT(C_PHASE) |       \
		BIT(C_TOTAL) | BIT(C_NEUTRAL) | BIT(C_METER) | BIT(C_EXPORT))

/* A level goes to the subject as it stands unless it only names a quantity. */
static void add_subject(
	struct trail *t, const char *plain, const char *rest, uint64_t concepts)
{
	const char *piece =
		concepts & QUANTITIES && !(concepts & ~QUANTITIES) ? rest : plain;
	size_t used = strlen(t->subject);
	size_t length = strlen(piece);
	if (length > 0 && used + length + 2 < sizeof(t->subject))
		(void)snprintf(t->subject + used, sizeof(t->subject) - used, "%s%.*s",
			used ? "/" : "", (int)length, piece);
}

static void add_level(struct trail *t, const char *level, size_t length)
{
	_cleanup_(freep) char *copy = xstrndup(level, length);
	char plain[128], rest[128];
	const char *evidence = NULL;
	words_plain(copy, plain, sizeof(plain));
	if (!*plain)
		return;
	uint64_t found = scan(plain, rest, sizeof(rest), &evidence);
	size_t used = strlen(t->text);
	if (used + strlen(plain) + 2 < sizeof(t->text))
		(void)snprintf(t->text + used, sizeof(t->text) - used, "%s%s",
			used ? "/" : "", plain);
	add_subject(t, plain, rest, found);
	if (found == BIT(C_NEUTRAL) && !*rest)
		return; /* says nothing: the level before it stays the near one */
	t->far |= t->near;
	t->near = found;
	if (t->evidence[0])
		t->evidence[1] = t->evidence[0];
	t->evidence[0] = evidence;
}

static void add_path(struct trail *t, const char *path)
{
	while (*path) {
		size_t n = strcspn(path, "/");
		add_level(t, path, n);
		path += n + (path[n] == '/');
	}
}

void trail_read(const char *topic, const char *pointer, struct trail *ret)
{
	*ret = (struct trail){0};
	add_path(ret, topic);
	add_path(ret, pointer);
}

/* ---- states ---- */

enum heard_state heard_state(const char *word)
{
	char plain[64];
	size_t count;
	const struct state_word *table = state_table(&count);
	words_plain(word, plain, sizeof(plain));
	for (size_t i = 0; i < count; i++)
		if (strcmp(table[i].text, plain) == 0)
			return table[i].state;
	return HEARD_COUNT;
}

const char *heard_usual(enum heard_state state, size_t i)
{
	size_t count;
	const struct state_word *table = state_table(&count);
	for (size_t k = 0; k < count; k++)
		if (table[k].state == state && i-- == 0)
			return table[k].text;
	return NULL;
}
