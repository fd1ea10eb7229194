/* Liquid water by IAPWS-IF97 region 1, for the demo plant and its observer. */
#ifndef DEMO_WATER97_H
#define DEMO_WATER97_H

/* `t_c` 0..350 °C, `p_bar` absolute, above the vapour pressure. */
double water97_volume(double t_c, double p_bar);   /* m³/kg */
double water97_enthalpy(double t_c, double p_bar); /* J/kg */

#endif
