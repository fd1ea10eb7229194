/*
 * The service manager's socket: a path, or a name in the abstract name space when it
 * begins with @. A socket is opened for each message: they are rare, and the manager may
 * make a new one under the same name.
 */
#include <heatbook/notify.h>

#include <errno.h>
#include <stddef.h>
#include <string.h>
#include <sys/socket.h>
#include <sys/un.h>
#include <unistd.h>

void notify_say(const char *format, ...)
{
	char text[512];
	const char *name = getenv("NOTIFY_SOCKET");
	struct sockaddr_un address = {.sun_family = AF_UNIX};
	size_t length = name ? strlen(name) : 0;
	va_list args;

	if (length < 2 || length >= sizeof(address.sun_path) || !strchr("/@", name[0]))
		return;
	va_start(args, format);
	(void)vsnprintf(text, sizeof(text), format, args); /* cut is good enough */
	va_end(args);
	memcpy(address.sun_path, name, length);
	if (name[0] == '@')
		address.sun_path[0] = '\0';
	int fd = socket(AF_UNIX, SOCK_DGRAM | SOCK_CLOEXEC, 0);
	if (fd < 0)
		return;
	socklen_t size = (socklen_t)(offsetof(struct sockaddr_un, sun_path) + length);
	(void)sendto(fd, text, strlen(text), MSG_NOSIGNAL | MSG_DONTWAIT,
		(const struct sockaddr *)&address, size); /* see the header */
	(void)close(fd);
}

static bool read_number(const char *name, int64_t *ret)
{
	const char *text = getenv(name);
	char *end;
	if (!text || *text < '0' || *text > '9')
		return false;
	errno = 0;
	long long number = strtoll(text, &end, 10);
	if (errno != 0 || *end)
		return false;
	*ret = number;
	return true;
}

int64_t notify_watchdog_ms(void)
{
	int64_t span_us, pid;
	if (!read_number("WATCHDOG_USEC", &span_us) || span_us <= 0)
		return -1;
	if (getenv("WATCHDOG_PID") &&
		(!read_number("WATCHDOG_PID", &pid) || pid != getpid()))
		return -1;
	return span_us / 2000 > 0 ? span_us / 2000 : 1;
}
