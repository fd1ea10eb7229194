/*
 * Lines of an archive, whatever it is packed in. Used by the import and by
 * listen.c.
 */
#ifndef DERIVE_INPUT_H
#define DERIVE_INPUT_H

#include <heatbook/base.h>

struct input;

/* A longer line is no line of an archive: the largest payload, escaped, is shorter. */
#define LINE_MOST ((size_t)512 * 1024)

/* Takes the file over. Plain, gzip (RFC 1952, also of several members) or zstd (RFC 8878,
 * windows up to 32 MiB), told by its first bytes. */
struct input *input_new(FILE *file);
void input_free(struct input *input);

/* The next line without its newline, valid until the next call. INPUT_LONG: a line of
 * more than LINE_MOST bytes, of which the first are given and the rest is passed over.
 * INPUT_END after the last one. -EBADMSG when what it is packed in is damaged or cut,
 * -EFBIG when its window is too large, or the errno of reading. */
enum { INPUT_LONG = 1, INPUT_END = 2 };
int input_line(struct input *input, const char **ret_line, size_t *ret_length);

/* Digest of the whole unpacked content: the same text has the same one, however it is
 * packed. Back at its beginning then. 0 or a code of input_line(). */
int input_digest(struct input *input, uint64_t *ret);

/* Back to the beginning. 0 or -errno. */
int input_rewind(struct input *input);

/* Bytes of the file that were read, and all that it has; for progress. */
int64_t input_read(const struct input *input);
int64_t input_size(const struct input *input);

#endif
