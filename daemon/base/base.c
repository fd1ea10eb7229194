/*
 * Allocation that cannot fail, byte buffers, the digest. See base.h.
 */
#include <heatbook/base.h>

#include <malloc.h>
#include <string.h>

static void out_of_memory(size_t size)
{
	(void)fprintf(stderr, "heatbookd: out of memory (%zu bytes wanted)\n", size);
	abort();
}

void *xmalloc(size_t size)
{
	void *p = malloc(size ? size : 1);
	if (!p)
		out_of_memory(size);
	return p;
}

void *xcalloc(size_t count, size_t size)
{
	void *p = calloc(count ? count : 1, size ? size : 1);
	if (!p)
		out_of_memory(size);
	return p;
}

void memory_stays(void)
{
	/* A library that takes no advice only does it its own way. */
	(void)mallopt(M_MMAP_THRESHOLD, 16 << 20);
	(void)mallopt(M_TRIM_THRESHOLD, 32 << 20);
}

void *xrealloc(void *old, size_t count, size_t size)
{
	void *p = reallocarray(old, count ? count : 1, size ? size : 1);
	if (!p)
		out_of_memory(size);
	return p;
}

char *xstrndup(const char *text, size_t length)
{
	char *copy = xmalloc(length + 1);
	memcpy(copy, text, length);
	copy[length] = '\0';
	return copy;
}

char *xstrdup(const char *text)
{
	return xstrndup(text, strlen(text));
}

char *xasprintf(const char *format, ...)
{
	va_list args;
	va_start(args, format);
	char *text = xvasprintf(format, args);
	va_end(args);
	return text;
}

char *xvasprintf(const char *format, va_list args)
{
	char *text = NULL;
	if (vasprintf(&text, format, args) < 0)
		out_of_memory(0);
	return text;
}

void buffer_reserve(struct buffer *b, size_t more)
{
	if (more <= b->capacity - b->length)
		return;
	size_t capacity = b->capacity ? b->capacity : 64;
	while (capacity - b->length < more)
		capacity *= 2;
	b->data = xrealloc(b->data, capacity, 1);
	b->capacity = capacity;
}

void buffer_add(struct buffer *b, const void *bytes, size_t length)
{
	if (length == 0)
		return;
	buffer_reserve(b, length);
	memcpy(b->data + b->length, bytes, length);
	b->length += length;
}

void buffer_add_text(struct buffer *b, const char *text)
{
	buffer_add(b, text, strlen(text));
}

void buffer_addf(struct buffer *b, const char *format, ...)
{
	va_list args;
	buffer_reserve(b, 64);
	size_t room = b->capacity - b->length;
	va_start(args, format);
	int n = vsnprintf(b->data + b->length, room, format, args);
	va_end(args);
	if (n < 0)
		abort(); /* only a wrong format of our own ends here */
	if ((size_t)n >= room) {
		buffer_reserve(b, (size_t)n + 1);
		va_start(args, format);
		(void)vsnprintf(b->data + b->length, (size_t)n + 1, format, args);
		va_end(args);
	}
	b->length += (size_t)n;
}

const char *buffer_text(struct buffer *b)
{
	buffer_reserve(b, 1);
	b->data[b->length] = '\0';
	return b->data;
}

bool buffer_equal(const struct buffer *a, const struct buffer *b)
{
	return a->length == b->length &&
	       (a->length == 0 || memcmp(a->data, b->data, a->length) == 0);
}

void buffer_reset(struct buffer *b)
{
	b->length = 0;
}

void buffer_release(struct buffer *b)
{
	free(b->data);
	*b = (struct buffer){0};
}

uint64_t digest64(uint64_t seed, const void *bytes, size_t length)
{
	/* FNV-1a's step a word at a time, then a finalising mix (both in the public
	 * domain). */
	const unsigned char *p = bytes;
	uint64_t h = seed ^ UINT64_C(0xcbf29ce484222325) ^ length;
	while (length >= 8) {
		uint64_t w;
		memcpy(&w, p, 8);
		h = (h ^ w) * UINT64_C(0x100000001b3);
		h ^= h >> 29;
		p += 8;
		length -= 8;
	}
	while (length--)
		h = (h ^ *p++) * UINT64_C(0x100000001b3);
	h ^= h >> 33;
	h *= UINT64_C(0xff51afd7ed558ccd);
	h ^= h >> 33;
	return h;
}
