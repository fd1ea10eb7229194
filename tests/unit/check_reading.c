/*
 * The order of readings: laws of an order, and the sort against the C library's qsort(3).
 */
#include "unit.h"

#include <heatbook/reading.h>

#define FRAMES 12

static unsigned char *frames[FRAMES];
static uint64_t state;

/* Frames of few different records, some equal in different memory. */
static void make_frames(void)
{
	static const char *const texts[] = {"a", "b", "aa", "a"};
	for (size_t i = 0; i < FRAMES; i++) {
		struct buffer out = {0};
		struct record r = {.kind = i % 3 ? RECORD_MESSAGE : RECORD_LOST,
			.topic = texts[i % 4],
			.topic_length = strlen(texts[i % 4]),
			.payload = (const unsigned char *)texts[(i / 4) % 4],
			.payload_length = 1};
		record_write(&r, &out);
		frames[i] = xmalloc(out.length);
		memcpy(frames[i], out.data, out.length);
		buffer_release(&out);
	}
}

static void free_frames(void)
{
	for (size_t i = 0; i < FRAMES; i++)
		free(frames[i]);
}

static struct reading random_reading(int64_t t_ms)
{
	struct reading r = {.t_ms = t_ms,
		.frame = frames[unit_random(&state) % FRAMES],
		.place = (uint32_t)(unit_random(&state) % 3),
		.channel = (uint16_t)(unit_random(&state) % 2),
		.kind = (uint8_t)(READING_ALIVE + unit_random(&state) % 3)};
	return r;
}

static int compare(const void *a, const void *b)
{
	return reading_compare(a, b);
}

TEST(the_order_is_total_and_transitive)
{
	struct reading r[60];
	state = unit_seed();
	make_frames();
	for (size_t i = 0; i < ARRAY_LEN(r); i++)
		r[i] = random_reading((int64_t)(unit_random(&state) % 2));
	for (size_t i = 0; i < ARRAY_LEN(r); i++)
		for (size_t j = 0; j < ARRAY_LEN(r); j++) {
			int ij = reading_compare(&r[i], &r[j]);
			ck_assert_int_eq(ij, -reading_compare(&r[j], &r[i]));
			for (size_t k = 0; k < ARRAY_LEN(r); k++)
				if (ij <= 0 && reading_compare(&r[j], &r[k]) <= 0)
					ck_assert_int_le(
						reading_compare(&r[i], &r[k]), 0);
		}
	free_frames();
}
END

TEST(time_goes_before_kind_before_topic_before_bytes_before_place)
{
	struct record records[] = {
		{.kind = RECORD_LOST, .topic = "z", .topic_length = 1},
		{.kind = RECORD_MESSAGE, .topic = "a", .topic_length = 1},
		{.kind = RECORD_MESSAGE, .topic = "b", .topic_length = 1},
		{.kind = RECORD_MESSAGE,
			.topic = "b",
			.topic_length = 1,
			.payload = (const unsigned char *)"0",
			.payload_length = 1},
	};
	struct reading order[6];
	struct buffer out[4] = {0};
	for (size_t i = 0; i < 4; i++) {
		record_write(&records[i], &out[i]);
		order[i + 1] = (struct reading){
			.t_ms = 5, .frame = (unsigned char *)out[i].data, .place = 9};
	}
	order[0] = order[4];
	order[0].t_ms = 4;
	order[5] = order[4];
	order[5].place = 10;
	for (size_t i = 0; i < 6; i++)
		for (size_t k = 0; k < 6; k++)
			ck_assert_int_eq(
				reading_compare(&order[i], &order[k]), (i > k) - (i < k));
	for (size_t i = 0; i < 4; i++)
		buffer_release(&out[i]);
}
END

	static void
	assert_sorts(struct readings *all)
{
	struct reading *wanted = xmalloc((all->count + 1) * sizeof(*wanted));
	if (all->count)
		memcpy(wanted, all->items, all->count * sizeof(*wanted));
	qsort(wanted, all->count, sizeof(*wanted), compare);
	readings_sort(all);
	for (size_t i = 0; i < all->count; i++)
		ck_assert_int_eq(reading_compare(&wanted[i], &all->items[i]), 0);
	free(wanted);
}

TEST(sorting_agrees_with_the_c_library)
{
	state = unit_seed();
	make_frames();
	for (int round = 0; round < 600; round++) {
		struct readings all = {0};
		int64_t count = unit_random_between(&state, 0, 700);
		int64_t spread = round % 4 == 0 ? 3 : round % 4 == 1 ? 1000000 : 40;
		for (int64_t i = 0; i < count; i++) {
			int64_t base = round % 4 == 3 ? -i : round % 4 == 2 ? 2 * i : 0;
			struct reading r = random_reading(
				base + unit_random_between(&state, 0, spread));
			r.value = (double)i;
			readings_add(&all, &r);
		}
		assert_sorts(&all);
		readings_release(&all);
	}
	free_frames();
}
END

TEST(sorting_keeps_the_order_of_equals)
{
	state = unit_seed();
	make_frames();
	struct readings all = {0};
	for (int i = 0; i < 5000; i++) {
		struct reading r = {.t_ms = unit_random_between(&state, 0, 20),
			.frame = frames[0],
			.value = i};
		readings_add(&all, &r);
	}
	readings_sort(&all);
	for (size_t i = 1; i < all.count; i++)
		if (all.items[i - 1].t_ms == all.items[i].t_ms)
			ck_assert(all.items[i - 1].value < all.items[i].value);
	readings_release(&all);
	free_frames();
}
END

TEST(every_reason_has_words)
{
	for (int reason = 0; reason < BAD_REASON_COUNT; reason++)
		ck_assert_ptr_nonnull(bad_reason_text((enum bad_reason)reason));
}
END

TESTS(the_order_is_total_and_transitive,
	time_goes_before_kind_before_topic_before_bytes_before_place,
	sorting_agrees_with_the_c_library, sorting_keeps_the_order_of_equals,
	every_reason_has_words)
