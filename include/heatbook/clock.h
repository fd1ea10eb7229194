/*
 * The one place that reads clocks. Tests swap in a test clock and advance it by hand, so
 * that no test sleeps or waits for real minutes.
 */
#ifndef HEATBOOK_CLOCK_H
#define HEATBOOK_CLOCK_H

#include <heatbook/base.h>

/* CLOCK_REALTIME, milliseconds UTC since 1970. */
int64_t clock_now_ms(void);
/* CLOCK_BOOTTIME, milliseconds since boot, running through suspend. */
int64_t clock_boot_ms(void);
/* CLOCK_MONOTONIC, milliseconds; for deadlines only. */
int64_t clock_mono_ms(void);

/* From now on all three clocks stand still at the given instants. */
void clock_test_start(int64_t now_ms, int64_t boot_ms);
/* Moves all three on by `span_ms` >= 0. */
void clock_test_advance(int64_t span_ms);
/* Steps the real-time clock only, either way. */
void clock_test_step(int64_t step_ms);
void clock_test_stop(void);

#endif
