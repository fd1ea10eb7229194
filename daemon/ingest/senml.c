/*
 * SenML packs (RFC 8428) in JSON. See senml.h.
 *
 * Sections 4.1 to 4.6: bn, bt, bu, bv, bs hold for their record and those after it until
 * they are given anew; names and values are base plus own, the unit is the own or the
 * base's. A number counts as missing only if neither the value nor its base is there. A
 * sum is taken where a record has no value. Data values (vd) are no reading.
 */
#include "senml.h"

#include <string.h>

#define RELATIVE_BELOW 268435456.0 /* 2^28 */
#define VERSION_MOST   10

/* A record's fields by label; NULL = absent. */
enum label {
	BN,
	BT,
	BU,
	BV,
	BS,
	BVER,
	NAME,
	UNIT,
	VALUE,
	TEXT,
	TRUTH,
	DATA,
	SUM,
	TIME,
	UPDATE,
	LABELS
};
static const struct {
	const char *label;
	int type; /* of cJSON; cJSON_True stands for both */
} labels[LABELS] = {
	[BN] = {"bn", cJSON_String},
	[BT] = {"bt", cJSON_Number},
	[BU] = {"bu", cJSON_String},
	[BV] = {"bv", cJSON_Number},
	[BS] = {"bs", cJSON_Number},
	[BVER] = {"bver", cJSON_Number},
	[NAME] = {"n", cJSON_String},
	[UNIT] = {"u", cJSON_String},
	[VALUE] = {"v", cJSON_Number},
	[TEXT] = {"vs", cJSON_String},
	[TRUTH] = {"vb", cJSON_True},
	[DATA] = {"vd", cJSON_String},
	[SUM] = {"s", cJSON_Number},
	[TIME] = {"t", cJSON_Number},
	[UPDATE] = {"ut", cJSON_Number},
};

static bool has_type(const cJSON *item, int type)
{
	return type == cJSON_True ? cJSON_IsBool(item) : (item->type & 0xff) == type;
}

/* Sorts a record's members by label. False when one is not as the standard says. */
static bool find_fields(
	const cJSON *record, const cJSON *fields[static LABELS], bool *repeated)
{
	if (!cJSON_IsObject(record))
		return false;
	for (const cJSON *item = record->child; item; item = item->next) {
		size_t i = 0, length = strlen(item->string);
		while (i < LABELS && strcmp(labels[i].label, item->string) != 0)
			i++;
		if (i == LABELS) {
			if (length > 0 && item->string[length - 1] == '_')
				return false; /* must be understood */
			continue;
		}
		if (!has_type(item, labels[i].type))
			return false;
		*repeated |= fields[i] != NULL;
		if (!fields[i])
			fields[i] = item;
	}
	return !fields[BVER] || fields[BVER]->valuedouble <= VERSION_MOST;
}

static void take_base(struct senml *pack, const cJSON *const fields[static LABELS])
{
	if (fields[BN])
		pack->base_name = fields[BN]->valuestring;
	if (fields[BU])
		pack->base_unit = fields[BU]->valuestring;
	if (fields[BT])
		pack->base_time = fields[BT]->valuedouble;
	if (fields[BV]) {
		pack->base_value = fields[BV]->valuedouble;
		pack->has_base_value = true;
	}
	if (fields[BS]) {
		pack->base_sum = fields[BS]->valuedouble;
		pack->has_base_sum = true;
	}
}

/* Base name and name; empty when they do not fit, which is nobody's name. */
static void join_name(
	const struct senml *pack, const cJSON *own, char name[SENML_NAME_MOST])
{
	const char *base = pack->base_name ? pack->base_name : "";
	const char *rest = own ? own->valuestring : "";
	size_t base_length = strlen(base), length = strlen(rest);
	name[0] = '\0';
	if (base_length + length >= SENML_NAME_MOST)
		return;
	memcpy(name, base, base_length);
	memcpy(name + base_length, rest, length + 1);
}

static double own_number(const cJSON *field)
{
	return field ? field->valuedouble : 0;
}

/* Section 4.2: a base value makes a value of a record that has no other. */
static void take_value(const struct senml *pack, const cJSON *const fields[static LABELS],
	struct senml_record *record)
{
	bool other = fields[TEXT] || fields[TRUTH] || fields[DATA];
	if (fields[TEXT])
		record->text = fields[TEXT]->valuestring;
	record->is_bool = fields[TRUTH] != NULL;
	record->truth = fields[TRUTH] && cJSON_IsTrue(fields[TRUTH]);
	if (fields[VALUE] || (!other && !fields[SUM] && pack->has_base_value)) {
		record->is_number = true;
		record->number = pack->base_value + own_number(fields[VALUE]);
	} else if (!other && (fields[SUM] || pack->has_base_sum)) {
		record->is_number = true;
		record->number = pack->base_sum + own_number(fields[SUM]);
	}
}

int senml_next(struct senml *pack, struct senml_record *ret)
{
	const cJSON *fields[LABELS] = {0};
	if (!pack->next)
		return SENML_END;
	if (!find_fields(pack->next, fields, &pack->repeated))
		return SENML_BROKEN;
	pack->next = pack->next->next;
	pack->index++;
	take_base(pack, fields);
	ret->unit = fields[UNIT] ? fields[UNIT]->valuestring : pack->base_unit;
	ret->time_s = pack->base_time + own_number(fields[TIME]);
	ret->text = NULL;
	ret->is_number = false;
	ret->number = 0;
	join_name(pack, fields[NAME], ret->name);
	take_value(pack, fields, ret);
	return SENML_RECORD;
}

double senml_time_ms(const struct senml_record *record, int64_t stamp_ms)
{
	double ms = record->time_s * 1e3;
	return record->time_s < RELATIVE_BELOW ? (double)stamp_ms + ms : ms;
}
