/*
 * See cop_curve.h. Coefficients: seen in the authors' repository (2019) and in public
 * code bases that quote the other (2012).
 */
#include <heatbook/cop_curve.h>

#include <heatbook/base.h>

#include <math.h>

#define ZERO_C_IN_K  273.15
#define FIELD_FACTOR 0.85 /* of the authors of the fit of 2019 */

double cop_carnot(double flow_c, double outdoor_c)
{
	double lift_k = flow_c - outdoor_c;
	return lift_k > 0.0 ? (flow_c + ZERO_C_IN_K) / lift_k : (double)NAN;
}

double cop_of_2019(double lift_k)
{
	double d = fmax(lift_k, COP_LEAST_LIFT_K);
	return 6.0801 - 0.0941 * d + 0.0005 * d * d;
}

double cop_of_2012(double lift_k)
{
	double d = fmax(lift_k, COP_LEAST_LIFT_K);
	return 6.81 - 0.121 * d + 0.00063 * d * d;
}

struct cop_band cop_band(double lift_k)
{
	double a = cop_of_2019(lift_k), b = cop_of_2012(lift_k);
	return (struct cop_band){fmin(FIELD_FACTOR * a, b), fmax(a, b)};
}
