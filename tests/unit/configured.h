/*
 * Configurations from text, for tests that need one and do not test how it is read.
 */
#ifndef CONFIGURED_H
#define CONFIGURED_H

#include "unit.h"

#include <heatbook/config.h>

/* Where days made by hand begin, minutes UTC: 2026-01-01T00:00+01:00. */
#define START INT64_C(29453700)

/* The configuration of a text that has no fault, and the remarks about it; the caller's
 * to free. */
static inline struct config *configured_noting(const char *text, struct faults *notes)
{
	struct config *config = NULL;
	struct faults faults = {0};
	int r = config_parse("test.conf", text, strlen(text), &config, &faults, notes);
	ck_assert_msg(r == 0, "%s", faults.count ? faults.lines[0] : "not read");
	ck_assert_uint_eq(faults.count, 0);
	faults_release(&faults);
	return config;
}

static inline struct config *configured(const char *text)
{
	return configured_noting(text, NULL);
}

/* Index of a channel, meter or source that the test's configuration has. */
static inline size_t channel_named(const struct config *config, const char *name)
{
	int c = config_channel(config, name);
	ck_assert_msg(c >= 0, "no channel %s", name);
	return (size_t)c;
}

static inline const struct channel_config *named(
	const struct config *config, const char *name)
{
	return &config->channels[channel_named(config, name)];
}

static inline size_t meter_named(const struct config *config, const char *name)
{
	int m = config_meter(config, name);
	ck_assert_msg(m >= 0, "no meter %s", name);
	return (size_t)m;
}

static inline size_t source_named(const struct config *config, const char *name)
{
	for (size_t s = 0; s < config->source_count; s++)
		if (strcmp(config->sources[s].name, name) == 0)
			return s;
	ck_abort_msg("no source %s", name);
}

#endif
