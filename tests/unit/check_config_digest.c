/*
 * Tables as they are read, and what of a configuration is in the digest of its mapping:
 * all that decides rows, and nothing else.
 */
#include "configured.h"

TEST(a_table_is_read_whole)
{
	struct faults notes = {0};
	_cleanup_(config_freep) struct config *c = configured_noting(
		"[plant]\nzone = UTC\n[channel b]\nunit = °C\n[channel "
		"a]\n[channel lone]\n"
		"[channel x]\ntopic = x/y\n"
		"[table one]\nfiles = *.csv, year-??.txt\ntime = day + clock\n"
		"time_form = DD.MM.YYYY hh:mm:ss\nzone = Europe/Berlin\n"
		"interval = 10 min\ncovers = before\nsame_stamp = divide\n"
		"silent_after = none\ndelimiter = semicolon\ndecimal = comma\n"
		"header = yes\nmissing_words = -9999, Fault, -1.50\n"
		"column.a = Außen; innen\ncolumn.b = #3\nunit.b = °F\n"
		"[table two]\nname = what\nvalue = how much\ntime_form = s\n"
		"origin = 2026-01-01T00:00:00+01:00\ncolumn.x = boiler/out\n",
		&notes);
	ck_assert_uint_eq(notes.count, 1);
	ck_assert_str_eq(notes.lines[0], "test.conf:6: channel lone has no topic, and no "
					 "[table] has a column for it: "
					 "nothing feeds it");
	faults_release(&notes);

	ck_assert_uint_eq(c->table_count, 2);
	const struct table_config *t = &c->tables[config_table(c, "one")];
	ck_assert_int_eq(config_table(c, "three"), -1);
	ck_assert_uint_eq(t->file_count, 2);
	ck_assert_str_eq(t->files[1], "year-??.txt");
	ck_assert_str_eq(t->time_column, "day");
	ck_assert_str_eq(t->clock_column, "clock");
	ck_assert_str_eq(t->time_pattern, "DD.MM.YYYY hh:mm:ss");
	ck_assert_str_eq(t->zone, "Europe/Berlin");
	ck_assert_int_eq(t->interval_ms, 10 * MS_PER_MIN);
	ck_assert(t->covers_before);
	ck_assert_int_eq(t->same_stamp, SAME_STAMP_DIVIDE);
	ck_assert_int_eq(t->delimiter, DELIMITER_SEMICOLON);
	ck_assert_int_eq(t->decimal, DECIMAL_COMMA);
	ck_assert_int_eq(t->header, HEADER_YES);
	ck_assert_uint_eq(t->missing_word_count, 3);
	ck_assert_str_eq(t->missing_words[1], "fault");
	ck_assert_uint_eq(t->missing_number_count, 2);
	ck_assert_double_eq(t->missing_numbers[1], -1.5);
	ck_assert_uint_eq(t->column_count, 2);
	ck_assert_int_eq(t->columns[0].channel, config_channel(c, "b"));
	ck_assert_str_eq(t->columns[0].column, "#3");
	ck_assert_str_eq(t->columns[0].unit->symbol, "°F");
	ck_assert_str_eq(t->columns[1].column, "Außen; innen");
	ck_assert_ptr_null(t->columns[1].unit);
	ck_assert_str_eq(c->sources[t->source].name, "one");
	ck_assert_int_eq(c->sources[t->source].silent_after_ms, -1);
	ck_assert(c->sources[t->source].implicit);

	t = &c->tables[1];
	ck_assert_str_eq(t->name_column, "what");
	ck_assert_str_eq(t->value_column, "how much");
	ck_assert_int_eq(t->time_form, TIME_FORM_S);
	ck_assert_int_eq(t->origin_ms, INT64_C(1767222000000));
	ck_assert_str_eq(c->sources[t->source].name, "two");
	ck_assert_int_eq(c->sources[t->source].silent_after_ms, 10 * MS_PER_MIN);
	ck_assert_uint_eq(t->file_count, 0);
	ck_assert_int_eq(t->delimiter, DELIMITER_DETECT);
	ck_assert_int_eq(t->decimal, DECIMAL_DETECT);
	ck_assert_int_eq(t->header, HEADER_DETECT);
}
END

/* What only the import uses is no part of the mapping. */
TEST(the_digest_knows_what_of_a_table_decides_rows)
{
	static const struct {
		const char *line;
		bool decides;
	} lines[] = {{"interval = 1 min", true}, {"missing_words = x", true},
		{"silent_after = 5 min", true}, {"column.b = c", true},
		{"unit.a = kW", true}, {"name = n\nvalue = v", true},
		{"files = *.txt", false}, {"time = t", false},
		{"time_form = s\norigin = 2026-01-01T00:00:00Z", false},
		{"zone = Europe/Berlin", false}, {"year = 2026", false},
		{"delimiter = tab", false}, {"decimal = comma", false},
		{"header = yes", false}};
	static const char text[] = "[channel a]\nunit = W\n[channel b]\n"
				   "[table t]\ncolumn.a = x\n";
	_cleanup_(config_freep) struct config *bare = configured(text);
	for (size_t i = 0; i < ARRAY_LEN(lines); i++) {
		_cleanup_(freep) char *with = xasprintf("%s%s\n", text, lines[i].line);
		_cleanup_(config_freep) struct config *c = configured(with);
		ck_assert_msg(
			(c->mapping_digest != bare->mapping_digest) == lines[i].decides,
			"%s", lines[i].line);
	}
	_cleanup_(config_freep) struct config *one = configured(
		"[channel a]\n[channel b]\n[table t]\ncolumn.a = x\ncolumn.b = y\n");
	_cleanup_(config_freep) struct config *other = configured(
		"[channel a]\n[channel b]\n[table t]\ncolumn.b = y\ncolumn.a = x\n");
	ck_assert_uint_eq(one->mapping_digest, other->mapping_digest);
}
END

TEST(the_digest_is_of_the_meaning_and_not_of_the_text)
{
	static const char *const same[] = {
		"[plant]\nzone = UTC\nleast_flow = 2\n[channel valve]\ntopic = x\n"
		"map = 0:heating, 1:hot_water\nstale_after = 26 h\n[channel a]\ntopic = "
		"y\n",
		"# other words\n\n[channel valve] ; a valve\nstale_after = 1560 min\n\n"
		"map = 1:hot_water,0:heating\ntopic = x ; there\n[channel a]\ntopic = y\n"
		"[plant]\nleast_flow = 120 L/h\nzone = UTC\npressure = 200 kPa\n",
		"[broker]\nhost = h\n[http]\nport = 1\n[plant]\nname = Other\nzone = "
		"UTC\n"
		"least_flow = 2 L/min\nflow_limit = 5 %\npair_limit = 1 K\n[channel "
		"valve]\n"
		"role = valve\ntopic = x\nmap = 0:heating, 1:hot_water\nstale_after = 26 "
		"h\n"
		"retained = state\n[channel a]\ntopic = y\n[store]\nfile = /x\n",
	};
	uint64_t digests[ARRAY_LEN(same)];
	for (size_t i = 0; i < ARRAY_LEN(same); i++) {
		_cleanup_(config_freep) struct config *c = configured(same[i]);
		digests[i] = c->mapping_digest;
		ck_assert_msg(digests[i] == digests[0], "differs: %s", same[i]);
	}
}
END

TEST(the_digest_tells_every_change_that_decides_rows)
{
	/* Each is added to its section of the text below, alone. */
	static const struct {
		const char *section, *line;
	} changes[] = {
		{"", ""},
		{"plant", "pressure = 2.1 bar"},
		{"plant", "flow_sensor_pipe = flow"},
		{"plant", "heat_source = power"},
		{"plant", "least_flow = 1"},
		{"plant", "pressure = p"},
		{"plant", "source_fluid = ethylene_glycol\nsource_fluid_percent = 20 %"},
		{"plant", "source_fluid = ethylene_glycol\nsource_fluid_percent = 21 %"},
		{"modes", "compressor_on = 151 W"},
		{"modes", "overrun = 9 min"},
		{"modes", "freeze_outdoor = 4"},
		{"modes", "freeze_return = 14"},
		{"payload", "missing_words = n/a"},
		{"channel p", "topic = y"},
		{"channel p", "pointer = /a"},
		{"channel p", "pointer ="},
		{"channel p", "each = /a"},
		{"channel p", "senml = a"},
		{"channel p", "unit = kPa"},
		{"channel p", "scale = 2"},
		{"channel p", "offset = 1"},
		{"channel p", "integer_bits = 8"},
		{"channel p", "decimal = comma"},
		{"channel p", "thousands = yes"},
		{"channel p", "valid_least = 0"},
		{"channel p", "valid_most = 5"},
		{"channel p", "stale_after = none"},
		{"channel p", "retained = state"},
		{"channel p", "extremes = yes"},
		{"channel v", "map = 0:off, 1:on"},
		{"channel v", "map = 1:on, 0:off"},
		{"channel v", "map = 0:off, 2:on"},
		{"channel v", "role = valve"},
		{"source s", "topics = x/#"},
		{"source s", "topics = z/#"},
		{"source s", "will_topic = z"},
		{"source s", "will_gone = z"},
		{"source s", "silent_after = 9 min"},
		{"meter m", "power = w"},
		{"meter m", "less = n"},
		{"meter n", "apparent = yes"},
	};
	static const char *const sections[] = {"plant", "modes", "payload", "channel p",
		"channel v", "channel w", "source s", "meter m", "meter n"};
	uint64_t digests[ARRAY_LEN(changes)];
	for (size_t i = 0; i < ARRAY_LEN(changes); i++) {
		struct buffer b = {0};
		for (size_t k = 0; k < ARRAY_LEN(sections); k++) {
			const char *s = sections[k];
			bool here = strcmp(s, changes[i].section) == 0;
			bool topic = strncmp(s, "channel", 7) == 0 &&
				     !(here && strncmp(changes[i].line, "topic", 5) == 0);
			buffer_addf(&b, "[%s]\n%s%s%s%s\n", s,
				topic ? "topic = x/1\n" : "",
				strcmp(s, "meter m") == 0 ? "feeds = compressor\n" : "",
				strcmp(s, "meter n") == 0 ? "feeds = immersion\n" : "",
				here ? changes[i].line : "");
			if (strcmp(s, "channel p") == 0 &&
				!(here && strstr(changes[i].line, "unit")))
				buffer_add_text(&b, "unit = bar\n");
			if (strcmp(s, "channel w") == 0)
				buffer_add_text(&b, "unit = W\n");
		}
		_cleanup_(config_freep) struct config *c = configured(buffer_text(&b));
		digests[i] = c->mapping_digest;
		for (size_t k = 0; k < i; k++)
			ck_assert_msg(digests[k] != digests[i], "%s and %s",
				changes[k].line, changes[i].line);
		buffer_release(&b);
	}
}
END

/* What rules hold to counts where rules tell, and where a flag is held against them. */
TEST(the_digest_knows_where_rules_are_asked)
{
	static const char *const lines[] = {"[modes]\ndefrost_difference = 4 K\n",
		"[modes]\ndefrost_outdoor = 4\n", "[modes]\ndefrost_flow = 20 %\n",
		"[modes]\nhot_water_above = 15 K\n", "[modes]\ncylinder_rise = 1 K\n",
		"[modes]\ncompressor_off = 90 %\n", "[plant]\nnominal_flow = 14 L/min\n"};
	static const struct {
		const char *plant;
		bool asked;
	} plants[] = {
		{"[channel flow_temperature]\ntopic = f\n", false},
		{"[channel compressor_frequency]\ntopic = f\n", false},
		{"[channel defrost]\ntopic = f\n", true},
		{"[channel valve]\ntopic = f\nmap = 0:heating, 1:hot_water\n", true},
		{"[channel operating_mode]\ntopic = f\nmap = 0:off, 1:heating\n", true},
		{"[channel p]\ntopic = f\nunit = W\n"
		 "[meter m]\nfeeds = compressor\npower = p\n",
			true},
	};
	for (size_t p = 0; p < ARRAY_LEN(plants); p++) {
		_cleanup_(config_freep) struct config *bare = configured(plants[p].plant);
		for (size_t i = 0; i < ARRAY_LEN(lines); i++) {
			_cleanup_(freep) char *text =
				xasprintf("%s%s", plants[p].plant, lines[i]);
			_cleanup_(config_freep) struct config *c = configured(text);
			ck_assert_msg((c->mapping_digest != bare->mapping_digest) ==
					      plants[p].asked,
				"%s", text);
		}
	}
}
END

TESTS(a_table_is_read_whole, the_digest_knows_what_of_a_table_decides_rows,
	the_digest_is_of_the_meaning_and_not_of_the_text,
	the_digest_tells_every_change_that_decides_rows,
	the_digest_knows_where_rules_are_asked)
