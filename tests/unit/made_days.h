/*
 * Days with evidence made by hand, for tests of what is found in them.
 */
#ifndef MADE_DAYS_H
#define MADE_DAYS_H

#include "configured.h"

#include <heatbook/finding.h>

static const char house[] =
	"[plant]\nzone = Europe/Berlin\ndevices = compressor, immersion\n"
	"[channel flow_temperature]\ntopic = a/1\n[channel return_temperature]\ntopic = "
	"a/2\n"
	"[channel unit_power]\ntopic = a/3\nunit = W\n"
	"[channel heater_power]\ntopic = a/4\nunit = W\n"
	"[meter unit]\nfeeds = compressor\npower = unit_power\n"
	"[meter heater]\nfeeds = immersion\npower = heater_power\n";

enum {
	DAYS = 40,
	DAYS_MOST = 150,
	ITEMS = 12,
	RETURN = 1,
	POWER = 2,
	UNIT = 0,
	HEATER = 1
};

struct made_days {
	struct config *config;
	struct finding_day days[DAYS_MOST];
	struct evidence items[DAYS_MOST][ITEMS];
	struct event events[4];
	struct finding_input input;
	struct finding_list list;
};

/* 40 whole days, 36 MJ of heat of 10 MJ each, 5 K of difference, of a plant that has no
 * boundary. */
static inline struct made_days *days_without_boundary(const char *text)
{
	struct made_days *m = xcalloc(1, sizeof(*m));
	m->config = configured(text);
	for (size_t d = 0; d < DAYS_MOST; d++)
		m->days[d] = (struct finding_day){
			.start_min = START + (int64_t)d * MIN_PER_DAY,
			.end_min = START + (int64_t)(d + 1) * MIN_PER_DAY,
			.looked = true,
			.heat_ms = MS_PER_DAY,
			.paired_ms = MS_PER_DAY,
			.paired_heat_j = 36000000,
			.paired_electricity_j = 10000000,
			.paired_sensitivity_j_per_k = 7200000.0,
			.items = m->items[d]};
	m->input = (struct finding_input){.config = m->config,
		.days = m->days,
		.day_count = DAYS,
		.events = m->events};
	return m;
}

static inline struct made_days *days_of(const char *text)
{
	struct made_days *m = days_without_boundary(text);
	char why[256];
	ck_assert_int_eq(boundary_find(m->config, NULL, &m->input.boundary, why), 0);
	return m;
}

static inline struct made_days *days_new(void)
{
	return days_of(house);
}

static inline struct evidence *add(struct made_days *m, size_t day,
	enum evidence_kind kind, int subject, int at, int minutes)
{
	struct finding_day *d = &m->days[day];
	ck_assert_uint_lt(d->count, ITEMS);
	struct evidence *e = &m->items[day][d->count++];
	*e = (struct evidence){.kind = kind,
		.subject = subject,
		.at_min = d->start_min + at,
		.minutes = minutes};
	return e;
}

static inline const struct finding *only(struct made_days *m, enum finding_kind kind)
{
	findings_of(&m->input, &m->list);
	ck_assert_msg(m->list.count == 1, "%zu findings, first %s", m->list.count,
		m->list.count ? finding_name(m->list.items[0].kind) : "none");
	ck_assert_str_eq(finding_name(m->list.items[0].kind), finding_name(kind));
	ck_assert_ptr_nonnull(m->list.items[0].evidence);
	ck_assert_ptr_nonnull(m->list.items[0].remedy);
	return &m->list.items[0];
}

static inline void none(struct made_days *m)
{
	findings_of(&m->input, &m->list);
	ck_assert_msg(m->list.count == 0, "%s: %s",
		m->list.count ? finding_name(m->list.items[0].kind) : "",
		m->list.count ? m->list.items[0].evidence : "");
}

static inline void days_free(struct made_days *m)
{
	findings_release(&m->list);
	config_free(m->config);
	free(m);
}

static inline void expect_days(const struct finding *f, int first, int end)
{
	ck_assert_int_eq(f->since_ms, (START + first * MIN_PER_DAY) * MS_PER_MIN);
	ck_assert_int_eq(f->until_ms, (START + end * MIN_PER_DAY) * MS_PER_MIN);
}

static inline void rest(struct made_days *m, int first, int end, double k)
{
	for (int d = first; d < end; d++)
		for (int i = 0; i < 4; i++)
			add(m, (size_t)d, EVIDENCE_REST, -1, 100 * i, 3)->values[0] =
				k + 0.01 * (i - 1.5);
}

static inline void expect_advice(const struct finding *f, const char *words)
{
	ck_assert_msg(strstr(f->remedy, words), "'%s' is not in: %s", words, f->remedy);
}

static inline void counted(struct made_days *m, int first, int end, double power_kwh)
{
	for (int d = first; d < end; d++) {
		struct evidence *e =
			add(m, (size_t)d, EVIDENCE_REGISTER, UNIT, 0, MIN_PER_DAY);
		e->values[0] = 10.0 * J_PER_KWH;
		e->values[1] = power_kwh * J_PER_KWH;
	}
}

static inline void heats(struct made_days *m, int day, int at)
{
	struct evidence *e = add(m, (size_t)day, EVIDENCE_IMMERSION, HEATER, at, 45);
	e->values[0] = 8.1e6;
	e->values[1] = 45.0;
}

static inline void pressure_falls(struct made_days *m)
{
	for (size_t d = 0; d < DAYS; d++) {
		struct evidence *e = add(m, d, EVIDENCE_PRESSURE, -1, 0, 1440);
		e->values[0] = 1.5 - (d < 10 ? 0.0 : 0.02 * (double)(d - 10));
		e->values[1] = 30.0;
	}
}

static inline struct config *with(const char *sections)
{
	_cleanup_(freep) char *text = xasprintf("%s%s", house, sections);
	return configured(text);
}

#endif
