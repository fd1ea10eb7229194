"""What a lower flow temperature would save, end to end, against the demo plant run again in the
same weather with its heating curve lower. A curve that is lower by so much lowers the water by
less, so the question is asked by what the water truly was cooler by, and the saving is that of the
quotient, at equal heat. The emitters against the plant's own law, 0.166·(water − room)^1.2 kW and
0.32 kWh/K; days that fall short against the days on which the plant's rooms became colder.

Usage: flow_temperature.py HEATBOOKD DEMO_PLANT weeks|seasons
"""
import csv
import gzip
import subprocess
import sys

from rig import DEMO_CONFIG, Rig, wait_until
from tap import tests
from truth import local_midnight

# Before the noted change the curve is steep, behind it flat: spans on either side.
SPANS = {"weeks": [("2025-11-20", "2025-12-14")],
         "seasons": [("2025-10-15", "2026-01-15"), ("2026-01-16", "2026-04-15"), ("2024-11-01", "2025-03-01")]}
LOWER_K = (1, 2, 3, 4, 6)  # of the curve
COLDER_K = 0.3             # rooms that became colder by so much were not served
EMITTER_W, STORAGE_KWH_PER_K = 166, 0.32


def truth_of(demo_plant, begin, end, lower):
    """Its days that heat, and of all of them the quotient and the flow weighted by heat."""
    text = subprocess.run([demo_plant, "truth", "--from", begin, "--to", end, "--lower", str(lower)],
                          check=True, stdout=subprocess.PIPE, text=True).stdout
    days = [r for r in csv.DictReader(text.splitlines()) if float(r["heating_kwh"]) > 0]
    heat = sum(float(r["heating_kwh"]) for r in days)
    unit = sum(float(r["heating_unit_kwh"]) for r in days)
    flow = sum(float(r["heating_kwh"]) * float(r["heating_flow_c"]) for r in days) / heat
    return {"days": {r["date"]: r for r in days}, "quotient": heat / unit, "flow": flow,
            "heat": heat, "unit": unit}


def colder_days(before, after):
    return [d for d, r in before["days"].items()
            if d in after["days"] and
            float(after["days"][d]["room_c"]) < float(r["room_c"]) - COLDER_K]


def check_evidence(tap, name, evidence, truth):
    tap.near(evidence["heat_kwh"] / truth["heat"], 1, 0.03, f"{name}: heat of heating is the plant's")
    tap.near(evidence["electricity_kwh"] / truth["unit"], 1, 0.03, f"{name}: so is electricity")
    tap.near(evidence["flow_c"], truth["flow"], 0.1, f"{name}: and the flow weighted by heat")
    emitters = evidence["emitters"]
    tap.note(f"{name}: {emitters} {evidence['carnot_share_changes']}")
    tap.near(emitters["output_w"]["value"] / EMITTER_W, 1, 0.02, f"{name}: what emitters give is the plant's law")
    tap.near(emitters["storage_kwh_per_k"] / STORAGE_KWH_PER_K, 1, 0.1, f"{name}: and what water and metal hold")


def check_lowering(tap, name, row, before, after):
    truth = 100 * (1 - before["quotient"] / after["quotient"])
    tap.note(f"{name}: {row['by_k']} K cooler truly saved {truth:.2f} %; answered {row['saving_percent']} "
             f"({row['saving_percent_low']} … {row['saving_percent_high']}), Carnot {row['carnot_percent']}, "
             f"fits {row['fit_2019_percent']} {row['fit_2012_percent']}")
    tap.ok(row["saving_percent_low"] <= truth <= row["saving_percent_high"],
           f"{name}: {row['by_k']} K: the true saving lies in the interval", (truth, row))
    tap.ok(abs(row["saving_percent"] - truth) < abs(row["carnot_percent"] - truth),
           f"{name}: {row['by_k']} K: nearer to it than Carnot's quotient alone", (truth, row))
    colder = colder_days(before, after)
    tap.note(f"{name}: {row['by_k']} K: {len(colder)} days colder, answered {row['days_short']} "
             f"({row['days_short_low']} … {row['days_short_high']}) of {len(before['days'])}")
    return len(colder)


def span(tap, rig, demo_plant, begin, end):
    name, archive = begin, rig.dir / "demo.gz"
    with gzip.open(archive, "wb", 1) as f:
        with subprocess.Popen([demo_plant, "archive", "--from", begin, "--to", end],
                              stdout=subprocess.PIPE) as plant:
            for part in iter(lambda: plant.stdout.read(1 << 20), b""):
                f.write(part)
    config = rig.config(f"demo{begin}", DEMO_CONFIG.read_text(encoding="utf-8"))
    rig.done("import", config, archive)
    daemon = rig.serve(config)
    asked = f"/v1/flow-temperature?from={local_midnight(begin)}&to={local_midnight(end)}&rows=yes"

    def looked():
        evidence = daemon.get(asked).json()["evidence"]
        return evidence["days_looked_at"] == evidence["days"]
    wait_until(looked, "all days are looked at")
    before = truth_of(demo_plant, begin, end, 0)
    cooler = [truth_of(demo_plant, begin, end, k) for k in LOWER_K]
    by = ",".join(f"{before['flow'] - t['flow']:.2f}" for t in cooler)
    answer = daemon.get(f"{asked}&by={by}").json()
    tap.equal((answer["missing"], answer["evidence"]["heating_days"]), ([], len(before["days"])),
              f"{name}: all days of heating count")
    check_evidence(tap, name, answer["evidence"], before)
    colder = [check_lowering(tap, name, row, before, t) for row, t in zip(answer["rows"], cooler)]
    rows, days = answer["rows"], len(before["days"])
    # A mean of kelvins is not each day's: so what falls short is told to within a fifth of the days.
    for row, n in zip(rows, colder):
        tap.ok(row["days_short_low"] - days / 5 <= n <= row["days_short_high"] + days / 5,
               f"{name}: {row['by_k']} K: days that fall short are those that became colder", (n, row))
    harmless = answer["answer"]["largest_lowering"]["value"]
    for row, n in zip(rows, colder):
        if row["by_k"] <= harmless:
            tap.ok(n <= days / 20, f"{name}: {row['by_k']} K: no rooms became colder where none were to", n)
    return daemon


def refusals(tap, rig, daemon, begin):
    first = local_midnight(begin)
    few = daemon.get(f"/v1/flow-temperature?from={first}&to={first + 9 * 86400}").json()
    tap.ok(few["answer"] is None, "nine days are no evidence")
    tap.has("\n".join(few["missing"]), "9, and it takes 14", "and it says how many it takes")
    daemon.stop()
    text = DEMO_CONFIG.read_text(encoding="utf-8")
    for name, old, new, word in (("ground", "source_kind = air", "source_kind = ground", "source_entering_temperature"),
                                 ("blind", "[channel flow_temperature]", "[channel flow_temp]", "flow_temperature")):
        daemon = rig.serve(rig.config(name, text.replace(old, new)))
        lacks = daemon.get(f"/v1/flow-temperature?from={first}&to={first + 86400}").json()
        tap.ok(lacks["answer"] is None and word in lacks["missing"][0], f"{name}: refused by the channel's name",
               lacks["missing"])
        daemon.stop()


def main(tap, rig, demo_plant, form):
    for i, (begin, end) in enumerate(SPANS[form]):
        daemon = span(tap, rig, demo_plant, begin, end)
        if i == len(SPANS[form]) - 1:
            refusals(tap, rig, daemon, begin)
        else:
            daemon.stop()


with tests() as tap_of_main, Rig(sys.argv[1]) as rig_of_main:
    main(tap_of_main, rig_of_main, sys.argv[2], sys.argv[3])
