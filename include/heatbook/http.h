/*
 * The HTTP face: read-only JSON for dashboards, scripts and home tools, on loopback by
 * default, beyond it to those who show a token. It has no thread, and no state but
 * answers that it may give again: the main loop polls http_fd(), waits no longer than
 * http_timeout_ms() and then calls http_turn(). Rows are read whole within a turn and the
 * read is ended; the body is then sent as the reader takes it.
 *
 * Time in requests and answers: epoch seconds or RFC 3339 with offset, spans half-open,
 * steps as ISO 8601 durations. Faults are RFC 9457 problems.
 */
#ifndef HEATBOOK_HTTP_H
#define HEATBOOK_HTTP_H

#include <heatbook/config.h>
#include <heatbook/figures.h>
#include <heatbook/finding.h>
#include <heatbook/query.h>

struct http;
struct news; /* news.h */

/* What of the daemon's state is asked for: what its memory has, or also what only the
 * store can tell. */
enum live_part { LIVE_PRESENT, LIVE_ALL };

/* Fills in what the daemon knows at this moment; the texts and the array that it points
 * to stay valid until the loop's next turn. Called within http_turn() only. */
typedef void http_live(enum live_part part, struct live_state *ret, void *context);

/* Listens at config->http (port 0: one that is free, see http_port()). The zone is set by
 * the caller (calendar_set_zone()). All arguments are borrowed until http_close(). A
 * failure is logged with address, port and remedy: -EINVAL when the address is no IP
 * address or "localhost" or the token file has no tokens, -EACCES when the address is not
 * loopback and neither a token file nor `open` says who may read, else the errno of the
 * system. */
int http_open(const struct config *config, struct store *store, http_live *live,
	void *context, struct http **ret);
void http_close(struct http *http);
/* What /v1/stream and /metrics tell comes from there from now on; borrowed. Not within
 * http_turn(). */
void http_tell(struct http *http, const struct news *news);
/* What /v1/stream tells of notices, as they stand; NULL: that is not known, and what was
 * told stays. Nothing of it is kept but words. Not within http_turn(). */
struct notices; /* notices.h */
void http_tell_notices(struct http *http, const struct notices *notices);
/* From now on answers come from these; connections stay, but for event streams, which
 * end. Tokens are read anew: where they cannot be, the log says why and nothing is
 * changed (negative errno). Not within http_turn(). */
int http_swap(struct http *http, const struct config *config, struct store *store);

/* The body that /v1/energy answers of this question, for programs that ask by hand.
 * `step` names the buckets ("P1D"); with `findings` (or NULL) their array besides. Ends
 * with a newline. */
void http_energy_body(const struct question *question, const struct energy_answer *answer,
	const char *step, const struct finding_list *findings, struct buffer *out);

/* The body that /v1/statement answers. Ends with a newline. */
struct statement; /* statement.h */
void http_statement_body(const struct statement *statement, struct buffer *out);

/* What is published of the present day, in the words of /v1/energy: sums from its first
 * instant to the end of the last closed minute, which may be the same; `now_ms` is when
 * that was so. */
void http_today_body(const struct question *question, const struct energy_bucket *day,
	int64_t now_ms, struct buffer *out);
/* What is published of findings, in the words of /v1/findings: the first
 * PUBLISHED_FINDINGS of them, and how many there are. */
#define PUBLISHED_FINDINGS 16
void http_findings_body(const struct config *config, const struct findings *findings,
	int64_t now_ms, struct buffer *out);

/* What is published of notices, in the words of /v1/notices: those that are raised. The
 * text is the same until one is raised or cleared. */
void http_notices_body(
	const struct config *config, const struct notices *notices, struct buffer *out);

/* How rows are written as CSV (RFC 4180): instants as RFC 3339 in the plant's zone, or as
 * epoch seconds; with a header or, where lines follow earlier ones, without. */
struct csv_form {
	bool epoch;
	bool header;
};
/* The same columns, names, units and roundings as the JSON of /v1/series and /v1/energy,
 * added to the buffer. `modes` are bits of enum mode: those of http_energy_modes() of the
 * whole span, so that all pieces of a long one have the same columns. */
void http_series_csv(const struct config *config, const struct series_answer *answer,
	const struct csv_form *form, struct buffer *out);
void http_energy_csv(const struct question *question, const struct energy_answer *answer,
	unsigned modes, const struct csv_form *form, struct buffer *out);
/* The modes that /v1/energy answers by=mode with: those to which anything was booked. */
unsigned http_energy_modes(const struct energy_answer *answer);
/* Values that a bucket holds besides its ends: of a channel, and of a question. */
size_t http_channel_values(const struct config *config, int channel);
size_t http_energy_values(const struct question *question);
/* "PT15M", "P1D": a step as the row resources take it; false when it is none. */
bool http_step_parse(const char *text, struct duration *ret);
/* "P7D", "P1M": so far back from `to_ms` by the plant's calendar; false when it is none,
 * or begins before 1970. */
bool http_last_parse(const char *text, int64_t to_ms, int64_t *ret_from_ms);

/* The port that is listened at. */
int http_port(const struct http *http);

/* Readable whenever http_turn() has work; for poll(2). */
int http_fd(const struct http *http);
/* Milliseconds until http_turn() must be called at the latest, or -1 for no limit. */
int http_timeout_ms(struct http *http);
/* Accepts, reads, answers, writes as far as that goes without waiting. */
void http_turn(struct http *http);

#endif
