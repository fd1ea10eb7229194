"""Findings that the demo plant's faults do not bring about, end to end: a made house of twelve days,
imported as messages, with one fault a day and a day between; the same house without them has none.

What is expected follows from what is made: no outside reference.

Usage: found_by_kind.py HEATBOOKD
"""
import datetime
import math
import sys

from rig import KEPT, Rig, edit
from tap import tests

CONFIG = """[plant]
zone = UTC
source_kind = air
[channel flow_temperature]
topic = p/flow
stale_after = 5 min
[channel return_temperature]
topic = p/return
stale_after = 5 min
[channel flow_rate]
topic = p/rate
stale_after = 5 min
[channel outdoor_temperature]
topic = p/outdoor
stale_after = 5 min
[channel compressor_frequency]
topic = p/hz
stale_after = 5 min
[channel valve]
topic = p/valve
map = room:heating, tap:hot_water
stale_after = 5 min
[channel power]
topic = p/power
unit = W
stale_after = 5 min
[channel count]
topic = p/count
unit = kWh
[meter unit]
feeds = compressor, circulation
power = power
register = count
""" + KEPT
DAYS, DAY_MIN = 12, 1440
BEGIN = int(datetime.datetime(2026, 1, 1, tzinfo=datetime.timezone.utc).timestamp())


def healthy(minute):
    """An hour of running, twenty minutes of rest, over and over; hot water from 13 h on. Power
    stays the same for as long, and is said each minute nevertheless."""
    phase, of_day = minute % 80, minute % DAY_MIN
    tap = 780 <= of_day < 820
    on, wave = phase < 60 or tap, math.sin(0.37 * minute)
    back = 28 + 0.02 * phase + 0.11 * wave + 3 * tap
    rate = 0 if not on and phase < 68 else 19 if tap else 17.5
    return {"return": back, "flow": back + (5 + 0.3 * wave if on else 0), "rate": rate,
            "outdoor": 2 - 3 * math.cos(minute * math.pi / 720) + 0.05 * wave,
            "hz": 45 + 2 * wave if on else 0, "valve": "tap" if tap else "room",
            "power": 1500 if on else 12}


def spoil(said, minute):
    """A fault a day; None: nothing is said."""
    day, of_day = divmod(minute, DAY_MIN)
    if day == 2 and 165 <= of_day < 195:
        said["rate"] = 0
    if day == 3 and minute % 80 < 60 and 400 <= of_day < 480:
        said["flow"], said["return"] = said["return"], said["flow"]
    if day == 4 and 600 <= of_day < 780:
        said["outdoor"] = None
    if day == 5 and 400 <= of_day < 420:
        said["valve"] = "wobble"
    if day == 7 and of_day == 900:
        said["count"] = said["count"] + 40000
    if day == 7 and of_day >= 1200 or day > 7:
        said["count"] += 5000
    if 8 <= day < 11:
        said["rate"] *= 3


def archive(path, spoiled):
    joules = 100 * 3.6e6
    with open(path, "w", encoding="ascii") as f:
        for minute in range(DAYS * DAY_MIN):
            said = healthy(minute)
            joules += 60 * said["power"]
            said["count"] = math.floor(joules / 36000) / 100
            if spoiled:
                spoil(said, minute)
            for name, value in said.items():
                if value is not None:
                    word = value if isinstance(value, str) else f"{value:.2f}"
                    f.write(f"{BEGIN + 60 * minute} p/{name} {word}\n")
    return path


def findings(rig, conf):
    daemon = rig.serve(conf)
    body = daemon.get(f"/v1/findings?from={BEGIN}&to={BEGIN + DAYS * 86400}").json()
    daemon.stop()
    return body["findings"]


def check_all(tap, told):
    """kind -> its subjects, first day and day after the last, size and how near, words."""
    wanted = {
        "flow_zero_running": ({"flow_rate"}, 2, 3, 30, 0, "no heat is booked"),
        "return_above_flow": ({None}, 3, 4, 5, 0.3, "warmer than the flow"),
        "channel_silent": ({"outdoor_temperature"}, 4, 5, 175, 1, "other channels were known"),
        "state_unknown": ({"valve"}, 5, 6, 20, 0, "its map does not name"),
        "register_refused": ({"unit"}, 7, 8, 40000, 1, "was not believed"),
        "register_replaced": ({"unit"}, 7, 8, 5000, 1, "went on from"),
        "efficiency_implausible": ({"heating", "hot_water"}, 8, 11, 12.7, 0.7, "an ideal machine"),
    }
    tap.equal({f["kind"] for f in told}, set(wanted), "just these are found")
    for kind, (subjects, first, end, size, near, words) in wanted.items():
        found = [f for f in told if f["kind"] == kind]
        tap.equal({f["subject"] for f in found}, subjects, f"{kind}: of these")
        tap.ok(all(BEGIN + first * 86400 <= f["since"] and f["until"] <= BEGIN + end * 86400
                   for f in found), f"{kind}: on its days", found)
        for f in found:
            tap.near(f["size"], size, near, f"{kind}: its size")
            tap.ok(words in f["evidence"] and f["remedy"], f"{kind}: says what it is", f)
    effect = {f["kind"]: f["effect"] for f in told}
    tap.ok(effect["flow_zero_running"] < 0 and effect["return_above_flow"] < 0,
           "what cost heat is told to have lowered the season's factor", effect)


with tests() as tap_of_main:
    with Rig(sys.argv[1]) as rig_of_main:
        plain = rig_of_main.config("plain", CONFIG)
        rig_of_main.done("import", plain, archive(rig_of_main.dir / "plain.txt", False))
        tap_of_main.equal(findings(rig_of_main, plain), [], "a house in order has no finding")
        spoiled = rig_of_main.config("spoiled", CONFIG)
        rig_of_main.done("import", spoiled, archive(rig_of_main.dir / "spoiled.txt", True))
        check_all(tap_of_main, findings(rig_of_main, spoiled))
        edit(plain, ("[plant]\n", "[plant]\npressure = 1.5 bar\n"))
        changed = findings(rig_of_main, plain)
        tap_of_main.equal([(f["kind"], f["size"]) for f in changed], [("rebuild_wanted", DAYS)],
                          "days of an earlier configuration ask for a rebuild")
        rig_of_main.done("rebuild", plain)
        tap_of_main.equal(findings(rig_of_main, plain), [], "which takes the finding away")
