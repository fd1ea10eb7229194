/*
 * The places in a JSON payload. See survey.h.
 *
 * Objects and arrays are walked to their leaves, each of which is a place. Two kinds of
 * array are more than their elements: a SenML pack (RFC 8428), whose records are places
 * by name, and an array of objects that each bear a time of their own, whose members are
 * places of all elements together. Of other arrays the first elements are places by
 * index.
 */
#include "survey.h"

#include "senml.h"

#include <heatbook/reading.h>

#include <string.h>

#define ELEMENTS_MOST 32

struct walk {
	struct survey_message *m;
	const char *each; /* the array of readings that this is in, or NULL */
	struct buffer path;
	int64_t t_ms; /* of the element, else the stamp */
};

static void walk_value(struct walk *w, const cJSON *item, const struct unit *beside);

/* RFC 6901, section 3: ~ and / in a key are escaped. */
static void add_token(struct buffer *path, const char *key)
{
	buffer_add_text(path, "/");
	for (; *key; key++) {
		if (*key == '~')
			buffer_add_text(path, "~0");
		else if (*key == '/')
			buffer_add_text(path, "~1");
		else
			buffer_add(path, key, 1);
	}
}

/* ---- leaves ---- */

static void take_leaf(struct walk *w, const cJSON *item, const struct unit *beside)
{
	struct place *place = survey_place(w->m, w->each ? PLACE_EACH : PLACE_JSON,
		w->each ? w->each : "", buffer_text(&w->path));
	if (!place)
		return;
	place_report(place, w->m, w->t_ms);
	if (cJSON_IsNumber(item))
		place_take_number(place, w->m, item->valuedouble, beside);
	else if (cJSON_IsString(item))
		place_take_text(
			place, w->m, item->valuestring, strlen(item->valuestring));
	else if (cJSON_IsBool(item))
		place_take_truth(place, cJSON_IsTrue(item));
	else if (cJSON_IsNull(item))
		place_take_missing(place);
	else
		place_take_bad(place, BAD_STRUCTURE, "", 0);
	if (beside && cJSON_IsNumber(item))
		place->unit_beside = true;
}

/* The unit that an object's member names for the numbers beside it. */
static const struct unit *unit_of(const cJSON *object)
{
	static const char *const keys[] = {"unit", "units", "uom", "u"};
	for (const cJSON *item = object->child; item; item = item->next)
		for (size_t i = 0; i < ARRAY_LEN(keys); i++)
			if (cJSON_IsString(item) && *item->valuestring &&
				strcmp(item->string, keys[i]) == 0)
				return unit_find(
					item->valuestring, strlen(item->valuestring));
	return NULL;
}

static void walk_object(struct walk *w, const cJSON *object)
{
	const struct unit *beside = unit_of(object);
	size_t length = w->path.length;
	for (const cJSON *item = object->child; item; item = item->next) {
		add_token(&w->path, item->string);
		walk_value(w, item, beside);
		w->path.length = length;
	}
}

/* ---- arrays ---- */

/* The element's own time among its members, or -1. */
static int64_t time_in(const cJSON *element, int64_t stamp_ms)
{
	int64_t t_ms;
	for (const cJSON *item = element->child; item; item = item->next) {
		if (cJSON_IsNumber(item) &&
			survey_instant_number(item->valuedouble, stamp_ms, &t_ms))
			return t_ms;
		if (cJSON_IsString(item) &&
			survey_instant_text(item->valuestring, strlen(item->valuestring),
				stamp_ms, &t_ms))
			return t_ms;
	}
	return -1;
}

static bool is_dated(const cJSON *array, int64_t stamp_ms)
{
	for (const cJSON *item = array->child; item; item = item->next)
		if (!cJSON_IsObject(item) || time_in(item, stamp_ms) < 0)
			return false;
	return array->child != NULL;
}

static void walk_dated(struct walk *w, const cJSON *array)
{
	_cleanup_(freep) char *each = xstrdup(buffer_text(&w->path));
	struct walk inner = {.m = w->m, .each = each};
	for (const cJSON *item = array->child; item; item = item->next) {
		inner.t_ms = time_in(item, w->m->t_ms);
		walk_object(&inner, item);
	}
	buffer_release(&inner.path);
}

static void walk_array(struct walk *w, const cJSON *array)
{
	size_t length = w->path.length;
	unsigned index = 0;
	if (!w->each && is_dated(array, w->m->t_ms)) {
		walk_dated(w, array);
		return;
	}
	for (const cJSON *item = array->child; item && index < ELEMENTS_MOST;
		item = item->next, index++) {
		buffer_addf(&w->path, "/%u", index);
		walk_value(w, item, NULL);
		w->path.length = length;
	}
}

static void walk_value(struct walk *w, const cJSON *item, const struct unit *beside)
{
	if (cJSON_IsObject(item))
		walk_object(w, item);
	else if (cJSON_IsArray(item))
		walk_array(w, item);
	else
		take_leaf(w, item, beside);
}

/* ---- SenML ---- */

/* A pack by the standard, with at least one name and one value. */
static bool is_pack(const cJSON *root)
{
	struct senml pack = {.next = root->child};
	struct senml_record record;
	bool value = false;
	int result;
	while ((result = senml_next(&pack, &record)) == SENML_RECORD) {
		bool any = record.is_number || record.is_bool || record.text;
		if (any && !record.name[0])
			return false;
		value |= any;
	}
	return result == SENML_END && value;
}

static void take_record(struct survey_message *m, const struct senml_record *record)
{
	if (!record->is_number && !record->is_bool && !record->text)
		return;
	struct place *place = survey_place(m, PLACE_SENML, "", record->name);
	if (!place)
		return;
	double t_ms = senml_time_ms(record, m->t_ms);
	bool dated = record->time_s > 0 && t_ms > 0 && t_ms < 4e12;
	place->own_time |= dated;
	place_report(place, m, dated ? (int64_t)t_ms : m->t_ms);
	if (record->is_number)
		place_take_number(place, m, record->number,
			record->unit ? unit_find(record->unit, strlen(record->unit))
				     : NULL);
	else if (record->is_bool)
		place_take_truth(place, record->truth);
	else
		place_take_text(place, m, record->text, strlen(record->text));
}

void survey_json(struct survey_message *m, const cJSON *root)
{
	struct walk w = {.m = m, .t_ms = m->t_ms};
	if (cJSON_IsArray(root) && is_pack(root)) {
		struct senml pack = {.next = root->child};
		struct senml_record record;
		while (senml_next(&pack, &record) == SENML_RECORD)
			take_record(m, &record);
		return;
	}
	walk_value(&w, root, NULL);
	buffer_release(&w.path);
}
