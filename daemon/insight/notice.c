/*
 * One notice over minutes. See notice.h.
 *
 * Between the level that raises and the one that clears nothing speaks for a change. Of
 * levels that are the same each known value speaks for one of both.
 */
#include <heatbook/notice.h>

#include <math.h>

static bool raises(const struct notice_config *n, double value)
{
	return n->above ? value > n->raises : value < n->raises;
}

static bool clears(const struct notice_config *n, double value)
{
	return n->above ? value <= n->clears : value >= n->clears;
}

void notice_begin(struct notice_state *ret)
{
	*ret = (struct notice_state){
		.since = -1, .unknown_since = -1, .value = (double)NAN};
}

enum notice_change notice_take(const struct notice_config *n, struct notice_state *s,
	int64_t minute, double value)
{
	s->value = value;
	if (isnan(value)) {
		if (s->unknown_since < 0)
			s->unknown_since = minute;
		return NOTICE_STAYS;
	}
	s->unknown_since = -1;
	if (!(s->raised ? clears(n, value) : raises(n, value))) {
		s->run = 0;
		return NOTICE_STAYS;
	}
	if (s->run++ == 0)
		s->run_from = minute;
	if (s->run * MS_PER_MIN < (s->raised ? n->clears_for_ms : n->for_ms))
		return NOTICE_STAYS;
	s->raised = !s->raised;
	s->since = s->run_from;
	s->run = 0;
	return s->raised ? NOTICE_RAISED : NOTICE_CLEARED;
}

bool notice_settles(const struct notice_config *n, int64_t *run, double value)
{
	if (!isnan(value))
		*run = clears(n, value) ? *run + 1 : 0;
	return *run * MS_PER_MIN >= n->clears_for_ms;
}
