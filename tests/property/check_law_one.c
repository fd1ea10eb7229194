/*
 * Law 1, one way: the same records give byte-identical minute, hour and day rows
 * whichever door they came through, in whichever split or order they were imported. And
 * of law 2, that what was derived can be deleted and rebuilt.
 *
 * SEED and ROUNDS in the environment set the first plant and their number; a failure
 * names the seed of its plant, which repeats it with ROUNDS=1. With many rounds set
 * CK_TIMEOUT_MULTIPLIER too. The expectation is one import of everything in order.
 */
#include "doors.h"
#include "rounds.h"

#include <heatbook/engine.h>
#include <heatbook/query.h>

#include <string.h>

struct round {
	uint64_t seed, random;
	struct plant plant;
	struct door reference;
	int64_t now_ms; /* of the reference's import */
	char what[64];
};

static const char *name(struct round *r, const char *door)
{
	(void)snprintf(r->what, sizeof(r->what), "SEED=%llu: %s",
		(unsigned long long)r->seed, door);
	return r->what;
}

static int64_t later(struct round *r)
{
	return r->plant.to_ms + unit_random_between(&r->random, 0, 30 * MS_PER_HOUR);
}

/* Nothing was imported yet. */
static void begin_empty(struct round *r, uint64_t seed)
{
	*r = (struct round){.seed = seed, .random = seed + 77};
	plant_make(&r->plant, seed,
		&(struct plant_wish){.records = 1500,
			.clocks = true,
			.corrections = true,
			.rules = seed % 3 != 0,
			.lines = seed % 2 == 0,
			.registers = true});
	r->now_ms = later(r);
	door_open(&r->plant, &r->reference);
}

static void begin(struct round *r, uint64_t seed)
{
	begin_empty(r, seed);
	door_import_all(&r->reference, &r->plant, r->now_ms);
	door_check(&r->reference, name(r, "import"));
}

static void end(struct round *r)
{
	door_close(&r->reference);
	plant_release(&r->plant);
}

static void compare(struct round *r, struct door *door, const char *what)
{
	doors_compare(&r->reference, door, name(r, what));
	door_check(door, name(r, what));
}

static size_t *shuffled(struct round *r)
{
	size_t n = r->plant.count, *order = xmalloc(n * sizeof(*order));
	for (size_t i = 0; i < n; i++)
		order[i] = i;
	for (size_t i = n; i-- > 1;) {
		size_t j = plant_choose(&r->random, i + 1), swap = order[i];
		order[i] = order[j];
		order[j] = swap;
	}
	return order;
}

TEST(an_import_gives_the_same_rows_in_any_order_of_lines)
{
	FOR_ROUNDS(seed, 2)
	{
		struct round r;
		struct door door;
		begin(&r, seed);
		_cleanup_(freep) size_t *order = shuffled(&r);
		door_open(&r.plant, &door);
		door_import(&door, &r.plant, order, r.plant.count, later(&r));
		compare(&r, &door, "shuffled import");
		door_close(&door);
		end(&r);
	}
}
END_TEST

/* Pieces of neighbours, taken in random order; the clock may stand amid them. */
static void import_pieces(struct round *r, const struct door *door)
{
	size_t n = r->plant.count, edges[9] = {0}, count = 1;
	_cleanup_(freep) size_t *order = xmalloc(n * sizeof(*order));
	int64_t now = unit_random_between(&r->random, r->plant.from_ms, r->plant.to_ms);

	for (size_t i = 0; i < n; i++)
		order[i] = i;
	for (size_t i = 0; i < 7 && count < ARRAY_LEN(edges) - 1; i++) {
		size_t next = edges[count - 1] + plant_choose(&r->random, n / 3 + 1);
		if (next < n && next > edges[count - 1])
			edges[count++] = next;
	}
	edges[count] = n;
	unsigned left = (1u << count) - 1;
	while (left) {
		size_t i = plant_choose(&r->random, count);
		if (!(left & 1u << i))
			continue;
		left &= ~(1u << i);
		if (!left)
			now = later(r); /* the clock may have been set back */
		door_import(
			door, &r->plant, order + edges[i], edges[i + 1] - edges[i], now);
		now += unit_random_between(&r->random, 0, 5 * MS_PER_HOUR);
	}
}

TEST(imports_of_pieces_give_the_same_rows_in_any_order)
{
	FOR_ROUNDS(seed, 2)
	{
		struct round r;
		struct door door;
		begin(&r, seed);
		door_open(&r.plant, &door);
		import_pieces(&r, &door);
		compare(&r, &door, "pieces");
		door_close(&door);
		end(&r);
	}
}
END_TEST

TEST(the_live_way_and_its_export_give_the_same_rows)
{
	FOR_ROUNDS(seed, 2)
	{
		struct round r;
		struct door door, again;
		begin(&r, seed);
		door_open(&r.plant, &door);
		door_open(&r.plant, &again);
		int64_t end_ms = later(&r);
		door_live(&door, &r.plant, &r.random, 0, end_ms);
		compare(&r, &door, "live");
		door_import_export(&door, &again, end_ms);
		compare(&r, &again, "export of live");
		door_close(&door);
		door_close(&again);
		end(&r);
	}
}
END_TEST

TEST(imports_beside_the_live_way_give_the_same_rows)
{
	FOR_ROUNDS(seed, 2)
	{
		struct round r;
		struct door door;
		begin(&r, seed);
		door_open(&r.plant, &door);
		door_live(&door, &r.plant, &r.random, seed % 2 ? 8 : 50, later(&r));
		compare(&r, &door, "import beside live");
		door_close(&door);
		end(&r);
	}
}
END_TEST

TEST(a_rebuild_gives_the_same_rows)
{
	FOR_ROUNDS(seed, 2)
	{
		struct round r;
		struct door door;
		begin(&r, seed);
		door_open(&r.plant, &door);
		door_import_all(&door, &r.plant, r.now_ms);
		door_rebuild(&door, seed % 2, r.now_ms);
		compare(&r, &door, seed % 2 ? "rebuild of nothing" : "rebuild");
		door_close(&door);
		end(&r);
	}
}
END_TEST

/* By the hour up to the last derived minute. */
static void ask(struct round *r, const struct door *door, struct energy_answer *ret)
{
	const struct boundary none = {.name = "none"};
	int64_t until_ms = door_derived_until_ms(door), *edges_ms;
	struct store *store = door_store(door, STORE_READ);
	size_t count;
	ck_assert_int_eq(query_buckets(r->plant.from_ms, until_ms,
				 &(struct duration){.exact_ms = MS_PER_HOUR}, 10000,
				 &edges_ms, &count),
		0);
	ck_assert_int_eq(query_energy(store, edges_ms, count, &none, ret), 0);
	free(edges_ms);
	store_close(store);
}

static bool same_sums(const struct energy_bucket *a, const struct energy_bucket *b)
{
	bool same = memcmp(a->unplaced_j, b->unplaced_j, sizeof(a->unplaced_j)) == 0;
	for (int m = 0; m < MODE_COUNT; m++)
		same = same &&
		       a->modes[m].heat_provisional_j == b->modes[m].heat_provisional_j &&
		       memcmp(a->modes[m].meter_provisional_j,
			       b->modes[m].meter_provisional_j,
			       sizeof(a->modes[m].meter_provisional_j)) == 0;
	return same;
}

/* Where rows come some minutes behind readings, what is told of a span may be of one of
 * these, or not yet. */
static void compare_open(struct round *r, const struct door *door,
	const struct energy_answer *a, const struct energy_answer *b)
{
	bool lags = engine_lag_min(door->config) > 0;
	ck_assert_uint_eq(a->count, b->count);
	for (size_t q = 0; q < COUNTED_MOST; q++) {
		const struct energy_open *one = &a->open[q], *two = &b->open[q];
		ck_assert_msg(one->open == two->open && one->begin_ms == two->begin_ms,
			"%s: span %zu", r->what, q);
		ck_assert_msg(lags || (one->compared == two->compared &&
					      memcmp(&one->span, &two->span,
						      sizeof(one->span)) == 0),
			"%s: what is told of span %zu", r->what, q);
	}
	for (size_t i = 0; i < a->count; i++)
		ck_assert_msg(same_sums(&a->buckets[i], &b->buckets[i]), "%s: hour %zu",
			r->what, i);
	ck_assert_msg(same_sums(&a->total, &b->total), "%s: total", r->what);
}

TEST(what_is_provisional_is_the_same_live_and_made_again)
{
	FOR_ROUNDS(seed, 2)
	{
		struct round r;
		begin_empty(&r, seed);
		struct door *door = &r.reference;
		int64_t end_ms = later(&r);
		door_live(door, &r.plant, &r.random, 0, end_ms);
		(void)name(&r, "provisional");
		static struct energy_answer live, again; /* they are large */
		ask(&r, door, &live);
		door_rebuild(door, true, end_ms);
		ask(&r, door, &again);
		compare_open(&r, door, &live, &again);
		energy_answer_release(&live);
		energy_answer_release(&again);
		end(&r);
	}
}
END_TEST

/* Which records come later, and the order of the others, of which it answers how many:
 * the first four after a midnight, the rest anywhere. */
static size_t hold_back(struct round *r, size_t *held, size_t most, size_t *order)
{
	size_t n = r->plant.count, count = 0, midnight = 0;
	int64_t day = floor_div(r->plant.from_ms, MS_PER_DAY) + 1;
	while (midnight < n && plant_record(&r->plant, midnight).t_ms < day * MS_PER_DAY)
		midnight++;
	for (size_t i = 0; i < most; i++) {
		size_t near = midnight + 2 * i;
		held[i] = i < 4 && near < n ? near : plant_choose(&r->random, n);
	}
	for (size_t k = 0; k < n; k++) {
		bool later = false;
		for (size_t i = 0; i < most; i++)
			later = later || held[i] == k;
		if (!later)
			order[count++] = k;
	}
	return count;
}

/* Where rules tell modes, or temperatures go along lines, a record decides minutes before
 * its own: each of some comes alone, after all that follow it, those around midnight
 * among them. */
TEST(records_that_come_alone_decide_the_minutes_before_them)
{
	FOR_ROUNDS(seed, 2)
	{
		struct round r = {.seed = seed, .random = seed + 99};
		struct door door;
		size_t held[12];
		plant_make(&r.plant, seed,
			&(struct plant_wish){.span_ms = 26 * MS_PER_HOUR,
				.records = 4000,
				.no_own_times = true,
				.lasting = true,
				.rules = true,
				.lines = seed % 2 == 0});
		r.now_ms = r.plant.to_ms + MS_PER_HOUR;
		door_open(&r.plant, &r.reference);
		door_import_all(&r.reference, &r.plant, r.now_ms);
		_cleanup_(freep) size_t *order = xmalloc(r.plant.count * sizeof(*order));
		size_t count = hold_back(&r, held, ARRAY_LEN(held), order);
		door_open(&r.plant, &door);
		door_import(&door, &r.plant, order, count, r.now_ms);
		for (size_t i = 0; i < ARRAY_LEN(held); i++)
			door_import(&door, &r.plant, &held[i], 1, r.now_ms);
		compare(&r, &door, "records alone");
		door_close(&door);
		end(&r);
	}
}
END_TEST

TESTS(an_import_gives_the_same_rows_in_any_order_of_lines,
	imports_of_pieces_give_the_same_rows_in_any_order,
	the_live_way_and_its_export_give_the_same_rows,
	imports_beside_the_live_way_give_the_same_rows,
	what_is_provisional_is_the_same_live_and_made_again,
	a_rebuild_gives_the_same_rows,
	records_that_come_alone_decide_the_minutes_before_them)
