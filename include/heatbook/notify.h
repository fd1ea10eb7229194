/*
 * Words to the service manager, by the protocol that sd_notify(3) documents as stable for
 * reimplementation: datagrams of VARIABLE=value lines to the socket in NOTIFY_SOCKET.
 * Without that variable every call does nothing.
 */
#ifndef HEATBOOK_NOTIFY_H
#define HEATBOOK_NOTIFY_H

#include <heatbook/base.h>

/* Sends the lines, such as "READY=1\nSTATUS=…". What cannot be sent is lost: the service
 * must run without its manager. */
void notify_say(const char *format, ...) PRINTF_LIKE(1, 2);

/* How often WATCHDOG=1 is to be said so that it never comes late, half of WATCHDOG_USEC
 * (sd_watchdog_enabled(3)), in ms; -1 when no watchdog is set for this process. */
int64_t notify_watchdog_ms(void);

#endif
