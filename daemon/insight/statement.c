/*
 * See statement.h. The thin part that asks the store: sums of the span at each boundary,
 * the weather of its days, what evidence says of flow temperatures, findings.
 */
#include <heatbook/statement.h>

#include <heatbook/budget.h>
#include <heatbook/evidence.h>
#include <heatbook/insight_days.h>
#include <heatbook/run_ask.h>

#include <math.h>

#define DAYS_MOST 48000 /* of 1970 to 2099 */

const char *statement_caution(const struct statement *s, size_t i)
{
	static const char *const cautions[] = {
		"Not billing grade, unless every meter in the chain is approved.",
		"Opening a heat pump exposes mains voltage and refrigerant: isolate it "
		"first; work for qualified and certified people; local codes rule; the "
		"warranty may end.",
		"How hot stored water must be is a question of health and of scalding: "
		"this reports temperatures, and never advises to change them.",
		"Sensors strapped to a pipe are outside EN 1434.",
	};
	const size_t strapped_last = ARRAY_LEN(cautions) - 1;
	bool strapped = false;
	for (size_t c = 0; c < s->config.channel_count; c++)
		strapped = strapped || s->config.channels[c].strapped;
	return i < strapped_last + strapped ? cautions[i] : NULL;
}

bool statement_names_sensor(enum role role)
{
	return role == ROLE_FLOW_TEMPERATURE || role == ROLE_RETURN_TEMPERATURE ||
	       role == ROLE_FLOW_RATE || role == ROLE_OUTDOOR_TEMPERATURE;
}

const char *statement_heat_source(const struct config *config)
{
	static const char *const words[] = {"computed", "power", "register"};
	return words[config->plant.heat_source];
}

double statement_heat_percent(const struct config *config)
{
	const struct plant_config *p = &config->plant;
	bool whole = p->heat_source != HEAT_COMPUTED && p->calculator_limit.k == 0.0;
	return whole ? p->source_limit_percent : (double)NAN;
}

const char *statement_read_by(const struct meter_config *meter)
{
	bool counted = meter->counted.counts;
	return counted && meter->power_count ? "power and register"
	       : counted                     ? "register"
					     : "power";
}

static struct question question_of(
	const struct statement *s, const struct boundary *boundary)
{
	return (struct question){.config = &s->config, .boundary = *boundary};
}

/* Half-widths of the totals at a boundary. */
static void add_widths(const struct energy_bucket *sums, const struct question *q,
	double *ret_heat_j, double *ret_electricity_j)
{
	const struct energy_sum sum = figures_sum(sums);
	struct evenly evenly = figures_evenly(sums, MODES_OF_WHOLE, q);
	double timing_j[COUNTED_MOST];
	figures_timing(sums, -1, false, timing_j);
	struct uncertainty u = budget_whole(&sum, timing_j, &evenly, q);
	*ret_heat_j = u.heat_expanded_j;
	*ret_electricity_j = u.electricity_expanded_j;
}

static int ask_sums(struct store *store, struct statement *s)
{
	const int64_t edges[] = {s->from_ms, s->to_ms};
	struct question q = question_of(s, &s->boundary);
	struct energy_answer answer;
	int r = query_energy(store, edges, 1, &s->boundary, &answer);
	if (r != 0)
		return r;
	s->version = answer.version;
	s->older = answer.older;
	s->sums = xcalloc(1, sizeof(*s->sums));
	*s->sums = answer.total;
	energy_answer_release(&answer);
	s->whole = figures_whole(s->sums, &q);
	for (int m = 0; m < MODE_COUNT; m++)
		s->modes[m] = figures_mode(s->sums, m, &q);
	add_widths(s->sums, &q, &s->heat_u_j, &s->electricity_u_j);
	s->largest_term = figures_largest_term(s->sums, &q);
	const struct energy_sum sum = figures_sum(s->sums);
	for (size_t m = 0; m < s->config.meter_count; m++)
		s->meters[m] =
			(struct cell){sum.meter_ms[m] > 0 || sum.meter_bridged_ms[m] > 0,
				kwh_of(sum.meter_j[m])};
	return 0;
}

static int ask_offers(struct store *store, struct statement *s)
{
	const int64_t edges[] = {s->from_ms, s->to_ms};
	struct boundary list[BOUNDARIES_MOST];
	size_t count = s->boundary.name[0] ? boundary_list(&s->config, list) : 0;
	for (size_t i = 0; i < count; i++) {
		struct statement_offer *offer = &s->offers[i];
		struct question q = question_of(s, &list[i]);
		struct energy_answer answer;
		int r = query_energy(store, edges, 1, &list[i], &answer);
		if (r != 0)
			return r;
		offer->boundary = list[i];
		offer->whole = figures_whole(&answer.total, &q);
		add_widths(&answer.total, &q, &offer->heat_u_j, &offer->electricity_u_j);
		energy_answer_release(&answer);
		s->offer_count++;
	}
	return 0;
}

/* They are the least of it: where they take too long, it goes without them. */
static int ask_weather(struct store *store, struct statement *s, const int64_t *edges_ms,
	size_t count, bool patient)
{
	int channel = config_role(&s->config, ROLE_OUTDOOR_TEMPERATURE);
	double base_c = s->config.plant.degree_base_c;
	struct outdoor_answer answer;
	s->has_outdoor = channel >= 0;
	if (!s->has_outdoor)
		return 0;
	int r = patient ? query_outdoor_long(
				  store, channel, base_c, edges_ms, count, &answer)
			: query_outdoor(store, channel, base_c, edges_ms, count, &answer);
	if (r != 0)
		return r == QUERY_TOO_SLOW ? 0 : r;
	if (s->open)
		answer.days[count - 1].known_ms = 0;
	for (size_t i = 0; i < count; i++)
		degree_sum_add(&s->degrees, base_c, &answer.days[i]);
	outdoor_answer_release(&answer);
	return 0;
}

/* EVIDENCE_EFFICIENCY has, weighted by the heat of its minutes, the lift over outdoors
 * and the outdoor temperature: their sum is the flow's. */
static void take_flow(struct statement *s, const struct evidence *item)
{
	if (item->kind != EVIDENCE_EFFICIENCY)
		return;
	struct statement_flow *flow =
		&s->flow[item->subject == MODE_HOT_WATER ? SERVICE_HOT_WATER
							 : SERVICE_HEATING];
	flow->heat_j += item->values[0];
	flow->weighted_j += item->values[0] * (item->values[3] + item->values[5]);
}

/* Days by their first instants, and whether what their minutes say is kept. */
struct flow_days {
	struct statement *statement;
	const int64_t *edges_ms;
	size_t count, at;
	bool *kept;
};

static void take_kept(int64_t start_min, const struct evidence *item, void *context)
{
	struct flow_days *days = context;
	while (days->at < days->count &&
		days->edges_ms[days->at] < start_min * MS_PER_MIN)
		days->at++;
	if (days->at < days->count && days->edges_ms[days->at] == start_min * MS_PER_MIN)
		days->kept[days->at] = true;
	take_flow(days->statement, item);
}

/* Of what is kept, and of some more days that are looked at now, the last ones first. */
static int ask_flow(struct store *store, struct statement *s, const int64_t *edges_ms,
	size_t count, size_t budget)
{
	struct flow_days days = {.statement = s, .edges_ms = edges_ms, .count = count};
	days.kept = xcalloc(count + 1, sizeof(*days.kept));
	int r = store_evidence(store, edges_ms[0] / MS_PER_MIN,
		edges_ms[count] / MS_PER_MIN, take_kept, &days);
	for (size_t i = count; r == 0 && i-- > 0 && budget > 0;) {
		struct evidence_list list = {0};
		bool looked = false;
		if (days.kept[i])
			continue;
		r = evidence_look(store, edges_ms[i] / MS_PER_MIN,
			edges_ms[i + 1] / MS_PER_MIN, &list, &looked);
		for (size_t k = 0; k < list.count; k++)
			take_flow(s, &list.items[k]);
		evidence_release(&list);
		budget--;
	}
	free(days.kept);
	return r;
}

static int ask_days(
	struct store *store, struct statement *s, const struct statement_asked *asked)
{
	static const struct duration day = {.days = 1};
	int64_t *edges = NULL;
	size_t count;
	int r = query_buckets(s->from_ms, s->to_ms, &day, DAYS_MOST, &edges, &count);
	if (r != 0)
		return r;
	s->days = (int64_t)count;
	r = ask_weather(store, s, edges, count, asked->patient);
	if (r == 0)
		r = ask_flow(store, s, edges, count, asked->budget);
	free(edges);
	return r;
}

static void count_run(const struct plant_run *run, void *context)
{
	struct statement *s = context;
	if (run->kind != RUN_COMPRESSOR || !run->begin_truncated)
		s->runs[run->kind]++;
}

static int ask_runs(struct store *store, struct statement *s)
{
	int64_t version;
	struct older_days older;
	int r = 0;
	for (int kind = RUN_COMPRESSOR; r == 0 && kind <= RUN_HOT_WATER; kind++) {
		const struct runs_asked asked = {.kind = (enum run_kind)kind,
			.from_ms = s->from_ms,
			.to_ms = s->to_ms,
			.visit = count_run,
			.context = s};
		r = runs_ask(store, &asked, &version, &older);
	}
	s->has_runs = r == 0;
	return r == QUERY_TOO_SLOW ? 0 : r;
}

int statement_ask(
	struct store *store, const struct statement_asked *asked, struct statement *ret)
{
	int64_t first, last;
	*ret = (struct statement){.config = *asked->config,
		.from_ms = asked->from_ms,
		.to_ms = asked->to_ms,
		.open = asked->open,
		.boundary = asked->boundary,
		.schema = store_schema(store)};
	(void)snprintf(ret->zone, sizeof(ret->zone), "%s", asked->config->plant.zone);
	(void)snprintf(ret->no_boundary, sizeof(ret->no_boundary), "%s",
		asked->no_boundary ? asked->no_boundary : "");
	int r = ask_sums(store, ret);
	if (r == 0)
		r = ask_offers(store, ret);
	if (r == 0)
		r = ask_days(store, ret, asked);
	if (r == 0)
		r = ask_runs(store, ret);
	if (r == 0)
		r = findings_ask(
			store, ret->from_ms, ret->to_ms, asked->budget, &ret->findings);
	if (r == 0)
		r = store_sealed_days(store, floor_div(ret->from_ms, MS_PER_DAY),
			floor_div(ret->to_ms - 1, MS_PER_DAY) + 1, &ret->sealed_days,
			&first, &last);
	if (r != 0)
		return r;
	statement_answer(ret);
	if (asked->anonymous)
		statement_make_anonymous(ret);
	return 0;
}

static void release_names(struct statement *s)
{
	if (!s->anonymous)
		return;
	for (size_t i = 0; i < s->config.meter_count; i++)
		free(s->config.meters[i].name);
	for (size_t i = 0; i < s->config.channel_count; i++)
		free(s->config.channels[i].name);
	for (size_t i = 0; i < s->config.correction_count; i++)
		free(s->config.corrections[i].name);
	free(s->config.meters);
	free(s->config.channels);
	free(s->config.corrections);
}

void statement_release(struct statement *statement)
{
	release_names(statement);
	free(statement->sums);
	findings_ask_release(&statement->findings);
	insight_release(&statement->answer);
}
