/*
 * The verb report where its queries do not answer: over a store that answers from memory.
 * What it says where they do is held by report.py.
 */
#include "verbs.h"

#include "fake_store.h"
#include "unit.h"

#include <heatbook/clock.h>

#include <errno.h>
#include <stdlib.h>
#include <unistd.h>

#define NOW_MS (INT64_C(1767877230) * 1000) /* 2026-01-08T14:00:30+01:00 */

static struct channel_config channels[] = {
	{.name = (char[]){"outdoor_temperature"},
		.role = ROLE_OUTDOOR_TEMPERATURE,
		.dimension = DIMENSION_TEMPERATURE},
};

static struct meter_config meters[] = {
	{.name = (char[]){"unit"},
		.feeds = DEVICE_COMPRESSOR,
		.serves = DEVICE_COMPRESSOR,
		.less = -1},
};

static struct config plant = {
	.plant = {.name = (char[]){"Demo house"},
		.zone = (char[]){"Europe/Berlin"},
		.degree_base_c = 15.5},
	.channels = channels,
	.channel_count = ARRAY_LEN(channels),
	.meters = meters,
	.meter_count = ARRAY_LEN(meters),
	.store = {.commit_interval_ms = 300000},
};

/* ---- what of a store is asked beside its queries ---- */

int store_open(const struct config *config, enum store_mode mode, struct store **ret,
	char why[static 256])
{
	(void)config;
	(void)mode;
	why[0] = '\0';
	*ret = (struct store *)(void *)&plant;
	return 0;
}

void store_close(struct store *store)
{
	(void)store;
}

const char *store_error(const struct store *store)
{
	(void)store;
	return "the disk is gone";
}

int store_journal_span(struct store *store, int64_t *ret_first_ms, int64_t *ret_last_ms)
{
	(void)store;
	*ret_first_ms = *ret_last_ms = NOW_MS;
	return 0;
}

/* ---- the verb ---- */

static void day(size_t i, struct energy_bucket *bucket)
{
	struct energy_sum *sum = &bucket->modes[MODE_HEATING];
	(void)i;
	bucket->modes_seen = 1u << MODE_HEATING;
	sum->observed_ms = sum->heat_ms = sum->paired_ms = MS_PER_DAY;
	sum->heat_j = sum->paired_heat_j = 108000000;
	sum->meter_j[0] = sum->paired_meter_j[0] = 36000000;
	sum->meter_ms[0] = MS_PER_DAY;
	sum->paired_electricity_j = 36000000;
}

static double cold(size_t i)
{
	(void)i;
	return 5.5;
}

/* What the verb prints and how it ends. */
static char *report(int fd, int expected)
{
	char path[] = "/tmp/heatbook-report-XXXXXX";
	int file = mkstemp(path), kept = dup(fd);
	struct buffer out = {0};
	const struct verb_call call = {
		.config = &plant, .from = "2026-01-01", .to = "2026-01-03"};
	ck_assert_int_ge(file, 0);
	ck_assert_int_ge(kept, 0);
	ck_assert_int_eq(setenv("LC_ALL", "C.UTF-8", 1), 0);
	ck_assert_int_eq(calendar_set_zone("Europe/Berlin"), 0);
	clock_test_start(NOW_MS, 1000000);
	fake.until_ms = NOW_MS;
	plant.store.file = path; /* it is looked for, and never opened */
	(void)fflush(stdout);
	ck_assert_int_eq(dup2(file, fd), fd);
	int code = verb_report(&call);
	(void)fflush(stdout);
	ck_assert_int_eq(dup2(kept, fd), fd);
	ck_assert_int_eq(code, expected);
	ck_assert_int_eq(lseek(file, 0, SEEK_SET), 0);
	for (ssize_t n = 1; n > 0; out.length += (size_t)n) {
		buffer_reserve(&out, 4097);
		n = read(file, out.data + out.length, 4096);
		ck_assert_int_ge(n, 0);
	}
	(void)buffer_text(&out);
	(void)close(file);
	(void)close(kept);
	(void)unlink(path);
	return out.data;
}

static void expect(const char *text, const char *words)
{
	ck_assert_msg(strstr(text, words), "'%s' is not in:\n%s", words, text);
}

/* Three days, 10 K each. */
TEST(degree_days_stand_in_the_report)
{
	fake.energy = day;
	fake.outdoor = cold;
	_cleanup_(freep) char *text = report(STDOUT_FILENO, EXIT_DONE);
	expect(text, "degree days      30.00 K d (integral of minutes, base 15.5 °C)\n");
}
END

/* EN 1434 knows no sensor on a pipe. */
TEST(strapped_sensors_are_told_to_be_outside_the_standard)
{
	static const char words[] = "sensors strapped to a pipe are outside EN 1434\n";
	fake.energy = day;
	for (int strapped = 0; strapped < 2; strapped++) {
		channels[0].strapped = strapped;
		_cleanup_(freep) char *text = report(STDOUT_FILENO, EXIT_DONE);
		expect(text, "caution          not billing grade");
		ck_assert_int_eq(strstr(text, words) != NULL, strapped);
	}
	channels[0].strapped = false;
}
END

/* They are the least of it: everything else is told. */
TEST(degree_days_that_take_too_long_fail_no_report)
{
	fake.energy = day;
	fake.outdoor = cold;
	fake.outdoor_result = QUERY_TOO_SLOW;
	_cleanup_(freep) char *text = report(STDOUT_FILENO, EXIT_DONE);
	expect(text, "degree days      unknown: they took too long to read\n");
	expect(text, "90.00");
	expect(text, "30.00");
	expect(text, "3.00");
	ck_assert_ptr_null(strstr(text, "K d ("));
}
END

TEST(degree_days_without_any_known_day_are_unknown)
{
	fake.energy = day;
	fake.outdoor = NULL;
	_cleanup_(freep) char *text = report(STDOUT_FILENO, EXIT_DONE);
	expect(text, "degree days      unknown\n");
	expect(text, "without 3 days of which less than 95 % is known\n");
}
END

	static void
	not_over(size_t i, struct energy_bucket *bucket)
{
	day(i, bucket);
	bucket->modes[MODE_HEATING].meter_provisional_j[0] = 1800000;
	bucket->modes[MODE_HEATING].heat_provisional_j = 3600000;
	bucket->unplaced_j[0] = i == 1 ? -7200000 : 0;
}

/* Of three days 0.5 kWh of electricity and 1 kWh of heat each; of one of them 2 kWh more
 * in rows than was counted. */
TEST(what_is_provisional_stands_in_the_report)
{
	static const struct energy_open open[COUNTED_MOST] = {
		{.open = true, .compared = true, .beyond_j = 900000}};
	fake.energy = not_over;
	fake.open = open;
	_cleanup_(freep) char *text = report(STDOUT_FILENO, EXIT_DONE);
	expect(text,
		"provisional      3.00 kWh of the heat, 1.50 kWh of the electricity:\n"
		"                 power's, until the register has counted it\n"
		"                 0.25 kWh more than the register of unit\n"
		"                 can hide so far\n");
	expect(text, "unplaced         -2.00 kWh of the electricity:\n"
		     "                 counted by a register in sealed minutes, in no "
		     "figure\n");
	fake.open = NULL;
}
END

TEST(a_store_that_fails_is_named)
{
	fake.energy = day;
	fake.outdoor_result = -EIO;
	_cleanup_(freep) char *broken = report(STDERR_FILENO, EXIT_FAILED);
	expect(broken, "the disk is gone");
	fake.outdoor_result = 0;
	fake.result = QUERY_TOO_SLOW;
	_cleanup_(freep) char *slow = report(STDERR_FILENO, EXIT_FAILED);
	expect(slow, "that took too long; ask for a shorter span");
	fake.result = 0;
}
END

/* Why nothing is known is the answer then; a program that asks for JSON has it, too. */
TEST(findings_are_told_of_a_span_of_which_nothing_is_known)
{
	const struct finding found = {.kind = FINDING_CLOCK_OFF,
		.subject = "gateway",
		.since_ms = NOW_MS - MS_PER_DAY,
		.until_ms = NOW_MS,
		.unit = "min",
		.size = -120,
		.effect = (double)NAN,
		.evidence = (char[]){"Its times lay ahead."},
		.remedy = (char[]){"Set its zone."}};
	fake.energy = NULL;
	fake.findings = &found;
	fake.finding_count = 1;
	_cleanup_(freep) char *text = report(STDOUT_FILENO, EXIT_FAILED);
	expect(text, "1 finding\n");
	ck_assert_ptr_null(strstr(text, "±"));
	expect(text, "Its times lay ahead.");
	expect(text, "Set its zone.");
	fake.finding_count = 0;
	_cleanup_(freep) char *why = report(STDERR_FILENO, EXIT_FAILED);
	expect(why, "nothing is known of 2026-01-01 to 2026-01-03");
	_cleanup_(freep) char *silent = report(STDOUT_FILENO, EXIT_FAILED);
	ck_assert_str_eq(silent, "");
}
END

TESTS(degree_days_stand_in_the_report, degree_days_that_take_too_long_fail_no_report,
	degree_days_without_any_known_day_are_unknown, a_store_that_fails_is_named,
	what_is_provisional_stands_in_the_report,
	findings_are_told_of_a_span_of_which_nothing_is_known,
	strapped_sensors_are_told_to_be_outside_the_standard)
