/*
 * The report: heat, electricity and efficiency of a span by mode, as a table for a
 * terminal or as JSON. Energy per mode and the totals come from the same query as
 * `/v1/energy`.
 */
#include "verbs.h"

#include <heatbook/calendar.h>
#include <heatbook/clock.h>
#include <heatbook/query.h>
#include <heatbook/store.h>
#include <heatbook/uncertainty.h>

#include <math.h>
#include <string.h>
int verb_report(const struct verb_call *call)
{
	(void)call;
	return EXIT_USAGE;
}
