/*
 * Tokens that clients of the HTTP face show: the secrets of a file, one a line, so that
 * one can be exchanged without a gap. Empty lines and lines that begin with # count for
 * nothing.
 *
 * A token is a text of RFC 6750, 2.1 (b64token: letters, digits, - . _ ~ + / and = at its
 * end), since it travels as it stands. What the file holds is never part of a message.
 */
#ifndef HEATBOOK_TOKENS_H
#define HEATBOOK_TOKENS_H

#include <heatbook/base.h>

#define TOKEN_LEAST 16 /* characters: 96 bits, where they are drawn at random */
#define TOKEN_MOST  256
#define TOKENS_MOST 32

struct tokens {
	size_t count;
	char texts[TOKENS_MOST][TOKEN_MOST]; /* filled up with zeros */
};

/* Reads the file. 0, or -errno when it cannot be read, or TOKENS_REFUSED: it is no plain
 * file, others than its owner and group may read it or others than its owner may change
 * it, or a line is no token, or there is none. `why` gets a sentence of it with what is
 * to be done (of an errno, the system's words); *ret is written on success only. */
enum { TOKENS_REFUSED = 1 };
int tokens_read(const char *path, struct tokens *ret, char why[static 256]);

/* Whether it is one of them, in a time that depends on its length and their count alone.
 */
bool tokens_match(const struct tokens *tokens, const char *given, size_t length);
/* Whether the text has a token's form; its length is another matter. */
bool token_is_formed(const char *text, size_t length);

#endif
