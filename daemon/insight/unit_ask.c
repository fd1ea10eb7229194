/*
 * The thin part between the store and what is worked out of the unit's days
 * (flow_temperature.h, circuit.h).
 */
#include <heatbook/circuit.h>
#include <heatbook/flow_temperature.h>

static int ask_days(struct store *store, int64_t from_ms, int64_t to_ms, size_t budget,
	struct insight_days *ret)
{
	struct boundary boundaries[BOUNDARIES_MOST] = {0};
	(void)boundary_list(store_config(store), boundaries);
	int r = insight_days_ask(store, from_ms, to_ms, &boundaries[0], ret);
	if (r != 0)
		return r;
	r = insight_days_look(store, ret, budget);
	if (r != 0)
		insight_days_release(ret);
	return r;
}

int flow_temperature_ask(struct store *store, int64_t from_ms, int64_t to_ms,
	const double *by_k, size_t count, size_t budget, struct flow_temperature *ret)
{
	struct insight_days days;
	int r = ask_days(store, from_ms, to_ms, budget, &days);
	if (r != 0)
		return r;
	flow_temperature_of(&days, by_k, count, ret);
	insight_days_release(&days);
	return 0;
}

int circuit_ask(struct store *store, int64_t from_ms, int64_t to_ms, size_t budget,
	struct circuit *ret)
{
	struct insight_days days;
	int r = ask_days(store, from_ms, to_ms, budget, &days);
	if (r != 0)
		return r;
	circuit_of(&days, ret);
	insight_days_release(&days);
	return 0;
}
