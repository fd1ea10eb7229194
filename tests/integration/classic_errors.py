"""Three errors that accounts of heat pumps are prone to, on days of the demo plant on which each
costs most: factors that are averaged before they are multiplied, means of ratios, and defrosts
that are clipped at zero. What each would cost is worked out beside, so that a test that passes
says by how much; what heatbook answers is held against the plant's own observer. The second one again on a season by
EN 14825's bins (tests/data/en14825_bins.csv, second-hand; scop_simple_example.csv, computed).

Usage: classic_errors.py HEATBOOKD DEMO_PLANT
"""
import collections
import csv
import datetime
import json
import sys
import zoneinfo

from iapws.iapws97 import _Region1

from rig import DATA, Rig
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


SEASON = """[plant]
zone = UTC
heat_source = power
[channel heat_power]
[channel unit_power]
unit = W
[meter unit]
feeds = compressor
power = unit_power
[table season]
files = *.csv
time = time
time_form = s
interval = 1 h
column.heat_power = heat
column.unit_power = power
[store]
file = @DIR@/heatbook.db
[journal]
tail = @DIR@/tail
"""


def check_rows(name):
    with open(DATA / name, newline="") as f:
        return list(csv.DictReader(line for line in f if not line.startswith("#")))


def season_by_bins(tap, rig):
    """A season of hours, one after the other as the bins have them, each at its own efficiency."""
    wanted = check_rows("scop_simple_example.csv")[0]
    assert wanted["COP_law"] == "linear 2.0 at -10 C to 4.5 at 15 C"
    path, at_s = rig.dir / "season.csv", midnight("2024-01-01")
    with open(path, "w", encoding="ascii") as f:
        f.write("time,heat,power\n")
        for row in check_rows("en14825_bins.csv"):
            if row["climate"] != "average":
                continue
            t_c = int(row["Tj_C"])
            heat = 1000 * float(wanted["Pdesignh_kW"]) * (16 - t_c) / 26
            for _ in range(int(row["hours"])):
                f.write(f"{at_s},{heat:.4f},{heat / (2 + (t_c + 10) / 10):.4f}\n")
                at_s += 3600
    config = rig.config("season", SEASON)
    rig.done("import", config, path)
    span = ("--from", "2023-12-31", "--to", "2024-12-31")
    total = json.loads(rig.done("report", config, *span, "--json").stdout)["total"]
    # Each minute is rounded to a joule, and an hour's sixty are alike.
    most = 4910 * 60 * 0.5 / 3.6e6
    tap.near(total["heat_kwh"], float(wanted["Q_kWh"]), most, "a season by bins: heat")
    tap.near(total["electricity_kwh"], float(wanted["E_kWh"]), most, "a season by bins: electricity")
    ratio, wrong = float(wanted["SCOP_ratio_of_sums"]), float(wanted["wrong_mean_of_COP"])
    tap.near(total["cop"], ratio, 1e-5, f"a season by bins: its quotient is of its sums, {ratio}")
    hours = csv.DictReader(rig.done("export", config, "--energy", "--step", "PT1H", *span
                                    ).stdout.decode().splitlines())
    cops = [float(row["cop [1]"]) for row in hours if row["cop [1]"]]
    tap.near(sum(cops) / len(cops), wrong, 1e-4,
             f"the mean of its {len(cops)} hours' quotients would be {percent(wrong, ratio):+.1f} % "
             "off")


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
        season_by_bins(tap_of_main, rig_of_main)
