/*
 * The options of the daemon itself: what it keeps, whom it answers and what it says. See
 * option_rows.h.
 */
#include "option_rows.h"

const struct option notice_options[] = {
	{SECTION_NOTICE, "watch", OPTION_TEXT, .example = "value water_pressure", NOWHERE,
		.sentence =
			"What is looked at, by the minute: value CHANNEL; state "
			"CHANNEL:STATE; missing CHANNEL; power METER; of the local day "
			"so far day heat, day electricity, day efficiency, or day known "
			"(percent of it in which heat and electricity were); what is "
			"found by whole days: finding KIND, as /v1/findings names it, or "
			"finding any."},
	{SECTION_NOTICE, "above", OPTION_IN_UNIT, .example = "60 °C", NOWHERE,
		.sentence = "It is raised above this, in the unit of what is looked at "
			    "or in one that is named. Either above or below; state, "
			    "missing and finding have neither."},
	{SECTION_NOTICE, "below", OPTION_IN_UNIT, .example = "1 bar", NOWHERE,
		.sentence = "It is raised below this."},
	{SECTION_NOTICE, "clears", OPTION_IN_UNIT, .example = "1.2 bar", NOWHERE,
		.sentence = "Level at which it ends, on the other side of the threshold; "
			    "without it the threshold itself. In between it stays as it "
			    "is."},
	{SECTION_NOTICE, "for", OPTION_SPAN, "5 min", AT(notice, for_ms),
		RANGE(60e3, 7 * DAY),
		.sentence = "How long it must have been so; minutes of which nothing is "
			    "known are not counted. Not of a finding, which goes by "
			    "days."},
	{SECTION_NOTICE, "clears_for", OPTION_SPAN, .example = "30 min",
		AT(notice, clears_for_ms), RANGE(60e3, 7 * DAY),
		.sentence = "How long it must have been otherwise until it ends; without "
			    "it as long as for."},
	{SECTION_NOTICE, "text", OPTION_TEXT, .example = "Pressure is low",
		AT(notice, text),
		.sentence = "What is said; without it what is looked at and the "
			    "threshold."},
	OPTIONS_END,
};

const struct option journal_options[] = {
	{SECTION_JOURNAL, "tail", OPTION_TEXT, "/run/heatbook/tail", AT(journal, tail),
		.fixed = true, .sentence = "Directory of the uncommitted end, on tmpfs."},
	{SECTION_JOURNAL, "tail_bound", OPTION_SIZE, "64 MB",
		AT(journal, tail_bound_bytes), RANGE(1e6, 4e9), .fixed = true,
		.sentence = "Its greatest size."},
	{SECTION_JOURNAL, "clock_wait", OPTION_SPAN, "15 min", AT(journal, clock_wait_ms),
		RANGE(0, DAY), .fixed = true,
		.sentence =
			"How long after a start records wait for the clock to be set, "
			"when it is not synchronised or before the last minute; 0 s: not "
			"at all."},
	{SECTION_JOURNAL, "keep", OPTION_SPAN, "400 d", AT(journal, keep_ms),
		RANGE(DAY, 36500 * DAY),
		.sentence = "How long live records are kept; imports are kept for ever."},
	OPTIONS_END,
};

const struct option store_options[] = {
	{SECTION_STORE, "file", OPTION_TEXT, "/var/lib/heatbook/heatbook.db",
		AT(store, file), .fixed = true, .sentence = "The database file."},
	{SECTION_STORE, "commit_interval", OPTION_SPAN, "5 min",
		AT(store, commit_interval_ms), RANGE(1e3, HOUR),
		.sentence =
			"How often minutes are written; a power cut costs at most this."},
	{SECTION_STORE, "keep_minutes", OPTION_LIMIT, "none", AT(store, keep_minutes_ms),
		RANGE(60 * DAY, 36500 * DAY),
		.sentence = "How long minutes are kept, or none: for ever. Hours and "
			    "days are kept for ever."},
	OPTIONS_END,
};

const struct option http_options[] = {
	{SECTION_HTTP, "address", OPTION_TEXT, "127.0.0.1", AT(http, address),
		.fixed = true,
		.sentence =
			"Address to listen on. 127.0.0.1 and ::1 serve this host alone; "
			"another needs a token_file, or open = yes."},
	{SECTION_HTTP, "port", OPTION_INTEGER, "8720", AT(http, port), RANGE(0, 65535),
		.fixed = true, .sentence = "TCP port; 0 takes a free one."},
	{SECTION_HTTP, "token_file", OPTION_FILE, .example = "/etc/heatbook/tokens",
		NOWHERE,
		.sentence =
			"File of tokens, one a line, 16 characters at least; readable by "
			"owner and group alone; a name without / is a credential of the "
			"service. With it all data want one, on this host, too: "
			"Authorization: Bearer TOKEN."},
	{SECTION_HTTP, "open", OPTION_YES_NO, "no", AT(http, open),
		.sentence = "Whether whoever reaches the address may read without a "
			    "token."},
	{SECTION_HTTP, "hosts", OPTION_WORDS, .example = "cellar.example", NOWHERE,
		.sentence =
			"Names that the server is asked by, besides localhost and the "
			"address. A request by another name is refused, since pages "
			"elsewhere could make one point here."},
	{SECTION_HTTP, "origins", OPTION_WORDS, .example = "https://wall.example",
		NOWHERE,
		.sentence = "Pages of other servers that may ask from a browser: scheme, "
			    "host and port, exactly."},
	{SECTION_HTTP, "connections", OPTION_INTEGER, "32", AT(http, connections),
		RANGE(1, 512), .fixed = true, .sentence = "Connections at a time."},
	{SECTION_HTTP, "connections_per_client", OPTION_INTEGER, "16",
		AT(http, connections_per_client), RANGE(1, 512), .fixed = true,
		.sentence =
			"Of these, from one address. Behind a proxy all come from one."},
	{SECTION_HTTP, "streams", OPTION_INTEGER, "8", AT(http, streams), RANGE(1, 256),
		.sentence = "Of these, those that follow the event stream; a page that "
			    "is shown does."},
	{SECTION_HTTP, "requests_per_client", OPTION_INTEGER, "600",
		AT(http, requests_per_client), RANGE(1, 1000000),
		.sentence = "Requests a minute from one address beyond this host; more "
			    "are put off."},
	OPTIONS_END,
};

const struct option publish_options[] = {
	{SECTION_PUBLISH, "prefix", OPTION_TOPIC, .example = "heatbook",
		AT(publish, prefix),
		.sentence = "Topic under which state, today, mode, findings and "
			    "notices are published as retained messages; no other "
			    "client may use it."},
	{SECTION_PUBLISH, "interval", OPTION_SPAN, "5 min", AT(publish, interval_ms),
		RANGE(10e3, HOUR),
		.sentence = "How often all of it is published; mode and findings besides "
			    "as soon as they change, notices then alone."},
	OPTIONS_END,
};
