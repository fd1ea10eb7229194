/*
 * Water with antifreeze. See mixture.h.
 *
 *     ρ(x, t) = Σ r_ij x^i (t/100)^j,   i = 0 … 3, j = 0 … 2
 *     cp(x, t) = Σ c_ij x^i (t/100)^j,  i = 0 … 3, j = 0, 1
 *     h(x, t) = ∫ cp dt from 0 °C
 *
 * with x the share by volume. Coefficients: own least squares to the tables of ASHRAE
 * Handbook - Fundamentals (2001), secondary coolants (second-hand: digitised in a public
 * property library); within 0.03 % of each cell from 10 to 60 % and -35 to 100 °C.
 * Freezing points: the same handbook's tables, every 5 % by mass, lines in between, which
 * are within 0.3 K of its other rows. Powers are formed by multiplication, as water's
 * are.
 *
 * Nothing is kept between calls.
 */
#include <heatbook/mixture.h>

#include <math.h>

#define LEAST_FITTED_PERCENT 10.0
#define LEAST_FITTED_C       (-35.0)
#define POWERS_X             4

struct fit {
	double density[POWERS_X][3];
	double capacity[POWERS_X][2];
	double spread_percent;
};

static const struct fit fits[] = {
	[FLUID_PROPYLENE_GLYCOL] =
		{
			.density = {{1000.1624, -18.047849, -23.412241},
				{145.91728, -58.166421, -12.136707},
				{-91.559406, 14.547056, 18.33899},
				{19.682765, -4.4515928, -6.0141867}},
			.capacity = {{4135.592, 101.30338}, {-829.46915, 608.94882},
				{-1002.5784, -131.60459}, {-123.24579, 101.50955}},
			.spread_percent = 0.64,
		},
	[FLUID_ETHYLENE_GLYCOL] =
		{
			.density = {{1000.5854, -19.62977, -23.870394},
				{187.08804, -25.528226, -2.5319527},
				{-60.168194, -5.0053929, 3.9206259},
				{16.003123, -1.1570321, -1.5361754}},
			.capacity = {{4096.2167, 115.67674}, {-1539.7912, 605.21128},
				{-513.14496, -182.27221}, {41.634486, 106.3997}},
			.spread_percent = 2.0,
		},
};

struct freezing {
	double percent;
	double t_c;
};

static const struct freezing freezing_propylene[] = {{0.0, 0.0}, {4.8, -1.6}, {9.6, -3.3},
	{14.5, -5.1}, {19.4, -7.1}, {24.4, -9.6}, {29.4, -12.7}, {34.4, -16.4},
	{39.6, -21.1}, {44.7, -26.7}, {49.9, -33.5}, {55.0, -41.6}, {60.0, -51.1}};
static const struct freezing freezing_ethylene[] = {{0.0, 0.0}, {4.4, -1.4}, {8.9, -3.2},
	{13.6, -5.4}, {18.1, -7.8}, {22.9, -10.7}, {27.7, -14.1}, {32.6, -17.9},
	{37.5, -22.3}, {42.5, -27.5}, {47.6, -33.8}, {52.7, -41.1}, {57.8, -48.3}};

static double between(const struct freezing *points, size_t count, double percent)
{
	size_t i = 1;
	while (i + 1 < count && percent > points[i].percent)
		i++;
	const struct freezing *a = &points[i - 1], *b = &points[i];
	double along = (percent - a->percent) / (b->percent - a->percent);
	return a->t_c + (along < 1.0 ? along : 1.0) * (b->t_c - a->t_c);
}

double mixture_freezes_c(enum fluid fluid, double percent)
{
	switch (fluid) {
	case FLUID_PROPYLENE_GLYCOL:
		return between(
			freezing_propylene, ARRAY_LEN(freezing_propylene), percent);
	case FLUID_ETHYLENE_GLYCOL:
		return between(freezing_ethylene, ARRAY_LEN(freezing_ethylene), percent);
	case FLUID_WATER:
		break;
	}
	return 0.0;
}

double mixture_least_c(enum fluid fluid, double percent)
{
	if (fluid == FLUID_WATER || percent < LEAST_FITTED_PERCENT)
		return 0.0;
	return fmax(mixture_freezes_c(fluid, percent), LEAST_FITTED_C);
}

double mixture_spread_percent(enum fluid fluid)
{
	return fluid == FLUID_WATER ? 0.0 : fits[fluid].spread_percent;
}

struct mixture mixture_of(enum fluid fluid, double percent)
{
	struct mixture m = {.fluid = fluid};
	if (fluid == FLUID_WATER || percent <= 0.0)
		return (struct mixture){.fluid = FLUID_WATER};
	const struct fit *fit = &fits[fluid];
	bool fitted = percent >= LEAST_FITTED_PERCENT;
	double x = (fitted ? percent : LEAST_FITTED_PERCENT) / 100.0, power = 1.0;
	for (size_t i = 0; i < POWERS_X; i++) {
		for (size_t j = 0; j < ARRAY_LEN(m.density); j++)
			m.density[j] += fit->density[i][j] * power;
		for (size_t j = 0; j < ARRAY_LEN(m.capacity); j++)
			m.capacity[j] += fit->capacity[i][j] * power;
		power *= x;
	}
	m.share = fitted ? 1.0 : percent / LEAST_FITTED_PERCENT;
	m.least_c = mixture_least_c(fluid, percent);
	return m;
}

static struct water fitted_at(const struct mixture *m, double t_c)
{
	double t = t_c / 100.0;
	return (struct water){
		.volume_m3_kg =
			1.0 / (m->density[0] + t * (m->density[1] + t * m->density[2])),
		.enthalpy_j_kg = t_c * (m->capacity[0] + t * m->capacity[1] / 2.0),
		.capacity_j_kg_k = m->capacity[0] + t * m->capacity[1],
	};
}

static struct water mixed(const struct mixture *m, double t_c, const struct water *water)
{
	if (!(t_c >= m->least_c && t_c <= MIXTURE_MOST_C))
		return (struct water){NAN, NAN, NAN};
	struct water fitted = fitted_at(m, t_c);
	if (m->share == 1.0)
		return fitted;
	double share = m->share, rest = 1.0 - share;
	return (struct water){
		.volume_m3_kg =
			1.0 / (rest / water->volume_m3_kg + share / fitted.volume_m3_kg),
		.enthalpy_j_kg =
			rest * water->enthalpy_j_kg + share * fitted.enthalpy_j_kg,
		.capacity_j_kg_k =
			rest * water->capacity_j_kg_k + share * fitted.capacity_j_kg_k,
	};
}

void mixture_pair(const struct mixture *m, const double t_c[static 2],
	double pressure_bar, struct water ret[static 2])
{
	if (m->share < 1.0)
		water_pair(t_c, pressure_bar, ret);
	for (size_t i = 0; i < 2 && m->fluid != FLUID_WATER; i++)
		ret[i] = mixed(m, t_c[i], &ret[i]);
}

struct water mixture_at(const struct mixture *m, double t_c, double pressure_bar)
{
	struct water both[2];
	mixture_pair(m, (const double[2]){t_c, t_c}, pressure_bar, both);
	return both[0];
}
