/*
 * The page's files, which the build puts into the program: as they are, and packed by
 * gzip (RFC 1952). They hold no data of the house.
 */
#ifndef HEATBOOK_HTTP_PAGE_FILES_H
#define HEATBOOK_HTTP_PAGE_FILES_H

#include <stddef.h>

struct page_file {
	const char *path; /* as in a request's target; "/" is the page */
	const char *type; /* of media */
	const char *tag;  /* a digest of the bytes */
	const unsigned char *plain;
	size_t plain_length;
	const unsigned char *packed;
	size_t packed_length;
};

extern const struct page_file page_files[];
extern const size_t page_file_count;

#endif
