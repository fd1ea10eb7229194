/*
 * IAPWS R7-97(2012), region 1: the dimensionless Gibbs energy's derivatives summed term
 * by term with pow(), as the release prints them. Coefficients: its Table 2 (read as
 * carried by Debian's python3-iapws). Written for plainness, not speed.
 */
#include "water97.h"

#include <math.h>
#include <stddef.h>

#define R_J 461.526 /* specific gas constant, J/(kg K) */

static const struct term {
	int i, j;
	double n;
} table2[] = {
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

#define TERMS (sizeof(table2) / sizeof(table2[0]))

double water97_volume(double t_c, double p_bar)
{
	double kelvin = t_c + 273.15, pascal = p_bar * 1e5;
	double pi = pascal / 16.53e6, tau = 1386.0 / kelvin;
	double gamma_pi = 0.0;
	for (size_t k = 0; k < TERMS; k++) {
		const struct term *t = &table2[k];
		gamma_pi -=
			t->n * t->i * pow(7.1 - pi, t->i - 1) * pow(tau - 1.222, t->j);
	}
	return pi * gamma_pi * R_J * kelvin / pascal;
}

double water97_enthalpy(double t_c, double p_bar)
{
	double kelvin = t_c + 273.15;
	double pi = p_bar * 1e5 / 16.53e6, tau = 1386.0 / kelvin;
	double gamma_tau = 0.0;
	for (size_t k = 0; k < TERMS; k++) {
		const struct term *t = &table2[k];
		gamma_tau +=
			t->n * pow(7.1 - pi, t->i) * t->j * pow(tau - 1.222, t->j - 1);
	}
	return tau * gamma_tau * R_J * kelvin;
}
