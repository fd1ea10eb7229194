/*
 * See input.h. Two buffers: of the file as it is, and of the text. Lines are views into
 * the text; what is left of it moves to the front when more is wanted. Nothing grows with
 * the file, and a line that does not end within the text's buffer is given up.
 */
#include "input.h"

#include <errno.h>
#include <string.h>
#include <sys/stat.h>
#include <zlib.h>
#include <zstd.h>
#include <zstd_errors.h>

#define RAW_BYTES       ((size_t)128 * 1024)
#define WINDOW_LOG_MOST 25
#define DIGEST_BLOCK    ((size_t)8192) /* the digest goes by blocks: one size for ever */

enum packing { PLAIN, GZIP, ZSTD };

struct input {
	FILE *file;
	int64_t read, size;
	enum packing packing;
	bool begun;
	bool ended; /* there is no more text to come */
	bool skip;  /* the last line was too long: its rest is passed over */
	bool whole; /* of the packed stream: nothing is missing behind what was read */
	bool full;  /* the text had no room left: more may be ready without reading */

	z_stream gzip;
	ZSTD_DStream *zstd;

	unsigned char *raw;
	size_t raw_at, raw_end;
	char *text;
	size_t at, end;
};

struct input *input_new(FILE *file)
{
	struct input *in = xcalloc(1, sizeof(*in));
	struct stat status;
	in->file = file;
	in->raw = xmalloc(RAW_BYTES);
	in->text = xmalloc(LINE_MOST);
	if (fstat(fileno(file), &status) ==
		0) /* a pipe has no size: progress does without */
		in->size = status.st_size;
	return in;
}

static void end_packing(struct input *in)
{
	if (in->begun && in->packing == GZIP)
		(void)inflateEnd(&in->gzip); /* frees, whatever its state */
	(void)ZSTD_freeDStream(in->zstd);    /* NULL too */
	in->zstd = NULL;
}

void input_free(struct input *in)
{
	if (!in)
		return;
	end_packing(in);
	(void)fclose(in->file); /* only read */
	free(in->raw);
	free(in->text);
	free(in);
}

int64_t input_read(const struct input *in)
{
	return in->read;
}

int64_t input_size(const struct input *in)
{
	return in->size;
}

/* More of the file into the raw buffer, which is empty. */
static int read_raw(struct input *in)
{
	in->raw_at = 0;
	in->raw_end = fread(in->raw, 1, RAW_BYTES, in->file);
	in->read += (int64_t)in->raw_end;
	return in->raw_end == 0 && ferror(in->file) ? -EIO : 0;
}

static int begin(struct input *in)
{
	int r = read_raw(in);
	if (r != 0)
		return r;
	in->packing = PLAIN;
	if (in->raw_end >= 2 && memcmp(in->raw, "\x1f\x8b", 2) == 0)
		in->packing = GZIP;
	if (in->raw_end >= 4 && memcmp(in->raw, "\x28\xb5\x2f\xfd", 4) == 0)
		in->packing = ZSTD;
	in->gzip = (z_stream){0};
	if (in->packing == GZIP && inflateInit2(&in->gzip, 15 + 16) != Z_OK)
		return -ENOMEM;
	in->begun = in->whole = true;
	if (in->packing != ZSTD)
		return 0;
	in->zstd = ZSTD_createDStream();
	if (!in->zstd)
		return -ENOMEM;
	size_t code =
		ZSTD_DCtx_setParameter(in->zstd, ZSTD_d_windowLogMax, WINDOW_LOG_MOST);
	return ZSTD_isError(code) ? -EINVAL : 0;
}

static int unpack_plain(struct input *in)
{
	size_t room = LINE_MOST - in->end, n = in->raw_end - in->raw_at;
	n = n < room ? n : room;
	memcpy(in->text + in->end, in->raw + in->raw_at, n);
	in->raw_at += n;
	in->end += n;
	return 0;
}

static int unpack_gzip(struct input *in)
{
	z_stream *z = &in->gzip;
	if (in->whole && z->total_in > 0 && inflateReset(z) != Z_OK) /* another member */
		return -EBADMSG;
	z->next_in = in->raw + in->raw_at;
	z->avail_in = (uInt)(in->raw_end - in->raw_at);
	z->next_out = (unsigned char *)in->text + in->end;
	z->avail_out = (uInt)(LINE_MOST - in->end);
	int code = inflate(z, Z_NO_FLUSH);
	in->raw_at = in->raw_end - z->avail_in;
	in->end = LINE_MOST - z->avail_out;
	in->whole = code == Z_STREAM_END;
	return code == Z_OK || code == Z_STREAM_END || code == Z_BUF_ERROR ? 0 : -EBADMSG;
}

static int unpack_zstd(struct input *in)
{
	ZSTD_inBuffer from = {in->raw, in->raw_end, in->raw_at};
	ZSTD_outBuffer to = {in->text, LINE_MOST, in->end};
	size_t left = ZSTD_decompressStream(in->zstd, &to, &from);
	in->raw_at = from.pos;
	in->end = to.pos;
	if (!ZSTD_isError(left)) {
		in->whole = left == 0;
		return 0;
	}
	return ZSTD_getErrorCode(left) == ZSTD_error_frameParameter_windowTooLarge
		       ? -EFBIG
		       : -EBADMSG;
}

static int unpack_some(struct input *in)
{
	bool nothing = in->raw_at == in->raw_end;
	if (in->whole && nothing)
		return 0;
	switch (in->packing) {
	case GZIP:
		return unpack_gzip(in);
	case ZSTD:
		return unpack_zstd(in);
	case PLAIN:
	default:
		return unpack_plain(in);
	}
}

/* More text behind what is left of it; in->ended when there is none. The text's buffer
 * has room. */
static int unpack(struct input *in)
{
	size_t before = in->end;
	int r = in->begun ? 0 : begin(in);
	while (r == 0 && in->end == before) {
		bool drained = in->raw_at == in->raw_end;
		if (drained && !(in->full && !in->whole))
			r = read_raw(in);
		if (r == 0 && in->raw_end == 0) {
			in->ended = true;
			return in->whole ? 0 : -EBADMSG;
		}
		if (r == 0)
			r = unpack_some(in);
		in->full = in->end == LINE_MOST;
	}
	return r;
}

static void pass_over(struct input *in, size_t length)
{
	in->at += length;
	if (in->at < in->end)
		return;
	in->at = in->end = 0;
}

/* Moves what is left to the front and unpacks more behind it. */
static int refill(struct input *in)
{
	memmove(in->text, in->text + in->at, in->end - in->at);
	in->end -= in->at;
	in->at = 0;
	return unpack(in);
}

/* Passes over the rest of a line that was too long. */
static int skip_rest(struct input *in)
{
	for (;;) {
		char *end = memchr(in->text + in->at, '\n', in->end - in->at);
		pass_over(in,
			end ? (size_t)(end - in->text) + 1 - in->at : in->end - in->at);
		if (end || in->ended)
			return 0;
		int r = refill(in);
		if (r != 0)
			return r;
	}
}

int input_line(struct input *in, const char **ret_line, size_t *ret_length)
{
	size_t seen = 0; /* of what is left: holds no newline */
	if (in->skip) {
		in->skip = false;
		int r = skip_rest(in);
		if (r != 0)
			return r;
	}
	for (;;) {
		char *line = in->text + in->at, *end;
		size_t left = in->end - in->at;
		end = left > seen ? memchr(line + seen, '\n', left - seen) : NULL;
		in->skip = !end && left == LINE_MOST;
		if (end || in->skip || (in->ended && left > 0)) {
			*ret_line = line;
			*ret_length = end ? (size_t)(end - line) : left;
			in->at += *ret_length + (end ? 1 : 0);
			return in->skip ? INPUT_LONG : 0;
		}
		if (in->ended)
			return INPUT_END;
		seen = left;
		int r = refill(in);
		if (r != 0)
			return r;
	}
}

int input_rewind(struct input *in)
{
	end_packing(in);
	if (fseeko(in->file, 0, SEEK_SET) < 0)
		return -errno;
	in->begun = in->ended = in->full = in->skip = false;
	in->at = in->end = in->raw_at = in->raw_end = 0;
	in->read = 0;
	return 0;
}

/* One buffer full. */
static int digest_text(struct input *in, uint64_t *digest)
{
	in->end = 0;
	while (!in->ended && in->end < LINE_MOST) {
		int r = unpack(in);
		if (r != 0)
			return r;
	}
	for (size_t at = 0; at < in->end; at += DIGEST_BLOCK) {
		size_t n = in->end - at;
		*digest = digest64(
			*digest, in->text + at, n < DIGEST_BLOCK ? n : DIGEST_BLOCK);
	}
	return 0;
}

int input_digest(struct input *in, uint64_t *ret)
{
	uint64_t digest = 0;
	int r = in->begun ? input_rewind(in) : 0;
	while (r == 0 && !in->ended)
		r = digest_text(in, &digest);
	if (r == 0)
		r = input_rewind(in);
	if (r == 0)
		*ret = digest;
	return r;
}
