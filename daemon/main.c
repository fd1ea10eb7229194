/*
 * heatbookd: one program, a verb for each job. What may stand on its command line is
 * declared in verb_table.c; here it is read, and the verb is run. Every verb reads the
 * same configuration first; a faulty one ends it with all faults named.
 */
#include "verbs.h"

#include "verb_table.h"

#include <heatbook/log.h>

#include <errno.h>
#include <getopt.h>
#include <signal.h>
#include <string.h>

static int (*const runs[VERB_COUNT])(const struct verb_call *call) = {
	[VERB_SERVE] = verb_serve,
	[VERB_LISTEN] = verb_listen,
	[VERB_CHECK] = verb_check,
	[VERB_IMPORT] = verb_import,
	[VERB_IMPORTS] = verb_imports,
	[VERB_REBUILD] = verb_rebuild,
	[VERB_REPORT] = verb_report,
	[VERB_EXPORT] = verb_export,
	[VERB_BACKUP] = verb_backup,
	[VERB_VERIFY] = verb_verify,
};

static int usage(FILE *out)
{
	size_t count;
	const struct exit_code *codes = exit_code_table(&count);
	struct buffer synopsis = {0};

	(void)fprintf(out, "usage: heatbookd VERB [-c FILE] …   (default: %s)\n\n",
		CONFIG_DEFAULT_PATH);
	for (int i = 0; i < VERB_COUNT; i++) {
		const struct verb *verb = verb_row((enum verb_id)i);
		buffer_reset(&synopsis);
		verb_synopsis(verb, &synopsis);
		(void)fprintf(out, "  %-8s %s%s%s\n", verb->name, buffer_text(&synopsis),
			synopsis.length ? "\n           " : "", verb->what);
	}
	for (size_t i = 0; i < count; i++)
		(void)fprintf(out, "%s%d %s", i ? ", " : "\nexit codes: ", codes[i].code,
			codes[i].what);
	(void)fputs("\n", out);
	buffer_release(&synopsis);
	return out == stdout ? EXIT_DONE : EXIT_USAGE;
}

/* One fault of the command line and how the verb is used. */
static int misused(const struct verb *verb, const char *what, const char *which)
{
	struct buffer synopsis = {0};
	verb_synopsis(verb, &synopsis);
	(void)fprintf(stderr, "heatbookd: %s: %s%s\nusage: heatbookd %s [-c FILE] %s\n",
		verb->name, what, which, verb->name, buffer_text(&synopsis));
	buffer_release(&synopsis);
	return -EINVAL;
}

/* What getopt(3) wants, of the options that the verb takes. `val` is the row. */
struct getopt_forms {
	struct option longs[VERB_OPTION_COUNT + 1];
	char letters[2 + 2 * VERB_OPTION_COUNT];
};

static struct getopt_forms getopt_forms(const struct verb *verb)
{
	struct getopt_forms forms = {.letters = ":"}; /* faults are told here */
	size_t count = 0, letters = 1;

	for (int i = 0; i < VERB_OPTION_COUNT; i++) {
		const struct verb_option *o = verb_option_row((enum verb_option_id)i);
		if (!verb_takes(verb, (enum verb_option_id)i))
			continue;
		forms.longs[count++] = (struct option){o->name,
			o->value ? required_argument : no_argument, NULL, 256 + i};
		if (!o->letter)
			continue;
		forms.letters[letters++] = o->letter;
		if (o->value)
			forms.letters[letters++] = ':';
	}
	return forms;
}

/* The row of what getopt(3) answered, or VERB_OPTION_COUNT. */
static enum verb_option_id option_of(int got)
{
	int i = got >= 256 ? got - 256 : 0;
	if (got < 256)
		while (i < VERB_OPTION_COUNT &&
			verb_option_row((enum verb_option_id)i)->letter != got)
			i++;
	return (enum verb_option_id)i;
}

static int read_options(
	const struct verb *verb, int argc, char **argv, struct verb_call *call)
{
	struct getopt_forms forms = getopt_forms(verb);
	unsigned seen = 0;
	int got;

	while ((got = getopt_long(argc, argv, forms.letters, forms.longs, NULL)) != -1) {
		if (got == ':')
			return misused(verb, "needs a value: ", argv[optind - 1]);
		if (got == '?')
			return misused(verb, "takes no option ", argv[optind - 1]);
		enum verb_option_id id = option_of(got);
		char *field = (char *)call + verb_option_row(id)->offset;
		if (verb_option_row(id)->value)
			*(const char **)field = optarg;
		else
			*(bool *)field = true;
		seen |= 1U << id;
	}
	for (int i = 0; i < VERB_OPTION_COUNT; i++)
		if (verb->needs & ~seen & 1U << i)
			return misused(verb, "needs --",
				verb_option_row((enum verb_option_id)i)->name);
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
	struct verb_call call = {.config_path = CONFIG_DEFAULT_PATH};
	struct faults notes = {0};
	struct config *config = NULL;

	(void)signal(SIGPIPE, SIG_IGN); /* cannot fail for this signal */
	if (argc < 2)
		return usage(stderr);
	if (strcmp(argv[1], "--help") == 0 || strcmp(argv[1], "help") == 0)
		return usage(stdout);
	if (strcmp(argv[1], "--version") == 0)
		return puts("heatbookd " HEATBOOK_VERSION) < 0 ? EXIT_FAILED : EXIT_DONE;
	enum verb_id id = verb_find(argv[1]);
	if (id == VERB_COUNT) {
		(void)fprintf(stderr, "heatbookd: there is no verb \"%s\"\n", argv[1]);
		return usage(stderr);
	}
	if (read_options(verb_row(id), argc - 1, argv + 1, &call) != 0)
		return EXIT_USAGE;
	int r = EXIT_USAGE;
	if (load(call.config_path, &config, &notes) == 0) {
		call.config = config;
		call.notes = &notes;
		r = runs[id](&call);
	}
	config_free(config);
	faults_release(&notes);
	return r;
}
