/*
 * Stored states: codes are given once for ever, so that rows, carried state and answers
 * keep their meaning when the words of a map are put into another order or take another
 * name.
 *
 * Reference: store.h and query.h. That a rebuild gives the rows of a fresh store is
 * law 2.
 */
#include "filed.h"

#include <heatbook/query.h>

#define PLANT "[plant]\nzone = UTC\n"
#define FAN(map)                                                                         \
	PLANT "[channel fan]\ntopic = a/fan\nmap = " map "\nstale_after = none\n"        \
	      "[source a]\ntopics = a/#\nsilent_after = none\n"
#define BEFORE  FAN("0:still, 1:slow, 2:fast")
#define TURNED  FAN("2:fast, 1:slow, 0:still")
#define RENAMED FAN("0:still, 1:gentle, 2:fast")

#define AT(minute)     ((DAY * MIN_PER_DAY + (minute)) * MS_PER_MIN)
#define MINUTE(minute) (DAY * MIN_PER_DAY + (minute))

/* The word answered for a span; "-" for none. */
static const char *word(struct filed *f, int64_t from_minute, int64_t to_minute)
{
	static char text[32];
	const int64_t edges[] = {AT(from_minute), AT(to_minute)};
	const int channel = 0;
	struct series_answer answer;

	ck_assert_int_eq(query_series(f->store, edges, 1, &channel, 1, &answer), 0);
	const struct series_column *column = &answer.columns[0];
	double code = column->mean[0];
	bool named = code >= 0 && code < (double)column->states.count;
	(void)snprintf(text, sizeof(text), "%s",
		named ? column->states.names[(size_t)code] : "-");
	series_answer_release(&answer);
	return text;
}

/* Still from 00:10, slow from 01:00, fast from 02:00, an unknown word from 03:00. */
static struct filed filed_fan(void)
{
	struct filed f = filed_new(BEFORE);
	file_message(&f, AT(10), "a/fan", "0");
	file_message(&f, AT(60), "a/fan", "1");
	file_message(&f, AT(120), "a/fan", "2");
	file_message(&f, AT(180), "a/fan", "hurricane");
	(void)derive_until(&f, MINUTE(MIN_PER_DAY));
	ck_assert_int_eq(
		store_set_fact(f.store, FACT_DERIVED_UNTIL_MS, AT(MIN_PER_DAY)), 0);
	return f;
}

static void expect_words(struct filed *f, const char *slow)
{
	ck_assert_str_eq(word(f, 10, 60), "still");
	ck_assert_str_eq(word(f, 60, 120), slow);
	ck_assert_str_eq(word(f, 61, 62), slow);
	ck_assert_str_eq(word(f, 120, 180), "fast");
	ck_assert_str_eq(word(f, 180, 240), "-");
}

TEST(words_in_another_order_keep_the_meaning_of_rows)
{
	struct filed f = filed_fan();
	expect_words(&f, "slow");
	filed_reconfigure(&f, TURNED);
	expect_words(&f, "slow");
	filed_reconfigure(&f, BEFORE);
	expect_words(&f, "slow");
	filed_free(&f);
}
END

TEST(a_renamed_state_is_a_new_one_and_rows_keep_the_old)
{
	struct filed f = filed_fan();
	filed_reconfigure(&f, RENAMED);
	expect_words(&f, "slow"); /* it is no longer configured, but it was so */
	ck_assert_int_eq(store_dirty_add(f.store, AT(0), AT(MIN_PER_DAY)), 0);
	while (deriver_respan(f.deriver) == 0)
		;
	(void)derive_until(&f, MINUTE(MIN_PER_DAY));
	expect_words(&f, "gentle");
	ck_assert_int_eq(
		sql_number(f.store, "SELECT code FROM states WHERE name = 'gentle'"), 3);
	ck_assert_int_eq(
		sql_number(f.store, "SELECT code FROM states WHERE name = 'slow'"), 1);
	filed_free(&f);
}
END

TEST(a_reader_with_other_words_adds_none_and_answers_the_stored)
{
	struct filed f = filed_fan();
	struct store *writer = f.store;
	struct config *other = configured_in(f.stored->directory, RENAMED);
	char why[256];

	ck_assert_msg(store_open(other, STORE_READ, &f.store, why) == 0, "%s", why);
	expect_words(&f, "slow");
	store_close(f.store);
	f.store = writer;
	ck_assert_int_eq(sql_number(f.store, "SELECT count(*) FROM states"), 3);
	config_free(other);
	filed_free(&f);
}
END

/* The state carried over midnight is known by its name. */
TEST(a_state_that_holds_over_midnight_outlives_another_order)
{
	struct filed f = filed_new(BEFORE);
	file_message(&f, AT(600), "a/fan", "2");
	(void)derive_until(&f, MINUTE(MIN_PER_DAY));
	filed_reconfigure(&f, TURNED);
	while (deriver_respan(f.deriver) == 0)
		;
	ck_assert_int_eq(
		store_dirty_add(f.store, AT(MIN_PER_DAY), AT(MIN_PER_DAY + 30)), 0);
	(void)derive_until(&f, MINUTE(MIN_PER_DAY + 30));
	ck_assert_int_eq(
		store_set_fact(f.store, FACT_DERIVED_UNTIL_MS, AT(MIN_PER_DAY + 30)), 0);
	ck_assert_str_eq(word(&f, MIN_PER_DAY, MIN_PER_DAY + 30), "fast");
	filed_free(&f);
}
END

/* In minutes, hours and answers alike, whatever the codes are. */
TEST(of_states_that_held_equally_long_the_last_by_name_counts)
{
	static const char *const plants[] = {BEFORE, TURNED};
	for (size_t i = 0; i < ARRAY_LEN(plants); i++) {
		struct filed f = filed_new(plants[i]);
		file_message(&f, AT(0), "a/fan", "2");
		file_message(&f, AT(0) + 30000, "a/fan", "0"); /* half a minute each */
		file_message(&f, AT(30), "a/fan", "1");
		(void)derive_until(&f, MINUTE(60));
		ck_assert_int_eq(
			store_set_fact(f.store, FACT_DERIVED_UNTIL_MS, AT(60)), 0);
		ck_assert_str_eq(word(&f, 0, 1), "still");
		ck_assert_str_eq(word(&f, 29, 31), "still");
		ck_assert_str_eq(word(&f, 0, 60), "still");
		filed_free(&f);
	}
}
END

/* Law 2: a rebuild under the new order gives what a fresh store would hold. */
TEST(a_rebuild_gives_the_words_of_a_fresh_store)
{
	struct filed old = filed_fan(), fresh = filed_new(TURNED);
	filed_reconfigure(&old, TURNED);
	while (deriver_respan(old.deriver) == 0)
		;
	ck_assert_int_eq(store_dirty_add(old.store, AT(0), AT(MIN_PER_DAY)), 0);
	(void)derive_until(&old, MINUTE(MIN_PER_DAY));
	file_message(&fresh, AT(10), "a/fan", "0");
	file_message(&fresh, AT(60), "a/fan", "1");
	file_message(&fresh, AT(120), "a/fan", "2");
	file_message(&fresh, AT(180), "a/fan", "hurricane");
	(void)derive_until(&fresh, MINUTE(MIN_PER_DAY));
	ck_assert_int_eq(
		store_set_fact(fresh.store, FACT_DERIVED_UNTIL_MS, AT(MIN_PER_DAY)), 0);
	for (int64_t m = 0; m < 240; m += 7) {
		_cleanup_(freep) char *was = xstrdup(word(&old, m, m + 7));
		ck_assert_str_eq(was, word(&fresh, m, m + 7));
	}
	filed_free(&old);
	filed_free(&fresh);
}
END

TESTS(words_in_another_order_keep_the_meaning_of_rows,
	a_renamed_state_is_a_new_one_and_rows_keep_the_old,
	a_reader_with_other_words_adds_none_and_answers_the_stored,
	a_state_that_holds_over_midnight_outlives_another_order,
	of_states_that_held_equally_long_the_last_by_name_counts,
	a_rebuild_gives_the_words_of_a_fresh_store)
