/*
 * What is watched ([notice]), in a line each, and why one of them can never be raised.
 *
 * What a kind of finding needs at least is of its own file in daemon/insight/; only what
 * is certain stands here: with it the kind may still find nothing to look at.
 */
#include "answers.h"

#include <heatbook/boundary.h>
#include <heatbook/finding_kind.h>
#include <heatbook/notice.h>

/* Roles without which there is nothing that shows a kind; ROLE_PLAIN: no more. */
enum { NEEDED_MOST = 2 };
static const enum role needed[FINDING_KINDS][NEEDED_MOST] = {
	[FINDING_PAIR_OFFSET] = {ROLE_FLOW_TEMPERATURE, ROLE_RETURN_TEMPERATURE},
	[FINDING_RETURN_ABOVE_FLOW] = {ROLE_FLOW_TEMPERATURE, ROLE_RETURN_TEMPERATURE},
	[FINDING_HEAT_AGAINST_REGISTER] = {ROLE_HEAT_REGISTER},
	[FINDING_FLOW_ZERO_RUNNING] = {ROLE_FLOW_RATE},
	[FINDING_FLOW_FALLING] = {ROLE_FLOW_RATE},
	[FINDING_PRESSURE_FALLING] = {ROLE_WATER_PRESSURE},
	[FINDING_OUTDOOR_IN_SUN] = {ROLE_OUTDOOR_TEMPERATURE},
};

static bool has_heater_meter(const struct config *config)
{
	for (size_t m = 0; m < config->meter_count; m++)
		if (config->meters[m].serves == DEVICE_IMMERSION)
			return true;
	return false;
}

static void need_kind(struct answers *r, int kind, struct buffer *why)
{
	size_t count = 0;
	while (kind >= 0 && count < NEEDED_MOST && needed[kind][count] != ROLE_PLAIN)
		count++;
	if (kind >= 0)
		answer_needs(r, needed[kind], count, why);
	if (kind == FINDING_IMMERSION_UNPLANNED && !has_heater_meter(r->config))
		buffer_add_text(why, "needs a [meter] of the immersion heater alone");
}

static void need_heat(struct answers *r, struct buffer *why)
{
	if (!answer_heat_known(r))
		buffer_add_text(why, "needs the heat delivered");
}

/* Of the widest boundary, as figures of a day are. */
static void need_electricity(struct answers *r, struct buffer *why)
{
	struct boundary b;
	char lacks[256];
	if (boundary_find(r->config, NULL, &b, lacks) != 0)
		buffer_addf(why, "%s%s", why->length ? "; " : "", lacks);
}

static void need(struct answers *r, const struct notice_config *n, struct buffer *why)
{
	const struct config *c = r->config;
	switch (n->watch) {
	case NOTICE_VALUE:
	case NOTICE_STATE:
	case NOTICE_WATCHES:
		break;
	case NOTICE_MISSING:
		if (c->channels[n->subject].stale_after_ms < 0)
			buffer_add_text(why, "its last word holds until its source is "
					     "gone (stale_after = none)");
		break;
	case NOTICE_POWER:
		if (!answer_is_metered(&c->meters[n->subject]))
			buffer_addf(why,
				"needs a power channel or a register for meter %s",
				c->meters[n->subject].name);
		break;
	case NOTICE_DAY_HEAT:
		need_heat(r, why);
		break;
	case NOTICE_DAY_ELECTRICITY:
		need_electricity(r, why);
		break;
	case NOTICE_DAY_EFFICIENCY:
	case NOTICE_DAY_KNOWN:
		need_heat(r, why);
		need_electricity(r, why);
		break;
	case NOTICE_FINDING:
		need_kind(r, n->subject, why);
		break;
	}
}

void answers_notices(struct answers *r)
{
	for (size_t i = 0; i < r->config->notice_count; i++) {
		struct buffer b = {0}, why = {0};
		notice_describe(&r->config->notices[i], &b);
		need(r, &r->config->notices[i], &why);
		if (why.length)
			buffer_addf(&b, ": %s", buffer_text(&why));
		answer_say(r, "notice", "%s", buffer_text(&b));
		buffer_release(&b);
		buffer_release(&why);
	}
}
