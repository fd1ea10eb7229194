/*
 * Sensor Measurement Lists (RFC 8428), JSON form: records resolved against the base
 * fields before them.
 */
#ifndef INGEST_SENML_H
#define INGEST_SENML_H

#include <heatbook/base.h>

#include <cJSON.h>

#define SENML_NAME_MOST                                                                  \
	512 /* bytes of base name and name; longer ones match no channel */

/* A walk over one pack. `{.next = array->child}` begins it; base fields gather on the
 * way. */
struct senml {
	const cJSON *next;
	uint32_t index; /* of the record before `next`, from 1 */
	const char *base_name;
	const char *base_unit;
	double base_time;
	double base_value;
	double base_sum;
	bool has_base_value;
	bool has_base_sum;
	bool repeated; /* a record had one label twice; the first counts */
};

/* One resolved record. The texts belong to the pack, `name` to the struct. */
struct senml_record {
	char name[SENML_NAME_MOST];
	const char *unit; /* or NULL */
	double time_s; /* as in the pack: absolute, or relative to now when below 2^28 */
	const char *text; /* vs, or NULL */
	bool is_bool;     /* vb */
	bool truth;
	bool is_number; /* v with its base, or a sum (s) alone */
	double number;
};

enum { SENML_RECORD, SENML_END, SENML_BROKEN };
/* The next record. SENML_BROKEN: it is no object, a field has the wrong type, the version
 * is not known, or a label with a final "_" that must be understood is not (section 4.4).
 */
int senml_next(struct senml *pack, struct senml_record *ret);

/* The record's instant; `stamp_ms` is the now of relative times (section 4.5.3). */
double senml_time_ms(const struct senml_record *record, int64_t stamp_ms);

#endif
