/*
 * Generations of a store: what rows are still as they were, told without asking for them.
 * Reference: query.h's contract.
 */
#include "stored.h"

#include <heatbook/query.h>

#define PLANT                                                                            \
	"[plant]\nzone = Europe/Berlin\n"                                                \
	"[channel room_temperature]\ntopic = a/room\n"

static struct generation of(struct store *store)
{
	struct generation g;
	ck_assert_int_eq(store_generation(store, &g), 0);
	return g;
}

static bool holds(
	struct store *store, const struct generation *then, int64_t before_minute)
{
	struct generation now = of(store);
	return generation_holds(then, &now, before_minute);
}

static void add_pending(struct store *store, int64_t minute)
{
	struct made made;
	made_at(&made, minute);
	made_channel(&made, 0, 20.5, MS_PER_MIN);
	made_heat(&made, MODE_HEATING, 60000);
	ck_assert_int_eq(store_pending_add(store, &made.minute), 0);
}

static void commit_pending(struct store *store)
{
	ck_assert_int_eq(store_begin(store), 0);
	ck_assert_int_eq(store_pending_move(store), 0);
	ck_assert_int_eq(store_commit(store), 0);
}

TEST(pending_minutes_leave_what_lies_before_them)
{
	struct stored *s = stored_new(PLANT);
	struct generation then = of(s->store);
	ck_assert(holds(s->store, &then, INT64_MAX));
	add_pending(s->store, START + 5);
	ck_assert(holds(s->store, &then, START + 5));
	ck_assert(!holds(s->store, &then, START + 6));
	ck_assert(!holds(s->store, &then, INT64_MAX));
	then = of(s->store);
	ck_assert(holds(s->store, &then, INT64_MAX));
	add_pending(s->store, START + 6);
	ck_assert(holds(s->store, &then, START + 5));
	ck_assert(!holds(s->store, &then, START + 7));
	add_pending(s->store, START + 2); /* a clock that was set back */
	ck_assert(!holds(s->store, &then, START + 3));
	ck_assert(holds(s->store, &then, START + 2));
	stored_free(s);
}
END

TEST(a_commit_ends_a_generation_and_begins_one)
{
	struct stored *s = stored_new(PLANT);
	add_pending(s->store, START + 5);
	struct generation then = of(s->store);
	commit_pending(s->store);
	ck_assert(!holds(s->store, &then, START));
	then = of(s->store);
	add_pending(s->store, START + 9);
	ck_assert(holds(s->store, &then, START + 9));
	ck_assert(!holds(s->store, &then, START + 10));
	stored_free(s);
}
END

/* Rows of any table, by whatever statement. */
TEST(every_write_ends_a_generation)
{
	struct stored *s = stored_new(PLANT);
	struct generation then = of(s->store);
	ck_assert_int_eq(store_set_fact(s->store, FACT_VERSION, 7), 0);
	ck_assert(!holds(s->store, &then, START));
	then = of(s->store);
	sql_run(s->store, "INSERT INTO minutes (minute) VALUES (5), (6)");
	ck_assert(!holds(s->store, &then, START));
	then = of(s->store);
	sql_run(s->store, "DELETE FROM minutes");
	ck_assert(!holds(s->store, &then, START));
	then = of(s->store);
	sql_run(s->store, "SELECT * FROM minutes");
	ck_assert(holds(s->store, &then, INT64_MAX));
	stored_free(s);
}
END

TEST(another_process_ends_a_generation_when_it_commits)
{
	struct stored *s = stored_new(PLANT);
	struct store *other = NULL;
	char why[256];
	ck_assert_int_eq(store_open(s->config, STORE_WRITE, &other, why), 0);
	struct generation then = of(s->store);
	ck_assert_int_eq(store_begin(other), 0);
	ck_assert_int_eq(store_bump_version(other), 0);
	ck_assert(holds(s->store, &then, INT64_MAX));
	ck_assert_int_eq(store_commit(other), 0);
	ck_assert(!holds(s->store, &then, START));
	store_close(other);
	stored_free(s);
}
END

TESTS(pending_minutes_leave_what_lies_before_them,
	a_commit_ends_a_generation_and_begins_one, every_write_ends_a_generation,
	another_process_ends_a_generation_when_it_commits)
