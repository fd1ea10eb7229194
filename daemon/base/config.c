/*
 * A configuration from its text: the plain sections, the plant, and the frame around the
 * broker, channels, sources, meters and tables, which have files of their own. See
 * config.h.
 *
 * Nothing ends at the first fault: what cannot be read keeps its default, a reference
 * that cannot be resolved stays -1, and at the end a configuration with any fault is
 * thrown away.
 */
#include "config_load.h"

#include <heatbook/calendar.h>
#include <heatbook/notice.h>
#include <heatbook/tariff.h>

#include <errno.h>
#include <math.h>
#include <string.h>
#include <unistd.h>

#define FILE_MOST (1 << 20)

void faults_add(struct faults *faults, const char *format, ...)
{
	char *line = NULL;
	va_list args;
	va_start(args, format);
	if (vasprintf(&line, format, args) < 0)
		abort(); /* out of memory or a wrong format of our own */
	va_end(args);
	faults->lines = xrealloc(faults->lines, faults->count + 1, sizeof(char *));
	faults->lines[faults->count++] = line;
}

void faults_release(struct faults *faults)
{
	for (size_t i = 0; i < faults->count; i++)
		free(faults->lines[i]);
	free(faults->lines);
	*faults = (struct faults){0};
}

void entry_fault(struct loader *l, const struct section *section,
	const struct entry *entry, const char *format, ...)
{
	char what[512];
	va_list args;
	va_start(args, format);
	(void)vsnprintf(
		what, sizeof(what), format, args); /* a cut sentence is still one */
	va_end(args);
	remark(&l->faults, entry->line, "[%s%s%s] %s = %s: %s",
		section_declaration(section->kind)->name, *section->name ? " " : "",
		section->name, entry->key, entry->value, what);
}

void load_fields(struct loader *l, enum section_kind kind, const struct section *section,
	void *fields)
{
	char why[WHY_SIZE];
	for (const struct option *o = section_declaration(kind)->options; o->key; o++)
		if (o->fallback && o->offset >= 0 &&
			option_read(o, o->fallback, fields, why) != 0)
			abort(); /* a default of our own table that its range refuses */
	for (size_t i = 0; section && i < section->count; i++) {
		const struct entry *e = &section->entries[i];
		if (option_read(e->option, e->value, fields, why) != 0)
			entry_fault(l, section, e, "%s", why);
	}
}

size_t load_list(struct loader *l, const struct section *section,
	const struct entry *entry,
	bool (*check)(const char *item, char why[static WHY_SIZE]), char ***ret)
{
	char why[WHY_SIZE], **items = NULL;
	size_t count = 0, length = 0;
	for (const char *rest = entry->value; rest && *entry->value;) {
		const char *item = value_item(&rest, ',', &length);
		if (length == 0) {
			entry_fault(l, section, entry, "an item of the list is empty");
			continue;
		}
		items = xrealloc(items, count + 1, sizeof(*items));
		items[count] = xstrndup(item, length);
		if (check && !check(items[count], why))
			entry_fault(l, section, entry, "'%s': %s", items[count], why);
		count++;
	}
	*ret = items;
	return count;
}

char *load_file(struct loader *l, const struct section *section, const char *key)
{
	const struct entry *e = section_entry(section, key);
	if (!e || !*e->value)
		return NULL;
	const char *credentials = getenv("CREDENTIALS_DIRECTORY");
	bool is_path = strchr(e->value, '/');
	if (!is_path && !credentials) {
		remark(&l->notes, e->line,
			"[%s] %s = %s: has no /, so it names a credential, which the "
			"service has and this program, run by hand, has not",
			section_declaration(section->kind)->name, key, e->value);
		return xasprintf("$CREDENTIALS_DIRECTORY/%s", e->value);
	}
	char *path =
		is_path ? xstrdup(e->value) : xasprintf("%s/%s", credentials, e->value);
	if (access(path, F_OK) < 0)
		entry_fault(l, section, e, "%s", strerror(errno));
	return path;
}

static void list_free(char **items, size_t count)
{
	for (size_t i = 0; i < count; i++)
		free(items[i]);
	free(items);
}

unsigned load_devices(
	struct loader *l, const struct section *section, const struct entry *entry)
{
	char why[WHY_SIZE], **items = NULL;
	unsigned devices = 0;
	size_t count = load_list(l, section, entry, NULL, &items);
	for (size_t i = 0; i < count; i++) {
		int place = 0;
		if (!value_choice(items[i], entry->option->words, &place, why))
			entry_fault(l, section, entry, "'%s': %s", items[i], why);
		else if (devices & 1U << place)
			entry_fault(l, section, entry, "'%s' is named twice", items[i]);
		else
			devices |= 1U << place;
	}
	list_free(items, count);
	return devices;
}

static void load_payload(struct loader *l)
{
	struct config *c = l->config;
	const struct section *s = document_section(&l->document, SECTION_PAYLOAD);
	load_fields(l, SECTION_PAYLOAD, s, NULL);
	const struct option *option = option_find(SECTION_PAYLOAD, "missing_words");
	const struct entry *e = section_entry(s, "missing_words");
	_cleanup_(freep) char *fallback = xstrdup(option->fallback);
	const struct entry standard = {.option = option, .value = fallback};
	c->missing_word_count =
		load_list(l, s, e ? e : &standard, NULL, &c->missing_words);
	for (size_t i = 0; i < c->missing_word_count; i++)
		text_fold(c->missing_words[i], strlen(c->missing_words[i]));
}

static void load_pressure(struct loader *l, const struct section *s)
{
	struct plant_config *p = &l->config->plant;
	const struct option *option = option_find(SECTION_PLANT, "pressure");
	const struct entry *e = section_entry(s, "pressure");
	char why[WHY_SIZE];
	p->pressure_channel = -1;
	if (!value_quantity(
		    option->fallback, option->dimension, NULL, &p->pressure_bar, why))
		abort(); /* the default of our own table */
	if (!e || !*e->value)
		return;
	if (e->value[0] < 'a' || e->value[0] > 'z') {
		/* Told already when it is no pressure; then the default stays. */
		(void)value_quantity(
			e->value, option->dimension, NULL, &p->pressure_bar, why);
		return;
	}
	p->pressure_channel = config_channel(l->config, e->value);
	if (p->pressure_channel < 0)
		entry_fault(l, s, e,
			"there is no [channel %s]; must be a pressure, such as 2 "
			"bar, or a channel",
			e->value);
	else if (l->config->channels[p->pressure_channel].dimension != DIMENSION_PRESSURE)
		entry_fault(l, s, e,
			"channel %s is %s; must be a pressure, such as in bar", e->value,
			dimension_phrase(
				l->config->channels[p->pressure_channel].dimension));
}

static void load_plant(struct loader *l)
{
	struct plant_config *p = &l->config->plant;
	const struct section *s = document_section(&l->document, SECTION_PLANT);
	p->design_temperature_c = p->design_capacity_w = (double)NAN;
	load_fields(l, SECTION_PLANT, s, p);
	load_pressure(l, s);
	const struct entry *e = section_entry(s, "devices");
	if (e)
		p->devices = load_devices(l, s, e);
	load_circuit(l, s);
	if (!section_entry(s, "zone"))
		remark(&l->notes, s ? s->line : 1,
			"[plant] has no zone: days are those of UTC");
}

/* Sets the zone unless it is in force, so that a reload leaves the environment alone.
 * *ret_before gets the former setting when it was changed. */
static void set_zone(struct loader *l, char **ret_before)
{
	const struct section *s = document_section(&l->document, SECTION_PLANT);
	const struct entry *e = section_entry(s, "zone");
	const char *zone = l->config->plant.zone, *before = getenv("TZ");
	if (before && before[0] == ':' && strcmp(before + 1, zone) == 0 &&
		calendar_zone_digest() != 0)
		return;
	if (before)
		*ret_before = xstrdup(before);
	if (calendar_set_zone(zone) == 0)
		return;
	if (e && *e->value)
		entry_fault(l, s, e,
			"the system knows no such time zone; must be an IANA name, such "
			"as "
			"Europe/Berlin or UTC");
	else
		remark(&l->faults, s ? s->line : 1,
			"the system has no time zone data (%s is not found)", zone);
}

static void pass_on(const char *path, struct remarks *remarks, struct faults *faults)
{
	remarks_sort(remarks);
	for (size_t i = 0; faults && i < remarks->count; i++)
		faults_add(faults, "%s:%d: %s", path, remarks->items[i].line,
			remarks->items[i].text);
	remarks_release(remarks);
}

/* Which of two levels a flow is at can be told only if both are known. */
static void check_flows(struct loader *l)
{
	const struct section *s = document_section(&l->document, SECTION_MODES);
	const struct entry *e = s ? section_entry(s, "hot_water_flow") : NULL;
	double hot = l->config->modes.hot_water_lpm;
	double rooms = l->config->plant.nominal_lpm;
	if (e && hot > 0.0 && (rooms <= 0.0 || rooms == hot))
		entry_fault(
			l, s, e, "needs another nominal_flow in [plant] to be told from");
}

static void load_all(struct loader *l)
{
	struct config *c = l->config;
	const struct document *d = &l->document;
	load_fields(l, SECTION_MODES, document_section(d, SECTION_MODES), &c->modes);
	load_fields(
		l, SECTION_JOURNAL, document_section(d, SECTION_JOURNAL), &c->journal);
	load_fields(l, SECTION_STORE, document_section(d, SECTION_STORE), &c->store);
	load_broker(l);
	load_payload(l);
	load_http(l);
	load_channels(l);
	load_sources(l);
	load_meters(l);
	load_plant(l);
	check_devices(l);
	load_heat(l);
	load_limits(l);
	check_flows(l);
	load_tables(l);
	load_declared(l);
	load_publish(l);
	load_notices(l);
}

static int parse(const char *path, const char *text, size_t length,
	const struct config *former, struct config **ret, struct faults *faults,
	struct faults *notes)
{
	struct loader l = {.config = xcalloc(1, sizeof(*l.config))};
	_cleanup_(freep) char *zone_before = NULL;
	l.config->path = xstrdup(path);
	document_read(&l.document, text, length, &l.faults);
	load_all(&l);
	bool stays = !former || config_keeps_fixed(&l, former);
	if (stays)
		set_zone(&l, &zone_before);
	load_corrections(&l);
	load_changes(&l);
	load_cost(&l);
	l.config->broker_digest = config_section_digest(&l.document, SECTION_BROKER) +
				  config_section_digest(&l.document, SECTION_PUBLISH);
	document_release(&l.document);
	bool faulty = l.faults.count > 0;
	pass_on(path, &l.faults, faults);
	pass_on(path, &l.notes, faulty ? NULL : notes);
	if (faulty) {
		/* The configuration that stays in force keeps its zone. */
		if (zone_before && zone_before[0] == ':')
			(void)calendar_set_zone(
				zone_before + 1); /* was in force before */
		config_free(l.config);
		return CONFIG_FAULTY;
	}
	l.config->mapping_digest = config_mapping_digest(l.config);
	*ret = l.config;
	return 0;
}

int config_parse(const char *path, const char *text, size_t length, struct config **ret,
	struct faults *faults, struct faults *notes)
{
	return parse(path, text, length, NULL, ret, faults, notes);
}

static int load(const char *path, const struct config *former, struct config **ret,
	struct faults *faults, struct faults *notes)
{
	_cleanup_(fclosep) FILE *f = fopen(path, "re");
	if (!f)
		return -errno;
	_cleanup_(freep) char *text = xmalloc(FILE_MOST + 1);
	errno = 0;
	size_t length = fread(text, 1, FILE_MOST + 1, f);
	if (ferror(f))
		return errno ? -errno : -EIO;
	if (length > FILE_MOST)
		return -EFBIG;
	return parse(path, text, length, former, ret, faults, notes);
}

int config_load(const char *path, struct config **ret, struct faults *faults,
	struct faults *notes)
{
	return load(path, NULL, ret, faults, notes);
}

int config_reload(const struct config *former, struct config **ret, struct faults *faults,
	struct faults *notes)
{
	return load(former->path, former, ret, faults, notes);
}

static void channel_release(struct channel_config *c)
{
	for (size_t i = 0; i < c->map_count; i++)
		free(c->map[i].word);
	free(c->map);
	list_free(c->states, c->state_count);
	free(c->name);
	free(c->topic);
	free(c->pointer);
	free(c->each);
	free(c->senml);
	free(c->time_pointer);
}

static void source_release(struct source_config *s)
{
	list_free(s->topics, s->topic_count);
	free(s->name);
	free(s->will_topic);
	free(s->will_present);
	free(s->will_gone);
}

static void table_release(struct table_config *t)
{
	char *const texts[] = {t->name, t->name_column, t->value_column, t->time_column,
		t->clock_column, t->time_pattern, t->zone};
	for (size_t i = 0; i < t->column_count; i++)
		free(t->columns[i].column);
	for (size_t i = 0; i < ARRAY_LEN(texts); i++)
		free(texts[i]);
	list_free(t->missing_words, t->missing_word_count);
	list_free(t->files, t->file_count);
	free(t->missing_numbers);
	free(t->columns);
}

void config_free(struct config *config)
{
	if (!config)
		return;
	for (size_t i = 0; i < config->channel_count; i++)
		channel_release(&config->channels[i]);
	for (size_t i = 0; i < config->source_count; i++)
		source_release(&config->sources[i]);
	for (size_t i = 0; i < config->meter_count; i++)
		free(config->meters[i].name);
	for (size_t i = 0; i < config->table_count; i++)
		table_release(&config->tables[i]);
	for (size_t i = 0; i < config->correction_count; i++)
		free(config->corrections[i].name);
	for (size_t i = 0; i < config->declared_count; i++)
		free(config->declared[i].name);
	changes_free(config->changes, config->change_count);
	for (size_t i = 0; i < config->notice_count; i++)
		notice_release(&config->notices[i]);
	list_free(config->missing_words, config->missing_word_count);
	list_free(config->http.hosts, config->http.host_count);
	list_free(config->http.origins, config->http.origin_count);
	char *const texts[] = {config->path, config->plant.name, config->plant.zone,
		config->broker.host, config->broker.user, config->broker.password_file,
		config->broker.ca_file, config->broker.certificate_file,
		config->broker.key_file, config->broker.client_id, config->journal.tail,
		config->store.file, config->http.address, config->http.token_file,
		config->publish.prefix};
	for (size_t i = 0; i < ARRAY_LEN(texts); i++)
		free(texts[i]);
	free(config->channels);
	free(config->sources);
	free(config->meters);
	free(config->tables);
	free(config->corrections);
	free(config->declared);
	cost_config_free(config->cost);
	free(config->notices);
	free(config);
}

void config_freep(struct config **config)
{
	config_free(*config);
}
