"""The signature of houses, end to end. The demo plant's days against its own truth, and its answer
against a fit of that truth by plain search here (its input, 185 W/K, is not the answer: sun and
gains go with the cold). Open data of two places as tables: what was metered there, taken for heat,
against scipy and statsmodels (tests/data/signature_answers.csv). What the unit was seen to give
against the hours of /v1/energy. Spans that are too short, and houses that lack a sensor.

Usage: signature.py HEATBOOKD DEMO_PLANT weeks|year
"""
import collections
import csv
import datetime
import gzip
import subprocess
import sys
import zoneinfo

from plain_fit import plain_fit, truth_of
from rig import DATA, DEMO_CONFIG, KEPT, Rig
from tap import tests
from truth import local_midnight

SPANS = {"weeks": ("2024-12-29", "2025-02-02"), "year": ("2024-07-01", "2025-07-01")}
DESIGN_C, NEAR_K, HOURS, COLD_DAYS = -9, 5, 6, 10
TABLE = """[plant]
zone = {zone}
heat_source = power
{design}
[channel heat_power]
unit = W
[channel outdoor_temperature]
[channel operating_mode]
map = 1:heating
[table hours]
files = *.csv
time = t
time_form = s
interval = 1 h
column.heat_power = w
{outdoor}
column.operating_mode = mode
""" + KEPT


# ---- against plain_fit.py

def check_fit(tap, name, answer, evidence, points, most):
    """Values and their intervals against the plain fit; `most`: how far off, W/K and K."""
    loss, end, base = plain_fit(points, evidence["model"] == "change_point")
    values = answer["answer"]
    tap.note(f"{name}: {values['heat_loss_w_per_k']} {values['base_temperature_c']}, plain fit "
             f"{loss:.3f} W/K {end:.3f} °C {base} kWh")
    for what, wanted, off in (("heat_loss_w_per_k", loss, most[0]), ("base_temperature_c", end, most[1])):
        value = values[what]
        tap.ok(abs(value["value"] - wanted) <= off, f"{name}: {what} by a plain fit", (value, wanted))
        tap.ok(value["low"] < value["value"] < value["high"], f"{name}: {what} lies in its interval", value)
    tap.equal("base_load_kwh_per_day" in values, base is not None, f"{name}: a base load where an end shows")


# ---- the demo plant

def check_capacity(tap, daemon, evidence, begin, end):
    """No stretch of the coldest days holds more, and this one as much."""
    seen, points = evidence["capacity"], evidence["points"]
    cold = sorted((c, t) for c, t in zip(points["outdoor_c"], points["t"]) if c <= DESIGN_C + NEAR_K)
    best = (0, 0)
    for _, t in cold[:COLD_DAYS]:
        hours = daemon.get(f"/v1/energy?from={t}&to={t + 86400}&step=PT1H").json()["columns"]["heat_kwh"]
        best = max([best] + [(sum(hours[i:i + HOURS]) / HOURS, t + 3600 * i)
                             for i in range(len(hours) - HOURS + 1)])
    tap.equal((seen["by"], seen["hours"], seen["from"], seen["to"]),
              ("seen", HOURS, best[1], best[1] + HOURS * 3600), "the most that was seen, and when")
    tap.near(seen["kw"], best[0], 1e-3, "its mean power is that of /v1/energy")


def check_design(tap, answer, evidence):
    values = {name: v["value"] for name, v in answer["answer"].items()}
    load = values["heat_loss_w_per_k"] * (values["base_temperature_c"] - DESIGN_C) / 1000
    tap.near(values["design_load_kw"], load, 2e-3, "design load: loss times base less design temperature")
    base = values.get("base_load_kwh_per_day", 0) / 24
    tap.near(values["margin_kw"], values["capacity_kw"] - load - base, 3e-3, "margin: capacity less loads")
    day = answer["answer"]["design_day_kw"]
    tap.near(day["value"], load + base, 2e-3, "a day there: design load and base load")
    wide = lambda v: v["high"] - v["low"]
    tap.equal(wide(day) > wide(answer["answer"]["design_load_kw"]), True, "which scatters more than the line")
    tap.near(evidence["beyond_coldest_k"], evidence["coldest_day"]["outdoor_c"] - DESIGN_C, 1e-3,
             "how far the design temperature lies beyond the coldest day")


def demo(tap, rig, demo_plant, form):
    begin, end = SPANS[form]
    archive = rig.dir / "demo.gz"
    with gzip.open(archive, "wb", 1) as f:
        with subprocess.Popen([demo_plant, "archive", "--from", begin, "--to", end],
                              stdout=subprocess.PIPE) as plant:
            for part in iter(lambda: plant.stdout.read(1 << 20), b""):
                f.write(part)
    config = rig.config("demo", DEMO_CONFIG.read_text(encoding="utf-8"))
    rig.done("import", config, archive)
    daemon = rig.serve(config)
    span = f"from={local_midnight(begin)}&to={local_midnight(end)}"
    answer = daemon.get(f"/v1/signature?{span}&points=yes").json()
    evidence, truth = answer["evidence"], truth_of(demo_plant, begin, end)
    points = evidence["points"]
    tap.equal(points["t"], sorted(truth), f"all {len(truth)} days of the demo plant count")
    told = list(zip(points["outdoor_c"], points["space_heat_kwh"]))
    off = [(abs(a - c), abs(b - d)) for (a, b), (c, d) in zip(told, truth.values())]
    tap.ok(max(a for a, _ in off) < 0.03, "outdoor means are the plant's own", max(a for a, _ in off))
    # A flag is told at once, the water by 20 s: 0.03 kWh of a defrost, a dozen of these a day.
    tap.ok(max(b for _, b in off) < 0.4, "space heat is the plant's own", max(b for _, b in off))
    check_fit(tap, "demo", answer, evidence, list(truth.values()), (1, 0.1))
    check_fit(tap, "its own days", answer, evidence, told, (0.02, 0.002))
    check_design(tap, answer, evidence)
    check_capacity(tap, daemon, evidence, begin, end)
    first = local_midnight(begin)
    short = daemon.get(f"/v1/signature?from={first}&to={first + 9 * 86400}").json()
    tap.ok(short["answer"] is None, "nine days are no evidence")
    tap.has("\n".join(short["missing"]), "5 more days: 14 whole ones are needed, 9 of the span's 9 count",
            "and what is missing is said")
    tap.equal(daemon.stop(), 0, "the daemon ends in good order")


# ---- open data

def metered(place):
    """Rows of hours: epoch second -> (°C, W), a day's energy evenly over its hours."""
    if place == "illinois":
        zone, temps, used = zoneinfo.ZoneInfo("America/Chicago"), "il_hourly_tempF_2016.csv.gz", {}
        with open(DATA / "weather/il_daily_gas_therm_2016.csv", newline="") as f:
            for stamp, value in list(csv.reader(f))[1:]:
                if value:
                    used[stamp[:10]] = float(value) * 29307.1
    else:
        zone, temps, used = zoneinfo.ZoneInfo("Europe/London"), "uk_hourly_tempC_2021.csv.gz", {}
        found = collections.Counter()
        with gzip.open(DATA / "weather/uk_hourly_electricity_kWh_2021.csv.gz", "rt", newline="") as f:
            for stamp, value in list(csv.reader(f))[1:]:
                if value:
                    day = str(datetime.datetime.fromisoformat(stamp).astimezone(zone).date())
                    used[day] = used.get(day, 0) + 1000 * float(value)
                    found[day] += 1
        used = {day: wh for day, wh in used.items() if found[day] >= 23}
    with gzip.open(DATA / "weather" / temps, "rt", newline="") as f:
        rows = [(datetime.datetime.fromisoformat(stamp), float(value)) for stamp, value in list(csv.reader(f))[1:]]
    rows = [(t if t.tzinfo else t.replace(tzinfo=datetime.timezone.utc), v) for t, v in rows]
    lengths = collections.Counter(str(t.astimezone(zone).date()) for t, _ in rows)
    return {int(t.timestamp()): ((v - 32) * 5 / 9 if place == "illinois" else v,
                                 used[day] / lengths[day] if day in used else None)
            for t, v in rows for day in [str(t.astimezone(zone).date())]}


def answers_of(place):
    with open(DATA / "signature_answers.csv", newline="") as f:
        return {r["what"]: float(r["value"]) if r["value"] else None
                for r in csv.DictReader(line for line in f if not line.startswith("#")) if r["set"] == place}


def open_data(tap, rig, place, zone):
    rows, wanted = metered(place), answers_of(place)
    table = rig.dir / f"{place}.csv"
    with open(table, "w") as f:
        f.write("t,c,w,mode\n")
        for t, (c, w) in rows.items():
            f.write(f"{t},{c:.4f},{'' if w is None else f'{w:.3f}'},1\n")
    config = rig.config(place, TABLE.format(zone=zone, outdoor="column.outdoor_temperature = c",
                                            design=f"design_temperature = {wanted['design']} °C"))
    rig.done("import", config, table)
    daemon = rig.serve(config)
    answer = daemon.get(f"/v1/signature?from={min(rows)}&to={max(rows) + 3600}&points=yes").json()
    daemon.stop()
    evidence, values = answer["evidence"], answer["answer"]
    tap.note(f"{place}: {values} {evidence['n']} {evidence['days_left_out']}")
    tap.equal((evidence["n"], evidence["heated_days"], evidence["model"]),
              (wanted["n"], wanted["below"], "change_point" if wanted["ends"] else "line"),
              f"{place}: the days that count, and whether an end shows")
    for name, key, scale, off in (("heat_loss_w_per_k", "slope", 1000 / 24, 2e-3),
                                  ("base_temperature_c", "at", 1, 2e-3), ("design_load_kw", "load", 1 / 24, 2e-3)):
        value = values.get(name)
        if name == "base_temperature_c" and wanted["at_low"] > 25:  # warmer than any room
            tap.equal((value, evidence["base_temperature"]), (None, "not determined"),
                      f"{place}: heat that hangs little on the cold has no base temperature")
            continue
        for end, of in (("value", key), ("low", f"{key}_low"), ("high", f"{key}_high")):
            tap.ok(abs(value[end] - wanted[of] * scale) <= off * max(1, abs(wanted[of] * scale)),
                   f"{place}: {name}, {end}, as scipy and statsmodels have it", (value[end], wanted[of] * scale))
    for name, key in (("r_squared", "r_squared"), ("cv_rmse_percent", "cv_rmse_percent"), ("autocorrelation", "rho")):
        tap.ok(abs(evidence[name] - wanted[key]) < 2e-3 * max(1, abs(wanted[key])), f"{place}: {name}",
               (evidence[name], wanted[key]))


def missing_sensor(tap, rig):
    rows = list(metered("illinois").items())[:20 * 24]
    table = rig.dir / "blind.csv"
    table.write_text("t,w,mode\n" + "".join(f"{t},{w or 0:.1f},1\n" for t, (_, w) in rows))
    config = rig.config("blind", TABLE.format(zone="America/Chicago", outdoor="", design="").replace(
        "[channel outdoor_temperature]\n", ""))
    rig.done("import", config, table)
    daemon = rig.serve(config)
    answer = daemon.get(f"/v1/signature?from={rows[0][0]}&to={rows[-1][0]}").json()
    daemon.stop()
    tap.ok(answer["answer"] is None and "a channel with the role outdoor_temperature" in answer["missing"],
           "without an outdoor sensor it is refused, and the sensor named", answer["missing"])


with tests() as tap_of_main, Rig(sys.argv[1]) as rig_of_main:
    demo(tap_of_main, rig_of_main, sys.argv[2], sys.argv[3])
    missing_sensor(tap_of_main, rig_of_main)
    open_data(tap_of_main, rig_of_main, "illinois", "America/Chicago")
    if sys.argv[3] == "year":
        open_data(tap_of_main, rig_of_main, "britain", "Europe/London")
