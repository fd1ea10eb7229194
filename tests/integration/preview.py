"""What a correction of the temperature pair would do, foretold on sums and then done by a rebuild:
on days of the demo plant and on open data; the correction named wherever it tells. And degree days
of the demo's outdoor temperature against a plain evaluation of the stored minutes.

References: Q + S·offset, JCGM 100:2008 5.1.3 (from memory), within 0.02 % of a rebuild's heat for
0.3 K; degree days by the methods of tests/data/degree_days_methods.csv, days by Python's zoneinfo.

Usage: preview.py HEATBOOKD DEMO_PLANT
"""
import csv
import datetime
import io
import json
import sys
import zoneinfo

from rig import DATA, Rig, store
from tap import tests

ZONE = zoneinfo.ZoneInfo("Europe/Berlin")
FROM, TO, END = "2026-03-27", "2026-03-30", "2026-03-31"  # 29 March has 23 hours
OFFSETS = (-0.3, 0.3)
PART = 0.0002

CORRECTION = """
[correction pair]
channel = flow_temperature
offset = {offset} K
from = 2020-01-01
"""


def asked(rig, config, first, last, *more):
    return json.loads(rig.done("report", config, "--from", first, "--to", last, "--json",
                               *more).stdout)


def corrected(rig, config, offset):
    config.write_text(config.read_text() + CORRECTION.format(offset=offset))
    rig.done("rebuild", config)


def uncorrected(config, text):
    config.write_text(text)


def foretell(tap, rig, config, name, first, last, same_modes):
    """For each offset: the preview, the correction with its rebuild, and both compared."""
    text = config.read_text()
    plain = asked(rig, config, first, last)
    previews = {o: asked(rig, config, first, last, "--preview-pair-offset", str(o))
                for o in OFFSETS}
    for offset, told in previews.items():
        tap.equal(told["preview"]["pair_offset_k"], offset, f"{name}: the preview is named")
        corrected(rig, config, offset)
        done = asked(rig, config, first, last)
        what = f"{name}, {offset:+} K"
        heat, was = done["total"]["heat_kwh"], plain["total"]["heat_kwh"]
        tap.ok(abs(heat - was) > 20 * PART * abs(was), f"{what}: heat is another", (heat, was))
        tap.near(told["total"]["heat_kwh"], heat, PART * abs(heat), f"{what}: heat as foretold")
        tap.note(f"{what}: {was:.4f} kWh, foretold {told['total']['heat_kwh']:.4f}, rebuilt "
                 f"{heat:.4f}, {100 * (told['total']['heat_kwh'] / heat - 1):+.4f} %")
        days = zip(told["columns"]["heat_kwh"], done["columns"]["heat_kwh"])
        worst = max(abs(a - b) - PART * abs(b) for a, b in days if b)
        tap.ok(worst <= 0, f"{what}: each day's too", worst)
        if same_modes:
            tap.equal({m: c["observed_s"] for m, c in told["modes"].items()},
                      {m: c["observed_s"] for m, c in done["modes"].items()},
                      f"{what}: modes are what they were")
        if done["total"]["cop"]:
            tap.near(told["total"]["cop"], done["total"]["cop"], PART * done["total"]["cop"],
                     f"{what}: the ratio as foretold")
        tap.equal(told["columns"]["electricity_kwh"], done["columns"]["electricity_kwh"],
                  f"{what}: electricity is what it was")
        tap.equal((plain["corrections"], [c["name"] for c in done["corrections"]]),
                  ([], ["pair"]), f"{what}: the correction is named where it is")
        uncorrected(config, text)
    rig.done("rebuild", config)
    tap.equal(asked(rig, config, first, last)["columns"], plain["columns"],
              f"{name}: without it all is as before")


def demo(tap, rig):
    config = rig.demo("demo")
    rig.done("import", config, rig.archive(FROM, END))
    foretell(tap, rig, config, "demo", "2026-03-28", TO, True)
    return config


# ---- open data ----

TABLE = """[plant]
zone = UTC
pressure = 2 bar
{plant}
[channel flow_temperature]
{flow}
[channel return_temperature]
{back}
[channel flow_rate]
{rate}
[channel unit_power]
unit = W
stale_after = 60 min
[meter unit]
feeds = compressor
power = unit_power
[table lab]
{table}
[store]
file = @DIR@/heatbook.db
[journal]
tail = @DIR@/tail
"""


def laboratory(tap, rig):
    """A day by the minute in °F and gallons (tests/data/lab_chiller_condenser)."""
    config = rig.config("laboratory", TABLE.format(
        plant="least_flow = 3.785411784 L/min", flow="", back="", rate="", table="\n".join([
            "files = *_Eff_*.csv", "time = date_time", "year = 2024", "interval = 1 min",
            "time_form = MM/DD hh:mm:ss", "covers = before", "missing_words = -9999",
            "column.flow_temperature = ch1_c_out_rtd", "unit.flow_temperature = °F",
            "column.return_temperature = pump4_out_rtd", "unit.return_temperature = °F",
            "column.flow_rate = ch1_f_c", "unit.flow_rate = gpm",
            "column.unit_power = ch1_power"])))
    path = sorted((DATA / "lab_chiller_condenser").glob("*_Eff_*.csv"))[0]
    rig.done("import", config, path)
    date = "2024-" + path.read_text().splitlines()[1].split()[0].replace("/", "-")
    foretell(tap, rig, config, "laboratory", date, date, False)


def simulated(tap, rig):
    """Kelvins and a pump's power for its flow (tests/data/sim_hydronic)."""
    held = "offset = -273.15\nstale_after = 60 min"
    config = rig.config("simulated", TABLE.format(
        plant="", flow=held, back=held,
        rate=f"unit = kg/s\nscale = {0.5 / 20.498644:.12g}\nstale_after = 60 min",
        table="\n".join([
            "files = *.csv", "time = time", "time_form = s", "origin = 2023-01-01T00:00:00Z",
            "silent_after = none", "column.unit_power = reaPHeaPum_y",
            "column.flow_temperature = reaTSup_y", "column.return_temperature = reaTRet_y",
            "column.flow_rate = reaPPumEmi_y"])))
    path = DATA / "sim_hydronic/shoulder.csv"
    rig.done("import", config, path)
    with open(path, newline="", encoding="utf-8") as f:
        times = [float(row["time"]) for row in csv.DictReader(f)]
    first, last = (datetime.date(2023, 1, 1) + datetime.timedelta(seconds=t)
                   for t in (times[0], times[-1]))
    foretell(tap, rig, config, "simulated", first.isoformat(), last.isoformat(), False)


# ---- where a correction is told ----

def rows_of(result):
    return list(csv.DictReader(io.StringIO(result.stdout.decode(), newline="")))


def told_in_rows(tap, rig, config):
    """From a day's noon on: in the rows that it touches and in no other."""
    text = config.read_text()
    config.write_text(text + CORRECTION.format(offset=-0.3).replace(
        "2020-01-01", "2026-03-29T12:00:00+02:00"))
    rig.done("rebuild", config)
    wanted = ["", "pair", "pair"]
    span = ("--from", "2026-03-28", "--to", "2026-03-30")
    rows = rows_of(rig.done("export", config, "--energy", *span))
    tap.equal([r["corrections"] for r in rows], wanted, "CSV of energy names it by row")
    rows = rows_of(rig.done("export", config, "--series", "flow_temperature", *span))
    tap.equal([r["corrections"] for r in rows], wanted, "CSV of its series, too")
    rows = rows_of(rig.done("export", config, "--series", "outdoor_temperature", *span))
    tap.ok("corrections" not in rows[0], "another series has none")
    said = rig.done("report", config, *span, "--preview-pair-offset", "-0.2").stdout.decode()
    tap.has(said, "correction       pair: flow_temperature - 0.3 K", "the report names it")
    tap.has(said, "preview          pair offset -0.2 K in all figures of heat", "and a preview")
    result = rig.verb("report", config, *span, "--preview-pair-offset", "0.3 °C")
    tap.equal(result.returncode, 2, "an offset that is no number is misuse")
    tap.has(result.stderr.decode(), "must be kelvins, -10 to 10, such as -0.3", "it says why")
    uncorrected(config, text)
    rig.done("rebuild", config)


# ---- degree days ----

def day_edges():
    """Local midnights, epoch seconds."""
    day = datetime.datetime.fromisoformat(FROM)
    while True:
        yield int(day.replace(tzinfo=ZONE).timestamp())
        if day.date().isoformat() == END:
            return
        day += datetime.timedelta(days=1)


def four_cases(base, least, most):
    middle = (least + most) / 2
    if least >= base:
        return 0
    if most <= base:
        return base - middle
    return 0.5 * (base - least) - 0.25 * (most - base) if middle < base else 0.25 * (base - least)


def degree_days(config, base, begin, end):
    with store(config) as s:
        minutes = [(t / 100, (ms or 60000)) for t, ms in s.execute(
            "SELECT c_outdoor_temperature, c_outdoor_temperature_ms FROM minutes "
            "WHERE minute >= ? AND minute < ? AND c_outdoor_temperature NOT NULL",
            (begin // 60, end // 60))]
    known = sum(ms for _, ms in minutes)
    if known < 0.95 * 1000 * (end - begin):
        return None
    mean = sum(t * ms for t, ms in minutes) / known
    below = sum(max(0, base - t) * ms for t, ms in minutes) / known * (end - begin) / 86400
    values = [t for t, _ in minutes]
    return {"integral_kd": below, "daily_mean_kd": max(0, base - mean),
            "min_max_kd": four_cases(base, min(values), max(values)),
            "eurostat_kd": 18 - mean if mean <= 15 else 0}


def compare_degree_days(tap, rig, config):
    edges = list(day_edges())
    daemon = rig.serve(config)
    for base in (15.5, 8.25):
        answer = daemon.get(f"/v1/degree-days?from={edges[0]}&to={edges[-1]}&base={base}").json()
        tap.equal(list(zip(answer["columns"]["t"], answer["columns"]["t_end"])),
                  list(zip(edges, edges[1:])), f"base {base}: days are local")
        total = dict.fromkeys(answer["methods"], 0)
        for i, (begin, end) in enumerate(zip(edges, edges[1:])):
            wanted = degree_days(config, base, begin, end)
            for method in total:
                got = answer["columns"][method][i]
                if wanted is None:
                    tap.equal(got, None, f"base {base}, day {i}: {method} is unknown")
                    continue
                tap.near(got, wanted[method], 1e-4, f"base {base}, day {i}: {method}")
                total[method] += wanted[method]
        for method, sum_of in total.items():
            tap.near(answer["total"][method], sum_of, 4e-4, f"base {base}: total {method}")
        tap.equal(answer["total"]["missing_days"], answer["columns"]["integral_kd"].count(None),
                  f"base {base}: missing days are counted")
    months = daemon.get(f"/v1/degree-days?from={edges[0]}&to={edges[-1]}&step=P1M").json()
    month = daemon.get(f"/v1/degree-days?from={edges[0]}&to={edges[-1]}").json()
    tap.equal(months["total"], month["total"], "months sum to what days do")
    said = rig.done("report", config, "--from", FROM, "--to", TO).stdout.decode()
    tap.has(said, f"degree days      {month['total']['integral_kd']:.2f} K d (integral of minutes, "
            "base 15.5 °C)", "the report has them with method and base")
    span = f"from={edges[1]}&to={edges[-1]}&step=P1D"
    told = daemon.get(f"/v1/energy?{span}&by=mode&preview_pair_offset=-0.3").json()
    tap.equal(told["total"],
              asked(rig, config, "2026-03-28", TO, "--preview-pair-offset", "-0.3")["total"],
              "the daemon previews as the report does")
    tap.equal(daemon.stop(), 0, "the daemon ends well")


with tests() as tap_of_main, Rig(*sys.argv[1:3]) as rig_of_main:
    plant = demo(tap_of_main, rig_of_main)
    told_in_rows(tap_of_main, rig_of_main, plant)
    compare_degree_days(tap_of_main, rig_of_main, plant)
    laboratory(tap_of_main, rig_of_main)
    simulated(tap_of_main, rig_of_main)
