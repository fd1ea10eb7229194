/*
 * The oracle's cooling: what goes round within the overrun time after cooling, and after
 * no other run since, is cooling's. Found by looking back from each piece, so that
 * nothing is remembered. See oracle.h.
 */
#include "oracle_work.h"

/* Water that is not known to stand, nor unknown. */
bool oracle_moves(const struct work *w, const struct piece *p)
{
	enum tell flow = oracle_flows(w, p);
	return flow == TELL_YES || flow == TELL_ABSENT;
}

static bool says(const struct work *w, const struct piece *p, enum operating_mode mode)
{
	int c = config_role(w->config, ROLE_OPERATING_MODE);
	return oracle_tell(w, p, ROLE_OPERATING_MODE, -1.0) == TELL_YES &&
	       p->value[c] == mode;
}

static bool cools(const struct work *w, size_t piece)
{
	const struct piece *p = &w->pieces[piece];
	enum tell run = oracle_runs(w, piece);
	return oracle_tell(w, p, ROLE_DEFROST, 0.0) != TELL_YES && run != TELL_UNKNOWN &&
	       says(w, p, OPERATING_COOLING) && (run != TELL_NO || oracle_moves(w, p));
}

/* A run that is none of cooling. */
static bool works(const struct work *w, size_t piece)
{
	const struct piece *p = &w->pieces[piece];
	enum tell run = oracle_runs(w, piece);
	if (oracle_tell(w, p, ROLE_DEFROST, 0.0) == TELL_YES)
		return true;
	if (run != TELL_YES && run != TELL_ABSENT)
		return false;
	if (says(w, p, OPERATING_HEATING) || says(w, p, OPERATING_HOT_WATER) ||
		says(w, p, OPERATING_DEFROST))
		return true;
	return run == TELL_YES && config_role(w->config, ROLE_OPERATING_MODE) < 0 &&
	       oracle_tell(w, p, ROLE_VALVE, -1.0) == TELL_YES;
}

/* Does water go round that cooling left, less than the overrun time ago? */
bool oracle_after_cooling(const struct work *w, size_t piece)
{
	int64_t since_ms = w->pieces[piece].t_ms - w->config->modes.overrun_ms;
	const struct piece *p = &w->pieces[piece];
	enum tell flow = oracle_flows(w, p);
	if (flow != TELL_YES && !(flow == TELL_ABSENT && says(w, p, OPERATING_OVERRUN)))
		return false;
	for (size_t i = piece; i-- > 0 && w->pieces[i].end_ms > since_ms;) {
		if (cools(w, i))
			return true;
		if (works(w, i))
			return false;
	}
	return false;
}
