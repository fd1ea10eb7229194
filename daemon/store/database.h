/*
 * Inside the store: the connection, its statements, and how errors are named.
 */
#ifndef STORE_DATABASE_H
#define STORE_DATABASE_H

#include <heatbook/store.h>

#include "sql_blocks.h"

#include <sqlite3.h>

struct store {
	const struct config *config;
	enum store_mode mode;
	sqlite3 *db;
	sqlite3_stmt *statements[SQL_COUNT];
	int64_t mapping;            /* row of the current mapping */
	int meter_bit[METERS_MOST]; /* of each configured meter in stored `known` */
	int schema;
	char error[256];
};

/* A block's text with its {channels|…$…} parts repeated; `name` replaces $ outside of
 * them (NULL: none does). */
void sql_expand(const struct config *config, enum sql_id id, const char *name,
	struct buffer *out);

/* The prepared statement of a block, reset and unbound; NULL after an error (see
 * s->error). */
sqlite3_stmt *store_statement_of(struct store *s, enum sql_id id);
/* Names the failure of the last call and answers the store's code for it. */
int store_failed(struct store *s, int rc, const char *doing);
/* Steps a statement that answers no rows, and resets it. */
int store_run(struct store *s, sqlite3_stmt *statement);
/* Adds to a fact, either way. */
int store_add_fact(struct store *s, enum store_fact fact, int64_t value);
/* Runs a script block with `name` for $. */
int store_script(struct store *s, enum sql_id id, const char *name);
/* Binds one value by its name in the text (":day"). */
void bind_int(sqlite3_stmt *statement, const char *name, int64_t value);
void bind_text(sqlite3_stmt *statement, const char *name, const char *text);
void bind_blob(
	sqlite3_stmt *statement, const char *name, const void *data, size_t length);

/* The connection alone: no schema, no columns, nothing written. */
int store_connect(const struct config *config, enum store_mode mode, struct store **ret,
	char why[static 256]);
/* The schema's number, or STORE_REFUSED for what is no store of ours. */
int store_recognise(struct store *s, int *ret_version, char why[static 256]);

/* A chunk's bytes as they are stored, at a greater cost where they are to stay; and back,
 * with the length that they had. -EBADMSG: they are damaged. */
int chunk_pack(const void *bytes, size_t length, bool stays, struct buffer *ret);
int chunk_unpack(const void *packed, size_t size, size_t length, struct buffer *ret);

/* Steps that bring the file up to date, in order. */
int store_migrate(struct store *s, char why[static 256]);
int store_columns(struct store *s, char why[static 256]);

#endif
