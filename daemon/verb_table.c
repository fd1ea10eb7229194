/*
 * The tables of the command line. See verb_table.h. Texts are plain English without
 * markup: the terminal prints them as they are, the manual page escapes them.
 */
#include "verb_table.h"

#include "verbs.h"

#include <heatbook/archive.h>

#include <assert.h>
#include <string.h>

#define TO(field) .offset = (int)offsetof(struct verb_call, field)
#define BIT(id)   (1U << VERB_OPTION_##id)

static const struct verb_option options[VERB_OPTION_COUNT] = {
	[VERB_OPTION_CONFIG] = {"config", 'c', "FILE",
		"The configuration file instead of " CONFIG_DEFAULT_PATH ".",
		TO(config_path)},
	[VERB_OPTION_FORMAT] = {"format", 0, ARCHIVE_FORMS "|TABLE",
		"How every archive is written, instead of finding out line by line.",
		TO(format)},
	[VERB_OPTION_ZONE] = {"zone", 0, "ZONE",
		"The zone of times without offset, such as Europe/Berlin. The hour that "
		"exists twice in autumn is told by the order of lines.",
		TO(zone)},
	[VERB_OPTION_FROM] = {"from", 0, "DATE", "First local day, such as 2026-01-31.",
		TO(from)},
	[VERB_OPTION_TO] = {"to", 0, "DATE", "Last local day, itself included.", TO(to)},
	[VERB_OPTION_LAST] = {"last", 0, "SPAN",
		"So many whole days, back from the end of --to (else of yesterday): P7D, "
		"P2W, P1M, P1Y …",
		TO(last)},
	[VERB_OPTION_OF] = {"of", 0, "NAME",
		"A whole day, week, month, year or season by its name: 2026-01-31, "
		"2026-W05, 2026-01, 2026, season-2025 (which begins in that year), or "
		"by the word for the one that is not over.",
		TO(of)},
	[VERB_OPTION_STATEMENT] = {"statement", 0, NULL,
		"One sheet of the span: figures with their intervals, and all that they "
		"rest on.",
		TO(statement)},
	[VERB_OPTION_ANONYMOUS] = {"anonymous", 0, NULL,
		"A statement without names, places and days, with three digits: fit for "
		"sharing.",
		TO(anonymous)},
	[VERB_OPTION_BOUNDARY] = {"boundary", 0, "NAME",
		"What is counted, such as H2 or H4; without it the widest "
		"boundary that the meters allow.",
		TO(boundary)},
	[VERB_OPTION_PREVIEW_PAIR_OFFSET] = {"preview-pair-offset", 0, "KELVIN",
		"Heat as this offset of flow less return temperature would make it, "
		"such as -0.3: what a correction of the pair would do. It works on "
		"sums and changes nothing that is stored.",
		TO(preview_pair_offset)},
	[VERB_OPTION_JOURNAL] = {"journal", 0, NULL,
		"The raw records of the journal, committed or not.", TO(journal)},
	[VERB_OPTION_SERIES] = {"series", 0, "CHANNEL,…",
		"Means of these channels over each step as CSV.", TO(series)},
	[VERB_OPTION_ENERGY] = {"energy", 0, NULL,
		"Heat, electricity and efficiency over each step as CSV.", TO(energy)},
	[VERB_OPTION_STEP] = {"step", 0, "STEP",
		"PT1M, PT15M, PT1H, P1D, P1W, P1M, P1Y … (default: P1D); of report P1D, "
		"P1W, P1M or P1Y: a line each.",
		TO(step)},
	[VERB_OPTION_BY] = {"by", 0, "mode",
		"Of --energy the sums of each operating mode besides.", TO(by)},
	[VERB_OPTION_TIME] = {"time", 0, "local|epoch",
		"Instants in CSV as RFC 3339 in the plant's zone (the default) or as "
		"epoch seconds.",
		TO(time)},
	[VERB_OPTION_OUTPUT] = {"output", 0, "FILE",
		"Into this file, which is replaced once all of it is written, instead "
		"of standard output.",
		TO(output)},
	[VERB_OPTION_JSON] = {"json", 0, NULL,
		"The answer as JSON; of report as /v1/energy gives it, of a statement as "
		"/v1/statement.",
		TO(json)},
	[VERB_OPTION_SEALED] = {"sealed", 0, NULL,
		"Sealed days as well: those whose journal was damaged after they were "
		"derived. What the journal still holds of them replaces their rows.",
		TO(sealed)},
	[VERB_OPTION_WHAT] = {"what", 0, NULL,
		"Only say what would change: heat, electricity and efficiency of each "
		"day before and after. It works on a copy of the store (beside it, or "
		"in TMPDIR), which is removed, and changes nothing.",
		TO(what)},
	[VERB_OPTION_KEEP] = {"keep", 0, "N",
		"Remove all but the newest N backups of this configuration; without "
		"it none is removed.",
		TO(keep)},
	[VERB_OPTION_FOR] = {"for", 0, "SPAN",
		"How long to listen, such as 10 min (default: 60 s).", TO(span)},
	[VERB_OPTION_ARCHIVE] = {"archive", 0, "FILE",
		"Messages of an archive instead of the broker's; - is standard input.",
		TO(archive)},
	[VERB_OPTION_PROPOSE] = {"propose", 0, NULL,
		"The proposed sections alone, to be appended to the configuration.",
		TO(propose)},
	[VERB_OPTION_DRY_RUN] = {"dry-run", 0, NULL,
		"Read and decode everything, say what it would feed, store nothing.",
		TO(dry_run)},
	[VERB_OPTION_REJECTED] = {"rejected", 0, "FILE",
		"Write every rejected line there, with its file, number and reason.",
		TO(rejected)},
	[VERB_OPTION_CLOCK_RIGHT_SINCE] = {"clock-right-since", 0, "TIME",
		"Of the output of export: this machine's clock was far ahead and was set "
		"right at this time, such as 2026-01-31T10:00:00+01:00. What it stamped "
		"later than now is kept without counting; what it stamped since then "
		"counts, though it was kept aside.",
		TO(since)},
	[VERB_OPTION_DROP] = {"drop", 0, "NAME",
		"Take the import of that name out of the journal and derive what it "
		"touched.",
		TO(drop)},
	[VERB_OPTION_ALL] = {"all", 0, NULL, "Every day instead of some.", TO(all)},
	[VERB_OPTION_DAYS] = {"days", 0, "N",
		"How many days are made again from the journal (default: 7; 0: none).",
		TO(days)},
	[VERB_OPTION_SEED] = {"seed", 0, "N",
		"Chooses these days, so that a run can be repeated.", TO(seed)},
};

static const struct verb verbs[VERB_COUNT] = {
	[VERB_SERVE] = {"serve",
		.what = "listen to the broker, keep the journal, answer over HTTP",
		.more = "Runs in the foreground until SIGTERM or SIGINT, then "
			"commits and ends. A service manager starts it: see the unit "
			"heatbookd."},
	[VERB_LISTEN] = {"listen",
		.takes = BIT(FOR) | BIT(ARCHIVE) | BIT(JSON) | BIT(PROPOSE),
		.operands = "[FILTER…]",
		.what = "list what the broker's messages hold; propose channels for it",
		.more = "Subscribes for a while to the topic filters (default: #), lists "
			"every topic and place in the payload with what was seen there, "
			"and proposes sections for the configuration, every one a guess. "
			"A configuration with a [broker] section is enough. Stores "
			"nothing, and runs beside the daemon."},
	[VERB_CHECK] = {"check",
		.what = "check the configuration; say which questions it can answer",
		.more = "Prints every fault at once, with file and line, and then "
			"for each question of an owner what answers it or what is "
			"missing."},
	[VERB_IMPORT] = {"import",
		.takes = BIT(FORMAT) | BIT(ZONE) | BIT(DRY_RUN) | BIT(REJECTED) |
			 BIT(CLOCK_RIGHT_SINCE) | BIT(JSON),
		.operands = "ARCHIVE…",
		.what = "file archived messages (- is standard input) and derive "
			"what they touch",
		.more = "Archives are lines of time, topic and payload, JSON lines as an "
			"MQTT client prints them, or the output of export; plain, gzip "
			"or zstd. The same content twice changes nothing, whatever its "
			"name and packing; what was broken off is imported again by the "
			"same command. Beside a running daemon the archives are filed "
			"and the daemon derives them."},
	[VERB_IMPORTS] = {"imports", .takes = BIT(DROP) | BIT(JSON),
		.what = "list what was imported, or take one of it back",
		.more = "An import bears its archive's path, with a number behind it "
			"where that was imported before with other content. Equal "
			"records of other imports stay, and the rows become those of a "
			"store that never had it; sealed days keep theirs and are named. "
			"Works beside a running daemon, which derives."},
	[VERB_REBUILD] = {"rebuild",
		.takes = BIT(FROM) | BIT(TO) | BIT(SEALED) | BIT(WHAT) | BIT(BOUNDARY) |
			 BIT(JSON),
		.what = "derive a span, or everything, anew from the journal",
		.more = "For a mapping that was wrong, or a correction: put it into the "
			"configuration, then rebuild. Beside a running daemon that has "
			"read it, too, the daemon derives and readers never see half a "
			"day. SIGINT and SIGTERM end it after the day in work; the same "
			"command goes on, and so does whoever derives next. Days whose "
			"journal is no longer whole are sealed: they keep their rows and "
			"are named."},
	[VERB_REPORT] = {"report",
		.takes = BIT(FROM) | BIT(TO) | BIT(LAST) | BIT(OF) | BIT(STEP) |
			 BIT(STATEMENT) | BIT(ANONYMOUS) | BIT(BOUNDARY) |
			 BIT(PREVIEW_PAIR_OFFSET) | BIT(JSON),
		.what = "print heat, electricity and efficiency of a span (default: "
			"yesterday)",
		.more = "With --from alone the span lasts until now. Lines are as wide "
			"as the terminal, 80 columns elsewhere; where the locale's "
			"character set is not UTF-8, all is ASCII."},
	[VERB_EXPORT] = {"export",
		.takes = BIT(JOURNAL) | BIT(SERIES) | BIT(ENERGY) | BIT(FROM) | BIT(TO) |
			 BIT(STEP) | BIT(BOUNDARY) | BIT(BY) | BIT(TIME) | BIT(OUTPUT),
		.what = "print rows as CSV, or every record as a JSON line",
		.more = "One of --journal, --series and --energy says what; without "
			"--from and --to all of it. Daemon running or not. CSV has the "
			"columns, units and roundings of /v1/series and /v1/energy, an "
			"unknown value is an empty field. What --journal prints, import "
			"takes; of a span it prints the records that the span's rows "
			"are made of, and a value that was set before it is not among "
			"them."},
	[VERB_BACKUP] = {"backup", .takes = BIT(KEEP), .operands = "DIRECTORY",
		.what = "copy the store into a directory, daemon running or not",
		.more = "The copy is of one moment, up to the last commit; it is "
			"checked and on the device before it gets its name, the "
			"configuration's and the time (UTC). Whatever fails leaves "
			"older backups as they are. The directory must exist, and "
			"not be the store's own."},
	[VERB_VERIFY] = {"verify", .takes = BIT(ALL) | BIT(DAYS) | BIT(SEED) | BIT(JSON),
		.what = "check the store, its sums, and rows against the journal",
		.more = "Reads the whole file, every chunk of the journal, sums all "
			"hours "
			"and days again, and makes some days again from the journal, "
			"in a copy of the store in TMPDIR or /var/tmp. Each difference "
			"is named with table, time, what is stored and what is made. "
			"Changes nothing; the daemon may run."},
};

static const struct exit_code exit_codes[] = {
	{EXIT_DONE, "done"},
	{EXIT_FAILED, "failed"},
	{EXIT_USAGE, "usage or configuration"},
	{EXIT_REJECTED, "lines were rejected or verify found something"},
};

const struct verb *verb_row(enum verb_id id)
{
	assert(id < VERB_COUNT);
	return &verbs[id];
}

const struct verb_option *verb_option_row(enum verb_option_id id)
{
	assert(id < VERB_OPTION_COUNT);
	return &options[id];
}

const struct exit_code *exit_code_table(size_t *ret_count)
{
	*ret_count = ARRAY_LEN(exit_codes);
	return exit_codes;
}

enum verb_id verb_find(const char *name)
{
	int id = 0;
	while (id < VERB_COUNT && strcmp(verbs[id].name, name) != 0)
		id++;
	return (enum verb_id)id;
}

bool verb_takes(const struct verb *verb, enum verb_option_id id)
{
	return id == VERB_OPTION_CONFIG || verb->takes & 1U << id;
}

void verb_synopsis(const struct verb *verb, struct buffer *out)
{
	const char *space = "";
	for (int i = VERB_OPTION_CONFIG + 1; i < VERB_OPTION_COUNT; i++) {
		const struct verb_option *o = &options[i];
		bool needed = verb->needs & 1U << i;
		if (!verb_takes(verb, (enum verb_option_id)i) || !o->sentence)
			continue;
		buffer_addf(out, "%s%s--%s%s%s%s", space, needed ? "" : "[", o->name,
			o->value ? " " : "", o->value ? o->value : "", needed ? "" : "]");
		space = " ";
	}
	if (verb->operands)
		buffer_addf(out, "%s%s", space, verb->operands);
}
