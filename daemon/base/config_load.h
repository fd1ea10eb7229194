/*
 * What the files that build a configuration from a document share. Not for other rooms.
 *
 * Order: plain sections, channels, sources, meters, plant, tables: each may refer to
 * those before.
 */
#ifndef HEATBOOK_BASE_CONFIG_LOAD_H
#define HEATBOOK_BASE_CONFIG_LOAD_H

#include <heatbook/config.h>

#include "document.h"
#include "value.h"

struct loader {
	struct document document;
	struct config *config;
	struct remarks faults;
	struct remarks notes;
};

/* The section's defaults, then its entries (`section` may be NULL), into its struct. */
void load_fields(struct loader *l, enum section_kind kind, const struct section *section,
	void *fields);
/* "[section] key = value: " and what is wrong with it. */
void entry_fault(struct loader *l, const struct section *section,
	const struct entry *entry, const char *format, ...) PRINTF_LIKE(4, 5);

/* The comma list of an entry, each item a new text; an empty item is a fault. `check` may
 * be NULL. Returns the count; the array and its texts are the caller's. */
size_t load_list(struct loader *l, const struct section *section,
	const struct entry *entry,
	bool (*check)(const char *item, char why[static WHY_SIZE]), char ***ret);
/* Device bits of an entry. */
unsigned load_devices(
	struct loader *l, const struct section *section, const struct entry *entry);

/* The path of a file or of a credential (systemd.exec(5), LoadCredential=), NULL where
 * there is none. Verbs that are run by hand have no credentials and mostly need none: the
 * configuration is good for them, and whoever does need one is told what is not there. */
char *load_file(struct loader *l, const struct section *section, const char *key);

void load_broker(struct loader *l);
void load_http(struct loader *l);
void load_channels(struct loader *l);
void load_sources(struct loader *l);
void load_meters(struct loader *l);
/* Once [plant] is known: no meter feeds what the plant has not. */
void check_devices(struct loader *l);
/* The fluid and an assumed flow, of [plant]; after the channels. */
void load_circuit(struct loader *l, const struct section *plant);
/* The heat meter's register, where [plant] makes it the source of heat. */
void load_heat(struct loader *l);
void load_tables(struct loader *l);
/* Limits of the heat's instruments; after channels and plant. */
void load_limits(struct loader *l);

/* A source at the end of the list with the defaults, or NULL when the list is full. */
struct source_config *source_add(
	struct loader *l, const char *name, size_t length, int line);
/* After channels and sources: its prefix is none of theirs. */
void load_publish(struct loader *l);
/* Points of [declared]. */
void load_declared(struct loader *l);
/* After the zone is in force. */
void load_corrections(struct loader *l);
void load_changes(struct loader *l);
void changes_free(struct change_config *changes, size_t count);
/* A local date or an instant with its offset, where the entry is there; false: told. */
bool load_edge(struct loader *l, const struct section *section, const char *key,
	int64_t *ret_ms);
/* Likewise: [site], [tariff], [carbon], [other_heat]. */
void load_cost(struct loader *l);

/* After channels and meters. */
void load_notices(struct loader *l);

/* Are the options the same that are fixed from start to stop? Those that are not are
 * faults; see config_reload.c. */
bool config_keeps_fixed(struct loader *l, const struct config *former);
/* Digest of a section's text, which stands once: keys and values, whatever their order.
 */
uint64_t config_section_digest(const struct document *document, enum section_kind kind);

/* Digest of all that decides rows; see config_digest.c. */
uint64_t config_mapping_digest(const struct config *config);

#endif
