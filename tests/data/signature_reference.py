"""What scipy and statsmodels make of lines that end: made the files beside it by

    /usr/bin/python3 tests/data/signature_reference.py tests/data

signature_rows.csv     sets of daily rows: drawn ones (numpy 1.24.2), and two of weather/: the gas of a
                       sample meter (synthetic), metered electricity, on the mean outdoor
                       temperature of local days
signature_answers.csv  of each, the end found by a fine grid and scipy's bounded minimiser, intervals by
                       scipy's root finder along the profile of squares, standard errors by statsmodels

It shares no code and no way of working with the daemon: it knows nothing of neighbours and segments.
"""
import pathlib
import sys

import numpy
import pandas
import scipy.optimize
import scipy.stats
import statsmodels.api

OUT = pathlib.Path(sys.argv[1])
WEATHER = OUT / "weather"


def drawn(seed, days, mean_c, swing_c, base, slope, at, scatter, follow, first=20000):
    draw = numpy.random.default_rng(seed)
    when = numpy.arange(first, first + days)
    keep = draw.uniform(0, 1, days) > 0.1
    noise, air = numpy.zeros(days), numpy.zeros(days)
    for i in range(1, days):
        air[i] = 0.8 * air[i - 1] + draw.normal(0, 2)
        noise[i] = follow * noise[i - 1] + draw.normal(0, scatter)
    x = mean_c - swing_c * numpy.cos(2 * numpy.pi * (when - first) / 365) + air
    y = base + slope * numpy.maximum(0, at - x) + noise * numpy.where(x < at, 1, 0.05)
    return when[keep], x[keep].round(4), y[keep].round(4)


def britain():
    """Local days of 2021, and the electricity that was metered there."""
    read = lambda name: pandas.read_csv(WEATHER / name).pipe(lambda t: pandas.Series(
        t.iloc[:, 1].values, index=pandas.to_datetime(t.iloc[:, 0], utc=True).dt.tz_convert("Europe/London")))
    days = read("uk_hourly_tempC_2021.csv.gz").resample("D").mean()
    used = read("uk_hourly_electricity_kWh_2021.csv.gz").resample("D").agg(["sum", "count"])
    used = used[used["count"] >= 23]["sum"].reindex(days.index).dropna()
    days = days.reindex(used.index).dropna()
    used = used.reindex(days.index)
    return (numpy.array([d.toordinal() - 719163 for d in days.index]), days.values.round(4), used.values.round(4))


def illinois():
    """Local days of the station in 2016, and the gas of the sample meter of that place, as kWh."""
    hours = pandas.read_csv(WEATHER / "il_hourly_tempF_2016.csv.gz")
    local = pandas.to_datetime(hours.iloc[:, 0], utc=True).dt.tz_convert("America/Chicago")
    celsius = pandas.Series((hours.iloc[:, 1].values - 32) * 5 / 9, index=local)
    days = celsius.resample("D").mean()
    gas = pandas.read_csv(WEATHER / "il_daily_gas_therm_2016.csv")
    used = pandas.Series(gas.iloc[:, 1].values, index=pandas.to_datetime(gas.iloc[:, 0], utc=True)
                         .dt.tz_convert("America/Chicago").dt.strftime("%Y-%m-%d"))
    both = [(d.toordinal() - 719163, c, used[str(d.date())]) for d, c in days.items()
            if str(d.date()) in used.index]
    when, x, y = (numpy.array(v) for v in zip(*[b for b in both if not numpy.isnan(b[2])]))
    return when, x.round(4), (y * 29.3071).round(4)


def squares(x, y, at):
    """Least squares with the end at `at`, and base and slope there."""
    columns = numpy.column_stack([numpy.ones(len(x)), numpy.maximum(0, at - x)])
    b, *_ = numpy.linalg.lstsq(columns, y, rcond=None)
    return float(((y - columns @ b) ** 2).sum()), b


def find_end(x, y):
    low, high = numpy.sort(x)[1], x.max()
    grid = numpy.linspace(low, high, 4001)
    # A wrong-way slope is no answer.
    told = [s if b[1] > 0 else numpy.inf for s, b in (squares(x, y, t) for t in grid)]
    at = int(numpy.argmin(told))
    places = [grid[max(at - 1, 0)], *x[(x > grid[max(at - 1, 0)]) & (x < grid[min(at + 1, 4000)])],
              grid[min(at + 1, 4000)]]
    best = (told[at], grid[at])
    for a, b in zip(sorted(places), sorted(places)[1:]):
        r = scipy.optimize.minimize_scalar(lambda t: squares(x, y, t)[0], bounds=(a, b), method="bounded",
                                           options={"xatol": 1e-11})
        best = min(best, (r.fun, r.x), *((squares(x, y, t)[0], t) for t in (a, b)))
    return best


def follow(when, e):
    e = dict(zip(when, e))
    pairs = [(e[d], e[d + 1]) for d in e if d + 1 in e]
    return 2 * sum(a * b for a, b in pairs) / sum(a * a + b * b for a, b in pairs)


def edges(x, y, at, limit):
    """Outermost places where the profile comes down to the limit; None: it does not at the end."""
    grid = numpy.union1d(numpy.linspace(x.min() + 1e-9, x.max(), 3001), x[x > x.min()])
    inside = [t for t in grid if squares(x, y, t)[0] <= limit] + [at]
    found = []
    for edge, others in ((min(inside), grid[grid < min(inside)][::-1]), (max(inside), grid[grid > max(inside)])):
        found.append(scipy.optimize.brentq(lambda t: squares(x, y, t)[0] - limit, *sorted((edge, others[0])),
                                           xtol=1e-12) if len(others) else None)
    return found


def judge(when, x, y, below, fitted):
    e = (y - fitted)[below]
    k = int(below.sum())
    scatter = (e @ e / (k - 2)) ** 0.5
    rho = follow(when[below], e)
    wider = ((1 + rho) / (1 - rho)) ** 0.5 if rho > 0 else 1
    t = scipy.stats.t.isf(0.025, max(1, k / wider ** 2 - 2))
    return k, scatter, rho, wider, t


def answers(out, name, when, x, y, design):
    tell = lambda what, value: print(f"{name},{what},{'' if value is None else repr(float(value))}", file=out)
    least, at = find_end(x, y)
    base, slope = squares(x, y, at)[1]
    fitted = base + slope * numpy.maximum(0, at - x)
    below = x < at
    k, scatter, rho, wider, t = judge(when, x, y, below, fitted)
    limit = least + (t * wider * scatter) ** 2
    low, high = edges(x, y, at, limit)
    ends = high is not None and len(x) - k >= 3
    if ends:
        columns = numpy.column_stack([numpy.ones(len(x)), numpy.maximum(0, at - x), below])
        p, contrast = 3, [0, at - design, 1]
    else:
        columns, below = numpy.column_stack([numpy.ones(len(x)), -x]), numpy.ones(len(x), bool)
        p, contrast = 2, [1, -design]
    model = statsmodels.api.OLS(y, columns).fit()
    if not ends:
        base, slope, at, fitted = 0, model.params[1], model.params[0] / model.params[1], model.fittedvalues
        k, scatter, rho, wider, t = judge(when, x, y, below, fitted)
    unit = model.cov_params() / model.mse_resid
    sd = wider * scatter
    load, load_sd = slope * (at - design), sd * (contrast @ unit @ contrast) ** 0.5
    line_sd = load_sd
    if ends:  # the line below less the base, each by the scatter of its own rows
        beyond = (y - base)[~below]
        base_sd = wider * (beyond @ beyond / (len(x) - k - 1) / (len(x) - k)) ** 0.5
        line = statsmodels.api.OLS(y[below], statsmodels.api.add_constant(x[below])).fit()
        line_sd = line.get_prediction([[1, design]]).se_mean[0] / line.mse_resid ** 0.5 * sd
        load_sd = (line_sd ** 2 + base_sd ** 2) ** 0.5
    n, mean = len(x), y.mean()
    sse = float(((y - fitted) ** 2).sum())
    if ends:
        half = scipy.stats.t.isf(0.025, n - k - 1) * base_sd
    else:  # where the line's own interval of its response holds nothing
        nothing = lambda u: (model.params[0] - u * model.params[1]) ** 2 - (t * sd) ** 2 * (
            numpy.array([1, -u]) @ unit @ numpy.array([1, -u]))
        low = scipy.optimize.brentq(nothing, at - 60, at, xtol=1e-12)
        high = scipy.optimize.brentq(nothing, at, at + 60, xtol=1e-12)
    for what, value in (
            ("n", n), ("below", k), ("ends", ends), ("base", base), ("slope", slope), ("at", at), ("sse", sse),
            ("r_squared", 1 - sse / float(((y - mean) ** 2).sum())),
            ("cv_rmse_percent", 100 * (sse / (n - p)) ** 0.5 / mean), ("scatter_sd", scatter), ("rho", rho),
            ("slope_low", slope - t * sd * unit[1][1] ** 0.5), ("slope_high", slope + t * sd * unit[1][1] ** 0.5),
            ("at_low", low), ("at_high", high), ("base_low", base - half if ends else None),
            ("base_high", base + half if ends else None),
            ("design", design), ("load", load), ("load_low", load - t * load_sd), ("load_high", load + t * load_sd),
            # One more day: the line there, and the scatter of a day about it (se_obs, once inflated).
            ("day_low", base + load - t * (line_sd ** 2 + scatter ** 2) ** 0.5),
            ("day_high", base + load + t * (line_sd ** 2 + scatter ** 2) ** 0.5)):
        tell(what, value)


def main():
    sets = {"year": (drawn(1, 365, 9, 9, 2, 4.6, 15.3, 8, 0.5), -9),
            "autumn": (drawn(2, 80, 15, -3, 0, 3.9, 14, 5, 0.3), -12),
            "winter": (drawn(3, 70, 2, 2, 0, 4.4, 17, 6, 0.6), -9),
            "weak": (drawn(4, 60, 11, 4, 20, 3, 15, 9, 0.2), -5),
            "illinois": (illinois(), -18), "britain": (britain(), -4)}
    with open(OUT / "signature_rows.csv", "w") as rows, open(OUT / "signature_answers.csv", "w") as out:
        print("# Daily rows: drawn with numpy, or open data (weather/README.md), by signature_reference.py. "
              "Computed; read.\nset,day,x,y", file=rows)
        print("# Least squares of the line that ends, by scipy 1.10.1 and statsmodels 0.13.5 "
              "(signature_reference.py). Computed.\nset,what,value", file=out)
        for name, ((when, x, y), design) in sets.items():
            for row in zip(when, x, y):
                print(name, int(row[0]), repr(float(row[1])), repr(float(row[2])), sep=",", file=rows)
            answers(out, name, when, x, y, design)


main()
