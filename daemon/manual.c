/*
 * Writes the manual pages heatbookd(8) and heatbook.conf(5) and bash's completion from
 * the tables of verbs and options; run by the build, not installed.
 *
 * Pages are in the man(7) macros that groff and mandoc share. Texts are plain: what roff
 * would take for a request or an escape is written as a character, everything beyond
 * ASCII by its code point. Lines are filled here, since both programs complain of long
 * ones.
 */
#include "verb_table.h"

#include <heatbook/config.h>
#include <heatbook/options.h>

#include <stdio.h>
#include <string.h>

#define MANUAL_DATE "2026-11-28" /* of the last change to this file's own sentences */
#define LINE_MOST   80

/* ---- roff ---- */

static unsigned long code_point(const char **text)
{
	unsigned char first = (unsigned char)*(*text)++;
	if (first < 0x80)
		return first;
	unsigned long code = first & (first >= 0xf0 ? 0x07 : first >= 0xe0 ? 0x0f : 0x1f);
	while (((unsigned char)**text & 0xc0) == 0x80)
		code = code << 6 | ((unsigned char)*(*text)++ & 0x3f);
	return code;
}

static void escape(const char *text, size_t length, struct buffer *out)
{
	for (const char *end = text + length; text < end;) {
		unsigned long code = code_point(&text);
		if (code == '\\')
			buffer_add_text(out, "\\e");
		else if (code == '-')
			buffer_add_text(out, "\\-"); /* to be copied as it is typed */
		else if (code > 0x7f || strchr("'`^~", (int)code))
			buffer_addf(out, "\\[u%04lX]", code);
		else
			buffer_addf(out, "%c", (int)code);
	}
}

/* Words, in lines that the programs do not call long, none of which is a request. */
static void fill(const char *text)
{
	struct buffer line = {0}, word = {0};
	while (*text) {
		size_t length = strcspn(text, " ");
		buffer_reset(&word);
		escape(text, length, &word);
		text += length;
		text += strspn(text, " ");
		if (line.length > 0 && line.length + 1 + word.length > LINE_MOST) {
			(void)puts(buffer_text(&line)); /* main() looks at the stream */
			buffer_reset(&line);
		}
		if (line.length > 0)
			buffer_add_text(&line, " ");
		else if (*buffer_text(&word) == '.')
			buffer_add_text(&line, "\\&");
		buffer_add(&line, word.data, word.length);
	}
	(void)puts(buffer_text(&line));
	buffer_release(&line);
	buffer_release(&word);
}

static void title(const char *name, int section)
{
	(void)puts(".\\\" Written by the build from heatbook's tables.");
	(void)printf(".TH %s %d \"%s\" \"heatbook %s\"\n", name, section, MANUAL_DATE,
		HEATBOOK_VERSION);
}

static void heading(const char *macro, const char *text)
{
	struct buffer out = {0};
	escape(text, strlen(text), &out);
	(void)printf(".%s \"%s\"\n", macro, buffer_text(&out));
	buffer_release(&out);
}

static void paragraph(const char *text)
{
	(void)puts(".PP");
	fill(text);
}

/* A term in bold, what follows it as it is, and a text beneath. */
static void item(const char *term, const char *rest, const char *text)
{
	struct buffer out = {0};
	buffer_add_text(&out, "\\fB");
	escape(term, strlen(term), &out);
	buffer_add_text(&out, "\\fR");
	escape(rest, strlen(rest), &out);
	(void)printf(".TP\n%s\n", buffer_text(&out));
	buffer_release(&out);
	fill(text);
}

static void name_section(const char *name, const char *what)
{
	struct buffer out = {0};
	escape(what, strlen(what), &out);
	(void)printf(".SH NAME\n%s \\- %s\n", name, buffer_text(&out));
	buffer_release(&out);
}

static void see_also(const char *page, int section)
{
	(void)printf(".SH \"SEE ALSO\"\n.BR %s (%d)\n", page, section);
	paragraph("/usr/share/doc/heatbook/README.md");
}

/* ---- heatbookd(8) ---- */

static void page_verb(const struct verb *verb)
{
	struct buffer rest = {0}, text = {0};
	verb_synopsis(verb, &text);
	buffer_addf(&rest, " [-c FILE]%s%s", text.length ? " " : "", buffer_text(&text));
	buffer_reset(&text);
	buffer_addf(
		&text, "%c%s. %s", verb->what[0] - 'a' + 'A', verb->what + 1, verb->more);
	item(verb->name, buffer_text(&rest), buffer_text(&text));
	buffer_release(&rest);
	buffer_release(&text);
}

static void page_option(const struct verb_option *o)
{
	char term[64], rest[64];
	if (!o->sentence)
		return;
	if (o->letter)
		(void)snprintf(term, sizeof(term), "-%c, --%s", o->letter, o->name);
	else
		(void)snprintf(term, sizeof(term), "--%s", o->name);
	(void)snprintf(rest, sizeof(rest), "%s%s", o->value ? " " : "",
		o->value ? o->value : "");
	item(term, rest, o->sentence);
}

static void page_surroundings(void)
{
	heading("SH", "SIGNALS");
	item("SIGTERM, SIGINT", "", "serve commits what is accepted and ends.");
	item("SIGHUP", "",
		"serve reads the configuration again. One with faults, or that changes "
		"what only a restart can, is refused with its reasons and the former one "
		"stays in force.");
	heading("SH", "ENVIRONMENT");
	item("CREDENTIALS_DIRECTORY", "",
		"Where the service manager puts credentials: a file that [broker] names "
		"without / is looked for there.");
	item("NOTIFY_SOCKET, WATCHDOG_USEC", "",
		"serve tells the service manager when it is ready, reloads, stops, and "
		"that it lives.");
	item("JOURNAL_STREAM", "",
		"When set, lines on standard error begin with their priority for the "
		"system journal.");
	heading("SH", "FILES");
	item(CONFIG_DEFAULT_PATH, "", "The configuration.");
	item("/var/lib/heatbook/heatbook.db", "",
		"The store: one SQLite file with the raw journal and all rows, and two "
		"files beside it while it is open.");
	item("/run/heatbook/tail", "",
		"Messages that were accepted and are not committed to the store yet.");
}

static void page_heatbookd(void)
{
	size_t count;
	const struct exit_code *codes = exit_code_table(&count);
	char code[16];

	title("HEATBOOKD", 8);
	name_section("heatbookd", "heat, electricity and efficiency of a home heat pump");
	(void)puts(".SH SYNOPSIS\n.B heatbookd\n.I VERB\n[\\fB\\-c\\fR \\fIFILE\\fR]\n"
		   "[\\fIOPTIONS\\fR] [\\fIOPERANDS\\fR]");
	heading("SH", "DESCRIPTION");
	fill("heatbookd listens to the messages that a heat pump's gateway and "
	     "electricity meters publish on an MQTT broker, keeps every one of them, "
	     "and works out heat, electricity and efficiency by minute, hour and day. "
	     "It only reads: it never controls the plant. Every verb reads the same "
	     "configuration first; a faulty one ends it with all faults named.");
	heading("SH", "VERBS");
	for (int i = 0; i < VERB_COUNT; i++)
		page_verb(verb_row((enum verb_id)i));
	heading("SH", "OPTIONS");
	for (int i = 0; i < VERB_OPTION_COUNT; i++)
		page_option(verb_option_row((enum verb_option_id)i));
	heading("SH", "EXIT STATUS");
	for (size_t i = 0; i < count; i++) {
		(void)snprintf(code, sizeof(code), "%d", codes[i].code);
		item(code, "", codes[i].what);
	}
	page_surroundings();
	see_also("heatbook.conf", 5);
}

/* ---- heatbook.conf(5) ---- */

static void page_key(const struct option *o)
{
	struct buffer rest = {0}, text = {0};
	if (o->fallback)
		buffer_addf(&rest, " = %s", o->fallback);
	option_facts(o, &text);
	if (!o->fallback)
		buffer_addf(&text, " No default; for example %s.", o->example);
	item(o->key, buffer_text(&rest), buffer_text(&text));
	buffer_release(&rest);
	buffer_release(&text);
}

static void page_section(const struct section_declaration *s)
{
	char name[64];
	(void)snprintf(name, sizeof(name), "[%s%s]", s->name, s->example ? " NAME" : "");
	heading("SS", name);
	fill(s->sentence);
	for (const struct option *o = s->options; o->key; o++)
		page_key(o);
}

static void page_configuration(void)
{
	title("HEATBOOK.CONF", 5);
	name_section("heatbook.conf", "configuration of heatbookd");
	heading("SH", "DESCRIPTION");
	fill("The file says where messages come from, which topic and which place in "
	     "a payload holds which quantity, what the meters feed, and where "
	     "heatbookd keeps its own. heatbookd check names all faults at once, and "
	     "what the configuration can answer.");
	paragraph(
		"Lines are UTF-8, at most 197 bytes, not indented: [section], [section "
		"NAME], or key = value. A comment begins with # or ; at the line's "
		"start, or with a space and ; behind a value. Names are of letters a to "
		"z, digits and _. Quantities carry their unit (2 bar, 5 min, 64 MB); "
		"without one they are in heatbook's own. An unknown section or key is a "
		"fault.");
	paragraph("Where a key stands below with a value, that is its default.");
	heading("SH", "SECTIONS");
	for (int k = 0; k < SECTION_COUNT; k++)
		page_section(section_declaration((enum section_kind)k));
	heading("SH", "FILES");
	item(CONFIG_DEFAULT_PATH, "", "The configuration of heatbookd.service.");
	item("/usr/share/doc/heatbook/examples/heatbook.conf", "",
		"An invented house, and every option with its default.");
	see_also("heatbookd", 8);
}

/* ---- completion ---- */

static void completion(void)
{
	(void)puts(
		"# bash completion of heatbookd; written by the build from its tables.\n"
		"_heatbookd()\n{\n\tlocal word=${COMP_WORDS[COMP_CWORD]} options=\n"
		"\tif [ \"$COMP_CWORD\" -eq 1 ]; then\n\t\tCOMPREPLY=($(compgen -W \"");
	for (int i = 0; i < VERB_COUNT; i++)
		(void)printf("\t\t\t%s\n", verb_row((enum verb_id)i)->name);
	(void)puts("\t\t\t--help --version\" -- \"$word\"))\n\t\treturn\n\tfi\n"
		   "\tcase ${COMP_WORDS[1]} in");
	for (int i = 0; i < VERB_COUNT; i++) {
		const struct verb *verb = verb_row((enum verb_id)i);
		(void)printf("\t%s) options=\"", verb->name);
		for (int k = 0; k < VERB_OPTION_COUNT; k++) {
			const struct verb_option *o =
				verb_option_row((enum verb_option_id)k);
			if (verb_takes(verb, (enum verb_option_id)k) && o->sentence)
				(void)printf("--%s ", o->name);
		}
		(void)puts("\" ;;");
	}
	(void)puts("\tesac\n\tcase $word in\n"
		   "\t-*) COMPREPLY=($(compgen -W \"$options\" -- \"$word\")) ;;\n"
		   "\t*) COMPREPLY=($(compgen -f -- \"$word\")) ;;\n\tesac\n}\n"
		   "complete -o filenames -F _heatbookd heatbookd");
}

static const struct {
	const char *name;
	void (*write)(void);
} pages[] = {
	{"heatbookd.8", page_heatbookd},
	{"heatbook.conf.5", page_configuration},
	{"heatbookd.bash", completion},
};

int main(int argc, char **argv)
{
	for (size_t i = 0; argc == 2 && i < ARRAY_LEN(pages); i++)
		if (strcmp(argv[1], pages[i].name) == 0) {
			pages[i].write();
			return fflush(stdout) == 0 && !ferror(stdout) ? 0 : 1;
		}
	(void)fputs("usage: heatbook-manual heatbookd.8|heatbook.conf.5|heatbookd.bash\n",
		stderr);
	return 2;
}
