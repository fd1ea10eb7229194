/*
 * What a correction of the temperature pair would make of heat: Q + S·offset, to the sums
 * that are there. See figures.h.
 *
 * The sensitivity S = ∫ k dV says what a kelvin of the pair's difference is worth; k
 * itself changes by the offset as little as water's heat capacity between both
 * temperatures does. Rows stay as they are, and so do modes: a rule that goes by the
 * difference would find others after a rebuild.
 */
#include <heatbook/figures.h>

#include <math.h>
#include <string.h>

#define OFFSET_DIGITS_MOST 6

bool preview_offset_read(const char *text, double most, double *ret)
{
	const char *at = text + (*text == '-' || *text == '+');
	double value = 0.0, part = 1.0;
	size_t digits = 0;
	bool point = false;
	for (; *at; at++) {
		if (*at == '.' && !point && digits > 0) {
			point = true;
			continue;
		}
		if (*at < '0' || *at > '9' || ++digits > OFFSET_DIGITS_MOST)
			return false;
		value = value * 10.0 + (*at - '0');
		part *= point ? 10.0 : 1.0;
	}
	value /= part;
	if (digits == 0 || at[-1] == '.' || value > most)
		return false;
	*ret = *text == '-' ? -value : value;
	return true;
}

bool preview_possible(const struct config *config)
{
	return config->plant.heat_source == HEAT_COMPUTED;
}

static void shift(struct energy_bucket *bucket, struct energy_bucket *total, double k)
{
	for (int m = 0; m < MODE_COUNT; m++) {
		struct energy_sum *sum = &bucket->modes[m];
		int64_t heat_j = llround(sum->sensitivity_j_per_k * k);
		int64_t paired_j = llround(sum->paired_sensitivity_j_per_k * k);
		sum->heat_j += heat_j;
		sum->paired_heat_j += paired_j;
		total->modes[m].heat_j += heat_j;
		total->modes[m].paired_heat_j += paired_j;
	}
}

/* The total is moved by what its buckets are, so that it stays their sum. */
void preview_offset(struct energy_answer *answer, double offset_k)
{
	for (size_t i = 0; i < answer->count; i++)
		shift(&answer->buckets[i], &answer->total, offset_k);
}
