/*
 * The option table: every option of the configuration file is declared here once. Parser,
 * defaults, range errors, the printed reference and the sample file all come from it.
 *
 * An option is one `key = value` line of one kind of section. Some kinds take a name
 * (`[channel NAME]`), of which a file may hold many.
 */
#ifndef HEATBOOK_OPTIONS_H
#define HEATBOOK_OPTIONS_H

#include <heatbook/base.h>
#include <heatbook/units.h>

enum section_kind {
	SECTION_PLANT,
	SECTION_BROKER,
	SECTION_CHANNEL,
	SECTION_SOURCE,
	SECTION_METER,
	SECTION_DECLARED,
	SECTION_CORRECTION,
	SECTION_CHANGE,
	SECTION_SITE,
	SECTION_TARIFF,
	SECTION_CARBON,
	SECTION_OTHER_HEAT,
	SECTION_NOTICE,
	SECTION_MODES,
	SECTION_PAYLOAD,
	SECTION_TABLE,
	SECTION_JOURNAL,
	SECTION_STORE,
	SECTION_HTTP,
	SECTION_PUBLISH,
	SECTION_COUNT
};

struct section_declaration {
	const char *name;
	const char *example; /* of its own name; NULL for a section that stands once */
	const char *sentence;
	const struct option *options; /* at least one; one without key ends them */
};
const struct section_declaration *section_declaration(enum section_kind kind);

/* How a value is written and, in brackets, the C type of the field it goes to. The upper
 * group is read and stored from the table alone; of the lower one the table checks what
 * it can and the section's own reader does the rest, since more than the value is needed.
 */
enum option_type {
	OPTION_TEXT,      /* (char *) */
	OPTION_POINTER,   /* RFC 6901 JSON Pointer, may be empty (char *) */
	OPTION_FILTER,    /* MQTT 3.1.1, 4.7 topic filter (char *) */
	OPTION_TOPIC,     /* a topic without wildcards (char *) */
	OPTION_INTEGER,   /* (int) */
	OPTION_NUMBER,    /* (double) */
	OPTION_QUANTITY,  /* number and unit, bare = own unit of the dimension (double) */
	OPTION_SPAN,      /* "5 min" (int64_t, ms) */
	OPTION_SECONDS,   /* "60 s", whole seconds (int) */
	OPTION_LIMIT,     /* a span or "none" = -1 (int64_t, ms) */
	OPTION_SIZE,      /* "64 MB" (int64_t, bytes) */
	OPTION_YES_NO,    /* (bool) */
	OPTION_CHOICE,    /* one of `words`, the place in which is stored (int or enum) */
	OPTION_INSTANT,   /* RFC 3339 (int64_t, ms) */
	OPTION_ZONE,      /* IANA time zone that the system knows (char *) */
	OPTION_MONTH_DAY, /* "07-01" (struct month_day) */

	OPTION_UNIT,
	OPTION_IN_UNIT, /* a number in the channel's unit, or with a unit of its own */
	OPTION_MAP,     /* word:state, … */
	OPTION_FILTERS, /* list */
	OPTION_DEVICES, /* list of `words` */
	OPTION_WORDS,   /* list, folded */
	OPTION_SUM,     /* channel + channel … */
	OPTION_METER,
	OPTION_CHANNEL,
	OPTION_PRESSURE,    /* quantity or channel */
	OPTION_FILE,        /* must exist; without / it is a credential of the service */
	OPTION_COLUMN,      /* column.CHANNEL, unit.CHANNEL */
	OPTION_WINDOW,      /* window.NAME: days, times and a price */
	OPTION_PATTERNS,    /* list of shell patterns on a file's name */
	OPTION_TIME_COLUMN, /* column, or column + column */
	OPTION_TIME_FORM    /* a word, or a pattern of timepattern.h */
};

struct option {
	enum section_kind section;
	const char *key;
	enum option_type type;
	const char *fallback; /* default, as it would be written; NULL = none */
	const char *example;  /* where there is no default */
	const char *words;    /* of a choice, "a | b | c" */
	enum dimension dimension;
	/* Range in milliseconds, bytes or the dimension's own unit; 0 and 0 = any. */
	double least, most;
	const char *sentence;
	int offset; /* of the field in the section's struct, or -1 */
	bool fixed; /* from start to stop: a reload that changes it is refused */
};

/* The option after one, section by section: NULL gives the first, the last gives NULL. */
const struct option *option_next(const struct option *option);
/* The option of a key, or NULL; "column.x" finds "column.CHANNEL", "unit.x" and
 * "window.x" likewise. */
const struct option *option_find(enum section_kind section, const char *key);

/* Reads `text` as the option says. 0, or OPTION_REFUSED with a sentence in `why`. Where
 * the option has a field, `fields` (the section's struct; may be NULL to check only) gets
 * it; texts are copied and the former one freed. */
enum { OPTION_REFUSED = 1 };
int option_read(const struct option *option, const char *text, void *fields,
	char why[static 256]);

/* Appends what an owner must know of it: its sentence, choices, range. */
void option_facts(const struct option *option, struct buffer *out);

#endif
