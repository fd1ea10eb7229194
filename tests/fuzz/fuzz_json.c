/*
 * The JSON parser beside Debian's cJSON (see json_oracle.h): accepted by both or by none,
 * with the same tree.
 */
#include "../unit/json_oracle.h"
#include "fuzz.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
	static struct json *json;
	struct json_verdict verdict;
	if (!json)
		json = json_new();
	const char *text = (const char *)data;
	strip(&text, &size); /* as json_parse() asks for */
	if (size >= 3 && memcmp(text, "\xef\xbb\xbf", 3) == 0)
		return 0; /* cJSON passes over another one, which is no JSON */
	json_judge(json, text, size, &verdict);
	HOLDS(!verdict.differs, "%s", verdict.differs);
	return 0;
}
