/*
 * Content codings: whether a client takes gzip (RFC 9110, 12.5.3), and a body packed so
 * (RFC 1952, without a time: the same body makes the same bytes).
 */
#include "face.h"

#include <string.h>
#include <strings.h>
#include <zlib.h>

#define LEVEL       2         /* of an answer's text more takes long and gains little */
#define GZIP_WINDOW (15 + 16) /* the library's way of saying gzip */

bool accepts_gzip(const char *field)
{
	int best = 0, weight = 0;
	while (field && *field) {
		field += strspn(field, ", \t");
		size_t whole = strcspn(field, ","), name = strcspn(field, ",; \t");
		int like = (name == 4 && strncasecmp(field, "gzip", 4) == 0)     ? 2
			   : (name == 6 && strncasecmp(field, "x-gzip", 6) == 0) ? 2
			   : (name == 1 && *field == '*')                        ? 1
										 : 0;
		if (like > best) {
			best = like;
			weight = element_weight(field + name, whole - name);
		}
		field += whole;
	}
	return weight > 0;
}

bool pack_gzip(const struct buffer *plain, struct buffer *ret)
{
	z_stream z = {0};
	if (deflateInit2(&z, LEVEL, Z_DEFLATED, GZIP_WINDOW, 8, Z_DEFAULT_STRATEGY) !=
		Z_OK)
		return false;
	buffer_reset(ret);
	buffer_reserve(ret, deflateBound(&z, plain->length));
	z.next_in = (unsigned char *)plain->data;
	z.avail_in = (uInt)plain->length;
	z.next_out = (unsigned char *)ret->data;
	z.avail_out = (uInt)ret->capacity;
	int code = deflate(&z, Z_FINISH);
	ret->length = z.total_out;
	(void)deflateEnd(&z);
	return code == Z_STREAM_END;
}
