/*
 * Text from outside, made fit for a terminal, a log line or a comment.
 */
#ifndef HEATBOOK_PRINTABLE_H
#define HEATBOOK_PRINTABLE_H

#include <heatbook/base.h>

/* Appends at most `most` bytes: what is printable UTF-8 stays, every other byte becomes
 * \xHH: control characters of C0 and C1, DEL, malformed UTF-8, and the characters that
 * turn or hide text (bidirectional controls, zero-width ones, line separators, byte order
 * mark). A backslash is doubled, so that the original can be told. What does not fit
 * whole is left out and "…" says so. */
void text_printable(struct buffer *out, const void *bytes, size_t length, size_t most);
/* Is it printable as it stands? */
bool text_is_printable(const void *bytes, size_t length);

#endif
