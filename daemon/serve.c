/*
 * The daemon: one loop over tail, HTTP, signals and the clock; the subscriber alone has a
 * thread of its own. Work comes in bounded turns: some thousand records, one commit, one
 * derived day, one HTTP turn. Starting and stopping mirror each other.
 */
#include "serve.h"
#include "verbs.h"

#include <heatbook/clock.h>
#include <heatbook/cost.h>
#include <heatbook/deriver.h>
#include <heatbook/finding.h>
#include <heatbook/log.h>
#include <heatbook/notify.h>
#include <heatbook/run_ask.h>

#include <errno.h>
#include <poll.h>
#include <signal.h>
#include <string.h>
#include <sys/random.h>
#include <sys/signalfd.h>
#include <unistd.h>

#define TICK_MS         1000
#define LOOK_DAYS       8
#define COMMIT_RETRY_MS 10000
/* For how long days are not looked at after a question, and at most since some were. */
#define ASKED_PAUSE_MS      100
#define ASKED_PAUSE_MOST_MS 400

static int refuse(const char *why)
{
	log_error("%s", why);
	return -EINVAL;
}

static int append_fact(struct daemon *d, enum record_kind kind)
{
	struct record record = {
		.kind = kind,
		.topic = "",
		.payload = (const unsigned char *)HEATBOOK_VERSION,
		.payload_length = kind == RECORD_START ? strlen(HEATBOOK_VERSION) : 0,
	};
	return stamper_append(d->stamper, &record);
}

/* Says a failure once, until it changes or ends. */
static void note_fault(char fault[static FAULT_MOST], const char *what, const char *why)
{
	char text[FAULT_MOST] = "";
	if (why)
		(void)snprintf(text, sizeof(text), "%s: %s", what, why);
	if (strcmp(text, fault) == 0)
		return;
	if (why)
		log_error("%s", text);
	else
		log_notice("%s: good again", what);
	memcpy(fault, text, sizeof(text));
}

static void commit_now(struct daemon *d)
{
	int64_t now = clock_mono_ms();
	int r = live_uncommitted(d->live) ? live_commit(d->live) : 0;

	d->commit_at_ms =
		now + (r == 0 ? d->config->store.commit_interval_ms : COMMIT_RETRY_MS);
	note_fault(d->commit_fault, "commit", r == 0 ? NULL : live_error(d->live));
}

static void derive_some(struct daemon *d)
{
	int r = live_derive(d->live, stamper_now_ms(d->stamper));
	if (r == 0)
		store_give_way();
	bool good = r == 0 || r == DERIVER_CLEAN;
	note_fault(d->derive_fault, "derivation", good ? NULL : live_error(d->live));
}

/* What keeps the store from going on, or "". */
static const char *fault_of(const struct daemon *d)
{
	return d->commit_fault[0]   ? d->commit_fault
	       : d->derive_fault[0] ? d->derive_fault
				    : d->close_fault;
}

/* The daemon's state in a line, when it changed; and to those who wait for it, what it
 * has no room or leave to do. */
static void say_status(struct daemon *d)
{
	char status[160];
	if (d->subscriber)
		subscriber_state(d->subscriber, &d->link);
	const char *fault = fault_of(d);
	const char *link = d->subscriber ? link_state_name(d->link.state) : "none";
	(void)snprintf(status, sizeof(status), "broker: %s%s%.100s", link,
		fault[0] ? "; " : "", fault);
	if (strcmp(status, d->status) == 0)
		return;
	memcpy(d->status, status, sizeof(status));
	notify_say("STATUS=%s", status);
	deriver_tell(d->config, d->lock_fd, fault);
}

/* Not by a clock that is known to be wrong, nor before runs are kept of what goes. */
static void age_some(struct daemon *d)
{
	struct stamper_state clock;
	stamper_state(d->stamper, &clock);
	if (clock.state > CLOCK_STATE_UNKEPT || !d->looked)
		return;
	if (live_age(d->live, stamper_now_ms(d->stamper)) != 0)
		log_warning("what is past its age was not dropped: %s; tried tomorrow",
			live_error(d->live));
}

/* Once an hour: it reads a week's list of chunks. */
static void look_at_growth(struct daemon *d)
{
	int64_t now = clock_mono_ms();
	if (now < d->growth_at_ms)
		return;
	d->growth_at_ms = now + MS_PER_HOUR;
	(void)store_growth(d->store, stamper_now_ms(d->stamper),
		&d->growth); /* else it stays as it was */
}

/* Their runs, what they say of sensors, meters and plant, and what they cost. */
static int look_at_days(struct daemon *d, size_t *ret_done)
{
	size_t looked = 0, made = 0, priced = 0;
	int r = runs_catch_up(d->store, LOOK_DAYS, &made);
	if (r == 0 && made < LOOK_DAYS)
		r = evidence_catch_up(d->store, LOOK_DAYS - made, &looked);
	if (r == 0 && made + looked < LOOK_DAYS)
		r = cost_catch_up(d->store, LOOK_DAYS - made - looked, &priced);
	*ret_done = made + looked + priced;
	return r;
}

/* Days whose rows are new are looked at, a few a turn while nothing else is to be done,
 * until none is left; once a minute it is seen whether rows have changed since. True
 * while some may be left. */
static bool look_some(struct daemon *d)
{
	size_t done = 0;
	int64_t now = clock_mono_ms(), version = 0;
	if (now < d->look_at_ms || live_behind(d->live) || store_damage(d->store))
		return false;
	d->look_at_ms = now + MS_PER_MIN;
	int r = store_fact(d->store, FACT_VERSION, &version);
	if (r == 0 && version == d->looked_version)
		return false;
	if (r == 0)
		r = look_at_days(d, &done);
	if (r != 0 && r != STORE_BUSY) {
		log_warning("days were not looked at: %s; tried in an hour",
			store_error(d->store));
		d->look_at_ms = now + MS_PER_HOUR;
	}
	if (r == 0 && done < LOOK_DAYS)
		d->looked_version = version;
	d->looked = d->looked || r != 0 || done < LOOK_DAYS;
	if (r != 0 || done < LOOK_DAYS)
		return false;
	d->look_at_ms = now;
	d->looked_at_ms = clock_mono_ms();
	store_give_way();
	return true;
}

/* Whoever asks is likely to ask more: days are looked at between, but a turn of them
 * would be waited for by each answer. */
static void look_later(struct daemon *d, int64_t asked_ms)
{
	int64_t at = asked_ms + ASKED_PAUSE_MS;
	int64_t latest = d->looked_at_ms + ASKED_PAUSE_MOST_MS;
	at = at < latest ? at : latest;
	if (d->look_at_ms < at)
		d->look_at_ms = at;
}

static void tick(struct daemon *d)
{
	stamper_look(d->stamper, live_closed_ms(d->live));
	(void)live_take(d->live); /* what it had to say comes before the minutes */
	int r = live_close(d->live, stamper_now_ms(d->stamper));
	if (r == 0)
		r = live_look_outside(d->live);
	note_fault(
		d->close_fault, "closing minutes", r == 0 ? NULL : live_error(d->live));
	if (live_tidy(d->live) != 0)
		log_warning("journal: not packed: %s", store_error(d->store));
	age_some(d);
	look_at_growth(d);
	if (clock_mono_ms() >= d->commit_at_ms)
		commit_now(d);
	say_status(d);
	welcome_tick(&d->welcome, d->config, d->decoder, serve_present, d);
	watcher_tick(&d->watcher, d->config, d->store, &d->news, live_behind(d->live));
	http_tell_notices(d->http, watcher_notices(&d->watcher));
	publisher_tick(&d->publisher, d->config, d->store, watcher_notices(&d->watcher),
		serve_present, d);
	d->tick_at_ms = clock_mono_ms() + TICK_MS;
}

static void note_turn(struct daemon *d, int64_t began_ms)
{
	double ms = (double)(clock_mono_ms() - began_ms);
	int64_t hour = began_ms / MS_PER_HOUR;
	if (hour != d->turn_hour) {
		d->turn_hour = hour;
		d->turn_ms_before = d->turn_ms_longest;
		d->turn_ms_longest = 0.0;
	}
	if (ms > d->turn_ms_longest)
		d->turn_ms_longest = ms;
}

/* The loop turns: that is the sign of life. */
static void please_watchdog(struct daemon *d, int64_t now_ms)
{
	if (d->watchdog_ms < 0 || now_ms < d->watchdog_at_ms)
		return;
	notify_say("WATCHDOG=1");
	d->watchdog_at_ms = now_ms + d->watchdog_ms;
}

static int wait_ms(const struct daemon *d, bool more)
{
	int64_t now = clock_mono_ms(), left = d->tick_at_ms - now;
	if (d->watchdog_ms >= 0 && d->watchdog_ms < left)
		left = d->watchdog_ms;
	int http = http_timeout_ms(d->http);
	if (d->look_at_ms > now && d->look_at_ms - now < left)
		left = d->look_at_ms - now;
	if (more || left < 0)
		return 0;
	return http >= 0 && http < left ? http : (int)left;
}

/* Frees a configuration of a reload that nobody uses any more. */
static void drop_config(const struct daemon *d, const struct config *config)
{
	if (config != d->first && config != d->config && config != d->link_config)
		config_free((struct config *)(uintptr_t)config); /* ours by a reload */
}

static bool same_filters(const struct decoder *a, const struct decoder *b)
{
	size_t count, other;
	const char *const *left = decoder_filters(a, &count);
	const char *const *right = decoder_filters(b, &other);
	bool same = count == other;
	for (size_t i = 0; same && i < count; i++)
		same = strcmp(left[i], right[i]) == 0;
	return same;
}

static int start_subscriber(struct daemon *d)
{
	size_t count;
	d->link_config = d->config;
	if (!d->config->broker.host)
		return 0;
	int r = publisher_begin(&d->publisher, d->config);
	if (r != 0)
		return r;
	const char *const *filters = decoder_filters(d->decoder, &count);
	return subscriber_start(&d->config->broker, filters, count, d->stamper,
		d->publisher.outbox, &d->subscriber);
}

static void stop_subscriber(struct daemon *d)
{
	if (d->subscriber)
		subscriber_stop(d->subscriber);
	d->subscriber = NULL;
	publisher_end(&d->publisher);
}

static void restart_subscriber(struct daemon *d)
{
	publisher_forsake(&d->publisher);
	serve_keep_messages(d);
	stop_subscriber(d);
	int r = start_subscriber(d);
	if (r != 0)
		log_errno(LOG_LEVEL_ERROR, r, "broker: no client can be made");
}

static void say_older_days(struct daemon *d)
{
	struct older_days days = {0};
	if (store_older_days(d->store, 0, INT64_MAX, &days) != 0)
		return;
	if (days.count > days.sealed)
		log_notice("%lld days were made by a former mapping; `heatbookd rebuild "
			   "-c %s` makes them anew",
			(long long)(days.count - days.sealed), d->config->path);
	if (days.sealed > 0)
		log_notice(
			"%lld days were made by a former mapping and stay so: they are "
			"sealed, their journal is not whole any more",
			(long long)days.sealed);
}

/* Puts a configuration in force; true when the store takes it. Everything accepted so far
 * is in the store or unread in the tail, so that what is made anew begins as at a start.
 */
static bool swap_config(struct daemon *d, const struct config *config)
{
	const struct config *before = d->config, *link_before = d->link_config;
	struct store *store;
	char why[256];

	commit_now(d);
	if (d->commit_fault[0]) {
		log_error("what was received cannot be stored now");
		return false;
	}
	if (store_open(config, STORE_SERVE_ON, &store, why) != 0) {
		log_error("%s", why);
		return false;
	}
	if (http_swap(d->http, config, store) != 0) {
		store_close(store);
		return false;
	}
	struct decoder *decoder = decoder_new(config);
	bool link_stays = config->broker_digest == before->broker_digest &&
			  same_filters(decoder, d->decoder);
	bool mapping_stays = config->mapping_digest == before->mapping_digest;
	struct live *live = live_new(store, decoder, d->tail);
	news_reconfigure(&d->news, before, config);
	live_tell(live, &d->news);
	serve_keep_counts(d);
	watcher_end(&d->watcher);
	live_free(d->live);
	decoder_free(d->decoder);
	store_close(d->store);
	d->live = live;
	d->decoder = decoder;
	d->store = store;
	d->config = config;
	d->looked_version = -1;
	d->look_at_ms = 0;
	d->derive_fault[0] = '\0';
	deriver_tell(config, d->lock_fd, fault_of(d));
	if (!link_stays)
		restart_subscriber(d);
	drop_config(d, before);
	if (link_before != before)
		drop_config(d, link_before);
	if (!mapping_stays)
		say_older_days(d);
	return true;
}

/* SIGHUP: reads the file again; one that is faulty changes nothing. */
static void reload(struct daemon *d)
{
	struct faults faults = {0}, notes = {0};
	struct config *config = NULL;

	notify_say("RELOADING=1\nMONOTONIC_USEC=%lld", (long long)clock_mono_ms() * 1000);
	int r = config_reload(d->config, &config, &faults, &notes);
	if (r < 0)
		log_errno(LOG_LEVEL_ERROR, r, "%s", d->config->path);
	for (size_t i = 0; i < faults.count; i++)
		log_error("%s", faults.lines[i]);
	for (size_t i = 0; r == 0 && i < notes.count; i++)
		log_notice("%s", notes.lines[i]);
	if (r == 0 && swap_config(d, config)) {
		log_notice("%s was read again and is in force", config->path);
	} else {
		log_error("the former configuration stays in force");
		config_free(config);
	}
	faults_release(&faults);
	faults_release(&notes);
	notify_say("READY=1");
}

/* Answers every signal that waits; true when one asks to stop. */
static bool take_signals(struct daemon *d)
{
	struct signalfd_siginfo info;
	bool ends = false, again = false;
	while (read(d->signal_fd, &info, sizeof(info)) == (ssize_t)sizeof(info)) {
		ends |= info.ssi_signo != SIGHUP;
		again |= info.ssi_signo == SIGHUP;
	}
	if (again && !ends)
		reload(d);
	return ends;
}

/* Until a signal asks to stop. */
static void run(struct daemon *d)
{
	bool more = true;
	for (;;) {
		struct pollfd fds[] = {
			{.fd = d->signal_fd, .events = POLLIN},
			{.fd = tail_wake_fd(d->tail), .events = POLLIN},
			{.fd = http_fd(d->http), .events = POLLIN},
		};
		int n = poll(fds, ARRAY_LEN(fds), wait_ms(d, more));
		if (n < 0 && errno != EINTR)
			log_errno(LOG_LEVEL_ERROR, errno, "poll");
		int64_t began = clock_mono_ms();
		please_watchdog(d, began);
		if (fds[0].revents && take_signals(d))
			return;
		more = live_take(d->live);
		if (began >= d->tick_at_ms)
			tick(d);
		if (live_behind(d->live)) {
			derive_some(d);
			more |= live_behind(d->live) && !d->derive_fault[0];
		}
		if (fds[2].revents)
			look_later(d, began);
		if (!more)
			more = look_some(d);
		http_turn(d->http);
		note_turn(d, began);
	}
}

static int open_store(struct daemon *d)
{
	char why[256];
	int64_t committed = 0, derived_until_ms = 0;
	int r = deriver_lock(d->config, &d->lock_fd);
	if (r == DERIVER_TAKEN)
		return refuse(
			"the store is in use by another heatbookd (daemon or import)");
	if (r != 0) {
		log_errno(LOG_LEVEL_ERROR, r, "%s.lock", d->config->store.file);
		return r;
	}
	/* After an end that was not clean the file is checked here: a second or so for
	 * each 100 MB. */
	if (store_open(d->config, STORE_SERVE, &d->store, why) != 0)
		return refuse(why);
	r = store_fact(d->store, FACT_COMMITTED_SEQUENCE, &committed);
	if (store_damage(d->store)) {
		log_error("%s: %s", d->config->store.file, store_error(d->store));
		r = 0; /* nothing leaves the tail any more: any number will do */
	} else if (r == 0) {
		r = store_fact(d->store, FACT_DERIVED_UNTIL_MS, &derived_until_ms);
	}
	if (r == 0)
		r = tail_open(d->config->journal.tail, (uint64_t)committed,
			d->config->journal.tail_bound_bytes, &d->tail);
	if (r != 0) {
		log_errno(LOG_LEVEL_ERROR, r, "tail %s", d->config->journal.tail);
		return r;
	}
	d->stamper =
		stamper_new(d->tail, d->config->journal.clock_wait_ms, derived_until_ms);
	return 0;
}

/* No other run may have its number: whoever comes back with that of one is told all. */
static void begin_news(struct daemon *d)
{
	uint64_t run;
	if (getrandom(&run, sizeof(run), 0) != (ssize_t)sizeof(run))
		run = (uint64_t)clock_now_ms();
	news_begin(&d->news, run, stamper_now_ms(d->stamper));
	live_tell(d->live, &d->news);
}

static int start(struct daemon *d)
{
	int r = verb_signals(SIGHUP, &d->signal_fd);
	if (r == 0)
		r = open_store(d);
	if (r != 0)
		return r;
	d->decoder = decoder_new(d->config);
	d->live = live_new(d->store, d->decoder, d->tail);
	begin_news(d);
	d->started_boot_ms = clock_boot_ms();
	d->commit_at_ms = clock_mono_ms() + d->config->store.commit_interval_ms;
	r = http_open(d->config, d->store, serve_state, d, &d->http);
	if (r == 0)
		http_tell(d->http, &d->news);
	if (r == 0)
		r = append_fact(d, RECORD_START);
	return r == 0 ? start_subscriber(d) : r;
}

static void stop(struct daemon *d)
{
	stop_subscriber(d);
	if (d->live && d->http) {
		/* What fails here comes from the journal, or stays in the tail. */
		(void)append_fact(d, RECORD_STOP);
		(void)live_close(d->live, stamper_now_ms(d->stamper));
		commit_now(d);
	}
	if (d->store)
		(void)store_left(d->store); /* else the next start checks the file */
	if (d->http)
		http_close(d->http);
	watcher_end(&d->watcher);
	live_free(d->live);
	decoder_free(d->decoder);
	stamper_free(d->stamper);
	if (d->tail)
		tail_close(d->tail);
	store_close(d->store);
	if (d->lock_fd >= 0)
		(void)close(d->lock_fd); /* releases it */
	if (d->signal_fd >= 0)
		(void)close(d->signal_fd);
	const struct config *link = d->link_config, *last = d->config;
	d->config = d->link_config = d->first;
	drop_config(d, last);
	if (link != last)
		drop_config(d, link);
}

int verb_serve(const struct verb_call *call)
{
	struct daemon d = {.first = call->config,
		.config = call->config,
		.link_config = call->config,
		.lock_fd = -1,
		.signal_fd = -1,
		.looked_version = -1,
		.looked_at_ms = clock_mono_ms(),
		.watchdog_ms = notify_watchdog_ms()};

	if (call->count > 0)
		return EXIT_USAGE;
	int r = start(&d);
	if (r == 0) {
		log_notice("heatbookd %s serves %s at port %d", HEATBOOK_VERSION,
			call->config->plant.name, http_port(d.http));
		notify_say("READY=1");
		run(&d);
		notify_say("STOPPING=1");
	}
	stop(&d);
	return r == 0 ? EXIT_DONE : EXIT_FAILED;
}
