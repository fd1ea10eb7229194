"""What scipy, statsmodels and exact fractions make of fits and quantiles: made the files beside it by

    /usr/bin/python3 tests/data/fit_reference.py tests/data

fit_quantiles.csv  quantiles of Student's t (two sides) and of F, scipy 1.10.1
fit_ols_data.csv   two sets: drawn days (four columns and a constant, days missing), and Longley's
                   (NIST Statistical Reference Datasets, public domain, by statsmodels' own copy)
fit_ols_answers.csv  of both, coefficients and covariances by exact fractions, the rest by statsmodels 0.13.5
"""
import pathlib
import sys
from fractions import Fraction

import numpy
import scipy.stats
import statsmodels.api
from statsmodels.datasets import longley

OUT = pathlib.Path(sys.argv[1])


def quantiles(out):
    print("# Quantiles by scipy 1.10.1 (fit_reference.py): t of two sides, F of one. Computed.\n"
          "kind,df1,df2,confidence,quantile", file=out)
    for df in (1, 1.5, 2, 3, 4.7, 10, 27, 30, 60, 120, 363, 3650, 1e5):
        for confidence in (0.5, 0.8, 0.9, 0.95, 0.99, 0.999):
            t = scipy.stats.t.isf((1 - confidence) / 2, df)
            print(f"t,,{df!r},{confidence},{float(t)!r}", file=out)
    for df1 in (1, 2, 3, 8.5, 200):
        for df2 in (1, 4, 27, 61.3, 362, 1e5):
            for confidence in (0.01, 0.5, 0.95, 0.99):
                f = scipy.stats.f.ppf(confidence, df1, df2)
                print(f"f,{df1!r},{df2!r},{confidence},{float(f)!r}", file=out)


def drawn():
    """Days whose residuals follow each other; some are missing."""
    draw = numpy.random.default_rng(20260)
    when = numpy.sort(draw.choice(75, 60, replace=False)) + 20000
    t = 6 - 8 * numpy.cos(when / 50) + draw.normal(0, 3, 60)
    x = numpy.column_stack([numpy.ones(60), numpy.maximum(0, 15 - t), draw.uniform(55, 99, 60),
                            when % 7 >= 5, 1e5 * draw.normal(0, 1, 60)])
    e = numpy.zeros(60)
    for i in range(60):
        e[i] = draw.normal(0, 4) + (0.6 * e[i - 1] if i else 0)
    return when, x.round(6), (x @ [7, 4.3, -0.05, 3.5, 1e-5] + e).round(6)


def exactly(x, y):
    """Coefficients and their covariance by normal equations in fractions."""
    x = [[Fraction(float(v)) for v in row] for row in x]
    y = [Fraction(float(v)) for v in y]
    n, p = len(x), len(x[0])
    a = [[sum(r[i] * r[j] for r in x) for j in range(p)] + [Fraction(i == j) for j in range(p)]
         for i in range(p)]
    for i in range(p):
        a[i] = [u / a[i][i] for u in a[i]]
        for j in range(p):
            if j != i:
                a[j] = [u - a[j][i] * v for u, v in zip(a[j], a[i])]
    inverse = [row[p:] for row in a]
    right = [sum(r[i] * v for r, v in zip(x, y)) for i in range(p)]
    b = [sum(u * v for u, v in zip(row, right)) for row in inverse]
    sse = sum((v - sum(c * u for c, u in zip(b, r))) ** 2 for r, v in zip(x, y))
    return [float(v) for v in b], [[float(v * sse / (n - p)) for v in row] for row in inverse]


def answers(out, name, when, x, y, new):
    fit = statsmodels.api.OLS(y, x).fit()
    tell = lambda what, value, i=0, j=0: print(f"{name},{what},{i},{j},{float(value)!r}", file=out)
    exact, covariance = exactly(x, y)
    assert numpy.allclose(exact, fit.params, rtol=1e-6)
    for i, b in enumerate(exact):
        tell("b", b, i)
    for i, row in enumerate(covariance):
        for j, value in enumerate(row):
            tell("covariance", value, i, j)
    tell("residual_sd", fit.mse_resid ** 0.5)
    tell("r_squared", fit.rsquared)
    e = dict(zip(when, fit.resid))
    pairs = [(e[d], e[d + 1]) for d in e if d + 1 in e]
    tell("autocorrelation", 2 * sum(a * b for a, b in pairs) / sum(a * a + b * b for a, b in pairs))
    told = fit.get_prediction(new)
    for i, row in enumerate(new):
        for j, value in enumerate(row):
            tell("new", value, i, j)
        tell("value", told.predicted_mean[i], i)
        tell("se_model", told.se_mean[i], i)
        tell("se_row", told.se_obs[i], i)
        tell("low", told.conf_int(obs=True, alpha=0.05)[i][0], i)
        tell("high", told.conf_int(obs=True, alpha=0.05)[i][1], i)
    # Of all of them together: what b is unsure of by its contrast, plus each row's scatter.
    total = new.sum(axis=0)
    contrast = fit.t_test(total)
    tell("sum", float(contrast.effect))
    tell("sum_se_model", float(contrast.sd))
    tell("sum_se", (float(contrast.sd) ** 2 + len(new) * fit.mse_resid) ** 0.5)


def main():
    with open(OUT / "fit_quantiles.csv", "w") as out:
        quantiles(out)
    when, x, y = drawn()
    sets = {"drawn": (when, x, y, numpy.array([[1, 20, 80, 0, 5e4], [1, 0, 60, 1, -1e5], [1, 31.5, 97, 0, 0]]))}
    data = longley.load_pandas()
    x = numpy.column_stack([numpy.ones(16), data.exog.values])
    sets["longley"] = (numpy.arange(16), x, data.endog.values, numpy.array([x[3] * 1.01]))
    with open(OUT / "fit_ols_data.csv", "w") as out:
        print("# drawn: numpy 1.24.2 (fit_reference.py); longley: NIST Statistical Reference Datasets, public "
              "domain. Computed; read.\nset,when,y,x …", file=out)
        for name, (when, x, y, _) in sets.items():
            for d, row, v in zip(when, x, y):
                print(name, d, repr(float(v)), *(repr(float(c)) for c in row), sep=",", file=out)
    with open(OUT / "fit_ols_answers.csv", "w") as out:
        print("# b and covariance by exact fractions, the rest by statsmodels 0.13.5 (fit_reference.py). Computed.\n"
              "set,what,i,j,value", file=out)
        for name, (when, x, y, new) in sets.items():
            answers(out, name, when, x, y, new)


main()
