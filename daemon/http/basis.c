/*
 * What figures rest on besides their messages, as members of an answer.
 */
#include "face.h"

void json_fluid(struct json *json, const struct plant_config *plant)
{
	json_object(json, "fluid");
	json_text(json, "name", fluid_name(plant->fluid));
	json_number(json, "volume_percent", plant->fluid_percent, 1);
	json_object_end(json);
}
