/*
 * Days of the daemon's live way in minutes: the demo plant's messages pass tail, live way
 * and store at the pace of the test clock, with the turns, ticks and commits of the
 * daemon's loop at the configuration's intervals. No broker and no second thread: what is
 * measured is what memory holds and what reaches the disk.
 *
 * Usage: live_days CONFIG FROM DAYS. Prints a header and a line each simulated hour:
 * hour, messages so far, VmRSS and VmHWM in kB (proc(5)), open descriptors, bytes of the
 * store's file and of its write-ahead log, processor milliseconds so far (the plant's own
 * share included).
 */
#include "messages.h"
#include "zone.h"

#include <heatbook/clock.h>
#include <heatbook/config.h>
#include <heatbook/deriver.h>
#include <heatbook/live.h>

#include <dirent.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <time.h>

#define TICK_MS       INT64_C(1000)
#define CHANGE_S      INT64_C(1768431600) /* 2026-01-15 in Berlin: the plant's change */
#define USAGE         "usage: live_days CONFIG FROM DAYS\n"
#define TURNS_MOST    100000
#define DELAY_MOST_MS 3

struct run {
	const struct config *config;
	struct store *store;
	struct decoder *decoder;
	struct tail *tail;
	struct live *live;
	int64_t from_ms, to_ms;
	int64_t tick_at_ms, commit_at_ms, hour_at_ms;
	long long messages;
	uint64_t random;
};

static void fail(const char *what, const char *why)
{
	(void)fprintf(stderr, "live_days: %s: %s\n", what, why);
	exit(1);
}

static void expect(const struct run *run, int r, const char *what)
{
	if (r != 0)
		fail(what, store_error(run->store)[0] ? store_error(run->store)
						      : strerror(r < 0 ? -r : r));
}

/* ---- figures ---- */

static long status_kb(const char *name)
{
	char line[256];
	long kb = -1;
	FILE *f = fopen("/proc/self/status", "re");
	while (f && fgets(line, sizeof(line), f))
		if (strncmp(line, name, strlen(name)) == 0)
			kb = strtol(line + strlen(name), NULL, 10);
	if (f)
		(void)fclose(f); /* only read */
	return kb;
}

static int descriptors(void)
{
	int count = 0;
	DIR *d = opendir("/proc/self/fd");
	while (d && readdir(d))
		count++;
	if (d)
		(void)closedir(d); /* only read */
	return count - 3;          /* ., .. and the directory's own */
}

static long long bytes_of(const char *path, const char *suffix)
{
	struct stat st;
	_cleanup_(freep) char *whole = xasprintf("%s%s", path, suffix);
	return stat(whole, &st) < 0 ? 0 : (long long)st.st_size;
}

static void say_hour(const struct run *run)
{
	struct timespec used;
	(void)clock_gettime(CLOCK_PROCESS_CPUTIME_ID, &used); /* cannot fail */
	(void)printf("%lld %lld %ld %ld %d %lld %lld %lld\n",
		(long long)((clock_now_ms() - run->from_ms) / MS_PER_HOUR), run->messages,
		status_kb("VmRSS:"), status_kb("VmHWM:"), descriptors(),
		bytes_of(run->config->store.file, ""),
		bytes_of(run->config->store.file, "-wal"),
		(long long)used.tv_sec * 1000 + used.tv_nsec / 1000000);
	(void)fflush(stdout);
}

/* ---- the loop's turns ---- */

/* Until nothing more is to be done at this instant. */
static void turns(struct run *run)
{
	int r = 0;
	while (live_take(run->live))
		;
	for (int i = 0; live_behind(run->live) && r == 0 && i < TURNS_MOST; i++)
		r = live_derive(run->live, clock_now_ms());
	expect(run, r == DERIVER_CLEAN ? 0 : r, "derivation");
}

static void tick(struct run *run)
{
	expect(run, live_close(run->live, clock_now_ms()), "closing minutes");
	expect(run, live_look_outside(run->live), "looking outside");
	expect(run, live_tidy(run->live), "tidying");
	if (clock_mono_ms() < run->commit_at_ms)
		return;
	if (live_uncommitted(run->live))
		expect(run, live_commit(run->live), "commit");
	run->commit_at_ms = clock_mono_ms() + run->config->store.commit_interval_ms;
}

/* Moves the clock to an instant, with the ticks on the way. */
static void advance(struct run *run, int64_t t_ms)
{
	while (clock_now_ms() < t_ms) {
		int64_t left = t_ms - clock_now_ms();
		int64_t to_tick = run->tick_at_ms - clock_mono_ms();
		clock_test_advance(left < to_tick ? left : to_tick);
		if (clock_mono_ms() < run->tick_at_ms)
			continue;
		turns(run);
		tick(run);
		run->tick_at_ms = clock_mono_ms() + TICK_MS;
		if (clock_now_ms() >= run->hour_at_ms) {
			say_hour(run);
			run->hour_at_ms += MS_PER_HOUR;
		}
	}
}

static void append(struct run *run, enum record_kind kind, const char *topic,
	const char *payload, bool retained)
{
	struct record record = {.kind = kind,
		.retained = retained,
		.t_ms = clock_now_ms(),
		.boot_ms = clock_boot_ms(),
		.topic = topic,
		.topic_length = strlen(topic),
		.payload = (const unsigned char *)payload,
		.payload_length = strlen(payload)};
	int r = tail_append(run->tail, &record);
	if (r != 0)
		fail("tail", strerror(-r));
	turns(run);
}

/* What the way through a broker adds to a stamp, and to what a journal has to keep. */
static int64_t delay_ms(struct run *run)
{
	run->random = run->random * 6364136223846793005u + 1442695040888963407u;
	return (int64_t)(run->random >> 33) % (DELAY_MOST_MS + 1);
}

static void take(const struct message *message, void *context)
{
	struct run *run = context;
	if (message->t_ms < run->from_ms || message->t_ms >= run->to_ms)
		return;
	advance(run, message->t_ms + delay_ms(run));
	append(run, RECORD_MESSAGE, message->topic, message->payload, false);
	run->messages++;
}

static void start(struct run *run)
{
	char why[256] = "";
	if (store_open(run->config, STORE_WRITE, &run->store, why) != 0)
		fail("store", why);
	int r = tail_open(run->config->journal.tail, 0,
		run->config->journal.tail_bound_bytes, &run->tail);
	if (r != 0)
		fail(run->config->journal.tail, strerror(-r));
	run->decoder = decoder_new(run->config);
	run->live = live_new(run->store, run->decoder, run->tail);
	run->tick_at_ms = clock_mono_ms() + TICK_MS;
	run->commit_at_ms = clock_mono_ms() + run->config->store.commit_interval_ms;
	run->hour_at_ms = run->from_ms + MS_PER_HOUR;
	append(run, RECORD_START, "", HEATBOOK_VERSION, false);
	append(run, RECORD_SUBSCRIBED, "", "", false);
}

static void stop(struct run *run)
{
	append(run, RECORD_STOP, "", "", false);
	expect(run, live_commit(run->live), "last commit");
	live_free(run->live);
	decoder_free(run->decoder);
	tail_close(run->tail);
	store_close(run->store);
}

static void simulate(struct run *run)
{
	struct plant_rule rule = {
		.kind = RULE_STEEP_CURVE, .from_s = PLANT_ORIGIN_S, .to_s = CHANGE_S};
	struct plant_settings settings = {.seed = 1, .rules = &rule, .rule_count = 1};
	struct plant plant;
	plant_init(&plant, &settings);
	plant_run_to(&plant, run->from_ms / 1000);
	while (plant.t_s * 1000 < run->to_ms)
		messages_of_step(plant_advance(&plant), take, run);
	advance(run, run->to_ms);
}

int main(int argc, char **argv)
{
	struct run run = {0};
	struct config *config = NULL;
	struct faults faults = {0};
	int64_t from_s;
	if (argc != 4 || zone_open() < 0 || zone_parse(argv[2], &from_s) < 0)
		return fputs(USAGE, stderr) < 0 ? 1 : 2;
	if (config_load(argv[1], &config, &faults, NULL) != 0)
		fail(argv[1], faults.count ? faults.lines[0] : "not read");
	run.config = config;
	run.from_ms = from_s * 1000;
	run.to_ms = run.from_ms + strtol(argv[3], NULL, 10) * MS_PER_DAY;
	clock_test_start(run.from_ms, MS_PER_HOUR);
	(void)puts("hour messages rss_kb hwm_kb descriptors file_bytes wal_bytes cpu_ms");
	start(&run);
	simulate(&run);
	stop(&run);
	config_free(config);
	faults_release(&faults);
	return 0;
}
