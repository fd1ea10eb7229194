/*
 * The [table] sections: which files, how they are written, which columns feed which
 * channels; and the source that each table is. See struct table_config.
 *
 * A channel that neither a topic nor a table feeds is told here, since this is the last
 * section that could.
 */
#include "config_load.h"

#include <heatbook/archive.h>
#include <heatbook/timepattern.h>

#include <math.h>
#include <string.h>

struct one {
	struct loader *l;
	const struct section *s;
	struct table_config *t;
};

static const struct entry *entry_of(const struct one *o, const char *key)
{
	const struct entry *e = section_entry(o->s, key);
	return e && *e->value ? e : NULL; /* an empty one was told of already */
}

static void load_choice(struct one *o, const char *key, int *ret)
{
	char why[WHY_SIZE];
	const struct option *option = option_find(SECTION_TABLE, key);
	const struct entry *e = entry_of(o, key);
	(void)value_choice(e ? e->value : option->fallback, option->words, ret,
		why); /* told already when it is none */
}

static bool check_file(const char *item, char why[static WHY_SIZE])
{
	if (!strchr(item, '/'))
		return true;
	(void)snprintf(
		why, WHY_SIZE, "is matched with the file's name alone: must hold no /");
	return false;
}

/* "date + clock": two columns, parted by " + ". */
static void load_time_column(struct one *o)
{
	const struct entry *e = entry_of(o, "time");
	if (!e)
		return;
	const char *plus = strstr(e->value, " + ");
	o->t->time_column =
		plus ? xstrndup(e->value, (size_t)(plus - e->value)) : xstrdup(e->value);
	if (!plus)
		return;
	o->t->clock_column = xstrdup(plus + 3 + strspn(plus + 3, " "));
	if (strstr(o->t->clock_column, " + "))
		entry_fault(o->l, o->s, e, "must be a column, or two: date + clock");
}

static void load_time_form(struct one *o)
{
	const char *words = option_find(SECTION_CHANNEL, "time_form")->words;
	const struct entry *e = entry_of(o, "time_form");
	struct time_pattern pattern;
	char why[WHY_SIZE];
	const char *fault;
	int form = TIME_FORM_DETECT;

	o->t->time_form = TIME_FORM_DETECT;
	if (!e)
		return;
	if (value_choice(e->value, words, &form, why)) {
		o->t->time_form = (enum time_form)form;
		return;
	}
	if (time_pattern_compile(e->value, &pattern, &fault) == 0)
		o->t->time_pattern = xstrdup(e->value);
	else
		entry_fault(o->l, o->s, e, "%s; or one of %s", fault, words);
	if (o->t->time_pattern && !pattern.year && !o->t->year)
		entry_fault(o->l, o->s, e,
			"has no year: set year to that of the file's first row");
}

static bool is_numeric(const struct table_config *t)
{
	return t->time_form != TIME_FORM_DETECT && t->time_form != TIME_FORM_ISO;
}

static void check_time(struct one *o)
{
	const struct table_config *t = o->t;
	const struct entry *e = entry_of(o, "origin");
	if (e && t->origin_ms != 0 && !is_numeric(t))
		entry_fault(o->l, o->s, e,
			"is for numeric times: needs time_form = s, ms, us or ns");
	e = entry_of(o, "year");
	if (e && (is_numeric(t) || t->time_form == TIME_FORM_ISO ||
			 (t->time_pattern && strstr(t->time_pattern, "YY"))))
		entry_fault(o->l, o->s, e, "is for stamps that have none");
	if (t->interval_ms > 0)
		return;
	if ((e = entry_of(o, "covers")))
		entry_fault(o->l, o->s, e,
			"needs interval: what a row covers before or after its stamp");
	if ((e = entry_of(o, "same_stamp")) && t->same_stamp == SAME_STAMP_DIVIDE)
		entry_fault(
			o->l, o->s, e, "needs interval: what the rows of a stamp share");
}

static void load_missing(struct one *o)
{
	struct table_config *t = o->t;
	const struct entry *e = entry_of(o, "missing_words");
	char why[WHY_SIZE];
	if (!e)
		return;
	t->missing_word_count = load_list(o->l, o->s, e, NULL, &t->missing_words);
	t->missing_numbers = xcalloc(t->missing_word_count, sizeof(double));
	for (size_t i = 0; i < t->missing_word_count; i++) {
		char *word = t->missing_words[i];
		text_fold(word, strlen(word));
		if (value_number(word, &t->missing_numbers[t->missing_number_count], why))
			t->missing_number_count++;
	}
}

/* Is it "#3"? A fault when it is one that no column has. */
static bool by_number(struct one *o, const struct entry *e, const char *column)
{
	size_t digits = strspn(column + 1, "0123456789");
	if (column[0] != '#' || digits == 0 || column[1 + digits])
		return false;
	if (digits > 4 || column[1] == '0')
		entry_fault(o->l, o->s, e, "'%s' must be #1 to #9999", column);
	return true;
}

/* A column that is named cannot be found in a file without header. */
static void check_column(struct one *o, const char *key, const char *column)
{
	const struct entry *e = entry_of(o, key);
	if (e && column && !by_number(o, e, column) && o->t->header == HEADER_NO)
		entry_fault(o->l, o->s, e,
			"'%s' is a name, but header = no; must be a number such as #2",
			column);
}

static void load_unit(struct one *o, struct table_column *column)
{
	const struct channel_config *channel = &o->l->config->channels[column->channel];
	_cleanup_(freep) char *key = xasprintf("unit.%s", channel->name);
	const struct entry *e = entry_of(o, key);
	if (!e)
		return;
	column->unit = unit_find(e->value, strlen(e->value));
	if (channel->dimension == DIMENSION_STATE)
		entry_fault(o->l, o->s, e, "is for numbers; channel %s has states",
			channel->name);
	else if (!column->unit)
		entry_fault(o->l, o->s, e, "unknown unit; must be %s, for example in %s",
			dimension_phrase(channel->dimension),
			unit_own(channel->dimension)->symbol);
	else if (column->unit->dimension != channel->dimension)
		entry_fault(o->l, o->s, e,
			"is %s, but channel %s is %s; for example in %s",
			dimension_phrase(column->unit->dimension), channel->name,
			dimension_phrase(channel->dimension),
			unit_own(channel->dimension)->symbol);
}

/* Columns stand in the order of their channels, whatever that of the lines. */
static void add_column(struct one *o, const struct entry *e, int channel)
{
	struct table_config *t = o->t;
	struct table_column column = {.column = xstrdup(e->value), .channel = channel};
	size_t at = t->column_count++;
	load_unit(o, &column);
	if (!t->name_column)
		check_column(o, e->key, e->value);
	t->columns = xrealloc(t->columns, t->column_count, sizeof(*t->columns));
	for (; at > 0 && t->columns[at - 1].channel > channel; at--)
		t->columns[at] = t->columns[at - 1];
	t->columns[at] = column;
}

static bool has_column(const struct table_config *t, int channel)
{
	for (size_t i = 0; i < t->column_count; i++)
		if (t->columns[i].channel == channel)
			return true;
	return false;
}

static void load_columns(struct one *o)
{
	bool any = false;
	for (int pass = 0; pass < 2; pass++) /* units after all columns are known */
		for (size_t i = 0; i < o->s->count; i++) {
			const struct entry *e = &o->s->entries[i];
			if (e->option->type != OPTION_COLUMN || !*e->value)
				continue;
			const char *name = strchr(e->key, '.') + 1;
			bool unit = e->key[0] == 'u';
			any |= !unit;
			int channel = config_channel(o->l->config, name);
			if (pass == 0 && channel < 0)
				entry_fault(
					o->l, o->s, e, "there is no [channel %s]", name);
			else if (pass == 0 && !unit)
				add_column(o, e, channel);
			else if (pass == 1 && unit && channel >= 0 &&
				 !has_column(o->t, channel))
				entry_fault(o->l, o->s, e, "needs column.%s", name);
		}
	if (!any)
		remark(&o->l->faults, o->s->line,
			"[table %s] feeds no channel; needs a line column.CHANNEL = "
			"header, "
			"such as column.flow_temperature = out",
			o->t->name);
}

static void check_long(struct one *o)
{
	const struct entry *name = entry_of(o, "name"), *value = entry_of(o, "value");
	if (name && !value)
		entry_fault(o->l, o->s, name, "needs value, the column of the values");
	if (value && !name)
		entry_fault(o->l, o->s, value, "needs name, the column of the names");
	check_column(o, "name", o->t->name_column);
	check_column(o, "value", o->t->value_column);
	check_column(o, "time", o->t->time_column);
	check_column(o, "time", o->t->clock_column);
}

/* The source that a table is. Carried state goes by names: no other may bear it. */
static void add_source(struct one *o)
{
	struct config *c = o->l->config;
	const struct entry *e = entry_of(o, "silent_after");
	const char *limit =
		e ? e->value : option_find(SECTION_TABLE, "silent_after")->fallback;
	char why[WHY_SIZE];
	for (size_t i = 0; i < c->source_count; i++)
		if (strcmp(c->sources[i].name, o->t->name) == 0) {
			remark(&o->l->faults, o->s->line,
				"[table %s]: a source has that name, by its section or "
				"as "
				"the first level of a topic; take another",
				o->t->name);
			return;
		}
	struct source_config *s =
		source_add(o->l, o->t->name, strlen(o->t->name), o->s->line);
	if (!s)
		return;
	load_fields(o->l, SECTION_SOURCE, NULL, s);
	s->implicit = true;
	s->silent_after_ms = -1;
	if (strcmp(limit, "none") != 0)
		(void)value_span(limit, &s->silent_after_ms, why); /* told already */
	o->t->source = (int)(c->source_count - 1);
}

/* --format takes names of forms and of tables alike. */
static void check_name(struct one *o)
{
	if (archive_form_find(o->t->name) >= 0)
		remark(&o->l->faults, o->s->line,
			"[table %s]: --format %s means another form; take another name",
			o->t->name, o->t->name);
}

static void load_table(struct one *o)
{
	struct table_config *t = o->t;
	int covers = 0;
	*t = (struct table_config){
		.name = xstrdup(o->s->name), .source = -1, .line = o->s->line};
	load_fields(o->l, SECTION_TABLE, o->s, t);
	check_name(o);
	const struct entry *e = entry_of(o, "files");
	if (e)
		t->file_count = load_list(o->l, o->s, e, check_file, &t->files);
	load_choice(o, "covers", &covers);
	t->covers_before = covers == 1;
	load_time_column(o);
	load_time_form(o);
	check_time(o);
	load_missing(o);
	load_columns(o);
	check_long(o);
	add_source(o);
}

/* What neither a topic nor a table feeds. */
static void note_unfed(struct loader *l)
{
	const struct config *c = l->config;
	for (size_t i = 0; i < c->channel_count; i++) {
		bool fed = c->channels[i].topic != NULL;
		for (size_t k = 0; k < c->table_count && !fed; k++)
			fed = has_column(&c->tables[k], (int)i);
		if (!fed)
			remark(&l->notes, c->channels[i].line,
				"channel %s has no topic, and no [table] has a column "
				"for "
				"it: nothing feeds it",
				c->channels[i].name);
	}
}

void load_tables(struct loader *l)
{
	struct config *c = l->config;
	c->tables = xcalloc(TABLES_MOST, sizeof(*c->tables));
	const struct section *s = NULL;
	while ((s = document_next(&l->document, SECTION_TABLE, s))) {
		if (c->table_count == TABLES_MOST) {
			remark(&l->faults, s->line, "[table %s]: at most %d tables",
				s->name, TABLES_MOST);
			break;
		}
		struct one one = {l, s, &c->tables[c->table_count++]};
		load_table(&one);
	}
	note_unfed(l);
}
