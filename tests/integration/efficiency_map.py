"""The efficiency map of demo weeks against the plant's own truth: bins add up, joule by joule, to
what the plant's observer books; each bin's efficiency is what its law of efficiency lets expect;
second-law fraction and season by own bins by plain evaluation beside the daemon's. Windows of steady
heating have the truth's sums, and lie where points of the plant's own law let expect. What is missing
is named, and a rebuild gives the same rows.

Usage: efficiency_map.py HEATBOOKD DEMO_PLANT
"""
import collections
import csv
import sys

from rig import DATA, Rig, edit, store, wait_until
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


GRID_OUTDOOR, GRID_FLOW = (-14, -5, 2, 7, 13), (28, 34, 38, 45, 54)


def declared_sections():
    """Points of the plant's own law, as an owner would copy them off a data sheet."""
    return "".join(f"\n[declared {'m' if o < 0 else 'a'}{abs(o)}_w{f}]\noutdoor = {o} °C\n"
                   f"flow_temperature = {f} °C\ncop = {law_of(o, f):.6f}\ncapacity = 7 kW\n"
                   for o in GRID_OUTDOOR for f in GRID_FLOW)


def bilinear(outdoor, flow):
    o0 = max((o for o in GRID_OUTDOOR[:-1] if o <= outdoor), default=None)
    f0 = max((f for f in GRID_FLOW[:-1] if f <= flow), default=None)
    o1, f1 = (next(v for v in grid if v > at) for grid, at in ((GRID_OUTDOOR, o0), (GRID_FLOW, f0)))
    x, y = (outdoor - o0) / (o1 - o0), (flow - f0) / (f1 - f0)
    cop = {(o, f): round(law_of(o, f), 6) for o in (o0, o1) for f in (f0, f1)}
    return (cop[o0, f0] * (1 - x) * (1 - y) + cop[o0, f1] * (1 - x) * y
            + cop[o1, f0] * x * (1 - y) + cop[o1, f1] * x * y)


def kept_windows(config, days):
    """(first minute, minutes, outdoor, flow, difference, heat, electricity, frequency)"""
    def whole():
        with store(config) as s:
            looked = s.execute("SELECT count(*) FROM evidence WHERE kind = 0").fetchone()[0]
            rows = s.execute("SELECT at_minute, minutes, v0, v1, v2, v3, v4, v5 FROM evidence "
                             "WHERE kind = 29 ORDER BY 1").fetchall()
        return [tuple(r) for r in rows] if looked >= days else None
    return wait_until(whole, "evidence of all days is kept", 120)


def compare_windows(tap, windows, truth, means):
    tap.ok(len(windows) > 30, "there are steady windows", len(windows))
    last, odd, thawed = 0, [], 0
    for at, minutes, outdoor, flow, _, heat, electricity, _ in windows:
        span = range(at, at + minutes)
        rows = [r for m in span for mode, r in truth[m].items() if int(r["ms"]) > 0]
        modes = {r["mode"] for r in rows}
        air = [means[m][0] for m in span]
        thawed += "defrost" in modes
        if not (at >= last and minutes >= 20 and modes <= {"heating", "defrost"}
                and abs(sum(float(r["heat_j"]) for r in rows) - heat) <= minutes
                and abs(sum(float(r["unit_j"]) for r in rows) - electricity) <= minutes
                and abs(sum(air) / minutes - outdoor) < 0.006
                and max(air) - outdoor < 1.006 and outdoor - min(air) < 1.006
                and ("defrost" in modes) <= (outdoor <= 3.01)
                and ("defrost" in modes or outdoor > 3 or minutes >= 180)
                and ("defrost" in modes
                     or all(abs(means[m][1] - flow) < 1.506 for m in span))):
            odd.append((at, minutes, outdoor, flow, modes))
        last = at + minutes
    tap.equal(odd, [], "each is steady, and has the truth's heat and electricity")
    tap.ok(0 < thawed < len(windows), "some are whole cycles of defrosting, some without", thawed)


def check_declared(tap, config, daemon, truth, means, days):
    begin_s, end_s = days[0][1], days[-1][2]
    windows = [w for w in kept_windows(config, len(days)) if begin_s <= w[0] * 60 < end_s]
    compare_windows(tap, windows, truth, means)
    told = daemon.get(f"/v1/declared?from={begin_s}&to={end_s}&rows=yes").json()
    tap.equal(told["evidence"]["windows"], len(windows), "the answer is of these windows")
    near = [w for w in windows if any(abs(w[2] - o) <= 1 and abs(w[3] - f) <= 1.5
                                      for o in GRID_OUTDOOR for f in GRID_FLOW)]
    tap.equal(told["evidence"]["windows_near_points"], len(near), "those near a point")
    amid = [w for w in windows if w not in near and GRID_OUTDOOR[0] <= w[2] <= GRID_OUTDOOR[-1]
            and GRID_FLOW[0] <= w[3] <= GRID_FLOW[-1]]
    tap.equal(told["evidence"]["windows_between_points"], len(amid), "and those amid points")
    for name, chosen in (("ratio", near), ("ratio_between_points", amid)):
        wanted = (sum(w[5] / bilinear(w[2], w[3]) for w in chosen) / sum(w[6] for w in chosen))
        value = told["answer"][name]
        tap.near(value["value"], wanted, 2e-6, f"{name} is a ratio of sums")
        tap.ok(0.85 < value["value"] < 1.06 and value["low"] < value["value"] < value["high"],
               f"{name}: −8 to +6 % at part load, frost and pump, is the plant's own law", value)
    rows = [r for r in told["rows"] if r["windows"]]
    tap.ok(all(0.2 < r["load_share"] < 1.2 and r["frequency_hz"] > 10 for r in rows),
           "load and frequency stand beside", rows[:2])
    few = [r["point"] for r in told["rows"] if not r["enough"]]
    tap.equal([m.split(":")[0] for m in told["missing"]], few, "points with few windows are named")


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
        edit(config, declared_sections())
        tap.equal(rig.verb("import", config, archive).returncode, 0, "import exits 0")
        daemon = rig.serve(config)
        told = map_of(daemon, begin_s, end_s)
        means = series(daemon, begin_s, end_s)
        compare_bins(tap, told, conditions(truth, means, days))
        compare_paired(tap, daemon, told, begin_s, end_s)
        compare_law(tap, told)
        compare_season(tap, told)
        check_declared(tap, config, daemon, truth, means, days)
        tap.equal(daemon.stop(), 0, "the daemon ends in good order")
        check_rebuild(tap, rig, config, told, begin_s, end_s)
        check_lacks(tap, rig, config, begin_s, end_s)


with tests() as tap_of_main:
    main(tap_of_main, *sys.argv[1:3])
