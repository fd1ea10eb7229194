/*
 * Properties of liquid water by IAPWS-IF97 region 1: the dimensionless Gibbs energy
 *
 *     γ(π, τ) = Σ n (7.1 − π)^I (τ − 1.222)^J,   π = p / 16.53 MPa,   τ = 1386 K / T
 *     v = π γ_π R T / p,   h = τ γ_τ R T,   cp = −τ² γ_ττ R
 *
 * with the 34 terms of R7-97 Table 2, and the saturation line of region 4 (eq. 30, Table
 * 34) as the lower end of pressure.
 *
 * Powers come from two tables built by multiplication, never from pow(), whose last bit
 * differs between C libraries: the same inputs give the same bits everywhere, which the
 * equality of rebuilt rows rests on. Every power is the product of two powers of about
 * half the exponent, so that the chain of dependent multiplications stays short.
 *
 * A circuit's heat wants two states at one pressure. They are worked out side by side,
 * each in a lane of one vector: the same operations in the same order as for one alone,
 * so that a state's bits do not depend on its neighbour.
 *
 * Nothing is kept between calls.
 */
#include <heatbook/water.h>

#include <heatbook/base.h>

#include <math.h>

#define GAS_CONSTANT_J_KG_K 461.526
#define KELVIN_AT_0_C       273.15
#define BAR_REDUCING        165.3 /* 16.53 MPa */
#define KELVIN_REDUCING     1386.0
#define T_MOST_C            350.0
#define PRESSURE_MOST_BAR   1000.0
/* Boiling at 1 bar is above 99.6 °C: below both no saturation pressure need be computed.
 */
#define SURELY_LIQUID_C   99.0
#define SURELY_LIQUID_BAR 1.0

#define I_MOST  32
#define J_LEAST (-41)
#define J_MOST  17

static const struct term {
	int i;
	int j;
	double n;
} terms[] = {
	{0, -2, 0.14632971213167},
	{0, -1, -0.84548187169114},
	{0, 0, -0.37563603672040e1},
	{0, 1, 0.33855169168385e1},
	{0, 2, -0.95791963387872},
	{0, 3, 0.15772038513228},
	{0, 4, -0.16616417199501e-1},
	{0, 5, 0.81214629983568e-3},
	{1, -9, 0.28319080123804e-3},
	{1, -7, -0.60706301565874e-3},
	{1, -1, -0.18990068218419e-1},
	{1, 0, -0.32529748770505e-1},
	{1, 1, -0.21841717175414e-1},
	{1, 3, -0.52838357969930e-4},
	{2, -3, -0.47184321073267e-3},
	{2, 0, -0.30001780793026e-3},
	{2, 1, 0.47661393906987e-4},
	{2, 3, -0.44141845330846e-5},
	{2, 17, -0.72694996297594e-15},
	{3, -4, -0.31679644845054e-4},
	{3, 0, -0.28270797985312e-5},
	{3, 6, -0.85205128120103e-9},
	{4, -5, -0.22425281908000e-5},
	{4, -2, -0.65171222895601e-6},
	{4, 10, -0.14341729937924e-12},
	{5, -8, -0.40516996860117e-6},
	{8, -11, -0.12734301741641e-8},
	{8, -6, -0.17424871230634e-9},
	{21, -29, -0.68762131295531e-18},
	{23, -31, 0.14478307828521e-19},
	{29, -38, 0.26335781662795e-22},
	{30, -39, -0.11947622640071e-22},
	{31, -40, 0.18228094581404e-23},
	{32, -41, -0.93537087292458e-25},
};

/* The loops below are unrolled, so that the powers that no term has are never worked out
 * and no index is looked up: what is computed, and in which order, stays. */
#define UNROLLED _Pragma("GCC unroll 48")

/* Two states, a lane each. */
typedef double lanes __attribute__((vector_size(2 * sizeof(double))));

/* out[k] = x^k for k = 0 … most. */
static inline __attribute__((always_inline)) void powers(lanes x, int most, lanes *out)
{
	out[0] = (lanes){1.0, 1.0};
	out[1] = x;
	UNROLLED
	for (int k = 2; k <= most; k++)
		out[k] = out[k / 2] * out[k - k / 2];
}

double water_saturation_bar(double t_c)
{
	if (!(t_c >= 0.0 && t_c <= T_MOST_C))
		return NAN;
	double t_k = t_c + KELVIN_AT_0_C;
	double th = t_k - 0.23855557567849 / (t_k - 0.65017534844798e3);
	double a = (th + 0.11670521452767e4) * th - 0.72421316703206e6;
	double b =
		(-0.17073846940092e2 * th + 0.12020824702470e5) * th - 0.32325550322333e7;
	double c =
		(0.14915108613530e2 * th - 0.48232657361591e4) * th + 0.40511340542057e6;
	double root = 2.0 * c / (-b + sqrt(b * b - 4.0 * a * c));
	return 10.0 * (root * root) * (root * root);
}

static bool is_liquid(double t_c, double pressure_bar)
{
	if (!(t_c >= 0.0 && t_c <= T_MOST_C && pressure_bar <= PRESSURE_MOST_BAR))
		return false;
	if (t_c <= SURELY_LIQUID_C && pressure_bar >= SURELY_LIQUID_BAR)
		return true;
	return pressure_bar >= water_saturation_bar(t_c);
}

void water_pair(
	const double t_c[static 2], double pressure_bar, struct water ret[static 2])
{
	const bool liquid[2] = {
		is_liquid(t_c[0], pressure_bar), is_liquid(t_c[1], pressure_bar)};
	const lanes t_k = {
		(liquid[0] ? t_c[0] : 0.0) + KELVIN_AT_0_C,
		(liquid[1] ? t_c[1] : 0.0) + KELVIN_AT_0_C,
	};
	const double pi_base = 7.1 - pressure_bar / BAR_REDUCING;
	lanes tau = KELVIN_REDUCING / t_k;
	lanes base = tau - 1.222; /* > 1 up to 350 °C */
	lanes pi_power[I_MOST + 1], up[J_MOST + 1], down[-J_LEAST + 1];
	powers((lanes){pi_base, pi_base}, I_MOST, pi_power);
	powers(base, J_MOST, up);
	powers(1.0 / base, -J_LEAST, down);

	/* Sums of n i π^(i−1) τ^j, n j π^i τ^j and n j (j−1) π^i τ^j; the missing powers
	 * of the last two are divided out once at the end. */
	lanes by_pi = {0.0, 0.0}, by_tau = {0.0, 0.0}, by_tau_tau = {0.0, 0.0};
	UNROLLED
	for (size_t k = 0; k < ARRAY_LEN(terms); k++) {
		const struct term *t = &terms[k];
		const double i = t->i, j = t->j;
		lanes tau_part = t->n * (t->j < 0 ? down[-t->j] : up[t->j]);
		if (t->i > 0)
			by_pi -= tau_part * i * pi_power[t->i - 1];
		lanes slope = tau_part * pi_power[t->i] * j;
		by_tau += slope;
		by_tau_tau += slope * (j - 1.0);
	}
	by_tau *= down[1];
	by_tau_tau *= down[2];
	const lanes volume = by_pi * GAS_CONSTANT_J_KG_K * t_k / (BAR_REDUCING * 1e5);
	const lanes enthalpy = tau * by_tau * GAS_CONSTANT_J_KG_K * t_k;
	const lanes capacity = -tau * tau * by_tau_tau * GAS_CONSTANT_J_KG_K;
	for (size_t l = 0; l < 2; l++)
		ret[l] = liquid[l] ? (struct water){volume[l], enthalpy[l], capacity[l]}
				   : (struct water){NAN, NAN, NAN};
}

struct water water_at(double t_c, double pressure_bar)
{
	struct water both[2];
	water_pair((const double[2]){t_c, t_c}, pressure_bar, both);
	return both[0];
}
