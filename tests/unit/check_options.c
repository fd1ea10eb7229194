/*
 * The option table against itself, against the printed reference and against the sample
 * file that is installed.
 */
#include <heatbook/config.h>
#include <heatbook/options.h>

#include "unit.h"

/* One file in which every key may stand: a section of each kind. */
static const char *const bodies[SECTION_COUNT] = {
	[SECTION_PLANT] = "",
	[SECTION_BROKER] = "",
	[SECTION_CHANNEL] = "role = heat_register\ntopic = x/y\n",
	[SECTION_SOURCE] = "topics = z/#\n",
	[SECTION_METER] = "feeds = compressor\n",
	[SECTION_DECLARED] = "outdoor = 7\nflow_temperature = 35\ncop = 4.6\n",
	[SECTION_CORRECTION] = "channel = other\noffset = 1\nfrom = 2026-01-01\n",
	[SECTION_CHANGE] = "at = 2026-01-15\n",
	[SECTION_SITE] = "",
	[SECTION_TARIFF] = "price = 0.3\n",
	[SECTION_CARBON] = "intensity = 300\n",
	[SECTION_OTHER_HEAT] = "price = 0.1\nefficiency = 88 %\n",

	[SECTION_NOTICE] = "watch = missing own\n",
	[SECTION_MODES] = "",
	[SECTION_PAYLOAD] = "",
	[SECTION_TABLE] = "column.own = out\ninterval = 1 min\n",
	[SECTION_JOURNAL] = "",
	[SECTION_STORE] = "",
	[SECTION_HTTP] = "",
	[SECTION_PUBLISH] = "",
};

/* The file with a line more in the option's section; NULL = none. */
static struct config *with_line(const struct option *o, const char *value)
{
	struct buffer b = {0};
	struct config *config = NULL;
	struct faults faults = {0};
	buffer_add_text(&b, "[channel other]\ntopic = x/z\n");
	for (int k = 0; k < SECTION_COUNT; k++) {
		const struct section_declaration *d =
			section_declaration((enum section_kind)k);
		/* A table is a source, and no two of those bear one name. */
		const char *name = k == SECTION_TABLE ? " year" : " own";
		buffer_addf(&b, "[%s%s]\n%s", d->name, d->example ? name : "", bodies[k]);
		if (o && (int)o->section == k)
			buffer_addf(&b, "%s = %s\n", o->key, value);
	}
	int r = config_parse("t.conf", b.data, b.length, &config, &faults, NULL);
	ck_assert_msg(r == 0, "%s", faults.count ? faults.lines[0] : "?");
	buffer_release(&b);
	return config;
}

/* What the digest leaves out. */
static char *the_rest(const struct config *c)
{
	return xasprintf("%s %a %a|%s %d %s %s %s %d|%s %lld %lld|%s %lld|%s %d|%a",
		c->plant.name, c->plant.pair_limit.k, c->plant.flow_limit_percent,
		c->broker.host ? c->broker.host : "-", c->broker.port,
		c->broker.user ? c->broker.user : "-",
		c->broker.password_file ? c->broker.password_file : "-",
		c->broker.client_id ? c->broker.client_id : "-", c->broker.keepalive_s,
		c->journal.tail, (long long)c->journal.tail_bound_bytes,
		(long long)c->journal.keep_ms, c->store.file,
		(long long)c->store.commit_interval_ms, c->http.address, c->http.port,
		c->meters[0].limit_percent);
}

TEST(a_default_that_is_written_out_changes_nothing)
{
	size_t tried = 0;
	_cleanup_(config_freep) struct config *bare = with_line(NULL, NULL);
	_cleanup_(freep) char *bare_rest = the_rest(bare);
	for (const struct option *o = option_next(NULL); o; o = option_next(o)) {
		if (!o->fallback)
			continue;
		_cleanup_(config_freep) struct config *c = with_line(o, o->fallback);
		_cleanup_(freep) char *rest = the_rest(c);
		ck_assert_msg(c->mapping_digest == bare->mapping_digest &&
				      strcmp(rest, bare_rest) == 0,
			"%s = %s: %s, without %s", o->key, o->fallback, rest, bare_rest);
		tried++;
	}
	ck_assert_uint_gt(tried, 40);
}
END

TEST(every_option_is_declared_whole)
{
	int section = 0;
	for (const struct option *o = option_next(NULL); o; o = option_next(o)) {
		char why[256] = "";
		ck_assert_msg(!o->fallback != !o->example, "%s: one of both", o->key);
		ck_assert_msg(o->sentence && o->sentence[strlen(o->sentence) - 1] == '.',
			"%s: a sentence", o->key);
		ck_assert_msg(option_read(o, o->fallback ? o->fallback : o->example, NULL,
				      why) == 0,
			"%s: %s", o->key, why);
		ck_assert_ptr_eq(option_find(o->section, o->key), o);
		ck_assert_msg((o->type == OPTION_CHOICE || o->type == OPTION_DEVICES) ==
				      (o->words != NULL),
			"%s: words", o->key);
		ck_assert_msg(
			(int)o->section == section || (int)o->section == section + 1,
			"%s: in order", o->key);
		section = (int)o->section;
	}
	ck_assert_int_eq(section, SECTION_COUNT - 1);
	ck_assert_ptr_null(option_find(SECTION_PLANT, "feeds"));
	ck_assert_ptr_null(option_find(SECTION_PLANT, "column.x"));
	ck_assert_ptr_nonnull(option_find(SECTION_TABLE, "column.x"));
}
END

	/* The value in the way that the option's type is written. */
	static void
	written(const struct option *o, double value, char text[static 64])
{
	const char *unit = "";
	if (o->type == OPTION_SPAN || o->type == OPTION_LIMIT ||
		o->type == OPTION_SECONDS)
		unit = " ms";
	else if (o->type == OPTION_SIZE)
		unit = " B";
	(void)snprintf(text, 64, "%.15g%s", value, unit);
	if (*unit)
		(void)snprintf(text, 64, "%.0f%s", value, unit);
}

TEST(ranges_hold_their_ends_and_nothing_beyond)
{
	size_t tried = 0;
	for (const struct option *o = option_next(NULL); o; o = option_next(o)) {
		if (o->least >= o->most)
			continue;
		/* Just outside: a whole step of the smallest unit, or a small part. */
		bool fine = o->type == OPTION_QUANTITY || o->type == OPTION_NUMBER ||
			    o->type == OPTION_PRESSURE;
		double step = o->type == OPTION_SECONDS ? 1000 : 1;
		double below = fine && o->least > 0 ? o->least / 2 : step;
		double above = fine ? o->most * 1e-6 : step;
		const double values[] = {
			o->least, o->most, o->least - below, o->most + above};
		for (size_t k = 0; k < ARRAY_LEN(values); k++) {
			char text[64], why[256] = "";
			written(o, values[k], text);
			int r = option_read(o, text, NULL, why);
			ck_assert_msg(r == (k < 2 ? 0 : OPTION_REFUSED), "%s = %s: %s",
				o->key, text, why);
		}
		tried++;
	}
	ck_assert_uint_gt(tried, 20);
}
END

TEST(numbers_are_read_as_the_c_library_reads_them)
{
	static const char *const texts[] = {"0", "-0", "1", "+1", "0.1", ".5", "5.",
		"-2.50", "123456789012345", "0.000000000000001", "1e22", "1E-22",
		"1.7e+3", "0000000000000012", "3.14159265358979", "9.99999999999999e-8",
		"299792458", "6.62607015e-7"};
	const struct option *o = option_find(SECTION_CHANNEL, "offset");
	struct option any = *o;
	any.least = any.most = 0;
	any.offset = 0;
	for (size_t i = 0; i < ARRAY_LEN(texts); i++) {
		double value = 7;
		char why[256] = "";
		ck_assert_msg(option_read(&any, texts[i], &value, why) == 0, "%s: %s",
			texts[i], why);
		ck_assert_msg(value == strtod(texts[i], NULL), "%s gives %.17g", texts[i],
			value);
	}
}
END

TEST(spans_and_sizes_are_exact)
{
	static const struct {
		const char *text;
		int64_t value;
	} spans[] = {{"5 min", 300000}, {"26 h", 93600000},
		{"400 d", INT64_C(34560000000)}, {"1500 ms", 1500}, {"0.1 s", 100},
		{"1.5h", 5400000}, {"2e3 s", 2000000}},
	  sizes[] = {{"64 MB", 64000000}, {"1 MiB", 1048576}, {"2 GB", 2000000000},
		  {"1500 kB", 1500000}, {"1.5 GiB", 1610612736}, {"2000000 B", 2000000}};
	struct option span = *option_find(SECTION_JOURNAL, "keep");
	struct option size = *option_find(SECTION_JOURNAL, "tail_bound");
	span.least = span.most = size.least = size.most = 0;
	span.offset = size.offset = 0;
	int64_t value = 0;
	char why[256];
	for (size_t i = 0; i < ARRAY_LEN(spans); i++) {
		ck_assert_int_eq(option_read(&span, spans[i].text, &value, why), 0);
		ck_assert_int_eq(value, spans[i].value);
	}
	for (size_t i = 0; i < ARRAY_LEN(sizes); i++) {
		ck_assert_int_eq(option_read(&size, sizes[i].text, &value, why), 0);
		ck_assert_int_eq(value, sizes[i].value);
	}
	ck_assert_int_eq(option_read(&span, "0.0001 s", &value, why), OPTION_REFUSED);
	ck_assert_int_eq(option_read(&span, "-5 s", &value, why), OPTION_REFUSED);
	ck_assert_int_eq(option_read(&size, "5 m", &value, why), OPTION_REFUSED);
}
END

TEST(a_refused_value_leaves_the_field_alone)
{
	for (const struct option *o = option_next(NULL); o; o = option_next(o)) {
		_Alignas(max_align_t) unsigned char fields[512];
		unsigned char before[512];
		char why[256];
		memset(fields, 0, sizeof(fields));
		memcpy(before, fields, sizeof(fields));
		ck_assert_int_lt(o->offset, 500);
		if (option_read(o, "\x7f", fields, why) == 0) {
			if (o->offset >= 0)
				freep(fields + o->offset); /* a text took it */
			continue;
		}
		ck_assert_mem_eq(fields, before, sizeof(fields));
	}
}
END

	static char *
	sample_text(void)
{
	struct buffer b = {0};
	const char *path = data_path("../../etc/heatbook.conf");
	FILE *f = fopen(path, "re");
	ck_assert_msg(f != NULL, "%s: cannot open", path);
	for (size_t n = 1; n > 0; b.length += n) {
		buffer_reserve(&b, 4097);
		n = fread(b.data + b.length, 1, 4096, f);
	}
	(void)fclose(f); /* only read */
	(void)buffer_text(&b);
	return b.data;
}

TEST(every_option_stands_once_in_the_reference_beneath_its_section)
{
	struct buffer reference = {0};
	config_print_reference(&reference);
	const char *at = buffer_text(&reference);
	size_t count = 0, lines = 0;
	for (const char *p = at; (p = strstr(p, "\n#")); p++)
		lines += p[2] != ' ' && p[2] != '[';
	for (const struct option *o = option_next(NULL); o; o = option_next(o)) {
		const struct section_declaration *section =
			section_declaration(o->section);
		_cleanup_(freep) char *heading = xasprintf("\n#[%s", section->name);
		_cleanup_(freep) char *line = xasprintf(
			"\n#%s = %s\n", o->key, o->fallback ? o->fallback : o->example);
		if (o == section->options) {
			at = strstr(at, heading);
			ck_assert_msg(at != NULL, "%s", heading);
		}
		at = strstr(at, line);
		ck_assert_msg(at != NULL, "[%s]%s", section->name, line);
		count++;
	}
	ck_assert_uint_eq(lines, count);
	buffer_release(&reference);
}
END

TEST(the_sample_file_ends_with_the_reference)
{
	_cleanup_(freep) char *sample = sample_text();
	struct buffer reference = {0};
	config_print_reference(&reference);
	size_t length = strlen(sample);
	ck_assert_uint_gt(length, reference.length);
	const char *tail = sample + length - reference.length;
	for (size_t i = 0, line = 0; i < reference.length; i++) {
		if (i == 0 || reference.data[i - 1] == '\n')
			line = i;
		ck_assert_msg(tail[i] == reference.data[i],
			"the sample is stale at: %.*s",
			(int)strcspn(buffer_text(&reference) + line, "\n"),
			buffer_text(&reference) + line);
	}
	buffer_release(&reference);
}
END

TEST(the_sample_file_is_a_plant_that_answers_every_question)
{
	_cleanup_(freep) char *sample = sample_text();
	struct config *config = NULL;
	struct faults faults = {0}, notes = {0};
	int r = config_parse(
		"heatbook.conf", sample, strlen(sample), &config, &faults, &notes);
	ck_assert_msg(r == 0, "%s", faults.count ? faults.lines[0] : "?");
	ck_assert_msg(notes.count == 0, "%s", notes.count ? notes.lines[0] : "?");
	struct buffer out = {0};
	config_check_report(config, &out);
	ck_assert_msg(!strstr(buffer_text(&out), "needs"), "%s", buffer_text(&out));
	buffer_release(&out);
	config_free(config);
}
END

TESTS(a_default_that_is_written_out_changes_nothing, every_option_is_declared_whole,
	ranges_hold_their_ends_and_nothing_beyond,
	numbers_are_read_as_the_c_library_reads_them, spans_and_sizes_are_exact,
	a_refused_value_leaves_the_field_alone,
	every_option_stands_once_in_the_reference_beneath_its_section,
	the_sample_file_ends_with_the_reference,
	the_sample_file_is_a_plant_that_answers_every_question)
