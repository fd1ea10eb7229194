/*
 * Small things that every room uses: allocation that ends the process when memory is
 * gone, scope cleanup, growing byte buffers.
 *
 * Errors everywhere in heatbook: 0 is success, a negative errno means that the world
 * failed (passed up unchanged), a positive named code is an outcome that the caller must
 * handle.
 */
#ifndef HEATBOOK_BASE_H
#define HEATBOOK_BASE_H

#include <stdarg.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>

#define PRINTF_LIKE(fmt, first) __attribute__((format(printf, fmt, first)))
#define ARRAY_LEN(a)            (sizeof(a) / sizeof((a)[0]))

/* Milliseconds and minutes. Instants are int64_t milliseconds UTC since 1970 (`_ms`) or
 * whole minutes since 1970 (`_min`); floor division keeps bins half-open below zero too.
 */
#define MS_PER_MIN  INT64_C(60000)
#define MS_PER_HOUR INT64_C(3600000)
#define MS_PER_DAY  INT64_C(86400000)
#define MIN_PER_DAY INT64_C(1440)

static inline int64_t floor_div(int64_t a, int64_t b)
{
	int64_t q = a / b;
	return a % b < 0 ? q - 1 : q;
}

/* Allocation. Never return NULL: out of memory ends the process with a message. */
void *xmalloc(size_t size);
void *xcalloc(size_t count, size_t size);
/* Like reallocarray(3): the product is checked for overflow. */
void *xrealloc(void *old, size_t count, size_t size);
char *xstrdup(const char *text);
char *xstrndup(const char *text, size_t length);
char *xasprintf(const char *format, ...) PRINTF_LIKE(1, 2);
char *xvasprintf(const char *format, va_list args) PRINTF_LIKE(1, 0);

/* For a verb that takes and gives back mebibytes day after day: what is freed stays with
 * the process, up to some mebibytes, since pages that come back cost more than the work
 * done on them. */
void memory_stays(void);

/* Scope cleanup: `_cleanup_(freep) char *line = NULL;` */
#define _cleanup_(f) __attribute__((cleanup(f)))
static inline void freep(void *p)
{
	free(*(void **)p);
}
static inline void fclosep(FILE **f)
{
	if (*f)
		(void)fclose(*f); /* scope end of a file that was only read: nothing to
				     report */
}

/* A growing byte buffer. `{0}` is a valid empty one; `data` is not NUL-terminated unless
 * buffer_text() was called. */
struct buffer {
	char *data;
	size_t length;
	size_t capacity;
};

void buffer_reserve(struct buffer *b, size_t more);
void buffer_add(struct buffer *b, const void *bytes, size_t length);
static inline void buffer_add_byte(struct buffer *b, char byte)
{
	if (b->length == b->capacity)
		buffer_reserve(b, 1);
	b->data[b->length++] = byte;
}
void buffer_add_text(struct buffer *b, const char *text);
void buffer_addf(struct buffer *b, const char *format, ...) PRINTF_LIKE(2, 3);
/* The content as a C string; valid until the next change. */
const char *buffer_text(struct buffer *b);
void buffer_reset(struct buffer *b);
bool buffer_equal(const struct buffer *a, const struct buffer *b);
void buffer_release(struct buffer *b);

/* 64-bit digest of bytes, chained through `seed` (start with 0). Not cryptographic: it
 * names configurations and contents, it does not guard against an adversary. */
uint64_t digest64(uint64_t seed, const void *bytes, size_t length);

#endif
