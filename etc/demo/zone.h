/* Local time of the demo house, Europe/Berlin, and the date-times of the command line. */
#ifndef DEMO_ZONE_H
#define DEMO_ZONE_H

#include <stdint.h>

/* Sets the process's zone. 0, or -1 when the system's zone database lacks it. */
int zone_open(void);
/* Seconds that local time is ahead of UTC at an instant (s since 1970). */
int zone_ahead_s(int64_t t_s);
/* First instant of the local date that is `days` after the one holding `t_s`. */
int64_t zone_day_start(int64_t t_s, int days);
/* Local midnight that begins a date; month 1..12. */
int64_t zone_midnight(int year, int month, int day);
/* "2026-01-31" into `text`. */
void zone_date(int64_t t_s, char text[static 16]);
/* RFC 3339 "2026-01-31T10:00:00Z", "…+01:00", or "2026-01-31" for that local midnight;
 * whole seconds. 0 or -1. */
int zone_parse(const char *text, int64_t *ret_s);

#endif
