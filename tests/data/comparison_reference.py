#!/usr/bin/env python3
"""A comparison of days before and after a change, by numpy, scipy and statsmodels.

Usage: comparison_reference.py HOURLY_TEMPERATURE DAILY_GAS DAILY_ELECTRICITY ROWS ANSWERS

Reads a station's hours (degF) and a house's daily gas (therm) and electricity (kWh), the sample
meters of weather/README.md's first source, whole length. Writes the days of 16 December 2015 to
31 March 2017 and what changed on 16 December 2016. Gas stands for the heat. Electricity for it and
the room are drawn here (their seed below), with 8 % less electricity from the change on. The models
are those of include/heatbook/comparison.h, written anew: a term that is held near 0 is one row more
for statsmodels' least squares; the end of the line by scipy's bounded minimum in each gap.
"""
import datetime
import sys

import numpy
import pandas
import scipy.optimize
import scipy.stats
import statsmodels.api

YEAR_D = 365.2425
KWH_PER_THERM = 29.3001
FIRST, CHANGE, END = "2015-12-16", "2016-12-16", "2017-04-01"


def read_days(hours, gas, electricity):
    t = pandas.read_csv(hours)
    t["date"] = t.iloc[:, 0].str[:10]
    outdoor = ((t.groupby("date").mean(numeric_only=True).iloc[:, 0] - 32.0) / 1.8)
    days = pandas.DataFrame({"outdoor": outdoor, "before": outdoor.shift(1)})
    for name, path, factor in (("heat", gas, KWH_PER_THERM), ("whole", electricity, 1.0)):
        v = pandas.read_csv(path)
        days[name] = pandas.Series(v["value"].values * factor, v["start"].str[:10])
    days = days.loc[FIRST:END].iloc[:-1]
    rng = numpy.random.default_rng(20161216)
    days["day"] = [(datetime.date.fromisoformat(d) - datetime.date(1970, 1, 1)).days
                   for d in days.index]
    per = 0.36 - 0.006 * days["outdoor"]
    after = days.index >= CHANGE
    days["electricity"] = (days["heat"] * per * (1 + 0.02 * rng.standard_normal(len(days)))
                           * numpy.where(after, 0.92, 1.0) + 0.3)
    days["room"] = 21 + 0.01 * days["outdoor"] + 0.1 * rng.standard_normal(len(days))
    return days.round({c: 4 for c in ("outdoor", "before", "heat", "whole", "electricity", "room")})


def heating_ends(x, y):
    """Where the line that ends does, by the least squares left."""
    def left(at):
        a = numpy.column_stack([numpy.ones_like(x), numpy.maximum(0.0, at - x)])
        return numpy.sum((y - a @ numpy.linalg.lstsq(a, y, rcond=None)[0]) ** 2)
    knots = numpy.unique(x)[7:-3]
    found = [scipy.optimize.minimize_scalar(left, bounds=(a, b), method="bounded",
                                            options={"xatol": 1e-10})
             for a, b in zip(knots, knots[1:])]
    return min(found, key=lambda f: f.fun).x


def harmonics(day):
    turn = 2 * numpy.pi * day / YEAR_D
    return [numpy.cos(turn), numpy.sin(turn), numpy.cos(2 * turn), numpy.sin(2 * turn)]


class Model:
    def __init__(self, x, y, when, held):
        held = numpy.array(held)
        self.n, self.held = len(y), held
        free = x[:, held == 0]
        self.rest(statsmodels.api.OLS(y, free).fit(), free, y, when)
        for _ in range(3):
            more = numpy.diag(numpy.where(held > 0, self.s * self.inflation /
                                          numpy.where(held > 0, held, 1), 0))[held > 0]
            self.fit = statsmodels.api.OLS(numpy.r_[y, numpy.zeros(len(more))],
                                           numpy.vstack([x, more])).fit()
            self.rest(self.fit, x, y, when)
        self.t = scipy.stats.t.ppf(0.975, self.fit.df_resid)
        self.parts = self.without(numpy.vstack([x, more]), numpy.r_[y, numpy.zeros(len(more))])

    def without(self, x, y):
        """Coefficients with one fortnight left out each, or a quarter of few days."""
        each = 14 if self.n >= 56 else -(-self.n // 4)
        parts = []
        for to in range(self.n, 0, -each):
            keep = numpy.ones(len(y), bool)
            keep[max(0, to - each):to] = False
            parts.append(statsmodels.api.OLS(y[keep], x[keep]).fit().params)
        return numpy.array(parts)

    def rest(self, fit, x, y, when):
        r = y - x @ fit.params
        pair = numpy.diff(when) == 1
        a, b = r[:-1][pair], r[1:][pair]
        rho = numpy.sum(a * b) / numpy.sum((a * a + b * b) / 2)
        rho = min(0.95, max(0.0, rho + (1 + 4 * max(0.0, rho)) / len(y)))
        self.rho, self.inflation = rho, numpy.sqrt((1 + rho) / (1 - rho))
        self.s = numpy.sqrt(fit.mse_resid)

    def half(self, sums, rows):
        of_model = self.t * self.inflation * numpy.sqrt(sums @ self.fit.cov_params() @ sums)
        g = len(self.parts)
        by_parts = numpy.var(self.parts @ sums) * (g - 1)
        return numpy.hypot(max(of_model, self.t * numpy.sqrt(by_parts)), self.t * self.inflation * numpy.sqrt(rows))


def answer(days):
    before, after = days[days.index < CHANGE], days[days.index >= CHANGE]
    below = heating_ends(before["outdoor"].values, before["heat"].values) - 1.0
    before = before[before["outdoor"] <= below]
    after = after[(after["outdoor"] <= below) & (after["outdoor"] >= before["outdoor"].min())
                  & (after["outdoor"] <= before["outdoor"].max())]
    mean, heat_mean = before["outdoor"].mean(), before["heat"].mean()
    per = before["electricity"].mean() / heat_mean
    slope = {c: abs(numpy.polyfit(before["outdoor"], before[c], 1)[0]) for c in ("heat", "whole")}

    def weather(d, c):
        off, one = d["outdoor"].values - mean, numpy.ones(len(d))
        s = slope[c]
        return (numpy.column_stack([one, off, (d["before"] - d["outdoor"]).values, off ** 2 / 100,
                                    *harmonics(d["day"].values)]),
                [0, 0, 0, 0.3 * s, 1.0 * s, 1.0 * s, 0.3 * s, 0.3 * s])

    def electric(d, q):
        off, one = d["outdoor"].values - mean, numpy.ones(len(d))
        return (numpy.column_stack([one, q, q * off, q * off ** 2 / 100,
                                    (q - heat_mean) ** 2 / heat_mean,
                                    *[q * h for h in harmonics(d["day"].values)]]),
                [0, 0, 0, 0.02 * per, 0.05 * per, 0.01 * per, 0.01 * per, 0.005 * per, 0.005 * per])

    def room(d):
        off, one = d["outdoor"].values - mean, numpy.ones(len(d))
        return (numpy.column_stack([one, off, *harmonics(d["day"].values)]),
                [0, 0, 0.15, 0.15, 0.1, 0.1])

    def made(terms, name, *more):
        x, held = terms(before, *[m(before) for m in more])
        model = Model(x, before[name].values, before["day"].values, held)
        x2 = terms(after, *[m(after) for m in more])[0]
        off = x2 @ model.fit.params - after[name].values
        model.scatter = max(model.s, numpy.std(off, ddof=1))
        model.rows, model.off = x2, off.sum()
        model.wide = model.half(x2.sum(axis=0), len(after) * model.scatter ** 2)
        return model

    heat = made(lambda d: weather(d, "heat"), "heat")
    whole = made(lambda d: weather(d, "whole"), "whole")
    rooms = made(room, "room")
    e = made(electric, "electricity", lambda d: d["heat"].values)
    q = heat.rows @ heat.fit.params
    foretold = electric(after, q)[0] @ e.fit.params
    by_heat = foretold.sum() - (e.rows @ e.fit.params).sum()
    each = (foretold - e.fit.params[0]) / q
    heat_wide = heat.half(each @ heat.rows, numpy.sum(each ** 2) * heat.scatter ** 2)
    n = len(after)
    out = {"compared_before": (len(before), 0), "compared_after": (n, 0),
           "heating_below_c": (below, 0),
           "saving_kwh": (e.off + by_heat, numpy.hypot(e.wide, heat_wide)),
           "by_efficiency_kwh": (e.off, e.wide), "by_heat_kwh": (by_heat, heat_wide),
           "heat_saving_kwh": (heat.off, heat.wide), "saving_in_all_kwh": (whole.off, whole.wide),
           "room_shift_k": (-rooms.off / n, rooms.wide / n)}
    for name, m in (("heat", heat), ("electricity", e), ("electricity_in_all", whole),
                    ("room_temperature", rooms)):
        out["rho of " + name] = (m.rho, 0)
    return out


def main():
    days = read_days(*sys.argv[1:4])
    with open(sys.argv[4], "w", encoding="ascii") as f:
        f.write("# Days of a house for a comparison: outdoor temperature of a station in Illinois and "
                "its sample meters (weather/README.md, Apache-2.0);\n# electricity for heat and room "
                "drawn by comparison_reference.py; heat is the gas. Changed on day 17151.\n")
        columns = ["day", "outdoor", "before", "heat", "electricity", "whole", "room"]
        f.write(",".join(columns) + "\n")
        for r in days[columns].itertuples(index=False):
            f.write(f"{r[0]}," + ",".join(f"{v:.4f}" for v in r[1:]) + "\n")
    with open(sys.argv[5], "w", encoding="ascii") as f:
        f.write("# What changed on day 17151 of comparison_rows.csv, by numpy 1.24.2, scipy 1.10.1 "
                "and statsmodels 0.13.5 (comparison_reference.py). Computed.\nwhat,value,half\n")
        for name, (value, half) in answer(days).items():
            f.write(f"{name},{value:.12g},{half:.12g}\n")


main()
