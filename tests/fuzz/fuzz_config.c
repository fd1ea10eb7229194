/*
 * Configuration files. A faulty one has faults, each with its file and line; a good one
 * is the same configuration when it is read again, and can be reported.
 */
#include "fuzz.h"

#include <heatbook/config.h>

static int parse(const char *text, size_t size, struct config **ret,
	struct faults *faults, struct faults *notes)
{
	*ret = NULL;
	return config_parse("fuzz", text, size, ret, faults, notes);
}

static void check_lines(const struct faults *faults, const char *what)
{
	for (size_t i = 0; i < faults->count; i++)
		HOLDS(strncmp(faults->lines[i], "fuzz", 4) == 0 &&
				!strchr(faults->lines[i], '\n'),
			"%s: %s", what, faults->lines[i]);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
	struct faults faults = {0}, notes = {0}, again = {0};
	struct config *config, *other;
	char *text = exact_copy(data, size);
	int r = parse(text, size, &config, &faults, &notes);

	HOLDS(r == 0 || r == CONFIG_FAULTY, "verdict %d", r);
	HOLDS((r == 0) == (faults.count == 0), "%d with %zu faults", r, faults.count);
	check_lines(&faults, "fault");
	check_lines(&notes, "note");
	int r_again = parse(text, size, &other, &again, NULL);
	HOLDS(r_again == r && again.count == faults.count, "%d, then %d", r, r_again);
	if (r == 0) {
		struct buffer report = {0};
		HOLDS(config->mapping_digest == other->mapping_digest, "another mapping");
		HOLDS(config->broker_digest == other->broker_digest, "another broker");
		config_check_report(config, &report);
		HOLDS(report.length > 0, "no report");
		buffer_release(&report);
	}
	config_free(config);
	config_free(other);
	faults_release(&faults);
	faults_release(&notes);
	faults_release(&again);
	free(text);
	return 0;
}
