/*
 * What of an answer is estimated and not measured: heat by an assumed flow, or without an
 * immersion heater's that no meter tells, electricity by apparent power; and how an
 * apparent meter does beside a true one.
 */
#ifndef HEATBOOK_ESTIMATE_H
#define HEATBOOK_ESTIMATE_H

#include <heatbook/query.h>

enum estimate_kind {
	ESTIMATE_FLOW,     /* heat: nothing meters the flow */
	ESTIMATE_APPARENT, /* electricity: volts times amperes, without power factor */
	ESTIMATE_LACKS,    /* heat: without that of a heater whose electricity counts */
	ESTIMATE_APART     /* electricity: a heater's, in modes of rest */
};

struct estimate {
	enum estimate_kind kind;
	int meter;            /* of apparent power, else -1 */
	bool counted;         /* it is in the figures of the boundary */
	double limit_percent; /* ±, rectangular; NaN: nobody can say */
	char why[160];        /* "assumed: 17.5 L/min while circulation_pump is on" */
};

#define ESTIMATES_MOST (METERS_MOST + 2)

/* "heat", "electricity". */
const char *estimate_quantity(const struct estimate *estimate);
/* All estimates of a plant, those of heat first; `boundary` may have no name. Returns the
 * count. */
size_t estimates_of(const struct config *config, const struct boundary *boundary,
	struct estimate ret[static ESTIMATES_MOST]);

/* A heater in line that warms the water while the compressor rests: its electricity lies
 * with the heat that it made in standby, overrun or freeze protection, where the whole
 * counts it. Heating and hot water by themselves then look better than they were. False
 * below a hundredth of what the boundary's meters have in these two, or 0.5 kWh; of what
 * a register spread evenly nobody knows the mode. */
bool estimate_apart(const struct config *config, const struct boundary *boundary,
	const struct energy_bucket *total, struct estimate *ret);

/* An apparent meter over the true ones that feed the same, as quotients of mean powers,
 * each over the time for which it is known. NaN where either is not known for an hour or
 * the true one is 0. A quotient that differs between running and standby shows power
 * factors, one that does not a wrong scale. */
struct apparent_beside {
	unsigned beside; /* bit i: meter i, true */
	double ratio;
	double ratio_running; /* heating, hot water, defrost and cooling */
	double ratio_standby;
};
/* False where the meter is not apparent or no true one feeds the same. */
bool apparent_compare(const struct config *config, const struct energy_bucket *bucket,
	size_t meter, struct apparent_beside *ret);

#endif
