"""Laws 2 and 7 on imports and rebuilds: killed by SIGKILL at random instants, the same command
again leaves the rows and the journal of an undisturbed run.

Several archives that overlap, one of them out of order, one packed, and a CSV table;
registers rule electricity, the unit's by readings six hours apart, so that spans reach over
midnights. By even seeds no flag is configured and rules tell all modes, so that a day's last
minutes lean on the next day's first. Of two stores one has temperatures that go along lines, so that
the engine goes minutes behind what it is fed with. Deaths meet filing, commits, derivation, settling, the
rollup, and each other. The instants are drawn over the time that the undisturbed command took.

Usage: import_kill.py HEATBOOKD DEMO_PLANT; DEATHS (default 6), DAYS (2) and SEED in the environment.
"""
import collections
import datetime
import gzip
import os
import random
import re
import subprocess
import sys
import time

from rig import Rig, derived_until, end_process, store, table, MODES, TABLES
from tap import tests

DEATHS = int(os.environ.get("DEATHS", "6"))
SEED = int(os.environ.get("SEED", "0")) or random.SystemRandom().randrange(1, 10**6)
DAYS = int(os.environ.get("DAYS", "2"))
BEGIN = datetime.date(2025, 1, 5)
COLUMNS = {b"house/meter/immersion/power": "immersion_power",
           b"house/meter/unit/energy": "unit_register"}
REGISTER_EACH_S = 6 * 3600
BY_RULE = SEED % 2 == 0
FLAGS = ("compressor_frequency", "valve", "operating_mode", "defrost")
TABLE = """[table meters]
files = meters*.csv
interval = 1 min
column.immersion_power = immersion_power
column.unit_register = unit_register

[journal]
"""


def timed(run):
    begin = time.monotonic()
    run()
    return time.monotonic() - begin


def meters_table(rig, lines, chance):
    """These lines as rows of a minute, out of order; the register in few of them."""
    rows, register_s = {}, 0
    for stamp, topic, payload in (line.decode().rstrip().split(None, 2) for line in lines):
        second = int(float(stamp)) // 60 * 60
        if topic.endswith("power") or second >= register_s + REGISTER_EACH_S:
            rows.setdefault(second, {})[COLUMNS[topic.encode()]] = payload
            register_s = register_s if topic.endswith("power") else second
    texts = [",".join([str(second), *(row.get(c, "") for c in COLUMNS.values())]) + "\n"
             for second, row in rows.items()]
    chance.shuffle(texts)
    path = rig.dir / "meters.csv"
    path.write_text("epoch," + ",".join(COLUMNS.values()) + "\n" + "".join(texts))
    return path


def archives(rig, chance):
    """One log in three overlapping files, as it is, shuffled, packed and out of order; and some
    of it as a table instead."""
    end = BEGIN + datetime.timedelta(DAYS)
    rows, lines = [], []
    for line in rig.archive(f"{BEGIN}", f"{end}").read_bytes().splitlines(keepends=True):
        (rows if line.split(None, 2)[1] in COLUMNS else lines).append(line)
    third = len(lines) // 3
    parts = [lines[:third + 3000], lines[third:2 * third + 3000], lines[2 * third:]]
    chance.shuffle(parts[1])
    paths = [rig.dir / "first.log", rig.dir / "second.log", rig.dir / "third.log.gz"]
    paths[0].write_bytes(b"".join(parts[0]))
    paths[1].write_bytes(b"".join(parts[1]))
    paths[2].write_bytes(gzip.compress(b"".join(reversed(parts[2]))))
    return [*paths, meters_table(rig, rows, chance)]


def change(text):
    text = text.replace("[journal]\n", TABLE)
    for flag in FLAGS if BY_RULE else ():
        text = re.sub(rf"(?ms)^\[channel {flag}\]\n.*?^(?=\[)", "", text)
    rules = "nominal_flow = 17.5 L/min\n[modes]\nhot_water_flow = 19 L/min\n"
    return text.replace("\n[broker]\n", f"{rules}\n[broker]\n") if BY_RULE else text


def with_lines(text):
    return re.sub(r"(?m)^(\[channel (flow|return)_temperature\])$",
                  r"\1\nbetween = line\nperiod = 20 s", change(text))


def rows(config, until):
    return {name: table(config, name, until) for name in TABLES}


def journal(rig, config):
    with open(rig.export(config, "export.jsonl"), "rb") as f:
        return collections.Counter(f)


def die(rig, verb, config, args, after_s):
    """Starts the command and kills it then; tells whether it was still there."""
    process = subprocess.Popen([rig.heatbookd, verb, "-c", config, *args],
                               stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL,
                               stderr=subprocess.DEVNULL)
    try:
        process.wait(after_s)
    except subprocess.TimeoutExpired:
        process.kill()
    return end_process(process) < 0


class House:
    """A store that is imported into and rebuilt, and what it has to come to."""

    def __init__(self, rig, paths, lines):
        self.rig, self.paths, self.lines = rig, paths, lines
        self.config = self.plant("undisturbed-" + ("lines" if lines else "held"))
        self.import_s = timed(lambda: rig.done("import", self.config, *paths))
        self.rows = rows(self.config, 2**40)
        self.journal = journal(rig, self.config)
        self.rebuild_s = timed(lambda: rig.done("rebuild", self.config))

    def plant(self, name):
        return self.rig.demo(name, change=with_lines if self.lines else change, registers=True)

    def look(self, tap):
        """Whether there is in it what deaths are to meet."""
        tap.ok(rows(self.config, 2**40)["minutes"] == self.rows["minutes"],
               "a rebuild changes nothing")
        with store(self.config) as s:
            spans = s.execute("SELECT count(*) FROM settlements").fetchone()[0]
            modes = {MODES[r[0]] for r in s.execute("SELECT DISTINCT slot % 16 FROM "
                                                    "energy_minutes")}
        tap.ok({"heating", "hot_water", "defrost"} <= modes, "modes are told", modes)
        tap.ok(self.rows["runs"] and self.rows["energy_runs"], "and runs of days that are over")
        tap.ok(spans > 2 * DAYS, "registers' spans were laid over minutes", spans)
        tap.note(f"undisturbed: import {self.import_s:.2f} s, rebuild {self.rebuild_s:.2f} s")

    def expect(self, tap, config, what):
        what += ", along lines" if self.lines else ""
        until = min(derived_until(config), derived_until(self.config))
        wanted = rows(self.config, until)
        got = rows(config, until)
        for name in TABLES:
            tap.ok(got[name] == wanted[name], f"{what}: the same {name}")
        tap.ok(journal(self.rig, config) == self.journal, f"{what}: the same journal")
        tap.equal(self.rig.verb("verify", config).returncode, 0, f"{what}: verify finds nothing")


def kill_one(tap, rig, house, chance, name, deaths):
    """A store that is killed in imports, then once in a rebuild if `deaths` more are wanted;
    how often it was."""
    config = house.plant(name)
    args = list(house.paths)
    chance.shuffle(args)
    met = []
    for _ in range(chance.choice((1, 1, 2, 3))):
        at = chance.uniform(0, house.import_s)
        if die(rig, "import", config, args, at):
            met.append(f"import {at:.3f} s")
    rig.done("import", config, *args)
    if met:
        house.expect(tap, config, f"killed in {', '.join(met)}")
    at = chance.uniform(0, house.rebuild_s)
    if len(met) >= deaths or not die(rig, "rebuild", config, (), at):
        return len(met)
    rig.done("rebuild", config)
    house.expect(tap, config, f"killed in rebuild {at:.3f} s")
    return len(met) + 1


def main(tap, heatbookd, demo_plant):
    chance = random.Random(SEED)
    tap.note(f"SEED={SEED} DEATHS={DEATHS}, modes by {'rule' if BY_RULE else 'flag'}")
    with Rig(heatbookd, demo_plant) as rig:
        paths = archives(rig, chance)
        houses = [House(rig, paths, lines) for lines in (True, False)]
        tap.ok(houses[0].rows["minutes"] != houses[1].rows["minutes"], "lines are other rows")
        for house in houses:
            house.look(tap)
        deaths = tries = 0
        while deaths < DEATHS and tries < 4 * DEATHS:
            tries += 1
            deaths += kill_one(tap, rig, houses[tries % 2], chance, f"store-{tries}",
                               DEATHS - deaths)
        tap.ok(deaths >= DEATHS and tries > 1, "so many deaths were met, in both", deaths)


with tests() as tap_of_main:
    main(tap_of_main, *sys.argv[1:3])
