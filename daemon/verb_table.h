/*
 * What may stand on the command line, declared once: verbs, their options, exit codes.
 * Usage, the parser in main.c, the manual page and the shell's completion all come from
 * these tables. No verb's code is needed to link them.
 */
#ifndef VERB_TABLE_H
#define VERB_TABLE_H

#include <heatbook/base.h>

enum verb_id {
	VERB_SERVE,
	VERB_LISTEN,
	VERB_CHECK,
	VERB_IMPORT,
	VERB_IMPORTS,
	VERB_REBUILD,
	VERB_REPORT,
	VERB_EXPORT,
	VERB_BACKUP,
	VERB_VERIFY,
	VERB_COUNT
};

enum verb_option_id {
	VERB_OPTION_CONFIG, /* of every verb */
	VERB_OPTION_FORMAT,
	VERB_OPTION_ZONE,
	VERB_OPTION_FROM,
	VERB_OPTION_TO,
	VERB_OPTION_LAST,
	VERB_OPTION_OF,
	VERB_OPTION_STATEMENT,
	VERB_OPTION_ANONYMOUS,
	VERB_OPTION_BOUNDARY,
	VERB_OPTION_PREVIEW_PAIR_OFFSET,
	VERB_OPTION_JOURNAL,
	VERB_OPTION_SERIES,
	VERB_OPTION_ENERGY,
	VERB_OPTION_STEP,
	VERB_OPTION_BY,
	VERB_OPTION_TIME,
	VERB_OPTION_OUTPUT,
	VERB_OPTION_JSON,
	VERB_OPTION_SEALED,
	VERB_OPTION_WHAT,
	VERB_OPTION_KEEP,
	VERB_OPTION_FOR,
	VERB_OPTION_ARCHIVE,
	VERB_OPTION_PROPOSE,
	VERB_OPTION_DRY_RUN,
	VERB_OPTION_REJECTED,
	VERB_OPTION_CLOCK_RIGHT_SINCE,
	VERB_OPTION_DROP,
	VERB_OPTION_ALL,
	VERB_OPTION_DAYS,
	VERB_OPTION_SEED,
	VERB_OPTION_COUNT
};

struct verb_option {
	const char *name;     /* --name */
	char letter;          /* -letter, or 0 */
	const char *value;    /* what follows it; NULL: nothing does */
	const char *sentence; /* NULL: taken for later versions, not shown */
	int offset; /* of its field in struct verb_call: (const char *), or (bool) where
		       there is no value */
};

struct verb {
	const char *name;
	unsigned takes; /* bits of enum verb_option_id besides CONFIG */
	unsigned needs; /* of these, what must stand */
	const char *operands;
	const char *what; /* a line, without full stop */
	const char *more; /* sentences of the manual page */
};

struct exit_code {
	int code;
	const char *what;
};

const struct verb *verb_row(enum verb_id id);
const struct verb_option *verb_option_row(enum verb_option_id id);
const struct exit_code *exit_code_table(size_t *ret_count);

/* VERB_COUNT when there is none of that name. */
enum verb_id verb_find(const char *name);
bool verb_takes(const struct verb *verb, enum verb_option_id id);
/* "[--from DATE] [--to DATE]": options that are shown, without CONFIG, and operands. */
void verb_synopsis(const struct verb *verb, struct buffer *out);

#endif
