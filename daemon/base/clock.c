/*
 * The clocks, and the test clock that replaces them. The test clock is for programs with
 * one thread: it is plain data.
 */
#include <heatbook/clock.h>

#include <assert.h>
#include <fcntl.h>
#include <sys/timex.h>
#include <time.h>
#include <unistd.h>

#define PAIR_APART_MS 20
#define PAIR_ATTEMPTS 20

static struct {
	bool on;
	int64_t now_ms;
	int64_t boot_ms;
	enum clock_kept kept;
	int64_t boot_number;
} test_clock;

static int64_t read_ms(clockid_t id)
{
	struct timespec t;
	(void)clock_gettime(id, &t); /* fails only for clocks that do not exist */
	return (int64_t)t.tv_sec * 1000 + t.tv_nsec / 1000000;
}

int64_t clock_now_ms(void)
{
	return test_clock.on ? test_clock.now_ms : read_ms(CLOCK_REALTIME);
}

int64_t clock_boot_ms(void)
{
	return test_clock.on ? test_clock.boot_ms : read_ms(CLOCK_BOOTTIME);
}

int64_t clock_mono_ms(void)
{
	return test_clock.on ? test_clock.boot_ms : read_ms(CLOCK_MONOTONIC);
}

struct instant_pair clock_pair(void)
{
	struct instant_pair pair;
	int64_t after = clock_boot_ms();
	int attempts = 0;
	do {
		pair.boot_ms = after;
		pair.now_ms = clock_now_ms();
		after = clock_boot_ms();
	} while (after - pair.boot_ms > PAIR_APART_MS && ++attempts < PAIR_ATTEMPTS);
	return pair;
}

enum clock_kept clock_kept(void)
{
	struct timex question = {.modes = 0};
	if (test_clock.on)
		return test_clock.kept;
	int state = adjtimex(&question);
	if (state < 0)
		return CLOCK_UNTOLD;
	return state == TIME_ERROR || question.status & STA_UNSYNC ? CLOCK_NOT_KEPT
								   : CLOCK_KEPT;
}

int64_t clock_boot_number(void)
{
	char text[64];
	if (test_clock.on)
		return test_clock.boot_number;
	int fd = open("/proc/sys/kernel/random/boot_id", O_RDONLY | O_CLOEXEC);
	if (fd < 0)
		return 0;
	ssize_t n = read(fd, text, sizeof(text));
	(void)close(fd); /* only read */
	return n <= 0 ? 0 : (int64_t)(digest64(0, text, (size_t)n) >> 1 | 1);
}

void clock_test_start(int64_t now_ms, int64_t boot_ms)
{
	test_clock.on = true;
	test_clock.now_ms = now_ms;
	test_clock.boot_ms = boot_ms;
	test_clock.kept = CLOCK_KEPT;
	test_clock.boot_number = 1;
}

void clock_test_advance(int64_t span_ms)
{
	assert(span_ms >= 0);
	test_clock.now_ms += span_ms;
	test_clock.boot_ms += span_ms;
}

void clock_test_step(int64_t step_ms)
{
	test_clock.now_ms += step_ms;
}

void clock_test_keep(enum clock_kept kept)
{
	test_clock.kept = kept;
}

void clock_test_reboot(int64_t boot_ms)
{
	test_clock.boot_ms = boot_ms;
	test_clock.boot_number++;
}

void clock_test_stop(void)
{
	test_clock.on = false;
}
