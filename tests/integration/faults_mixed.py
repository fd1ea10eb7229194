"""Faults of the demo plant at random, at random times, also upon each other: spans of registers are
their readings' difference, rows by power are the oracle's to the joule, and the same lines in two
parts and any order give the same store.

Usage: faults_mixed.py HEATBOOKD DEMO_PLANT; ROUNDS= and SEED= repeat and vary.
"""
import datetime
import os
import random
import sys

import oracle
from faulty import BEGIN_MS, END_MS, MIN_MS, House, check_spans, modulus
from rig import Rig, derived_until, energy_rows, store, table, TABLES
from tap import tests

SPANS = ("return_low immersion_daily flow_falling pressure_leak broker_away retained_replayed "
         "clamp_reversed power_cut sensor_frozen integer_temperatures slow_source efficiency_low "
         "outdoor_sun bad_payloads power_late").split()
LENGTHS_S = (600, 1800, 7200, 20000, 40000)
HOUR_S = 3600
AFTER_MIN = 180  # until the last values' limits have passed, but for states


def time_of(second):
    t_s = BEGIN_MS // 1000 + second // 10 * 10
    return datetime.datetime.fromtimestamp(t_s, datetime.timezone.utc
                                           ).strftime("%Y-%m-%dT%H:%M:%SZ")


def place(rng):
    placed = []
    for name in rng.sample(SPANS, rng.randint(3, 9)):
        begin = rng.randrange(HOUR_S, 42 * HOUR_S)
        end = min(begin + rng.choice(LENGTHS_S) + rng.randrange(3000), 47 * HOUR_S)
        placed.append(f"{name}={time_of(begin)}/{time_of(end)}")
    instant = rng.choice(("register_reset", "register_wrap", None))
    if instant:
        placed.append(f"{instant}={time_of(rng.randrange(HOUR_S, 46 * HOUR_S))}")
    return placed


def by_power(tap, rig, placed):
    house = House(rig, "power", *placed, registers=False)
    end = END_MS // MIN_MS + AFTER_MIN
    lines = house.path.read_text()
    wanted = oracle.account(list(oracle.archive_lines(lines)), BEGIN_MS // MIN_MS, end)
    oracle.compare(tap, energy_rows(house.config, 0, end), wanted, "by power")


def events_of(config):
    with store(config) as s:
        return sorted(tuple(r) for r in s.execute("SELECT * FROM events"))


def by_register(tap, rig, placed, rng):
    house = House(rig, "register", *placed)
    check_spans(tap, house)
    lines = house.path.read_text().splitlines()
    rng.shuffle(lines)
    cut = rng.randrange(1, len(lines))
    other = rig.demo("parts", change=modulus, registers=True)
    for name, part in (("a.txt", lines[:cut]), ("b.txt", lines[cut:])):
        path = rig.dir / name
        path.write_text("\n".join(part) + "\n")
        rig.done("import", other, path)
    until = min(derived_until(other), derived_until(house.config))
    for name in TABLES:
        tap.ok(table(other, name, until) == table(house.config, name, until),
               f"in two shuffled parts: the same {name}")
    tap.equal(events_of(other), events_of(house.config), "in two shuffled parts: the same events")
    tap.equal(rig.verb("verify", other, "--all").returncode, 0, "verify exits 0")


def main(tap, heatbookd, demo_plant):
    seed = int(os.environ.get("SEED", random.randrange(1000000)))
    for i in range(int(os.environ.get("ROUNDS", 1))):
        rng = random.Random(seed + i)
        placed = place(rng)
        tap.note(f"SEED={seed + i} {' '.join(placed)}")
        with Rig(heatbookd, demo_plant) as rig:
            by_power(tap, rig, placed)
            by_register(tap, rig, placed, rng)


with tests() as tap_of_main:
    main(tap_of_main, *sys.argv[1:3])
