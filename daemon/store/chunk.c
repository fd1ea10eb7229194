/*
 * A chunk's bytes as they are stored: a form byte, then one zstd frame with a checksum,
 * so that no damage passes for records.
 *
 * Form 1: stamps are turned into differences first, in place, since the noise in the last
 * digits of two clocks is most of what a packed journal would hold. The stamp is counted
 * from the record before; so is the boot time, and from that the stamp's difference is
 * taken off, where the record before had a boot time (-1: it had none): it leaves 0 while
 * no clock was set. Lengths stay as they are (record.h), so the way back meets the same
 * records. Schema 1 stored the frame alone; such chunks are read as well.
 */
#include "chunk.h"

#include <endian.h>
#include <errno.h>
#include <string.h>
#include <zstd.h>

/* The library's default level for what a commit files, which is soon packed again; a
 * better one, with tables of 128 KiB where it would take 2 MiB, for what stays. */
#define LEVEL_FILED     1
#define LEVEL_STAYS     6
#define TABLE_LOG_STAYS 15

#define FORM_DIFFERENCES 0x01 /* a zstd frame begins with 0x28 */

/* Of a record's binary form. */
#define STAMP_AT 5
#define BOOT_AT  13
#define HEAD     21

static uint64_t get_u64(const char *bytes)
{
	uint64_t value;
	memcpy(&value, bytes, sizeof(value));
	return le64toh(value);
}

static void put_u64(char *bytes, uint64_t value)
{
	value = htole64(value);
	memcpy(bytes, &value, sizeof(value));
}

/* Size of the record at `bytes`, 0 where there is none. */
static size_t record_size(const char *bytes, size_t length)
{
	uint32_t body;
	if (length < HEAD)
		return 0;
	memcpy(&body, bytes, sizeof(body));
	body = le32toh(body);
	return body >= HEAD - sizeof(body) && body <= length - sizeof(body)
		       ? sizeof(body) + body
		       : 0;
}

static void turn(char *bytes, size_t length, bool back)
{
	const uint64_t none = UINT64_MAX; /* -1 */
	uint64_t stamp = 0, boot = none;
	size_t size;
	for (; (size = record_size(bytes, length)) > 0; bytes += size, length -= size) {
		uint64_t t = get_u64(bytes + STAMP_AT), b = get_u64(bytes + BOOT_AT);
		uint64_t t_step = back ? t : t - stamp;
		uint64_t expected = boot == none ? boot : boot + t_step;
		put_u64(bytes + STAMP_AT, back ? stamp + t : t_step);
		put_u64(bytes + BOOT_AT, back ? expected + b : b - expected);
		stamp += t_step;
		boot = back ? expected + b : b;
	}
}

static size_t compress(struct buffer *out, const struct buffer *in, bool stays)
{
	ZSTD_CCtx *context = ZSTD_createCCtx();
	if (!context)
		return 0;
	(void)ZSTD_CCtx_setParameter(
		context, ZSTD_c_compressionLevel, stays ? LEVEL_STAYS : LEVEL_FILED);
	(void)ZSTD_CCtx_setParameter(context, ZSTD_c_checksumFlag, 1);
	if (stays) {
		(void)ZSTD_CCtx_setParameter(context, ZSTD_c_hashLog, TABLE_LOG_STAYS);
		(void)ZSTD_CCtx_setParameter(context, ZSTD_c_chainLog, TABLE_LOG_STAYS);
	}
	size_t size = ZSTD_compress2(context, out->data + out->length,
		out->capacity - out->length, in->data, in->length);
	(void)ZSTD_freeCCtx(context); /* never fails */
	return ZSTD_isError(size) ? 0 : size;
}

int chunk_pack(const void *bytes, size_t length, bool stays, struct buffer *ret)
{
	const char form = FORM_DIFFERENCES;
	struct buffer turned = {0};
	buffer_add(&turned, bytes, length);
	turn(turned.data, turned.length, false);
	buffer_reset(ret);
	buffer_reserve(ret, 1 + ZSTD_compressBound(length));
	buffer_add(ret, &form, 1);
	size_t size = compress(ret, &turned, stays);
	ret->length += size;
	buffer_release(&turned);
	return size > 0 ? 0 : -ENOMEM;
}

int chunk_unpack(const void *packed, size_t size, size_t length, struct buffer *ret)
{
	const char *frame = packed;
	bool turned = size > 0 && frame[0] == FORM_DIFFERENCES;
	if (turned) {
		frame++;
		size--;
	}
	if (ZSTD_getFrameContentSize(frame, size) != length)
		return -EBADMSG;
	buffer_reset(ret);
	buffer_reserve(ret, length);
	size_t n = ZSTD_decompress(ret->data, ret->capacity, frame, size);
	if (ZSTD_isError(n) || n != length)
		return -EBADMSG;
	ret->length = length;
	if (turned)
		turn(ret->data, ret->length, true);
	return 0;
}
