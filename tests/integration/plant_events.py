"""Short cycles and freeze protection end to end. The demo plant with nearly all emitters shut
starts twice an hour or more and heats for some minutes each time; with its compressor locked in the
frost its pump turns to keep the pipes warm. Both are told as they were: each run at its time, the
short ones by the trade's ten minutes, their sums joule by joule as the plant's careful observer has
them; and no finding takes either for a fault.

Usage: plant_events.py HEATBOOKD DEMO_PLANT
"""
import math
import sys

import found
from happenings import asked, check, check_short, happenings
from rig import Rig
from tap import tests
from truth import J_PER_KWH, ROUNDING_J, local_midnight, read_truth

SHUT = ("2024-10-21", "2024-10-27", "emitters_shut")
FROST = ("2025-01-19", "2025-01-25", "frosty_standstill")
MODES = {"run": ("heating", "hot_water", "defrost"), "defrost": ("defrost",), "hot_water": ("hot_water",),
         "freeze_protection": ("freeze_protection",)}


def imported(rig, begin, end, name):
    """Its answers by kind, the plant's happenings, and the observer's minutes."""
    truth = rig.dir / f"{name}.csv"
    config = rig.demo(name)
    rig.done("import", config, rig.archive(begin, end, "--faults", name, "--truth", truth))
    daemon = rig.serve(config)
    span = local_midnight(begin), local_midnight(end)
    answers = {kind: asked(daemon, kind, *span) for kind in MODES}
    return daemon, span, answers, read_truth(truth)


def check_sums(tap, name, kind, answer, truth):
    """Of all rows that are whole, by the observer's minutes from the first to the last of them."""
    rows = [r for r in answer["rows"] if r["truncated"] == "no"]
    first, last = (rows[0]["t"], rows[-1]["t_end"]) if rows else (0, 0)
    minutes = [r for m in range(int(first // 60), math.ceil(last / 60))
               for mode, r in truth[m].items() if mode in MODES[kind]]
    for value, column in (("heat_kwh", "heat_j"), ("electricity_kwh", "unit_j"), ("running_s", "ms")):
        wanted = sum(float(r[column]) for r in minutes) / (1000 if column == "ms" else J_PER_KWH)
        most = 1e-3 if column == "ms" else ROUNDING_J * len(minutes) / J_PER_KWH + 1e-6
        tap.near(sum(r[value] for r in rows), wanted, most, f"{name}: {kind}: {value} of {len(rows)}")
        told_rows = sum(r[value] for r in answer["rows"])
        tap.near(answer["total"][value] or 0, told_rows, 1e-6 * (1 + answer["count"]), f"{name}: {kind}: they add up")


def told(tap, rig, begin, end, name, aside=()):
    """`aside`: instants near which pump turns are another's."""
    daemon, span, answers, truth = imported(rig, begin, end, name)
    true = happenings(rig.demo_plant, begin, end, "--faults", name)
    pairs = {}
    for kind, answer in answers.items():
        inside = [h for h in true[kind] if h.end <= span[1]]
        pairs[kind] = check(tap, kind, inside, answer["rows"],
                            [(t, t) for t in aside] if kind == "freeze_protection" else ())
        check_sums(tap, name, kind, answer, truth)
    tap.equal(found.findings(daemon, *span), [], f"{name}: nothing is found")
    tap.equal(daemon.stop(), 0, f"{name}: the daemon ends in good order")
    return answers, true, pairs


def short_cycles(tap, rig):
    answers, true, pairs = told(tap, rig, *SHUT)
    short = check_short(tap, pairs["run"], true["hot_water"])
    tap.ok(short > 50, "there are many that are clearly short", short)
    runs = answers["run"]
    tap.equal(runs["total"]["short"], sum(r["short"] == "yes" for r in runs["rows"]), "their number")
    tap.equal(sum(b["short"] for b in runs["by_outdoor"]), runs["total"]["short"], "and by the weather")
    tap.equal(answers["freeze_protection"]["count"], 0, "no freeze protection in October")


def freeze_protection(tap, rig):
    # Unlocked at midnight, the unit begins with a minute of its pump, upon a turn of it.
    answers, true, pairs = told(tap, rig, *FROST, aside=[local_midnight("2025-01-23")])
    turns = answers["freeze_protection"]
    tap.equal(turns["count"], len(true["freeze_protection"]), "each turn of the pump is one")
    tap.ok(turns["count"] > 80, "there are many", turns["count"])
    running = sum(h.end - h.begin for h in true["freeze_protection"])
    # Ends are late as begins are: by 20 s at most, the difference of both by as much.
    tap.near(turns["total"]["running_s"], running, 20 * turns["count"], f"the pump turned for {running} s")
    used = sum(h.unit for h in true["freeze_protection"])
    tap.near(turns["total"]["electricity_kwh"], used, 20 / 490 * used, f"and took {used:.3f} kWh")
    tap.near(turns["total"]["heat_kwh"], 0, 0.01, "without any heat")
    odd = [r for r in turns["rows"] if not (r["outdoor_c"] < 5 and r["return_c"] < 15)]
    tap.equal(odd, [], "in the cold, with cold water")
    still = [r for r in answers["run"]["rows"] if local_midnight("2025-01-20") + 60 < r["t"]
             < local_midnight("2025-01-23")]
    tap.equal(still, [], "the compressor does not run")
    tap.equal(check_short(tap, pairs["run"], true["hot_water"]), 0, "no run is short")


with tests() as tap_of_main, Rig(*sys.argv[1:3]) as rig_of_main:
    short_cycles(tap_of_main, rig_of_main)
    freeze_protection(tap_of_main, rig_of_main)
