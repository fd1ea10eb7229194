"""The efficiency map of demo weeks against the plant's own truth: bins add up, joule by joule, to
what the plant's observer books; each bin's efficiency is what its law of efficiency lets expect;
second-law fraction and season by own bins by plain evaluation beside the daemon's; what is missing
is named, and a rebuild gives the same rows.

Usage: efficiency_map.py HEATBOOKD DEMO_PLANT
"""
import collections
import csv
import sys

from rig import DATA, Rig, edit, wait_until
from tap import tests
from truth import days_of, local_midnight, read_truth

BEGIN, FIRST, END = "2024-12-31", "2025-01-01", "2025-01-15"
KWH = 3.6e6
WORKS = ("heating", "hot_water", "defrost")


def map_of(daemon, begin_s, end_s):
    def looked():
        answer = daemon.get(f"/v1/efficiency-map?from={begin_s}&to={end_s}&rows=yes")
        assert answer.status == 200, answer.body
        evidence = answer.json()["evidence"]
        return answer.json() if evidence["days"] == evidence["days_looked_at"] else None
    return wait_until(looked, "all days are looked at", 300)


def series(daemon, begin_s, end_s):
    """minute -> (outdoor, flow)"""
    means = {}
    for at_s in range(begin_s, end_s, 86400):
        answer = daemon.get("/v1/series?channels=outdoor_temperature,flow_temperature&step=PT1M"
                            f"&from={at_s}&to={min(at_s + 86400, end_s)}").json()["columns"]
        for t, *values in zip(answer["t"], answer["outdoor_temperature"],
                              answer["flow_temperature"]):
            means[int(t) // 60] = values
    return means


def nearest(value, width):
    """To the nearest multiple, halves away from 0."""
    n = int(abs(value) / width + 0.5)
    return (n if value >= 0 else -n) * width


def conditions(truth, means, days):
    """(mode, outdoor bin, flow bin) -> J of heat, electricity, their like by defrosts, and where
    the lift is 15 K and more electricity and what the ideal machine would take."""
    bins = collections.defaultdict(lambda: collections.Counter())
    for _, begin_s, end_s in days:
        last, waiting = None, []
        for minute in range(begin_s // 60, end_s // 60):
            rows = {mode: r for mode, r in truth[minute].items()  # the immersion's have no time
                    if mode in WORKS and int(r["ms"]) > 0}
            if rows and "defrost" not in rows:
                mode = "hot_water" if "hot_water" in rows else "heating"
                last = (mode, *means[minute])
                for mode_, r in waiting:
                    book(bins, mode_, r, last)
                waiting = []
            for mode, r in rows.items():
                if last:
                    book(bins, mode, r, last)
                else:
                    waiting.append((mode, r))
    return bins


def book(bins, mode, row, condition):
    served, outdoor, flow = condition
    heat, unit = float(row["heat_j"]), float(row["unit_j"])
    sums = bins[served if mode == "defrost" else mode, nearest(outdoor, 1), nearest(flow, 5)]
    if mode == "defrost":
        sums["defrost_heat"] += heat
        sums["defrost_electricity"] += unit
        return
    sums["heat"] += heat
    sums["electricity"] += unit
    sums["ms"] += int(row["ms"])
    if flow - outdoor >= 15:
        sums["lifted"] += unit
        sums["ideal"] += heat * (flow - outdoor) / (flow + 273.15)


def compare_bins(tap, told, wanted):
    rows = {(r["mode"], r["outdoor_c"], r["flow_c"]): r for r in told["rows"]}
    tap.equal(sorted(rows), sorted(wanted), "bins are those of the truth")
    worst = collections.Counter()
    for key, sums in wanted.items():
        for name in ("heat", "electricity", "defrost_heat", "defrost_electricity"):
            off = abs(rows[key][f"{name}_kwh"] * KWH - sums[name])
            worst[name] = max(worst[name], off / (1 + sums["ms"] / 60000))
        if sums["lifted"] > 36000:
            worst["second_law"] = max(
                worst["second_law"],
                abs(rows[key]["second_law"] - sums["ideal"] / sums["lifted"]))
        if sums["electricity"] > 36000:
            worst["cop"] = max(worst["cop"],
                               abs(rows[key]["cop"] - sums["heat"] / sums["electricity"]))
    for name in ("heat", "electricity", "defrost_heat", "defrost_electricity"):
        tap.ok(worst[name] < 2.0, f"{name} of each bin is the truth's, a joule a row",
               worst[name])
    tap.ok(worst["cop"] < 1e-3, "and so is its quotient", worst["cop"])
    tap.ok(worst["second_law"] < 1e-4, "and its second-law fraction", worst["second_law"])


def compare_paired(tap, daemon, told, begin_s, end_s):
    """Bins of a mode are the mode's paired sums at the unit's boundary."""
    energy = daemon.get(f"/v1/energy?from={begin_s}&to={end_s}&by=mode"
                        f"&boundary={told['boundary'].replace('+', '%2B')}").json()
    tap.equal(told["boundary"], "H2+circulation", "the boundary is the unit's")
    tap.equal(told["evidence"]["hours_without_temperatures"], 0, "no hour lacks a temperature")
    for name in ("heat", "electricity"):
        of = {"heating": f"{name}_kwh", "hot_water": f"{name}_kwh",
              "defrost": f"defrost_{name}_kwh"}
        for mode, column in of.items():
            got = sum(round(r[column] * KWH) for r in told["rows"]
                      if mode in ("defrost", r["mode"]))
            wanted = sum(round((v or 0) * KWH)
                         for v in energy["modes"][mode][f"paired_{name}_kwh"])
            tap.equal(got, wanted, f"{mode}: bins add up to the paired {name}")


def reference_hours():
    """outdoor -> hours and load of the average climate, out of the check's data."""
    with open(DATA / "en14825_bins.csv", encoding="utf-8") as f:
        rows = csv.DictReader(line for line in f if not line.startswith("#"))
        return {int(r["Tj_C"]): (int(r["hours"]), (int(r["Tj_C"]) - 16) / -26)
                for r in rows if r["climate"] == "average"}


def compare_season(tap, told):
    """Own bins laid over the average climate, worked out of the answer's rows."""
    own = collections.defaultdict(lambda: [0.0, 0.0, 0.0])
    for r in told["rows"]:
        if r["mode"] == "heating":
            own[r["outdoor_c"]][0] += r["heat_kwh"] + r["defrost_heat_kwh"]
            own[r["outdoor_c"]][1] += r["electricity_kwh"] + r["defrost_electricity_kwh"]
    reference = reference_hours()
    by_outdoor = {r["outdoor_c"]: r for r in told["by_outdoor"]}
    tap.equal(sorted(by_outdoor), sorted(reference), "all bins of the climate are told")
    heat = electricity = hours = whole = worst = 0.0
    for outdoor, (n, load) in reference.items():
        whole += n * load
        r = by_outdoor[outdoor]
        worst = max(worst, abs(r["heat_kwh"] - own[outdoor][0]))
        if not r["counts"]:
            continue
        hours += n
        heat += n * load
        electricity += n * load / (own[outdoor][0] / own[outdoor][1])
    tap.ok(worst < 1e-5, "own heat beside them is that of the bins", worst)
    tap.near(told["evidence"]["climate_heat_share"], heat / whole, 1e-5, "share of its heat")
    tap.near(told["evidence"]["climate_hours_share"],
             hours / sum(n for n, _ in reference.values()), 1e-5, "share of its hours")
    season = told["answer"]["season_by_own_bins"]
    tap.near(season["value"], heat / electricity, 2e-6, "the season by own bins")
    tap.ok(season["low"] < season["value"] < season["high"], "lies in its interval")


def law_of(outdoor, flow):
    """The demo plant's law at part load one, without frost."""
    d = max(15, flow - outdoor)
    return 1.1 * (6.0801 - 0.0941 * d + 0.000464 * d * d)


def compare_law(tap, told):
    """Part load moves the plant's quotient by −8 to +6 %, frost by −10 % at most; starts and ends
    of runs and the pump take a little, and a bin is 5 K wide."""
    odd = [(r["outdoor_c"], r["flow_c"], r["cop"]) for r in told["rows"]
           if r["mode"] == "heating" and r["hours"] >= 3
           and not 0.78 < r["cop"] / law_of(r["outdoor_c"], r["flow_c"]) < 1.10]
    seen = [r for r in told["rows"] if r["mode"] == "heating" and r["hours"] >= 3]
    tap.ok(len(seen) > 8, "there are bins to compare", len(seen))
    tap.equal(odd, [], "each bin's quotient is by the plant's own law")


def check_rebuild(tap, rig, config, told, begin_s, end_s):
    tap.equal(rig.verb("rebuild", config, "--from", "2025-01-06", "--to", "2025-01-08").returncode,
              0, "rebuild exits 0")
    daemon = rig.serve(config)
    again = map_of(daemon, begin_s, end_s)
    tap.ok(len(told["rows"]) > 100, "there are rows to compare", len(told["rows"]))
    tap.ok(again["rows"] == told["rows"] and again["answer"] == told["answer"],
           "days that are made anew say the same",
           [r for r in again["rows"] if r not in told["rows"]][:3])
    tap.equal(daemon.stop(), 0, "the daemon ends in good order")


def check_lacks(tap, rig, config, begin_s, end_s):
    """What the configuration lacks is named; sums do not hang on the source's kind."""
    edit(config, ("source_kind = air", "source_kind = ground"))
    daemon = rig.serve(config)
    told = map_of(daemon, begin_s, end_s)
    tap.ok(any("the air outside as the source" in m for m in told["missing"]),
           "a source that is no air is named", told["missing"])
    tap.ok("by_outdoor" not in told and "heating_second_law" not in told["answer"]
           and told["answer"]["heating_cop"]["value"] > 2, "only quotients are told then")
    early = daemon.get("/v1/efficiency-map?from=2020-01-01T00:00:00Z&to=2020-02-01T00:00:00Z")
    tap.ok(early.json()["answer"] is None and early.json()["missing"],
           "before there were rows there is no answer", early.body)
    tap.equal(daemon.stop(), 0, "the daemon ends in good order")


def main(tap, heatbookd, demo_plant):
    days = list(days_of(FIRST, END))
    begin_s, end_s = local_midnight(FIRST), local_midnight(END)
    with Rig(heatbookd, demo_plant) as rig:
        archive = rig.archive(BEGIN, END, "--truth", rig.dir / "truth.csv")
        truth = read_truth(rig.dir / "truth.csv")
        config = rig.demo("plant")
        tap.equal(rig.verb("import", config, archive).returncode, 0, "import exits 0")
        daemon = rig.serve(config)
        told = map_of(daemon, begin_s, end_s)
        means = series(daemon, begin_s, end_s)
        compare_bins(tap, told, conditions(truth, means, days))
        compare_paired(tap, daemon, told, begin_s, end_s)
        compare_law(tap, told)
        compare_season(tap, told)
        tap.equal(daemon.stop(), 0, "the daemon ends in good order")
        check_rebuild(tap, rig, config, told, begin_s, end_s)
        check_lacks(tap, rig, config, begin_s, end_s)


with tests() as tap_of_main:
    main(tap_of_main, *sys.argv[1:3])
