/*
 * What a channel said, out of the journal. Words that no map names: of messages in every
 * form and of tables' rows, of a span and no other, the most frequent first; and how a
 * finding quotes them. How often it said anything at all.
 */
#include "filed.h"

#include "../../daemon/insight/finding.h"
#include "../../daemon/insight/said.h"

#define PLANT                                                                            \
	"[plant]\nzone = UTC\n"                                                          \
	"[channel bare]\ntopic = a/+\nmap = on:on, off:off\n"                            \
	"[channel inside]\ntopic = b\npointer = /v\nmap = 1:on, false:off\n"             \
	"[channel late]\ntopic = c\neach = /s\npointer = /v\nmap = x:x, y:y\n"           \
	"time = payload\ntime_pointer = /t\n"                                            \
	"[channel pack]\ntopic = d\nsenml = s\nmap = x:x, y:y\n"                         \
	"[channel number]\ntopic = a/+\nunit = W\n"                                      \
	"[table log]\ncolumn.cell = state\n[channel cell]\nmap = x:x, y:y\n"

#define AT(seconds) (DAY * MS_PER_DAY + (seconds)*1000)

/* "Abtauen*3 ruhe": what a channel said in [from, to). */
static const char *said(
	struct filed *f, const char *channel, int64_t from_s, int64_t to_s)
{
	static struct buffer out;
	struct said_words words = {0};
	int index = config_channel(store_config(f->store), channel);
	ck_assert_int_ge(index, 0);
	ck_assert_int_eq(said_words_of(f->store, index, AT(from_s), AT(to_s), &words), 0);
	said_words_sort(&words);
	buffer_reset(&out);
	for (size_t i = 0; i < words.count; i++) {
		const struct said_word *w = &words.items[i];
		buffer_addf(&out, "%s%.*s", i ? " " : "", (int)w->length, w->text);
		if (w->count > 1)
			buffer_addf(&out, "*%d", (int)w->count);
	}
	return buffer_text(&out);
}

static void file_row(struct filed *f, int64_t t_ms, const char *row)
{
	static const char head[] = ",.when,state";
	struct filer *filer = filer_new(f->store, f->decoder, 0);
	struct record record = message(t_ms, "log", row);
	record.kind = RECORD_ROW;
	record.head = head;
	record.head_length = sizeof(head) - 1;
	ck_assert_int_eq(store_begin(f->store), 0);
	ck_assert_int_eq(filer_add(filer, &record), 0);
	ck_assert_int_eq(filer_flush(filer), 0);
	ck_assert_int_eq(store_commit(f->store), 0);
	filer_free(filer);
}

TEST(words_are_those_of_the_channel_and_the_span)
{
	struct filed f = filed_new(PLANT);
	file_message(&f, AT(10), "a/1", "Abtauen");
	file_message(&f, AT(20), "a/2", "ruhe\n");
	file_message(&f, AT(30), "a/1", "ABTAUEN");
	file_message(&f, AT(40), "a/1", "on");
	file_message(&f, AT(50), "a/1", "n/a");
	file_message(&f, AT(60), "z", "Abtauen");
	file_message(&f, AT(70), "a/1", "zu");
	ck_assert_str_eq(said(&f, "bare", 0, 100), "Abtauen*2 ruhe zu");
	ck_assert_str_eq(said(&f, "bare", 20, 70), "ABTAUEN ruhe");
	ck_assert_str_eq(said(&f, "bare", 100, 200), "");
	ck_assert_str_eq(said(&f, "number", 0, 100), "");
	filed_free(&f);
}
END

TEST(words_come_out_of_every_form)
{
	struct filed f = filed_new(PLANT);
	file_message(&f, AT(1), "b", "{\"v\":\"drei\"}");
	file_message(&f, AT(2), "b", "{\"v\":7.5}");
	file_message(&f, AT(3), "b", "{\"v\":true}");
	file_message(&f, AT(4), "b", "{\"v\":1}");
	file_message(&f, AT(5), "b", "{\"v\":null}");
	ck_assert_str_eq(said(&f, "inside", 0, 100), "7.5 drei true");
	file_message(&f, AT(100), "c",
		"{\"s\":[{\"t\":1767225610,\"v\":\"p\"},{\"t\":1767225620,\"v\":\"q\"}]"
		"}");
	ck_assert_str_eq(said(&f, "late", 0, 20), "p");
	ck_assert_str_eq(said(&f, "late", 0, 1000), "p q");
	file_message(&f, AT(100), "d",
		"[{\"n\":\"s\",\"vs\":\"z\"},{\"n\":\"t\",\"vs\":\"w\"}]");
	file_message(&f, AT(101), "d", "[{\"n\":\"s\",\"v\":3}]");
	file_message(&f, AT(102), "d", "[{\"n\":\"s\",\"vb\":true}]");
	ck_assert_str_eq(said(&f, "pack", 0, 1000), "3 true z");
	file_row(&f, AT(200), "1,halb");
	file_row(&f, AT(201), "2,\"ganz, da\"");
	file_row(&f, AT(202), "3,x");
	ck_assert_str_eq(said(&f, "cell", 0, 1000), "ganz, da halb");
	filed_free(&f);
}
END

TEST(a_damaged_chunk_tells_nothing_and_stops_nothing)
{
	struct filed f = filed_new(PLANT);
	file_message(&f, AT(10), "a/1", "first");
	file_message(&f, AT(20), "a/1", "second");
	sql_run(f.store, "UPDATE chunks SET data = x'00' WHERE id = 1");
	ck_assert_str_eq(said(&f, "bare", 0, 100), "second");
	filed_free(&f);
}
END

TEST(so_many_words_are_kept_and_the_rest_is_left_out)
{
	struct filed f = filed_new(PLANT);
	for (int i = 0; i < 2 * SAID_WORDS_MOST; i++) {
		char text[32];
		(void)snprintf(text, sizeof(text), "word %d", i);
		file_message(&f, AT(i), "a/1", text);
	}
	struct said_words words = {0};
	ck_assert_int_eq(said_words_of(f.store, 0, AT(0), AT(1000), &words), 0);
	ck_assert_uint_eq(words.count, SAID_WORDS_MOST);
	filed_free(&f);
}
END

	static struct finding
	finding(void)
{
	return (struct finding){.kind = FINDING_STATE_UNKNOWN,
		.subject = "valve",
		.since_ms = AT(0),
		.evidence = xstrdup("Evidence."),
		.remedy = xstrdup("Remedy.")};
}

TEST(a_finding_quotes_what_was_said_made_fit_to_be_read)
{
	struct said_words words = {.count = 2};
	struct finding f = finding();
	memcpy(words.items[0].text, "Abtauen", 7);
	words.items[0].length = 7;
	memcpy(words.items[1].text, "\x1b[31m\xff", 6);
	words.items[1].length = 6;
	finding_quote(&f, &words);
	ck_assert_str_eq(
		f.evidence, "Evidence. It said \"Abtauen\", \"\\x1b[31m\\xff\".");
	ck_assert_str_eq(f.remedy, "Add them to the map of [channel valve], as "
				   "word:state, then heatbookd rebuild --from "
				   "2026-01-01.");
	finding_release(&f);
	f = finding();
	words.count = 7;
	finding_quote(&f, &words);
	ck_assert_ptr_nonnull(strstr(f.evidence, "\"\", \"\" and 2 others."));
	finding_release(&f);
	f = finding();
	words.count = 0;
	finding_quote(&f, &words);
	ck_assert_str_eq(f.evidence, "Evidence.");
	ck_assert_str_eq(f.remedy, "Remedy.");
	finding_release(&f);
}
END

	/* Messages of one value so many seconds apart, over and over. */
	static bool
	is_often(const int *apart_s, size_t count)
{
	struct filed f = filed_new(PLANT);
	int channel = config_channel(store_config(f.store), "number");
	bool often = false;
	for (int t_s = 0, i = 0; t_s < 9000; i++) {
		file_message(&f, AT(t_s), "a/1", "1500");
		t_s += apart_s[(size_t)i % count];
	}
	ck_assert_int_eq(
		said_often(f.store, channel, AT(0), AT(7200), 180000, &often), 0);
	filed_free(&f);
	return often;
}

/* A lost message, or two at once, are no other beat; on change there is none. */
TEST(what_is_said_by_the_minute_or_on_change_is_said_often)
{
	static const int minute[] = {60, 61, 59}, beat[] = {300},
			 lost[] = {300, 300, 299, 301, 600}, twice[] = {2, 298},
			 change[] = {240, 900, 1300, 310, 2000}, seldom[] = {2400};
	ck_assert(is_often(minute, ARRAY_LEN(minute)));
	ck_assert(!is_often(beat, ARRAY_LEN(beat)));
	ck_assert(!is_often(lost, ARRAY_LEN(lost)));
	ck_assert(!is_often(twice, ARRAY_LEN(twice)));
	ck_assert(is_often(change, ARRAY_LEN(change)));
	ck_assert(!is_often(seldom, ARRAY_LEN(seldom)));
}
END

/* Of another channel, or of another time, nothing is counted. */
TEST(what_the_journal_does_not_tell_is_not_said_often)
{
	struct filed f = filed_new(PLANT);
	bool often = true;
	for (int t_s = 0; t_s < 3600; t_s += 60)
		file_message(&f, AT(t_s), "b", "{\"v\":1}");
	ck_assert_int_eq(said_often(f.store, 0, AT(0), AT(7200), 180000, &often), 0);
	ck_assert(!often);
	ck_assert_int_eq(said_often(f.store, 1, AT(7200), AT(10800), 180000, &often), 0);
	ck_assert(!often);
	filed_free(&f);
}
END

TESTS(what_is_said_by_the_minute_or_on_change_is_said_often,
	what_the_journal_does_not_tell_is_not_said_often, words_are_those_of_the_channel_and_the_span, words_come_out_of_every_form,
	a_damaged_chunk_tells_nothing_and_stops_nothing,
	so_many_words_are_kept_and_the_rest_is_left_out,
	a_finding_quotes_what_was_said_made_fit_to_be_read)
