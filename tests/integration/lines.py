"""Temperatures that go along lines between their readings, each 20 s, of the demo plant in two cold
days: each row against what the oracle makes of the same messages, and the heat of defrosts, which
holding readings takes for less (demo_year.py says why), against the plant's own.

Usage: lines.py HEATBOOKD DEMO_PLANT
"""
import sys

import oracle
from rig import Rig, energy_rows, store
from tap import tests
from truth import J_PER_KWH, plant_days

BEGIN, END = "2024-12-17", "2024-12-19"
LINE_MS = 60_000  # three periods
PERIODS = {"flow_temperature": "flow", "return_temperature": "return"}
DEFROST = 3


def with_lines(text):
    for name in PERIODS:
        text = text.replace(f"[channel {name}]\n",
                            f"[channel {name}]\nbetween = line\nperiod = 20 s\n")
    return text


def imported(rig, path, name, change=lambda text: text):
    config = rig.demo(name, change=change)
    rig.done("import", config, path)
    return config


def defrost_kwh(config, dates):
    marks = ",".join("?" * len(dates))
    with store(config) as s:
        return s.execute(f"SELECT sum(heat_j) FROM days JOIN energy_days USING (start_minute) "
                         f"WHERE mode = ? AND date IN ({marks})",
                         (DEFROST, *dates)).fetchone()[0] / J_PER_KWH


def main(tap, heatbookd, demo_plant):
    with Rig(heatbookd, demo_plant) as rig:
        path = rig.archive(BEGIN, END)
        messages = list(oracle.archive_lines(path.read_text()))
        begin_min, end_min = (messages[0][0] // 60_000, messages[-1][0] // 60_000 + 16)
        lines = imported(rig, path, "lines", with_lines)
        wanted = oracle.account(messages, begin_min, end_min,
                                {name: LINE_MS for name in PERIODS.values()})
        oracle.compare(tap, energy_rows(lines), wanted, "along lines", 0.7)
        held = imported(rig, path, "held")
        truth = plant_days(demo_plant, BEGIN, END)
        true = sum(day["defrost"] for day in truth.values())
        count = sum(day["defrosts"] for day in truth.values())
        off = {name: 100 * (defrost_kwh(config, list(truth)) / true - 1)
               for name, config in (("lines", lines), ("held", held))}
        tap.note(f"{count} defrosts of {true:.3f} kWh: {off}")
        tap.ok(count >= 12, "there are defrosts enough", count)
        tap.near(off["lines"], 0.7, 1.5, "defrosts' heat along lines, percent off")
        tap.near(off["held"], -3.4, 1.5, "defrosts' heat by holding, percent off")
        tap.equal(rig.verb("verify", lines).returncode, 0, "verify exits 0")


with tests() as tap_of_main:
    main(tap_of_main, *sys.argv[1:3])
