"""Three errors that accounts of heat pumps are prone to, on days of the demo plant on which each
costs most: factors that are averaged before they are multiplied, means of ratios, and defrosts
that are clipped at zero. What each would cost is worked out beside, so that a test that passes
says by how much; what heatbook answers is held against the plant's own observer.

Usage: classic_errors.py HEATBOOKD DEMO_PLANT
"""
import collections
import csv
import datetime
import sys
import zoneinfo

from iapws.iapws97 import _Region1

from rig import Rig
from tap import tests

ZONE = zoneinfo.ZoneInfo("Europe/Berlin")
UNIT = "boundary=H2%2Bcirculation"
# begin of the messages, first whole day, end
FROSTY = ("2025-02-22", "2025-02-23", "2025-02-26")  # a degree above freezing, and damp
MILD = ("2025-04-21", "2025-04-22", "2025-04-26")    # it cycles
STEPS_S = {"PT1M": 60, "PT15M": 900, "PT1H": 3600}
FACTORS = ("flow_rate", "flow_temperature", "return_temperature")


def midnight(date):
    return int(datetime.datetime.fromisoformat(date).replace(tzinfo=ZONE).timestamp())


class Span:
    def __init__(self, rig, dates):
        begin, first, end = dates
        self.begin_s, self.end_s = midnight(first), midnight(end)
        config = rig.demo(first)
        truth = rig.dir / f"{first}.csv"
        archive = rig.archive(begin, end, "--truth", truth, out=f"{first}.txt")
        rig.done("import", config, archive)
        self.truth = collections.Counter()
        with open(truth, encoding="ascii", newline="") as f:
            for r in csv.DictReader(f):
                at_s = int(r["minute_epoch_s"])
                if not self.begin_s <= at_s < self.end_s:
                    continue
                day = datetime.datetime.fromtimestamp(at_s, ZONE).date().isoformat()
                heat = float(r["heat_j"] or 0) / 3.6e6
                for key in ("heat", day, *(["defrost"] if r["mode"] == "defrost" else [])):
                    self.truth[key] += heat
                self.truth["unit"] += float(r["unit_j"] or 0) / 3.6e6
        self.daemon = rig.serve(config)

    def energy(self, step):
        return self.daemon.get(f"/v1/energy?from={self.begin_s}&to={self.end_s}&step={step}"
                               f"&by=mode&{UNIT}").json()

    def by_averaged_factors(self, step):
        """kWh of the product of means, each step's."""
        length_s, total = STEPS_S[step], 0.0
        for at_s in range(self.begin_s, self.end_s, 360 * length_s):
            to_s = min(self.end_s, at_s + 360 * length_s)
            means = self.daemon.get(f"/v1/series?from={at_s}&to={to_s}&step={step}&channels="
                                    + ",".join(FACTORS)).json()["columns"]
            for flow, warm, cool in zip(*(means[name] for name in FACTORS)):
                total += kwh(flow, warm, cool, length_s)
        return total


def kwh(lpm, flow_c, return_c, seconds):
    flow, back = (_Region1(t + 273.15, 0.2) for t in (flow_c, return_c))
    return lpm / 60000 / back["v"] * (flow["h"] - back["h"]) * seconds / 3600


def percent(value, of):
    return 100 * (value / of - 1)


def averaged_factors(tap, span):
    heat = span.energy("P1D")["total"]["heat_kwh"]
    tap.ok(abs(percent(heat, span.truth["heat"])) < 0.001, "heat is that of products at each "
           "change of a factor", f"{heat} kWh, observer {span.truth['heat']}")
    # Least and most that the error costs on these days, percent; by the minute hardly any.
    for step, least, most in (("PT1M", -0.3, 0.3), ("PT15M", -5, -1), ("PT1H", -20, -8)):
        cost = percent(span.by_averaged_factors(step), heat)
        tap.ok(least <= cost <= most, f"means multiplied by {step} would cost {cost:.2f} %")


def means_of_ratios(tap, span):
    answer = span.energy("P1D")
    ratio = span.truth["heat"] / span.truth["unit"]
    tap.near(answer["total"]["cop"], ratio, 2e-5 * ratio, "the span's quotient is of its sums")
    for step, least in (("PT1H", 1), ("P1D", 1)):
        of_step = [c for c in span.energy(step)["columns"]["cop"] if c is not None]
        cost = percent(sum(of_step) / len(of_step), ratio)
        tap.ok(abs(cost) >= least, f"the mean of {len(of_step)} quotients by {step} would be "
               f"{cost:+.2f} % off")
    for step in ("P1M", "P1W"):
        columns = span.energy(step)["columns"]
        for i, cop in enumerate(columns["cop"]):
            sums = columns["paired_heat_kwh"][i] / columns["paired_electricity_kwh"][i]
            tap.near(cop, sums, 1e-6, f"{step} {i + 1}: a quotient of sums, not of its days'")


def clipped_defrosts(tap, span):
    answer = span.energy("P1D")
    worst = 0
    for t, heat, drawn in zip(answer["columns"]["t"], answer["columns"]["heat_kwh"],
                              answer["modes"]["defrost"]["heat_kwh"]):
        day = datetime.datetime.fromtimestamp(t, ZONE).date().isoformat()
        tap.near(heat, span.truth[day], 1e-5 * heat, f"{day}: heat is net")
        tap.ok(drawn < 0, f"{day}: what its defrosts drew stands in their mode", drawn)
        worst = max(worst, percent(heat - drawn, heat))
    tap.ok(worst >= 4.5, f"on the frostiest day a clipped defrost would add {worst:.2f} %")
    total = sum(answer["modes"]["defrost"]["heat_kwh"])
    tap.near(total, span.truth["defrost"], 1e-5 * abs(total), "they are the observer's")
    flattered = percent(answer["total"]["heat_kwh"] - total, answer["total"]["heat_kwh"])
    tap.note(f"defrosts clipped over the whole span: {flattered:+.2f} % of heat and efficiency")


with tests() as tap_of_main:
    with Rig(*sys.argv[1:3]) as rig_of_main:
        mild = Span(rig_of_main, MILD)
        averaged_factors(tap_of_main, mild)
        means_of_ratios(tap_of_main, mild)
        clipped_defrosts(tap_of_main, Span(rig_of_main, FROSTY))
