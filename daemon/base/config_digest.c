/*
 * The digest of all that decides rows: one canonical text of the resolved configuration,
 * never of the file, so that blank lines, comments and the order of keys do not count.
 *
 * The form of rows that this program makes is part of it (ROW_FORM).
 *
 * The order of channels, sources, meters and tables does count: carried state and sums go
 * by index. Left out is what is asked of the rows afterwards: limits of error, the
 * plant's name, and all of broker, journal, store and http. Numbers are written in
 * hexadecimal, which is exact, texts with their length, so that no two configurations
 * share a text.
 */
#include "config_load.h"

#include <heatbook/rules.h>

#include <string.h>

/* Raised by one whenever code makes other rows of the same journal and configuration:
 * rows that an older program made then are of another mapping, of which a rebuild is
 * asked, and not taken for damaged. */
#define ROW_FORM 4

static void add_text(struct buffer *b, const char *text)
{
	if (text)
		buffer_addf(b, "%zu:%s ", strlen(text), text);
	else
		buffer_add_text(b, "- ");
}

static void add_channel(struct buffer *b, const struct channel_config *c)
{
	char *const texts[] = {
		c->name, c->topic, c->pointer, c->each, c->senml, c->time_pointer};
	buffer_addf(b, "channel %s ", role_name(c->role));
	for (size_t i = 0; i < ARRAY_LEN(texts); i++)
		add_text(b, texts[i]);
	add_text(b, c->unit->symbol);
	buffer_addf(b, "%d %a %a %d %d %d ", (int)c->dimension, c->scale, c->offset,
		c->integer_bits, (int)c->decimal, c->thousands);
	buffer_addf(b, "%a %a %lld %d %d %d %d %d\n", c->valid_least, c->valid_most,
		(long long)c->stale_after_ms, (int)c->time, (int)c->time_form,
		(int)c->retained, c->extremes, c->source);
	if (c->line_ms > 0)
		buffer_addf(b, "line %lld\n", (long long)c->line_ms);
	for (size_t i = 0; i < c->state_count; i++)
		add_text(b, c->states[i]);
	/* Words are looked up, so that their order says nothing: the least one first. */
	const char *last = "";
	for (size_t n = 0; n < c->map_count; n++) {
		const struct map_entry *next = NULL;
		for (size_t i = 0; i < c->map_count; i++)
			if (strcmp(c->map[i].word, last) > 0 &&
				(!next || strcmp(c->map[i].word, next->word) < 0))
				next = &c->map[i];
		if (!next)
			break;
		add_text(b, next->word);
		buffer_addf(b, "%d ", next->state);
		last = next->word;
	}
	buffer_add_text(b, "\n");
}

static void add_source(struct buffer *b, const struct source_config *s)
{
	buffer_add_text(b, "source ");
	add_text(b, s->name);
	for (size_t i = 0; i < s->topic_count; i++)
		add_text(b, s->topics[i]);
	buffer_add_text(b, "/ ");
	add_text(b, s->will_topic);
	add_text(b, s->will_present);
	add_text(b, s->will_gone);
	buffer_addf(b, "%lld\n", (long long)s->silent_after_ms);
}

/* The channels, and the rules where they count. */
static void add_counted(struct buffer *b, const struct counted *c)
{
	buffer_add_text(b, " register");
	for (size_t i = 0; i < c->register_count; i++)
		buffer_addf(b, " %d", c->registers[i]);
	if (c->counts)
		buffer_addf(b, " counts %d %lld %lld %a%s", (int)c->counting.kind,
			(long long)c->counting.step_j, (long long)c->counting.modulus_j,
			c->counting.most_w, c->counting.falls ? " falls" : "");
}

static void add_meter(struct buffer *b, const struct meter_config *m)
{
	buffer_add_text(b, "meter ");
	add_text(b, m->name);
	buffer_addf(b, "%u %d %d power", m->feeds, m->less, m->apparent);
	/* Rows once went by what it feeds: they wait for a rebuild. */
	if (m->serves != m->feeds)
		buffer_addf(b, " serves %u", m->serves);
	for (size_t i = 0; i < m->power_count; i++)
		buffer_addf(b, " %d", m->power[i]);
	add_counted(b, &m->counted);
	buffer_add_text(b, "\n");
}

/* What only the import uses of a table is left out: which files, and how they are
 * written. Columns stand by channel already, whatever the order of their lines. */
static void add_table(struct buffer *b, const struct table_config *t)
{
	buffer_add_text(b, "table ");
	add_text(b, t->name);
	add_text(b, t->name_column);
	add_text(b, t->value_column);
	buffer_addf(
		b, "%lld %d %d", (long long)t->interval_ms, t->covers_before, t->source);
	for (size_t i = 0; i < t->missing_word_count; i++)
		add_text(b, t->missing_words[i]);
	for (size_t i = 0; i < t->column_count; i++) {
		const struct table_column *c = &t->columns[i];
		buffer_addf(b, "\n%d ", c->channel);
		add_text(b, c->column);
		add_text(b, c->unit ? c->unit->symbol : NULL);
	}
	buffer_add_text(b, "\n");
}

/* Their names and their order in the file say nothing. */
static void add_correction(struct buffer *b, const struct correction_config *c)
{
	buffer_addf(b, "correction %d %a %a %lld %lld\n", c->channel, c->factor,
		c->offset, (long long)c->from_ms, (long long)c->to_ms);
}

/* What rules hold to decides rows where no flag tells, and where one does what days say
 * of its lag behind the rule, which is made with the rows. Elsewhere it says nothing. */
static bool rules_are_asked(const struct config *config)
{
	static const enum role flags[] = {ROLE_DEFROST, ROLE_VALVE, ROLE_OPERATING_MODE};
	for (size_t i = 0; i < ARRAY_LEN(flags); i++)
		if (config_role(config, flags[i]) >= 0)
			return true;
	return rules_any(rules_needed(config));
}

static void add_rules(struct buffer *b, const struct config *config)
{
	const struct modes_config *m = &config->modes;
	buffer_addf(b, "rules %a %a %a %a %a %a %a %a\n", m->compressor_off_percent,
		m->defrost_difference_k, m->defrost_outdoor_c, m->defrost_flow_percent,
		m->hot_water_above_k, m->hot_water_lpm, m->cylinder_rise_k,
		config->plant.nominal_lpm);
}

uint64_t config_mapping_digest(const struct config *config)
{
	struct buffer b = {0};
	const struct plant_config *p = &config->plant;
	const struct modes_config *m = &config->modes;
	buffer_addf(&b, "rows %d plant ", ROW_FORM);
	add_text(&b, p->zone);
	buffer_addf(&b, "%d %a %d %a %d %d %a %u\n", (int)p->fluid, p->fluid_percent,
		(int)p->flow_sensor_pipe, p->pressure_bar, p->pressure_channel,
		(int)p->heat_source, p->least_flow_lpm, p->devices);
	if (p->assumed_flow_lpm > 0)
		buffer_addf(&b, "assumed %a %d %d %d\n", p->assumed_flow_lpm,
			p->assumed_mass, p->assumed_channel, p->assumed_state);
	if (p->source.fluid != FLUID_WATER) /* decides what days say of the balance */
		buffer_addf(&b, "source %d %a\n", (int)p->source.fluid,
			p->source.fluid_percent);
	if (p->heat.counts) {
		buffer_add_text(&b, "heat");
		add_counted(&b, &p->heat);
		buffer_add_text(&b, "\n");
	}
	buffer_addf(&b, "modes %a %lld %a %a\n", m->compressor_on_w,
		(long long)m->overrun_ms, m->freeze_outdoor_c, m->freeze_return_c);
	if (rules_are_asked(config))
		add_rules(&b, config);
	buffer_add_text(&b, "missing ");
	for (size_t i = 0; i < config->missing_word_count; i++)
		add_text(&b, config->missing_words[i]);
	buffer_add_text(&b, "\n");
	for (size_t i = 0; i < config->channel_count; i++)
		add_channel(&b, &config->channels[i]);
	for (size_t i = 0; i < config->source_count; i++)
		add_source(&b, &config->sources[i]);
	for (size_t i = 0; i < config->meter_count; i++)
		add_meter(&b, &config->meters[i]);
	for (size_t i = 0; i < config->table_count; i++)
		add_table(&b, &config->tables[i]);
	for (size_t i = 0; i < config->correction_count; i++)
		add_correction(&b, &config->corrections[i]);
	uint64_t digest = digest64(0, b.data, b.length);
	buffer_release(&b);
	return digest;
}
