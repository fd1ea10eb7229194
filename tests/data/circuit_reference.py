"""Makes circuit_rows.csv and circuit_answers.csv: drawn days of a circuit's pressure and flow, and
what statsmodels 0.13.5 makes of them (Student's t of 95 % by scipy 1.10.1; intervals inflated by
sqrt((1 + rho)/(1 - rho)), rho over neighbours as in fit.h). Not needed to run the tests.

Usage: circuit_reference.py DIRECTORY
"""
import math
import random
import sys

import numpy as np
import statsmodels.api as sm
from scipy.stats import t as student

MONTH_DAYS, COLD_C = 30.4375, 20.0
HEAD = "# Own drawn days (seed 7) and statsmodels' least squares of them; circuit_reference.py. COMPUTED.\n"


def drawn(n, phi, sd):
    noise, e = [], 0.0
    for _ in range(n):
        e = phi * e + random.gauss(0, sd)
        noise.append(e)
    return noise


def intervals(x, y):
    fit = sm.OLS(y, x).fit()
    e = fit.resid
    rho = sum(e[1:] * e[:-1]) / (sum(e[1:] ** 2 + e[:-1] ** 2) / 2)
    wider = math.sqrt((1 + rho) / (1 - rho)) if rho > 0 else 1
    return fit, student.ppf(0.975, len(y) - x.shape[1]) * wider


def main(directory):
    random.seed(7)
    n = 70
    water = [27 + 4 * math.sin(0.8 * i) + random.gauss(0, 1) for i in range(n)]
    outdoor = [8 + 5 * math.sin(0.3 * i) + random.gauss(0, 2) for i in range(n)]
    bar = [round(1.45 - 0.02 * i / MONTH_DAYS + 0.0062 * (w - COLD_C) + e, 6)
           for i, w, e in zip(range(n), water, drawn(n, 0.4, 0.004))]
    lpm = [round(17.6 - 0.3 * i / MONTH_DAYS - 0.04 * o + e, 6)
           for i, o, e in zip(range(n), outdoor, drawn(n, 0.3, 0.05))]
    water, outdoor = [round(w, 6) for w in water], [round(o, 6) for o in outdoor]
    with open(f"{directory}/circuit_rows.csv", "w") as f:
        f.write(HEAD + "set,day,outdoor_c,value,water_c\n")
        for i in range(n):
            f.write(f"pressure,{i},{outdoor[i]},{bar[i]},{water[i]}\n")
        for i in range(n):
            f.write(f"flow,{i},{outdoor[i]},{lpm[i]},0\n")
    # Days begin at local midnights: October has one of 25 hours, June none.
    months = np.array([i / MONTH_DAYS for i in range(n)])
    x = np.column_stack([np.ones(n), months, np.array(water) - COLD_C])
    fit, t = intervals(x, np.array(bar))
    end = np.array([1, months[-1], 0])
    answers = [("cold_bar", end @ fit.params, t * math.sqrt(end @ fit.cov_params() @ end)),
               ("bar_a_month", fit.params[1], t * fit.bse[1]), ("bar_a_kelvin", fit.params[2], t * fit.bse[2])]
    x = np.column_stack([np.ones(n), months - months[-1], np.array(outdoor) - np.mean(outdoor)])
    fit, t = intervals(x, np.array(lpm))
    answers += [("lpm", fit.params[0], t * fit.bse[0]), ("lpm_a_month", fit.params[1], t * fit.bse[1])]
    with open(f"{directory}/circuit_answers.csv", "w") as f:
        f.write(HEAD + "what,value,low\n")
        for what, value, pm in answers:
            f.write(f"{what},{value:.12g},{value - pm:.12g}\n")


main(sys.argv[1])
