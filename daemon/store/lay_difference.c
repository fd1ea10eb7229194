/*
 * A meter before another, whose electricity is taken off: `less`, where a register counts
 * one of them.
 *
 * Its rows hold what power alone makes of the difference, at every instant, and beside
 * it what the meter measures in all (g_…). Spans of its own register are laid over the
 * latter. What is behind has its rows already; so a minute's difference is that of two
 * minutes, where both are there for all of it. Where one is not, what power says stays,
 * and so it does where no register changed anything, as power knows it more exactly.
 *
 * A span that is spread evenly, since power knows nothing of the whole, is spread less
 * what is behind takes in it, where that is known for all of the span: its minutes then
 * do not mirror what is behind. In minutes that a span cuts, what is behind goes by time,
 * in cumulative shares, so that spans that follow each other take it off once.
 *
 * Spread and bridged parts are differences, too: a boundary that adds up both meters has
 * those of the whole.
 */
#include "lay.h"

#include <string.h>

int difference_prepare(struct layer *l)
{
	const struct config *config = l->s->config;
	int at = config->meters[l->quantity].less, rc = SQLITE_OK;

	for (; rc == SQLITE_OK && at >= 0; at = config->meters[at].less) {
		bool laid = config_is_laid(config, (size_t)at);
		struct buffer text = {0};
		sql_expand(config, laid ? SQL_DIFFERENCE_BEHIND : SQL_DIFFERENCE_PLAIN,
			config->meters[at].name, &text);
		rc = sqlite3_prepare_v3(l->s->db, buffer_text(&text), -1, 0,
			&l->behind[l->chain_count], NULL);
		l->chain[l->chain_count++] = (size_t)at;
		buffer_release(&text);
		if (config->meters[at].less < 0)
			break;
	}
	return rc == SQLITE_OK ? 0 : store_failed(l->s, rc, "meters behind another");
}

void difference_release(struct layer *l)
{
	for (size_t i = 0; i < l->chain_count; i++)
		(void)sqlite3_finalize(l->behind[i]); /* its error was answered */
}

static void add_behind(struct behind *to, sqlite3_stmt *row)
{
	int64_t ms = sqlite3_column_int64(row, 2), bridged_ms;
	to->j += sqlite3_column_int64(row, 1);
	to->spread_j += sqlite3_column_int64(row, 3);
	to->bridged_j += sqlite3_column_int64(row, 4);
	bridged_ms = sqlite3_column_int64(row, 5);
	if (bridged_ms > to->bridged_ms)
		to->bridged_ms = bridged_ms;
	to->laid |= sqlite3_column_int64(row, 6) > 0;
	to->members += ms + bridged_ms >= MS_PER_MIN;
}

/* Adds up the chain's minutes of [from, to), each into its own place. */
static int add_minutes(struct layer *l, int64_t from, int64_t to,
	void (*add)(struct layer *l, sqlite3_stmt *row, void *context), void *context)
{
	int rc = SQLITE_DONE;
	for (size_t i = 0; rc == SQLITE_DONE && i < l->chain_count; i++) {
		sqlite3_stmt *rows = l->behind[i];
		bind_int(rows, ":from_minute", from);
		bind_int(rows, ":to_minute", to);
		while ((rc = sqlite3_step(rows)) == SQLITE_ROW)
			add(l, rows, context);
		(void)sqlite3_reset(rows);
	}
	return rc == SQLITE_DONE ? 0 : store_failed(l->s, rc, "minutes");
}

static void add_to_minute(struct layer *l, sqlite3_stmt *row, void *context)
{
	(void)context;
	struct behind *b = &l->minutes[sqlite3_column_int64(row, 0) - l->from].behind;
	add_behind(b, row);
	l->any |= b->laid;
}

int difference_read(struct layer *l)
{
	return add_minutes(l, l->from, l->to, add_to_minute, NULL);
}

static void add_to_sum(struct layer *l, sqlite3_stmt *row, void *context)
{
	(void)l;
	add_behind(context, row);
}

int64_t difference_part(const struct behind *behind, int64_t from_ms, int64_t to_ms)
{
	return settlement_share(behind->j, to_ms, MS_PER_MIN) -
	       settlement_share(behind->j, from_ms, MS_PER_MIN);
}

/* The part of one minute. */
static int add_part(struct layer *l, int64_t minute, int64_t from_ms, int64_t to_ms,
	int64_t *j, size_t *members)
{
	struct behind at = {0};
	int r = add_minutes(l, minute, minute + 1, add_to_sum, &at);
	*j += difference_part(&at, from_ms, to_ms);
	*members += at.members;
	return r;
}

int difference_between(struct layer *l, int64_t begin_ms, int64_t end_ms, int64_t *ret_j,
	bool *ret_whole)
{
	int64_t first = floor_div(begin_ms, MS_PER_MIN);
	int64_t last = floor_div(end_ms - 1, MS_PER_MIN), j;
	int64_t from_ms = begin_ms - first * MS_PER_MIN;
	int64_t to_ms = end_ms - last * MS_PER_MIN;
	struct behind inner = {0};
	int r = 0;

	if (first == last) {
		j = 0;
		r = add_part(l, first, from_ms, to_ms, &j, &inner.members);
	} else {
		r = add_minutes(l, first + 1, last, add_to_sum, &inner);
		j = inner.j;
		if (r == 0)
			r = add_part(l, first, from_ms, MS_PER_MIN, &j, &inner.members);
		if (r == 0)
			r = add_part(l, last, 0, to_ms, &j, &inner.members);
	}
	*ret_j = j;
	*ret_whole = inner.members == l->chain_count * (size_t)(last - first + 1);
	return r;
}

/* By what power knows of the difference, or of the whole, or by time. */
static void divide(const struct layer *l, const struct minute_rows *rows, int64_t j,
	int64_t ret[MODE_COUNT])
{
	int64_t net_j[MODE_COUNT], gross_j[MODE_COUNT], time_ms[MODE_COUNT];
	int64_t net_ms = 0, net = 0, gross = 0;

	for (size_t i = 0; i < MODE_COUNT; i++) {
		net_j[i] = rows->slots[i].now.power_j;
		gross_j[i] = rows->slots[i].shape_j;
		net += llabs(net_j[i]);
		gross += llabs(gross_j[i]);
		net_ms += rows->slots[i].now.power_ms;
	}
	lay_time_weights(rows, time_ms);
	memset(ret, 0, MODE_COUNT * sizeof(*ret));
	if (l->immersion)
		ret[l->home] = j;
	else if (net_ms == MS_PER_MIN && net > 0)
		lay_divide_by_power(j, net_j, l->home, ret);
	else if (gross > 0)
		lay_divide_by_power(j, gross_j, l->home, ret);
	else
		lay_divide(j, time_ms, l->home, ret);
}

bool difference_book(const struct layer *l, const struct minute_rows *rows,
	int64_t whole_j, int64_t whole_ms, struct part_row ret[MODE_COUNT])
{
	const struct behind *b = &rows->behind;
	bool laid = rows->touched || b->laid;
	int64_t j[MODE_COUNT], ms[MODE_COUNT], spread[MODE_COUNT], time_ms[MODE_COUNT];
	int64_t bridged_ms =
		rows->bridged_ms > b->bridged_ms ? rows->bridged_ms : b->bridged_ms;

	if (!laid || whole_ms + rows->bridged_ms < MS_PER_MIN ||
		b->members < l->chain_count)
		return false;
	bool spreads = rows->spread_ms > 0 || b->spread_j != 0;
	divide(l, rows, whole_j - (b->j - rows->net_behind_j), j);
	lay_time_weights(rows, time_ms);
	if (l->immersion)
		memset(time_ms, 0, sizeof(time_ms)); /* all to its home */
	lay_divide(rows->spread_j - b->spread_j, time_ms, l->home, spread);
	lay_time_weights(rows, time_ms);
	lay_divide(MS_PER_MIN - bridged_ms, time_ms, MODE_UNASSIGNED, ms);
	for (size_t i = 0; i < MODE_COUNT; i++) {
		const struct part_row *p = &rows->slots[i].now;
		bool bridges = bridged_ms > 0 && i == (size_t)l->home;
		bool spread_here = spreads && (ms[i] > 0 || spread[i] != 0 || j[i] != 0);
		ret[i] = (struct part_row){.power_seen = p->power_seen,
			.power_j = p->power_j,
			.power_ms = p->power_ms,
			.seen = p->power_seen || ms[i] > 0 || j[i] != 0 || bridges ||
				spread_here,
			.j = j[i],
			.ms = ms[i],
			.is_spread = spread_here,
			.spread_j = spread[i],
			.is_bridged = bridges,
			.bridged_j = bridges ? rows->bridged_j - b->bridged_j : 0,
			.bridged_ms = bridges ? bridged_ms : 0};
		ret[i].changed = ret[i].seen;
	}
	return true;
}
