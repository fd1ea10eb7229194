/*
 * See conditions_json.h.
 */
#include "conditions_json.h"

#include "basis.h"

void json_conditions(struct json *json, const struct config *config,
	const struct span *span, const struct conditions *c)
{
	json_object(json, NULL);
	json_text(json, "zone", config->plant.zone);
	json_seconds(json, "from", c->from_ms);
	json_seconds(json, "to", c->to_ms);
	if (span->note[0])
		json_text(json, "note", span->note);
	json_text(json, "boundary", c->boundary.name[0] ? c->boundary.name : NULL);
	json_integer(json, "version", c->version);
	json_older_days(json, &c->older);
	json_corrections(
		json, "corrections", config, CORRECTIONS_OF_ALL, c->from_ms, c->to_ms);
	json_fluid(json, &config->plant);
	json_estimates(json, config, &c->boundary, NULL);
}
