/*
 * Law 5, efficiency is paired: at every boundary that a plant offers, exactly those
 * minutes count in which heat and every meter that the boundary needs are known for all
 * of it, told here from the stored known times; a partly known minute never counts; and
 * the quotient is of sums. What each boundary is made of has its own tests.
 */
#include "rounds.h"
#include "rows.h"

#include <heatbook/figures.h>

struct round {
	uint64_t seed;
	struct plant plant;
	struct door door;
	struct store *store;
	struct energy_minutes minutes;
	size_t paired; /* minutes, over all rounds */
};

static void begin(struct round *r, uint64_t seed)
{
	*r = (struct round){.seed = seed, .paired = r->paired};
	plant_make(&r->plant, seed,
		&(struct plant_wish){.records = 1500,
			.every_channel = seed % 2 == 0,
			.lasting = seed % 3 != 0});
	door_open(&r->plant, &r->door);
	door_import_all(&r->door, &r->plant, r->plant.to_ms + MS_PER_HOUR);
	r->store = door_store(&r->door, STORE_READ);
	rows_load(r->store, &r->minutes);
}

static void end(struct round *r)
{
	rows_release(&r->minutes);
	store_close(r->store);
	door_close(&r->door);
	plant_release(&r->plant);
}

static void ask(const struct round *r, const char *step, const struct boundary *boundary,
	struct energy_answer *ret)
{
	struct duration duration;
	int64_t *edges = NULL;
	size_t count = 0;
	int64_t from = floor_div(r->plant.from_ms, MS_PER_DAY) - 2, to = from + 8;
	ck_assert_int_eq(duration_parse(step, &duration), 0);
	ck_assert_int_eq(query_buckets(from * MS_PER_DAY, to * MS_PER_DAY, &duration,
				 100000, &edges, &count),
		0);
	ck_assert_int_eq(query_energy(r->store, edges, count, boundary, ret), 0);
	free(edges);
}

static void check_total(struct round *r, const struct boundary *boundary,
	const struct energy_answer *answer)
{
	struct energy_sum modes[MODE_COUNT] = {0};
	for (size_t i = 0; i < r->minutes.count; i++)
		sum_add(&modes[r->minutes.rows[i].mode], &r->minutes.rows[i].sum);
	for (size_t m = 0; m < MODE_COUNT; m++) {
		const char *field = sum_differs(&modes[m], &answer->total.modes[m]);
		ck_assert_msg(!field, "SEED=%llu: %s, %s: %s",
			(unsigned long long)r->seed, boundary->name,
			mode_name((enum mode)m), field);
	}
}

/* Every minute alone: none of it counts, or all of it but cooling. */
static void check_minutes(struct round *r, const struct boundary *boundary,
	const struct energy_answer *answer)
{
	for (size_t i = 0; i < answer->count; i++) {
		const struct energy_bucket *b = &answer->buckets[i];
		int64_t paired = 0, observed = 0;
		for (size_t m = 0; m < MODE_COUNT; m++) {
			paired += b->modes[m].paired_ms;
			observed += m == MODE_COOLING ? 0 : b->modes[m].observed_ms;
		}
		int64_t cooling = b->modes[MODE_COOLING].observed_ms;
		ck_assert_msg(paired == 0 || (paired == observed &&
						     paired + cooling == MS_PER_MIN),
			"SEED=%llu: %s: minute %lld counts for %lld ms",
			(unsigned long long)r->seed, boundary->name,
			(long long)(b->t_ms / MS_PER_MIN), (long long)paired);
	}
}

static void check_quotients(struct round *r, const struct boundary *boundary,
	const struct energy_answer *answer)
{
	const struct question q = {.config = r->door.config, .boundary = *boundary};
	for (size_t i = 0; i < answer->count; i++) {
		int64_t heat = 0, electricity = 0;
		for (size_t m = 0; m < MODE_COUNT; m++) {
			heat += answer->buckets[i].modes[m].paired_heat_j;
			electricity += answer->buckets[i].modes[m].paired_electricity_j;
		}
		struct figures f = figures_whole(&answer->buckets[i], &q);
		if (!f.cells[COP].known)
			continue;
		double expect = (double)heat / (double)electricity * 1e6;
		ck_assert_msg(fabs((double)f.cells[COP].value - expect) <=
				      0.5 + 1e-9 * fabs(expect),
			"SEED=%llu: %s: quotient %lld, not %f",
			(unsigned long long)r->seed, boundary->name,
			(long long)f.cells[COP].value, expect);
	}
}

static void check_boundary(struct round *r, const struct boundary *boundary)
{
	static struct energy_answer minutes, hours, days;
	ck_assert_uint_eq(boundary->needs,
		boundary->meters | boundary->heat_less | boundary->heat_plus);
	r->paired += rows_pair(&r->minutes, r->door.config, boundary);
	ask(r, "PT1M", boundary, &minutes);
	ask(r, "PT1H", boundary, &hours);
	ask(r, "P1D", boundary, &days);
	check_total(r, boundary, &minutes);
	check_total(r, boundary, &hours);
	check_total(r, boundary, &days);
	check_minutes(r, boundary, &minutes);
	check_quotients(r, boundary, &hours);
	check_quotients(r, boundary, &days);
	energy_answer_release(&minutes);
	energy_answer_release(&hours);
	energy_answer_release(&days);
}

TEST(a_minute_counts_iff_all_that_the_boundary_needs_is_known)
{
	static struct round r;
	FOR_ROUNDS(seed, 6)
	{
		struct boundary list[BOUNDARIES_MOST];
		begin(&r, seed);
		size_t count = boundary_list(r.door.config, list);
		for (size_t i = 0; i < count; i++)
			check_boundary(&r, &list[i]);
		end(&r);
	}
	printf("# %zu minutes counted\n", r.paired);
	ck_assert_uint_gt(r.paired, 0);
}
END_TEST

TESTS(a_minute_counts_iff_all_that_the_boundary_needs_is_known)
