/*
 * The stored form of a chunk's bytes. Private to the store and its tests.
 */
#ifndef STORE_CHUNK_H
#define STORE_CHUNK_H

#include <heatbook/base.h>

/* A chunk's bytes as they are stored, at a greater cost where they are to stay; and back,
 * with the length that they had. -EBADMSG: they are damaged. */
int chunk_pack(const void *bytes, size_t length, bool stays, struct buffer *ret);
int chunk_unpack(const void *packed, size_t size, size_t length, struct buffer *ret);

#endif
