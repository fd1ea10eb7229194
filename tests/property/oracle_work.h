/*
 * What the files of the oracle share.
 */
#ifndef ORACLE_WORK_H
#define ORACLE_WORK_H

#include "oracle.h"

struct piece {
	int64_t t_ms, end_ms;
	bool known[PLANT_CHANNELS_MOST];
	double value[PLANT_CHANNELS_MOST]; /* what was said … */
	/* … and what is true at the piece's begin and at its end: the same, or along a
	 * line. */
	double begin[PLANT_CHANNELS_MOST], end[PLANT_CHANNELS_MOST];
};

enum tell { TELL_ABSENT, TELL_UNKNOWN, TELL_NO, TELL_YES };

/* What rules see of a minute, and what they say. */
struct seen {
	bool any;
	enum tell ran, moved;
	double unit_w, rod_w;
	double out_c, back_c, lpm, air_c, target_c, cylinder_c;
	enum tell run, defrost, water;
	bool stop;
};

struct work {
	const struct config *config;
	int64_t first; /* minute */
	size_t minutes;
	bool rule_run, rule_defrost, rule_water;
	struct seen *seen;
	struct readings readings;
	struct buffer frames;
	int64_t *instants;
	size_t instant_count;
	struct piece *pieces;
	size_t piece_count;
};

/* The last word of a channel among the readings up to number `at`, or -1; the value that
 * is in force right after that reading, at an instant. */
ptrdiff_t oracle_last_word(const struct work *w, size_t channel, ptrdiff_t at);
bool oracle_in_force(
	const struct work *w, size_t channel, ptrdiff_t at, int64_t t_ms, double *ret);
/* Fills `begin` and `end` of a piece; `at` is the last reading at or before it. */
void oracle_draw(const struct work *w, struct piece *p, ptrdiff_t at);

/* Of a piece: is a channel's value above something, does the compressor run, does water
 * move, in watts, and its mode. */
enum tell oracle_tell(
	const struct work *w, const struct piece *p, enum role role, double above);
enum tell oracle_runs(const struct work *w, size_t piece);
enum tell oracle_flows(const struct work *w, const struct piece *p);
/* Neither known to stand nor unknown; what cooling left goes round (oracle_cooling.c). */
bool oracle_moves(const struct work *w, const struct piece *p);
bool oracle_after_cooling(const struct work *w, size_t piece);
/* Devices whose electricity is the meter's own. */
unsigned oracle_serves(const struct config *config, int meter);
double oracle_meter_w(const struct work *w, const struct piece *p, int meter);
enum mode oracle_mode_of(const struct work *w, size_t piece);

/* Takes out what later messages after a subscription supersede. */
void oracle_drop_superseded(struct work *w);

/* Fills `rule_…` and `seen`, which stays NULL where flags tell: so many minutes, among
 * them those after the last one asked for, which tell, too. */
void oracle_judge(struct work *w, size_t minutes);

#endif
