/*
 * The cylinder at 60 °C: how long, and when last. Public guidance names that storage
 * temperature against legionella (UK HSE, Hot and cold water systems); here it is counted
 * and nothing is advised.
 */
#include "evidence.h"

#include <math.h>

/* As it is shown with one decimal: a thermometer that says 60.0 may mean 59.95. */
#define STORED_C 59.95

void look_at_storage(const struct day_view *view)
{
	const double *c = day_values(
		view->day, config_role(view->day->config, ROLE_CYLINDER_TEMPERATURE));
	struct evidence item = evidence_new(view, EVIDENCE_CYLINDER, -1);
	int64_t known = 0;
	for (size_t i = 0; c && i < view->count; i++) {
		if (isnan(c[i]))
			continue;
		known++;
		item.values[0] =
			fmax(item.values[0], c[i]); /* of NaN and a number this */
		if (c[i] < STORED_C)
			continue;
		item.minutes++;
		item.at_min = view->day->start_min + (int64_t)i;
	}
	item.values[1] = (double)known;
	if (known > 0)
		evidence_add(view->list, &item);
}
