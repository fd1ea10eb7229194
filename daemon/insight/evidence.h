/*
 * What the files that look at a day share: the day, and what is plain to see in it. Not
 * for other rooms.
 */
#ifndef INSIGHT_EVIDENCE_H
#define INSIGHT_EVIDENCE_H

#include <heatbook/boundary.h>
#include <heatbook/evidence.h>

/* Of a minute: 1, 0, or -1 where nothing tells. */
struct day_view {
	const struct day_minutes *day;
	const struct register_day *registers; /* or NULL */
	size_t count;
	unsigned short *known; /* how many channels of numbers were known */
	signed char *running;  /* the compressor */
	signed char *flowing;  /* water through the unit */
	signed char *tap;      /* the valve stands at the cylinder */
	signed char *frosty;   /* a defrost, or a minute beside one */
	/* By role; NULL where no channel has it. */
	const double *flow_c, *return_c, *rate_lpm, *outdoor_c, *frequency_hz;
	const double *control; /* the operating mode's words */
	/* Of the meters that feed the compressor; NaN unknown. */
	double *unit_w;           /* as it is counted, that of a register alone spread */
	double *power_w;          /* of those that tell it of an instant, … */
	int power_meter;          /* … the first of which is this, or -1 */
	double *compressor_w;     /* of these without a heater */
	struct boundary boundary; /* the narrowest, the unit's; no meters where none is */
	struct evidence_list *list;
};

/* Times [modes] compressor_on: more than pumps and crankcase heaters take. */
#define SURELY_ON 2.0
/* Water holds so much, W a kelvin and litre a minute. */
#define W_PER_LPM_K 69.5

/* What a booked mode says of the compressor: 1 it runs, 0 it rests, -1 nothing. */
signed char running_by_mode(int mode);

/* Whether cooling is under way or may be: then the return is the warmer one. */
bool view_may_cool(const struct day_view *view, size_t i);

/* An item about the whole day, its values unknown. */
struct evidence evidence_new(
	const struct day_view *view, enum evidence_kind kind, int subject);
/* What a minute's part in a mode is at the unit's boundary; false unless heat and all
 * that the boundary needs are known for all of it. */
struct unit_part {
	double ms, heat_j, unit_j, sensitivity_j_per_k;
};
bool part_of_unit(
	const struct day_view *view, enum day_work work, size_t i, struct unit_part *ret);
/* Adds what was booked from one minute to another: heat, and the unit's electricity as
 * far as it is known, J. */
void evidence_add_booked(
	const struct day_view *view, size_t from, size_t to, double sums_j[static 2]);
/* A channel that stood from one minute to another, by what, how much of that, and minutes
 * of rest. */
void evidence_add_frozen(const struct day_view *view, int channel, size_t from, size_t to,
	enum frozen_by by, double how_much, double rested_min);
/* The middle of some values, which are sorted by it; NaN of none. */
double evidence_median(double *values, size_t count);

typedef void evidence_look(const struct day_view *view);
evidence_look look_at_rest, look_at_negative_power, look_at_flow_zero,
	look_at_return_above, look_at_frozen, look_at_grids, look_at_spacing,
	look_at_words, look_at_flow, look_at_pressure, look_at_skew, look_at_outdoor,
	look_at_efficiency, look_at_missing, look_at_registers, look_at_immersion,
	look_at_flag, look_at_balance, look_at_apparent, look_at_still, look_at_stuck,
	look_at_amounts, look_at_pump, look_at_signs, look_at_words_said, look_at_phases,
	look_at_emission, look_at_storage, look_at_conditions, look_at_steady;

#endif
