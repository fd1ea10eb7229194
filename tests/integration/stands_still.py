"""Readings that are repeated, end to end: a made house of eleven days, imported as messages. A register
that stood and then said what it had missed costs nothing; one that went on from its old reading, a
gateway that repeated itself, a power and a flow that stood and a mode that said standby while the
compressor ran are found, with what they cost. Two days of a
register in another unit are told as that, though its last span is always open.

What is expected follows from what is made: no outside reference.

Usage: stands_still.py HEATBOOKD
"""
import datetime
import math
import sys

from rig import KEPT, Rig
from tap import tests

CONFIG = """[plant]
zone = UTC
source_kind = air
devices = compressor, circulation
[source gateway]
topics = g/#
[source reader]
topics = m/#
[channel flow_temperature]
topic = g/flow
[channel return_temperature]
topic = g/return
[channel flow_rate]
topic = g/rate
[channel outdoor_temperature]
topic = g/outdoor
[channel compressor_frequency]
topic = g/hz
[channel operating_mode]
topic = g/mode
[channel power]
topic = m/power
unit = W
[channel count]
topic = m/count
unit = kWh
[meter unit]
feeds = compressor, circulation
power = power
register = count
""" + KEPT
DAYS, DAY_MIN = 11, 1440
BEGIN = int(datetime.datetime(2026, 1, 1, tzinfo=datetime.timezone.utc).timestamp())
CAUGHT_UP, LOST = range(1, 3), range(4, 6)  # days
REPEATS, STUCK = (7, 240, 840), (9, 240, 840)  # a day, from minute, to minute
FLOW_STANDS, WORD_STANDS = (3, 240, 840), ((8, 240, 840), (10, 240, 840))
MISSED_KWH = 2 * 1080 * 1500 / 60e3 + 2 * 360 * 12 / 60e3


def healthy(minute):
    """An hour of running, twenty minutes of rest, over and over."""
    on, wave = minute % 80 < 60, math.sin(0.37 * minute)
    back = 28 + 0.3 * wave
    return {"g/return": back, "g/flow": back + (5 + 0.3 * wave if on else 0),
            "g/rate": 17.5 + 0.1 * wave if on else 0, "g/hz": 45 + 2 * wave if on else 0,
            "g/outdoor": 2 - 3 * math.cos(minute * math.pi / 720) + 0.05 * wave,
            "g/mode": "heating" if on else "standby", "m/power": 1500 + 80 * wave if on else 12}


def within(minute, fault):
    day, begin, end = fault
    return begin <= minute - day * DAY_MIN < end


def house(path, days, spoiled):
    """Writes its messages; its electricity by day, kWh."""
    kwh, missed, stood, last, true = 100.0, 0.0, None, None, [0.0] * days
    with open(path, "w", encoding="ascii") as f:
        for minute in range(days * DAY_MIN):
            said, day = healthy(minute), minute // DAY_MIN
            more = said["m/power"] / 60e3
            kwh += more
            true[day] += more
            stands = spoiled and (day in CAUGHT_UP or day in LOST)
            missed += more if stands and day in LOST else 0
            stood = (stood or kwh - missed) if stands else None
            said["m/count"] = stood or kwh - missed
            if spoiled and within(minute, REPEATS):
                said.update({k: v for k, v in last.items() if k.startswith("g/")})
            if spoiled and within(minute, STUCK):
                said["m/power"] = 1541
            if spoiled and within(minute, FLOW_STANDS):
                said["g/rate"] = 17.43
            if spoiled and any(within(minute, fault) for fault in WORD_STANDS):
                said["g/mode"] = "standby"
            last = said
            for name, value in said.items():
                word = value if isinstance(value, str) else f"{value:.2f}"
                f.write(f"{BEGIN + 60 * minute} {name} {word}\n")
    return true


def ask(rig, conf, days):
    daemon = rig.serve(conf)
    span = f"from={BEGIN}&to={BEGIN + days * 86400}"
    found = daemon.get(f"/v1/findings?{span}").json()["findings"]
    energy = daemon.get(f"/v1/energy?{span}&step=P1D").json()
    daemon.stop()
    return found, energy


def check_found(tap, found, energy):
    kinds = {(f["kind"], f["subject"]): f for f in found}
    tap.equal(sorted(kinds), [("channel_frozen", "flow_rate"), ("channel_frozen", "power"),
                              ("register_still", "unit"), ("source_repeats", "gateway"),
                              ("state_contradicted", "operating_mode")], "just these are found")
    tap.equal(len(found), 5, "each once")
    still = kinds["register_still", "unit"]
    tap.near(still["size"], MISSED_KWH, 0.2, "as much is missing as was missed, kWh")
    tap.near(still["since"], BEGIN + LOST[0] * 86400, 3600, "since it stands")
    tap.near(still["until"], BEGIN + (LOST[-1] + 1) * 86400, 3600, "until it goes on")
    total = energy["total"]
    heat, electricity = total["paired_heat_kwh"], total["paired_electricity_kwh"]
    tap.near(still["effect"], heat / electricity - heat / (electricity + MISSED_KWH), 0.01,
             "and the season's factor is too good by that")
    flow, word = kinds["channel_frozen", "flow_rate"], kinds["state_contradicted", "operating_mode"]
    tap.ok(abs(flow["effect"]) < 0.02, "a flow that stood at what it was costs little", flow)
    tap.near(word["size"], 2 * 450, 30, "minutes of running of which the mode said standby")
    for kind in (("source_repeats", "gateway"), ("channel_frozen", "power"),
                 ("channel_frozen", "flow_rate")):
        tap.near(kinds[kind]["size"], 600, 30, f"{kind[0]}: its minutes")


with tests() as tap_of_main:
    with Rig(sys.argv[1]) as rig_of_main:
        wanted = rig_of_main.config("spoiled", CONFIG)
        true_kwh = house(rig_of_main.dir / "spoiled.txt", DAYS, True)
        rig_of_main.done("import", wanted, rig_of_main.dir / "spoiled.txt")
        told, sums = ask(rig_of_main, wanted, DAYS)
        check_found(tap_of_main, told, sums)
        for at, kwh_of_day in enumerate(true_kwh):
            if at not in LOST:
                # the day before loses its open span, 20 steps
                tap_of_main.near(sums["columns"]["electricity_kwh"][at], kwh_of_day, 0.21,
                                 f"day {at}: its electricity, kWh")
        wrong = rig_of_main.config("wrong", CONFIG.replace("unit = kWh", "unit = Wh"))
        house(rig_of_main.dir / "wrong.txt", 2, False)
        rig_of_main.done("import", wrong, rig_of_main.dir / "wrong.txt")
        told = [f for f in ask(rig_of_main, wrong, 2)[0] if f["kind"] == "power_against_register"]
        tap_of_main.equal(len(told), 1, "a register in another unit is told after two days")
        tap_of_main.near(told[0]["size"], 0.001, 0.00015, "as a thousandth")
        tap_of_main.ok("the register in kWh where Wh is" in told[0]["remedy"], "and which it may be",
                       told[0])
