/*
 * See conditions_json.h.
 */
#include "conditions_json.h"

#include "basis.h"
#include "insight_json.h"

void json_conditions(struct json *json, const struct config *config,
	const struct span *span, const struct conditions *c)
{
	const struct insight_days frame = {.config = config,
		.boundary = c->boundary,
		.from_ms = c->from_ms,
		.to_ms = c->to_ms,
		.version = c->version,
		.older = c->older};
	json_insight_frame(json, &frame, span->note);
	json_fluid(json, &config->plant);
	json_estimates(json, config, &c->boundary, NULL);
}
