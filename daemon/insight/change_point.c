/*
 * The line that ends, exactly. See change_point.h.
 *
 * With rows sorted by x, the end lies between two neighbours, k rows below it. Were k
 * known, the rows below would be a line and the others a mean, each fitted by itself;
 * their meeting is the end. That is the least there is if both meet between these two
 * neighbours. If not, the least with k rows below has its end at one of the neighbours:
 * the squares of an end at T, all else fitted, are
 *
 *     S(T) = S_k + (d − s·u)² / (1/k + 1/(n − k) + u²/Sxx),   u = T − mean of x below
 *
 * (d: mean of y below less the mean beyond; s: slope of the rows below; Sxx: squares of
 * their x about their mean), which falls to S_k at u = d/s and rises from there either
 * way up to one summit at most, so between two neighbours it is least at its root or at
 * an end. So all neighbours' places and all roots are tried: no grid, no start value, no
 * other minimum to fall into. The places where S(T) stays below a limit are bounded by
 * neighbours and roots of a quadratic, and so is the interval of the end.
 *
 * Sums of the first k rows make it one pass; x and y are taken from their means first, so
 * that little cancels.
 */
#include <heatbook/change_point.h>

#include <assert.h>
#include <math.h>
#include <string.h>

#define CONFIDENCE 0.95

/* Sums over the rows below, and what follows of them. */
struct side {
	double n, x, y, xx, xy, yy;
};

struct segment {
	size_t k;
	double least_squares; /* S_k */
	double d, s, sxx, mean_x;
	double alone; /* 1/k + 1/(n − k) */
	bool line;    /* the rows below have a slope of their own */
};

struct search {
	const struct change_row *sorted;
	size_t n;
	double mean_x, mean_y;
	struct side all;
	struct side *first; /* sums of the first k rows, 0 … n */
};

static int by_x(const void *a, const void *b)
{
	const struct change_row *left = a, *right = b;
	if (left->x != right->x)
		return left->x < right->x ? -1 : 1;
	return (left->when > right->when) - (left->when < right->when);
}

static int by_when(const void *a, const void *b)
{
	const struct change_row *left = a, *right = b;
	return (left->when > right->when) - (left->when < right->when);
}

static struct side side_add(struct side sum, double x, double y)
{
	return (struct side){sum.n + 1, sum.x + x, sum.y + y, sum.xx + x * x,
		sum.xy + x * y, sum.yy + y * y};
}

static struct side side_less(const struct side *a, const struct side *b)
{
	return (struct side){a->n - b->n, a->x - b->x, a->y - b->y, a->xx - b->xx,
		a->xy - b->xy, a->yy - b->yy};
}

static void search_sum(struct search *s)
{
	for (size_t i = 0; i < s->n; i++) {
		s->mean_x += s->sorted[i].x / (double)s->n;
		s->mean_y += s->sorted[i].y / (double)s->n;
	}
	s->first = xcalloc(s->n + 1, sizeof(*s->first));
	for (size_t i = 0; i < s->n; i++)
		s->first[i + 1] = side_add(s->first[i], s->sorted[i].x - s->mean_x,
			s->sorted[i].y - s->mean_y);
	s->all = s->first[s->n];
}

/* With k rows below, 1 ≤ k < n. */
static struct segment segment_of(const struct search *s, size_t k)
{
	const struct side *below = &s->first[k];
	struct side beyond = side_less(&s->all, below);
	struct segment g = {.k = k,
		.mean_x = below->x / below->n,
		.alone = 1.0 / below->n + 1.0 / beyond.n};
	double sxy = below->xy - below->x * below->y / below->n;
	double syy = below->yy - below->y * below->y / below->n;
	g.sxx = below->xx - below->x * below->x / below->n;
	g.line = s->sorted[0].x < s->sorted[k - 1].x;
	g.s = g.line ? -sxy / g.sxx : 0.0;
	g.d = below->y / below->n - beyond.y / beyond.n;
	g.least_squares = syy - (g.line ? g.s * g.s * g.sxx : 0.0) + beyond.yy -
			  beyond.y * beyond.y / beyond.n;
	return g;
}

/* S(T) of an end at T, from the mean of all x. Rows below that share one x make a slope
 * with any end beyond it. */
static double squares_at(const struct segment *g, double at)
{
	double u = at - g->mean_x;
	double off = g->d - g->s * u;
	if (!g->line)
		return g->least_squares;
	return g->least_squares + off * off / (g->alone + u * u / g->sxx);
}

/* Does the best line that ends at T rise as x falls? */
static bool rises_at(const struct segment *g, double at)
{
	double u = at - g->mean_x;
	if (!g->line)
		return g->d > 0.0;
	/* Where the response of a kelvin, s, is drawn by the mean beyond. */
	return g->s * g->alone * g->sxx + g->d * u > 0.0;
}

/* Places of neighbours k and k + 1, from the mean of all x. */
static double place(const struct search *s, size_t i)
{
	return s->sorted[i].x - s->mean_x;
}

struct best {
	double squares, at;
	size_t k;
	bool root;
};

static void try_place(const struct segment *g, double at, bool root, struct best *best)
{
	double squares = root ? g->least_squares : squares_at(g, at);
	if (squares < best->squares && rises_at(g, at))
		*best = (struct best){squares, at, g->k, root};
}

static struct best search_least(const struct search *s)
{
	struct best best = {.squares = (double)INFINITY};
	for (size_t k = 1; k < s->n; k++) {
		struct segment g = segment_of(s, k);
		double left = place(s, k - 1), right = place(s, k);
		if (left == right)
			continue;
		double root = g.mean_x + g.d / g.s;
		if (g.line && root > left && root < right)
			try_place(&g, root, true, &best);
		try_place(&g, right, false, &best);
	}
	return best;
}

/* ---- the interval of the end ---- */

static void widen(struct change_interval *in, double at)
{
	if (isnan(in->low) || at < in->low)
		in->low = at;
	if (isnan(in->high) || at > in->high)
		in->high = at;
}

/* What of one segment stays below the limit: between its neighbours and the roots of
 * S(T) = limit. */
static void widen_by(
	const struct search *s, size_t k, double limit, struct change_interval *in)
{
	struct segment g = segment_of(s, k);
	double left = place(s, k - 1), right = place(s, k);
	double c = limit - g.least_squares;
	if (left == right || c < 0.0)
		return;
	if (squares_at(&g, left) <= limit)
		widen(in, left);
	if (squares_at(&g, right) <= limit)
		widen(in, right);
	if (!g.line)
		return;
	/* (s² − c/Sxx)·u² − 2·d·s·u + d² − c·alone ≤ 0 */
	double a = g.s * g.s - c / g.sxx, b = g.d * g.s;
	double below_root = b * b - a * (g.d * g.d - c * g.alone);
	for (int sign = -1; a != 0.0 && below_root >= 0.0 && sign <= 1; sign += 2) {
		double at = g.mean_x + (b + sign * sqrt(below_root)) / a;
		if (at > left && at < right)
			widen(in, at);
	}
}

static struct change_interval end_in(const struct search *s, double limit)
{
	struct change_interval in = {(double)NAN, (double)NAN};
	for (size_t k = 1; k < s->n; k++)
		widen_by(s, k, limit, &in);
	in.low += s->mean_x;
	in.high += s->mean_x;
	return in;
}

/* ---- what was found, in full ---- */

double change_point_at(const struct change_point *c, double x)
{
	return c->ends && x >= c->at ? c->base : c->base + c->slope * (c->at - x);
}

static bool is_below(const struct change_point *c, double x)
{
	return !c->ends || x < c->at;
}

/* Base and slope about an end that is given; without an end, a line. */
static void fit_about(const struct change_row *rows, size_t n, struct change_point *c)
{
	double *x = xmalloc(2 * n * sizeof(*x)), *y = xmalloc(n * sizeof(*y));
	struct fit fit = {0};
	for (size_t i = 0; i < n; i++) {
		x[2 * i] = 1.0;
		x[2 * i + 1] = is_below(c, rows[i].x) ? c->at - rows[i].x : 0.0;
		y[i] = rows[i].y;
	}
	int r = fit_least_squares(&(struct fit_rows){n, 2, x, y}, &fit, NULL);
	c->base = r == 0 ? fit.b[0] : (double)NAN;
	c->slope = r == 0 ? fit.b[1] : (double)NAN;
	free(x);
	free(y);
}

/* Scatter, autocorrelation and Student's t by the rows below, in order of time. */
static void judge(const struct change_row *timed, size_t n, struct change_point *c)
{
	double *e = xmalloc(n * sizeof(*e)), squares = 0.0, sum = 0.0;
	int64_t *when = xmalloc(n * sizeof(*when));
	size_t k = 0;
	c->below_squares = 0.0;
	for (size_t i = 0; i < n; i++) {
		if (!is_below(c, timed[i].x))
			continue;
		e[k] = timed[i].y - change_point_at(c, timed[i].x);
		when[k] = timed[i].when;
		squares += e[k] * e[k];
		sum += timed[i].x;
		k++;
	}
	c->below = k;
	c->below_mean = sum / (double)k;
	for (size_t i = 0; i < n; i++)
		if (is_below(c, timed[i].x))
			c->below_squares += (timed[i].x - c->below_mean) *
					    (timed[i].x - c->below_mean);
	c->scatter_sd = k > 2 ? sqrt(squares / (double)(k - 2)) : (double)NAN;
	c->rho = fit_autocorrelation(e, when, k);
	c->inflation = fit_inflation(c->rho);
	c->t = student_t(fmax(1.0, fit_effective_rows(k, c->rho) - 2.0), CONFIDENCE);
	free(e);
	free(when);
}

static double line_sd(const struct change_point *c, double x)
{
	double u = x - c->below_mean;
	return c->inflation * c->scatter_sd *
	       sqrt(1.0 / (double)c->below + u * u / c->below_squares);
}

double change_point_load(
	const struct change_point *c, double x, struct change_interval *ret)
{
	double load = c->slope * (c->at - x);
	double half = c->t * hypot(line_sd(c, x), c->base_sd);
	*ret = (struct change_interval){load - half, load + half};
	return load;
}

double change_point_foretell(
	const struct change_point *c, double x, struct change_interval *ret)
{
	double value = c->base + c->slope * (c->at - x);
	double half = c->t * line_sd(c, x);
	*ret = (struct change_interval){value - half, value + half};
	return value;
}

double change_point_single(
	const struct change_point *c, double x, struct change_interval *ret)
{
	double value = change_point_foretell(c, x, ret);
	double half = c->t * hypot(line_sd(c, x), c->scatter_sd);
	*ret = (struct change_interval){value - half, value + half};
	return value;
}

/* The base, by the scatter of the rows beyond the end. */
static void judge_base(const struct change_row *rows, size_t n, struct change_point *c)
{
	double squares = 0.0, rows_beyond = (double)(n - c->below);
	for (size_t i = 0; i < n; i++)
		if (!is_below(c, rows[i].x))
			squares += (rows[i].y - c->base) * (rows[i].y - c->base);
	c->base_sd = c->inflation * sqrt(squares / (rows_beyond - 1.0) / rows_beyond);
	double half = student_t(rows_beyond - 1.0, CONFIDENCE) * c->base_sd;
	c->base_in = (struct change_interval){c->base - half, c->base + half};
}

/* Where a line meets nothing: all places at which its response may be nothing. */
static struct change_interval meets_nothing(const struct change_point *c)
{
	struct change_interval in = {(double)NAN, (double)NAN};
	double most = c->t * c->inflation * c->scatter_sd;
	double a = c->slope * c->slope - most * most / c->below_squares;
	double y = c->slope * (c->at - c->below_mean), b = y * c->slope;
	double root = b * b - a * (y * y - most * most / (double)c->below);
	if (a <= 0.0 || root < 0.0)
		return in;
	return (struct change_interval){c->below_mean + (b - sqrt(root)) / a,
		c->below_mean + (b + sqrt(root)) / a};
}

static void agree(const struct change_row *rows, size_t n, struct change_point *c)
{
	double *y = xmalloc(n * sizeof(*y)), *told = xmalloc(n * sizeof(*told));
	double mean = 0.0, total = 0.0;
	c->sse = 0.0;
	for (size_t i = 0; i < n; i++) {
		y[i] = rows[i].y;
		told[i] = change_point_at(c, rows[i].x);
		mean += y[i] / (double)n;
		c->sse += (y[i] - told[i]) * (y[i] - told[i]);
	}
	for (size_t i = 0; i < n; i++)
		total += (y[i] - mean) * (y[i] - mean);
	c->p = c->ends ? 3 : 2;
	c->agreement = fit_agreement_of(n, c->p, y, told);
	c->r_squared = total > 0.0 ? 1.0 - c->sse / total : (double)NAN;
	free(y);
	free(told);
}

/* Squares that rounding leaves of rows on one line, as a part of all. */
#define ROUNDING 1e-12

/* Does the end show: are there rows beyond it, and would a line without one fit worse
 * than chance makes it? *ret_in: where it may be. */
static bool end_shows(const struct search *s, const struct change_point *c,
	struct change_interval *ret_in)
{
	double most = c->t * c->inflation * c->scatter_sd;
	double warmest = s->sorted[s->n - 1].x, span = warmest - s->sorted[0].x;
	double limit = c->sse + most * most + ROUNDING * s->all.yy;
	*ret_in = end_in(s, limit);
	widen(ret_in, c->at);
	return s->n - c->below >= CHANGE_BEYOND_LEAST &&
	       warmest - ret_in->high > 1e-9 * span;
}

/* Without an end: the line, and where it meets nothing. */
static void take_line(const struct change_row *timed, size_t n, struct change_point *c)
{
	c->ends = false;
	fit_about(timed, n, c);
	c->at += c->base / c->slope;
	c->base = 0.0;
	judge(timed, n, c);
	c->at_in = meets_nothing(c);
	c->base_sd = 0.0;
	c->base_in = (struct change_interval){(double)NAN, (double)NAN};
}

static int finish(
	const struct search *s, const struct change_row *timed, struct change_point *c)
{
	fit_about(timed, s->n, c);
	judge(timed, s->n, c);
	if (c->below < CHANGE_BELOW_LEAST)
		return CHANGE_FEW;
	agree(timed, s->n, c);
	if (end_shows(s, c, &c->at_in))
		judge_base(timed, s->n, c);
	else
		take_line(timed, s->n, c);
	agree(timed, s->n, c);
	c->slope_sd = c->inflation * c->scatter_sd / sqrt(c->below_squares);
	c->slope_in = (struct change_interval){
		c->slope - c->t * c->slope_sd, c->slope + c->t * c->slope_sd};
	return c->slope_in.low > 0.0 ? 0 : CHANGE_NO_SLOPE;
}

int change_point_fit(const struct change_row *rows, size_t n, struct change_point *ret)
{
	struct change_row *sorted = xmalloc((n + 1) * sizeof(*sorted));
	struct change_row *timed = xmalloc((n + 1) * sizeof(*timed));
	struct search s = {.sorted = sorted, .n = n};
	int r = CHANGE_FEW;
	*ret = (struct change_point){.n = n, .ends = true};
	for (size_t i = 0; i < n; i++)
		sorted[i] = timed[i] = rows[i];
	qsort(sorted, n, sizeof(*sorted), by_x);
	qsort(timed, n, sizeof(*timed), by_when);
	if (n > 0) {
		search_sum(&s);
		struct best best = search_least(&s);
		/* A row at the very end is not below it. */
		ret->at = best.root ? best.at + s.mean_x : sorted[best.k].x;
		r = isfinite(best.squares) ? finish(&s, timed, ret) : CHANGE_NO_SLOPE;
	}
	free(s.first);
	free(sorted);
	free(timed);
	return r;
}
