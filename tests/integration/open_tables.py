"""Open data imported from their own CSV forms: stamps without a year up to 24:00:00, a row a
second, six rows on a minute's stamp, seconds since 1 January at odd distances. Sums against
pandas (tests/data/open_tables.json, computed) and against the authors' figures, with the reason
where they differ.

Usage: open_tables.py HEATBOOKD
"""
import csv
import datetime
import gzip
import json
import sys

from rig import DATA, KEPT_RUNS, Rig, TABLES, derived_until, energy_rows, table
from tap import tests

EXPECTED = json.loads((DATA / "open_tables.json").read_text())
FLOW_KG_S = 0.404317  # the authors' model of the rig
PUMP_W = 20.498644    # of the simulated pump, which moves 0.5 kg/s
FLOOR_M2 = 192

FRAME = """[plant]
zone = UTC
pressure = 2 bar
{plant}
{channels}
{meters}
{table}
[store]
file = @DIR@/heatbook.db
[journal]
tail = @DIR@/tail
"""


def channel(name, *lines):
    return "\n".join([f"[channel {name}]", *lines])


def config(rig, name, channels, meters, table_lines, plant=""):
    return rig.config(name, FRAME.format(
        plant=plant, channels="\n".join(channels), meters="\n".join(meters),
        table="[table lab]\n" + "\n".join(table_lines)))


def minute_of(text):
    return int(datetime.datetime.fromisoformat(text + "+00:00").timestamp()) // 60


def kwh(rows, column):
    return sum(r[column] or 0 for r in rows.values()) / 3.6e6


def imported(tap, rig, conf, *paths):
    result = rig.verb("import", conf, "--json", *paths)
    if not tap.equal(result.returncode, 0, f"{paths[0].name}: every line is taken"):
        raise RuntimeError(result.stderr.decode())
    return json.loads(result.stdout), result.stderr.decode()


WATER = [channel("flow_temperature"), channel("return_temperature"), channel("flow_rate"),
         channel("unit_power", "unit = W")]
UNIT = ["[meter unit]\nfeeds = compressor\npower = unit_power"]


def laboratory_days(tap, rig):
    """MM/DD  HH:MM:SS, the end of the minute, up to 24:00:00."""
    lines = [
        "files = *_Eff_*.csv", "time = date_time", "year = 2024", "interval = 1 min",
        "covers = before", "missing_words = -9999",
        "column.flow_temperature = ch1_c_out_rtd", "unit.flow_temperature = °F",
        "column.return_temperature = pump4_out_rtd", "unit.return_temperature = °F",
        "column.flow_rate = ch1_f_c", "unit.flow_rate = gpm", "column.unit_power = ch1_power"]
    plant = "least_flow = 3.785411784 L/min"
    folder = DATA / "lab_chiller_condenser"
    with open(folder / "recomputed_daily.csv", newline="") as f:
        sums = {row["day"]: row for row in csv.DictReader(f)}
    doubtful = config(rig, "doubtful", WATER, UNIT, lines, plant)
    result = rig.verb("import", doubtful, folder / "Buffalo_Eff_Default.csv")  # 07/02
    tap.ok(result.returncode == 1 and b"its times may be DD/MM hh:mm:ss or MM/DD hh:mm:ss, which "
           b"its rows do not tell: set time_form" in result.stderr,
           "a day of July that may be one of February is not guessed", result.stderr.decode())
    tap.equal(energy_rows(doubtful), {}, "nothing of it is kept")
    conf = config(rig, "days", WATER, UNIT, [*lines, "time_form = MM/DD hh:mm:ss"], plant)
    for path in sorted(folder.glob("*_Eff_*.csv")):
        report, said = imported(tap, rig, conf, path)
        tap.equal((report["records"], report["passed_over"]), (1440, 1),
                  f"{path.name}: all rows but the header")
        tap.has(said, "lab: comma, decimal point, header, times MM/DD hh:mm:ss in UTC, 1 min "
                "before the stamp", f"{path.name}: how it is written is said")
        date = path.read_text().splitlines()[1].split()[0].replace("/", "-")
        begin = minute_of(f"2024-{date}T00:00:00")
        rows = energy_rows(conf, begin, begin + 1440)
        tap.equal(sum(r["e_unit_ms"] for r in rows.values()), 86400000,
                  f"{path.name}: the whole day is known, its last row too")
        wanted = sums[path.stem]
        tap.equal(f"{kwh(rows, 'e_unit_j'):.3f}", f"{float(wanted['P1_kWh']):.3f}",
                  f"{path.name}: electricity as recomputed")
        # pandas took 997 kg/m³ and 4180 J/(kg K); IAPWS-IF97 at the true temperatures has up
        # to 0.3 % less to more.
        tap.near(kwh(rows, "heat_j"), float(wanted["Qc1_kWh"]),
                 0.003 * float(wanted["Qc1_kWh"]), f"{path.name}: heat")
    before = table(conf, "energy_minutes")
    packed = rig.dir / "copy_Eff_.csv.gz"
    packed.write_bytes(gzip.compress(path.read_bytes()))
    for again in (path, packed):
        report, _ = imported(tap, rig, conf, again)
        tap.equal((report["known"], report["records"]), (1, 0),
                  f"{again.name}: its rows are known already")
    tap.ok(table(conf, "energy_minutes") == before, "and change nothing")
    other_doors(tap, rig, conf, [*lines, "time_form = MM/DD hh:mm:ss"], plant)


def other_doors(tap, rig, conf, lines, plant):
    """The same rows by the journal's export, in pieces and by standard input."""
    folder = DATA / "lab_chiller_condenser"
    again = config(rig, "journal", WATER, UNIT, lines, plant)
    imported(tap, rig, again, rig.export(conf, "export.jsonl"))
    pieces = config(rig, "pieces", WATER, UNIT, lines, plant)
    for path in sorted(folder.glob("*_Eff_*.csv"), reverse=True):
        head, *rows = path.read_text().splitlines(keepends=True)
        for i, part in enumerate((rows[900:], rows[:600][::-1], rows[500:1000])):
            text = head + "".join(part)
            if i == 0:
                rig.done("import", pieces, "--format", "lab", "-", input=text.encode())
            else:
                piece = rig.dir / f"{i}_Eff_.csv"
                piece.write_text(text)
                imported(tap, rig, pieces, piece)
    until = min(derived_until(c) for c in (conf, again, pieces))
    for name in TABLES:
        rows = table(conf, name, until)
        # Nothing tells heating from hot water there, so its days have no run.
        tap.ok(bool(rows) == (name not in KEPT_RUNS) and table(again, name, until) == rows, f"by the journal: the same {name}")
        tap.ok(table(pieces, name, until) == rows,
               f"in pieces that overlap, backwards, by standard input: the same {name}")


def faults(tap, rig):
    """What cannot be read says what would help, and its zone may be given."""
    conf = config(rig, "faults", WATER, UNIT, ["files = x.csv", "column.unit_power = W",
                                               "interval = 1 min"])
    (rig.dir / "x.csv").write_text("t;W\n31.01.2026 14:05;1,5\nyesterday;1\n")
    (rig.dir / "y.csv").write_text("t;W;°C\n31.01.2026 14:05;1,5;20\n")
    result = rig.verb("import", conf, rig.dir / "y.csv")
    said = result.stderr.decode()
    tap.equal(result.returncode, 1, "a table that no section reads is refused")
    for part in ("which no [table]", "[table y]", "files = y.csv", "time = t", "decimal comma",
                 "column.w = W", "column.c = °C"):
        tap.has(said, part, f"and a section is proposed: {part}")
    result = rig.verb("import", conf, "--zone", "Asia/Kathmandu", rig.dir / "x.csv")
    said = result.stderr.decode()
    tap.equal(result.returncode, 3, "a row without a time is rejected")
    tap.has(said, "x.csv:3: the time is not of the table's form: yesterday;1",
            "with its line and what it holds")
    tap.equal(list(energy_rows(conf)), [(minute_of("2026-01-31T08:20:00"), "unassigned")],
              "the zone of the command line is that of the times")
    result = rig.verb("import", conf, "--format", "tables", rig.dir / "x.csv")
    tap.ok(result.returncode == 2 and b"the name of a [table]" in result.stderr,
           "a table that has no section cannot be asked for", result.stderr.decode())


def rig_by_the_second(tap, rig):
    conf = config(rig, "rig", [*WATER[:2], channel("flow_rate", "unit = kg/s",
                                                   f"scale = {FLOW_KG_S}"), WATER[3]], UNIT, [
        "files = heat_pump_1s.csv", "time = time_s", "time_form = s",
        "origin = 2025-01-01T00:00:00Z", "interval = 1 s",
        "column.flow_temperature = water_supply_C", "column.return_temperature = water_return_C",
        "column.flow_rate = pump_heating_run", "column.unit_power = power_W"])
    wanted = EXPECTED["rig"]
    report, said = imported(tap, rig, conf, DATA / "lab_brine_1s/heat_pump_1s.csv.gz")
    tap.equal(report["records"], wanted["rows"], "rig: a record a row")
    tap.has(said, "times in s since 2025-01-01T00:00:00Z, 1 s after the stamp",
            "rig: how it is written is said")
    begin = minute_of("2025-01-01T00:00:00")
    rows = energy_rows(conf, begin, begin + 300)
    tap.equal(sum(r["e_unit_ms"] for r in rows.values()), wanted["rows"] * 1000,
              "rig: each row holds for its second and no longer")
    by_minute = {}
    for (minute, _), r in rows.items():
        by_minute[minute - begin] = by_minute.get(minute - begin, 0) + (r["e_unit_j"] or 0)
    worst = max(abs(by_minute.get(i, 0) - j) for i, j in enumerate(wanted["minute_joules"]))
    tap.ok(worst <= 1.5, "rig: electricity of every minute as pandas has it", f"{worst} J off")
    tap.near(kwh(rows, "e_unit_j"), wanted["power"], 1e-4 * wanted["power"],
             "rig: electricity of all")
    tap.note(f"rig: {kwh(rows, 'e_unit_j'):.4f} kWh; the authors' figure leaves the noise "
             f"below zero out: {wanted['power_above_zero']:.4f}")
    heat = kwh(rows, "heat_j")
    tap.note(f"rig: heat {heat:.4f} kWh; with 4180 J/(kg K) {wanted['heat']:.4f} "
             f"({100 * (heat / wanted['heat'] - 1):+.2f} %)")
    # The enthalpy of IAPWS-IF97 against a constant heat capacity: 4180 J/(kg K) is that of
    # water at 30 °C.
    tap.near(heat, wanted["heat"], 0.002 * wanted["heat"], "rig: heat by the authors' flow")


def six_rows_on_a_stamp(tap, rig):
    wanted = EXPECTED["fans"]
    path = DATA / "lab_fan_10s/fan_power.csv"
    lines = ["files = fan*.csv", "time_form = MM/DD hh:mm:ss", "year = 2024",
             "interval = 1 min", "covers = before", "column.unit_power = ahu1_fan_power",
             "column.second_power = ahu2_fan_power"]
    channels = [channel("unit_power", "unit = W"), channel("second_power", "unit = W")]
    meters = [*UNIT, "[meter second]\nfeeds = circulation\npower = second_power"]
    divided = config(rig, "divided", channels, meters, [*lines, "same_stamp = divide"])
    report, _ = imported(tap, rig, divided, path)
    tap.equal(report["records"], wanted["rows"], "fans: a record a row")
    rows = energy_rows(divided)
    tap.equal(sum(r["e_unit_ms"] for r in rows.values()), wanted["stamps"] * 60000,
              "fans: rows of a stamp share its minute")
    # A joule of rounding a minute.
    tolerance = wanted["stamps"] / 3.6e6
    tap.near(kwh(rows, "e_unit_j"), wanted["fan_1"], tolerance, "fans: the first one's mean")
    tap.near(kwh(rows, "e_second_j"), wanted["fan_2"], tolerance, "fans: the second one's")
    last = config(rig, "last", channels, meters, lines)
    imported(tap, rig, last, path)
    rows = energy_rows(last)
    tap.equal(sum(r["e_unit_ms"] for r in rows.values()), wanted["stamps"] * 60000,
              "fans: without sharing one row has the minute")
    tap.ok(abs(kwh(rows, "e_unit_j") - wanted["fan_1"]) > 10 * tolerance,
           "fans: which gives another sum")


def simulated(tap, rig):
    """Rows 3 to 26 minutes apart that hold until the next one."""
    with open(DATA / "sim_hydronic/published.csv", newline="") as f:
        published = {row["run"]: float(row["value"]) * FLOOR_M2 for row in csv.DictReader(f)
                     if row["key"] == "ener_tot"}
    hold = "stale_after = 60 min"
    electric = [channel(name, "unit = W", hold)
                for name in ("unit_power", "fan_power", "pump_power")]
    meters = ["[meter unit]\nfeeds = compressor\npower = unit_power + fan_power",
              "[meter pump]\nfeeds = circulation\npower = pump_power"]
    lines = ["files = *.csv", "time = time", "time_form = s", "origin = 2023-01-01T00:00:00Z",
             "silent_after = none", "column.unit_power = reaPHeaPum_y",
             "column.fan_power = reaPFan_y", "column.pump_power = reaPPumEmi_y"]
    by_power = ([*electric, channel("heat_power", "unit = W", hold)],
                [*lines, "column.heat_power = reaQHeaPumCon_y"], "heat_source = power")
    by_water = ([*electric, channel("flow_temperature", "offset = -273.15", hold),
                 channel("return_temperature", "offset = -273.15", hold),
                 channel("flow_rate", "unit = kg/s", f"scale = {0.5 / PUMP_W:.12g}", hold)],
                [*lines, "column.flow_temperature = reaTSup_y",
                 "column.return_temperature = reaTRet_y", "column.flow_rate = reaPPumEmi_y"], "")
    # The authors integrate within their simulation, not from row to row: the difference grows
    # with the rows' distance (173, 346, 1558 s).
    apart = {"initialize_advance": 0.0001, "shoulder": 0.003, "peak_heat_day": 0.01}
    for name, wanted in EXPECTED["simulated"].items():
        begin = minute_of("2023-01-01T00:00:00") + int(wanted["begin_s"]) // 60
        end = minute_of("2023-01-01T00:00:00") + int(wanted["end_s"]) // 60
        results = {}
        for kind, (channels, table_lines, plant) in (("power", by_power), ("water", by_water)):
            conf = config(rig, f"{name}_{kind}", channels, meters, table_lines, plant)
            imported(tap, rig, conf, DATA / f"sim_hydronic/{name}.csv")
            results[kind] = energy_rows(conf, begin, end)
        rows = results["power"]
        tolerance = 1e-5 * wanted["heat"]
        tap.near(kwh(rows, "heat_j"), wanted["heat"], tolerance, f"{name}: its own heat column")
        electricity = kwh(rows, "e_unit_j") + kwh(rows, "e_pump_j")
        tap.near(electricity, wanted["electricity"], 2e-5 * wanted["electricity"],
                 f"{name}: electricity")
        tap.near(electricity, published[name], apart[name] * published[name],
                 f"{name}: electricity as the authors publish it")
        heat = kwh(results["water"], "heat_j")
        tap.near(heat, wanted["computed"], 0.01 * wanted["computed"],
                 f"{name}: heat worked out from the water")
        tap.note(f"{name}: electricity {electricity:.4f} kWh, the authors' {published[name]:.4f}"
                 f"; heat {kwh(rows, 'heat_j'):.3f}, from water {heat:.3f}, with 4180 J/(kg K) "
                 f"{wanted['computed']:.3f}")


with tests() as tap_of_main:
    with Rig(sys.argv[1]) as rig_of_main:
        laboratory_days(tap_of_main, rig_of_main)
        rig_by_the_second(tap_of_main, rig_of_main)
        six_rows_on_a_stamp(tap_of_main, rig_of_main)
        simulated(tap_of_main, rig_of_main)
        faults(tap_of_main, rig_of_main)
