/*
 * See flag_lag.h. Rules are asked as where no flag is configured (rules.c), and each of
 * their beginnings looks for the flag's nearest one that no other has.
 */
#include <heatbook/flag_lag.h>

#include <math.h>
#include <string.h>

struct minutes {
	int64_t *items;
	size_t count, room;
};

struct side {
	enum flag now;
	struct minutes begun;
};

struct flag_lags {
	struct rules rules;
	struct side by_flag[LAG_KINDS], by_rule[LAG_KINDS];
	int64_t next; /* minute that is to be judged next */
};

static void minutes_add(struct minutes *list, int64_t minute)
{
	if (list->count == list->room) {
		list->room = list->room ? 2 * list->room : 64;
		list->items = xrealloc(list->items, list->room, sizeof(*list->items));
	}
	list->items[list->count++] = minute;
}

struct flag_lags *flag_lags_new(const struct config *config)
{
	struct rules_needed asked = rules_possible(config);
	struct flag_lags *l = xcalloc(1, sizeof(*l));
	asked.compressor = false; /* its flag or its power are told with each row */
	rules_init(&l->rules, config, asked);
	l->next = NEVER_MS;
	return l;
}

void flag_lags_free(struct flag_lags *l)
{
	for (size_t k = 0; l && k < LAG_KINDS; k++) {
		free(l->by_flag[k].begun.items);
		free(l->by_rule[k].begun.items);
	}
	free(l);
}

/* Only what was seen to be off begins. */
static void tell(struct side *side, int64_t minute, enum flag flag)
{
	if (side->now == FLAG_OFF && flag == FLAG_ON)
		minutes_add(&side->begun, minute);
	if (flag == FLAG_ON || flag == FLAG_OFF)
		side->now = flag;
}

static void judge_to(struct flag_lags *l, int64_t minute)
{
	for (; l->next <= minute; l->next++) {
		struct rules_verdict v = rules_judge(&l->rules, l->next);
		if (l->rules.needed.defrost)
			tell(&l->by_rule[LAG_DEFROST], l->next, v.defrost);
		tell(&l->by_rule[LAG_HOT_WATER], l->next, v.hot_water);
	}
}

void flag_lags_take(struct flag_lags *l, const struct rules_row *row, enum flag defrost,
	enum flag hot_water)
{
	if (l->next == NEVER_MS)
		l->next = row->minute - RULES_LAG_MIN;
	else if (row->minute - l->next > RULES_LAG_MIN + RULES_LAG_MIN) {
		judge_to(l, l->next + RULES_LAG_MIN);
		l->next = row->minute - RULES_LAG_MIN; /* nothing waits in the gap */
	}
	rules_add(&l->rules, row);
	judge_to(l, row->minute - RULES_LAG_MIN);
	tell(&l->by_flag[LAG_DEFROST], row->minute, defrost);
	tell(&l->by_flag[LAG_HOT_WATER], row->minute, hot_water);
}

static int by_size(const void *a, const void *b)
{
	int64_t left = *(const int64_t *)a, right = *(const int64_t *)b;
	return (left > right) - (left < right);
}

/* Both lists in order of time: each beginning by rule takes the nearest one by flag. */
static void pair_up(const struct minutes *rule, const struct minutes *flag,
	struct minutes *ret_lags, struct flag_lag *ret)
{
	size_t from = 0;
	for (size_t i = 0; i < rule->count; i++) {
		int64_t at = rule->items[i];
		size_t best = SIZE_MAX;
		while (from < flag->count && flag->items[from] < at - LAG_SOUGHT_MIN)
			from++;
		for (size_t k = from; k < flag->count; k++) {
			int64_t off = flag->items[k] - at;
			if (off > LAG_SOUGHT_MIN)
				break;
			if (best == SIZE_MAX ||
				llabs(off) < llabs(flag->items[best] - at))
				best = k;
		}
		if (best == SIZE_MAX)
			continue;
		if (ret_lags->count == 0)
			ret->first_minute = at;
		ret->last_minute = at;
		minutes_add(ret_lags, flag->items[best] - at);
		from = best + 1;
	}
}

struct flag_lag flag_lags_answer(struct flag_lags *l, enum lag_kind kind)
{
	const struct minutes *rule = &l->by_rule[kind].begun;
	const struct minutes *flag = &l->by_flag[kind].begun;
	struct flag_lag ret = {.by_flag = (int64_t)flag->count,
		.by_rule = (int64_t)rule->count,
		.median_min = (double)NAN,
		.most_min = (double)NAN};
	struct minutes lags = {0};

	pair_up(rule, flag, &lags, &ret);
	ret.pairs = (int64_t)lags.count;
	if (lags.count) {
		qsort(lags.items, lags.count, sizeof(*lags.items), by_size);
		size_t middle = lags.count / 2, high = lags.count - 1;
		double upper = (double)lags.items[middle];
		double lower = (double)lags.items[lags.count % 2 ? middle : middle - 1];
		ret.median_min = (lower + upper) / 2;
		size_t beyond = lags.count / 20;
		ret.most_min = (double)lags.items[high - beyond];
	}
	free(lags.items);
	return ret;
}
