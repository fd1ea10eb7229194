/* Sums of energy: one added to another. See query.h and energy_row.h. */
#include <heatbook/energy_row.h>

#include <string.h>

void energy_sum_add(struct energy_sum *sum, const struct energy_sum *part)
{
	sum->observed_ms += part->observed_ms;
	sum->heat_j += part->heat_j;
	sum->heat_ms += part->heat_ms;
	sum->sensitivity_j_per_k += part->sensitivity_j_per_k;
	sum->heat_spread_j += part->heat_spread_j;
	sum->heat_bridged_j += part->heat_bridged_j;
	sum->heat_bridged_ms += part->heat_bridged_ms;
	sum->heat_provisional_j += part->heat_provisional_j;
	for (size_t i = 0; i < METERS_MOST; i++) {
		sum->meter_j[i] += part->meter_j[i];
		sum->meter_ms[i] += part->meter_ms[i];
		sum->meter_spread_j[i] += part->meter_spread_j[i];
		sum->meter_bridged_j[i] += part->meter_bridged_j[i];
		sum->meter_bridged_ms[i] += part->meter_bridged_ms[i];
		sum->meter_provisional_j[i] += part->meter_provisional_j[i];
		sum->paired_meter_j[i] += part->paired_meter_j[i];
	}
	sum->paired_heat_j += part->paired_heat_j;
	sum->paired_electricity_j += part->paired_electricity_j;
	sum->paired_sensitivity_j_per_k += part->paired_sensitivity_j_per_k;
	sum->paired_ms += part->paired_ms;
	sum->paired_heat_spread_j += part->paired_heat_spread_j;
	sum->paired_electricity_spread_j += part->paired_electricity_spread_j;
	sum->bridged_heat_j += part->bridged_heat_j;
	sum->bridged_electricity_j += part->bridged_electricity_j;
	sum->bridged_ms += part->bridged_ms;
}

/* In the order of modes and `known`, as they are stored. */
void energy_rows_add(struct energy_rows *rows, const struct energy_row *row)
{
	size_t at = 0;
	while (at < rows->count && (rows->items[at].mode < row->mode ||
					   (rows->items[at].mode == row->mode &&
						   rows->items[at].known < row->known)))
		at++;
	if (at < rows->count && rows->items[at].mode == row->mode &&
		rows->items[at].known == row->known) {
		energy_sum_add(&rows->items[at].sum, &row->sum);
		return;
	}
	if (rows->count == rows->room) {
		rows->room = rows->room ? 2 * rows->room : 2;
		rows->items = xrealloc(rows->items, rows->room, sizeof(*rows->items));
	}
	memmove(rows->items + at + 1, rows->items + at,
		(rows->count - at) * sizeof(*rows->items));
	rows->items[at] = *row;
	rows->count++;
}

void energy_rows_release(struct energy_rows *rows)
{
	free(rows->items);
	*rows = (struct energy_rows){0};
}
