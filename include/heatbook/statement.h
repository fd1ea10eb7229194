/*
 * The statement of a span: one sheet that says what a plant gave and took, at which
 * boundary, how sure that is, and all that it rests on. Plain data between the store's
 * queries and who writes it as JSON or as text; nothing is asked while it is written.
 *
 * The anonymous form is made of the whole one, here and nowhere else: names become what
 * their bearers are (role, devices), instants their months, the zone its offset, and
 * figures keep three digits. What others wrote (topics, sentences with names in them) is
 * not in it.
 */
#ifndef HEATBOOK_STATEMENT_H
#define HEATBOOK_STATEMENT_H

#include <heatbook/figures.h>
#include <heatbook/finding.h>
#include <heatbook/insight.h>
#include <heatbook/runs.h>

/* A boundary that the meters allow, and the plant's figures at it. */
struct statement_offer {
	struct boundary boundary;
	struct figures whole;
	double heat_u_j, electricity_u_j; /* expanded half-widths */
};

/* Heat by which flow temperature was weighted, and the mean. */
struct statement_flow {
	double heat_j, weighted_j; /* Σ heat · °C */
};

/* Days whose minutes evidence tells of. */
enum statement_service { SERVICE_HEATING, SERVICE_HOT_WATER, SERVICE_COUNT };

struct statement {
	/* With the names that may be told. Texts of anything else in it are never
	 * written. */
	struct config config;
	bool anonymous;
	char zone[64];
	int64_t from_ms, to_ms;
	bool open;    /* its last day is not over */
	int64_t days; /* local days that it touches */
	int64_t version;
	int schema; /* of the store */
	struct older_days older;
	int64_t sealed_days;        /* UTC days */
	struct boundary boundary;   /* without a name: no meter gives one, … */
	char no_boundary[256];      /* … because of this */
	struct energy_bucket *sums; /* of the whole span, unrounded; NULL if anonymous */
	struct figures whole, modes[MODE_COUNT];
	double heat_u_j, electricity_u_j; /* expanded half-widths */
	const char *largest_term;         /* of the uncertainty, or NULL */
	struct cell meters[METERS_MOST];  /* electricity of each */
	struct statement_offer offers[BOUNDARIES_MOST];
	size_t offer_count;
	bool has_outdoor; /* the plant has an outdoor temperature; of these days: */
	struct degree_sum degrees;
	struct statement_flow flow[SERVICE_COUNT];
	/* Runs that began in the span; of the compressor's those whose start was seen. */
	bool has_runs; /* else it would take too long: too many days are not kept yet */
	int64_t runs[RUN_KINDS];
	struct findings findings; /* that touch the span */
	/* The figures with their intervals (k = 2), and what is missing for others. */
	struct insight_answer answer;
};

struct statement_asked {
	const struct config *config;
	struct boundary boundary; /* as boundary_find() gives it, or without a name */
	const char *no_boundary;  /* why it has none */
	int64_t from_ms, to_ms;   /* from a local midnight; the end may be cut */
	bool open;
	bool patient;  /* whoever asks may wait: see query_outdoor_long() */
	size_t budget; /* days that may be looked at meanwhile */
	bool anonymous;
};

struct store;
/* 0, -errno or a code of query.h; *ret is released by the caller whatever it is. */
int statement_ask(
	struct store *store, const struct statement_asked *asked, struct statement *ret);
void statement_release(struct statement *statement);

/* Known time as a share of the span, without cooling: of heat, electricity, or both. */
double statement_coverage(const struct statement *statement, enum column known);
/* Is its factor one of a season? That takes a whole year. */
bool statement_is_season(const struct statement *statement);
/* "2026-01" of an anonymous one, else a date-time of the plant's zone. */
void statement_when(
	const struct statement *statement, int64_t t_ms, char text[static 32]);
/* "compressor+circulation"; caller frees. */
char *statement_device_names(unsigned devices);
/* The i-th of what has to be said with the figures of this plant, or NULL behind the
 * last. */
const char *statement_caution(const struct statement *statement, size_t i);
/* Does a statement name the instrument of such a channel? */
bool statement_names_sensor(enum role role);
/* "computed", "power", "register": what heat is told by. */
const char *statement_heat_source(const struct config *config);
/* Limit of the heat that an instrument says as a whole, percent; NaN where its parts have
 * their own. */
double statement_heat_percent(const struct config *config);
/* "power", "register", "power and register": what a meter is read by. */
const char *statement_read_by(const struct meter_config *meter);

/* ---- parts, for their tests ---- */

/* Heat from the environment by Commission Decision 2013/114/EU, from heat (kWh) and a
 * seasonal factor: Q · (1 − 1/SPF). */
double renewable_heat(double heat, double spf);
/* Whether that counts as renewable: the factor must exceed 1.15/η, which the Decision
 * gives as 2.5. */
#define RENEWABLE_LEAST_SPF 2.5
bool renewable_counts(double spf);

/* Fills `answer` of all else (statement_figures.c). */
void statement_answer(struct statement *statement);
/* Makes it anonymous (statement_anonymous.c); once. */
void statement_make_anonymous(struct statement *statement);

#endif
