/*
 * heatbookd: one program, a verb for each job. The table below is the list of verbs:
 * usage and dispatch come from it. Every verb reads the same configuration first; a
 * faulty one ends it with all faults named.
 */
#include "verbs.h"

#include <heatbook/log.h>

#include <errno.h>
#include <getopt.h>
#include <signal.h>
#include <string.h>

struct verb {
	const char *name;
	int (*run)(const struct verb_call *call);
	const char *operands;
	const char *what;
};

static const struct verb verbs[] = {
	{"serve", verb_serve, "",
		"listen to the broker, keep the journal, answer over HTTP"},
	{"check", verb_check, "",
		"check the configuration; say which questions it can answer"},
	{"import", verb_import, "[--format lines|journal] ARCHIVE…",
		"file archived messages (- is standard input) and derive what they "
		"touch"},
	{"rebuild", verb_rebuild, "[--from DATE] [--to DATE]",
		"derive a span, or everything, anew from the journal"},
	{"report", verb_report, "[--from DATE] [--to DATE] [--boundary NAME] [--json]",
		"print heat, electricity and efficiency of a span (default: yesterday)"},
	{"export", verb_export, "--journal", "print every record as a JSON line"},
	{"verify", verb_verify, "", "check the store and that its sums close"},
};

static int usage(FILE *out)
{
	(void)fprintf(out, "usage: heatbookd VERB [-c FILE] …   (default: %s)\n\n",
		CONFIG_DEFAULT_PATH);
	for (size_t i = 0; i < ARRAY_LEN(verbs); i++)
		(void)fprintf(out, "  %-8s %s\n           %s\n", verbs[i].name,
			verbs[i].operands, verbs[i].what);
	(void)fprintf(out,
		"\nexit codes: 0 done, 1 failed, 2 usage or configuration, 3 lines were "
		"rejected\n");
	return out == stdout ? EXIT_DONE : EXIT_USAGE;
}

static const struct verb *find_verb(const char *name)
{
	for (size_t i = 0; i < ARRAY_LEN(verbs); i++)
		if (strcmp(verbs[i].name, name) == 0)
			return &verbs[i];
	return NULL;
}

enum {
	OPTION_FORMAT = 256,
	OPTION_ZONE,
	OPTION_FROM,
	OPTION_TO,
	OPTION_BOUNDARY,
	OPTION_JOURNAL,
	OPTION_JSON
};

static int read_options(
	int argc, char **argv, struct verb_call *call, const char **ret_path)
{
	static const struct option options[] = {
		{"config", required_argument, NULL, 'c'},
		{"format", required_argument, NULL, OPTION_FORMAT},
		{"zone", required_argument, NULL, OPTION_ZONE},
		{"from", required_argument, NULL, OPTION_FROM},
		{"to", required_argument, NULL, OPTION_TO},
		{"boundary", required_argument, NULL, OPTION_BOUNDARY},
		{"journal", no_argument, NULL, OPTION_JOURNAL},
		{"json", no_argument, NULL, OPTION_JSON},
		{NULL, 0, NULL, 0},
	};
	int option;

	while ((option = getopt_long(argc, argv, "c:", options, NULL)) != -1) {
		switch (option) {
		case 'c':
			*ret_path = optarg;
			break;
		case OPTION_FORMAT:
			call->format = optarg;
			break;
		case OPTION_ZONE:
			call->zone = optarg;
			break;
		case OPTION_FROM:
			call->from = optarg;
			break;
		case OPTION_TO:
			call->to = optarg;
			break;
		case OPTION_BOUNDARY:
			call->boundary = optarg;
			break;
		case OPTION_JOURNAL:
			call->journal = true;
			break;
		case OPTION_JSON:
			call->json = true;
			break;
		default:
			return -EINVAL;
		}
	}
	call->count = argc - optind;
	call->operands = argv + optind;
	return 0;
}

static int load(const char *path, struct config **ret, struct faults *notes)
{
	struct faults faults = {0};
	int r = config_load(path, ret, &faults, notes);

	if (r < 0)
		(void)fprintf(stderr,
			"heatbookd: %s: %s; name a configuration with -c FILE\n", path,
			strerror(-r));
	for (size_t i = 0; i < faults.count; i++)
		(void)fprintf(stderr, "%s\n", faults.lines[i]);
	if (r == CONFIG_FAULTY)
		(void)fprintf(stderr,
			"heatbookd: %zu fault%s in the configuration, nothing done\n",
			faults.count, faults.count == 1 ? "" : "s");
	faults_release(&faults);
	return r;
}

int main(int argc, char **argv)
{
	struct verb_call call = {0};
	struct faults notes = {0};
	struct config *config = NULL;
	const char *path = CONFIG_DEFAULT_PATH;

	(void)signal(SIGPIPE, SIG_IGN); /* cannot fail for this signal */
	if (argc < 2)
		return usage(stderr);
	if (strcmp(argv[1], "--help") == 0 || strcmp(argv[1], "help") == 0)
		return usage(stdout);
	if (strcmp(argv[1], "--version") == 0)
		return puts("heatbookd " HEATBOOK_VERSION) < 0 ? EXIT_FAILED : EXIT_DONE;
	const struct verb *verb = find_verb(argv[1]);
	if (!verb) {
		(void)fprintf(stderr, "heatbookd: there is no verb \"%s\"\n", argv[1]);
		return usage(stderr);
	}
	if (read_options(argc - 1, argv + 1, &call, &path) != 0)
		return usage(stderr);
	int r = EXIT_USAGE;
	if (load(path, &config, &notes) == 0) {
		call.config = config;
		call.notes = &notes;
		r = verb->run(&call);
	}
	config_free(config);
	faults_release(&notes);
	return r;
}
