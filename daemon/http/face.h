/*
 * What the files of the HTTP face share: a request taken apart, a reply being made, the
 * problems, the span that the row resources have in common. Not for other rooms.
 */
#ifndef HEATBOOK_HTTP_FACE_H
#define HEATBOOK_HTTP_FACE_H

#include <heatbook/http.h>
#include <heatbook/notices_ask.h>

#include <heatbook/tokens.h>

#include "guests.h"
#include "json.h"
#include "page_files.h"
#include "shelf.h"

#include <microhttpd.h>

/* An answer has at most so many values (cells of columns). */
#define VALUES_MOST     100000
#define PARAMETERS_MOST 32
#define TARGET_MOST     8192 /* bytes; RFC 9110, 4.1, wants 8000 at least */

struct news;
struct follower; /* stream.c */

struct http {
	const struct config *config;
	struct store *store;
	http_live *live;
	void *context;
	struct tokens *tokens; /* NULL: none is asked for */
	struct guests guests;
	struct MHD_Daemon *daemon;
	struct shelf *shelf;
	const struct news *news; /* or NULL */
	struct buffer notices;   /* words of them, … */
	uint64_t notices_digest; /* … 0: how they stand is not known yet */
	int64_t notices_at;      /* minute of these words */
	struct notice_walks walks;
	struct follower *followers;
	int follower_count;
	int fd;
	int port;
};

struct parameter {
	char *name;
	char *value;
};

/* A request's target, taken apart by request.c. */
struct request {
	char *target;     /* as sent, without an authority */
	char *text;       /* holds path, names and values */
	const char *path; /* as sent: resources are matched byte by byte */
	char *authority;  /* of a target in absolute form, in place of Host; else NULL */
	struct parameter parameters[PARAMETERS_MOST];
	size_t parameter_count;
	char *accept;      /* the Accept field, or NULL */
	bool takes_gzip;   /* by the Accept-Encoding field */
	const char *fault; /* why the target is refused, or NULL */
	unsigned fault_status;
	bool seen;         /* the handler was called for it before */
	struct buffer key; /* of its answer on the shelf; empty where none is kept */
	bool head;         /* only the fields of the answer are wanted */
	const char *last_event_id; /* the field Last-Event-ID, or NULL */
};

/* Never NULL; a target that cannot be accepted has `fault`. */
struct request *request_new(const char *target);
void request_free(struct request *request);
/* The value, or NULL when the parameter is absent. */
const char *request_value(const struct request *request, const char *name);
/* May this Host field be answered? Loopback names and addresses, the configured address
 * and hosts, and the address that the connection came in at (`local`, NULL = unknown): a
 * page of another origin whose name was made to point here bears that name. */
struct sockaddr;
bool host_allowed(
	const char *host, const struct http_config *config, const struct sockaddr *local);

/* A header field, and how often it is there; the last one's value. */
struct field {
	const char *name;
	const char *value;
	size_t count;
};
void field_find(struct MHD_Connection *connection, struct field *field);

#define ALLOWED_METHODS "GET, HEAD, OPTIONS"

/* Cache rules of an answer. */
enum { CACHE_NEVER = -1, CACHE_ASK = 0 }; /* else seconds that it may be kept */

/* Where a follower of the event stream stands: see stream.c. */
struct follow_place {
	int64_t minute;     /* it was told of minutes up to here, */
	uint64_t run;       /* by this run of the program, */
	uint64_t revisions; /* of so many of its revisions, */
	uint64_t notices;   /* and of notices in the words of this digest; 0: of none */
};

struct reply {
	unsigned status;
	bool problem;
	bool allow; /* send the Allow field */
	int cache_s;
	int retry_after_s;            /* 0 = none */
	const struct page_file *file; /* is the body; or NULL */
	const char *type; /* of a body that is whole; NULL: JSON, which respond() ends */
	bool varies;      /* with the Accept field */
	bool stream;      /* of events, without an end, in place of a body; … */
	bool resumes;     /* … behind `place` */
	struct follow_place place;
	/* Whose page may read it besides our own, or NULL; an answer that is kept is kept
	 * for this one. */
	const char *allow_origin;
	const char *challenge; /* of 401, or NULL */
	struct csv_form form;  /* of CSV */
	struct json body;      /* an object that is open, or whole */
	struct standing standing;
	const struct shelved
		*kept; /* is the answer, whatever else is said here; or NULL */
};

/* admit.c: whether a request may be looked at at all; else the problem is in `reply`. */
bool request_admitted(struct http *http, struct MHD_Connection *connection,
	const struct request *request, const char *method, struct reply *reply);
bool request_has_body(struct MHD_Connection *connection);
/* origin.c: may the page ask that the question comes from, if it comes from one? `host`
 * as the request names it. */
bool origin_admitted(struct http *http, struct MHD_Connection *connection,
	const char *host, struct reply *reply);
/* bearer.c: does the request bear a token, where one is needed? */
bool token_admitted(
	struct http *http, struct MHD_Connection *connection, struct reply *reply);
/* Its place among the connections that are open. */
struct visit *visit_of(struct MHD_Connection *connection);

/* Queues the reply; takes its body over. */
enum MHD_Result respond(struct http *http, struct MHD_Connection *connection,
	const struct request *request, struct reply *reply);

/* Reads which of JSON and CSV is wanted: by `format`, else by the Accept field. False
 * with the problem in `reply`. */
bool form_read(const struct request *request, struct reply *reply);
/* One of two words, the first unless it is given; false with the problem. */
bool choice_read(const struct request *request, struct reply *reply, const char *name,
	const char *const words[static 2], bool *ret_second);
/* Does an Accept field (RFC 9110, 12.5.1; NULL: none) prefer CSV to JSON? */
bool prefers_csv(const char *accept);
/* Does it prefer the page to the index in JSON, or have no preference? */
bool prefers_page(const char *accept);
/* The weight of an element's parameters ("; q=0.5"): 0 to 1000. */
int element_weight(const char *parameters, size_t length);
/* coding.c: by an Accept-Encoding field, or NULL. */
bool accepts_gzip(const char *field);
/* False without memory. */
bool pack_gzip(const struct buffer *plain, struct buffer *ret);

/* Begins a problem in place of whatever the reply held. */
void problem(struct reply *reply, unsigned status, const char *format, ...)
	PRINTF_LIKE(3, 4);
/* A problem with one parameter, as it was given. */
void problem_with(struct reply *reply, const char *parameter, const char *given,
	const char *format, ...) PRINTF_LIKE(4, 5);
/* Adds what would have been allowed. */
void problem_allowed(struct reply *reply, const char *const *allowed, size_t count);
/* A query's negative errno or QUERY_TOO_SLOW. */
void problem_query(struct reply *reply, int error);

/* The frame of row resources: from, to, step. */
struct span {
	int64_t from_ms, to_ms;
	struct duration step;
	const char *step_text;
	int64_t *edges_ms; /* count + 1 */
	size_t count;
	bool open; /* ends in the future or just now: rows may still come */
	/* The same words mean this very span, open or not, while the clock is in it. */
	int64_t clock_from_ms, clock_until_ms;
	bool by_rows; /* in JSON an object a row is wanted */
	char note[320];
};

/* Reads and checks the three, and lays out the buckets, each of which will have so many
 * values. False with the problem in `reply`. */
bool span_read(const struct request *request, size_t values, struct reply *reply,
	struct span *ret);
/* Moves its ends outward to local midnights and lays the buckets anew; a step that is no
 * calendar's is a problem. For what is told by whole days. */
bool span_whole_days(
	const struct request *request, struct span *span, struct reply *reply);
/* Times alone, the last so many local days without `from`. */
bool span_times(
	const struct request *request, int days, struct reply *reply, struct span *span);
void span_release(struct span *span);
/* zone, from, to, step, and `note` if there is one. */
void span_write(const struct span *span, const struct config *config, struct json *json);
/* Says of an answer made of rows in the span how long clients may keep it, half a step at
 * most while it is open, and how long it stands. */
void span_keep(const struct span *span, struct reply *reply);

/* The boundary that is asked for; without one the widest or the narrowest that meters
 * allow; none at all, where there is no meter: heat alone is answered. */
bool boundary_read(const struct config *config, const struct request *request,
	bool narrowest, struct reply *reply, struct boundary *ret);

/* What /v1/energy and its like are asked: the boundary, and `by`. False with the problem.
 */
bool question_read(const struct config *config, const struct request *request,
	struct reply *reply, struct question *ret);

/* A value of a channel with its decimals, or its state in words; null when it is unknown.
 */
void json_channel_value(struct json *json, const char *key,
	const struct channel_config *channel, double value);

/* Members: what was found, since when and how large, without the words about it. */
void json_finding(struct json *json, const struct finding *finding);
/* Of these: size, unit and effect. */
void json_finding_size(struct json *json, const struct finding *finding);
/* An array of what was found. */
void json_findings(
	struct json *json, const char *key, const struct finding_list *findings);

/* Members: the columns from `first` on. */
void json_figures(struct json *json, const struct figures *figures, enum column first);

/* An object: how sure heat, electricity and their ratio of a bucket are, term by term. */
void json_budget(struct json *json, const char *key, const struct energy_bucket *bucket,
	const struct question *question);

/* health.c: the limits one by one, by what the daemon's memory has; NULL after the last.
 */
const char *health_limit(size_t i, const struct config *config,
	const struct live_state *live, bool *ret_broken);

/* The resources. */
typedef void resource(
	struct http *http, const struct request *request, struct reply *reply);
resource answer_cost, answer_degree_days, answer_energy, answer_series, answer_now,
	answer_channels, answer_findings, answer_signature, answer_changes,
	answer_statement, answer_health, answer_stream, answer_runs, answer_defrosts,
	answer_hot_water, answer_efficiency_map, answer_declared, answer_flow_temperature,
	answer_circuit, answer_index, answer_contract, answer_metrics, answer_notices;
resource answer_immersion, answer_freeze_protection;

/* A listening socket for the configuration, or -errno after logging what is wrong. */
int http_socket(const struct http_config *config);
/* The port that it got, or -errno. */
int http_socket_port(int fd);

/* Finds the resource of the request and lets it answer; `method` as sent. */
void dispatch(struct http *http, struct request *request, const char *method,
	struct reply *reply);
bool method_allowed(const char *method);
/* Does what is there hold no data, so that it needs no token? */
bool route_is_public(const char *path);

#endif
