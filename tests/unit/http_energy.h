/*
 * /v1/energy of two hours, asked over a socket.
 */
#ifndef HTTP_ENERGY_H
#define HTTP_ENERGY_H

#include "http_client.h"

#define TWO_HOURS "from=1767222000&to=1767229200&step=PT1H"

static inline cJSON *energy(struct http *http, const char *more, fake_energy_row *row)
{
	char *target = xasprintf("/v1/energy?" TWO_HOURS "%s", more);
	fake.energy = row;
	cJSON *json = get_json(http, target, 200);
	free(target);
	return json;
}

static inline void check_kwh(const cJSON *json, const char *path, int64_t joules)
{
	/* Half a unit of the seventh decimal, and a joule is recovered by rounding. */
	double kwh = number_at(json, path);
	ck_assert_double_eq_tol(kwh, (double)joules / 3.6e6, 0.500001e-7);
	ck_assert_int_eq(llround(kwh * 3.6e6), joules);
}

#endif
