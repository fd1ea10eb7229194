/*
 * The last word for each topic, between two threads. See outbox.h.
 */
#include <heatbook/outbox.h>

#include <assert.h>
#include <errno.h>
#include <pthread.h>
#include <string.h>
#include <sys/eventfd.h>
#include <unistd.h>

/* All that is ever published to, beneath the prefix. */
static const char *const names[POST_COUNT] = {
	[POST_TODAY] = "today",
	[POST_MODE] = "mode",
	[POST_FINDINGS] = "findings",
	[POST_NOTICES] = "notices",
	[POST_STATE] = "state",
};

struct outbox {
	char *topics[POST_COUNT];
	size_t prefix_length;
	uint32_t fades_s;
	int fd;
	pthread_mutex_t mutex;
	/* Under the mutex. */
	struct buffer words[POST_COUNT];
	uint64_t numbers[POST_COUNT];
	bool forsaken;
};

bool post_stands(enum post post)
{
	return post == POST_NOTICES;
}

int outbox_new(const char *prefix, int64_t fades_ms, struct outbox **ret)
{
	struct outbox *o = xcalloc(1, sizeof(*o));
	o->fd = eventfd(0, EFD_CLOEXEC | EFD_NONBLOCK);
	if (o->fd < 0) {
		int error = errno;
		free(o);
		return -error;
	}
	(void)pthread_mutex_init(&o->mutex, NULL); /* cannot fail without attributes */
	o->prefix_length = strlen(prefix);
	o->fades_s = (uint32_t)(fades_ms / 1000);
	for (size_t i = 0; i < POST_COUNT; i++)
		o->topics[i] = xasprintf("%s/%s", prefix, names[i]);
	*ret = o;
	return 0;
}

void outbox_free(struct outbox *o)
{
	if (!o)
		return;
	for (size_t i = 0; i < POST_COUNT; i++) {
		buffer_release(&o->words[i]);
		free(o->topics[i]);
	}
	(void)close(o->fd); /* an eventfd has nothing to report */
	(void)pthread_mutex_destroy(&o->mutex);
	free(o);
}

const char *outbox_topic(const struct outbox *o, enum post post)
{
	return o->topics[post];
}

uint32_t outbox_fades_s(const struct outbox *o)
{
	return o->fades_s;
}

bool outbox_owns(const struct outbox *o, const char *topic)
{
	size_t n = o->prefix_length;
	return strncmp(topic, o->topics[0], n) == 0 &&
	       (topic[n] == '\0' || topic[n] == '/');
}

void outbox_put(struct outbox *o, enum post post, const char *word, bool again)
{
	size_t length = strlen(word);
	assert(post != POST_STATE && length <= POST_BYTES_MOST);
	(void)pthread_mutex_lock(&o->mutex); /* fails only when misused */
	struct buffer *last = &o->words[post];
	bool same = o->numbers[post] > 0 && strcmp(buffer_text(last), word) == 0;
	if (!same) {
		buffer_reset(last);
		buffer_add(last, word, length);
	}
	if (!same || again)
		o->numbers[post]++;
	(void)pthread_mutex_unlock(&o->mutex);
	if (!same || again)
		(void)eventfd_write(o->fd, 1); /* fails at 2^64 only */
}

void outbox_forsake(struct outbox *o)
{
	(void)pthread_mutex_lock(&o->mutex); /* fails only when misused */
	o->forsaken = true;
	(void)pthread_mutex_unlock(&o->mutex);
}

const char *outbox_farewell(struct outbox *o)
{
	(void)pthread_mutex_lock(&o->mutex); /* fails only when misused */
	const char *word = o->forsaken ? "" : POST_STOPPED;
	(void)pthread_mutex_unlock(&o->mutex);
	return word;
}

int outbox_fd(const struct outbox *o)
{
	return o->fd;
}

void outbox_calm(struct outbox *o)
{
	eventfd_t count;
	(void)eventfd_read(o->fd, &count); /* nothing there is as good */
}

uint64_t outbox_take(struct outbox *o, enum post post, uint64_t sent, struct buffer *word)
{
	(void)pthread_mutex_lock(&o->mutex); /* fails only when misused */
	uint64_t number = o->numbers[post];
	if (number != sent) {
		buffer_reset(word);
		buffer_add(word, o->words[post].data, o->words[post].length);
	}
	(void)pthread_mutex_unlock(&o->mutex);
	return number;
}
