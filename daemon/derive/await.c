/*
 * Waiting for whoever has the lock. It may end before its work is done: then the lock is
 * taken over. It may be unable to work, on a disk that is full for example: then it says
 * so in the lock's file, and whoever waits is told that instead of waiting without end.
 * See deriver.h.
 */
#include <heatbook/clock.h>
#include <heatbook/deriver.h>

#include <time.h>

#define LOOK_NS    100000000L
#define HELD_UP_MS 5000 /* that trouble has to last: much passes by itself */

struct wait {
	struct store *store;
	int64_t left;     /* days, at the last look */
	int64_t since_ms; /* trouble without progress, or -1 */
};

/* Has it been in trouble for long, without a day done meanwhile? */
static bool is_held_up(struct wait *w, int64_t left, struct deriver_holder *ret)
{
	int64_t now_ms = clock_mono_ms();
	bool stuck = left >= w->left &&
		     deriver_holder(store_config(w->store), ret) == 0 && ret->trouble[0];
	w->left = left;
	if (!stuck)
		w->since_ms = -1;
	else if (w->since_ms < 0)
		w->since_ms = now_ms;
	return stuck && now_ms - w->since_ms >= HELD_UP_MS;
}

static int refuse(const struct deriver_holder *holder, char why[static 320])
{
	(void)snprintf(why, 320,
		"the running heatbookd cannot derive: %.180s; once it can it goes on by "
		"itself, and the same command waits for it again",
		holder->trouble);
	return DERIVER_HELD_UP;
}

int deriver_await(struct store *store, deriver_look *look, void *context, int *ret_lock,
	char why[static 320])
{
	const struct timespec pause = {.tv_nsec = LOOK_NS};
	struct wait w = {.store = store, .left = INT64_MAX, .since_ms = -1};
	struct deriver_holder holder;
	int64_t left;
	for (;;) {
		int r = store_dirty_days(store, &left);
		if (r != 0)
			return r;
		bool ends = look(left, context);
		if (ends || left == 0)
			return ends ? DERIVER_ENDED : 0;
		r = deriver_lock(store_config(store), ret_lock);
		if (r != DERIVER_TAKEN)
			return r == 0 ? DERIVER_FREE : r;
		if (is_held_up(&w, left, &holder))
			return refuse(&holder, why);
		(void)nanosleep(&pause, NULL); /* a signal only shortens the wait */
	}
}
