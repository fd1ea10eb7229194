/*
 * From a day's minutes to what they cost and emitted. See cost.h; pure.
 *
 * A minute has one price, whatever takes its electricity. Where the site's import is
 * metered its electricity is bought in part and own in part, and so is the plant's: with
 * generation metered all that is used is own and bought in one proportion; without it the
 * rest of the house is taken to be there already, so that the plant's is bought as far as
 * anything is. Own electricity costs what feeding it in would have earned.
 *
 * Of a minute of which price, or import, is not known nothing is priced.
 */
#include <heatbook/cost.h>

#include <heatbook/calendar.h>

#include <math.h>
#include <string.h>

/* Grows when the same minutes come to other facts. */
#define COST_FORM 1

#define ROWS_A_MINUTE MODE_COUNT

struct cost_minute {
	int64_t minute;
	size_t rows;
	struct {
		int mode;
		int64_t known;
		double heat_j;
		bool heat_known;
		double meter_j[METERS_MOST], bridged_j[METERS_MOST];
	} row[ROWS_A_MINUTE];
};

/* What a joule is worth in a minute. */
struct worth {
	double own; /* share */
	double bought_price, own_price;
	double bought_g, own_g; /* a kWh */
};

void cost_sum_add(struct cost_sum *sum, const struct cost_sum *part)
{
	sum->priced_j += part->priced_j;
	sum->cost += part->cost;
	sum->own_j += part->own_j;
	sum->own_cost += part->own_cost;
	sum->carbon_j += part->carbon_j;
	sum->carbon_g += part->carbon_g;
}

struct cost_sum cost_whole(const struct cost_sum modes[static MODE_COUNT])
{
	struct cost_sum whole = {0};
	for (int m = 0; m < MODE_COUNT; m++)
		if (m != MODE_COOLING)
			cost_sum_add(&whole, &modes[m]);
	return whole;
}

void cost_facts_release(struct cost_facts *facts)
{
	free(facts->items);
	*facts = (struct cost_facts){0};
}

/* ---- what is in force ---- */

static void add_channel(struct buffer *b, const struct config *config, int channel)
{
	buffer_addf(b, " %s", channel < 0 ? "-" : config->channels[channel].name);
}

/* One text of all that decides a day's facts beside its rows. */
static uint64_t digest_of(const struct config *config, const struct tariff_config *t,
	const struct carbon_config *c)
{
	const struct site_config *site = &config->cost->site;
	struct buffer b = {0};
	buffer_addf(&b, "%d", COST_FORM);
	for (int m = 0, last = -1; t && m < WEEK_MIN; m++) {
		if (last >= 0 && t->week[m] == t->week[last])
			continue;
		buffer_addf(&b, " %d %a", m, tariff_price(t, m));
		last = m;
	}
	if (t) {
		buffer_addf(&b, " feed %a", t->feed_in);
		add_channel(&b, config, t->price_channel);
	}
	if (c) {
		buffer_addf(&b, " carbon %a %a", c->intensity_g, c->own_g);
		add_channel(&b, config, c->intensity_channel);
	}
	add_channel(&b, config, site->import_channel);
	add_channel(&b, config, site->export_channel);
	add_channel(&b, config, site->generation_channel);
	uint64_t digest = digest64(0, b.data, b.length);
	buffer_release(&b);
	return digest ? digest : 1;
}

uint64_t cost_digest_after(
	struct cost_in_force *last, const struct config *config, int64_t start_ms)
{
	const struct tariff_config *t = tariff_at(config, start_ms);
	const struct carbon_config *c = carbon_at(config, start_ms);
	if (!t && !c)
		return 0;
	if (last->digest == 0 || last->tariff != t || last->carbon != c)
		*last = (struct cost_in_force){t, c, digest_of(config, t, c)};
	return last->digest;
}

uint64_t cost_digest(const struct config *config, int64_t start_ms)
{
	struct cost_in_force none = {0};
	return cost_digest_after(&none, config, start_ms);
}

/* ---- the day ---- */

#define QUARTER_MIN 15 /* offsets of zones change at a quarter of an hour, if at all */

/* Minute of the local week of each; within a quarter of an hour no clock is put. */
static void lay_week(struct cost_day *day)
{
	int week_min = 0;
	for (int64_t m = day->start_min; m < day->end_min; m++, week_min++) {
		if (m == day->start_min || m % QUARTER_MIN == 0) {
			char text[32];
			struct date date = calendar_date(m * MS_PER_MIN);
			time_text_local(m * MS_PER_MIN, text);
			week_min = (calendar_weekday(date) - 1) * (int)MIN_PER_DAY +
				   60 * (10 * (text[11] - '0') + text[12] - '0') +
				   10 * (text[14] - '0') + text[15] - '0';
		}
		day->week_min[m - day->start_min] = (int16_t)week_min;
	}
}

static void lay_channels(struct cost_day *day)
{
	const struct site_config *site = &day->config->cost->site;
	size_t count = (size_t)(day->end_min - day->start_min);
	day->channels[COST_PRICE] = day->tariff ? day->tariff->price_channel : -1;
	day->channels[COST_INTENSITY] = day->carbon ? day->carbon->intensity_channel : -1;
	day->channels[COST_IMPORT] = site->import_channel;
	day->channels[COST_EXPORT] = site->export_channel;
	day->channels[COST_GENERATION] = site->generation_channel;
	for (size_t c = 0; c < COST_CHANNELS; c++) {
		if (day->channels[c] < 0)
			continue;
		day->values[c] = xmalloc((count + 1) * sizeof(double));
		for (size_t i = 0; i < count; i++)
			day->values[c][i] = (double)NAN;
	}
}

void cost_day_begin(struct cost_day *day, const struct config *config, int64_t start_min,
	int64_t end_min)
{
	*day = (struct cost_day){.config = config,
		.tariff = tariff_at(config, start_min * MS_PER_MIN),
		.carbon = carbon_at(config, start_min * MS_PER_MIN),
		.start_min = start_min,
		.end_min = end_min};
	day->week_min =
		xcalloc((size_t)(end_min - start_min) + 1, sizeof(*day->week_min));
	day->minute = xcalloc(1, sizeof(*day->minute));
	lay_week(day);
	lay_channels(day);
}

static double value_at(const struct cost_day *day, enum cost_channel channel, size_t at)
{
	return day->values[channel] ? day->values[channel][at] : (double)NAN;
}

/* Share of own generation in what the plant takes, NaN where it is not known. */
static double own_share(const struct cost_day *day, size_t at, double plant_j)
{
	if (!site_splits(&day->config->cost->site))
		return 0.0;
	double import_w = value_at(day, COST_IMPORT, at);
	double bought_j = fmax(import_w, 0.0) * 60.0; /* fmax() would take NaN for less */
	if (isnan(import_w))
		return (double)NAN;
	if (!day->values[COST_GENERATION])
		return plant_j > bought_j ? 1.0 - bought_j / plant_j : 0.0;
	double export_w = day->values[COST_EXPORT] ? value_at(day, COST_EXPORT, at)
						   : fmax(-import_w, 0.0);
	double used_j = 60.0 * (value_at(day, COST_GENERATION, at) - export_w);
	if (isnan(used_j))
		return (double)NAN;
	used_j = fmax(used_j, 0.0);
	return bought_j + used_j > 0.0 ? used_j / (bought_j + used_j) : 0.0;
}

static struct worth worth_of(const struct cost_day *day, size_t at, double plant_j)
{
	const struct tariff_config *t = day->tariff;
	const struct carbon_config *c = day->carbon;
	struct worth w = {.own = own_share(day, at, plant_j)};
	w.bought_price = !t                      ? (double)NAN
			 : t->price_channel >= 0 ? value_at(day, COST_PRICE, at)
						 : tariff_price(t, day->week_min[at]);
	w.own_price = t && isfinite(t->feed_in) ? t->feed_in : 0.0;
	w.bought_g = !c                          ? (double)NAN
		     : c->intensity_channel >= 0 ? value_at(day, COST_INTENSITY, at)
						 : c->intensity_g;
	w.own_g = c ? c->own_g : (double)NAN;
	return w;
}

/* What so much of the minute's electricity came to. */
static struct cost_sum sum_of(double j, const struct worth *w)
{
	double bought_kwh = j * (1.0 - w->own) / J_PER_KWH,
	       own_kwh = j * w->own / J_PER_KWH;
	double cost = bought_kwh * w->bought_price + own_kwh * w->own_price;
	double carbon_g = bought_kwh * w->bought_g + own_kwh * w->own_g;
	struct cost_sum sum = {0};
	if (isfinite(cost)) {
		sum.priced_j = j;
		sum.cost = cost;
		sum.own_j = j * w->own;
		sum.own_cost = own_kwh * w->own_price;
	}
	if (isfinite(carbon_g)) {
		sum.carbon_j = j;
		sum.carbon_g = carbon_g;
	}
	return sum;
}

static struct cost_fact *fact_of(struct cost_day *day, int meter, int mode, int64_t known)
{
	struct cost_facts *facts = &day->facts;
	for (size_t i = 0; i < facts->count; i++) {
		size_t at = (day->last + i) % facts->count;
		struct cost_fact *fact = &facts->items[at];
		if (fact->meter != meter || fact->mode != mode || fact->known != known)
			continue;
		day->last = at;
		return fact;
	}
	if (facts->count == facts->room) {
		facts->room = facts->room ? 2 * facts->room : 16;
		facts->items = xrealloc(facts->items, facts->room, sizeof(*facts->items));
	}
	day->last = facts->count;
	facts->items[facts->count] =
		(struct cost_fact){.meter = meter, .mode = mode, .known = known};
	return &facts->items[facts->count++];
}

static void take_bridged(struct cost_day *day, size_t at, const struct worth *w)
{
	const struct cost_minute *minute = day->minute;
	bool first = at == 0, last = at + 1 == (size_t)(day->end_min - day->start_min);
	for (size_t m = 0; m < day->config->meter_count; m++) {
		struct cost_bridge *bridge = &day->facts.bridges[m];
		double j = 0.0;
		for (size_t i = 0; i < minute->rows; i++)
			j += minute->row[i].bridged_j[m];
		struct cost_sum sum = sum_of(j, w);
		if (j == 0.0 || sum.priced_j == 0.0)
			continue;
		double price = sum.cost / (j / J_PER_KWH);
		bool begun = bridge->j != 0.0;
		bridge->least = begun ? fmin(bridge->least, price) : price;
		bridge->most = begun ? fmax(bridge->most, price) : price;
		bridge->j += j;
		bridge->cost += sum.cost;
		bridge->at_start |= first;
		bridge->at_end |= last;
	}
}

/* Books the minute whose rows are all there. */
static void minute_end(struct cost_day *day)
{
	struct cost_minute *minute = day->minute;
	size_t at = (size_t)(minute->minute - day->start_min);
	double plant_j = 0.0;
	for (size_t i = 0; i < minute->rows; i++)
		for (size_t m = 0; m < day->config->meter_count; m++)
			plant_j += minute->row[i].meter_j[m];
	struct worth w = worth_of(day, at, plant_j);
	const struct cost_sum joule = sum_of(1.0, &w);
	bool priced = joule.priced_j > 0.0, emits = joule.carbon_j > 0.0;
	for (size_t i = 0; i < minute->rows; i++) {
		int mode = minute->row[i].mode;
		int64_t known = minute->row[i].known;
		for (size_t m = 0; m < day->config->meter_count; m++) {
			double j = minute->row[i].meter_j[m];
			struct cost_sum sum = sum_of(j, &w);
			if (j != 0.0 && (priced || emits))
				cost_sum_add(
					&fact_of(day, (int)m, mode, known)->sum, &sum);
		}
		if (!minute->row[i].heat_known || !(priced || emits))
			continue;
		struct cost_sum heat = {.priced_j = priced ? minute->row[i].heat_j : 0.0,
			.carbon_j = emits ? minute->row[i].heat_j : 0.0};
		cost_sum_add(&fact_of(day, COST_HEAT, mode, known)->sum, &heat);
	}
	take_bridged(day, at, &w);
	minute->rows = 0;
}

void cost_day_take(int64_t minute, int mode, int64_t known, const struct energy_sum *sum,
	void *context)
{
	struct cost_day *day = context;
	struct cost_minute *m = day->minute;
	if (m->rows > 0 && (m->minute != minute || m->rows == ROWS_A_MINUTE))
		minute_end(day);
	m->minute = minute;
	size_t at = m->rows++;
	m->row[at].mode = mode;
	m->row[at].known = known;
	m->row[at].heat_j = (double)sum->heat_j;
	m->row[at].heat_known = sum->heat_ms > 0;
	for (size_t i = 0; i < day->config->meter_count; i++) {
		m->row[at].meter_j[i] = (double)sum->meter_j[i];
		m->row[at].bridged_j[i] = (double)sum->meter_bridged_j[i];
	}
}

void cost_day_end(struct cost_day *day, struct cost_facts *ret)
{
	if (day->minute->rows > 0)
		minute_end(day);
	*ret = day->facts;
	for (size_t c = 0; c < COST_CHANNELS; c++)
		free(day->values[c]);
	free(day->week_min);
	free(day->minute);
	*day = (struct cost_day){0};
}
