"""Recomputes the demo plant's truth file from its archive lines, with python3-iapws.

Usage: demo_truth.py PROGRAM DIRECTORY. The water properties are those of python3-iapws (IAPWS
R7-97(2012) region 1, computed); the rules are written again here, from their description in
etc/demo/observer.c's header, without looking at messages one by one: each channel becomes a
list of (instant, value), and every minute is cut at all instants that fall into it.
"""
import bisect
import collections
import csv
import json
import pathlib
import subprocess
import sys

from iapws.iapws97 import _Region1

FROM = "2026-01-17T00:00:00+01:00"  # a Saturday; the immersion heater runs on the Sunday
CUT = "2026-01-18T07:13:30+01:00"
TO = "2026-01-19T00:00:00+01:00"
TOLERANCE_J = 0.5
OVERRUN_MS = 600_000


def archive(program, begin, end, truth=None):
    command = [program, "archive", "--from", begin, "--to", end]
    if truth:
        command += ["--truth", str(truth)]
    return subprocess.run(command, check=True, stdout=subprocess.PIPE,
                          stderr=subprocess.DEVNULL).stdout


def channels_of(lines):
    channels = collections.defaultdict(list)
    for line in lines.decode().splitlines():
        stamp, topic, payload = line.split(" ", 2)
        seconds, _, millis = stamp.partition(".")
        t = int(seconds) * 1000 + int(millis)
        if topic == "plant/hydraulics":
            o = json.loads(payload)
            values = {"flow": o["water"]["out"], "return": o["water"]["back"],
                      "rate": o["loop"]["rate"]}
        elif topic == "plant/refrigerant":
            values = {"hz": json.loads(payload)["compressor"]["hz"]}
        elif topic == "plant/weather":
            values = {"outdoor": json.loads(payload)["air"]["t"]}
        elif topic in ("plant/state/service", "plant/state/defrost"):
            values = {topic.rsplit("/", 1)[1]: payload}
        elif topic.startswith("house/meter/") and not topic.endswith("/energy"):
            values = {topic.removeprefix("house/meter/"): float(payload)}
        else:
            continue
        for name, value in values.items():
            channels[name].append((t, value))
    return channels


class Held:
    """A channel as a function of time that holds its last value."""

    def __init__(self, points):
        self.instants = [t for t, _ in points]
        self.values = [v for _, v in points]

    def at(self, t):
        return self.values[bisect.bisect_right(self.instants, t) - 1]

    def within(self, begin, end):
        left = bisect.bisect_right(self.instants, begin)
        return self.instants[left:bisect.bisect_left(self.instants, end)]


properties = {}


def water(celsius):
    if celsius not in properties:
        properties[celsius] = _Region1(celsius + 273.15, 0.2)
    return properties[celsius]


def heat_w(flow, back, rate):
    if rate == 0:
        return 0.0
    return rate / 60000 / water(back)["v"] * (water(flow)["h"] - water(back)["h"]) * 1000


def mode_at(now, t, stops):
    if now["defrost"] == "running":
        return "defrost"
    if now["hz"] > 0:
        return {"rooms": "heating", "tap": "hot_water"}[now["service"]]
    if now["rate"] == 0:
        return "standby"
    stopped = bisect.bisect_right(stops, t)
    if stopped and t - stops[stopped - 1] < OVERRUN_MS:
        return "overrun"
    return "freeze_protection" if now["outdoor"] < 5 and now["return"] < 15 else "standby"


def account(channels, end):
    held = {name: Held(points) for name, points in channels.items()}
    hz = channels["hz"]
    stops = [t for (_, before), (t, after) in zip(hz, hz[1:]) if before > 0 and after == 0]
    known = max(h.instants[0] for h in held.values())
    minute = -(-known // 60000) * 60000
    rows = {}
    while minute + 60000 <= end:
        cuts = {minute, minute + 60000}
        for h in held.values():
            cuts.update(h.within(minute, minute + 60000))
        cuts.update(t + OVERRUN_MS for t in stops if minute < t + OVERRUN_MS < minute + 60000)
        cuts = sorted(cuts)
        sums = collections.defaultdict(lambda: [0, 0.0, 0.0, 0.0])
        for begin, stop in zip(cuts, cuts[1:]):
            now = {name: h.at(begin) for name, h in held.items()}
            seconds = (stop - begin) / 1000
            row = sums[mode_at(now, begin, stops)]
            row[0] += stop - begin
            row[1] += heat_w(now["flow"], now["return"], now["rate"]) * seconds
            row[2] += sum(now[f"unit/l{n}"] for n in (1, 2, 3)) * seconds
            if now["immersion/power"]:
                sums["hot_water"][3] += now["immersion/power"] * seconds
        for mode, row in sums.items():
            rows[minute // 1000, mode] = row
        minute += 60000
    return rows


def compare(rows, truth):
    with open(truth, encoding="ascii", newline="") as f:
        written = {(int(r["minute_epoch_s"]), r["mode"]): r for r in csv.DictReader(f)}
    assert written.keys() == rows.keys(), sorted(written.keys() ^ rows.keys())[:5]
    worst = 0.0
    for key, row in rows.items():
        assert int(written[key]["ms"]) == row[0], (key, written[key], row)
        for name, value in zip(("heat_j", "unit_j", "immersion_j"), row[1:]):
            worst = max(worst, abs(float(written[key][name]) - value))
            assert worst <= TOLERANCE_J, (key, name, written[key], row)
    seen = collections.Counter(mode for _, mode in rows)
    for mode in ("heating", "hot_water", "defrost", "overrun", "standby"):
        assert seen[mode] > 0, f"two days without {mode} prove little"
    assert sum(row[3] for row in rows.values()) > 5e6, "the immersion heater never ran"
    return worst


def main():
    program, directory = sys.argv[1], pathlib.Path(sys.argv[2])
    truth = directory / "demo_truth.csv"
    lines = archive(program, FROM, TO, truth)
    assert archive(program, FROM, CUT) + archive(program, CUT, TO) == lines, \
        "two halves are not the whole"
    end = int(lines.rsplit(b"\n", 2)[1].split(b".")[0]) // 60 * 60000 + 60000
    rows = account(channels_of(lines), end)
    worst = compare(rows, truth)
    print(f"{len(rows)} rows agree; the largest difference is {worst:.4f} J")


main()
