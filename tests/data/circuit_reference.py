"""Makes circuit_rows.csv and circuit_answers.csv: drawn days of a circuit's pressure and flow, and
what numpy 1.24.2's least squares make of them (Student's t of 95 % by scipy 1.10.1; intervals inflated
by sqrt((1 + rho)/(1 - rho)) with as many independent rows as the others are worth, rho over neighbours
as in fit.h and without the bias that p coefficients of n rows give it, (p + 4 rho)/n). That these hold
the truth as often as they say is circuit_coverage.py's to show. Not needed to run the tests.

Usage: circuit_reference.py DIRECTORY
"""
import math
import random
import sys

import numpy as np
from scipy.stats import t as student

MONTH_DAYS, COLD_C = 30.4375, 20.0
HEAD = "# Own drawn days (seed 7) and numpy's least squares of them; circuit_reference.py. COMPUTED.\n"


def drawn(n, phi, sd):
    noise, e = [], 0.0
    for _ in range(n):
        e = phi * e + random.gauss(0, sd)
        noise.append(e)
    return noise


def intervals(x, y):
    """Coefficients, their covariance, and what standard errors are multiplied by."""
    n, p = x.shape
    of_design = np.linalg.inv(x.T @ x)
    b = np.linalg.lstsq(x, y, rcond=None)[0]
    e = y - x @ b
    rho = sum(e[1:] * e[:-1]) / (sum(e[1:] ** 2 + e[:-1] ** 2) / 2)
    rho = min(max(rho + (p + 4 * rho) / n, 0), 0.95)
    worth = max((n - p) * (1 - rho) / (1 + rho), 2)
    return b, of_design * (e @ e) / (n - p), student.ppf(0.975, worth) * math.sqrt((1 + rho) / (1 - rho))


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
    b, covariance, t = intervals(x, np.array(bar))
    end = np.array([1, months[-1], 0])
    sd = np.sqrt(np.diag(covariance))
    answers = [("cold_bar", end @ b, t * math.sqrt(end @ covariance @ end)),
               ("bar_a_month", b[1], t * sd[1]), ("bar_a_kelvin", b[2], t * sd[2])]
    x = np.column_stack([np.ones(n), months - months[-1], np.array(outdoor) - np.mean(outdoor)])
    b, covariance, t = intervals(x, np.array(lpm))
    sd = np.sqrt(np.diag(covariance))
    answers += [("lpm", b[0], t * sd[0]), ("lpm_a_month", b[1], t * sd[1])]
    with open(f"{directory}/circuit_answers.csv", "w") as f:
        f.write(HEAD + "what,value,low\n")
        for what, value, pm in answers:
            f.write(f"{what},{value:.12g},{value - pm:.12g}\n")


main(sys.argv[1])
