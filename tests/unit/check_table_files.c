/*
 * Which [table] section reads which file, what of it is in the digest, and what is
 * proposed for a file that none reads.
 */
#include "table_outcome.h"

TEST(files_are_matched_by_their_name)
{
	static const char text[] = "[channel a]\n[table one]\nfiles = *.csv, log-?.txt\n"
				   "column.a = x\n[table two]\nfiles = b*.csv\n"
				   "column.a = x\n[table three]\ncolumn.a = x\n";
	static const struct {
		const char *path;
		int table;
	} cases[] = {{"a.csv", 0}, {"/var/log/a.csv", 0}, {"a.csv.gz", 0},
		{"x/a.csv.zst", 0}, {"log-1.txt", 0}, {"log-10.txt", TABLE_NONE},
		{"b.csv", TABLE_SEVERAL}, {"b/a.csv", 0}, {"a.csv/x.log", TABLE_NONE},
		{"three", TABLE_NONE}, {".gz", TABLE_NONE}, {"A.CSV", TABLE_NONE}};
	struct config *config = NULL;
	struct faults faults = {0};
	ck_assert_int_eq(
		config_parse("t", text, sizeof(text) - 1, &config, &faults, NULL), 0);
	for (size_t i = 0; i < ARRAY_LEN(cases); i++)
		ck_assert_msg(table_of_file(config, cases[i].path) == cases[i].table,
			"%s", cases[i].path);
	config_free(config);
}
END

/* A file that was read wrongly can be read again; one that was read alike is known. */
TEST(the_digest_is_of_what_decides_records)
{
	static const struct {
		const char *line;
		bool decides;
	} cases[] = {{"zone = Europe/Berlin", true}, {"time = t", true},
		{"time_form = iso", true}, {"year = 2025", true},
		{"interval = 1 min", true}, {"delimiter = tab", true},
		{"decimal = comma", true}, {"header = yes", true},
		{"name = n\nvalue = v", true}, {"column.b = z", true},
		{"files = *.csv", false}, {"silent_after = 1 h", false},
		{"missing_words = x", false}, {"unit.a = W", false}};
	_cleanup_(config_freep) struct config *bare = configured("column.a = x\n");
	uint64_t digest = table_digest(&bare->tables[0], NULL, "UTC");
	for (size_t i = 0; i < ARRAY_LEN(cases); i++) {
		struct config *c = NULL;
		struct faults faults = {0};
		_cleanup_(freep) char *text =
			xasprintf("[channel a]\nunit = kW\n[channel b]\n[table t]\n"
				  "column.a = x\n%s\n",
				cases[i].line);
		ck_assert_msg(
			config_parse("t", text, strlen(text), &c, &faults, NULL) == 0,
			"%s", faults.count ? faults.lines[0] : "?");
		ck_assert_msg((table_digest(&c->tables[0], NULL, "UTC") != digest) ==
				      cases[i].decides,
			"%s", cases[i].line);
		config_free(c);
	}
	ck_assert(table_digest(&bare->tables[0], "Asia/Kathmandu", "UTC") != digest);
	ck_assert(table_digest(&bare->tables[0], NULL, "Asia/Kathmandu") != digest);
	ck_assert(table_digest(&bare->tables[0], "UTC", "Asia/Kathmandu") == digest);
}
END

/* What is proposed passes the check as it stands, and reads the file that it is for. */
TEST(a_proposal_reads_its_file)
{
	static const struct {
		const char *path, *file;
		const char *has[4];
	} cases[] = {
		{"/x/year-2026.csv.gz", "Zeit;Vorlauf;Text\n31.01.2026 14:05;35,2;gut\n",
			{"[channel vorlauf]", "[table year_2026]",
				"files = year-2026.csv\n", "column.vorlauf = Vorlauf\n"}},
		{"log.txt", "1769868300\t35.2\t30.1\n1769868310\t35.2\t30.1\n",
			{"time = #1\n", "column.column_2 = #2\n",
				"column.column_3 = #3\n", "[table log]"}},
		{"1.csv", "t,a,a,flow_min,\xe4\xf6,x ;y\n2026-01-31T14:05Z,1,2,3,4,5\n",
			{"[table table]", "column.column_2 = #2\n",
				"column.flow = flow_min", "column.column_6 = #6\n"}},
		{"-",
			"\xef\xbb\xbf"
			"time,out\n2026-01-31T14:05Z,-1.5\n",
			{"time = time\n", "column.out = out\n", "[table table]",
				"[channel"}},
	};
	for (size_t i = 0; i < ARRAY_LEN(cases); i++) {
		struct buffer b = {0};
		struct config *c = NULL;
		struct faults faults = {0};
		const char *file = cases[i].file;
		ck_assert_msg(table_propose(cases[i].path, file, strlen(file), &b), "%s",
			cases[i].path);
		for (size_t k = 0; k < 4; k++)
			ck_assert_msg(strstr(buffer_text(&b), cases[i].has[k]) != NULL,
				"no '%s' in\n%s", cases[i].has[k], buffer_text(&b));
		int r = config_parse("t", b.data, b.length, &c, &faults, NULL);
		ck_assert_msg(r == 0, "%s in\n%s", faults.count ? faults.lines[0] : "?",
			buffer_text(&b));
		struct outcome o = {.result = 0};
		const struct table_sink sink = {take_row, take_rejected, &o};
		struct table_reader *reader = NULL;
		ck_assert_int_eq(
			table_reader_new(&c->tables[0], NULL, "UTC", NOW, &sink, &reader),
			0);
		for (const char *at = file; *at; at += strcspn(at, "\n") + 1)
			ck_assert_int_eq(
				table_reader_line(reader, at, strcspn(at, "\n")), 0);
		ck_assert_int_eq(table_reader_end(reader), 0);
		ck_assert_uint_ge(table_reader_counts(reader).rows, 1);
		ck_assert_uint_eq(table_reader_counts(reader).rejected, 0);
		table_reader_free(reader);
		outcome_release(&o);
		buffer_release(&b);
		config_free(c);
	}
}
END

TEST(what_is_no_table_gets_no_proposal)
{
	static const char *const files[] = {"", "\n", "one line, no more",
		"1769868300.5 a/b {\"x\":1,\"y\":2}\n1769868301.5 a/b "
		"{\"x\":1,\"y\":2}\n",
		"{\"kind\":\"message\",\"t_ms\":1}\n{\"kind\":\"start\",\"t_ms\":2}\n",
		"Dear reader\nthe plant runs well\n", "1.5,2.5\n1.5,2.5\n"};
	struct buffer b = {0};
	for (size_t i = 0; i < ARRAY_LEN(files); i++)
		ck_assert_msg(!table_propose("x", files[i], strlen(files[i]), &b) &&
				      b.length == 0,
			"%s", files[i]);
	buffer_release(&b);
}
END

TESTS(files_are_matched_by_their_name, the_digest_is_of_what_decides_records,
	a_proposal_reads_its_file, what_is_no_table_gets_no_proposal)
