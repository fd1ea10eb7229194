/*
 * Findings: what is likely wrong with a sensor, a meter, the configuration or the plant,
 * each with its evidence, its size, since when, what it does to the season's figure, and
 * a remedy in plain English. Worked out of the evidence of days (evidence.h), the days'
 * sums and the store's facts: a pure function of these, so that the same rows give the
 * same findings. Nothing is ever put right by itself: what can be corrected is proposed
 * as a section of the configuration.
 */
#ifndef HEATBOOK_FINDING_H
#define HEATBOOK_FINDING_H

#include <heatbook/boundary.h>
#include <heatbook/event.h>
#include <heatbook/evidence.h>
#include <heatbook/finding_kind.h>
#include <heatbook/store.h>

struct finding {
	enum finding_kind kind;
	char subject[64]; /* channel, meter or source; "" */
	int64_t since_ms, until_ms;
	/* It was so up to the end of what is known; never where the span ends before. */
	bool lasts;
	/* It was so on the first day that was looked at, with rows before that day: it
	 * began at `since_ms` or earlier. */
	bool began_before;
	double size;      /* in `unit`; NaN = it has none */
	const char *unit; /* UCUM code, "" for a plain number; static */
	/* What it adds to the factor of the season in which it ends (sums of the widest
	 * boundary); NaN where that cannot be told. */
	double effect;
	char *evidence; /* sentences */
	char *remedy;
	char *correction; /* a section to paste, or NULL */
};

struct finding_list {
	struct finding *items;
	size_t count, room;
};
void finding_release(struct finding *finding);
void findings_release(struct finding_list *list);

/* What is known of a local day. */
struct finding_day {
	int64_t start_min, end_min;
	bool looked; /* its minutes were looked at; else there is no evidence of it */
	bool known;  /* heat or a meter was known for some of it */
	/* Sums of all modes but cooling, at the boundary. */
	int64_t heat_ms;
	int64_t paired_heat_j, paired_electricity_j, paired_ms;
	double paired_sensitivity_j_per_k;
	/* What is in both of heat and electricity, by meters that serve heaters alone. */
	int64_t paired_heaters_j;
	/* Spans of registers that lie across the day's ends, or over cooling as well, may
	 * have put these sums off by so much, either way. */
	double mistaken_heat_j, mistaken_electricity_j;
	int64_t heating_j; /* heat that was booked to heating, net */
	int64_t meter_j[METERS_MOST];
	const struct evidence *items; /* in the order of kinds */
	size_t count;
};

struct finding_input {
	const struct config *config;
	struct boundary boundary;       /* the widest; without meters none */
	const struct finding_day *days; /* without holes, in order */
	size_t day_count;
	bool rows_follow;           /* of more than a day that the span leaves out */
	bool rows_precede;          /* of days before the first one */
	const struct event *events; /* in order of time */
	size_t event_count;
	struct older_days older; /* UTC days of an earlier mapping */
	int64_t sealed_days, sealed_first, sealed_last;
};

/* Adds what is found; the list is sorted by effect, then by time, the last first. */
void findings_of(const struct finding_input *input, struct finding_list *list);

struct store;
/* What was found, and how far was looked. */
struct findings {
	struct finding_list list;
	int64_t from_ms, to_ms; /* the span, whole local days but the last */
	int64_t version;        /* of the data */
	struct older_days older;
	int64_t days, days_looked;
	struct boundary boundary;
};
/* Asks the store of local days that touch [from, to). Found is what touches them, since
 * whenever it was so: 400 days before are looked at as well, and all there are where a
 * correction would begin earlier. Days that were not looked at yet are looked at now, as
 * many as `budget` of them. 0, -errno or a code of query.h. */
int findings_ask(struct store *store, int64_t from_ms, int64_t to_ms, size_t budget,
	struct findings *ret);
void findings_ask_release(struct findings *findings);
/* Looks at closed days that were not looked at, the last ones first, at most `most`, in
 * one transaction, and keeps what they say. *ret_done: how many (0: none is left). */
int evidence_catch_up(struct store *store, size_t most, size_t *ret_done);
/* Looks at one, whatever was kept of it. */
int evidence_make(struct store *store, int64_t start_min, int64_t end_min);

#endif
