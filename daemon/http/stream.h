/*
 * Event streams, for those files of the face that have to know of them.
 */
#ifndef HEATBOOK_HTTP_STREAM_H
#define HEATBOOK_HTTP_STREAM_H

#include "face.h"

/* A response that goes on until its reader leaves, or stream_end(). It begins behind
 * `place`, or with the present (NULL). NULL without memory. */
struct MHD_Response *stream_response(struct MHD_Connection *connection, struct http *http,
	const struct follow_place *place);

/* Wakes those that have something to say. Not within the library's turn. */
void stream_turn(struct http *http);
/* Milliseconds until it should be called again; -1: nobody rests. */
int stream_wait_ms(const struct http *http);
/* All of them end once what was begun is sent. Not within the library's turn. */
void stream_end(struct http *http);

/* The JSON of so many minutes on from `minute`, a text each; the caller's, also of a
 * failure. 0 or a query's code. */
int minute_bodies(const struct config *config, struct store *store, int64_t minute,
	size_t count, struct buffer *bodies);

#endif
