"""Clocks of sources that are off or stand still: found with size and remedy, wherever the
messages came from; what the remedy says puts the rows right.

Usage: source_clocks.py HEATBOOKD
"""
import json
import math
import re
import sys

from rig import Rig, energy_rows, store
from tap import tests

BEGIN = 1767222000  # 2026-01-01T00:00+01:00
DAYS = 3
FIELDS = (("flow_temperature", "f", "°C"), ("return_temperature", "r", "°C"),
          ("flow_rate", "q", "L/min"), ("power", "w", "W"))
PLANT = """[plant]
zone = Europe/Berlin
devices = compressor
[store]
file = @DIR@/heatbook.db
[journal]
tail = @DIR@/tail
[source gateway]
topics = g/#
[meter unit]
feeds = compressor
power = power
[channel operating_mode]
topic = g/all
pointer = /m
map = h:heating, s:standby
TIME
"""
OWN = "time = payload\ntime_pointer = /t"


def plant(own):
    text = PLANT.replace("TIME", OWN if own else "")
    for name, field, unit in FIELDS:
        text += (f"[channel {name}]\ntopic = g/all\npointer = /{field}\nunit = {unit}\n"
                 + (OWN if own else "") + "\n")
    return text


def lines(time_of, arrival_of=lambda t: t):
    """A message a minute, and what its clock and its line make of that time."""
    for m in range(DAYS * 1440):
        t, runs = BEGIN + 60 * m, m % 60 < 30
        said = {"t": time_of(t), "m": "hs"[not runs],
                "f": round((35 if runs else 28) + 0.1 * math.sin(m / 3), 2),
                "r": round((30 if runs else 28) + 0.1 * math.cos(m / 5), 2),
                "q": 17.5 if runs else 0,
                "w": round((1500 if runs else 12) + 5 * math.sin(m), 1)}
        yield f"{arrival_of(t)} g/all {json.dumps(said)}\n"


def archive(rig, name, *shifts):
    path = rig.dir / name
    path.write_text("".join(lines(*shifts)))
    return path


def commanded(rig, config, remedy):
    """Runs what the remedy says to run."""
    command = re.search(r"heatbookd (\S+) (--from \d{4}-\d\d-\d\d)", remedy)
    rig.done(command[1], config, *command[2].split())


def findings(rig, config, begin="2025-12-31"):
    """By kind, of the time that was imported."""
    out = rig.done("report", config, "--from", begin, "--to", f"2026-01-0{DAYS}", "--json")
    return {f["kind"]: f for f in json.loads(out.stdout)["findings"]}


def events(config):
    with store(config) as s:
        return [tuple(r) for r in s.execute(
            "SELECT made_ms, subject, kind, t_ms, before, after FROM events ORDER BY 1, 2, 3, 4")]


def minutes(config):
    with store(config) as s:
        return [tuple(r) for r in s.execute("SELECT * FROM minutes ORDER BY minute")]


def case(tap, rig, right, name, time_of, kind):
    """Imports, rebuilds, imports the export elsewhere; then does what the remedy says."""
    config = rig.config(name, plant(True))
    rig.done("import", config, archive(rig, f"{name}.txt", time_of))
    found = findings(rig, config)
    tap.ok(kind in found, f"{name}: {kind} is found", found)
    told = events(config)
    rig.done("rebuild", config)
    tap.equal(events(config), told, f"{name}: a rebuild tells the same events")
    other = rig.config(f"{name}_again", plant(True))
    rig.done("import", other, rig.export(config, f"{name}.jsonl"))
    tap.equal(events(other), told, f"{name}: so does the export in another store")
    found = found.get(kind, {"remedy": "", "evidence": "", "size": None, "subject": ""})
    tap.equal(found["subject"], "gateway", f"{name}: its source is named")
    tap.has(found["remedy"], "time = arrival in the sections of operating_mode, "
            "flow_temperature, return_temperature, flow_rate, power", f"{name}: the remedy")
    rig.config(name, plant(False))
    commanded(rig, config, found["remedy"])
    tap.equal(minutes(config), minutes(right), f"{name}: rebuilt by it, all minutes are right")
    tap.equal(energy_rows(config), energy_rows(right), f"{name}: so is the account")
    tap.equal(findings(rig, config), {}, f"{name}: and nothing is found any more")
    return found


def refused(tap, rig, name, since):
    """All of a span's messages bear times that are ahead: no row, and yet the report says why."""
    text = plant(True).replace("s:standby\n", "s:standby\nstale_after = 5 min\n")
    config = rig.config(name, text)
    rig.done("import", config, archive(rig, f"{name}.txt", lambda t: t + 7200 * (t >= since)))
    for args in (), ("--json",):
        result = rig.verb("report", config, "--from", "2026-01-03", "--to", "2026-01-03", *args)
        text = " ".join(result.stdout.decode().split())
        tap.equal(result.returncode, 1, f"{name}: a report {args} of which nothing is known")
        tap.has(result.stderr.decode(), "nothing is known of 2026-01-03", f"{name}: says so")
        tap.has(text, "the times in its messages lay 120 minutes ahead of", f"{name}: and why")
        if args:
            body = json.loads(result.stdout)
            tap.equal(body["total"]["heat_kwh"], None, f"{name}: no heat is made up")
            tap.equal({f["kind"] for f in body["findings"]}, {"clock_off", "payload_bad"},
                      f"{name}: no more is found")


def main(tap, heatbookd):
    with Rig(heatbookd) as rig:
        right = rig.config("right", plant(True))
        rig.done("import", right, archive(rig, "right.txt", lambda t: t))
        tap.equal(findings(rig, right), {}, "of clocks that are right nothing is found")
        for batch, after in ((7200, 5), (3600, 300), (1800, 150), (300, 100)):
            config = rig.config(f"batch_{batch}", plant(True))
            rig.done("import", config, archive(
                rig, f"batch_{batch}.txt", lambda t: t,
                lambda t, b=batch, a=after: BEGIN + ((t - BEGIN) // b + 1) * b + a))
            tap.equal(findings(rig, config), {}, f"batches of {batch} s are no clock")
            tap.equal(energy_rows(config), energy_rows(right), "and their account is whole")
        evening = BEGIN + 23 * 3600
        zone = case(tap, rig, right, "zone",
                    lambda t: t - (3600 if t >= evening + 1800 else 0), "clock_off")
        tap.equal(zone["size"], 60, "zone: by 60 minutes")
        tap.has(zone["remedy"], "time zone", "zone: it is named")
        drift = case(tap, rig, right, "drift", lambda t: t - 200 - (t - BEGIN) // 600, "clock_off")
        tap.near(drift["size"], (200 + (DAYS * 86400) / 600) / 60, 0.2, "drift: as it is last")
        tap.has(drift["evidence"], "it began with", "drift: where it began")
        tap.has(drift["remedy"], "drifts", "drift: it is named")
        ahead = case(tap, rig, right, "ahead", lambda t: t + (7200 if t >= evening else 0),
                     "clock_off")
        tap.equal(ahead["size"], -120, "ahead: by 120 minutes")
        refused(tap, rig, "ahead_since", BEGIN + 86400)
        refused(tap, rig, "ahead_always", BEGIN)
        still = BEGIN + 43200, BEGIN + 43200 + 2 * 86400
        stuck = case(tap, rig, right, "stuck", lambda t: still[0] if still[0] < t < still[1] else t,
                     "clock_stuck")
        tap.near(stuck["size"], 2 * 1440, 1, "stuck: for how long")
        config = rig.config("late", plant(True))
        rig.done("import", config, rig.dir / "stuck.txt")
        tap.ok("clock_stuck" in findings(rig, config, f"2026-01-0{DAYS}"),
               "stuck: a report that begins later names it, too")


with tests() as tap_of_main:
    main(tap_of_main, *sys.argv[1:2])
