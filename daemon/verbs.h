/*
 * What every verb gets and answers. Verbs and options are rows of verb_table.c.
 */
#ifndef VERBS_H
#define VERBS_H

#include <heatbook/config.h>

/* Exit codes: their meaning is in verb_table.c. */
enum {
	EXIT_DONE = 0,
	EXIT_FAILED = 1,
	EXIT_USAGE = 2,
	EXIT_REJECTED = 3,
	EXIT_DIFFERS = 3
};

struct verb_call {
	const struct config *config;
	const struct faults *notes; /* of the configuration */
	const char *config_path;
	int count; /* operands left after options */
	char **operands;
	const char *format; /* --format */
	const char *zone;   /* --zone */
	const char *from;   /* --from, --to: local dates */
	const char *to;
	const char *last;     /* --last: so far back */
	const char *of;       /* --of: a span by its name */
	bool statement;       /* --statement */
	bool anonymous;       /* --anonymous */
	const char *boundary; /* --boundary */
	const char *preview_pair_offset;
	const char *series;   /* --series: channels, joined by commas */
	bool energy;          /* --energy */
	const char *step;     /* --step */
	const char *by;       /* --by */
	const char *time;     /* --time */
	const char *output;   /* --output */
	bool journal;         /* --journal */
	bool json;            /* --json */
	bool sealed;          /* --sealed */
	bool what;            /* --what */
	const char *keep;     /* --keep */
	const char *span;     /* --for */
	const char *archive;  /* --archive */
	bool propose;         /* --propose */
	bool dry_run;         /* --dry-run */
	const char *rejected; /* --rejected */
	const char *drop;     /* --drop */
	const char *since;    /* --clock-right-since */
	bool all;             /* --all */
	const char *days;     /* --days */
	const char *seed;     /* --seed */
};

int verb_serve(const struct verb_call *call);
int verb_listen(const struct verb_call *call);
int verb_check(const struct verb_call *call);
int verb_import(const struct verb_call *call);
int verb_imports(const struct verb_call *call);
int verb_rebuild(const struct verb_call *call);
int verb_report(const struct verb_call *call);
int verb_export(const struct verb_call *call);
int verb_backup(const struct verb_call *call);
int verb_verify(const struct verb_call *call);

/* Say why on standard error and answer the exit code: EXIT_FAILED, EXIT_USAGE. */
int verb_failed(const char *why);
int verb_misused(const char *why);
/* From now on SIGTERM, SIGINT and `more` (0: none) are read from *ret_fd, in every thread
 * that is begun later too. 0 or -errno. */
int verb_signals(int more, int *ret_fd);
/* First instant of the local date "2026-01-31", so many days on. */
bool verb_date(const char *text, int days, int64_t *ret_ms);
/* Names sealed UTC days, if any, that kept their rows. */
struct sealed_days; /* deriver.h */
void verb_say_sealed(const struct sealed_days *sealed);

#endif
