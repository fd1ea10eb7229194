/*
 * See rows.h. A row that covers an interval holds for just that, whatever limits its
 * channels have; any other holds to its channel's limit and as long as its table has more
 * rows, as a message does. The time in the row's text was read once, when its file was:
 * the record's stamp is what counts here.
 *
 * A register stands where it stands at the stamp, whatever the row covers: of an interval
 * it is one end. It is reported for as long as a row covers, and no longer than its limit
 * beyond: a logger may be late. An increment was counted in what the row covers.
 *
 * An empty cell, or a word for a missing value, is NOVALUE. A row that is cut short says
 * nothing of the cells that it lacks; one whose quotes do not close is BAD for all.
 */
#include "rows.h"

#include "cells.h"
#include "header.h"
#include "number_plain.h"

#include <heatbook/payload.h>

#include <math.h>

#define PLANS_MOST 64  /* headers kept at a time */
#define CELL_MOST  256 /* a longer one is no value */

/* A cell that feeds a channel. */
struct feed {
	uint32_t field;
	const struct table_column *column;
	bool at_stamp; /* a register that counts on, or from midnight */
	bool plain; /* a number that stands for itself but for scale, offset and unit */
	bool own;   /* and these leave it as it is */
	struct channel_config as; /* the channel, with the column's unit and mark */
};

struct plan {
	char *table, *head;
	size_t table_length, head_length;
	const struct table_config *config; /* NULL: no section has that name */
	char delimiter, mark;
	int64_t name_field, value_field; /* of a long table, else -1 */
	bool has_stamped;
	struct feed *feeds; /* by field */
	size_t feed_count;
};

struct rows {
	const struct config *config;
	struct plan plans[PLANS_MOST];
	size_t plan_count, last;
	unknown_word_visit *unknown; /* or NULL */
	void *unknown_context;
};

struct rows *rows_new(const struct config *config)
{
	struct rows *r = xcalloc(1, sizeof(*r));
	r->config = config;
	return r;
}

void rows_on_unknown_word(struct rows *r, unknown_word_visit *visit, void *context)
{
	r->unknown = visit;
	r->unknown_context = context;
}

static void plan_release(struct plan *p)
{
	free(p->table);
	free(p->head);
	free(p->feeds);
}

void rows_free(struct rows *r)
{
	if (!r)
		return;
	for (size_t i = 0; i < r->plan_count; i++)
		plan_release(&r->plans[i]);
	free(r);
}

/* ---- which cell feeds what ---- */

/* The field of the column that a section calls so; -1 where there is none. */
static int64_t field_of(const struct plan *p, const char *column)
{
	uint32_t field;
	bool found = p->head_length > 2 && header_name(p->head + 2, p->head_length - 2,
						   p->delimiter, column, &field) > 0;
	return found || header_number(column, &field) ? (int64_t)field : -1;
}

static void add_feed(struct rows *r, struct plan *p, const struct table_column *column)
{
	int64_t field = p->config->name_column ? 0 : field_of(p, column->column);
	if (field < 0)
		return;
	struct feed feed = {.field = (uint32_t)field,
		.column = column,
		.as = r->config->channels[column->channel]};
	feed.at_stamp = config_is_register(r->config, (size_t)column->channel) &&
			!config_is_increment(r->config, (size_t)column->channel);
	feed.as.decimal = DECIMAL_POINT;
	feed.as.thousands = false;
	if (column->unit) {
		feed.as.unit = column->unit;
		feed.as.scale = 1.0;
		feed.as.offset = 0.0;
		feed.as.integer_bits = 0;
	}
	feed.plain = feed.as.map_count == 0 && feed.as.state_count == 0 &&
		     feed.as.integer_bits == 0 && feed.as.unit &&
		     feed.as.unit->dimension == feed.as.dimension;
	feed.own = feed.plain && feed.as.scale == 1.0 && feed.as.offset == 0.0 &&
		   unit_is_own(feed.as.unit);
	p->has_stamped |= feed.at_stamp;
	size_t at = p->feed_count++;
	p->feeds = xrealloc(p->feeds, p->feed_count, sizeof(*p->feeds));
	for (; at > 0 && p->feeds[at - 1].field > feed.field; at--)
		p->feeds[at] = p->feeds[at - 1];
	p->feeds[at] = feed;
}

static void make_plan(struct rows *r, struct plan *p, const struct record *row)
{
	*p = (struct plan){.table = xstrndup(row->topic, row->topic_length),
		.table_length = row->topic_length,
		.head = xmalloc(row->head_length),
		.head_length = row->head_length,
		.name_field = -1,
		.value_field = -1};
	memcpy(p->head, row->head, row->head_length);
	for (size_t i = 0; i < r->config->table_count; i++)
		if (strlen(r->config->tables[i].name) == row->topic_length &&
			memcmp(r->config->tables[i].name, row->topic,
				row->topic_length) == 0)
			p->config = &r->config->tables[i];
	if (!p->config || row->head_length < 2)
		return;
	p->delimiter = row->head[0];
	p->mark = row->head[1];
	if (p->config->name_column) {
		p->name_field = field_of(p, p->config->name_column);
		p->value_field = field_of(p, p->config->value_column);
	}
	for (size_t i = 0; i < p->config->column_count; i++)
		add_feed(r, p, &p->config->columns[i]);
}

static bool is_plan_of(const struct plan *p, const struct record *row)
{
	return p->table_length == row->topic_length &&
	       p->head_length == row->head_length &&
	       memcmp(p->table, row->topic, row->topic_length) == 0 &&
	       memcmp(p->head, row->head, row->head_length) == 0;
}

static const struct plan *plan_of(struct rows *r, const struct record *row)
{
	if (r->last < r->plan_count && is_plan_of(&r->plans[r->last], row))
		return &r->plans[r->last];
	for (size_t i = 0; i < r->plan_count; i++)
		if (is_plan_of(&r->plans[i], row)) {
			r->last = i;
			return &r->plans[i];
		}
	r->last =
		r->plan_count < PLANS_MOST ? r->plan_count++ : (r->last + 1) % PLANS_MOST;
	plan_release(&r->plans[r->last]);
	make_plan(r, &r->plans[r->last], row);
	return &r->plans[r->last];
}

/* ---- cells ---- */

struct row_reader {
	struct rows *rows;
	const struct plan *plan;
	const struct record *row;
	struct bad_counts *bad;
	struct readings *out;
	struct reading reading; /* what all of the row have in common */
	int64_t begin_ms, covered_ms;
};

static bool is_missing_number(const struct table_config *table, double number)
{
	for (size_t i = 0; i < table->missing_number_count; i++)
		if (table->missing_numbers[i] == number)
			return true;
	return false;
}

static bool is_missing_word(
	const struct table_config *table, const char *text, size_t length)
{
	char folded[CELL_MOST];
	memcpy(folded, text, length);
	text_fold(folded, length);
	for (size_t i = 0; i < table->missing_word_count; i++)
		if (strlen(table->missing_words[i]) == length &&
			memcmp(table->missing_words[i], folded, length) == 0)
			return true;
	return false;
}

static struct word word_of_text(
	const struct row_reader *r, const struct feed *feed, const struct cell *cell)
{
	const struct table_config *table = r->plan->config;
	const struct word novalue = {.kind = READING_NOVALUE, .value = NAN};
	char text[CELL_MOST], *comma;
	double number;

	if (cell->length >= sizeof(text))
		return (struct word){READING_BAD, BAD_TOO_LONG, NAN};
	size_t length = cell_plain(cell, text);
	if (length == 0 || is_missing_word(table, text, length))
		return novalue;
	if (r->plan->mark == ',' && feed->as.map_count == 0) {
		comma = memchr(text, ',', length);
		if (memchr(text, '.', length))
			return (struct word){READING_BAD, BAD_SEPARATOR, NAN};
		if (comma)
			*comma = '.';
	}
	if (number_parse(text, length, &number) == 0 && is_missing_number(table, number))
		return novalue;
	return payload_text(r->rows->config, &feed->as, text, length);
}

/* Of a cell that holds just that number. */
static struct word word_of_number(const struct row_reader *r, const struct feed *feed,
	const struct cell *cell, double number)
{
	const struct channel_config *as = &feed->as;
	if (as->map_count > 0 || is_missing_number(r->plan->config, number))
		return word_of_text(r, feed, cell);
	if (!feed->plain)
		return payload_number(as, number);
	/* The same without the questions whose answers the plan knows. */
	double own = feed->own ? number
			       : unit_to_own(as->unit, number * as->scale + as->offset);
	own += 0.0; /* no zero has a sign */
	if (isfinite(own) && own >= as->valid_least && own <= as->valid_most &&
		!payload_may_be_fault(as, number, own))
		return (struct word){READING_VALUE, BAD_NONE, own};
	return payload_number(as, number);
}

static struct word word_of(
	const struct row_reader *r, const struct feed *feed, const struct cell *cell)
{
	double number;
	if (cell->quoted || cell->length == 0 ||
		number_parse(cell->text, cell->length, &number) != 0)
		return word_of_text(r, feed, cell);
	return word_of_number(r, feed, cell, number);
}

static uint32_t as_exact(int64_t ms)
{
	return (uint32_t)(ms < (int64_t)UINT32_MAX ? ms : UINT32_MAX);
}

/* 0: to the limits of its channel and its table. */
static uint32_t exact_ms(const struct row_reader *r, const struct feed *feed)
{
	int64_t stale_ms = feed->as.stale_after_ms;
	if (!feed->at_stamp || r->covered_ms == 0)
		return as_exact(r->covered_ms);
	return stale_ms < 0 ? UINT32_MAX : as_exact(r->covered_ms + stale_ms);
}

static void add_word(struct row_reader *r, const struct feed *feed, struct word word,
	const char *sample, size_t length)
{
	r->reading.channel = (uint16_t)feed->column->channel;
	r->reading.t_ms = feed->at_stamp ? r->row->t_ms : r->begin_ms;
	r->reading.exact_ms = exact_ms(r, feed);
	r->reading.kind = (uint8_t)word.kind;
	r->reading.reason = (uint8_t)word.reason;
	r->reading.value = word.value;
	readings_add(r->out, &r->reading);
	if (word.kind == READING_BAD)
		bad_counts_add(r->bad, r->row, word.reason, sample, length);
	if (r->rows->unknown && word_is_unknown(&feed->as, word))
		r->rows->unknown(r->reading.channel, r->reading.t_ms, sample, length,
			r->rows->unknown_context);
}

/* ---- rows ---- */

/* The next cell if it is a plain number alone, which most are. */
static inline bool plain_cell(struct cells *c, struct cell *ret, double *ret_number)
{
	size_t length = number_plain(c->at, c->end, ret_number);
	const char *end = c->at + length;
	if (length == 0 || (end < c->end && *end != c->delimiter))
		return false;
	*ret = (struct cell){c->at, length, false};
	cells_end(c, end);
	return true;
}

/* False when the row is broken. */
static bool read_wide(struct row_reader *r)
{
	struct cells cells = cells_of((const char *)r->row->payload,
		r->row->payload_length, r->plan->delimiter);
	const struct feed *feed = r->plan->feeds, *end = feed + r->plan->feed_count;
	struct cell cell;

	for (uint32_t field = 0; feed < end && cells.at; field++) {
		double number;
		bool plain = feed->field == field && plain_cell(&cells, &cell, &number);
		if (!plain)
			(void)cells_next(&cells, &cell); /* there is one */
		for (; feed < end && feed->field == field; feed++)
			add_word(r, feed,
				plain ? word_of_number(r, feed, &cell, number)
				      : word_of(r, feed, &cell),
				cell.text, cell.length);
	}
	return !cells.broken;
}

static bool read_long(struct row_reader *r)
{
	struct cells cells = cells_of((const char *)r->row->payload,
		r->row->payload_length, r->plan->delimiter);
	struct cell cell, value = {0}, name = {0};
	char plain[CELL_MOST];

	for (int64_t field = 0; cells_next(&cells, &cell); field++) {
		if (field == r->plan->name_field)
			name = cell;
		if (field == r->plan->value_field)
			value = cell;
	}
	if (cells.broken)
		return false;
	if (!name.text || !value.text || name.length >= sizeof(plain))
		return true;
	size_t length = cell_plain(&name, plain);
	for (size_t i = 0; i < r->plan->feed_count; i++) {
		const struct feed *feed = &r->plan->feeds[i];
		if (strlen(feed->column->column) == length &&
			memcmp(feed->column->column, plain, length) == 0)
			add_word(r, feed, word_of(r, feed, &value), value.text,
				value.length);
	}
	return true;
}

static int64_t covered_ms(const struct table_config *table, const struct record *row)
{
	return row->number[0] ? row->number[0] : table->interval_ms;
}

static int64_t begin_ms(const struct table_config *table, const struct record *row)
{
	return row->t_ms - (table->covers_before ? covered_ms(table, row) : 0);
}

/* Where a row gives no reading it still tells that its table goes on. */
static void read_row(struct row_reader *r)
{
	const struct table_config *table = r->plan->config;
	size_t before = r->out->count;

	r->begin_ms = begin_ms(table, r->row);
	r->covered_ms = covered_ms(table, r->row);
	bool whole = table->name_column ? read_long(r) : read_wide(r);
	if (!whole) {
		const struct word broken = {READING_BAD, BAD_STRUCTURE, NAN};
		r->out->count = before;
		for (size_t i = 0; i < r->plan->feed_count; i++)
			add_word(r, &r->plan->feeds[i], broken,
				(const char *)r->row->payload, r->row->payload_length);
	}
	if (r->out->count > before)
		return;
	r->reading.t_ms = r->begin_ms;
	r->reading.exact_ms = as_exact(r->covered_ms);
	r->reading.kind = READING_ALIVE;
	r->reading.reason = BAD_NONE;
	r->reading.channel = (uint16_t)table->source;
	r->reading.value = NAN;
	readings_add(r->out, &r->reading);
}

/* Readings are at a row's stamp or where what it covers begins. */
static bool is_outside(
	const struct plan *p, const struct record *row, int64_t from_ms, int64_t to_ms)
{
	int64_t begin = begin_ms(p->config, row);
	return (begin < from_ms || begin >= to_ms) &&
	       (!p->has_stamped || row->t_ms < from_ms || row->t_ms >= to_ms);
}

bool rows_decode(struct rows *rows, const unsigned char *frame,
	const struct record *block, int64_t from_ms, int64_t to_ms, struct readings *out,
	struct bad_counts *bad)
{
	struct row_cursor cursor = table_rows(frame, block);
	struct row_reader r = {.rows = rows, .bad = bad, .out = out};
	struct record row;

	while (rows_next(&cursor, &row, &r.reading.place)) {
		if (!r.plan)
			r.plan = plan_of(rows, &row);
		if (!r.plan->config || is_outside(r.plan, &row, from_ms, to_ms))
			continue;
		r.row = &row;
		r.reading.frame = frame;
		r.reading.table = (uint8_t)(1 + r.plan->config->source);
		read_row(&r);
	}
	return !cursor.broken;
}

bool rows_span(struct rows *rows, const struct record *row, int64_t *ret_first_ms,
	int64_t *ret_last_ms)
{
	const struct plan *plan = plan_of(rows, row);
	*ret_first_ms = *ret_last_ms = row->t_ms;
	if (!plan->config)
		return false;
	*ret_first_ms = begin_ms(plan->config, row);
	if (!plan->has_stamped)
		*ret_last_ms = *ret_first_ms;
	return true;
}
