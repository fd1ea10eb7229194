/*
 * Messages heard by `listen`, as lines `epoch topic payload`: whatever they are, the
 * proposal is a configuration that the check passes, the list is printable and the other
 * form is JSON.
 */
#include "fuzz.h"

#include <heatbook/archive.h>
#include <heatbook/guess.h>

#include <cJSON.h>

static const char base[] = "[plant]\nname = House\nzone = UTC\n[broker]\nhost = broker\n";

static struct config *parsed(const char *text, size_t length)
{
	struct config *config = NULL;
	struct faults faults = {0};
	int r = config_parse("fuzz", text, length, &config, &faults, NULL);
	HOLDS(r == 0, "%s in\n%.*s", faults.count ? faults.lines[0] : "?", (int)length,
		text);
	faults_release(&faults);
	return config;
}

static void check_proposal(const struct guesses *guesses, const struct config *config)
{
	struct buffer text = {0};
	buffer_add_text(&text, base);
	guesses_propose(guesses, config, &text);
	config_free(parsed(text.data, text.length));
	buffer_release(&text);
}

static void check_forms(const struct guesses *guesses, const struct survey *survey,
	const struct config *config)
{
	struct buffer out = {0};
	const char *end;
	guesses_list(guesses, survey, config, &out);
	for (size_t i = 0; i < out.length; i++)
		HOLDS(out.data[i] == '\n' || (unsigned char)out.data[i] >= 0x20,
			"byte %u in the list", (unsigned char)out.data[i]);
	buffer_reset(&out);
	guesses_json(guesses, survey, config, &out);
	cJSON *json = cJSON_ParseWithLengthOpts(out.data, out.length, &end, false);
	HOLDS(json, "no JSON: %.*s", (int)out.length, out.data);
	cJSON_Delete(json);
	buffer_release(&out);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
	const char *at = (const char *)data, *end = at + size, *line, *why;
	struct config *config = parsed(base, sizeof(base) - 1);
	struct survey *survey = survey_new(config);
	struct archive archive = {.form = ARCHIVE_DETECT};
	struct record record;
	size_t length, count;

	while (next_line(&at, end, &line, &length))
		if (archive_line(&archive, line, length, &record, &why) == 0)
			survey_take(survey, &record);
	(void)survey_places(survey, &count);
	HOLDS(count <= SURVEY_PLACES_MOST, "%zu places", count);
	struct guesses *guesses = guesses_new(survey, config);
	HOLDS(guesses->count == count, "%zu guesses of %zu places", guesses->count,
		count);
	check_proposal(guesses, config);
	check_forms(guesses, survey, config);
	guesses_free(guesses);
	survey_free(survey);
	config_free(config);
	archive_release(&archive);
	return 0;
}
