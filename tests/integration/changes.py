"""Whether noted changes helped, end to end. A house that is drawn here, under a year of open weather:
what a change saved is known by the same house without it, and must lie in the answer's intervals; a
note of nothing is reported as none; what cannot be judged says why. In the long form the demo plant's
own change besides, against the plant that went on without it (its weather is the same).

Usage: changes.py HEATBOOKD DEMO_PLANT drawn|year
"""
import csv
import datetime
import gzip
import math
import random
import subprocess
import sys
import zoneinfo

from rig import DATA, DEMO_CONFIG, KEPT, Rig
from tap import tests

ZONE = zoneinfo.ZoneInfo("America/Chicago")
AT = datetime.datetime(2016, 11, 15, tzinfo=ZONE)
BETTER, WARMER_K = 0.12, -0.4
CONFIG = """[plant]
zone = America/Chicago
heat_source = power
[channel heat_power]
unit = W
[channel unit_power]
unit = W
[channel outdoor_temperature]
[channel room_temperature]
[channel operating_mode]
map = 1:heating
[meter unit]
feeds = compressor, circulation
power = unit_power
[change ahead]
at = 2099-01-01
[change better]
at = 2016-11-15
what = a better machine
[change last]
at = 2016-12-25
[change note]
at = 2016-03-10
[table hours]
files = *.csv
time = t
time_form = s
interval = 1 h
column.heat_power = q
column.unit_power = e
column.outdoor_temperature = c
column.room_temperature = r
column.operating_mode = mode
""" + KEPT


def hours():
    with gzip.open(DATA / "weather/il_hourly_tempF_2016.csv.gz", "rt", newline="") as f:
        for stamp, value in list(csv.reader(f))[1:]:
            yield int(datetime.datetime.fromisoformat(stamp).timestamp()), (float(value) - 32) * 5 / 9


def drawn():
    """Rows of a house, and first second of a local day -> electricity and heat that the change saved, kWh."""
    draw, rows, saved, off, slow = random.Random(41), [], {}, 0.0, 10.0
    for t, c in hours():
        at = datetime.datetime.fromtimestamp(t, ZONE)
        if at.hour == 0:
            off = 0.3 * off + draw.gauss(0, 0.04)
            wear = 1 + draw.gauss(0, 0.02)
        slow += (c - slow) / 24
        sun = 0.8 * (1 - math.cos(2 * math.pi * (at.timetuple().tm_yday + 10) / 365))
        after = at >= AT
        was = 210 * max(0.0, 17 - slow - sun) * (1 + off)
        heat = was * (1 + WARMER_K / 15 if after else 1)
        per = (0.33 - 0.005 * c + 0.00008 * c * c) * wear
        e = heat * per * (1 - BETTER if after else 1) + 12
        day = int(at.replace(hour=0).timestamp())
        sums = saved.setdefault(day, [0.0, 0.0])
        sums[0] += (was * per + 12 - e) / 1000
        sums[1] += (was - heat) / 1000
        rows.append(f"{t},{heat:.1f},{e:.1f},{c:.2f},{21 + (WARMER_K if after else 0) + draw.gauss(0, 0.1):.2f},1\n")
    return rows, saved


def held(tap, values, name, truth, what):
    value = values.get(name)
    tap.ok(value and value["low"] <= truth <= value["high"], f"{what}: {name} holds the truth", (value, truth))


def compared(change):
    columns = change["measured_less_predicted"]["columns"]
    return [t for t, after in zip(columns["t"], columns["after"]) if after]


def check_better(tap, change, saved):
    days, values = compared(change), change["answer"]
    tap.equal(change["evidence"]["verdict"], "less", "what a better machine saved is shown")
    tap.equal(change["evidence"]["verdict_by_efficiency"], "less", "so is what it saved by efficiency")
    tap.equal(change["evidence"]["verdict_by_heat"], "no change can be shown", "what heat did is not")
    tap.equal(len(days), change["evidence"]["after"]["compared"], "its days are listed")
    held(tap, values, "saving_kwh", sum(saved[t][0] for t in days), "better")
    held(tap, values, "heat_saving_kwh", sum(saved[t][1] for t in days), "better")
    held(tap, values, "room_shift_k", WARMER_K, "better")
    held(tap, values, "by_efficiency_percent", 100 * BETTER, "better")
    tap.ok(values["by_efficiency_kwh"]["low"] > 0, "by efficiency more than nothing", values["by_efficiency_kwh"])
    tap.ok(values["room_shift_k"]["high"] < 0 < values["by_room_kwh"]["value"], "colder rooms are told apart")
    tap.near(values["by_efficiency_kwh"]["value"] + values["by_heat_kwh"]["value"],
             values["saving_kwh"]["value"], 0.0015, "the split closes")
    columns = change["measured_less_predicted"]["columns"]
    before = [e for e, after in zip(columns["electricity_kwh"], columns["after"]) if not after]
    tap.near(columns["electricity_sum_kwh"][-1], sum(before) - values["saving_kwh"]["value"], 0.5,
             "the running sum ends at what was saved")
    for name, model in change["evidence"]["models"].items():
        if name != "room_temperature":
            tap.ok(model["r_squared"] > 0.9 and model["days"] > 60, f"model of {name} fits", model)


def check_none(tap, change):
    tap.equal(change["evidence"]["verdict"], "no change can be shown", "a note of nothing is none")
    for name in ("saving_kwh", "by_efficiency_kwh", "by_heat_kwh", "heat_saving_kwh", "room_shift_k"):
        held(tap, change["answer"], name, 0, "nothing")


def check_refused(tap, change, *words):
    tap.equal((change["answer"], change["evidence"]["verdict"]), (None, "not enough evidence"),
              f"{change['name']}: is not judged")
    for word in words:
        tap.has("\n".join(change["missing"]), word, f"{change['name']}: what is missing is said")


def house(tap, rig):
    rows, saved = drawn()
    table = rig.dir / "house.csv"
    table.write_text("t,q,e,c,r,mode\n" + "".join(rows))
    config = rig.config("house", CONFIG)
    tap.has(rig.done("check", config).stdout.decode(), "better: a better machine, at 2016-11-15T00:00:00-06:00",
            "check lists what is noted")
    rig.done("import", config, table)
    daemon = rig.serve(config)
    answer = daemon.get("/v1/changes").json()
    changes = {c["name"]: c for c in answer["changes"]}
    tap.equal(list(changes), ["note", "better", "last", "ahead"], "changes come by their instants")
    tap.note(f"better: {changes['better']['answer']}")
    check_better(tap, changes["better"], saved)
    check_none(tap, changes["note"])
    check_refused(tap, changes["last"], "days after the change that can be compared: ", "it takes 14")
    check_refused(tap, changes["ahead"], "time: the change lies ahead")
    one = daemon.get("/v1/changes?change=better").json()["changes"]
    tap.equal(one, [changes["better"]], "one that is asked by its name is the same")
    daemon.stop()


# ---- the demo plant

def truth_of(demo_plant, begin, end, change):
    """First second of a local day -> (unit's electricity, heat for the rooms), kWh."""
    text = subprocess.run([demo_plant, "truth", "--from", begin, "--to", end, "--change", change],
                          check=True, stdout=subprocess.PIPE, text=True).stdout
    return {int(r["start_epoch_s"]): (float(r["compressor_kwh"]) + float(r["circulation_kwh"]),
                                      sum(float(r[f"{m}_kwh"]) for m in ("heating", "overrun", "defrost")),
                                      float(r["room_c"]))
            for r in csv.DictReader(text.splitlines())}


def demo(tap, rig, demo_plant):
    begin, end, at = "2024-07-01", "2025-04-01", "2025-01-15"
    config = rig.config("demo", DEMO_CONFIG.read_text(encoding="utf-8") +
                        f"\n[change curve]\nat = {at}\nwhat = heating curve lowered\n"
                        "[change nothing]\nat = 2024-11-25\n")
    archive = rig.dir / "demo.gz"
    with gzip.open(archive, "wb", 1) as f:
        with subprocess.Popen([demo_plant, "archive", "--from", begin, "--to", end, "--change", at],
                              stdout=subprocess.PIPE) as plant:
            for part in iter(lambda: plant.stdout.read(1 << 20), b""):
                f.write(part)
    rig.done("import", config, archive)
    daemon = rig.serve(config)
    nothing, curve = (daemon.get(f"/v1/changes?change={name}").json()["changes"][0]
                      for name in ("nothing", "curve"))
    daemon.stop()
    tap.note(f"curve: {curve['answer']}")
    check_none(tap, nothing)
    went_on, changed = (truth_of(demo_plant, begin, end, c) for c in ("2026-07-01", at))
    days = compared(curve)
    for i, name in ((0, "saving_in_all_kwh"), (1, "heat_saving_kwh")):
        held(tap, curve["answer"], name, sum(went_on[t][i] - changed[t][i] for t in days), "demo plant")
    held(tap, curve["answer"], "room_shift_k", sum(changed[t][2] - went_on[t][2] for t in days) / len(days),
         "demo plant")
    sides = curve["evidence"]
    tap.ok(abs(sides["before"]["outdoor_mean_c"] - sides["after"]["outdoor_mean_c"]) > 0.3,
           "under unequal weather", sides)


with tests() as tap_of_main, Rig(sys.argv[1]) as rig_of_main:
    house(tap_of_main, rig_of_main)
    if sys.argv[3] == "year":
        demo(tap_of_main, rig_of_main, sys.argv[2])
