/*
 * See shelf.h. A few answers in a row, the one asked last in front; each holds a share of
 * the library's response, which lives until the last client has it.
 */
#include "shelf.h"

#include <microhttpd.h>
#include <string.h>

#define ANSWERS_MOST 32
#define BYTES_MOST   ((size_t)4 << 20) /* of all bodies and keys */
#define BODY_MOST    ((size_t)1 << 20) /* of one */

struct place {
	struct buffer key;
	struct standing standing;
	struct shelved answer;
};

struct shelf {
	struct place *places[ANSWERS_MOST];
	size_t count;
	size_t bytes;
};

static size_t place_bytes(const struct place *place)
{
	return sizeof(*place) + place->key.length + place->answer.bytes;
}

static void drop(struct shelf *shelf, size_t i)
{
	struct place *place = shelf->places[i];
	shelf->count--;
	memmove(&shelf->places[i], &shelf->places[i + 1],
		(shelf->count - i) * sizeof(struct place *));
	shelf->bytes -= place_bytes(place);
	MHD_destroy_response(place->answer.whole);
	MHD_destroy_response(place->answer.unchanged);
	buffer_release(&place->key);
	free(place);
}

static void put_in_front(struct shelf *shelf, struct place *place, size_t from)
{
	memmove(&shelf->places[1], &shelf->places[0], from * sizeof(struct place *));
	shelf->places[0] = place;
}

struct shelf *shelf_new(void)
{
	return xcalloc(1, sizeof(struct shelf));
}

void shelf_clear(struct shelf *shelf)
{
	while (shelf->count > 0)
		drop(shelf, shelf->count - 1);
}

void shelf_free(struct shelf *shelf)
{
	if (!shelf)
		return;
	shelf_clear(shelf);
	free(shelf);
}

static bool still_stands(
	const struct standing *s, const struct generation *now, int64_t now_ms)
{
	return now_ms >= s->from_ms && now_ms < s->until_ms &&
	       generation_holds(&s->generation, now, s->before_minute);
}

const struct shelved *shelf_find(struct shelf *shelf, const struct buffer *key,
	struct store *store, int64_t now_ms)
{
	struct generation now;
	size_t i = 0;
	while (i < shelf->count && !buffer_equal(&shelf->places[i]->key, key))
		i++;
	if (i == shelf->count)
		return NULL;
	struct place *place = shelf->places[i];
	if (store_generation(store, &now) != 0 ||
		!still_stands(&place->standing, &now, now_ms)) {
		drop(shelf, i);
		return NULL;
	}
	put_in_front(shelf, place, i);
	return &place->answer;
}

/* One of two generations of a store holds what stands no more at the other: the later one
 * knows. What was made at another time of the clock is left to be found out. */
static void drop_fallen(struct shelf *shelf, const struct generation *now)
{
	for (size_t i = shelf->count; i-- > 0;) {
		const struct standing *s = &shelf->places[i]->standing;
		if (!generation_holds(&s->generation, now, s->before_minute))
			drop(shelf, i);
	}
}

void shelf_put(struct shelf *shelf, const struct buffer *key,
	const struct standing *standing, const struct shelved *answer)
{
	if (!standing->stands || answer->bytes > BODY_MOST) {
		MHD_destroy_response(answer->whole);
		MHD_destroy_response(answer->unchanged);
		return;
	}
	drop_fallen(shelf, &standing->generation);
	struct place *place = xcalloc(1, sizeof(*place));
	*place = (struct place){.standing = *standing, .answer = *answer};
	buffer_add(&place->key, key->data, key->length);
	while (shelf->count == ANSWERS_MOST ||
		(shelf->count > 0 && shelf->bytes + place_bytes(place) > BYTES_MOST))
		drop(shelf, shelf->count - 1);
	shelf->bytes += place_bytes(place);
	put_in_front(shelf, place, shelf->count++);
}
