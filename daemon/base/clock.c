/*
 * The clocks, and the test clock that replaces them. The test clock is for programs with
 * one thread: it is plain data.
 */
#include <heatbook/clock.h>

#include <assert.h>
#include <time.h>

static struct {
	bool on;
	int64_t now_ms;
	int64_t boot_ms;
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

void clock_test_start(int64_t now_ms, int64_t boot_ms)
{
	test_clock.on = true;
	test_clock.now_ms = now_ms;
	test_clock.boot_ms = boot_ms;
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

void clock_test_stop(void)
{
	test_clock.on = false;
}
