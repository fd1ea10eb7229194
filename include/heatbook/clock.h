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

/* Real time and boot time of one instant: read again when something came between the two
 * readings. */
struct instant_pair {
	int64_t now_ms, boot_ms;
};
struct instant_pair clock_pair(void);
/* Does the kernel say that the real-time clock is kept right by a time service
 * (adjtimex(2))? CLOCK_UNTOLD where asking is forbidden. */
enum clock_kept { CLOCK_NOT_KEPT, CLOCK_KEPT, CLOCK_UNTOLD };
enum clock_kept clock_kept(void);
/* A number > 0 that names this boot of the machine: boot times of different boots are not
 * to be compared. 0 where it cannot be told. */
int64_t clock_boot_number(void);

/* From now on all three clocks stand still at the given instants; the clock is kept
 * right, the boot has the number 1. */
void clock_test_start(int64_t now_ms, int64_t boot_ms);
/* Moves all three on by `span_ms` >= 0. */
void clock_test_advance(int64_t span_ms);
/* Steps the real-time clock only, either way. */
void clock_test_step(int64_t step_ms);
void clock_test_keep(enum clock_kept kept);
/* The machine starts again: the next boot, at that boot time. */
void clock_test_reboot(int64_t boot_ms);
void clock_test_stop(void);

#endif
